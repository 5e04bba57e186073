"""The advice as few orders: stretches of trays over which the cut line runs straight on the unrolled core."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trayside.app.cut_advice import TURN, CutAdvice, TrayAdvice
from trayside.app.cut_register import CutLine
from trayside.core.cut_mark import turn_deg

WITHIN_MM = 1.0
"""Nobody marks finer on wet core: a straight line may miss the computed one by so much arc."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """Trays with one order: the line from its top to its bottom, and what it follows."""

    line: CutLine
    first_tray: int | None
    last_tray: int | None
    core_diameter_mm: float
    case: str
    domain: int


def advised_stretches(advice: CutAdvice) -> tuple[Stretch, ...]:
    """Top to bottom. Where the line will do, or nothing matters, the cut line is the orientation line."""
    groups: list[list[TrayAdvice]] = []
    for tray in advice.trays:
        last = groups[-1][-1] if groups else None
        same = last is not None and (last.case == TURN) == (tray.case == TURN)
        same = same and last.core_diameter_mm == tray.core_diameter_mm
        if same and tray.case == TURN:
            same = last.domain == tray.domain and abs(last.end_deg - tray.start_deg) < 45.0
        if same:
            groups[-1].append(tray)
        else:
            groups.append([tray])
    return tuple(stretch for group in groups for stretch in _straight(group, advice.bag_side))


def _straight(group: list[TrayAdvice], side: str) -> list[Stretch]:
    if group[0].case != TURN:
        return [_stretch(group, 0.0, 0.0, side, "orientation line")]
    within = float(turn_deg(core_diameter_mm=group[0].core_diameter_mm, arc_mm=WITHIN_MM))
    return [
        _stretch(part, part[0].start_deg, part[-1].end_deg, side, "best plane", within)
        for part in _parts(group, within)
    ]


def _parts(group: list[TrayAdvice], within_deg: float) -> list[list[TrayAdvice]]:
    """Cut the row of trays where the straight line between its ends misses a tray's angle by most, until none does."""
    first, last = group[0], group[-1]
    length = max(1, last.to_mm - first.from_mm)

    def off(tray: TrayAdvice) -> float:
        straight = first.start_deg + (last.end_deg - first.start_deg) * (tray.to_mm - first.from_mm) / length
        return abs(straight - tray.end_deg)

    worst = max(range(len(group)), key=lambda at: off(group[at]))
    if len(group) == 1 or worst == len(group) - 1 or off(group[worst]) <= within_deg:
        return [group]
    return [*_parts(group[: worst + 1], within_deg), *_parts(group[worst + 1 :], within_deg)]


def _stretch(
    group: Sequence[TrayAdvice], start_deg: float, end_deg: float, side: str, basis: str, within_deg: float = 0.0
) -> Stretch:
    if abs(end_deg - start_deg) <= within_deg:
        start_deg = end_deg = 0.5 * (start_deg + end_deg)
    line = CutLine(group[0].from_mm, group[-1].to_mm, start_deg, end_deg, side, basis)
    return Stretch(line, group[0].tray, group[-1].tray, group[0].core_diameter_mm, group[0].case, group[0].domain)
