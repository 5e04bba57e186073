"""Plan the rest of a shift again when a saw stops.

While the ledger knows of no cut on the plan's trays, work is taken to have gone as planned. Otherwise the ledger says
what is done, and what is left is planned from where every saw stands.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from trayside.app.ports import Work
from trayside.app.shift import Desk, enough_after, from_plan, keep, moment_in, settings_of
from trayside.app.shift_saws import saws_today
from trayside.app.shift_trays import SawnTray, WaitingTray, timed_tray, waiting_trays
from trayside.app.yard_rules import rules_of
from trayside.core.shift_plan import Moved, Piece, PlanLine, Saw, ShiftPlan, plan_shift, replan
from trayside.errors import ChangedMeanwhile, ImpossibleValue, RefusedByRule
from trayside.model.person import checked_name
from trayside.model.rules import Rules
from trayside.model.shift import Change, LeftOut, SavedPlan

UNMOVED_MIN = 1e-6


def plan_again(plan_id: str, *, stopped: str, at: str = "", back: str = "", desk: Desk) -> SavedPlan:
    """The plan after a saw stopped at a time of day ('' for now), with `back` when it is expected to run again."""
    made_by = checked_name(desk.made_by)
    began = desk.clock()
    with desk.start_work(writing=False) as work:
        rules = rules_of(work)
        plan = work.shifts.plan(plan_id)
        newest = work.shifts.newest(plan.day)
        if newest is not None and newest.plan_id != plan_id:
            raise ChangedMeanwhile(
                f"{newest.made_by} made a newer plan for this shift", where=plan.day, remedy="Look at it, then plan again"
            )
        now_min, back_min = _minutes(plan, stopped, at, back, now=began)
        left = _left_by_ledger(work, plan, rules)
        started = () if left is None else _saws_by_ledger(work, plan, stopped, now_min, back_min, rules, now=began)
    more = {
        "plan_id": desk.make_id(),
        "made_by": made_by,
        "replaces": plan.plan_id,
    }
    if left is None:
        saved = _as_planned(plan, stopped, now_min, back_min, rules, desk, more)
    else:
        saved = _by_ledger(plan, left, started, stopped, now_min, back_min, rules, desk, more)
    ended = desk.clock()
    saved = replace(saved, made_at=ended, looked_s=(ended - began).total_seconds())
    return keep(saved, desk=desk)


def _minutes(plan: SavedPlan, stopped: str, at: str, back: str, *, now: datetime) -> tuple[float, float | None]:
    if plan.figures is None:
        raise RefusedByRule("this plan has nothing left to cut", where=plan.day, remedy="Plan the shift anew")
    if stopped not in {saw.name for saw in plan.saws}:
        raise ImpossibleValue(
            f"no saw of this plan is called {stopped[:40]!r}",
            where="stopped",
            remedy=f"Use one of: {', '.join(saw.name for saw in plan.saws)}",
        )
    moment = moment_in(plan.hours, at) if at else now
    minute = plan.hours.minute_at(moment)
    if not back:
        return minute, None
    back_at = moment_in(plan.hours, back)
    if back_at < moment:
        raise ImpossibleValue("the saw is back before it stops", where="back", remedy="Look at both times")
    return minute, plan.hours.minute_at(back_at)


def _left_by_ledger(work: Work, plan: SavedPlan, rules: Rules) -> tuple[SawnTray, ...] | None:
    """The plan's trays with what is not cut of them; None when nothing of them was cut since the plan was made."""
    waiting, _ = waiting_trays(work, plan.request.holes, most=10**6)
    by_name = {one.name: one for one in waiting}
    left: list[WaitingTray] = []
    touched = False
    for tray in plan.trays:
        still = set(tray.bags)
        rows = tuple(row for row in by_name[tray.piece].rows if row.number in still) if tray.piece in by_name else ()
        touched = touched or len(rows) < len(tray.bags)
        if rows:
            left.append(WaitingTray(tray.hole_id, tray.tray, rows))
    if not touched:
        return None
    diameters = {name: size.core_diameter_mm for name, size in work.stock().core_sizes.items()}
    return tuple(timed_tray(one, times=plan.times, diameters_mm=diameters, rules=rules) for one in left)


def _saws_by_ledger(
    work: Work, plan: SavedPlan, stopped: str, now_min: float, back_min: float | None, rules: Rules, *, now: datetime
) -> tuple[Saw, ...]:
    ranks = {one.name: rank for rank, one in enumerate(rules.grade_classes)}
    today = {one.saw: one for one in saws_today(work, now=now, with_blades=True)}
    found = []
    for saw in plan.saws:
        if saw.name == stopped and back_min is None:
            continue
        as_it_is = today.get(saw.name)
        ready = max(saw.ready_min, back_min if saw.name == stopped else now_min)
        if as_it_is is None:
            found.append(replace(saw, ready_min=ready))
            continue
        found.append(
            replace(
                saw,
                ready_min=ready,
                hole=as_it_is.hole_id,
                grade=ranks.get(as_it_is.grade_class, 0),
                blade_left_m2=as_it_is.blade_left_m2,
                blade_new_m2=as_it_is.blade_new_m2,
            )
        )
    return tuple(found)


