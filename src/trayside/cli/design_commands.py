"""`trayside design`: would this control scheme see such a fault, and how soon? Played out, seeded."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Annotated

import numpy as np
import typer

from trayside.app.design_view import DesignAnswer, DesignAsked, answer_design
from trayside.cli.options import AsJson
from trayside.cli.screen import say
from trayside.core.scheme_design import (
    DURATIONS,
    FAULT_KINDS,
    ONWARD,
    WINDOWS,
    ControlScheme,
    Fault,
    LaboratoryModel,
    SchemeRules,
)

SCHEME, LABORATORY, RULES = ControlScheme(), LaboratoryModel(), SchemeRules()
MEANING = {"bias": "share of the value", "drift": "share of the value a batch", "contamination": "share carried over"}


def add_design_commands(app: typer.Typer) -> None:
    @app.command()
    def design(
        fault: Annotated[str, typer.Argument(help=f"What might go wrong: {', '.join(FAULT_KINDS)}.")],
        size: Annotated[float, typer.Argument(help="How large, as a share: 0.05 is 5 %.")],
        lasts: Annotated[str, typer.Option(help=f"How long it lasts: {', '.join(DURATIONS)}.")] = ONWARD,
        within: Annotated[str, typer.Option(help=f"Until when it must be seen: {', '.join(WINDOWS)}.")] = "month",
        target: Annotated[float, typer.Option(help="The chance wanted to see it until then.")] = 0.9,
        tickets: Annotated[int, typer.Option(help="Tickets in a batch.")] = SCHEME.tickets_per_batch,
        batches: Annotated[int, typer.Option(help="Batches in a month.")] = SCHEME.batches_per_month,
        months: Annotated[int, typer.Option(help="Months of the campaign.")] = SCHEME.months,
        rack: Annotated[int, typer.Option(help="Tickets in a rack.")] = SCHEME.rack_size,
        standards: Annotated[float, typer.Option(help="Standards as a share of all tickets.")] = SCHEME.standard_rate,
        blanks: Annotated[float, typer.Option(help="Blanks as a share of all tickets.")] = SCHEME.blank_rate,
        standard_sd: Annotated[
            float, typer.Option(help="Scatter of a standard as a share of its value.")
        ] = LABORATORY.standard_sd,
        batch_sd: Annotated[float, typer.Option(help="The same from batch to batch.")] = LABORATORY.batch_sd,
        chart_sd: Annotated[float, typer.Option(help="The same as the chart takes it.")] = LABORATORY.chart_sd,
        grade_median: Annotated[float, typer.Option(help="Middle grade of the samples.")] = LABORATORY.grade_median,
        grade_log_sd: Annotated[float, typer.Option(help="Scatter of its logarithm.")] = LABORATORY.grade_log_sd,
        blank_limit: Annotated[float, typer.Option(help="A blank above this fails.")] = LABORATORY.blank_limit,
        cusum_h: Annotated[float, typer.Option(help="Limit of the cumulative sum; 0 for none.")] = 0.0,
        campaigns: Annotated[int, typer.Option(help="Campaigns played.")] = 10_000,
        seed: Annotated[int, typer.Option(help="Seed of the draws.")] = 1,
        as_json: AsJson = False,
    ) -> None:
        """Before a campaign: the chance that standards and blanks at these rates see a fault, and the rate that would."""
        asked = DesignAsked(
            scheme=ControlScheme(
                tickets_per_batch=tickets, batches_per_month=batches, months=months, rack_size=rack,
                standard_rate=standards, blank_rate=blanks,
            ),
            laboratory=LaboratoryModel(
                standard_sd=standard_sd, batch_sd=batch_sd, chart_sd=chart_sd, grade_median=grade_median,
                grade_log_sd=grade_log_sd, blank_limit=blank_limit,
            ),
            rules=SchemeRules(cusum_h=cusum_h or None),
            fault=Fault(fault, size, lasts),
            target=target,
            within=within,
            campaigns=campaigns,
            seed=seed,
        )  # fmt: skip
        answer = answer_design(asked)
        if as_json:
            typer.echo(json.dumps(_plain(answer), indent=1))
            return
        _say(answer)


def _say(answer: DesignAnswer) -> None:
    fault, power = answer.asked.fault, answer.power
    say(f"{fault.kind} of {fault.size:g} ({MEANING[fault.kind]}), seen by {answer.controls}; {power.campaigns} campaigns"
        f" played, seed {power.seed}.")  # fmt: skip
    for window in WINDOWS:
        seen, alarm = power.seen[window], power.alarm[window]
        say(f"  within the {window}: {seen.value:.1%} ({seen.low:.1%} to {seen.high:.1%}); alarm without it {alarm.value:.1%}")
    say("  " + "".join(f"{word:>12}" for word in ("size", *WINDOWS)))
    for at, size in enumerate(answer.curve.size):
        chances = "".join(f"{getattr(answer.curve, window)[at]:>12.1%}" for window in WINDOWS)
        say(f"  {size:>12.4g}{chances}")
    say(f"Tickets until it is seen: half of the time {_tickets(power.median_tickets)}, nine times in ten"
        f" {_tickets(power.p90_tickets)}.")  # fmt: skip
    say(answer.recommendation.says)


def _tickets(count: float) -> str:
    return f"{count:.0f}" if np.isfinite(count) else "never"


def _plain(answer: DesignAnswer) -> dict:
    """The answer as JSON; what is infinite is null."""
    power, wanted = answer.power, answer.recommendation
    return {
        "fault": asdict(answer.asked.fault),
        "campaigns": power.campaigns,
        "seed": power.seed,
        "seen": {window: asdict(power.seen[window]) for window in WINDOWS},
        "alarm": {window: asdict(power.alarm[window]) for window in WINDOWS},
        "median_tickets": power.median_tickets if np.isfinite(power.median_tickets) else None,
        "p90_tickets": power.p90_tickets if np.isfinite(power.p90_tickets) else None,
        "curve": {name: getattr(answer.curve, name).tolist() for name in ("size", *WINDOWS, "alarm")},
        "recommendation": {
            "rate": wanted.rate,
            "says": wanted.says,
            "rates": np.asarray(wanted.rates).tolist(),
            "seen": np.asarray(wanted.seen).tolist(),
        },
    }
