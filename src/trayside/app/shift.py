"""Plan a shift: which trays go to which saw in which order today, kept as a record; and plan again when a saw stops.

Reading, looking for a plan and keeping it are three steps: nobody waits for the store while a plan is looked for.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

from trayside.app.cutting_times import learned_times
from trayside.app.ports import Clock, MakeId, StartWork, Work
from trayside.app.shift_saws import SawToday, saws_today
from trayside.app.shift_trays import SawnTray, saws_for, timed_tray, waiting_trays
from trayside.app.yard_rules import rules_of
from trayside.core.shift_plan import Piece, Saw, ShiftPlan, ShiftSettings, plan_shift
from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.person import checked_name
from trayside.model.rules import Rules, ShiftRules
from trayside.model.shift import (
    LeftOut,
    SavedPlan,
    ShiftHours,
    ShiftRequest,
    TimesLine,
    TrayToCut,
    minute_of_day,
)


@dataclass(frozen=True, slots=True)
class Desk:
    """What making a plan needs from outside."""

    made_by: str
    start_work: StartWork
    clock: Clock
    make_id: MakeId


@dataclass(frozen=True, slots=True)
class Waiting:
    """Everything a plan is made from, read in one transaction."""

    rules: Rules
    hours: ShiftHours
    times: tuple[TimesLine, ...]
    trays: tuple[SawnTray, ...]
    pieces: tuple[Piece, ...]
    saws: tuple[Saw, ...]
    left_out: tuple[LeftOut, ...]


def make_plan(request: ShiftRequest, *, desk: Desk) -> SavedPlan:
    """Read what waits, look for the best plan within the rules' time limit, keep it."""
    made_by = checked_name(desk.made_by)
    began = desk.clock()
    with desk.start_work(writing=False) as work:
        waiting = read_waiting(work, request, now=began)
    shift = waiting.rules.shift
    plan = plan_shift(
        pieces=waiting.pieces,
        saws=waiting.saws,
        settings=settings_of(shift),
        seed=shift.seed,
        enough=enough_after(shift.seconds, clock=desk.clock),
    )
    ended = desk.clock()
    saved = SavedPlan(
        plan_id=desk.make_id(),
        made_at=ended,
        made_by=made_by,
        request=request,
        hours=waiting.hours,
        trays=tuple(one.tray for one in waiting.trays),
        pieces=waiting.pieces,
        saws=waiting.saws,
        lines=plan.lines,
        figures=plan.figures,
        first_come=plan.first_come,
        bound_min=plan.bound_min,
        left_out=waiting.left_out,
        says=plan.says,
        looked_s=(ended - began).total_seconds(),
        times=waiting.times,
    )
    return keep(saved, desk=desk)


def keep(saved: SavedPlan, *, desk: Desk) -> SavedPlan:
    with desk.start_work() as work:
        work.shifts.add(saved)
        work.commit()
    return saved


def settings_of(shift: ShiftRules) -> ShiftSettings:
    return ShiftSettings(
        wash_min=shift.wash_min,
        wash_down_min=shift.wash_down_min,
        hole_change_min=shift.hole_change_min,
        blade_change_min=shift.blade_change_min,
        finish_weight=shift.finish_weight,
        late_weight=shift.late_weight,
    )


def enough_after(seconds: float, *, clock: Clock) -> Callable[[], bool]:
    began = clock()
    return lambda: (clock() - began).total_seconds() >= seconds


def hours_of(request: ShiftRequest, rules: Rules) -> ShiftHours:
    """The clock of the shift; ImpossibleValue for a day, an hour or a length that cannot be."""
    try:
        date.fromisoformat(request.day)
    except ValueError:
        raise ImpossibleValue(
            f"{request.day[:20]!r} is no day", where="day", remedy="Type it like 2031-05-04"
        ) from None
    start = minute_of_day(request.start)
    if not 0.0 < request.hours <= 24.0:
        raise ImpossibleValue(
            f"a shift of {request.hours:g} hours", where="hours", remedy="Type more than 0 and at most 24"
        )
    hours = ShiftHours(
        day=request.day,
        start=f"{start // 60:02d}:{start % 60:02d}",
        hours=request.hours,
        breaks=tuple((minute_of_day(one.at), one.minutes) for one in rules.shift.breaks),
        start_up_min=rules.shift.start_up_min,
        clean_out_min=rules.shift.clean_out_min,
        utc_offset_min=rules.dispatch.utc_offset_min,
    )
    if hours.productive_min <= 0.0:
        raise ImpossibleValue(
            "start-up, breaks and clean-out leave no time to cut", where="hours", remedy="Make the shift longer"
        )
    return hours