def _as_planned(
    plan: SavedPlan, stopped: str, now_min: float, back_min: float | None, rules: Rules, desk: Desk, more: dict
) -> SavedPlan:
    new = replan(
        plan=_shift_plan(plan),
        pieces=plan.pieces,
        saws=plan.saws,
        at_min=now_min,
        stopped=stopped,
        back_min=back_min,
        settings=settings_of(rules.shift),
        seed=rules.shift.seed,
        enough=enough_after(rules.shift.seconds, clock=desk.clock),
    )
    change = Change(
        stopped, now_min, back_min, False, _done(plan, new.done), new.moved, new.cut_off, new.stuck, new.says
    )
    keeps = {line.piece for line in new.plan.lines} if new.plan else set()
    return _saved(plan, new.plan, keeps, plan.pieces, new.saws, change, more)


def _shift_plan(plan: SavedPlan) -> ShiftPlan:
    return ShiftPlan(plan.lines, plan.figures, plan.first_come, plan.bound_min, 0.0, (), plan.says)


def _by_ledger(
    plan: SavedPlan,
    left: Sequence[SawnTray],
    saws: Sequence[Saw],
    stopped: str,
    now_min: float,
    back_min: float | None,
    rules: Rules,
    desk: Desk,
    more: dict,
) -> SavedPlan:
    before = {piece.name: piece for piece in plan.pieces}
    pieces = [
        replace(
            before[one.tray.piece],
            minutes=one.tray.minutes,
            metres=one.tray.metres,
            area_m2=one.area_m2,
            grade=one.grade,
        )
        for one in left
    ]
    running = {saw.name for saw in saws}
    stuck = tuple(piece.name for piece in pieces if not running & set(piece.saws or running))
    todo = [
        replace(piece, saws=tuple(name for name in piece.saws if name in running))
        for piece in pieces
        if piece.name not in stuck
    ]
    new = None
    if todo:
        new = plan_shift(
            pieces=todo,
            saws=saws,
            settings=settings_of(rules.shift),
            seed=rules.shift.seed,
            enough=enough_after(rules.shift.seconds, clock=desk.clock),
        )
    waiting = {piece.name for piece in pieces}
    done = _done(plan, (line for line in plan.lines if line.piece not in waiting))
    moved = _moved(plan.lines, new.lines if new else ())
    cut_off = next(
        (
            line.piece
            for line in plan.lines
            if line.saw == stopped and line.piece in waiting and line.begin_min < now_min < line.end_min
        ),
        None,
    )
    elsewhere = sum(one.from_saw != one.to_saw for one in moved)
    says = f"{stopped} stopped: {len(done)} trays cut by the ledger, {len(todo)} planned again, {elsewhere} to another saw."
    if stuck:
        says += f" No saw for {', '.join(stuck)}."
    change = Change(stopped, now_min, back_min, True, done, moved, cut_off, stuck, says)
    as_now = replace(plan, trays=tuple(one.tray for one in left), pieces=tuple(pieces))
    return _saved(as_now, new, {piece.name for piece in todo}, tuple(todo), tuple(saws), change, more)


def _done(plan: SavedPlan, lines: Iterable[PlanLine]) -> tuple[PlanLine, ...]:
    """What is done by now, with what an earlier change of the day had done already."""
    earlier = plan.change.done if plan.change else ()
    new = tuple(lines)
    again = {line.piece for line in new}
    return (*(line for line in earlier if line.piece not in again), *new)


def _moved(old: Iterable[PlanLine], new: Iterable[PlanLine]) -> tuple[Moved, ...]:
    before = {line.piece: line for line in old}
    return tuple(
        Moved(line.piece, before[line.piece].saw, line.saw, before[line.piece].start_min, line.start_min)
        for line in new
        if line.piece in before
        and (
            line.saw != before[line.piece].saw
            or abs(line.start_min - before[line.piece].start_min) > UNMOVED_MIN
        )
    )


def _saved(
    plan: SavedPlan,
    new: ShiftPlan | None,
    keeps: set[str],
    pieces: Sequence[Piece],
    saws: tuple[Saw, ...],
    change: Change,
    more: dict,
) -> SavedPlan:
    by_name = {one.piece: one for one in plan.trays}
    why = f"no other saw of this plan than {change.stopped} may cut it, and that stopped"
    stuck = tuple(
        LeftOut(f"{by_name[name].hole_id}, tray {by_name[name].tray}", why, by_name[name].metres)
        for name in change.stuck
        if name in by_name
    )
    return from_plan(
        replace(plan, saws=saws, trays=tuple(one for one in plan.trays if one.piece in keeps)),
        new,
        pieces=tuple(piece for piece in pieces if piece.name in keeps),
        left_out=(*plan.left_out, *stuck),
        says=new.says if new else change.says,
        change=change,
        **more,
    )
