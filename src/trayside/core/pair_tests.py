"""Is the second result of a pair lower than the first? Tests, limits of agreement, and a verdict that may abstain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.number_lists import exp_or_infinite, fraction, one_number, paired
from trayside.core.refusals import Floats, numbers
from trayside.errors import ImpossibleValue

VERDICTS = ("bias shown", "no bias that matters", "cannot conclude")


@dataclass(frozen=True, slots=True)
class SignTest:
    """Pairs whose first result is larger, smaller, equal; two-sided exact chance."""

    larger: int
    smaller: int
    equal: int
    p_value: float


@dataclass(frozen=True, slots=True)
class RankTest:
    """Wilcoxon signed rank test; pairs without difference left out and counted."""

    statistic: float
    p_value: float
    used: int
    equal: int
    exact: bool


@dataclass(frozen=True, slots=True)
class PairedT:
    """Mean difference first less second, its interval and two-sided chance."""

    mean: float
    sd: float
    t: float
    p_value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """Mean difference and the limits that hold most differences, with an interval for each of the three."""

    pairs: int
    centre: Floats  # place of each pair on the x axis
    difference: Floats
    mean: float
    sd: float
    lower: float
    upper: float
    mean_interval: tuple[float, float]
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BiasVerdict:
    """Ratio of second to first with its interval, held against the bias that would matter."""

    verdict: str
    ratio: float
    low: float
    high: float
    pairs: int
    pair_cv: float
    p_value: float


def sign_test(first: ArrayLike, second: ArrayLike) -> SignTest:
    """Exact two-sided sign test; equal pairs are left out and counted.

    Without bias a first result is larger as often as smaller.

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.

    Returns
    -------
    SignTest
        .larger, .smaller, .equal counts; .p_value (1 when every pair is equal).

    Raises
    ------
    ImpossibleValue
        When there is no pair, or the lengths differ.

    Valid for: any pairs, whatever their distribution.
    Source: binomial with one half (derived).
    Checked by: tests/unit/core/test_pair_tests.py, tests/properties/test_duplicates_properties.py
    """
    a, b = paired(first, second, names=("first", "second"))
    larger, smaller = int((a > b).sum()), int((a < b).sum())
    used = larger + smaller
    p_value = min(1.0, 2.0 * float(stats.binom.cdf(min(larger, smaller), used, 0.5))) if used else 1.0
    return SignTest(larger, smaller, len(a) - used, p_value)


def wilcoxon_test(first: ArrayLike, second: ArrayLike) -> RankTest:
    """Signed rank test of the pairs; equal pairs are left out and counted.

    Exact up to 50 differing pairs without ties among the differences; otherwise the normal form with ties corrected.

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.

    Returns
    -------
    RankTest
        .statistic (smaller rank sum), .p_value two-sided (1 when no pair differs), .used, .equal, .exact.

    Raises
    ------
    ImpossibleValue
        When there is no pair, or the lengths differ.

    Valid for: differences spread evenly about their middle; take logarithms first when they grow with grade.
    Source: Wilcoxon 1945 as in scipy.stats.wilcoxon.
    Checked by: tests/unit/core/test_pair_tests.py
    """
    a, b = paired(first, second, names=("first", "second"))
    difference = (a - b)[a != b]
    used, equal = len(difference), int((a == b).sum())
    if not used:
        return RankTest(0.0, 1.0, 0, equal, True)
    exact = used <= 50 and len(np.unique(np.abs(difference))) == used
    found = stats.wilcoxon(difference, method="exact" if exact else "asymptotic", correction=not exact)
    return RankTest(float(found.statistic), float(found.pvalue), used, equal, exact)


def paired_t(first: ArrayLike, second: ArrayLike, *, confidence: float = 0.95) -> PairedT:
    """Mean difference of the pairs with its t interval.

    Mean of first less second over its standard error.

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.
    confidence : float [1]
        Coverage.

    Returns
    -------
    PairedT
        .mean, .sd, .low, .high in the unit of the results; .t, .p_value.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two pairs, or every difference is the same.

    Valid for: differences that are near normal; a few rich pairs decide it otherwise.
    Source: Student's t (derived).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_pair_tests.py
    """
    a, b = paired(first, second, names=("first", "second"), least=2)
    difference = a - b
    mean, sd = float(difference.mean()), float(difference.std(ddof=1))
    if difference.min() == difference.max():
        raise ImpossibleValue(
            "every pair differs by the same amount: no error can be computed",
            where="first and second",
            remedy="Look at the pairs; use the sign test",
        )
    error = sd / math.sqrt(len(difference))
    reach = float(stats.t.ppf((1.0 + fraction(confidence, "confidence")) / 2.0, len(difference) - 1)) * error
    p_value = 2.0 * float(stats.t.sf(abs(mean) / error, len(difference) - 1))
    return PairedT(mean, sd, mean / error, p_value, mean - reach, mean + reach)


def bland_altman(first: ArrayLike, second: ArrayLike, *, width: float = 1.96, confidence: float = 0.95) -> Agreement:
    """Differences first less second against the mean of the pair, with limits of agreement.

    Limits: mean -+ width x sd. Their standard error: sd sqrt(1/n + width^2/(2 (n - 1))).

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.
    width : float [1]
        Standard deviations from the mean to a limit.
    confidence : float [1]
        Coverage of the intervals.

    Returns
    -------
    Agreement
        .centre, .difference (n,), .mean, .sd, .lower, .upper, and their intervals, in the unit of the results.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two pairs, or the lengths differ.

    Valid for: differences that do not grow with grade; use bland_altman_ratio when they do.
    Source: Bland & Altman 1986, Lancet i:307 (from memory); error of the limits: 1999 (from memory).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_pair_tests.py
    """
    a, b = paired(first, second, names=("first", "second"), least=2)
    return _agreement((a + b) / 2.0, a - b, width, confidence)


def bland_altman_ratio(
    first: ArrayLike, second: ArrayLike, *, width: float = 1.96, confidence: float = 0.95
) -> Agreement:
    """The same on logarithms, turned back into ratios first/second.

    Fits grades, whose differences grow with grade: a mean of 0.95 says that first results are 5 % lower.

    Parameters
    ----------
    first : array (n,) [any]
        First results, more than 0.
    second : array (n,) [any]
        Second results, more than 0.
    width : float [1]
        Standard deviations from the mean to a limit.
    confidence : float [1]
        Coverage of the intervals.

    Returns
    -------
    Agreement
        .centre (geometric mean of each pair), .difference (ratio of each pair) (n,), .mean (geometric mean ratio),
        .lower, .upper and intervals as ratios; .sd is of the natural logarithm of the ratio.

    Raises
    ------
    ImpossibleValue
        When a result is not more than 0, there are fewer than two pairs, or the lengths differ.

    Valid for: pairs above detection.
    Source: Bland & Altman 1986, logarithmic form (from memory).
    Checked by: tests/unit/core/test_pair_tests.py, tests/properties/test_duplicates_properties.py
    """
    a, b = paired(first, second, names=("first", "second"), least=2)
    log_a, log_b = (np.log(numbers(v, name, above=0.0)) for v, name in ((a, "first"), (b, "second")))
    found = _agreement((log_a + log_b) / 2.0, log_a - log_b, width, confidence)

    def back(pair: tuple[float, float]) -> tuple[float, float]:
        return exp_or_infinite(pair[0]), exp_or_infinite(pair[1])

    return Agreement(
        found.pairs,
        np.exp(found.centre),
        np.exp(found.difference),
        exp_or_infinite(found.mean),
        found.sd,
        exp_or_infinite(found.lower),
        exp_or_infinite(found.upper),
        back(found.mean_interval),
        back(found.lower_interval),
        back(found.upper_interval),
    )


def bias_verdict(
    first: ArrayLike, second: ArrayLike, *, bias_that_matters: float, confidence: float = 0.95
) -> BiasVerdict:
    """Whether the second results are biased against the first by an amount that matters, or whether nobody can say.

    The ratio second/first (geometric mean) with its t interval is held against 1 +- the bias that matters (and its
    inverse below 1). Wholly outside: bias shown. Wholly inside: no bias that matters. Anything else: cannot conclude,
    even when the chance alone looks small, for a small set that happens to reach a small chance overstates the bias.

    Parameters
    ----------
    first : array (n,) [any]
        First results, more than 0.
    second : array (n,) [any]
        Second results, more than 0.
    bias_that_matters : float [1]
        Smallest bias that would change a decision, such as 0.10. A setting.
    confidence : float [1]
        Coverage of the interval.

    Returns
    -------
    BiasVerdict
        .verdict (one of VERDICTS), .ratio, .low, .high [1], .pairs, .pair_cv [1] from the log ratios,
        .p_value of no bias at all.

    Raises
    ------
    ImpossibleValue
        When a result is not more than 0, there are fewer than two pairs, or the bias is not more than 0.

    Valid for: pairs taken without looking at results. Pairs picked because they are low prove nothing.
    Source: interval inclusion, as in tests of equivalence (derived).
    Checked by: tests/unit/core/test_pair_tests.py
    """
    matters = math.log1p(one_number(bias_that_matters, "bias_that_matters", above=0.0))
    a, b = paired(first, second, names=("first", "second"), least=2)
    ratio = np.log(numbers(b, "second", above=0.0)) - np.log(numbers(a, "first", above=0.0))
    pairs, mean, sd = len(ratio), float(ratio.mean()), float(ratio.std(ddof=1))
    error = sd / math.sqrt(pairs)
    reach = float(stats.t.ppf((1.0 + fraction(confidence, "confidence")) / 2.0, pairs - 1)) * error
    low, high = mean - reach, mean + reach
    if low > matters or high < -matters:
        verdict = VERDICTS[0]
    elif low >= -matters and high <= matters:
        verdict = VERDICTS[1]
    else:
        verdict = VERDICTS[2]
    if error > 0.0:
        p_value = 2.0 * float(stats.t.sf(abs(mean) / error, pairs - 1))
    else:
        p_value = 1.0 if mean == 0.0 else 0.0
    half = sd * sd / 2.0
    pair_cv = math.sqrt(math.expm1(half)) if half < 700.0 else math.inf
    ratios = (exp_or_infinite(v) for v in (mean, low, high))
    return BiasVerdict(verdict, *ratios, pairs, pair_cv, p_value)


def _agreement(centre: Floats, difference: Floats, width: float, confidence: float) -> Agreement:
    wide = one_number(width, "width", above=0.0)
    count = len(difference)
    mean, sd = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stats.t.ppf((1.0 + fraction(confidence, "confidence")) / 2.0, count - 1))
    of_mean = t * sd / math.sqrt(count)
    of_limit = t * sd * math.sqrt(1.0 / count + wide * wide / (2.0 * (count - 1)))
    lower, upper = mean - wide * sd, mean + wide * sd
    return Agreement(
        count,
        centre,
        difference,
        mean,
        sd,
        lower,
        upper,
        (mean - of_mean, mean + of_mean),
        (lower - of_limit, lower + of_limit),
        (upper - of_limit, upper + of_limit),
    )
