"""Two results that should be one: how far pairs differ, with the uncertainty of that answer, and the line between them.

Pairs of different kinds (half and half, half and quarter, coarse, pulp, second laboratory) are never to be pooled:
call once for each kind. Results below detection are no numbers here; leave such pairs out and say how many.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.number_lists import exp_or_infinite, fraction, number_list, one_number, paired
from trayside.core.refusals import Floats, numbers, refuse_where
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

_HYPERBOLA = Source("Simon / AMEC hyperbolic method", "usual slope m by kind of duplicate", "from memory")
HYPERBOLA_SLOPES = {  # starting values for settings
    "pulp": SourcedNumber(1.11, _HYPERBOLA),
    "coarse": SourcedNumber(1.22, _HYPERBOLA),
    "field": SourcedNumber(1.35, _HYPERBOLA),
}
HYPERBOLA_FAILED_SHARE = SourcedNumber(0.10, Source("Simon / AMEC hyperbolic method", "accepted share", "from memory"))


@dataclass(frozen=True, slots=True)
class PairMeasures:
    """Each pair on its own; fractions of one. `hrd` keeps the sign of first less second."""

    mean: Floats
    difference: Floats
    cv: Floats
    hard: Floats
    ampd: Floats
    hrd: Floats


@dataclass(frozen=True, slots=True)
class PairPrecision:
    """Root mean square pair CV with two readings of its uncertainty.

    The first interval believes normal errors; the second takes the scatter of the squared CVs as seen, and is the one
    to trust when a few pairs differ wildly. With few pairs both are wide.
    """

    cv: float
    pairs: int
    standard_error: float
    low: float
    high: float
    standard_error_seen: float
    low_seen: float
    high_seen: float


@dataclass(frozen=True, slots=True)
class HardCurve:
    """Sorted HARD against the share of pairs at or below it."""

    hard: Floats
    share: Floats
    mean: float
    median: float
    p90: float


@dataclass(frozen=True, slots=True)
class HyperbolaCheck:
    """Pairs outside the hyperbola, against the share accepted."""

    failed: np.ndarray
    count: int
    share: float
    p_value: float  # chance of so many or more when the true share is the accepted one
    accepted: bool


@dataclass(frozen=True, slots=True)
class ReducedMajorAxis:
    """Line between two results that both have errors, with intervals of slope and intercept."""

    slope: float
    intercept: float
    slope_low: float
    slope_high: float
    intercept_low: float
    intercept_high: float
    correlation: float
    pairs: int
    slope_error: float  # standard errors as geological texts print them
    intercept_error: float
    dispersion: float


@dataclass(frozen=True, slots=True)
class Band:
    """Line and its interval at chosen places."""

    line: Floats
    low: Floats
    high: Floats


def pair_measures(first: ArrayLike, second: ArrayLike) -> PairMeasures:
    """CV, HARD, AMPD and signed half relative difference of every pair.

    With d = first - second: CV = sqrt2 |d|/(first + second), HARD = |d|/(first + second), AMPD = 2 HARD.

    Parameters
    ----------
    first : array (n,) [any]
        First results, 0 or more.
    second : array (n,) [any]
        Second results.

    Returns
    -------
    PairMeasures
        .mean, .difference in the unit of the results; .cv, .hard, .ampd, .hrd (n,) [1].

    Raises
    ------
    ImpossibleValue
        When a result is negative (often a "below detection" in disguise), both of a pair are 0, or lengths differ.

    Valid for: pairs well above detection, ten times the limit or so.
    Source: definitions; RE with factor 2 in Simon, The Hyperbolic Method, eq. 1 (seen).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py,
        tests/properties/test_duplicates_properties.py
    """
    a, b = paired(first, second, names=("first", "second"), at_least=0.0)
    refuse_where((a == 0.0) & (b == 0.0), a, "first", "in both results: no relative difference", "Leave this pair out")
    signed = (a - b) / (a + b)
    hard = np.abs(signed)
    return PairMeasures((a + b) / 2.0, a - b, math.sqrt(2.0) * hard, hard, 2.0 * hard, signed)


def rms_cv(first: ArrayLike, second: ArrayLike) -> float:
    """Precision of one result as root mean square of the pair CVs, a fraction of one.

    sqrt(mean of 2 (a - b)^2/(a + b)^2). The mean of the pair CVs would be too low.

    Parameters
    ----------
    first : array (n,) [any]
        First results, 0 or more.
    second : array (n,) [any]
        Second results.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When there is no pair, a result is negative, both of a pair are 0, or the lengths differ.

    Valid for: pairs well above detection; no more than sqrt(2) by construction, so CVs near 1 come out low.
    Source: Stanley & Lawie 2007, Expl. Mining Geol. 16:265 (abstract seen); Abzalov 2008 ibid. 17:131 (from memory).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py,
        tests/properties/test_duplicates_properties.py
    """
    number_list(first, "first")
    return float(np.sqrt(np.mean(pair_measures(first, second).cv ** 2)))


def rms_cv_interval(first: ArrayLike, second: ArrayLike, *, confidence: float = 0.95) -> PairPrecision:
    """The pair CV with its own uncertainty.

    Under normal errors n CV^2 follows chi-square with n degrees of freedom: error about CV/sqrt(2 n). As seen: the
    error of the mean of the squared CVs, carried to the logarithm of CV, with t of n - 1.

    Parameters
    ----------
    first : array (n,) [any]
        First results, 0 or more.
    second : array (n,) [any]
        Second results.
    confidence : float [1]
        Coverage.

    Returns
    -------
    PairPrecision
        .cv, .standard_error, .low, .high, .standard_error_seen, .low_seen, .high_seen [1], .pairs.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two pairs, or as rms_cv.

    Valid for: the normal form while CV is below about 0.3; the other from about 20 pairs. Both are 0 when no pair
        differs: the results are rounded too coarsely to say.
    Source: derived; 1/sqrt(2 n).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py
    """
    number_list(first, "first", least=2)
    square = pair_measures(first, second).cv ** 2
    pairs = len(square)
    mean = float(square.mean())
    cv = math.sqrt(mean)
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0
    low, high = (cv * math.sqrt(pairs / float(stats.chi2.ppf(q, pairs))) for q in (1.0 - tail, tail))
    if mean == 0.0:
        return PairPrecision(0.0, pairs, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    relative = float(square.std(ddof=1)) / math.sqrt(pairs) / mean / 2.0
    reach = float(stats.t.ppf(1.0 - tail, pairs - 1)) * relative
    return PairPrecision(
        cv,
        pairs,
        cv / math.sqrt(2.0 * pairs),
        low,
        high,
        cv * relative,
        cv * math.exp(-reach),
        cv * exp_or_infinite(reach),
    )


def hard_curve(first: ArrayLike, second: ArrayLike) -> HardCurve:
    """HARD sorted, with the share of pairs at or below each: the usual rank plot.

    Parameters
    ----------
    first : array (n,) [any]
        First results, 0 or more.
    second : array (n,) [any]
        Second results.

    Returns
    -------
    HardCurve
        .hard, .share (n,) [1]; .mean, .median, .p90 (linear interpolation) [1].

    Raises
    ------
    ImpossibleValue
        As pair_measures, and when there is no pair.

    Valid for: as pair_measures.
    Source: common practice, no source.
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py
    """
    number_list(first, "first")
    hard = np.sort(pair_measures(first, second).hard)
    share = np.arange(1, len(hard) + 1) / len(hard)
    return HardCurve(hard, share, float(hard.mean()), float(np.median(hard)), float(np.quantile(hard, 0.9)))


def share_within(first: ArrayLike, second: ArrayLike, *, hard_limit: ArrayLike) -> Floats:
    """Share of pairs whose HARD is below each limit.

    Parameters
    ----------
    first : array (n,) [any]
        First results, 0 or more.
    second : array (n,) [any]
        Second results.
    hard_limit : float or array (k,) [1]
        Limits: 0.10 for 10 %.

    Returns
    -------
    array (k,) [1]

    Raises
    ------
    ImpossibleValue
        As pair_measures, when there is no pair, or when a limit is negative.

    Valid for: as pair_measures.
    Source: common practice, no source.
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py
    """
    limits = np.atleast_1d(numbers(hard_limit, "hard_limit", at_least=0.0))
    curve = hard_curve(first, second)
    return np.searchsorted(curve.hard, limits, side="left") / len(curve.hard)


def hyperbola_slope(*, relative_error: float) -> float:
    """Slope m whose far end accepts a relative difference.

    A pair differs by RE of its mean on the line larger = m smaller with m = (2 + RE)/(2 - RE).

    Parameters
    ----------
    relative_error : float [1]
        Accepted difference over the mean of the pair, below 2.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When the error is not more than 0, or is 2 or more.

    Valid for: grades far above b.
    Source: derived.
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py
    """
    error = one_number(relative_error, "relative_error", above=0.0, below=2.0)
    return (2.0 + error) / (2.0 - error)


def hyperbola_check(
    first: ArrayLike,
    second: ArrayLike,
    *,
    m: float,
    b: float,
    accepted_share: float = HYPERBOLA_FAILED_SHARE.value,
) -> HyperbolaCheck:
    """Pairs outside the hyperbola larger^2 = m^2 smaller^2 + b^2.

    m is the slope far from zero, b the difference allowed at zero. Limits are settings: HYPERBOLA_SLOPES are only a
    place to start, b a few times the practical detection limit.

    Parameters
    ----------
    first : array (n,) [any]
        First results, 0 or more.
    second : array (n,) [any]
        Second results.
    m : float [1]
        Slope, 1 or more.
    b : float [any]
        In the unit of the results, 0 or more.
    accepted_share : float [1]
        Share of failed pairs that is accepted.

    Returns
    -------
    HyperbolaCheck
        .failed (n,) true or false, .count, .share [1], .p_value, .accepted (share at most the accepted one).

    Raises
    ------
    ImpossibleValue
        When a result is negative, m is below 1, b is negative, there is no pair or lengths differ.

    Valid for: pairs of one kind.
    Source: Simon, The Hyperbolic Method, equations (seen); accepted 10 % (from memory).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py
    """
    a, c = paired(first, second, names=("first", "second"), at_least=0.0)
    slope = one_number(m, "m", at_least=1.0)
    rise = one_number(b, "b", at_least=0.0)
    allowed = fraction(accepted_share, "accepted_share")
    failed = np.maximum(a, c) > np.hypot(slope * np.minimum(a, c), rise)
    count, pairs = int(failed.sum()), len(a)
    p_value = float(stats.binom.sf(count - 1, pairs, allowed))
    return HyperbolaCheck(failed, count, count / pairs, p_value, count <= allowed * pairs)


def reduced_major_axis(x: ArrayLike, y: ArrayLike, *, confidence: float = 0.95) -> ReducedMajorAxis:
    """Line of y against x when both have errors: slope sign(r) sd(y)/sd(x), through the means.

    Interval of the slope: b (sqrt(B + 1) -+ sqrt(B)), B = F(confidence; 1, n - 2) (1 - r^2)/(n - 2). The intercept's
    interval is the two extreme slopes drawn through the means.

    Parameters
    ----------
    x : array (n,) [any]
        First results.
    y : array (n,) [any]
        Second results.
    confidence : float [1]
        Coverage.

    Returns
    -------
    ReducedMajorAxis
        .slope, .intercept, .slope_low, .slope_high, .intercept_low, .intercept_high, .correlation, .pairs,
        .slope_error, .intercept_error, .dispersion.

    Raises
    ------
    ImpossibleValue
        When there are fewer than three pairs, all x or all y are equal, or x and y are not related at all (r = 0).

    Valid for: normal scatter about one line; one far pair can turn it, so draw it with the points.
    Source: Legendre, Model II regression guide (lmodel2), after McArdle 1988 and Jolicoeur & Mosimann 1968 (seen);
        standard errors: Davis 1986, Sinclair & Blackwell 2002 (from memory).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_duplicates.py,
        tests/properties/test_duplicates_properties.py
    """
    a, b = paired(x, y, names=("x", "y"), least=3)
    level = fraction(confidence, "confidence")
    for values, name in ((a, "x"), (b, "y")):
        if values.min() == values.max():
            raise ImpossibleValue(
                "all results are equal: no line", where=name, remedy="Take pairs over a range of grades"
            )
    pairs = len(a)
    mean_x, mean_y = float(a.mean()), float(b.mean())
    u, v = a - mean_x, b - mean_y
    wide_x, wide_y = float(np.abs(u).max()), float(np.abs(v).max())
    u, v = u / wide_x, v / wide_y
    sxx, syy, sxy = float((u * u).sum()), float((v * v).sum()), float((u * v).sum())
    r = max(-1.0, min(1.0, sxy / math.sqrt(sxx * syy)))
    if abs(r) < 1e-12:
        raise ImpossibleValue(
            "first and second results are not related at all",
            where="x and y",
            remedy="Check that the pairs belong together",
        )
    sd_x = wide_x * math.sqrt(sxx / (pairs - 1))
    sd_y = wide_y * math.sqrt(syy / (pairs - 1))
    slope = math.copysign(sd_y / sd_x, r)
    loose = max(1.0 - r * r, 0.0)
    big = float(stats.f.ppf(level, 1, pairs - 2)) * loose / (pairs - 2)
    ends = sorted(slope * (math.sqrt(big + 1.0) + turn * math.sqrt(big)) for turn in (-1.0, 1.0))
    at_ends = sorted(mean_y - end * mean_x for end in ends)
    strength = abs(r)
    return ReducedMajorAxis(
        slope=slope,
        intercept=mean_y - slope * mean_x,
        slope_low=ends[0],
        slope_high=ends[1],
        intercept_low=at_ends[0],
        intercept_high=at_ends[1],
        correlation=r,
        pairs=pairs,
        slope_error=sd_y / sd_x * math.sqrt(loose / pairs),
        intercept_error=sd_y * math.sqrt((1.0 - strength) / pairs * (2.0 + (mean_x / sd_x) ** 2 * (1.0 + strength))),
        dispersion=math.sqrt(2.0 * (1.0 - strength)) * math.hypot(sd_x, sd_y),
    )


def reduced_major_axis_band(x: ArrayLike, y: ArrayLike, *, at: ArrayLike, confidence: float = 0.95) -> Band:
    """The line with its confidence band at chosen places.

    At x0 the line has the variance 2 sd(y)^2 (1 - |r|)/n + slope_error^2 (x0 - mean x)^2, taken with t of n - 2.

    Parameters
    ----------
    x : array (n,) [any]
        First results.
    y : array (n,) [any]
        Second results.
    at : array (k,) [any]
        Places on the x axis.
    confidence : float [1]
        Coverage at each place alone.

    Returns
    -------
    Band
        .line, .low, .high (k,) in the unit of y.

    Raises
    ------
    ImpossibleValue
        As reduced_major_axis.

    Valid for: normal scatter, 20 pairs or more; coverage checked by simulation.
    Source: means and covariances of normal pairs are independent (derived).
    Checked by: tests/unit/core/test_duplicates.py
    """
    fit = reduced_major_axis(x, y, confidence=confidence)
    a, b = paired(x, y, names=("x", "y"))
    places = np.atleast_1d(numbers(at, "at"))
    level_part = 2.0 * float(b.var(ddof=1)) * (1.0 - abs(fit.correlation)) / fit.pairs
    error = np.sqrt(level_part + (fit.slope_error * (places - a.mean())) ** 2)
    reach = float(stats.t.ppf((1.0 + confidence) / 2.0, fit.pairs - 2)) * error
    line = fit.intercept + fit.slope * places
    return Band(line, line - reach, line + reach)
