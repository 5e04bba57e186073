"""Design of controls: choose rates, rack size and a fault; see what these controls would catch."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass

from markupsafe import Markup
from starlette.requests import Request
from starlette.responses import Response

from trayside.app.charts.design import curve_figure, rate_figure
from trayside.app.charts.figure import Figure
from trayside.app.design_view import DesignAnswer, DesignAsked, answer_design
from trayside.core.scheme_design import (
    DURATIONS,
    FAULT_KINDS,
    WINDOWS,
    ControlScheme,
    Fault,
    LaboratoryModel,
    SchemeRules,
)
from trayside.errors import ImpossibleValue

from .asking import read_rules, services_of
from .faults import status_of
from .page import page
from .words import say

SCHEME, LABORATORY = ControlScheme(), LaboratoryModel()
CAMPAIGNS = (500, 2000, 10_000)


@dataclass(frozen=True, slots=True)
class Setting:
    """One number of the form. Shares are typed in percent."""

    name: str
    group: str
    default: float
    low: float
    high: float
    whole: bool = False
    percent: bool = False

    @property
    def shown(self) -> str:
        return f"{100 * self.default:.4g}" if self.percent else f"{self.default:g}"

    def read(self, text: str) -> float:
        """The number typed; ImpossibleValue when it cannot be."""
        try:
            typed = float(text.strip().replace(",", ".") or "nan")
        except ValueError:
            typed = math.nan
        low, high = (100 * self.low, 100 * self.high) if self.percent else (self.low, self.high)
        if not low <= typed <= high or (self.whole and typed != int(typed)):
            raise ImpossibleValue(
                f"{text.strip()[:20]!r} cannot be",
                where=say(f"design.{self.name}"),
                remedy=f"Type {'a whole number' if self.whole else 'a number'} from {low:g} to {high:g}",
            )
        return int(typed) if self.whole else (typed / 100 if self.percent else typed)


SETTINGS = (
    Setting("standard_rate", "scheme", SCHEME.standard_rate, 0, 0.5, percent=True),
    Setting("blank_rate", "scheme", SCHEME.blank_rate, 0, 0.5, percent=True),
    Setting("rack_size", "scheme", SCHEME.rack_size, 5, 1000, whole=True),
    Setting("tickets_per_batch", "scheme", SCHEME.tickets_per_batch, 10, 2000, whole=True),
    Setting("batches_per_month", "scheme", SCHEME.batches_per_month, 1, 60, whole=True),
    Setting("months", "scheme", SCHEME.months, 1, 24, whole=True),
    Setting("standard_sd", "laboratory", LABORATORY.standard_sd, 0.001, 1, percent=True),
    Setting("batch_sd", "laboratory", LABORATORY.batch_sd, 0, 1, percent=True),
    Setting("chart_sd", "laboratory", LABORATORY.chart_sd, 0.001, 1, percent=True),
    Setting("grade_median", "laboratory", LABORATORY.grade_median, 0.0001, 1e6),
    Setting("blank_background", "laboratory", LABORATORY.blank_background, 0, 1e6),
    Setting("blank_sd", "laboratory", LABORATORY.blank_sd, 0, 1e6),
    Setting("blank_limit", "laboratory", LABORATORY.blank_limit, 0.000001, 1e6),
    Setting("size", "fault", 0.05, 0.0001, 1, percent=True),
    Setting("target", "fault", 0.9, 0.5, 0.99, percent=True),
    Setting("seed", "fault", 1, 0, 2**31, whole=True),
)
CHOICES = {"kind": FAULT_KINDS, "lasts": DURATIONS, "within": WINDOWS, "campaigns": tuple(map(str, CAMPAIGNS))}
DEFAULTS = {"kind": "bias", "lasts": "onward", "within": "month", "campaigns": "2000"}
MOST_TICKETS = 500_000
"""Tickets of a campaign, so that a page answers while somebody waits."""


def design_screen(request: Request) -> Response:
    services, typed = services_of(request), dict(request.query_params)
    rules, answer, refusal = read_rules(services), None, None
    if typed:
        try:
            answer = answer_design(_asked(typed))
        except ImpossibleValue as cannot:
            refusal = cannot
    scripts = services.chart_scripts
    shown = {setting.name: typed.get(setting.name, setting.shown) for setting in SETTINGS}
    return page(
        "design.html",
        status=status_of(refusal) if refusal else 200,
        yard=rules.yard,
        refusal=refusal,
        settings=SETTINGS,
        shown=shown | {name: typed.get(name, DEFAULTS[name]) for name in CHOICES},
        choices=CHOICES,
        answer=answer,
        figures=_figures(answer) if answer else (),
        chart_program=f"/charts/{scripts.version}/charts.js" if scripts else None,
        in_page=in_page,
        windows=WINDOWS,
        tickets=tickets_text,
    )


def _asked(typed: dict[str, str]) -> DesignAsked:
    held = {setting.name: setting.read(typed.get(setting.name, setting.shown)) for setting in SETTINGS}
    chosen = {name: typed.get(name, DEFAULTS[name]) for name in CHOICES}
    for name, value in chosen.items():
        if value not in CHOICES[name]:
            raise ImpossibleValue(
                f"{value[:20]!r} is not known", where=say(f"design.{name}"), remedy=f"One of: {', '.join(CHOICES[name])}"
            )

    def of(kind: type) -> dict[str, float]:
        return {name: value for name, value in held.items() if name in kind.__dataclass_fields__}

    scheme = ControlScheme(**of(ControlScheme))
    if scheme.tickets_per_batch * scheme.batches * int(chosen["campaigns"]) > MOST_TICKETS * max(CAMPAIGNS):
        raise ImpossibleValue(
            "so long a campaign takes too long to play here",
            where=say("design.months"),
            remedy="Take fewer months or batches, or the command trayside design",
        )
    return DesignAsked(
        scheme=scheme,
        laboratory=LaboratoryModel(**of(LaboratoryModel)),
        rules=SchemeRules(),
        fault=Fault(chosen["kind"], held["size"], chosen["lasts"]),
        target=held["target"],
        within=chosen["within"],
        campaigns=int(chosen["campaigns"]),
        seed=int(held["seed"]),
    )


def _figures(answer: DesignAnswer) -> tuple[Figure, Figure]:
    asked = answer.asked
    return (
        curve_figure(answer.curve, kind=asked.fault.kind, target=asked.target),
        rate_figure(answer.recommendation, within=asked.within, what=answer.controls, target=asked.target),
    )


def in_page(figure: Figure) -> Markup:
    """The description of a chart to stand in the page itself; it can end no element of the page."""
    text = json.dumps(figure.description(), allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def tickets_text(tickets: float) -> str:
    return say("design.never") if math.isinf(tickets) else f"{tickets:.0f}"
