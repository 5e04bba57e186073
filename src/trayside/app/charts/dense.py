"""Many results in one chart: bands by stretches of the order, and points only for the odd ones or a close look."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trayside.app.charts.figure import Row, figures

DENSE = 1500
STRETCHES = 240
MOST_ODD = 500


@dataclass(frozen=True, slots=True, eq=False)
class Thinned:
    """What is drawn of a series: `points` are places in it (from 0), `bands` rows of stretches; empty when all fit."""

    points: NDArray[np.int64]
    bands: list[Row]
    first: int
    last: int
    odd_left_out: int

    @property
    def dense(self) -> bool:
        return bool(self.bands)

    @property
    def note(self) -> str:
        """What a reader must know about how it is drawn."""
        if not self.dense:
            return ""
        told = f" {self.last - self.first} results: drawn as bands from lowest to highest, the odd ones as points."
        if self.odd_left_out:
            told += f" The {len(self.points)} oddest are drawn, {self.odd_left_out} more are not."
        return told


def thinned(
    values: NDArray[np.float64],
    *,
    odd: NDArray[np.bool_],
    gravity: NDArray[np.float64],
    window: tuple[int, int] | None = None,
) -> Thinned:
    """Choose what to draw. `window` is the first and last place (from 1) of a close look; `gravity` ranks the odd."""
    first, last = (0, len(values)) if window is None else (max(0, window[0] - 1), min(len(values), window[1]))
    inside = np.arange(first, max(first, last))
    if len(inside) <= DENSE:
        return Thinned(inside, [], first, max(first, last), 0)
    odd_ones = inside[odd[first:last]]
    kept = odd_ones
    if len(kept) > MOST_ODD:
        kept = np.sort(kept[np.argsort(-np.nan_to_num(np.abs(gravity[kept]), nan=0.0), kind="stable")[:MOST_ODD]])
    return Thinned(kept, bands(values, first, last), first, last, len(odd_ones) - len(kept))


def bands(values: NDArray[np.float64], first: int, last: int) -> list[Row]:
    """Lowest, median and highest of each of about STRETCHES stretches; a stretch without a number is left out."""
    edges = np.linspace(first, last, STRETCHES + 1).astype(int)
    rows = []
    for start, end in pairwise(edges):
        held = values[start:end]
        held = held[np.isfinite(held)]
        if len(held):
            rows.append(
                {
                    "place": (int(start) + int(end) + 1) / 2,
                    "low": figures(held.min()),
                    "middle": figures(np.median(held)),
                    "high": figures(held.max()),
                    "results": len(held),
                }
            )
    return rows


def even_places(count: int, most: int) -> NDArray[np.int64]:
    """At most `most` places spread evenly over a series, the last one among them."""
    if count <= most:
        return np.arange(count)
    return np.unique(np.linspace(0, count - 1, most).round().astype(np.int64))
