"""One shift at the saws: its hours, what was asked for, and the plan that was made of it.

A plan is a record: it is never changed. What a stopped saw makes of it is another plan that names the first.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from trayside.core.shift_plan import Moved, Piece, PlanFigures, PlanLine, Saw
from trayside.errors import ImpossibleValue

MINUTES_A_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class ShiftHours:
    """The clock of a shift. Minutes of the plan are minutes in which something can be cut: breaks are left out.

    `breaks` are (minute of the day, minutes). The same hours are taken for the shifts that follow.
    """

    day: str
    start: str
    hours: float
    breaks: tuple[tuple[int, int], ...]
    start_up_min: float
    clean_out_min: float
    utc_offset_min: int

    @property
    def begins_at(self) -> datetime:
        """When the shift begins, in UTC."""
        local = datetime.combine(date.fromisoformat(self.day), time.fromisoformat(self.start), UTC)
        return local - timedelta(minutes=self.utc_offset_min)

    @property
    def ends_at(self) -> datetime:
        return self.begins_at + timedelta(hours=self.hours)

    def stretches(self) -> tuple[tuple[float, float], ...]:
        """From and to, in minutes after the start, in which something can be cut."""
        begin, end = self.start_up_min, self.hours * 60.0 - self.clean_out_min
        first = minute_of_day(self.start)
        found = []
        for at, minutes in sorted(self.breaks, key=lambda one: (one[0] - first) % MINUTES_A_DAY):
            pause = (at - first) % MINUTES_A_DAY
            if pause >= end:
                continue
            if pause > begin:
                found.append((begin, float(pause)))
            begin = max(begin, float(pause + minutes))
        if begin < end:
            found.append((begin, end))
        return tuple(found)

    @property
    def productive_min(self) -> float:
        return sum(to - begin for begin, to in self.stretches())

    def at(self, minute: float) -> datetime:
        """When this minute of the plan comes by the clock, in UTC; minutes after the shift fall into the next ones."""
        shifts, rest = divmod(max(0.0, minute), self.productive_min)
        if rest == 0.0 and shifts > 0.0:
            shifts, rest = shifts - 1.0, self.productive_min
        moment = self.begins_at + timedelta(days=shifts)
        for begin, to in self.stretches():
            if rest <= to - begin:
                return moment + timedelta(minutes=begin + rest)
            rest -= to - begin
        return moment + timedelta(minutes=self.stretches()[-1][1])

    def shift_of(self, minute: float) -> int:
        """0 in this shift, 1 in the next."""
        if minute <= self.productive_min + 1e-9:
            return 0
        return int((minute - 1e-9) // self.productive_min)

    def minute_at(self, moment: datetime) -> float:
        """The minute of the plan at this moment: 0 before the shift, all of it after."""
        passed = (moment - self.begins_at).total_seconds() / 60.0
        return sum(min(max(passed, begin), to) - begin for begin, to in self.stretches())

    def local(self, moment: datetime) -> datetime:
        """The moment as the clock on the wall shows it."""
        return moment.astimezone(UTC) + timedelta(minutes=self.utc_offset_min)


@dataclass(frozen=True, slots=True)
class SawWish:
    """A saw that runs in this shift, and who stands at it."""

    saw: str
    operator: str = ""


@dataclass(frozen=True, slots=True)
class HoleWish:
    """What is asked for a hole: its priority in words, and whether it is to be on the lorry."""

    hole_id: str
    priority: str
    lorry: bool = False


@dataclass(frozen=True, slots=True)
class ShiftRequest:
    """What a shift is planned from. `from_at` is where the plan begins when the shift is on already; '' at its start.

    Holes that are not named are not planned.
    """

    day: str
    start: str
    hours: float
    saws: tuple[SawWish, ...]
    holes: tuple[HoleWish, ...]
    from_at: str = ""
    lorry_at: str = ""


@dataclass(frozen=True, slots=True)
class TrayToCut:
    """A piece of the plan in the yard's words. `bags` are the numbers that are not cut yet."""

    piece: str
    hole_id: str
    tray: int
    bags: tuple[str, ...]
    metres: float
    minutes: float
    grade_class: str
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TimesLine:
    """Minutes per metre of one class of rock and core size as they were believed: in all, with range, and split."""

    rock_class: str
    core_diameter_mm: float
    minutes: float
    low: float
    high: float
    cutting: float
    handling: float
    cuts: int
    metres: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that is not in the plan, and why: a saw, a hole, a tray."""

    what: str
    why: str
    metres: float = 0.0


@dataclass(frozen=True, slots=True)
class Change:
    """What a stopped saw changed. `done` ended before, or lay under the blade of another saw."""

    stopped: str
    at_min: float
    back_min: float | None
    by_ledger: bool
    done: tuple[PlanLine, ...]
    moved: tuple[Moved, ...]
    cut_off: str | None
    stuck: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class SavedPlan:
    """A plan as it was made: who, when, from what, and what came out. `replaces` is the plan it takes the place of.

    `figures` and `first_come` are None when a stop left nothing that can be cut.
    """

    plan_id: str
    made_at: datetime
    made_by: str
    request: ShiftRequest
    hours: ShiftHours
    trays: tuple[TrayToCut, ...]
    pieces: tuple[Piece, ...]
    saws: tuple[Saw, ...]
    lines: tuple[PlanLine, ...]
    figures: PlanFigures | None
    first_come: PlanFigures | None
    bound_min: float
    left_out: tuple[LeftOut, ...]
    says: str
    looked_s: float
    times: tuple[TimesLine, ...] = ()
    replaces: str | None = None
    change: Change | None = None

    @property
    def day(self) -> str:
        return self.request.day

    @property
    def gap(self) -> float | None:
        """Share by which the best plan could still be cheaper; None when it is not known."""
        if self.figures is None or self.bound_min <= 0.0:
            return None
        return 1.0 - self.bound_min / self.figures.cost_min if self.figures.cost_min > 0.0 else 0.0

    @property
    def saved(self) -> float | None:
        """Share by which the plan is cheaper than first come, first served."""
        if self.figures is None or self.first_come is None or self.first_come.cost_min <= 0.0:
            return None
        return 1.0 - self.figures.cost_min / self.first_come.cost_min

    def operator_of(self, saw: str) -> str:
        return next((one.operator for one in self.request.saws if one.saw == saw), "")


def minute_of_day(text: str) -> int:
    """'07:30' as minutes after midnight; ImpossibleValue when it is no time of day."""
    hours, colon, minutes = text.strip().partition(":")
    whole = hours.isdecimal() and minutes.isdecimal() and len(hours) <= 2 and len(minutes) == 2
    if not (colon and whole and int(hours) < 24 and int(minutes) < 60):
        raise ImpossibleValue(f"{text.strip()[:20]!r} is no time of day", where="time", remedy="Type it like 07:30")
    return int(hours) * 60 + int(minutes)
