"""How well the components of variance are known: intervals, which are wide when there are few pairs or targets."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.number_lists import fraction, one_number, paired, whole_count
from trayside.core.refusals import Floats, numbers
from trayside.core.variance import NestedVariance
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class VarianceInterval:
    """A variance with its interval; unclipped, so `low` may be below zero."""

    value: float
    low: float
    high: float

    @property
    def may_be_nothing(self) -> bool:
        return self.low <= 0.0


@dataclass(frozen=True, slots=True)
class NestedIntervals:
    """Intervals of the components, outermost first, of the sum of all, and of the sum below the outermost."""

    components: tuple[VarianceInterval, ...]
    total: VarianceInterval
    measurement: VarianceInterval
    total_degrees: float  # Satterthwaite degrees of freedom of the total


def chi_square_interval(*, variance: float, degrees: float, confidence: float = 0.95) -> VarianceInterval:
    """Interval of a plain variance.

    variance x degrees over the two quantiles of chi-square.

    Parameters
    ----------
    variance : float [any squared]
        Estimated variance.
    degrees : float
        Degrees of freedom, need not be whole.
    confidence : float [1]
        Coverage.

    Returns
    -------
    VarianceInterval
        .value, .low, .high.

    Raises
    ------
    ImpossibleValue
        When the variance is negative, or the degrees are not more than 0.

    Valid for: normal results.
    Source: distribution of the sample variance (derived).
    Checked by: tests/unit/core/test_variance_intervals.py
    """
    value = one_number(variance, "variance", at_least=0.0)
    df = one_number(degrees, "degrees", above=0.0)
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0
    low, high = (value * df / float(stats.chi2.ppf(q, df)) for q in (1.0 - tail, tail))
    return VarianceInterval(value, low, high)


def satterthwaite_degrees(coefficients: ArrayLike, mean_squares: ArrayLike, degrees: ArrayLike) -> float:
    """Degrees of freedom of a weighted sum of mean squares.

    (sum c MS)^2 / sum((c MS)^2 / df).

    Parameters
    ----------
    coefficients : array (n,) [1]
        Weight of each mean square.
    mean_squares : array (n,) [any squared]
        Mean squares, 0 or more.
    degrees : array (n,)
        Their degrees of freedom.

    Returns
    -------
    float

    Raises
    ------
    ImpossibleValue
        When a mean square is negative, degrees are not above 0, all terms are 0, or the lengths differ.

    Valid for: sums with positive weights; with negative weights only as a rough guide.
    Source: Satterthwaite 1946, Biometrics Bulletin 2:110 (from memory).
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance_intervals.py
    """
    weight, square = paired(coefficients, mean_squares, names=("coefficients", "mean_squares"))
    square, df = paired(square, degrees, names=("mean_squares", "degrees"))
    numbers(square, "mean_squares", at_least=0.0)
    numbers(df, "degrees", above=0.0)
    term = weight * square
    largest = float(np.abs(term).max())
    if largest == 0.0:
        raise ImpossibleValue("all terms are 0", where="mean_squares", remedy="Nothing scatters")
    term = term / largest
    return float(term.sum() ** 2 / (term**2 / df).sum())


def sum_interval(
    coefficients: ArrayLike, mean_squares: ArrayLike, degrees: ArrayLike, *, confidence: float = 0.95
) -> VarianceInterval:
    """Modified large sample interval of a sum of mean squares with positive weights.

    Low and high are the estimate -+ root of sum((g c MS)^2); g makes each term alone exact.

    Parameters
    ----------
    coefficients : array (n,) [1]
        Weights, 0 or more.
    mean_squares : array (n,) [any squared]
        Mean squares.
    degrees : array (n,)
        Degrees of freedom.
    confidence : float [1]
        Coverage.

    Returns
    -------
    VarianceInterval
        .value, .low, .high.

    Raises
    ------
    ImpossibleValue
        When a weight or mean square is negative, or the lengths differ.

    Valid for: normal results, balanced design.
    Source: Graybill & Wang 1980, JASA 75:869 (from memory).
    Checked by: tests/unit/core/test_variance_intervals.py
    """
    weight, square = paired(coefficients, mean_squares, names=("coefficients", "mean_squares"))
    square, df = paired(square, degrees, names=("mean_squares", "degrees"))
    numbers(weight, "coefficients", at_least=0.0)
    numbers(square, "mean_squares", at_least=0.0)
    numbers(df, "degrees", above=0.0)
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0
    value = float((weight * square).sum())
    down = 1.0 - df / stats.chi2.ppf(1.0 - tail, df)
    up = df / stats.chi2.ppf(tail, df) - 1.0
    return VarianceInterval(
        value, value - _root_of_squares(down * weight * square), value + _root_of_squares(up * weight * square)
    )


def difference_interval(
    *,
    upper_square: float,
    upper_degrees: float,
    lower_square: float,
    lower_degrees: float,
    divisor: float = 1.0,
    confidence: float = 0.95,
) -> VarianceInterval:
    """Interval of (upper mean square - lower mean square)/divisor, unclipped.

    Modified large sample interval: exact when either mean square is 0 or when both are such that the estimate is 0.

    Parameters
    ----------
    upper_square : float [any squared]
        Mean square of the level asked about.
    upper_degrees : float
        Its degrees of freedom.
    lower_square : float [any squared]
        Mean square of the level below.
    lower_degrees : float
        Its degrees of freedom.
    divisor : float [1]
        Results behind one mean of the level.
    confidence : float [1]
        Coverage.

    Returns
    -------
    VarianceInterval
        .value, .low, .high; both may be below zero.

    Raises
    ------
    ImpossibleValue
        When a mean square is negative, or degrees or divisor are not more than 0.

    Valid for: normal results; coverage close to nominal, checked by simulation.
    Source: Ting, Burdick, Graybill, Jeyaratnam & Lu 1990, J. Stat. Comput. Simul. 35:135 (from memory).
    Checked by: tests/unit/core/test_variance_intervals.py
    """
    a = one_number(upper_square, "upper_square", at_least=0.0)
    b = one_number(lower_square, "lower_square", at_least=0.0)
    n1 = one_number(upper_degrees, "upper_degrees", above=0.0)
    n2 = one_number(lower_degrees, "lower_degrees", above=0.0)
    n = one_number(divisor, "divisor", above=0.0)
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0
    down_a, down_b = (1.0 - df / float(stats.chi2.ppf(1.0 - tail, df)) for df in (n1, n2))
    up_a, up_b = (df / float(stats.chi2.ppf(tail, df)) - 1.0 for df in (n1, n2))
    high_ratio, low_ratio = (float(stats.f.ppf(q, n1, n2)) for q in (1.0 - tail, tail))
    cross_low = ((high_ratio - 1.0) ** 2 - (down_a * high_ratio) ** 2 - up_b**2) / high_ratio
    cross_high = ((1.0 - low_ratio) ** 2 - (up_a * low_ratio) ** 2 - down_b**2) / low_ratio
    width_low = (down_a * a) ** 2 + (up_b * b) ** 2 + cross_low * a * b
    width_high = (up_a * a) ** 2 + (down_b * b) ** 2 + cross_high * a * b
    value = a - b
    # The cross terms are slightly negative: a width below zero can only be rounding of a zero.
    low, high = value - np.sqrt(max(width_low, 0.0)), value + np.sqrt(max(width_high, 0.0))
    return VarianceInterval(value / n, float(low) / n, float(high) / n)


def nested_intervals(table: NestedVariance, *, confidence: float = 0.95) -> NestedIntervals:
    """Intervals of every component of a balanced nested table, of their sum, and of the sum below the outermost.

    The innermost is a chi-square interval, the others intervals of a difference of neighbouring mean squares, the sums
    intervals of a weighted sum of mean squares.

    Parameters
    ----------
    table : NestedVariance
        From balanced_nested, or the .table of nested_components.
    confidence : float [1]
        Coverage of each interval alone.

    Returns
    -------
    NestedIntervals
        .components outermost first, .total, .measurement (all but the outermost), .total_degrees.

    Raises
    ------
    ImpossibleValue
        When nothing scatters, or the table has a single level.

    Valid for: normal results, balanced design.
    Source: as difference_interval and sum_interval.
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance_intervals.py
    """
    squares, degrees = np.array(table.mean_squares), np.array(table.degrees, dtype=float)
    behind = np.array(table.results_per_group, dtype=float)
    levels = len(squares)
    if levels < 2:
        raise ImpossibleValue("a table with one level", where="table", remedy="Give two levels or more")
    parts = [
        difference_interval(
            upper_square=squares[level],
            upper_degrees=degrees[level],
            lower_square=squares[level + 1],
            lower_degrees=degrees[level + 1],
            divisor=behind[level],
            confidence=confidence,
        )
        for level in range(levels - 1)
    ]
    parts.append(chi_square_interval(variance=squares[-1], degrees=degrees[-1], confidence=confidence))
    weights = _sum_weights(behind)
    inner = _sum_weights(behind[1:])
    return NestedIntervals(
        components=tuple(parts),
        total=sum_interval(weights, squares, degrees, confidence=confidence),
        measurement=sum_interval(inner, squares[1:], degrees[1:], confidence=confidence),
        total_degrees=satterthwaite_degrees(weights, squares, degrees),
    )


def pair_component_intervals(
    *,
    field_variance: float,
    field_pairs: int,
    preparation_variance: float,
    preparation_pairs: int,
    analysis_variance: float,
    analysis_pairs: int,
    confidence: float = 0.95,
) -> tuple[VarianceInterval, VarianceInterval, VarianceInterval]:
    """Intervals of sampling, preparation and analysis from three kinds of pair.

    Each pair gives one degree of freedom; sampling and preparation are differences of two independent mean squares.

    Parameters
    ----------
    field_variance : float [1 or any squared]
        Variance of one result from field pairs.
    field_pairs : int
        Number of field pairs.
    preparation_variance : float [same]
        From coarse pairs.
    preparation_pairs : int
        Number of coarse pairs.
    analysis_variance : float [same]
        From pulp pairs.
    analysis_pairs : int
        Number of pulp pairs.
    confidence : float [1]
        Coverage of each interval alone.

    Returns
    -------
    tuple of three VarianceInterval
        Sampling, preparation, analysis, as .value, .low, .high; unclipped.

    Raises
    ------
    ImpossibleValue
        When a variance is negative or a count below 1.

    Valid for: three separate sets of pairs, near-normal differences; heavy tails make the truth wider.
    Source: as difference_interval (from memory).
    Checked by: tests/unit/core/test_variance_intervals.py
    """
    sets = [
        (one_number(field_variance, "field_variance", at_least=0.0), whole_count(field_pairs, "field_pairs")),
        (
            one_number(preparation_variance, "preparation_variance", at_least=0.0),
            whole_count(preparation_pairs, "preparation_pairs"),
        ),
        (
            one_number(analysis_variance, "analysis_variance", at_least=0.0),
            whole_count(analysis_pairs, "analysis_pairs"),
        ),
    ]
    sampling, preparation = (
        difference_interval(
            upper_square=upper[0],
            upper_degrees=upper[1],
            lower_square=lower[0],
            lower_degrees=lower[1],
            confidence=confidence,
        )
        for upper, lower in pairwise(sets)
    )
    analysis = chi_square_interval(variance=sets[2][0], degrees=sets[2][1], confidence=confidence)
    return sampling, preparation, analysis


def _sum_weights(behind: Floats) -> Floats:
    """Weights of the mean squares in the sum of all components: 1/n_1, 1/n_2 - 1/n_1, ..."""
    share = 1.0 / behind
    return np.diff(share, prepend=0.0)


def _root_of_squares(terms: Floats) -> float:
    return float(np.sqrt((terms**2).sum()))
