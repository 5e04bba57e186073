"""What is proposed where a shift is planned: the day, its hours, the saws that may run, the holes that wait."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from trayside.app.ports import Work
from trayside.app.shift import hours_of
from trayside.app.shift_ports import HoleWaiting
from trayside.app.shift_saws import SawToday, saws_today
from trayside.app.yard_rules import rules_of
from trayside.model.rules import Rules, ShiftRules
from trayside.model.shift import HoleWish, SavedPlan, SawWish, ShiftRequest

STEP_MIN = 5
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True, slots=True)
class Proposal:
    """The form as it is shown first."""

    request: ShiftRequest
    saws: tuple[SawToday, ...]
    holes: tuple[HoleWaiting, ...]
    operators: tuple[str, ...]
    priorities: tuple[str, ...]

    @property
    def chosen_saws(self) -> dict[str, str]:
        """Operators by saw, for the saws that run."""
        return {one.saw: one.operator for one in self.request.saws}

    @property
    def wishes(self) -> dict[str, HoleWish]:
        return {one.hole_id: one for one in self.request.holes}


def propose(work: Work, *, now: datetime, last: SavedPlan | None = None) -> Proposal:
    """Today's shift, or tomorrow's when today's is over; saws, people and wishes as in the last plan."""
    rules = rules_of(work)
    saws, holes = saws_today(work, now=now), work.shifts.holes_to_cut()
    local = now + timedelta(minutes=rules.dispatch.utc_offset_min)
    day, from_at = local.date(), ""
    hours = hours_of(_empty(day.isoformat(), rules), rules)
    if now >= hours.ends_at:
        day += timedelta(days=1)
    elif now > hours.begins_at:
        later = local + timedelta(minutes=-local.minute % STEP_MIN)
        from_at = f"{later:%H:%M}" if now < hours.at(hours.productive_min) - timedelta(minutes=STEP_MIN) else ""
    stood = {one.saw: one.operator for one in last.request.saws} if last else {}
    asked = {one.hole_id: one for one in last.request.holes} if last else {}
    shift = rules.shift
    usual = next(iter(shift.priorities))
    wishes = tuple(
        HoleWish(
            one.hole_id,
            asked[one.hole_id].priority
            if one.hole_id in asked and asked[one.hole_id].priority in shift.priorities
            else shift.hole_priority.get(one.hole_id, usual),
            one.hole_id in asked and asked[one.hole_id].lorry,
        )
        for one in holes
    )
    request = ShiftRequest(
        day=day.isoformat(),
        start=shift.start,
        hours=shift.hours,
        saws=tuple(SawWish(one.saw, stood.get(one.saw, "")) for one in saws if one.may_run and _usual(one, stood)),
        holes=wishes,
        from_at=from_at,
        lorry_at=_lorry_at(day, shift, last),
    )
    operators = tuple(one.name for one in work.people.people() if one.active and one.role in ("operator", "lead"))
    return Proposal(request, saws, holes, operators, tuple(shift.priorities))


def standing(plan: SavedPlan, saws: Iterable[SawToday]) -> tuple[SawToday, ...]:
    """Saws that the plan still counts on and that may not run now."""
    planned = {line.saw for line in plan.lines}
    return tuple(one for one in saws if one.saw in planned and not one.may_run)


def _lorry_at(day: date, shift: ShiftRules, last: SavedPlan | None) -> str:
    if last is not None and last.day == day.isoformat():
        return last.request.lorry_at
    return shift.lorry_at if WEEKDAYS[day.weekday()] in shift.lorry_days else ""


def _usual(saw: SawToday, stood: dict[str, str]) -> bool:
    """A splitter is chosen only when it was in the last plan: nothing goes to it by itself."""
    return saw.kind != "splitter" or saw.saw in stood


def _empty(day: str, rules: Rules) -> ShiftRequest:
    return ShiftRequest(day=day, start=rules.shift.start, hours=rules.shift.hours, saws=(), holes=())
