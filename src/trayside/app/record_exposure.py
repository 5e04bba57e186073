"""Record what a person was exposed to in a shift, correct it, look at it: personal, so only for them, QC and leads."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

from trayside.app.ports import Clock, StartWork, Work
from trayside.app.shift_safety import ShiftSafety, assess_shift
from trayside.app.yard_rules import rules_of
from trayside.core.exposure import weekly_level
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule
from trayside.model.exposure_record import LONGEST_REMARK, RecordedShift, ShiftExposure, additions, changes
from trayside.model.person import Person, checked_name, name_key
from trayside.model.rules import Rules

EARLIEST = date(2000, 1, 1)
MOST_SHOWN = 60


@dataclass(frozen=True, slots=True)
class Correction:
    """What one revision changed: (where, before, after), and what it only added."""

    recorded: RecordedShift
    changed: tuple[tuple[str, str, str], ...]
    added: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class WeekNoise:
    """Noise points of one person's week, Monday to Sunday, as far as shifts were recorded."""

    days: tuple[tuple[date, float], ...]
    points: float
    level_dba: float


@dataclass(frozen=True, slots=True)
class ShiftView:
    """One person's shift as the screen and the paper show it."""

    rules: Rules
    recorded: RecordedShift
    safety: ShiftSafety
    history: tuple[Correction, ...]
    """Every revision, the first one first."""
    week: WeekNoise | None

    @property
    def exposure(self) -> ShiftExposure:
        return self.recorded.exposure


def record_exposure(
    exposure: ShiftExposure, *, after: int, by: str, reason: str, start_work: StartWork, clock: Clock
) -> RecordedShift:
    """Store a shift as the revision after `after` (0: nothing was recorded before). What was said before may only be
    changed with a reason; what was added needs none."""
    key = name_key(exposure.person)
    with start_work() as work:
        rules = rules_of(work)
        checked_day(exposure.day, today=yard_today(rules, clock()))
        exposure = replace(exposure, person=known_person(work, exposure.person))
        safety = assess_shift(exposure, rules.safety)
        if safety.grade == "none":
            raise ImpossibleValue("nothing was entered", where="shift", remedy="Enter at least one task")
        there = work.safety.revisions(key, exposure.day)
        if len(there) != after:
            raise ChangedMeanwhile(
                "somebody recorded this shift first",
                where=f"{exposure.person}, {exposure.day}",
                remedy="Look at it again, then enter what is missing",
            )
        said = " ".join(reason.split())
        if len(said) > LONGEST_REMARK:
            raise ImpossibleValue(f"a reason longer than {LONGEST_REMARK} characters", where="reason", remedy="Shorten it")
        if there:
            exposure = replace(exposure, person=there[0].exposure.person)
            changed = changes(there[-1].exposure, exposure)
            if changed and not said:
                raise RefusedByRule(
                    "what was said before was changed, and no reason is given",
                    where=f"{exposure.person}, {exposure.day}",
                    remedy="Say why; what was first said stays visible",
                    reasons=tuple(f"{name}: {old} → {new}" for name, old, new in changed[:20]),
                )
            if not changed and not additions(there[-1].exposure, exposure):
                raise RefusedByRule("nothing was changed", where=f"{exposure.person}, {exposure.day}", remedy="Go back")
        recorded = RecordedShift(exposure, after + 1, clock(), checked_name(by), said)
        work.safety.add(recorded, person_key=key)
        work.commit()
    return recorded


def view_shift(work: Work, *, person: str, day: date) -> ShiftView:
    """NotFound when nothing was recorded about this shift."""
    rules, key = rules_of(work), name_key(person)
    revisions = work.safety.revisions(key, day)
    if not revisions:
        raise NotFound("nothing is recorded about this shift", where=f"{person}, {day}", remedy="Look at the list of shifts")
    history = [Correction(revisions[0], (), ())]
    for before, after in pairwise(revisions):
        change = changes(before.exposure, after.exposure)
        history.append(Correction(after, change, additions(before.exposure, after.exposure)))
    newest = revisions[-1]
    safety = assess_shift(newest.exposure, rules.safety)
    return ShiftView(rules, newest, safety, tuple(history), _week(work, key, day, rules))


def list_shifts(work: Work, *, person: str | None) -> tuple[tuple[RecordedShift, ShiftSafety], ...]:
    """The newest shifts of one person, or of everybody."""
    rules = rules_of(work)
    key = name_key(person) if person is not None else None
    found = work.safety.newest(count=MOST_SHOWN, person_key=key)
    return tuple((one, assess_shift(one.exposure, rules.safety)) for one in found)


def _week(work: Work, key: str, day: date, rules: Rules) -> WeekNoise | None:
    monday = day - timedelta(days=day.weekday())
    recorded = work.safety.between(key, monday, monday + timedelta(days=6))
    days = []
    for one in sorted(recorded, key=lambda one: one.exposure.day):
        noise = assess_shift(one.exposure, rules.safety).noise
        if noise is not None:
            days.append((one.exposure.day, noise.points))
    if len(days) < 2:
        return None
    points = [value for _, value in days]
    return WeekNoise(tuple(days), sum(points), weekly_level(points=points))


def known_person(work: Work, typed: str) -> str:
    """The name as the yard writes it; any name while the yard has no people."""
    name = checked_name(typed)
    if not work.people.any_people():
        return name
    found = work.people.named(name_key(name))
    if found is None:
        raise NotFound(f"there is nobody named {name[:80]!r}", where="safety", remedy="Choose somebody from the list of people")
    return found.person.name


def may_see(person: Person | None, *, whose: str, may_see_all: bool) -> bool:
    """Everybody sees their own shifts; others only who may see all."""
    return may_see_all or (person is not None and person.active and name_key(person.name) == name_key(whose))


def yard_today(rules: Rules, now: datetime) -> date:
    """The day by the yard's own clock."""
    return (now.astimezone(UTC) + timedelta(minutes=rules.dispatch.utc_offset_min)).date()


def checked_day(day: date, *, today: date) -> date:
    """A day on which a shift can have begun."""
    if day > today:
        raise ImpossibleValue(f"{day} has not come yet", where="day", remedy="Give the day on which the shift began")
    if day < EARLIEST:
        raise ImpossibleValue(f"{day} is before {EARLIEST.year}", where="day", remedy="Look at the year")
    return day


def typed_day(text: str) -> date:
    """2031-05-04."""
    plain = text.strip()
    try:
        if len(plain) != 10:
            raise ValueError
        return date.fromisoformat(plain)
    except ValueError:
        shown = f"{plain[:20]!r} is not a day" if plain else "no day was typed"
        raise ImpossibleValue(shown, where="day", remedy="Type it like 2031-05-04") from None
