"""Tests on the driller's blocks: miscounted rods, blocks in feet, overlaps, gaps, gains beside losses.

Blocks are taken as they were written, also when a run ends above its start. Each test answers with indices of runs and
numbers; the words are made elsewhere. A recovered length that was not measured is NaN and takes part in no test.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.recovery import NANOMETRE_M, same_columns
from trayside.core.refusals import Floats, numbers, refuse_where
from trayside.core.run_ownership import Whole
from trayside.core.units import FOOT_M

FOOT = float(FOOT_M)
ROD_LENGTHS_M = (3.0, 1.5, 3.048, 1.524)

# Costs of the search for blocks in feet: one block read as feet is believed before two broken neighbours.
FEET_COST, BROKEN_COST = 1.0, 2.0


@dataclass(frozen=True, slots=True)
class Nettings:
    """Runs with recovery over 100 % next to a run with loss, and how much of both cancels."""

    gain_run: Whole
    loss_run: Whole
    gain_m: Floats
    loss_m: Floats
    net_m: Floats


@dataclass(frozen=True, slots=True)
class RodSteps:
    """Runs whose blocks may count one rod too many (`sign` +1, looks like loss) or too few (-1, looks like gain)."""

    run: Whole
    sign: Whole
    rod_m: Floats
    step_m: Floats
    distance_m: Floats
    advance_after_m: Floats
    recovery_after: Floats
    likely: NDArray[np.bool_]
    cancelled_by_run: Whole


@dataclass(frozen=True, slots=True)
class FeetBlocks:
    """Single blocks that fit their neighbours only when read as feet."""

    run: Whole
    is_end: NDArray[np.bool_]
    written_m: Floats
    metres_if_feet_m: Floats
    block_above_m: Floats
    block_below_m: Floats
    recovery_after: Floats


@dataclass(frozen=True, slots=True)
class HoleInFeet:
    """Whether all blocks of a hole look like feet while the core was measured in metres."""

    in_feet: bool
    runs: int
    median_ratio: float
    recovery_if_feet: float
    share_near: float


@dataclass(frozen=True, slots=True)
class Steps:
    """Runs that begin above (overlap) or below (gap) the end of the run before, and by how much."""

    run: Whole
    length_m: Floats


@dataclass(frozen=True, slots=True)
class OutOfOrder:
    """Runs that end at or above their own start, and runs that begin above the start of the run before."""

    reversed_run: Whole
    reversed_m: Floats
    earlier_run: Whole
    earlier_m: Floats


def recovery_over_one_next_to_loss(
    *, from_m: ArrayLike, to_m: ArrayLike, recovered_m: ArrayLike, tolerance_m: float = 0.01, reach: int = 1
) -> Nettings:
    """Gains that a neighbouring loss may explain, with the length that cancels.

    Core left in the hole by one run comes up with the next: a loss, then a gain. The other order is a block set too
    high. Each gain is set first against losses above it, the nearest first, then against losses below it; a loss is
    used up once.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    recovered_m : float array (n,) [m]
        Core of each run; NaN where not measured.
    tolerance_m : float [m]
        Gains and losses up to this length are left alone.
    reach : int
        How many runs away a loss may be.

    Returns
    -------
    Nettings
        .gain_run (k), .loss_run (k), .gain_m (k) [m], .loss_m (k) [m], .net_m (k) [m] length that cancels.

    Raises
    ------
    ImpossibleValue
        When a block is missing, a recovered length is negative, or the columns differ in length.

    Valid for: runs in drilling order.
    Source: slipped core picked up by the next run shows as an overlap next to a gap in recovery: Inwood 2018,
        doi:10.2204/iodp.proc.313.202.2018 (seen); a loss is cancelled by the next run's gain: fordia.com, core guide
        (seen).
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, recovered = _blocks(from_m, to_m, recovered_m)
    tolerance = float(numbers(tolerance_m, "tolerance_m", at_least=0.0))
    short = np.where(np.isnan(recovered) | (end - start < NANOMETRE_M), 0.0, end - start - recovered)
    loss, gain = np.maximum(short, 0.0), np.maximum(-short, 0.0)
    left = np.where(loss > tolerance, loss, 0.0)
    rows: list[tuple[int, int, float]] = []
    for run in np.flatnonzero(gain > tolerance).tolist():
        open_gain = float(gain[run])
        above = [run - step for step in range(1, reach + 1) if run - step >= 0]
        below = [run + step for step in range(1, reach + 1) if run + step < len(short)]
        for other in above + below:
            net = round(min(open_gain, float(left[other])), 9)
            if net > tolerance:
                rows.append((run, other, net))
                open_gain -= net
                left[other] -= net
    gain_run, loss_run = _indices(row[0] for row in rows), _indices(row[1] for row in rows)
    net_m = np.array([row[2] for row in rows], dtype=np.float64)
    return Nettings(gain_run=gain_run, loss_run=loss_run, gain_m=gain[gain_run], loss_m=loss[loss_run], net_m=net_m)


