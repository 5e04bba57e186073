"""Which run (or tray) answers for a depth when two of them claim it: the first one named.

Private groundwork of `depth` and `tray_map`. A shared end belongs to the stretch below, a free end to the one above.
"""

from __future__ import annotations

from bisect import bisect_right
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trayside.core.recovery import NANOMETRE_M
from trayside.core.refusals import Floats

Whole = NDArray[np.int64]

# core from, core to, depth from, depth to, run
Piece = tuple[float, float, float, float, int]


def owned_stretches(top: Floats, bottom: Floats) -> tuple[Floats, Floats, Whole]:
    """Depth stretches that overlap nowhere, from the top down, with the index of the first interval that holds each."""
    if not len(top):
        return np.zeros(0), np.zeros(0), np.zeros(0, dtype=np.int64)
    if np.all(top[1:] >= bottom[:-1] - NANOMETRE_M):
        return top.copy(), bottom.copy(), np.arange(len(top))
    cuts = np.unique(np.concatenate((top, bottom)))
    middle = (cuts[1:] + cuts[:-1]) / 2.0
    holds = (top[None, :] < middle[:, None]) & (middle[:, None] < bottom[None, :])
    owner = np.where(holds.any(axis=1), holds.argmax(axis=1), -1)
    begins = np.flatnonzero((owner >= 0) & (owner != np.concatenate(([-2], owner[:-1]))))
    ends = np.flatnonzero((owner >= 0) & (owner != np.concatenate((owner[1:], [-2]))))
    return cuts[begins], cuts[ends + 1], owner[begins]


def owner_at(depth: Floats, own_from: Floats, own_to: Floats, owner: Whole) -> Whole:
    """The owner of each depth; -1 where none."""
    if not owner.size:
        return np.full(depth.shape, -1, dtype=np.int64)
    at = np.searchsorted(own_from - NANOMETRE_M, depth, side="right") - 1
    first = np.maximum(at, 0)
    return np.where((at >= 0) & (depth <= own_to[first] + NANOMETRE_M), owner[first], -1)


def own_pieces(pieces: list[Piece], own_from: Floats, own_to: Floats, own_run: Whole) -> dict[str, Any]:
    """Pieces cut where the owner of their depth changes, each marked as answering for its depth or not.

    A long core that runs on into depth no run owns answers there too, unless another one already does.
    """
    tops, bottoms, owners = own_from.tolist(), own_to.tolist(), own_run.tolist()
    rows: list[tuple[float, float, float, float, int, bool]] = []
    answered = -np.inf
    for core_from, core_to, top, bottom, run in pieces:
        density = (core_to - core_from) / (bottom - top)
        for low, high in pairwise([top, *_edges_inside(tops, bottoms, top, bottom), bottom]):
            at = bisect_right(tops, (low + high) / 2.0) - 1
            claimed = at >= 0 and (low + high) / 2.0 < bottoms[at]
            owned = claimed and owners[at] == run
            if not claimed and low >= answered - NANOMETRE_M:
                owned, answered = True, high
            upper = core_from if low == top else core_from + (low - top) * density
            lower = core_to if high == bottom else core_from + (high - top) * density
            rows.append((upper, lower, low, high, run, owned))
    table = np.array([row[:4] for row in rows], dtype=np.float64).reshape(-1, 4)
    owned_rows = np.array([row[5] for row in rows], dtype=bool)
    owned_index = np.flatnonzero(owned_rows)
    return {
        "piece_core_from_m": table[:, 0].copy(),
        "piece_core_to_m": table[:, 1].copy(),
        "piece_depth_from_m": table[:, 2].copy(),
        "piece_depth_to_m": table[:, 3].copy(),
        "piece_run": np.array([row[4] for row in rows], dtype=np.int64),
        "piece_owned": owned_rows,
        "owned_by_depth": owned_index[np.argsort(table[owned_index, 2], kind="stable")],
    }


def own_losses(
    lost: list[tuple[float, float, int, bool]], own_from: Floats, own_to: Floats, own_run: Whole
) -> tuple[Floats, Floats, Whole, NDArray[np.bool_]]:
    """Losses inside the depths their run owns, from the top down: from, to, run, known place."""
    stretches: dict[int, list[tuple[float, float]]] = {}
    for low, high, run in zip(own_from.tolist(), own_to.tolist(), own_run.tolist(), strict=True):
        stretches.setdefault(run, []).append((low, high))
    rows = sorted(
        (max(low, own_low), min(high, own_high), run, known)
        for low, high, run, known in lost
        for own_low, own_high in stretches.get(run, ())
        if min(high, own_high) - max(low, own_low) > NANOMETRE_M
    )
    return (
        np.array([row[0] for row in rows], dtype=np.float64),
        np.array([row[1] for row in rows], dtype=np.float64),
        np.array([row[2] for row in rows], dtype=np.int64),
        np.array([row[3] for row in rows], dtype=bool),
    )


def _edges_inside(tops: list[float], bottoms: list[float], low: float, high: float) -> list[float]:
    """Ends of owned stretches strictly between two depths, rising, each once."""
    edges: list[float] = []
    last = low
    at = max(bisect_right(tops, low) - 1, 0)
    while at < len(tops) and tops[at] < high - NANOMETRE_M:
        for edge in (tops[at], bottoms[at]):
            if last + NANOMETRE_M < edge < high - NANOMETRE_M:
                edges.append(edge)
                last = edge
        at += 1
    return edges
