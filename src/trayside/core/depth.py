"""Where the core lies in the hole: straight pieces that tie a position on the laid-out core to a hole depth, both ways.

    core_m   length of core from the collar side of the first run, summed over runs as they were brought up
    depth_m  depth in the hole

Each run is laid between its own blocks; nothing is ever carried across a block. Depth rises with core_m inside a run.
Two runs may share depth when a long core is let overlap, or when blocks overlap: then the run that owns the depth
answers. A run owns the depth between its blocks; where blocks overlap, the run named first owns the shared part.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.recovery import NANOMETRE_M, run_columns, same_columns
from trayside.core.refusals import Floats, numbers, plain, refuse_where
from trayside.core.run_ownership import Whole, own_losses, own_pieces, owned_stretches, owner_at
from trayside.errors import ImpossibleValue

LOSS_RULES = ("end_of_run", "start_of_run", "stretch")
LONG_RULES = ("overlap", "scale")

# Losses and blocks are written to the millimetre; sums of them may miss each other by less than this.
FIT_M = 1e-6


@dataclass(frozen=True, slots=True)
class LostStretches:
    """Depths with no core, from the top down."""

    from_m: Floats
    to_m: Floats
    run_index: Whole
    known: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Registration:
    """The straight pieces that tie core to depth, in core order, and what each run lost or had too much.

    A piece `piece_owned` answers for its depths in `core_at`; the others are core whose depth another run owns.
    `owned_by_depth` lists the owned pieces from the top down.
    """

    run_from_m: Floats
    run_to_m: Floats
    recovered_m: Floats
    core_start_m: Floats
    unplaced_loss_m: Floats
    long_m: Floats
    piece_core_from_m: Floats
    piece_core_to_m: Floats
    piece_depth_from_m: Floats
    piece_depth_to_m: Floats
    piece_run: Whole
    piece_owned: NDArray[np.bool_]
    owned_by_depth: Whole
    own_from_m: Floats
    own_to_m: Floats
    own_run: Whole
    lost: LostStretches

    def depth_at(self, *, core_m: ArrayLike) -> Any:
        """Hole depth of points on the laid-out core; NaN off the core.

        A point on the joint between two pieces is the lower end of the upper piece: depth jumps below it.
        """
        core = np.asarray(core_m, dtype=np.float64)
        if not self.piece_run.size:
            return plain(np.full(core.shape, np.nan))
        at = np.searchsorted(self.piece_core_to_m, core - NANOMETRE_M, side="left")
        inside = (core >= -NANOMETRE_M) & (at < self.piece_run.size)
        at = np.minimum(at, self.piece_run.size - 1)
        low, high = self.piece_core_from_m[at], self.piece_core_to_m[at]
        share = np.clip((core - low) / (high - low), 0.0, 1.0)
        top, bottom = self.piece_depth_from_m[at], self.piece_depth_to_m[at]
        return plain(np.where(inside, top + share * (bottom - top), np.nan))

    def core_at(self, *, depth_m: ArrayLike) -> Any:
        """Position on the laid-out core of hole depths; NaN where no core exists.

        Where a long core overlaps the next run, the next run answers for its own depths. Both lips of a loss have core.
        """
        depth = np.asarray(depth_m, dtype=np.float64)
        if not self.owned_by_depth.size:
            return plain(np.full(depth.shape, np.nan))
        piece, inside = self.owned_piece_at(depth)
        top, bottom = self.piece_depth_from_m[piece], self.piece_depth_to_m[piece]
        low, high = self.piece_core_from_m[piece], self.piece_core_to_m[piece]
        share = np.clip((depth - top) / (bottom - top), 0.0, 1.0)
        return plain(np.where(inside, low + share * (high - low), np.nan))

    def run_at(self, *, depth_m: ArrayLike) -> Any:
        """Index of the run that owns each depth; -1 outside every run. A block belongs to the run below it."""
        depth = np.asarray(depth_m, dtype=np.float64)
        found = owner_at(depth, self.own_from_m, self.own_to_m, self.own_run)
        return int(found) if depth.ndim == 0 else found

    def recovered_between(self, *, from_m: ArrayLike, to_m: ArrayLike) -> Any:
        """Length of core whose depth lies between two depths [m].

        All core counts once, also the part of a long core that overlaps the next run, so that the whole hole gives all
        that was recovered.
        """
        top, bottom = np.asarray(from_m, dtype=np.float64), np.asarray(to_m, dtype=np.float64)
        refuse_where(bottom < top, bottom, "to_m", "lies above from_m", "Give the upper depth as from_m")
        if not self.piece_run.size:
            return plain(np.zeros(np.broadcast(top, bottom).shape))
        knots, summed = self._core_above()
        return plain(np.interp(bottom, knots, summed) - np.interp(top, knots, summed))

    def lost_stretches(self) -> LostStretches:
        """Depths with no core, from the top down, with the run and whether the place is known."""
        return self.lost

    def owned_piece_at(self, depth: Floats) -> tuple[Whole, NDArray[np.bool_]]:
        """Index of the owned piece that begins at or above each depth, and whether it reaches that depth."""
        order = self.owned_by_depth
        at = np.searchsorted(self.piece_depth_from_m[order] - NANOMETRE_M, depth, side="right") - 1
        piece = order[np.maximum(at, 0)]
        return piece, (at >= 0) & (depth <= self.piece_depth_to_m[piece] + NANOMETRE_M)

    def _core_above(self) -> tuple[Floats, Floats]:
        """Depth knots and the core length above each: the sum of all pieces, each spread evenly over its own depths."""
        top, bottom = self.piece_depth_from_m, self.piece_depth_to_m
        density = (self.piece_core_to_m - self.piece_core_from_m) / (bottom - top)
        ends = np.concatenate((top, bottom))
        order = np.argsort(ends, kind="stable")
        knots = ends[order]
        slope = np.cumsum(np.concatenate((density, -density))[order])
        return knots, np.concatenate(([0.0], np.cumsum(slope[:-1] * np.diff(knots))))


@dataclass(frozen=True, slots=True)
class MetreMarks:
    """Marks to draw on the core, each measured from the top of the core of its own run."""

    depth_m: Floats
    run_index: Whole
    offset_m: Floats
    core_m: Floats
    missing_depth_m: Floats


def register(
    *,
    run_from_m: ArrayLike,
    run_to_m: ArrayLike,
    recovered_m: ArrayLike,
    loss_depth_m: ArrayLike = (),
    loss_length_m: ArrayLike = (),
    loss_rule: str = "end_of_run",
    long_rule: str = "overlap",
    stub_m: ArrayLike | None = None,
) -> Registration:
    """Tie the core of a hole to its depths.

    The core of each run is laid from the top of the run downward. A loss with a known place is left open there. The
    rest of the loss goes to the end of the run, or to its start, or the core is stretched evenly over the run. Core
    longer than its run is let overlap the next run, or scaled down to the run. With stubs, the core of run i begins at
    its block less the stub before it and ends at its block less the stub after it.

    Parameters
    ----------
    run_from_m : float array (n,) [m]
        Top block of each run, in the order the core was brought up.
    run_to_m : float array (n,) [m]
        Bottom block of each run.
    recovered_m : float array (n,) [m]
        Core of each run.
    loss_depth_m : float array (k,) [m]
        Depth of the top of each loss whose place is known.
    loss_length_m : float array (k,) [m]
        Length of each such loss.
    loss_rule : str
        Place of the loss that is left: "end_of_run", "start_of_run" or "stretch".
    long_rule : str
        Core longer than its run: "overlap" lets it run on, "scale" shortens it to fit.
    stub_m : float array (n+1,) [m] or None
        Core left in the hole before the first run and after each run.

    Returns
    -------
    Registration
        .depth_at(core_m=...), .core_at(depth_m=...), .run_at(depth_m=...), .recovered_between(from_m=..., to_m=...),
        .lost_stretches(); .core_start_m (n) [m] where the core of each run begins; .unplaced_loss_m (n) [m] loss put by
        the rule; .long_m (n) [m] by how much core and known losses are longer than the run (odd: flag it).

    Raises
    ------
    ImpossibleValue
        When a run does not end below its start, a loss lies outside every run, crosses a block or overlaps another
        loss, the losses leave no room for the core, stubs leave a run no length, or a rule is unknown.

    Valid for: any length of run; depths along the hole.
    Source: IODP Depth Scales Terminology v2, Table T1 in Proc. IODP 318 and 336 Methods, CSF-A overlap and CSF-B scale
        (seen); loss at the end of the run: Wittke, rock-mechanics handbook p. 377, citing DIN EN ISO 22475-1 (seen);
        known losses, start of run and stubs derived.
    Checked by: tests/published/test_depth_published.py, tests/unit/core/test_depth.py,
        tests/properties/test_depth_properties.py
    """
    _one_of(loss_rule, LOSS_RULES, "loss_rule")
    _one_of(long_rule, LONG_RULES, "long_rule")
    block_top, block_bottom, recovered = run_columns(from_m=run_from_m, to_m=run_to_m, recovered_m=recovered_m)
    top, bottom = _with_stubs(block_top, block_bottom, stub_m)
    losses = _losses_by_run(top, bottom, loss_depth_m, loss_length_m)

    pieces: list[tuple[float, float, float, float, int]] = []
    lost: list[tuple[float, float, int, bool]] = []
    unplaced, too_long = np.zeros(len(top)), np.zeros(len(top))
    starts = np.concatenate(([0.0], np.cumsum(recovered)))[:-1] if len(top) else np.zeros(0)
    for run, (t, b, r, start) in enumerate(
        zip(top.tolist(), bottom.tolist(), recovered.tolist(), starts.tolist(), strict=True)
    ):
        open_parts = _between_losses(t, b, losses.get(run, ()))
        lost += [(d, d + length, run, True) for d, length in losses.get(run, ())]
        room = sum(high - low for low, high in open_parts)
        if room <= FIT_M < r:
            raise ImpossibleValue(
                f"the losses fill the whole run from {t:.3f} m to {b:.3f} m, yet {r:.3f} m of core came up",
                where=f"run, index {run}",
                remedy="Shorten the losses or check the recovered length",
            )
        spare = room - r
        unplaced[run], too_long[run] = max(0.0, spare), max(0.0, -spare)
        stretched = (loss_rule == "stretch" and spare > 0.0) or (long_rule == "scale" and spare < 0.0)
        scale = room / r if stretched and r > 0.0 else 1.0
        lead = spare if loss_rule == "start_of_run" and spare > 0.0 and r > 0.0 else 0.0
        run_pieces, run_lost = _lay(open_parts, start=start, length=r, scale=scale, lead=lead)
        pieces += [(*piece, run) for piece in run_pieces]
        lost += [(low, high, run, False) for low, high in run_lost]

    own_from, own_to, own_run = owned_stretches(top, bottom)
    columns = own_pieces(pieces, own_from, own_to, own_run)
    return Registration(
        run_from_m=block_top,
        run_to_m=block_bottom,
        recovered_m=recovered,
        core_start_m=starts,
        unplaced_loss_m=np.where(unplaced > NANOMETRE_M, unplaced, 0.0),
        long_m=np.where(too_long > NANOMETRE_M, too_long, 0.0),
        **columns,
        own_from_m=own_from,
        own_to_m=own_to,
        own_run=own_run,
        lost=LostStretches(*own_losses(lost, own_from, own_to, own_run)),
    )


def metre_marks(*, registration: Registration, step_m: float = 1.0) -> MetreMarks:
    """Where the depth marks go, each as a tape length from the top of the core of its own run.

    A mark stands at every whole multiple of the step between the first and the last block, the collar itself left out.
    It is found through the run that owns its depth, so no mark is ever carried across a block. A mark that falls in a
    loss, or between runs, cannot be drawn: its depth is listed as missing.

    Parameters
    ----------
    registration : Registration
        The tie of core to depth.
    step_m : float [m]
        Distance between marks; 1.524 for marks every 5 ft.

    Returns
    -------
    MetreMarks
        .depth_m (k) [m], .run_index (k), .offset_m (k) [m] from the top of the core of that run, .core_m (k) [m];
        .missing_depth_m (j) [m] marks without core.

    Raises
    ------
    ImpossibleValue
        When the step is less than 1 mm.

    Valid for: any step from 1 mm.
    Source: derived from the registration; marks by run, never across a block: common practice, no source.
    Checked by: tests/unit/core/test_depth.py, tests/properties/test_depth_properties.py
    """
    step = float(numbers(step_m, "step_m", at_least=0.001))
    if not registration.own_run.size:
        nothing = np.zeros(0)
        return MetreMarks(nothing, np.zeros(0, dtype=np.int64), nothing, nothing, nothing)
    first = max(1, int(np.ceil(registration.own_from_m[0] / step - NANOMETRE_M)))
    last = int(np.floor(registration.own_to_m[-1] / step + NANOMETRE_M))
    depth = np.arange(first, last + 1) * step
    if registration.owned_by_depth.size:
        piece, inside = registration.owned_piece_at(depth)
        run = registration.piece_run[piece[inside]]
    else:
        inside, run = np.zeros(depth.shape, dtype=bool), np.zeros(0, dtype=np.int64)
    core = np.atleast_1d(registration.core_at(depth_m=depth))
    return MetreMarks(
        depth_m=depth[inside],
        run_index=run,
        offset_m=core[inside] - registration.core_start_m[run],
        core_m=core[inside],
        missing_depth_m=depth[~inside],
    )


def _one_of(rule: str, rules: tuple[str, ...], name: str) -> None:
    if rule not in rules:
        raise ImpossibleValue(f"{rule!r} is no {name}", where=name, remedy=f"Use one of {', '.join(rules)}")


def _with_stubs(top: Floats, bottom: Floats, stub_m: ArrayLike | None) -> tuple[Floats, Floats]:
    """Depth interval that the core of each run was cut from."""
    if stub_m is None:
        return top, bottom
    stub = numbers(stub_m, "stub_m", at_least=0.0)
    if stub.shape != (len(top) + 1,):
        raise ImpossibleValue(
            f"{stub.size} stubs for {len(top)} runs", where="stub_m", remedy="Give one stub more than runs"
        )
    high, low = top - stub[:-1], bottom - stub[1:]
    bad = np.flatnonzero((low - high < NANOMETRE_M) | (high < -NANOMETRE_M))
    if bad.size:
        run = int(bad[0])
        raise ImpossibleValue(
            f"the stubs put the run between {high[run]:.3f} m and {low[run]:.3f} m",
            where=f"run, index {run}",
            remedy="Check the blocks and recovered lengths round this run; no stub is longer than its run",
        )
    return high, low


def _losses_by_run(
    top: Floats, bottom: Floats, loss_depth_m: ArrayLike, loss_length_m: ArrayLike
) -> dict[int, list[tuple[float, float]]]:
    """Known losses of each run from the top down; refuses one that lies in no run, crosses a block or overlaps."""
    depth = numbers(loss_depth_m, "loss_depth_m", at_least=0.0)
    length = numbers(loss_length_m, "loss_length_m", above=0.0)
    same_columns(loss_depth_m=depth, loss_length_m=length)
    found: dict[int, list[tuple[float, float]]] = {}
    for index in np.argsort(depth, kind="stable").tolist():
        d, size = float(depth[index]), float(length[index])
        inside = np.flatnonzero((top <= d + FIT_M) & (d + size <= bottom + FIT_M))
        if not inside.size:
            starts_in = np.flatnonzero((top <= d + FIT_M) & (d < bottom - FIT_M))
            where = f"loss at {d:.3f} m, {size:.3f} m long"
            if starts_in.size:
                run = int(starts_in[0])
                raise ImpossibleValue(
                    f"the loss reaches {d + size:.3f} m, its run ends at {bottom[run]:.3f} m (run, index {run})",
                    where=where,
                    remedy="Split the loss at the block, or check its depth and length",
                )
            raise ImpossibleValue("no run holds this loss", where=where, remedy="Check its depth against the blocks")
        run = int(inside[0])
        d = max(d, float(top[run]))
        size = min(size, float(bottom[run]) - d)
        before = found.setdefault(run, [])
        if before and d < sum(before[-1]) - FIT_M:
            raise ImpossibleValue(
                f"two losses overlap: one ends at {sum(before[-1]):.3f} m, the next begins at {d:.3f} m",
                where=f"run, index {run}",
                remedy="Join them or check their depths",
            )
        before.append((d, size))
    return found


def _between_losses(top: float, bottom: float, losses: Any) -> list[tuple[float, float]]:
    """Parts of a run that known losses leave open to core."""
    parts, low = [], top
    for depth, length in losses:
        parts.append((low, depth))
        low = depth + length
    parts.append((low, bottom))
    return [(a, b) for a, b in parts if b - a > NANOMETRE_M]


def _lay(
    open_parts: list[tuple[float, float]], *, start: float, length: float, scale: float, lead: float
) -> tuple[list[tuple[float, float, float, float]], list[tuple[float, float]]]:
    """Lay core into the open parts from the top after `lead` of loss; what stays open is lost, what is left runs on."""
    pieces: list[tuple[float, float, float, float]] = []
    lost: list[tuple[float, float]] = []
    core, end = start, start + length
    last = len(open_parts) - 1
    for index, (low, high) in enumerate(open_parts):
        if lead > NANOMETRE_M:
            skipped = min(lead, high - low)
            lost.append((low, low + skipped))
            lead, low = lead - skipped, low + skipped
        room, left = high - low, (end - core) * scale
        # A remainder of a nanometre is float noise of the division between rooms, not core.
        put = left if index == last or left <= room + NANOMETRE_M else room
        if put > NANOMETRE_M:
            stop = end if put == left else core + put / scale
            bottom = high if abs(low + put - high) <= NANOMETRE_M else low + put
            pieces.append((core, stop, low, bottom))
            core, low = stop, bottom
        if high - low > NANOMETRE_M:
            lost.append((low, high))
    return pieces, lost