def rod_steps(
    *,
    from_m: ArrayLike,
    to_m: ArrayLike,
    recovered_m: ArrayLike,
    rod_lengths_m: ArrayLike = ROD_LENGTHS_M,
    tolerance_m: float = 0.15,
    recovery_low: float = 0.9,
    recovery_high: float = 1.02,
    usual_advance_m: float | None = None,
) -> RodSteps:
    """Runs where the difference between drilled and recovered looks like one rod.

    A miscounted rod leaves a full, unbroken run behind it: after taking the rod out, recovery is near 1. So a run is
    named when the difference lies near a rod length and the recovery that is left lies between the two limits.

    It is `likely` when the blocks themselves are odd. One rod too many: the run as written is longer than a usual run,
    and is not once the rod is out. One rod too few: the run is no longer than a usual run once the rod is put back, and
    it either has no advance at all or no loss in the run before could have left so much core behind. Otherwise a rod is
    only possible: half of an ordinary run lost looks the same.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    recovered_m : float array (n,) [m]
        Core of each run; NaN where not measured.
    rod_lengths_m : float array (k,) [m]
        Lengths of the rods in use.
    tolerance_m : float [m]
        How near to a rod length the difference must be.
    recovery_low : float
        Lowest recovery left after the rod is taken out, as a fraction.
    recovery_high : float
        Highest recovery left, as a fraction.
    usual_advance_m : float or None [m]
        Length of a full run; by default the median of the runs that advance.

    Returns
    -------
    RodSteps
        .run (k); .sign (k) +1 one rod too many, -1 one too few; .rod_m (k) [m] nearest rod; .step_m (k) [m] advance
        less recovered; .distance_m (k) [m] how far the size of the step is over (+) or under (-) the rod;
        .advance_after_m (k) [m] and .recovery_after (k) with the rod taken out or put back; .likely (k);
        .cancelled_by_run (k) later run with the opposite step of the same rod, -1 none: between the two every depth is
        off by one rod.

    Raises
    ------
    ImpossibleValue
        When a block is missing, a recovered length is negative, the columns differ in length, or a setting is not
        positive.

    Valid for: runs in drilling order.
    Source: derived; rod of 3 m: silvervein.ca (seen); 10 ft = 3.048 m and half rods: common practice, no source.
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, recovered = _blocks(from_m, to_m, recovered_m)
    rods = numbers(rod_lengths_m, "rod_lengths_m", above=0.0).reshape(-1)
    tolerance = float(numbers(tolerance_m, "tolerance_m", above=0.0))
    advance = end - start
    usual = (
        _usual_advance(advance)
        if usual_advance_m is None
        else float(numbers(usual_advance_m, "usual_advance_m", above=0.0))
    )
    step = np.round(advance - recovered, 9)
    sign = np.where(step >= 0.0, 1, -1)

    # One column for each rod: does it explain the step, and how well.
    distance = np.abs(step)[:, None] - rods[None, :]
    after = advance[:, None] - sign[:, None] * rods[None, :]
    with np.errstate(divide="ignore", invalid="ignore"):
        recovery = np.where(after > NANOMETRE_M, recovered[:, None] / after, np.nan)
    fits = (np.abs(distance) <= tolerance + NANOMETRE_M) & (recovery >= recovery_low) & (recovery <= recovery_high)
    best = np.argmin(np.where(fits, np.abs(distance), np.inf), axis=1) if rods.size else np.zeros(len(step), dtype=int)
    run = np.flatnonzero(fits.any(axis=1))
    rod = best[run]
    after_rod, run_sign, rod_m = after[run, rod], sign[run], rods[rod]

    lost_before = np.concatenate(([0.0], np.nan_to_num(step)))[:-1][run] if len(step) else np.zeros(0)
    left_behind = lost_before >= np.abs(step[run]) - tolerance
    full = after_rod <= usual + tolerance
    too_many = (run_sign > 0) & (advance[run] > usual + tolerance) & full
    too_few = (run_sign < 0) & full & ((advance[run] <= tolerance) | ~left_behind)
    return RodSteps(
        run=run,
        sign=run_sign,
        rod_m=rod_m,
        step_m=step[run],
        distance_m=distance[run, rod],
        advance_after_m=after_rod,
        recovery_after=recovery[run, rod],
        likely=too_many | too_few,
        cancelled_by_run=_opposites(run, run_sign, rod_m, tolerance),
    )


def feet_blocks(
    *, from_m: ArrayLike, to_m: ArrayLike, recovered_m: ArrayLike, longest_run_m: float | None = None
) -> FeetBlocks:
    """Blocks that do not fit between their neighbours as metres, but do as feet.

    Every block is read as metres or as feet, so that the fewest blocks are feet and the fewest neighbours break: depth
    must rise from block to block, and no run is longer than the longest run. A block read as feet is named when its
    metres lie between its neighbours.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    recovered_m : float array (n,) [m]
        Core of each run; NaN where not measured.
    longest_run_m : float or None [m]
        Longest believable run; by default 2.5 times the median of the runs that advance.

    Returns
    -------
    FeetBlocks
        .run (k) run the block belongs to: the one that ends at it, or for the first block and for a block that differs
        from the end of the run before, the one that begins at it; .is_end (k); .written_m (k) [m] number on the block;
        .metres_if_feet_m (k) [m]; .block_above_m (k) [m] and .block_below_m (k) [m] neighbours as read (NaN none);
        .recovery_after (k) recovery of that run with the block corrected (NaN not measured).

    Raises
    ------
    ImpossibleValue
        When a block is missing, a recovered length is negative, or the columns differ in length.

    Valid for: holes in metres with a few blocks in feet; for a whole hole in feet see hole_in_feet.
    Source: derived; foot = 0.3048 m exactly, 85 FR 62698 (seen).
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, recovered = _blocks(from_m, to_m, recovered_m)
    usual = _usual_advance(end - start)
    longest = 2.5 * usual if longest_run_m is None else float(numbers(longest_run_m, "longest_run_m", above=0.0))
    # The blocks in the order they stand in the trays; the end of one run and the start of the next are one block.
    blocks: list[tuple[float, int, bool]] = []
    for run, (top, bottom) in enumerate(zip(start.tolist(), end.tolist(), strict=True)):
        if not blocks or blocks[-1][0] != top:
            blocks.append((top, run, False))
        blocks.append((bottom, run, True))
    written = np.array([block[0] for block in blocks])
    feet = _read_as_feet(written, longest)
    read = np.where(feet, written * FOOT, written)
    above, below = np.append(np.nan, read[:-1]), np.append(read[1:], np.nan)
    high_enough = np.where(np.isnan(below), read <= above + longest, read < below)
    between = feet & high_enough & ~(read <= above)
    named = np.flatnonzero(between)
    run = _indices(blocks[index][1] for index in named)
    is_end = np.array([blocks[index][2] for index in named], dtype=bool)
    other = np.where(is_end, above[named], below[named])
    length = np.where(is_end, read[named] - other, other - read[named])
    good = length > NANOMETRE_M
    return FeetBlocks(
        run=run,
        is_end=is_end,
        written_m=written[named],
        metres_if_feet_m=read[named],
        block_above_m=above[named],
        block_below_m=below[named],
        recovery_after=np.where(good, recovered[run] / np.where(good, length, 1.0), np.nan),
    )


