"""The cut-line register: where the geologist set the cut line and which half is bagged, and how the line was drawn.

Nothing set means the yard's rule: the cut line is the orientation line, and `cut.bag_side` says which half is bagged.
Everything here is read from the ledger: decisions about the hole, readings about its trays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.app.typed_depth import DEEPEST_M
from trayside.core.orientation_quality import LineDrift, line_drift, signed_turn
from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.bag_states import state_in_ledger
from trayside.model.event import tray_object
from trayside.model.event_kinds import CUT_LINE_BASES
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules

OTHER_SIDE = {"right": "left", "left": "right"}
NOT_SET = "yard's rule"


@dataclass(frozen=True, slots=True)
class CutLine:
    """The cut line over one stretch: its angle from the orientation line at both ends, clockwise looking downhole.

    It turns evenly between. `side` is the half in the bag, looking downhole with the cut line up. `reason` is empty where
    the yard's rule holds.
    """

    from_mm: int
    to_mm: int
    start_deg: float = 0.0
    end_deg: float = 0.0
    side: str = "right"
    basis: str = NOT_SET
    reason: str = ""
    person: str = ""
    captured_at: str = ""

    @property
    def is_set(self) -> bool:
        return self.basis != NOT_SET

    @property
    def on_the_line(self) -> bool:
        """Whether the cut line is the orientation line all along."""
        return self.start_deg == self.end_deg == 0.0

    def angle_at(self, depth_mm: float) -> float:
        share = (depth_mm - self.from_mm) / max(1, self.to_mm - self.from_mm)
        return self.start_deg + min(1.0, max(0.0, share)) * float(signed_turn(self.end_deg - self.start_deg))

    def between(self, from_mm: int, to_mm: int) -> CutLine:
        """The part of it between two depths."""
        low, high = max(from_mm, self.from_mm), min(to_mm, self.to_mm)
        return CutLine(low, high, self.angle_at(low), self.angle_at(high), self.side, self.basis, self.reason, self.person,
                       self.captured_at)  # fmt: skip


@dataclass(frozen=True, slots=True)
class TrayReading:
    """Where the drawn cut line lay at the start and the end of one tray."""

    tray: int
    from_mm: int
    to_mm: int
    start_deg: int
    end_deg: int
    person: str
    captured_at: str


@dataclass(frozen=True, slots=True)
class CutRegister:
    """Stretches from the top down without gaps, newest decision on top; `history` holds every decision that counts."""

    lines: tuple[CutLine, ...]
    history: tuple[CutLine, ...] = ()

    def over(self, from_mm: int, to_mm: int) -> tuple[CutLine, ...]:
        """What holds between two depths, top to bottom."""
        return tuple(one.between(from_mm, to_mm) for one in self.lines if one.from_mm < to_mm and one.to_mm > from_mm)

    def at(self, depth_mm: float) -> CutLine:
        return next((one for one in self.lines if depth_mm < one.to_mm), self.lines[-1])

    @property
    def any_set(self) -> bool:
        return any(one.is_set for one in self.lines)


def cut_register(work: Work, core: HoleCore, rules: Rules) -> CutRegister:
    """The register of one hole, as the ledger holds it now."""
    hole_id = core.hole.hole_id
    state = state_in_ledger(work.events_of_objects([("hole", hole_id)]).get(("hole", hole_id), ()), machine="hole")
    history = [
        CutLine(
            fact.values["from_mm"], fact.values["to_mm"], fact.values["start_deg"], fact.values["end_deg"],
            fact.values["side"], fact.values["basis"], fact.event.reason or "", fact.event.person, fact.event.captured_at,
        )
        for fact in state.facts
        if fact.event.kind == "cut_line_set"
    ]  # fmt: skip
    return register_of(history, rules)


def register_of(history: Sequence[CutLine], rules: Rules) -> CutRegister:
    """Decisions in the order they were made; a later one holds where it overlaps an earlier one."""
    deepest_mm = round(DEEPEST_M * 1000)
    lines = [CutLine(0, deepest_mm, side=rules.cut.bag_side)]
    for new in history:
        kept = [part for old in lines for part in _without(old, new)]
        lines = sorted([*kept, new], key=lambda one: one.from_mm)
    return CutRegister(tuple(lines), tuple(history))


def _without(old: CutLine, new: CutLine) -> list[CutLine]:
    if new.to_mm <= old.from_mm or old.to_mm <= new.from_mm:
        return [old]
    parts = []
    if old.from_mm < new.from_mm:
        parts.append(old.between(old.from_mm, new.from_mm))
    if new.to_mm < old.to_mm:
        parts.append(old.between(new.to_mm, old.to_mm))
    return parts


def tray_readings(work: Work, core: HoleCore) -> tuple[TrayReading, ...]:
    """The newest reading of each tray that has one, in the order of depth."""
    hole_id = core.hole.hole_id
    trays = {tray_object(hole_id, tray.tray): tray for tray in core.trays}
    found = []
    for (_, name), events in work.events_of_objects(("tray", name) for name in trays).items():
        fact = state_in_ledger(events, machine="tray").latest("cut_line_read")
        if fact is not None:
            tray = trays[name]
            start_deg, end_deg = fact.values["start_deg"], fact.values["end_deg"]
            by, at = fact.event.person, fact.event.captured_at
            found.append(TrayReading(tray.tray, tray.from_mm, tray.to_mm, start_deg, end_deg, by, at))
    return tuple(sorted(found, key=lambda one: one.from_mm))


def drift_of(readings: Sequence[TrayReading], rules: Rules) -> LineDrift | None:
    """How the drawn cut line turns along the hole; None while fewer than two trays were read."""
    usable = [one for one in readings if one.to_mm > one.from_mm]
    deep = [usable[0]] if usable else []
    for one in usable[1:]:
        if one.from_mm >= deep[-1].to_mm:
            deep.append(one)
    if len(deep) < 2:
        return None
    return line_drift(
        depth_m=[at / 1000 for one in deep for at in (one.from_mm, one.to_mm)],
        offset_deg=[angle for one in deep for angle in (one.start_deg, one.end_deg)],
        tray=[at for at in range(len(deep)) for _ in range(2)],
        alert_deg=rules.cut_plane.drift_alert_deg,
    )


def away_from_set(reading: TrayReading, register: CutRegister) -> tuple[float, float]:
    """How far the drawn line lies from where it was set, at the start and the end of the tray."""
    start, end = register.at(reading.from_mm), register.at(reading.to_mm - 1)
    return (
        float(signed_turn(reading.start_deg - start.angle_at(reading.from_mm))),
        float(signed_turn(reading.end_deg - end.angle_at(reading.to_mm))),
    )


def set_cut_line(
    hole_id: str,
    *,
    lines: Sequence[CutLine],
    reason: str,
    desk: Desk,
    start_work: StartWork,
) -> None:
    """Record decisions on the cut line, all or none; each is signed and says why."""
    why = " ".join(reason.split())
    if not why:
        raise RefusedByRule("no reason was given", where=hole_id, remedy="Say why the cut line is set there")
    if not lines:
        raise RefusedByRule("there is nothing to set", where=hole_id, remedy="Give a stretch with its angle")
    for line in lines:
        _refuse_odd(hole_id, line)
    for above, below in pairwise(sorted(lines, key=lambda one: one.from_mm)):
        if below.from_mm < above.to_mm:
            raise ImpossibleValue("two stretches overlap", where=hole_id, remedy="End one where the other begins")
    with start_work() as work:
        work.hole_core(hole_id)  # NotFound when the yard does not hold it
        events = [
            desk.act(
                "cut_line_set",
                "hole",
                hole_id,
                hole_id=hole_id,
                values={
                    "from_mm": line.from_mm,
                    "to_mm": line.to_mm,
                    "start_deg": _whole_deg(line.start_deg),
                    "end_deg": _whole_deg(line.end_deg),
                    "side": line.side,
                    "basis": line.basis,
                },
                reason=why,
            )
            for line in lines
        ]
        record_all(work, events, clock=desk.clock, where=hole_id)
        work.commit()


def read_cut_line(
    hole_id: str, tray: int, *, start_deg: float, end_deg: float, desk: Desk, start_work: StartWork
) -> None:
    """Record where the drawn cut line lies at both ends of a tray."""
    name = tray_object(hole_id, tray)
    with start_work() as work:
        if tray not in {one.tray for one in work.hole_core(hole_id).trays}:
            raise RefusedByRule(f"{hole_id} has no tray {tray}", where=hole_id, remedy="Look at the number of the tray")
        values = {"start_deg": _whole_deg(start_deg), "end_deg": _whole_deg(end_deg)}
        event = desk.act("cut_line_read", "tray", name, values=values, hole_id=hole_id, tray=tray)
        record_all(work, [event], clock=desk.clock, where=name)
        work.commit()


def _refuse_odd(hole_id: str, line: CutLine) -> None:
    if line.to_mm <= line.from_mm:
        raise ImpossibleValue(
            "the bottom does not lie below the top", where=hole_id, remedy="Look at both depths again"
        )
    if line.side not in OTHER_SIDE:
        raise ImpossibleValue("no half is named", where=hole_id, remedy="Choose right or left")
    if line.basis not in CUT_LINE_BASES:
        raise ImpossibleValue(
            "it is not said what the line follows", where=hole_id, remedy=f"One of: {', '.join(CUT_LINE_BASES)}"
        )


def _whole_deg(angle_deg: float) -> int:
    """Whole degrees from above -180 to 180: finer than anybody draws (0.4 mm on NQ)."""
    whole = round(float(signed_turn(angle_deg)))
    return 180 if whole == -180 else whole
