"""What came up of what was drilled: recovery, loss, core left in the hole, RQD and fracture counts.

a = advance (drilled), r = recovered, both per run. Core left standing in the hole at the end of a run (a stub) comes up
with the next one; the stub balance gives it back to the run that cut it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import Floats, numbers, plain, refuse_where, together
from trayside.errors import ImpossibleValue

# A length measured with a tape is never finer than this; differences below it are float noise, not core.
NANOMETRE_M = 1e-9

RQD_EDGES = (0.25, 0.50, 0.75, 0.90)
RQD_CLASSES = ("very poor", "poor", "fair", "good", "excellent")


@dataclass(frozen=True, slots=True)
class StubBalance:
    """Core left in the hole before and after each run, true loss, and recovery credited to the run that cut it."""

    stub_m: Floats
    loss_m: Floats
    corrected_recovery: Floats


@dataclass(frozen=True, slots=True)
class RunTable:
    """The runs of a hole with what each lost or gained, as measured and after the stub balance."""

    from_m: Floats
    to_m: Floats
    recovered_m: Floats
    advance_m: Floats
    loss_m: Floats
    gain_m: Floats
    raw_recovery: Floats
    true_loss_m: Floats
    corrected_recovery: Floats
    stub_m: Floats
    closure_m: Floats
    hole_recovery: float


def stub_balance(*, advance_m: ArrayLike, recovered_m: ArrayLike) -> StubBalance:
    """The smallest stubs that explain the lengths, and the loss that is left.

    Backward from a clean end: s_n = 0, s_(i-1) = max(0, r_i - a_i + s_i), loss_i = a_i - r_i + s_(i-1) - s_i, which is
    never negative. A stub before the first run (`.stub_m[0]` above 0) cannot be: a block or a length is wrong, or the
    core swelled. It is left standing for the caller to flag.

    Parameters
    ----------
    advance_m : float array (n,) [m]
        Drilled length of each run, in drilling order.
    recovered_m : float array (n,) [m]
        Core brought up by each run.

    Returns
    -------
    StubBalance
        .stub_m (n+1) [m] core left in the hole before the first run and after each run; .loss_m (n) [m] true loss;
        .corrected_recovery (n) fraction of the advance that was not lost.

    Raises
    ------
    ImpossibleValue
        When an advance is not more than 0, a recovered length is negative, a value is missing, or the lengths differ.

    Valid for: runs that follow each other without a gap, core that keeps its length.
    Source: derived from the balance of lengths.
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py,
        tests/properties/test_recovery_properties.py
    """
    advance = numbers(advance_m, "advance_m", above=0.0)
    recovered = numbers(recovered_m, "recovered_m", at_least=0.0)
    same_columns(advance_m=advance, recovered_m=recovered)
    stub, loss = _stubs_backward(advance, recovered)
    return StubBalance(stub_m=stub, loss_m=loss, corrected_recovery=(advance - loss) / advance)


def run_table(*, from_m: ArrayLike, to_m: ArrayLike, recovered_m: ArrayLike) -> RunTable:
    """Advance, loss, gain, recovery and closure of every run.

    Loss and gain are the plain differences of each run. True loss and corrected recovery come from the stub balance. A
    run whose recovered length was not measured (NaN) stays NaN and starts the balance and the closure anew above it
    and below it: missing is not zero.

    Parameters
    ----------
    from_m : float array (n,) [m]
        Top of each run as its block says, in drilling order.
    to_m : float array (n,) [m]
        Bottom of each run.
    recovered_m : float array (n,) [m]
        Core brought up by each run; NaN where not measured.

    Returns
    -------
    RunTable
        .advance_m (n) [m]; .loss_m (n) [m] and .gain_m (n) [m] as measured, never negative; .raw_recovery (n) may
        exceed 1; .true_loss_m (n) [m] and .corrected_recovery (n) after the stub balance; .stub_m (n+1) [m] at the top
        of the first run and the bottom of each; .closure_m (n) [m] recovered less drilled, summed from the first run;
        .hole_recovery raw recovery of all measured runs together (NaN when none was measured).

    Raises
    ------
    ImpossibleValue
        When a run does not end below its start, a recovered length is negative, or the lengths differ.

    Valid for: runs in drilling order; faulty blocks (see run_steps) left out.
    Source: recovery by run as in TxDOT Geotechnical Manual (LRFD) ch. 4 (seen); stub balance derived.
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py
    """
    start, end, recovered = run_columns(from_m=from_m, to_m=to_m, recovered_m=recovered_m, missing_ok=True)
    advance = np.round(end - start, 9)
    short = np.round(advance - recovered, 9)
    measured = ~np.isnan(recovered)

    stub = np.full(len(advance) + 1, np.nan if len(advance) else 0.0)
    true_loss = np.full(len(advance), np.nan)
    for first, last in _stretches(measured):
        stub[first : last + 1], true_loss[first:last] = _stubs_backward(advance[first:last], recovered[first:last])

    drilled = advance[measured].sum()
    return RunTable(
        from_m=start,
        to_m=end,
        recovered_m=recovered,
        advance_m=advance,
        loss_m=np.maximum(short, 0.0),
        gain_m=np.maximum(-short, 0.0),
        raw_recovery=recovered / advance,
        true_loss_m=true_loss,
        corrected_recovery=(advance - true_loss) / advance,
        stub_m=stub,
        closure_m=np.where(measured, np.cumsum(np.where(measured, -short, 0.0)), np.nan),
        hole_recovery=float(recovered[measured].sum() / drilled) if drilled > 0.0 else math.nan,
    )


def total_core_recovery(*, recovered_m: ArrayLike, run_m: ArrayLike) -> Any:
    """Raw recovery: recovered length over drilled length.

    Not limited to 1: soft core swells, and a stub of the run before comes up too. More than 1 is odd, not impossible.

    Parameters
    ----------
    recovered_m : float or array (n,) [m]
        Length of all core brought up.
    run_m : float or array (n,) [m]
        Drilled length.

    Returns
    -------
    float or array (n,)
        Fraction of the run.

    Raises
    ------
    ImpossibleValue
        When the run is not more than 0 or the recovered length is negative or missing.

    Valid for: one run or one whole hole.
    Source: TxDOT Geotechnical Manual (LRFD) ch. 4 "Percent Recovery and RQD" (seen).
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py
    """
    recovered, run = together(
        recovered_m=numbers(recovered_m, "recovered_m", at_least=0.0), run_m=numbers(run_m, "run_m", above=0.0)
    )
    return plain(recovered / run)


def solid_core_recovery(*, solid_m: ArrayLike, run_m: ArrayLike) -> Any:
    """Share of the run that came up as solid, full-diameter cylinders.

    Solid length over drilled length. More solid core than was drilled is refused.

    Parameters
    ----------
    solid_m : float or array (n,) [m]
        Summed length of solid, cylindrical, full-diameter pieces.
    run_m : float or array (n,) [m]
        Drilled length.

    Returns
    -------
    float or array (n,)
        Fraction of the run, 0 to 1.

    Raises
    ------
    ImpossibleValue
        When the run is not more than 0, the solid length is negative, missing, or longer than the run.

    Valid for: one run, drilled length as the divisor.
    Source: Wikipedia, "Core recovery parameters" (seen).
    Checked by: tests/unit/core/test_recovery.py
    """
    return _share_of_run(solid_m, run_m, "solid_m")


def rqd_of_length(*, sound_m: ArrayLike, run_m: ArrayLike) -> Any:
    """RQD when the sheet already gives the summed length of the counted pieces.

    Summed length over drilled length.

    Parameters
    ----------
    sound_m : float or array (n,) [m]
        Summed length of sound pieces that reach the threshold.
    run_m : float or array (n,) [m]
        Drilled length.

    Returns
    -------
    float or array (n,)
        Fraction of the run, 0 to 1.

    Raises
    ------
    ImpossibleValue
        When the run is not more than 0, the length is negative, missing, or longer than the run.

    Valid for: one run, drilled length as the divisor.
    Source: ASTM D6032 section 5.4 (seen, text of an edition of about 2002); TxDOT Geotechnical Manual (LRFD) ch. 4
        (seen).
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py
    """
    return _share_of_run(sound_m, run_m, "sound_m")


def rqd(
    *, piece_m: ArrayLike, run_m: float, threshold_m: float = 0.1, inclusive: bool = True, tolerance_m: float = 0.0
) -> float:
    """Rock quality designation of one run from the lengths of its sound pieces.

    Sum of the pieces that reach the threshold, over the drilled length of the run. Pieces are measured on the centre
    line between natural breaks; unsound pieces are left out by the caller. Print differs on a piece of exactly the
    threshold: counted by default.

    Parameters
    ----------
    piece_m : float array (n,) [m]
        Lengths of the sound pieces.
    run_m : float [m]
        Drilled length of the run.
    threshold_m : float [m]
        Shortest piece that counts.
    inclusive : bool
        Whether a piece of exactly the threshold counts.
    tolerance_m : float [m]
        How far the counted pieces may be longer than the run (a site's tape error); the answer is then a little over 1.

    Returns
    -------
    float
        Fraction of the run.

    Raises
    ------
    ImpossibleValue
        When the counted pieces are longer than the run (RQD above 1), the run is not more than 0, or a length is
        negative or missing.

    Valid for: core of about 36 mm to 85 mm, runs of 2 m or less preferred.
    Source: ASTM D6032 sections 5.4 and 5.6 (seen, text of an edition of about 2002); TxDOT Geotechnical Manual (LRFD)
        ch. 4 (seen).
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py,
        tests/properties/test_recovery_properties.py
    """
    pieces = numbers(piece_m, "piece_m", at_least=0.0).reshape(-1)
    run = float(numbers(run_m, "run_m", above=0.0))
    threshold = float(numbers(threshold_m, "threshold_m", at_least=0.0))
    allowed = float(numbers(tolerance_m, "tolerance_m", at_least=0.0))
    counts = pieces >= threshold - NANOMETRE_M if inclusive else pieces > threshold + NANOMETRE_M
    sound = math.fsum(pieces[counts])
    if sound > run + allowed + NANOMETRE_M:
        raise ImpossibleValue(
            f"the counted pieces sum to {sound:.3f} m, the run is {run:.3f} m: RQD would be {sound / run:.1%}",
            where="rqd",
            remedy="Check the piece lengths and the blocks; core left by the run before belongs to that run",
        )
    return 1.0 if abs(sound - run) <= NANOMETRE_M else sound / run


def rqd_class(
    *, rqd_fraction: ArrayLike, edges: Sequence[float] = RQD_EDGES, names: Sequence[str] = RQD_CLASSES
) -> Any:
    """The word for an RQD: very poor, poor, fair, good, excellent.

    Each class holds its lower edge: 0.50 is fair. The edges in print overlap or leave gaps, so they are a setting.

    Parameters
    ----------
    rqd_fraction : float or array (n,)
        RQD as a fraction of one; NaN where not measured.
    edges : sequence (k,)
        Lower edges of the second and later classes, rising.
    names : sequence (k+1)
        Names of the classes, from the worst.

    Returns
    -------
    str or array of str (n,)
        The class; an empty word where the RQD was not measured.

    Raises
    ------
    ImpossibleValue
        When an RQD is below 0 or above 1, the edges do not rise, or there is not one name more than edges.

    Valid for: RQD by run.
    Source: Deere's classes as printed in Das, handbook Table 10.2, and tnlab.org (seen); which class holds an edge:
        site rule.
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py
    """
    limits = numbers(edges, "edges", above=0.0, below=1.0)
    if np.any(np.diff(limits) <= 0.0) or len(names) != len(limits) + 1:
        raise ImpossibleValue(
            f"{len(limits)} edges and {len(names)} names",
            where="edges",
            remedy="Give rising edges and one name more than edges",
        )
    share = np.asarray(rqd_fraction, dtype=np.float64)
    refuse_where(
        (share < 0.0) | (share > 1.0),
        share,
        "rqd_fraction",
        "must lie between 0 and 1",
        "Give a fraction, not a percentage",
    )
    missing = np.isnan(share)
    # A percentage divided by 100 may land a hair below the edge it was printed on.
    place = np.searchsorted(limits - 1e-12, np.where(missing, 0.0, share), side="right")
    words = np.where(missing, "", np.asarray(names)[place])
    return str(words) if share.ndim == 0 else words


def rqd_from_fracture_frequency(*, fractures_per_metre: ArrayLike, threshold_m: float = 0.1) -> Any:
    """The RQD to be expected from the number of natural fractures in a metre.

    For fractures spread at random: RQD = exp(-t x) (t x + 1), x fractures in a metre, t the threshold. A measured RQD
    far from it says that fractures were miscounted or come in swarms.

    Parameters
    ----------
    fractures_per_metre : float or array (n,)
        Natural fractures in one metre of core; NaN where not countable.
    threshold_m : float [m]
        Shortest piece that counts in the RQD.

    Returns
    -------
    float or array (n,)
        Fraction of the run, 0 to 1; NaN where not countable.

    Raises
    ------
    ImpossibleValue
        When a frequency is negative or infinite, or the threshold is negative.

    Valid for: fractures spread at random (exponential spacings).
    Source: Priest and Hudson 1976, Int. J. Rock Mech. Min. Sci. 13:135-148, abstract (seen).
    Checked by: tests/published/test_recovery_published.py, tests/unit/core/test_recovery.py
    """
    frequency = np.asarray(fractures_per_metre, dtype=np.float64)
    refuse_where(
        (frequency < 0.0) | np.isinf(frequency),
        frequency,
        "fractures_per_metre",
        "must be 0 or more",
        "Check the count",
    )
    product = numbers(threshold_m, "threshold_m", at_least=0.0) * frequency
    return plain(np.exp(-product) * (product + 1.0))


def fracture_frequency(*, fractures: ArrayLike, length_m: ArrayLike) -> Any:
    """Natural fractures in a metre of core.

    Count over length. Where core is too broken to count, the count is NaN and so is the answer: it is neither 0 nor
    large.

    Parameters
    ----------
    fractures : float or array (n,)
        Count of natural fractures; NaN where too broken to count.
    length_m : float or array (n,) [m]
        Length of core they were counted on.

    Returns
    -------
    float or array (n,)
        Fractures in one metre; NaN where not countable.

    Raises
    ------
    ImpossibleValue
        When a count is negative, infinite or not whole, or the length is not more than 0.

    Valid for: core of uniform character.
    Source: BS 5930 and Hong Kong Geoguide 3, fracture index and "non-intact" (from memory).
    Checked by: tests/unit/core/test_recovery.py
    """
    count = np.asarray(fractures, dtype=np.float64)
    refuse_where(
        (count < 0.0) | np.isinf(count),
        count,
        "fractures",
        "must be 0 or more",
        "Leave it empty where too broken to count",
    )
    part = ~np.isnan(count) & (count != np.rint(count))
    refuse_where(part, count, "fractures", "is not a whole number", "Give a count")
    count, length = together(fractures=count, length_m=numbers(length_m, "length_m", above=0.0))
    return plain(count / length)


def run_columns(
    *, from_m: ArrayLike, to_m: ArrayLike, recovered_m: ArrayLike, missing_ok: bool = False
) -> tuple[Floats, Floats, Floats]:
    """The three columns of a run table as arrays; refuses what cannot be a drilled run, naming its index."""
    start, end = numbers(from_m, "from_m", at_least=0.0), numbers(to_m, "to_m", at_least=0.0)
    recovered = np.asarray(recovered_m, dtype=np.float64)
    if not missing_ok:
        recovered = numbers(recovered, "recovered_m")
    same_columns(from_m=start, to_m=end, recovered_m=recovered)
    refuse_where(
        (recovered < 0.0) | np.isinf(recovered), recovered, "recovered_m", "must be 0 or more", "Check the entry"
    )
    backward = np.flatnonzero(end - start < NANOMETRE_M)
    if backward.size:
        run = int(backward[0])
        raise ImpossibleValue(
            f"the run goes from {start[run]:.3f} m to {end[run]:.3f} m ({backward.size} such in all)",
            where=f"run, index {run}",
            remedy="Check both blocks of this run, or leave the run out",
        )
    return start, end, recovered


def same_columns(**columns: Floats) -> None:
    """Refuse columns that are not one-dimensional and of one length."""
    shapes = {column.shape for column in columns.values()}
    if len(shapes) > 1 or any(len(shape) != 1 for shape in shapes):
        listed = ", ".join(f"{name} {column.shape}" for name, column in columns.items())
        raise ImpossibleValue(
            f"the columns do not go together: {listed}",
            where=next(iter(columns)),
            remedy="Give one value a run in each column",
        )


def _share_of_run(part_m: ArrayLike, run_m: ArrayLike, name: str) -> Any:
    """Part over run; refuses a part longer than the run."""
    part = numbers(part_m, name, at_least=0.0)
    part, run = together(**{name: part, "run_m": numbers(run_m, "run_m", above=0.0)})
    refuse_where(
        part > run + NANOMETRE_M, part, name, "is longer than its run", "Check the length and the blocks of this run"
    )
    return plain(np.where(np.abs(part - run) <= NANOMETRE_M, 1.0, part / run))


def _stubs_backward(advance: Floats, recovered: Floats) -> tuple[Floats, Floats]:
    """Stubs (n+1) and losses (n), backward; both are parts of one difference, so neither is negative."""
    stub = [0.0] * (len(advance) + 1)
    loss = [0.0] * len(advance)
    gain = (recovered - advance).tolist()
    for run in range(len(gain) - 1, -1, -1):
        over = round(gain[run] + stub[run + 1], 12)
        stub[run] = max(0.0, over)
        loss[run] = max(0.0, -over)
    return np.array(stub), np.array(loss)


def _stretches(measured: np.ndarray) -> list[tuple[int, int]]:
    """First and one-past-last index of every unbroken stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], measured.astype(np.int8), [0]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
