"""The smallest result that is more than a blank: critical value, detection limit, quantification limit, EPA's MDL.

Three questions that are often taken for one:

     critical value    above it a result is called present; a blank passes it with chance alpha
     detection limit   what truly holds this much passes the critical value with chance 1 - beta
     quantification    where the standard deviation is a stated share of the value, 1 in 10

All are net of the blank's mean unless said otherwise, with one standard deviation near zero and there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from trayside.core.number_lists import fraction, number_list, one_number, whole_count
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class DetectionLimits:
    """Critical value, detection limit and quantification limit, in the unit of the standard deviation."""

    critical: float
    detection: float
    quantification: float


@dataclass(frozen=True, slots=True)
class MethodDetectionLimit:
    """A method detection limit with its factor, and the interval that the scatter of the standard deviation gives."""

    limit: float
    factor: float  # one-sided t
    sd: float
    degrees_of_freedom: int
    low: float
    high: float


def limits_known_sd(
    *, blank_sd: float, alpha: float = 0.05, beta: float = 0.05, quantified_rsd: float = 0.1, paired: bool = False
) -> DetectionLimits:
    """Limits when the standard deviation of the blank is well known.

    With s0 = blank_sd (times sqrt 2 when each result is a sample less its own blank): critical z(1 - alpha) s0,
    detection critical + z(1 - beta) s0, quantification s0 / quantified_rsd.

    Parameters
    ----------
    blank_sd : float [any]
        Standard deviation of a single blank result.
    alpha : float [1]
        Chance that a blank is called present.
    beta : float [1]
        Chance that something at the detection limit is missed.
    quantified_rsd : float [1]
        Relative standard deviation that counts as quantified.
    paired : bool
        True when the blank is measured anew for each sample and subtracted.

    Returns
    -------
    DetectionLimits
        .critical, .detection, .quantification in the unit of the sd.

    Raises
    ------
    ImpossibleValue
        When the standard deviation is not more than 0, or a chance is not between 0 and 1.

    Valid for: normal scatter, the same sd at zero and at the limit.
    Source: Currie 1968, Anal. Chem. 40:586; Currie 1995, Pure Appl. Chem. 67:1699 (from memory).
    Checked by: tests/published/test_detection_limits_published.py, tests/unit/core/test_detection_limits.py
    """
    sd = one_number(blank_sd, "blank_sd", above=0.0) * (math.sqrt(2.0) if paired else 1.0)
    share = one_number(quantified_rsd, "quantified_rsd", above=0.0)
    critical = float(stats.norm.isf(fraction(alpha, "alpha"))) * sd
    return DetectionLimits(
        critical=critical,
        detection=critical + float(stats.norm.isf(fraction(beta, "beta"))) * sd,
        quantification=sd / share,
    )


def limits_estimated_sd(
    *,
    blank_sd: float,
    degrees_of_freedom: int,
    alpha: float = 0.05,
    beta: float = 0.05,
    quantified_rsd: float = 0.1,
    paired: bool = False,
) -> DetectionLimits:
    """Limits when the standard deviation comes from a few blanks.

    Critical value t(1 - alpha) s0. The detection limit is delta s0, delta the noncentrality at which the t statistic
    passes its critical value with chance 1 - beta; s0 stands in for the true standard deviation, so the limit is as
    uncertain as s0 itself.

    Parameters
    ----------
    blank_sd : float [any]
        Standard deviation of a single blank result, estimated.
    degrees_of_freedom : int
        Blanks less one.
    alpha : float [1]
        Chance that a blank is called present.
    beta : float [1]
        Chance that something at the detection limit is missed.
    quantified_rsd : float [1]
        Relative standard deviation that counts as quantified.
    paired : bool
        True when the blank is measured anew for each sample and subtracted.

    Returns
    -------
    DetectionLimits
        .critical, .detection, .quantification in the unit of the sd.

    Raises
    ------
    ImpossibleValue
        When the standard deviation is not more than 0, there are no degrees of freedom, or a chance is not between 0
        and 1.

    Valid for: normal scatter, the same sd at zero and at the limit.
    Source: Currie 1995, Pure Appl. Chem. 67:1699 (from memory); noncentral t (derived).
    Checked by: tests/published/test_detection_limits_published.py, tests/unit/core/test_detection_limits.py
    """
    degrees = whole_count(degrees_of_freedom, "degrees_of_freedom")
    sd = one_number(blank_sd, "blank_sd", above=0.0) * (math.sqrt(2.0) if paired else 1.0)
    miss, share = fraction(beta, "beta"), one_number(quantified_rsd, "quantified_rsd", above=0.0)
    factor = float(stats.t.isf(fraction(alpha, "alpha"), degrees))
    high = 2.0 * factor + 2.0
    while stats.nct.cdf(factor, degrees, high) > miss:
        high *= 2.0
    delta = optimize.brentq(lambda d: stats.nct.cdf(factor, degrees, d) - miss, 0.0, high, xtol=1e-10)
    return DetectionLimits(critical=factor * sd, detection=float(delta) * sd, quantification=sd / share)


def limits_of_counts(*, blank_counts: float) -> DetectionLimits:
    """Limits for counted events when sample and blank are counted equally long.

    With B blank counts: critical 2.33 sqrt(B), detection 2.71 + 4.65 sqrt(B), quantification
    50 (1 + sqrt(1 + B/12.5)), as printed (rounded factors, alpha = beta = 0.05, 1 in 10).

    Parameters
    ----------
    blank_counts : float
        Counts of the blank.

    Returns
    -------
    DetectionLimits
        Net counts.

    Raises
    ------
    ImpossibleValue
        When the count is negative.

    Valid for: Poisson counts, about 5 and more in the blank.
    Source: Currie 1968, Anal. Chem. 40:586, working expressions for paired observations (from memory).
    Checked by: tests/published/test_detection_limits_published.py, tests/unit/core/test_detection_limits.py
    """
    count = one_number(blank_counts, "blank_counts", at_least=0.0)
    root = math.sqrt(count)
    return DetectionLimits(2.33 * root, 2.71 + 4.65 * root, 50.0 * (1.0 + math.sqrt(1.0 + count / 12.5)))


def t_factor(*, degrees_of_freedom: float, level: float = 0.99) -> float:
    """One-sided Student factor of a method detection limit.

    t(level) with so many degrees of freedom; the normal factor when they are infinite.

    Parameters
    ----------
    degrees_of_freedom : float
        Replicates less one, or the pooled number; may be infinite.
    level : float [1]
        Chance that a result without the element stays below.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When there is less than one degree of freedom, or the level is not between 0 and 1.

    Valid for: normal scatter.
    Source: Wis. Adm. Code NR 252.0365, table (seen), after 40 CFR 136 Appendix B.
    Checked by: tests/published/test_detection_limits_published.py
    """
    if not degrees_of_freedom >= 1.0:
        raise ImpossibleValue(
            f"{degrees_of_freedom} degrees of freedom", where="degrees_of_freedom", remedy="Give two replicates or more"
        )
    return float(stats.t.ppf(fraction(level, "level"), degrees_of_freedom))


def method_detection_limit(*, spiked: ArrayLike, level: float = 0.99, confidence: float = 0.95) -> MethodDetectionLimit:
    """Method detection limit from replicates of a low spike.

    t(n - 1) s, with the interval sqrt(df/chi2) of the standard deviation. Which spike is low enough is for the
    laboratory's method to say.

    Parameters
    ----------
    spiked : float array (n,) [any]
        Results of one low-level spike through the whole method, seven or more by rule.
    level : float [1]
        One-sided level of the factor.
    confidence : float [1]
        Of the interval.

    Returns
    -------
    MethodDetectionLimit
        .limit, .sd, .low, .high in the unit of the results; .factor [1]; .degrees_of_freedom.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two results, or all are equal.

    Valid for: normal scatter; results that were not rounded to their own detection limit.
    Source: 40 CFR 136 Appendix B, factors as in Wis. Adm. Code NR 252.0365 (seen).
    Checked by: tests/published/test_detection_limits_published.py, tests/unit/core/test_detection_limits.py
    """
    results = number_list(spiked, "spiked", least=2)
    return pooled_detection_limit(
        standard_deviations=[_scatter(results, "spiked")],
        degrees_of_freedom=[len(results) - 1],
        level=level,
        confidence=confidence,
    )


def pooled_detection_limit(
    *, standard_deviations: ArrayLike, degrees_of_freedom: ArrayLike, level: float = 0.99, confidence: float = 0.95
) -> MethodDetectionLimit:
    """Method detection limit from several runs of replicates.

    Variances pooled by their degrees of freedom; factor and interval from the sum of these.

    Parameters
    ----------
    standard_deviations : float array (k,) [any]
        One of each run.
    degrees_of_freedom : int array (k,)
        Replicates of each run less one.
    level : float [1]
        One-sided level of the factor.
    confidence : float [1]
        Of the interval.

    Returns
    -------
    MethodDetectionLimit
        .limit, .sd, .low, .high in the unit of the results; .factor [1]; .degrees_of_freedom.

    Raises
    ------
    ImpossibleValue
        When a run has no degrees of freedom, a standard deviation is not more than 0, or the lists differ in length.

    Valid for: runs of one true standard deviation.
    Source: 40 CFR 136 Appendix B, factors as in Wis. Adm. Code NR 252.0365 (seen); interval derived.
    Checked by: tests/published/test_detection_limits_published.py, tests/unit/core/test_detection_limits.py
    """
    sds = number_list(standard_deviations, "standard_deviations")
    degrees = [whole_count(one, "degrees_of_freedom") for one in np.atleast_1d(np.asarray(degrees_of_freedom))]
    if len(sds) != len(degrees):
        raise ImpossibleValue(
            f"{len(sds)} standard deviations, {len(degrees)} degrees of freedom",
            where="standard_deviations",
            remedy="Give one of each for every run",
        )
    for sd in sds:
        one_number(sd, "standard_deviations", above=0.0)
    total = sum(degrees)
    pooled = math.sqrt(float(np.dot(sds**2, degrees)) / total)
    factor = t_factor(degrees_of_freedom=total, level=level)
    low, high = sd_interval_factors(degrees_of_freedom=total, confidence=confidence)
    limit = factor * pooled
    return MethodDetectionLimit(limit, factor, pooled, total, low * limit, high * limit)


def blank_detection_limit(*, blanks: ArrayLike, level: float = 0.99, confidence: float = 0.95) -> MethodDetectionLimit:
    """Method detection limit from blanks that give numbers.

    Mean of the blanks (0 when it is below 0) plus t(n - 1) s. The interval counts the scatter of s only.

    Parameters
    ----------
    blanks : float array (n,) [any]
        Blank results as numbers, none of them cut off at a limit.
    level : float [1]
        One-sided level of the factor.
    confidence : float [1]
        Of the interval.

    Returns
    -------
    MethodDetectionLimit
        .limit, .sd, .low, .high in the unit of the results; .factor [1]; .degrees_of_freedom.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two results, or all are equal.

    Valid for: normal scatter.
    Source: 40 CFR 136 Appendix B, revision 2, blank part (from memory).
    Checked by: tests/unit/core/test_detection_limits.py
    """
    results = number_list(blanks, "blanks", least=2)
    sd, degrees = _scatter(results, "blanks"), len(results) - 1
    factor = t_factor(degrees_of_freedom=degrees, level=level)
    low, high = sd_interval_factors(degrees_of_freedom=degrees, confidence=confidence)
    mean = max(float(results.mean()), 0.0)
    return MethodDetectionLimit(
        mean + factor * sd, factor, sd, degrees, mean + low * factor * sd, mean + high * factor * sd
    )


def sd_interval_factors(*, degrees_of_freedom: float, confidence: float = 0.95) -> tuple[float, float]:
    """Factors that turn a standard deviation (or a limit made of it) into its interval.

    sqrt(df/chi2) at both ends.

    Parameters
    ----------
    degrees_of_freedom : float
        Of the standard deviation.
    confidence : float [1]
        Two-sided.

    Returns
    -------
    tuple of float [1]
        Lower and upper factor.

    Raises
    ------
    ImpossibleValue
        When there is less than one degree of freedom, or the confidence is not between 0 and 1.

    Valid for: normal scatter.
    Source: distribution of a variance (derived).
    Checked by: tests/published/test_detection_limits_published.py
    """
    degrees = one_number(degrees_of_freedom, "degrees_of_freedom", at_least=1.0)
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0
    return (
        math.sqrt(degrees / float(stats.chi2.isf(tail, degrees))),
        math.sqrt(degrees / float(stats.chi2.ppf(tail, degrees))),
    )


def _scatter(results: np.ndarray, name: str) -> float:
    sd = float(results.std(ddof=1))
    if np.ptp(results) == 0.0:
        raise ImpossibleValue(
            "all results are equal: there is no scatter to build a limit on",
            where=name,
            remedy="Take results that were not rounded or cut off at a limit",
        )
    return sd
