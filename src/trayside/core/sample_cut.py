"""What every sample of a hole gets from a cut at a given angle: exact imbalances, their curve, and its best plane."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar

from trayside.core.refusals import Floats, numbers, refuse_where, together
from trayside.core.vein_shares import bed_integrals
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class SampleImbalances:
    """Imbalance of each sample at each cut, (cuts, samples), and the metal in each sample; NaN in barren samples."""

    imbalance: Floats
    metal: Floats


@dataclass(frozen=True, slots=True)
class SampleCut:
    """Root mean square imbalance of the samples over the angle, its best and worst plane, and the orientation line.

    `free_from_deg` to `free_to_deg` is the stretch around the best plane where the curve stays within the allowed
    rise; `free_to_deg` may pass 180 and `free_from_deg` may be negative.
    """

    cut_deg: float
    rms_imbalance: float
    worst_deg: float
    worst_rms_imbalance: float
    line_rms_imbalance: float
    free_from_deg: float
    free_to_deg: float
    curve_deg: Floats
    curve_rms_imbalance: Floats
    sample_count: int


def sample_imbalances(
    *,
    radius_mm: float,
    alpha_deg: ArrayLike,
    beta_deg: ArrayLike,
    thickness_mm: ArrayLike,
    centre_mm: ArrayLike,
    sample_from_mm: ArrayLike,
    sample_to_mm: ArrayLike,
    cut_deg: ArrayLike,
    grade: ArrayLike = 1.0,
) -> SampleImbalances:
    """Imbalance of every sample for cuts at given angles, from the exact shares of all its veins.

    Each vein is laid into every sample it reaches. Metal of the veins of a sample is added for the whole core and for
    the difference of the halves. Where veins cross, the metal counts for both.

    Parameters
    ----------
    radius_mm : float [mm]
        Radius of the core.
    alpha_deg : float or array (n,) [deg]
        Angle between vein and core axis, above 0 to 90.
    beta_deg : float or array (n,) [deg]
        Beta of the veins.
    thickness_mm : float or array (n,) [mm]
        True thickness.
    centre_mm : float or array (n,) [mm]
        Where the middle of each vein crosses the core axis.
    sample_from_mm : array (k,) [mm]
        Upper ends of the samples, in order down the hole, not overlapping.
    sample_to_mm : array (k,) [mm]
        Lower ends of the samples.
    cut_deg : float or array (m,) [deg]
        Cuts from the orientation line, clockwise looking downhole.
    grade : float or array (n,)
        Grade of the veins, any one unit, 0 or more; the rock between is barren.

    Returns
    -------
    SampleImbalances
        .imbalance (m, k); .metal (k,) in grade times cubic millimetres.

    Raises
    ------
    ImpossibleValue
        When a length is not more than 0, alpha is out of range, a grade is negative, or samples overlap.

    Valid for: as vein_shares.clipped_vein_shares; grade carried by the veins.
    Source: derived.
    Checked by: tests/unit/core/test_sample_cut.py
    """
    cut = np.atleast_1d(numbers(cut_deg, "cut_deg"))
    laid = _lay(radius_mm, alpha_deg, beta_deg, thickness_mm, centre_mm, sample_from_mm, sample_to_mm, grade)
    whole = laid.metal()
    imbalance = np.full((cut.size, whole.size), np.nan)
    for row, angle in enumerate(cut):
        np.divide(laid.difference(angle), whole, out=imbalance[row], where=whole > 0.0)
    return SampleImbalances(imbalance=imbalance, metal=whole)


def best_sample_cut(
    *,
    radius_mm: float,
    alpha_deg: ArrayLike,
    beta_deg: ArrayLike,
    thickness_mm: ArrayLike,
    centre_mm: ArrayLike,
    sample_from_mm: ArrayLike,
    sample_to_mm: ArrayLike,
    grade: ArrayLike = 1.0,
    step_deg: float = 5.0,
    allowed_rise: float = 0.01,
) -> SampleCut:
    """The cut with the smallest root mean square imbalance over all samples with metal.

    The exact curve is drawn at even steps over half a turn; the lowest and the highest point are then refined between
    their neighbours.

    Parameters
    ----------
    radius_mm : float [mm]
        Radius of the core.
    alpha_deg : float or array (n,) [deg]
        Angle between vein and core axis, above 0 to 90.
    beta_deg : float or array (n,) [deg]
        Beta of the veins.
    thickness_mm : float or array (n,) [mm]
        True thickness.
    centre_mm : float or array (n,) [mm]
        Where the middle of each vein crosses the core axis.
    sample_from_mm : array (k,) [mm]
        Upper ends of the samples, in order, not overlapping.
    sample_to_mm : array (k,) [mm]
        Lower ends of the samples.
    grade : float or array (n,)
        Grade of the veins, any one unit, 0 or more.
    step_deg : float [deg]
        Step of the curve, above 0 to 30.
    allowed_rise : float
        Rise of the root mean square imbalance that is not worth a second look, 0 to 1.

    Returns
    -------
    SampleCut
        .cut_deg [deg], .rms_imbalance, .worst_deg [deg], .worst_rms_imbalance, .line_rms_imbalance,
        .free_from_deg [deg], .free_to_deg [deg], .curve_deg (m,) [deg], .curve_rms_imbalance (m,), .sample_count

    Raises
    ------
    ImpossibleValue
        As for sample_imbalances, or when no sample holds metal.

    Valid for: as sample_imbalances; a curve without features narrower than the step.
    Source: derived; the default of the allowed rise: common practice, no source (a setting of the yard).
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_sample_cut.py
    """
    step = float(numbers(step_deg, "step_deg", above=0.0, at_most=30.0))
    rise = float(numbers(allowed_rise, "allowed_rise", at_least=0.0, at_most=1.0))
    laid = _lay(radius_mm, alpha_deg, beta_deg, thickness_mm, centre_mm, sample_from_mm, sample_to_mm, grade)
    whole = laid.metal()
    filled = whole > 0.0
    if not filled.any():
        raise ImpossibleValue("no vein with grade lies in any sample", where="centre_mm", remedy="Check the depths")

    def rms(angle: float) -> float:
        return float(np.sqrt(np.mean((laid.difference(angle)[filled] / whole[filled]) ** 2)))

    curve = np.linspace(0.0, 180.0, round(np.ceil(180.0 / step)) + 1)[:-1]
    heights = np.array([rms(angle) for angle in curve])
    gap = curve[1]
    low, best = _refine(rms, curve, heights, gap)
    high, worst = _refine(lambda angle: -rms(angle), curve, -heights, gap)
    allowed = best + rise
    grid = np.concatenate((curve - 180.0, curve, curve + 180.0, curve + 360.0))
    above = np.tile(heights > allowed, 4)
    ends = []
    for way in (-1.0, 1.0):
        turn = way * (grid - low)
        reached = np.sort(turn[above & (turn > 0.0) & (turn < 90.0)])
        outside = float(reached[0]) if reached.size else 90.0
        inside = max(0.0, outside - gap)
        if reached.size:
            inside = _crossing(lambda t, way=way: rms(low + way * t) - allowed, inside, outside)
        ends.append(low + way * (inside if reached.size else 90.0))
    return SampleCut(
        cut_deg=low % 180.0, rms_imbalance=best, worst_deg=high % 180.0, worst_rms_imbalance=-worst,
        line_rms_imbalance=float(heights[0]), free_from_deg=ends[0], free_to_deg=ends[1], curve_deg=curve,
        curve_rms_imbalance=heights, sample_count=int(filled.sum()),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Laid:
    """Every pair of vein and sample it reaches; only pairs that the sample clips can lie unevenly."""

    pair_columns: tuple[Floats, ...]
    beta: Floats
    grade: Floats
    sample: Any
    count: int
    clipped: Any

    def metal(self) -> Floats:
        whole, _ = bed_integrals(*self.pair_columns, np.float64(0.0), self.grade, 0.0)
        return np.bincount(self.sample, weights=whole, minlength=self.count)

    def difference(self, cut_deg: float) -> Floats:
        at = self.clipped
        columns = [column[at] for column in self.pair_columns]
        _, uneven = bed_integrals(*columns, cut_deg - self.beta[at], self.grade[at], 0.0)
        return np.bincount(self.sample[at], weights=uneven, minlength=self.count)


def _lay(radius_mm, alpha_deg, beta_deg, thickness_mm, centre_mm, sample_from_mm, sample_to_mm, grade) -> _Laid:
    radius = float(numbers(radius_mm, "radius_mm", above=0.0))
    alpha, beta, thickness, centre, carried = (
        np.atleast_1d(one)
        for one in together(
            alpha_deg=numbers(alpha_deg, "alpha_deg", above=0.0, at_most=90.0),
            beta_deg=numbers(beta_deg, "beta_deg"),
            thickness_mm=numbers(thickness_mm, "thickness_mm", above=0.0),
            centre_mm=numbers(centre_mm, "centre_mm"),
            grade=numbers(grade, "grade", at_least=0.0),
        )
    )
    top, bottom = (
        np.atleast_1d(one)
        for one in together(
            sample_from_mm=numbers(sample_from_mm, "sample_from_mm"), sample_to_mm=numbers(sample_to_mm, "sample_to_mm")
        )
    )
    refuse_where(bottom <= top, bottom, "sample_to_mm", "mm is not below the upper end", "Give the upper end first")
    refuse_where(
        np.concatenate(([False], top[1:] < bottom[:-1] - 1e-6)), top, "sample_from_mm",
        "mm lies above the end of the sample before it", "Sort the samples; they may not overlap",
    )  # fmt: skip
    cot = np.tan(np.radians(90.0 - alpha))
    half = thickness / (2.0 * np.sin(np.radians(alpha)))
    reach = half + radius * cot
    first = np.searchsorted(bottom, centre - reach, side="right")
    last = np.searchsorted(top, centre + reach, side="left")
    many = np.maximum(last - first, 0)
    vein = np.repeat(np.arange(alpha.size), many)
    sample = np.arange(vein.size) - np.repeat(np.cumsum(many) - many, many) + np.repeat(first, many)
    columns = (
        np.full(vein.size, radius), cot[vein], (centre - half)[vein], (centre + half)[vein], top[sample], bottom[sample],
    )  # fmt: skip
    inside = ((centre - reach)[vein] >= top[sample]) & ((centre + reach)[vein] <= bottom[sample])
    return _Laid(columns, beta[vein], carried[vein], sample, top.size, np.flatnonzero(~inside))


def _refine(cost, curve: Floats, heights: Floats, gap: float) -> tuple[float, float]:
    """Lowest point of a curve that repeats every half turn: the best step, refined between its neighbours."""
    at = int(np.argmin(heights))
    found = minimize_scalar(cost, bounds=(curve[at] - gap, curve[at] + gap), method="bounded", options={"xatol": 1e-2})
    if found.fun < heights[at]:
        return float(found.x), float(found.fun)
    return float(curve[at]), float(heights[at])


def _crossing(above, low: float, high: float) -> float:
    """Where a function goes from 0 or less to more than 0, to a twentieth."""
    while high - low > 0.05:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if above(middle) > 0.0 else (middle, high)
    return low
