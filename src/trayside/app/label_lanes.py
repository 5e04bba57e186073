"""Finds room for labels along a line: the first lane in which a label touches no other."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

GAP_PX = 5.0


@dataclass(frozen=True, slots=True)
class Placed:
    """Left edge of a label and its lane, 0 nearest to what it names."""

    left_px: float
    lane: int


def place_labels(*, wanted: Sequence[tuple[float, float]], left_px: float, right_px: float) -> tuple[Placed, ...]:
    """A place for each (middle, width), kept inside the picture; earlier labels choose first."""
    lanes: list[list[tuple[float, float]]] = []
    found = []
    for middle, width in wanted:
        left = max(left_px, min(middle - width / 2, right_px - width))
        lane = next((at for at, taken in enumerate(lanes) if _free(taken, left, left + width)), len(lanes))
        if lane == len(lanes):
            lanes.append([])
        lanes[lane].append((left, left + width))
        found.append(Placed(left, lane))
    return tuple(found)


def lanes_used(placed: Iterable[Placed]) -> int:
    return max((label.lane + 1 for label in placed), default=0)


def _free(taken: list[tuple[float, float]], left: float, right: float) -> bool:
    return all(right + GAP_PX <= low or left >= high + GAP_PX for low, high in taken)