def hole_in_feet(
    *,
    from_m: ArrayLike,
    to_m: ArrayLike,
    recovered_m: ArrayLike,
    recovery_low: float = 0.85,
    recovery_high: float = 1.05,
    least_runs: int = 5,
    least_share: float = 0.75,
) -> HoleInFeet:
    """Whether all blocks of a hole were written in feet though the core was measured in metres.

    Then recovered over advance is near 0.3048 in run after run. Poor ground does that in some runs, not in most of
    them.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    recovered_m : float array (n,) [m]
        Core of each run; NaN where not measured.
    recovery_low : float
        Lowest believable recovery once the blocks are read as feet, as a fraction.
    recovery_high : float
        Highest believable recovery, as a fraction.
    least_runs : int
        Fewer measured runs than this prove nothing.
    least_share : float
        Share of the runs that must lie between the two limits.

    Returns
    -------
    HoleInFeet
        .in_feet; .runs measured runs that advance; .median_ratio recovered over advance; .recovery_if_feet the same
        with the blocks read as feet; .share_near share of runs between the limits. NaN when no run was measured.

    Raises
    ------
    ImpossibleValue
        When a block is missing, a recovered length is negative, or the columns differ in length.

    Valid for: holes of several runs; blocks and core both in feet cannot be seen this way.
    Source: derived; foot = 0.3048 m exactly, 85 FR 62698 (seen).
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, recovered = _blocks(from_m, to_m, recovered_m)
    advance = end - start
    measured = (advance > NANOMETRE_M) & ~np.isnan(recovered)
    runs = int(measured.sum())
    if not runs:
        return HoleInFeet(in_feet=False, runs=0, median_ratio=np.nan, recovery_if_feet=np.nan, share_near=np.nan)
    ratio = recovered[measured] / advance[measured]
    near = (ratio >= recovery_low * FOOT) & (ratio <= recovery_high * FOOT)
    median, share = float(np.median(ratio)), float(near.mean())
    believable = recovery_low * FOOT <= median <= recovery_high * FOOT
    return HoleInFeet(
        in_feet=bool(runs >= least_runs and believable and share >= least_share),
        runs=runs,
        median_ratio=median,
        recovery_if_feet=median / FOOT,
        share_near=share,
    )


def overlaps(*, from_m: ArrayLike, to_m: ArrayLike, tolerance_m: float = 0.005) -> Steps:
    """Runs that begin above the end of the run before.

    Runs that begin above the start of the run before are out of order and not named here.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    tolerance_m : float [m]
        Overlaps up to this length are left alone.

    Returns
    -------
    Steps
        .run (k) the lower run; .length_m (k) [m] length of the overlap.

    Raises
    ------
    ImpossibleValue
        When a block is missing or the columns differ in length.

    Valid for: runs in drilling order.
    Source: derived.
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, _ = _blocks(from_m, to_m, None)
    over = np.round(end[:-1] - start[1:], 9)
    found = np.flatnonzero((over > tolerance_m) & (start[1:] >= start[:-1] - tolerance_m))
    return Steps(run=found + 1, length_m=over[found])


