"""`trayside shift`: plan the shift, plan again when a saw stops, show and print the plan."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated

import typer

from trayside.app.ports import StartWork
from trayside.app.shift import Desk, make_plan
from trayside.app.shift_form import propose
from trayside.app.shift_replan import plan_again
from trayside.app.shift_svg import lines_by_saw
from trayside.app.shift_words import beats_text, before_text, bound_text, changed_text, clock_text, in_shift
from trayside.app.yard_rules import rules_of
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.people_commands import PinStdin, signer
from trayside.cli.screen import say
from trayside.cli.toolbox import Toolbox
from trayside.errors import ImpossibleValue, NotFound
from trayside.model.shift import HoleWish, SavedPlan, SawWish, ShiftRequest


def add_shift_commands(app: typer.Typer, toolbox: Toolbox) -> None:
    """`trayside shift`."""

    @app.command()
    def shift(
        by: Annotated[str, typer.Option("--by", help="Name of the person who plans; without it the last plan is shown.")] = "",
        day: Annotated[str, typer.Option(help="Day, like 2031-05-04; the coming shift when left out.")] = "",
        start: Annotated[str, typer.Option(help="When the shift begins, like 07:00; as in the rules.")] = "",
        hours: Annotated[float | None, typer.Option(help="How long it is; as in the rules.")] = None,
        from_at: Annotated[str, typer.Option("--from", help="Plan from this time of day on.")] = "",
        saw: Annotated[list[str] | None, typer.Option(help="SAW or SAW=OPERATOR that runs; may be repeated.")] = None,
        hole: Annotated[
            list[str] | None, typer.Option(help="HOLE or HOLE=PRIORITY to cut; may be repeated; all when left out.")
        ] = None,
        lorry: Annotated[list[str] | None, typer.Option(help="A hole that goes on the lorry; may be repeated.")] = None,
        lorry_at: Annotated[str, typer.Option(help="When the lorry is loaded, like 15:00.")] = "",
        stopped: Annotated[str, typer.Option(help="A saw of the last plan that stopped: plan the rest again.")] = "",
        at: Annotated[str, typer.Option(help="When it stopped, like 10:15; now when left out.")] = "",
        back: Annotated[str, typer.Option(help="When it runs again; not in this shift when left out.")] = "",
        paper: Annotated[Path | None, typer.Option(help="Write the plan as PDF to this file.")] = None,
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Plan which trays go to which saw in which order; with --stopped plan again; alone show the last plan."""
        start_work = opened(toolbox, store)
        if not by:
            plan = _last(start_work)
        else:
            name = signer(toolbox, start_work, by, right="plan", pin_stdin=pin_stdin)
            desk = Desk(name, start_work, toolbox.clock, toolbox.make_id)
            if stopped:
                plan = plan_again(_last(start_work).plan_id, stopped=stopped, at=at, back=back, desk=desk)
            else:
                asked = _request(toolbox, start_work, day, start, hours, from_at, saw, hole, lorry, lorry_at)
                plan = make_plan(asked, desk=desk)
        if paper is not None:
            with start_work(writing=False) as work:
                rules = rules_of(work)
            paper.parent.mkdir(parents=True, exist_ok=True)
            paper.write_bytes(toolbox.papers.shift_plan(plan, rules))
        if as_json:
            typer.echo(json.dumps(_plain(plan, paper), ensure_ascii=False, indent=1))
            return
        _say_plan(plan)
        if paper is not None:
            say(str(paper))


def _last(start_work: StartWork) -> SavedPlan:
    with start_work(writing=False) as work:
        plan = work.shifts.newest()
    if plan is None:
        raise NotFound("no shift is planned yet", where="shift", remedy="Plan one: name yourself with --by")
    return plan


