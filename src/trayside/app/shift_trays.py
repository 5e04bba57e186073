"""The trays that wait for a saw: what of each is not cut yet, how long it takes, which saw it asks for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from trayside.app.bag_views import Bag, hole_bags
from trayside.app.cutting_times import bag_minutes
from trayside.app.ports import Work
from trayside.app.saw_cuts import class_of, saw_need, sawn_of
from trayside.model.cut_sheet import SheetRow
from trayside.model.rules import Rules
from trayside.model.saw import SawKind, fits_need
from trayside.model.shift import HoleWish, LeftOut, TimesLine, TrayToCut

NOT_CUT = ("planned", "not cut")


@dataclass(frozen=True, slots=True)
class WaitingTray:
    """One tray with the rows of core that nobody cut."""

    hole_id: str
    tray: int
    rows: tuple[SheetRow, ...]

    @property
    def name(self) -> str:
        return f"{self.hole_id}/{self.tray}"


@dataclass(frozen=True, slots=True)
class SawnTray:
    """A waiting tray with its minutes and its square metres."""

    tray: TrayToCut
    area_m2: float
    grade: int


def waiting_trays(work: Work, holes: Iterable[HoleWish], *, most: int) -> tuple[tuple[WaitingTray, ...], list[LeftOut]]:
    """Trays of these holes in the order the sheets were issued; at most so many, the rest is said to be left out."""
    wanted = {one.hole_id for one in holes}
    found: list[WaitingTray] = []
    left_out: list[LeftOut] = []
    for waiting in work.shifts.holes_to_cut():
        if waiting.hole_id not in wanted:
            continue
        trays = _of_hole(work, waiting.hole_id)
        room = max(0, most - len(found))
        found += trays[:room]
        if trays[room:]:
            beyond = trays[room:]
            left_out.append(
                LeftOut(
                    f"{waiting.hole_id}, {len(beyond)} trays",
                    f"more than {most} trays are not planned at once; these were issued later",
                    sum(metres_of(one.rows) for one in beyond),
                )
            )
    return tuple(found), left_out


def _of_hole(work: Work, hole_id: str) -> list[WaitingTray]:
    held = hole_bags(work, hole_id)
    by_tray: dict[int, list[Bag]] = {}
    for bag in held.bags if held else ():
        if bag.row.is_core and bag.tray is not None and bag.state in NOT_CUT:
            by_tray.setdefault(bag.tray, []).append(bag)
    return [
        WaitingTray(hole_id, tray, tuple(bag.row for bag in by_tray[tray])) for tray in sorted(by_tray)
    ]


def metres_of(rows: Sequence[SheetRow]) -> float:
    """Metres of core; a duplicate lies in the core of its sample, unless only the duplicate is left to cut."""
    of_samples = sum(_length_m(row) for row in rows if row.kind == "sample")
    return of_samples or sum(_length_m(row) for row in rows)


def _length_m(row: SheetRow) -> float:
    if row.from_mm is None or row.to_mm is None:
        return 0.0
    return (row.to_mm - row.from_mm if row.recovered_mm is None else row.recovered_mm) / 1000.0


def timed_tray(
    waiting: WaitingTray, *, times: Sequence[TimesLine], diameters_mm: Mapping[str, float], rules: Rules
) -> SawnTray:
    """The tray as a piece of the plan. Its grade is that of its richest row."""
    minutes = area = 0.0
    needs: list[str] = []
    sampled = any(row.kind == "sample" for row in waiting.rows)
    for row in waiting.rows:
        diameter = diameters_mm[row.core_size or ""]
        _, area_m2 = sawn_of(row, core_diameter_mm=diameter, rules=rules)
        metres = _length_m(row) if row.kind == "sample" or not sampled else 0.0
        minutes += bag_minutes(
            times, class_of(row.rock, rules).name, core_diameter_mm=diameter, metres=metres, area_m2=area_m2
        )
        area += area_m2
        need = saw_need(row, rules)
        if need and need not in needs:
            needs.append(need)
    ranks = {one.name: rank for rank, one in enumerate(rules.grade_classes)}
    richest = max(waiting.rows, key=lambda row: ranks.get(row.grade_class or "", 0))
    tray = TrayToCut(
        piece=waiting.name,
        hole_id=waiting.hole_id,
        tray=waiting.tray,
        bags=tuple(row.number for row in waiting.rows),
        metres=metres_of(waiting.rows),
        minutes=minutes,
        grade_class=richest.grade_class or "",
        needs=tuple(needs),
    )
    return SawnTray(tray, area, ranks.get(tray.grade_class, 0))


def saws_for(tray: TrayToCut, kinds: Mapping[str, SawKind | None]) -> tuple[str, ...]:
    """The saws that may take all of the tray; a saw of unknown kind takes anything."""
    return tuple(
        saw for saw, kind in kinds.items() if kind is None or all(fits_need(kind, need) for need in tray.needs)
    )
