"""The core of a hole as it is laid out in trays: core, loss spacers and blocks one after another.

Private groundwork of `tray_map`. `laid` is the length in metres from the first piece along all that is laid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.depth import Registration
from trayside.core.recovery import NANOMETRE_M
from trayside.core.refusals import Floats
from trayside.core.run_ownership import Whole

CORE, SPACER, BLOCK = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Elements:
    """Everything laid, in laid order; `answers` lists, from the top down, the elements a depth is looked up in.

    `parted_m` is, for each of those, the laid length at which a tray is parted that begins at the top of it: below the
    block of the run above, above core of the same run whose depth the run above owns.
    """

    kind: Whole
    laid_from_m: Floats
    laid_to_m: Floats
    depth_from_m: Floats
    depth_to_m: Floats
    run: Whole
    answers: Whole
    parted_m: Floats

    @property
    def laid_m(self) -> float:
        """Length of everything laid."""
        return float(self.laid_to_m[-1]) if self.laid_to_m.size else 0.0

    def element_at(self, depth: Floats) -> tuple[Whole, NDArray[np.bool_]]:
        """Element that answers for each depth, and whether it reaches it. On the lip of a loss its core answers."""
        if not self.answers.size:
            return np.zeros(depth.shape, dtype=np.int64), np.zeros(depth.shape, dtype=bool)
        tops = self.depth_from_m[self.answers]
        at = np.searchsorted(tops - NANOMETRE_M, depth, side="right") - 1
        first = np.maximum(at, 0)
        here, above = self.answers[first], self.answers[np.maximum(at - 1, 0)]
        on_lip = (
            (at > 0)
            & (self.kind[here] == SPACER)
            & (self.kind[above] == CORE)
            & (self.run[above] == self.run[here])
            & (self.depth_to_m[above] >= depth - NANOMETRE_M)
        )
        element = np.where(on_lip, above, here)
        return element, (at >= 0) & (depth <= self.depth_to_m[element] + NANOMETRE_M)

    def laid_at(self, depth: Floats, element: Whole) -> Floats:
        """Laid length at depths that these elements answer for."""
        top, bottom = self.depth_from_m[element], self.depth_to_m[element]
        low, high = self.laid_from_m[element], self.laid_to_m[element]
        return low + np.clip((depth - top) / (bottom - top), 0.0, 1.0) * (high - low)

    def laid_above(self, depth: Floats) -> Floats:
        """Laid length of everything above each depth, the block at that depth included: where a tray is parted."""
        if not self.answers.size:
            return np.zeros(depth.shape)
        tops = self.depth_from_m[self.answers]
        at = np.searchsorted(tops - NANOMETRE_M, depth, side="right") - 1
        element = self.answers[np.maximum(at, 0)]
        on_top = (at >= 0) & (depth <= self.depth_from_m[element] + NANOMETRE_M)
        inside = (at >= 0) & ~on_top & (depth < self.depth_to_m[element] - NANOMETRE_M)
        parted = np.append(self.parted_m, self.laid_m)[np.where(on_top, at, at + 1)]
        return np.where(inside, self.laid_at(depth, element), parted)

    def depth_at(self, laid: Floats) -> Floats:
        """Depth of points on the laid-out core; NaN in spacers and blocks. On a joint the core answers."""
        solid = np.flatnonzero(self.laid_to_m - self.laid_from_m > NANOMETRE_M)
        if not solid.size:
            return np.full(laid.shape, np.nan)
        at = np.searchsorted(self.laid_from_m[solid] - NANOMETRE_M, laid, side="right") - 1
        here, above = solid[np.maximum(at, 0)], solid[np.maximum(at - 1, 0)]
        on_joint = (
            (at > 0)
            & (self.kind[here] != CORE)
            & (self.kind[above] == CORE)
            & (self.laid_to_m[above] >= laid - NANOMETRE_M)
        )
        element = np.where(on_joint, above, here)
        inside = (at >= 0) & (laid <= self.laid_to_m[element] + NANOMETRE_M) & (self.kind[element] == CORE)
        return np.where(inside, self.depth_along(laid, element), np.nan)

    def depth_along(self, laid: Floats, element: Whole) -> Floats:
        """Depth at laid lengths inside these elements; a block has the one depth written on it."""
        low, high = self.laid_from_m[element], self.laid_to_m[element]
        top, bottom = self.depth_from_m[element], self.depth_to_m[element]
        length = high - low
        share = np.clip((laid - low) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
        return top + share * (bottom - top)


def laid_elements(*, registration: Registration, fixed_spacer_m: float | None, block_m: float) -> Elements:
    """All elements of a hole in laid order: by depth, the core of a run that overlaps kept within its run."""
    r = registration
    # Runs that own several stretches end in the last of them; there lie their block and what they share with others.
    last_group = {run: group for group, run in enumerate(r.own_run.tolist())}
    rows: list[tuple[int, float, int, float, float, float, int, bool]] = []

    def group_at(depth: ArrayLike) -> Whole:
        return np.maximum(np.searchsorted(r.own_from_m, depth, side="right") - 1, 0)

    pieces = zip(
        (r.piece_core_to_m - r.piece_core_from_m).tolist(),
        r.piece_depth_from_m.tolist(),
        r.piece_depth_to_m.tolist(),
        r.piece_run.tolist(),
        r.piece_owned.tolist(),
        group_at((r.piece_depth_from_m + r.piece_depth_to_m) / 2.0).tolist(),
        strict=True,
    )
    for length, top, bottom, run, owned, by_depth in pieces:
        group = by_depth if owned else last_group.get(run, by_depth)
        rows.append((group, top, CORE, length, top, bottom, run, owned))
    for low, high, run in _joined_losses(r):
        spacer = high - low if fixed_spacer_m is None else fixed_spacer_m
        rows.append((int(group_at((low + high) / 2.0)), low, SPACER, spacer, low, high, run, True))
    for run, (block, by_depth) in enumerate(zip(r.run_to_m.tolist(), group_at(r.run_to_m).tolist(), strict=True)):
        rows.append((last_group.get(run, by_depth), np.inf, BLOCK, block_m, block, block, run, False))
    rows.sort(key=lambda row: row[:2])

    group = np.array([row[0] for row in rows], dtype=np.int64)
    ends = np.cumsum(np.array([row[3] for row in rows], dtype=np.float64))
    starts = np.concatenate(([0.0], ends))[:-1] if rows else ends
    depth_from = np.array([row[4] for row in rows], dtype=np.float64)
    answers = np.flatnonzero([row[7] for row in rows])
    answers = answers[np.argsort(depth_from[answers], kind="stable")]
    first_in_group = np.diff(group[answers], prepend=-1) != 0
    group_start = starts[np.searchsorted(group, group[answers])] if rows else starts
    return Elements(
        kind=np.array([row[2] for row in rows], dtype=np.int64),
        laid_from_m=starts,
        laid_to_m=ends,
        depth_from_m=depth_from,
        depth_to_m=np.array([row[5] for row in rows], dtype=np.float64),
        run=np.array([row[6] for row in rows], dtype=np.int64),
        answers=answers,
        parted_m=np.where(first_in_group, group_start, starts[answers]) if rows else starts,
    )


def _joined_losses(registration: Registration) -> list[tuple[float, float, int]]:
    """Losses from the top down, those of one run that touch each other joined: one spacer stands for them."""
    joined: list[tuple[float, float, int]] = []
    lost = registration.lost
    for low, high, run in zip(lost.from_m.tolist(), lost.to_m.tolist(), lost.run_index.tolist(), strict=True):
        if joined and joined[-1][2] == run and low - joined[-1][1] <= NANOMETRE_M:
            joined[-1] = (joined[-1][0], high, run)
        else:
            joined.append((low, high, run))
    return joined