def _request(
    toolbox: Toolbox,
    start_work: StartWork,
    day: str,
    start: str,
    hours: float | None,
    from_at: str,
    saws: list[str] | None,
    holes: list[str] | None,
    lorry: list[str] | None,
    lorry_at: str,
) -> ShiftRequest:
    """What was asked for; what was left out is as it is proposed on the screen."""
    with start_work(writing=False) as work:
        proposed = propose(work, now=toolbox.clock(), last=work.shifts.newest()).request
    chosen = proposed.saws
    if saws:
        chosen = tuple(SawWish(*(part.strip() for part in one.split("=", 1))) for one in saws)
    wishes = proposed.holes
    if holes:
        usual = {one.hole_id: one for one in proposed.holes}
        wishes = tuple(_wish(one, usual) for one in holes)
    unknown = sorted(set(lorry or ()) - {one.hole_id for one in wishes})
    if unknown:
        raise ImpossibleValue(
            f"{unknown[0]} is not among the holes that are planned", where="--lorry", remedy="Name it with --hole too"
        )
    if lorry is not None:
        wishes = tuple(replace(one, lorry=one.hole_id in lorry) for one in wishes)
    return ShiftRequest(
        day=day or proposed.day,
        start=start or proposed.start,
        hours=proposed.hours if hours is None else hours,
        saws=chosen,
        holes=wishes,
        from_at=from_at or ("" if day or start else proposed.from_at),
        lorry_at=lorry_at or ("" if day else proposed.lorry_at),
    )


def _wish(typed: str, usual: dict[str, HoleWish]) -> HoleWish:
    hole_id, marked, priority = typed.partition("=")
    known = usual.get(hole_id.strip())
    if known is None:
        raise ImpossibleValue(
            f"no core of {hole_id.strip()[:40]} waits for a saw",
            where="--hole",
            remedy=f"Use one of: {', '.join(usual) or 'none: issue a cut sheet first'}",
        )
    return replace(known, priority=priority.strip()) if marked else known


def _say_plan(plan: SavedPlan) -> None:
    say(f"Shift of {plan.day}, {plan.hours.local(plan.hours.begins_at):%H:%M}, planned by {plan.made_by}")
    if plan.change:
        say(changed_text(plan))
    if plan.figures:
        say(beats_text(plan))
        say(bound_text(plan))
    within, beyond = in_shift(plan)
    for saw, lines in lines_by_saw(within).items():
        say(f"{saw} {plan.operator_of(saw)}".strip())
        for line in lines:
            before = f" ({before_text(line)} before)" if before_text(line) else ""
            begin, end = clock_text(plan, line.start_min), clock_text(plan, line.end_min)
            say(f"  {begin}–{end} {line.hole} tray {line.piece.rpartition('/')[2]}, {line.metres:.2f} m{before}")
    if beyond:
        say(f"{len(beyond)} trays in later shifts")
    for one in plan.left_out:
        say(f"Not in the plan: {one.what}: {one.why}")


def _plain(plan: SavedPlan, paper: Path | None) -> dict:
    """The plan with moments by the yard's clock beside the minutes of the plan."""

    def moment(minute: float) -> str:
        return f"{plan.hours.local(plan.hours.at(minute)):%Y-%m-%dT%H:%M}"

    return {
        "plan_id": plan.plan_id,
        "day": plan.day,
        "made_by": plan.made_by,
        "made_at": plan.made_at.isoformat(),
        "replaces": plan.replaces,
        "figures": asdict(plan.figures) if plan.figures else None,
        "first_come": asdict(plan.first_come) if plan.first_come else None,
        "better_than_first_come": plan.saved,
        "at_most_better": plan.gap,
        "lines": [
            asdict(line) | {"starts": moment(line.start_min), "ends": moment(line.end_min)} for line in plan.lines
        ],
        "left_out": [asdict(one) for one in plan.left_out],
        "changed": changed_text(plan),
        "minutes_per_metre": [asdict(line) for line in plan.times],
        "paper": str(paper) if paper else None,
    }
