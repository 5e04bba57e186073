"""Standards in time: scores, Shewhart limits, cumulative sums, weighted averages, drift.

Series are in the order the laboratory ran them. Targets and sds come from the certificate or from the yard's own
history: which one is a choice of the caller, and each answers another question. Rules that read the scores stand in
control_rules; how long a chart waits before it signals, in run_length.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import signal, stats

from trayside.core.number_lists import fraction, number_list, one_number, paired
from trayside.core.refusals import Floats
from trayside.core.run_length import cusum_arl, ewma_arl
from trayside.errors import ImpossibleValue

__all__ = [
    "Cusum",
    "Drift",
    "Ewma",
    "ShewhartLimits",
    "cusum",
    "cusum_arl",
    "drift",
    "ewma",
    "ewma_arl",
    "individuals_limits",
    "moving_range_limits",
    "z_scores",
]

# Factors of charts of single results with ranges of two, as printed in tables (exact d2: 2/sqrt(pi) = 1.128379).
RANGE_TO_SD = 1.128
RANGE_LIMIT = 3.267


@dataclass(frozen=True, slots=True)
class ShewhartLimits:
    """Centre and limits of single results, from the ranges of neighbours, and the limit of those ranges."""

    centre: float
    sd: float
    low: float
    high: float
    range_mean: float
    range_high: float


@dataclass(frozen=True, slots=True)
class Cusum:
    """Both cumulative sums, where they signal, and since when they have stood above zero."""

    upper: Floats
    lower: Floats
    signal_upper: np.ndarray
    signal_lower: np.ndarray
    count_upper: np.ndarray  # results in a row with the sum above zero, this one included
    count_lower: np.ndarray
    first_signal: int | None  # place in the series, from 0
    shift_began: int | None  # first result of the run that led to it
    shifted_mean: float | None  # estimate of where the mean went


@dataclass(frozen=True, slots=True)
class Ewma:
    """Weighted averages with their limits, which widen from the start toward the steady ones."""

    average: Floats
    low: Floats
    high: Floats
    signal: np.ndarray
    steady_low: float
    steady_high: float


@dataclass(frozen=True, slots=True)
class Drift:
    """Straight-line drift per place in the series, with its interval, and the rank test that needs no straight line."""

    slope: float
    low: float
    high: float
    p_value: float
    kendall_tau: float
    kendall_p: float
    change: float  # slope over the whole series


def z_scores(values: ArrayLike, *, target: float, sd: float) -> Floats:
    """Distance of each result from the target in standard deviations.

    (x - target)/sd.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    target : float [any]
        Certified value, or mean of the yard's own history.
    sd : float [any]
        Certificate's sd between laboratories, or the history's own.

    Returns
    -------
    array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When the sd is not more than 0, or a result is missing.

    Valid for: unrounded certificate figures; round only what is shown.
    Source: definition.
    Checked by: tests/unit/core/test_control_chart.py
    """
    results = number_list(values, "values", least=0)
    return (results - one_number(target, "target")) / one_number(sd, "sd", above=0.0)


def individuals_limits(values: ArrayLike, *, width: float = 3.0) -> ShewhartLimits:
    """Limits of single results from the ranges of neighbours.

    Mean -+ width x mean range/1.128.

    Parameters
    ----------
    values : array (n,) [any]
        Results in order of time.
    width : float [1]
        Standard deviations from centre to limit.

    Returns
    -------
    ShewhartLimits
        .centre, .sd, .low, .high, .range_mean, .range_high in the unit of the values.

    Raises
    ------
    ImpossibleValue
        When fewer than two results are given, or one is missing.

    Valid for: results that do not depend on their neighbours; 20 or more for limits that hold still.
    Source: NIST/SEMATECH e-Handbook 6.3.2.2 (from memory).
    Checked by: tests/published/test_control_chart_published.py, tests/unit/core/test_control_chart.py
    """
    results = number_list(values, "values", least=2)
    return moving_range_limits(
        mean=float(results.mean()), mean_range=float(np.abs(np.diff(results)).mean()), width=width
    )


def moving_range_limits(*, mean: float, mean_range: float, width: float = 3.0) -> ShewhartLimits:
    """Limits of single results from a mean and a mean range already known.

    sd = mean range/1.128; limits mean -+ width sd; upper limit of a range 3.267 mean ranges.

    Parameters
    ----------
    mean : float [any]
        Centre.
    mean_range : float [any]
        Mean of the absolute differences of neighbours.
    width : float [1]
        Standard deviations from centre to limit.

    Returns
    -------
    ShewhartLimits
        .centre, .sd, .low, .high, .range_mean, .range_high.

    Raises
    ------
    ImpossibleValue
        When the mean range is negative or the width is not more than 0.

    Valid for: ranges of two.
    Source: factors 1.128 and 3.267 in NIST/SEMATECH e-Handbook 6.3.2.2 (from memory).
    Checked by: tests/published/test_control_chart_published.py
    """
    centre = one_number(mean, "mean")
    span = one_number(mean_range, "mean_range", at_least=0.0)
    reach = one_number(width, "width", above=0.0)
    sd = span / RANGE_TO_SD
    return ShewhartLimits(centre, sd, centre - reach * sd, centre + reach * sd, span, RANGE_LIMIT * span)


def cusum(values: ArrayLike, *, target: float, k: float, h: float, head_start: float = 0.0) -> Cusum:
    """Tabular cumulative sums upward and downward.

    C+ = max(0, C+ before + x - target - k), C- likewise downward; a signal when a sum is above h. The sums go on after
    a signal. A head start lets both begin above zero, so that a series already off its target signals sooner.

    Parameters
    ----------
    values : array (n,) [any]
        Results in order of time.
    target : float [any]
        Where the mean should be.
    k : float [any]
        Slack, half the shift to be found: 0.5 sd is usual.
    h : float [any]
        Decision limit: 4 or 5 sd.
    head_start : float [any]
        Where both sums begin; h/2 is usual, 0 for none.

    Returns
    -------
    Cusum
        .upper, .lower (n,) [any], .signal_upper, .signal_lower, .count_upper, .count_lower (n,), .first_signal,
        .shift_began, .shifted_mean (None without a signal).

    Raises
    ------
    ImpossibleValue
        When k is negative, h is not more than 0, the head start is negative or not below h, or a result is missing.

    Valid for: results that do not depend on their neighbours.
    Source: Page 1954; head start: Lucas & Crosier 1982, Technometrics 24:199; Montgomery, Introduction to Statistical
        Quality Control, ch. 9 (from memory).
    Checked by: tests/published/test_control_chart_published.py, tests/unit/core/test_control_chart.py,
        tests/properties/test_control_chart_properties.py
    """
    results = number_list(values, "values", least=0)
    centre = one_number(target, "target")
    slack = one_number(k, "k", at_least=0.0)
    limit = one_number(h, "h", above=0.0)
    start = one_number(head_start, "head_start", at_least=0.0, below=limit)
    upper = _one_sided(results - centre - slack, start)
    lower = _one_sided(centre - results - slack, start)
    signal_upper, signal_lower = upper > limit, lower > limit
    counts = [_run_above_zero(side) for side in (upper, lower)]
    hits = np.flatnonzero(signal_upper | signal_lower)
    if not len(hits):
        return Cusum(upper, lower, signal_upper, signal_lower, *counts, None, None, None)
    first = int(hits[0])
    up = bool(signal_upper[first])
    run = int(counts[0][first] if up else counts[1][first])
    began = first - run + 1
    # From a sum that began at its head start, that start is no evidence of a shift.
    gathered = float(upper[first] if up else lower[first]) - (start if began == 0 else 0.0)
    moved = slack + gathered / run
    return Cusum(
        upper, lower, signal_upper, signal_lower, *counts, first, began, centre + moved if up else centre - moved
    )


def ewma(
    values: ArrayLike, *, target: float, sd: float, weight: float = 0.2, limit: float = 3.0, start: float | None = None
) -> Ewma:
    """Exponentially weighted moving average with its exact limits.

    z_i = weight x_i + (1 - weight) z_(i-1), from the target. Limits target -+ limit sd
    sqrt(weight/(2 - weight) (1 - (1 - weight)^(2 i))).

    Parameters
    ----------
    values : array (n,) [any]
        Results in order of time.
    target : float [any]
        Where the mean should be.
    sd : float [any]
        Standard deviation of one result.
    weight : float [1]
        Weight of the newest result, more than 0 and at most 1.
    limit : float [1]
        Limit in standard deviations of the average.
    start : float or None [any]
        Average before the first result; the target when None.

    Returns
    -------
    Ewma
        .average, .low, .high (n,) [any], .signal (n,), .steady_low, .steady_high.

    Raises
    ------
    ImpossibleValue
        When the sd or limit is not more than 0, the weight is not in 0..1, or a result is missing.

    Valid for: results that do not depend on their neighbours.
    Source: Roberts 1959; Lucas & Saccucci 1990, Technometrics 32:1 (from memory).
    Checked by: tests/published/test_control_chart_published.py, tests/unit/core/test_control_chart.py,
        tests/properties/test_control_chart_properties.py
    """
    results = number_list(values, "values", least=0)
    centre = one_number(target, "target")
    spread = one_number(sd, "sd", above=0.0)
    share = one_number(weight, "weight", above=0.0, at_most=1.0)
    width = one_number(limit, "limit", above=0.0)
    before = 0.0 if start is None else one_number(start, "start") - centre
    if len(results):
        average, _ = signal.lfilter([share], [1.0, share - 1.0], results - centre, zi=[(1.0 - share) * before])
    else:
        average = results
    steady = width * spread * math.sqrt(share / (2.0 - share))
    grown = 1.0 - (1.0 - share) ** (2.0 * np.arange(1, len(results) + 1))
    reach = steady * np.sqrt(grown)
    return Ewma(
        centre + average, centre - reach, centre + reach, np.abs(average) > reach, centre - steady, centre + steady
    )


def drift(values: ArrayLike, *, at: ArrayLike | None = None, confidence: float = 0.95) -> Drift:
    """Whether a standard drifts: straight line against place or time, and Kendall's rank test.

    Least squares slope with its t interval; Kendall's tau needs no straight line and no normal errors.

    Parameters
    ----------
    values : array (n,) [any]
        Results in order.
    at : array (n,) or None [any]
        Place or time of each; 0, 1, 2, ... when None.
    confidence : float [1]
        Coverage of the interval.

    Returns
    -------
    Drift
        .slope, .low, .high per unit of `at`, .p_value, .kendall_tau, .kendall_p, .change over the series.

    Raises
    ------
    ImpossibleValue
        When there are fewer than four results, all places are equal, or lengths differ.

    Valid for: results that do not depend on their neighbours.
    Source: least squares; Kendall 1938 as in scipy.stats.kendalltau.
    Checked by: tests/unit/core/test_control_chart.py
    """
    results = number_list(values, "values", least=4)
    places = np.arange(len(results), dtype=float) if at is None else at
    places, results = paired(places, results, names=("at", "values"))
    if places.min() == places.max():
        raise ImpossibleValue("all places are equal", where="at", remedy="Give the order or the time of each result")
    level = fraction(confidence, "confidence")
    span = float(places.max() - places.min())
    if results.min() == results.max():
        return Drift(0.0, 0.0, 0.0, 1.0, 0.0, 1.0, 0.0)
    line = stats.linregress(places, results)
    reach = float(stats.t.ppf((1.0 + level) / 2.0, len(results) - 2)) * float(line.stderr)
    slope = float(line.slope)
    rank = stats.kendalltau(places, results)
    return Drift(
        slope,
        slope - reach,
        slope + reach,
        float(line.pvalue),
        float(rank.statistic),
        float(rank.pvalue),
        slope * span,
    )


def _one_sided(steps: Floats, start: float) -> Floats:
    """max(0, sum before + step) all along, as the running total less its lowest point so far."""
    total = start + np.cumsum(steps)
    return total - np.minimum(np.minimum.accumulate(total), 0.0) if len(total) else total


def _run_above_zero(side: Floats) -> np.ndarray:
    places = np.arange(1, len(side) + 1)
    last_zero = np.maximum.accumulate(np.where(side > 0.0, 0, places)) if len(side) else places
    return places - last_zero