def gaps(*, from_m: ArrayLike, to_m: ArrayLike, tolerance_m: float = 0.005) -> Steps:
    """Runs that begin below the end of the run before.

    Depth that no run speaks for.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    tolerance_m : float [m]
        Gaps up to this length are left alone.

    Returns
    -------
    Steps
        .run (k) the lower run; .length_m (k) [m] length of the gap.

    Raises
    ------
    ImpossibleValue
        When a block is missing or the columns differ in length.

    Valid for: runs in drilling order.
    Source: derived.
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, _ = _blocks(from_m, to_m, None)
    gap = np.round(start[1:] - end[:-1], 9)
    found = np.flatnonzero(gap > tolerance_m)
    return Steps(run=found + 1, length_m=gap[found])


def out_of_order(*, from_m: ArrayLike, to_m: ArrayLike, tolerance_m: float = 0.005) -> OutOfOrder:
    """Runs whose blocks go up the hole.

    Either within the run (it ends at or above its start) or from run to run (it begins above the start of the one
    before).

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top block of each run.
    to_m : float array (n,) [m]
        Bottom block of each run.
    tolerance_m : float [m]
        Steps up of up to this length between runs are left alone.

    Returns
    -------
    OutOfOrder
        .reversed_run (k) and .reversed_m (k) [m] start less end, 0 for a run of no length; .earlier_run (j) and
        .earlier_m (j) [m] how far it begins above the run before.

    Raises
    ------
    ImpossibleValue
        When a block is missing or the columns differ in length.

    Valid for: runs in drilling order.
    Source: derived.
    Checked by: tests/unit/core/test_run_steps.py
    """
    start, end, _ = _blocks(from_m, to_m, None)
    backward = np.round(start - end, 9)
    reversed_run = np.flatnonzero(backward >= 0.0)
    up = np.round(start[:-1] - start[1:], 9)
    earlier = np.flatnonzero(up > tolerance_m)
    return OutOfOrder(
        reversed_run=reversed_run, reversed_m=backward[reversed_run], earlier_run=earlier + 1, earlier_m=up[earlier]
    )


def _blocks(from_m: ArrayLike, to_m: ArrayLike, recovered_m: ArrayLike | None) -> tuple[Floats, Floats, Floats]:
    """The columns as written; missing recovered lengths stay NaN."""
    start, end = numbers(from_m, "from_m", at_least=0.0), numbers(to_m, "to_m", at_least=0.0)
    recovered = np.full(start.shape, np.nan) if recovered_m is None else np.asarray(recovered_m, dtype=np.float64)
    same_columns(from_m=start, to_m=end, recovered_m=recovered)
    refuse_where(
        (recovered < 0.0) | np.isinf(recovered), recovered, "recovered_m", "must be 0 or more", "Check the entry"
    )
    return start, end, recovered


def _usual_advance(advance: Floats) -> float:
    """Median of the runs that advance; 3 m when none does."""
    forward = advance[advance > NANOMETRE_M]
    return float(np.median(forward)) if forward.size else ROD_LENGTHS_M[0]


def _opposites(run: Whole, sign: Whole, rod_m: Floats, tolerance: float) -> Whole:
    """For each step the first later, still free step of the other sign and the same rod; -1 none."""
    partner = np.full(len(run), -1, dtype=np.int64)
    taken: set[int] = set()
    for here in range(len(run)):
        if here in taken:
            continue
        for later in range(here + 1, len(run)):
            if later not in taken and sign[later] == -sign[here] and abs(rod_m[later] - rod_m[here]) <= tolerance:
                partner[here] = run[later]
                taken |= {here, later}
                break
    return partner


def _read_as_feet(written: Floats, longest: float) -> NDArray[np.bool_]:
    """The cheapest reading of a column of blocks: each in metres or in feet, broken neighbours and feet both cost."""
    if not len(written):
        return np.zeros(0, dtype=bool)
    step = np.diff(written)
    if np.all((step > 0.0) & (step <= longest)):
        return np.zeros(len(written), dtype=bool)  # nothing breaks in metres, and nothing is cheaper than that
    readings = np.stack((written, written * FOOT), axis=1).tolist()
    cost = [0.0, FEET_COST]
    came_from: list[tuple[int, int]] = []
    for above, here in itertools.pairwise(readings):
        best, origin = [], []
        for unit in (0, 1):
            options = [
                cost[before]
                + BROKEN_COST * ((here[unit] <= above[before]) + (abs(here[unit] - above[before]) > longest))
                + FEET_COST * unit
                for before in (0, 1)
            ]
            origin.append(0 if options[0] <= options[1] else 1)
            best.append(options[origin[-1]])
        cost = best
        came_from.append((origin[0], origin[1]))
    unit = 0 if cost[0] <= cost[1] else 1
    units = [unit]
    for origins in reversed(came_from):
        unit = origins[unit]
        units.append(unit)
    return np.array(units[::-1], dtype=bool)


def _indices(values: object) -> Whole:
    return np.array(list(values), dtype=np.int64)  # type: ignore[call-overload]