def moment_in(hours: ShiftHours, typed: str) -> datetime:
    """A typed time of day inside the shift, or after it on the same night."""
    minute = minute_of_day(typed)
    local = datetime.combine(date.fromisoformat(hours.day), time(minute // 60, minute % 60), UTC)
    moment = local - timedelta(minutes=hours.utc_offset_min)
    return moment if moment >= hours.begins_at else moment + timedelta(days=1)


def read_waiting(work: Work, request: ShiftRequest, *, now: datetime) -> Waiting:
    """What waits for a saw and what runs; RefusedByRule when nothing can be planned, with every reason."""
    rules = rules_of(work)
    hours = hours_of(request, rules)
    if not request.saws:
        raise ImpossibleValue("no saw is chosen", where="saws", remedy="Choose at least one saw that runs today")
    if not request.holes:
        raise ImpossibleValue("no hole is chosen", where="holes", remedy="Choose at least one hole to cut")
    running, left_out = _running(work, request, now=now)
    ready = hours.minute_at(moment_in(hours, request.from_at)) if request.from_at else 0.0
    if ready >= hours.productive_min:
        raise ImpossibleValue(
            f"the shift is over at {request.from_at}", where="from", remedy="Plan the next shift, or start earlier"
        )
    waiting, beyond = waiting_trays(work, request.holes, most=rules.shift.most_trays)
    left_out += beyond
    diameters = {name: size.core_diameter_mm for name, size in work.stock().core_sizes.items()}
    known = []
    for one in waiting:
        strange = sorted({row.core_size or "none" for row in one.rows if row.core_size not in diameters})
        if strange:
            left_out.append(LeftOut(one.name, f"its core size {strange[0]} is not known"))
        else:
            known.append(one)
    sizes = {diameters[row.core_size or ""] for one in known for row in one.rows}
    times = learned_times(work, rules=rules, core_diameters_mm=sizes).lines
    trays = [timed_tray(one, times=times, diameters_mm=diameters, rules=rules) for one in known]
    saws = tuple(_saw(one, ready, rules) for one in running)
    trays, pieces, without_saw = as_pieces(trays, running, request, hours, rules)
    left_out += without_saw
    if not pieces:
        raise RefusedByRule(
            "no tray of these holes can be planned",
            where="shift plan",
            remedy="Issue a cut sheet, choose other holes, or let another saw run",
            reasons=tuple(f"{one.what}: {one.why}" for one in left_out),
        )
    return Waiting(rules, hours, times, tuple(trays), tuple(pieces), saws, tuple(left_out))


def _running(work: Work, request: ShiftRequest, *, now: datetime) -> tuple[list[SawToday], list[LeftOut]]:
    saws = {one.saw: one for one in saws_today(work, now=now, with_blades=True)}
    wanted = {one.saw: one for one in request.saws}
    unknown = [name for name in wanted if name not in saws]
    if unknown:
        raise ImpossibleValue(
            f"no saw is called {unknown[0][:40]}", where="saws", remedy=f"Use one of: {', '.join(saws)}"
        )
    left_out = [LeftOut(one.saw, one.why_not) for one in saws.values() if one.why_not]
    left_out += [LeftOut(one.saw, "not chosen for this shift") for one in saws.values() if one.saw not in wanted and one.may_run]
    running = [saws[name] for name in wanted if saws[name].may_run]
    if not running:
        raise RefusedByRule(
            "no saw that was chosen may run",
            where="saws",
            remedy="Settle what is named on the Saws screen, or choose another saw",
            reasons=tuple(f"{one.what}: {one.why}" for one in left_out),
        )
    return running, left_out


def _saw(saw: SawToday, ready: float, rules: Rules) -> Saw:
    ranks = {one.name: rank for rank, one in enumerate(rules.grade_classes)}
    return Saw(
        name=saw.saw,
        ready_min=ready,
        hole=saw.hole_id,
        grade=ranks.get(saw.grade_class, 0),
        blade_left_m2=saw.blade_left_m2,
        blade_new_m2=saw.blade_new_m2,
    )


def as_pieces(
    trays: Sequence[SawnTray], running: Sequence[SawToday], request: ShiftRequest, hours: ShiftHours, rules: Rules
) -> tuple[list[SawnTray], list[Piece], list[LeftOut]]:
    """The trays as the plan's pieces; those that no running saw may take are left out, with the reason."""
    wishes = {one.hole_id: one for one in request.holes}
    due = hours.minute_at(moment_in(hours, request.lorry_at)) if request.lorry_at else None
    kept, pieces, left_out = [], [], []
    for one in trays:
        tray = one.tray
        able = [
            saw.saw
            for saw in running
            if saw.saw in saws_for(tray, {saw.saw: saw.kind})
            and (saw.blade_new_m2 is None or one.area_m2 <= saw.blade_new_m2)
        ]
        if not able:
            left_out.append(LeftOut(f"{tray.hole_id}, tray {tray.tray}", _why_no_saw(one, running), tray.metres))
            continue
        wish = wishes[tray.hole_id]
        kept.append(one)
        pieces.append(
            Piece(
                name=tray.piece,
                hole=tray.hole_id,
                minutes=tray.minutes,
                metres=tray.metres,
                grade=one.grade,
                area_m2=one.area_m2,
                priority=_priority(wish.priority, rules.shift.priorities),
                due_min=due if wish.lorry else None,
                saws=() if len(able) == len(running) else tuple(able),
            )
        )
    return kept, pieces, left_out


def _why_no_saw(one: SawnTray, running: Sequence[SawToday]) -> str:
    if saws_for(one.tray, {saw.saw: saw.kind for saw in running}):
        return "it needs more square metres than a new blade cuts"
    wanted = [need for need in one.tray.needs if need not in ("saw", "automatic")] or list(one.tray.needs)
    return f"it needs {_with_article(' and '.join(wanted))} saw, and none runs".replace("splitter saw", "splitter")


def _with_article(word: str) -> str:
    return f"{'an' if word[:1] in 'aeiou' else 'a'} {word}"


def _priority(word: str, known: Mapping[str, float]) -> float:
    if word not in known:
        raise ImpossibleValue(
            f"no priority is called {word[:20]!r}", where="priority", remedy=f"Use one of: {', '.join(known)}"
        )
    return known[word]


def tray_of(plan: SavedPlan) -> dict[str, TrayToCut]:
    return {one.piece: one for one in plan.trays}


def from_plan(plan: SavedPlan, new: ShiftPlan | None, **more: object) -> SavedPlan:
    """The saved plan with another answer of the planner in its place."""
    return replace(
        plan,
        lines=new.lines if new else (),
        figures=new.figures if new else None,
        first_come=new.first_come if new else None,
        bound_min=new.bound_min if new else 0.0,
        **more,
    )
