"""Results of a standard against its certificate: bias with its interval, and the usual tests with both uncertainties.

`_u` in a name is a standard uncertainty, `expanded` one already multiplied (k = 2). Compute from the certificate's
unrounded figures; round only what is shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.number_lists import fraction, number_list, one_number, whole_count
from trayside.core.refusals import numbers, plain, refuse_where, together
from trayside.errors import ImpossibleValue

ZETA_ACTION = 3.0
EN_ACTION = 1.0


@dataclass(frozen=True, slots=True)
class CertificateBias:
    """Mean less certified value, with an interval that holds the certificate's own uncertainty."""

    mean: float
    sd: float
    results: int
    bias: float
    relative_bias: float
    standard_error: float  # of the mean, the certificate's uncertainty and the batches included
    low: float
    high: float
    relative_low: float
    relative_high: float
    degrees: float
    p_value: float

    @property
    def shown(self) -> bool:
        """Zero lies outside the interval."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True)
class StudentTest:
    """Mean against a value taken as exact."""

    t: float
    degrees: int
    p_value: float


@dataclass(frozen=True, slots=True)
class GuideTest:
    """Precision and trueness of results of one standard in the classical form of ISO Guide 33."""

    mean: float
    within_sd: float
    precision_ratio: float
    precision_limit: float
    precision_passes: bool
    deviation: float
    trueness_limit: float
    trueness_passes: bool


@dataclass(frozen=True, slots=True)
class AgreementTest:
    """Difference from the certified value against k times both standard uncertainties together."""

    difference: float
    limit: float
    passes: bool


def certificate_bias(
    values: ArrayLike,
    *,
    certified: float,
    certified_u: float = 0.0,
    between_sd: float = 0.0,
    batches: int | None = None,
    confidence: float = 0.95,
) -> CertificateBias:
    """Bias of the mean against the certificate with its interval.

    Standard error: sd^2/n of the results, the certificate's u^2, and between_sd^2 over the batches when results of one
    batch move together. The certificate's u and a given between_sd count as known; degrees of freedom by
    Welch-Satterthwaite.

    Parameters
    ----------
    values : array (n,) [any]
        Results of one standard.
    certified : float [any]
        Certified value.
    certified_u : float [any]
        Its standard uncertainty: the stated U over its k.
    between_sd : float [any]
        Standard deviation between batches, when it is known apart.
    batches : int or None
        Batches the results came in; needed with between_sd.
    confidence : float [1]
        Coverage.

    Returns
    -------
    CertificateBias
        .bias, .standard_error, .low, .high [any], .relative_bias, .relative_low, .relative_high [1] of the certified
        value, .p_value of no bias, .degrees, .mean, .sd, .results, .shown.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two results, nothing at all scatters, the certified value is 0, or an uncertainty is
        negative.

    Valid for: independent results within a batch. The relative figures need a certified value well above 0.
    Source: GUM combination of uncertainties; form of ISO Guide 33:2015 (from memory).
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    results = number_list(values, "values", least=2)
    target = one_number(certified, "certified")
    if target == 0.0:
        raise ImpossibleValue(
            "is 0", where="certified", remedy="A blank has no certified value; use the blank's limits"
        )
    known = one_number(certified_u, "certified_u", at_least=0.0) ** 2
    between = one_number(between_sd, "between_sd", at_least=0.0)
    if between > 0.0:
        if batches is None:
            raise ImpossibleValue("is missing", where="batches", remedy="Say in how many batches the results came")
        known += between**2 / whole_count(batches, "batches")
    count = len(results)
    mean, sd = float(results.mean()), float(results.std(ddof=1))
    own = sd * sd / count
    error = math.sqrt(own + known)
    if error == 0.0:
        raise ImpossibleValue(
            "all results are equal and nothing else is uncertain",
            where="values",
            remedy="Give the certificate's uncertainty, or results with more digits",
        )
    degrees = math.inf if own == 0.0 else (count - 1) * ((own + known) / own) ** 2
    law = stats.norm if degrees > 1e8 else stats.t(degrees)
    reach = float(law.ppf((1.0 + fraction(confidence, "confidence")) / 2.0)) * error
    bias = mean - target
    size = abs(target)
    return CertificateBias(
        mean=mean,
        sd=sd,
        results=count,
        bias=bias,
        relative_bias=bias / size,
        standard_error=error,
        low=bias - reach,
        high=bias + reach,
        relative_low=(bias - reach) / size,
        relative_high=(bias + reach) / size,
        degrees=degrees,
        p_value=2.0 * float(law.sf(abs(bias) / error)),
    )


def student_test(values: ArrayLike, *, certified: float) -> StudentTest:
    """Mean against the certified value as if that were exact.

    t = (mean - certified)/(sd/sqrt n). With many results of one laboratory this rejects differences that laboratories
    always have; guide_33_test and certificate_bias do not.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    certified : float [any]
        Certified value.

    Returns
    -------
    StudentTest
        .t, .degrees, .p_value two-sided.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two results, or all are equal.

    Valid for: independent normal results.
    Source: Student's t (derived).
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    results = number_list(values, "values", least=2)
    if results.min() == results.max():
        raise ImpossibleValue("all results are equal", where="values", remedy="Give results with more digits")
    count = len(results)
    t = (float(results.mean()) - one_number(certified, "certified")) / (float(results.std(ddof=1)) / math.sqrt(count))
    return StudentTest(t, count - 1, 2.0 * float(stats.t.sf(abs(t), count - 1)))


def guide_33_test(
    values: ArrayLike, *, certified: float, within_sd: float, between_sd: float, level: float = 0.05, k: float = 2.0
) -> GuideTest:
    """Precision and trueness of one laboratory's results, the classical form.

    Precision: (s/within_sd)^2 at most chi2(1 - level; n - 1)/(n - 1). Trueness: |mean - certified| at most
    k sqrt(between_sd^2 + s^2/n).

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    certified : float [any]
        Certified value.
    within_sd : float [any]
        Standard deviation within a laboratory, from the certification.
    between_sd : float [any]
        Standard deviation between laboratories.
    level : float [1]
        Level of the precision test.
    k : float [1]
        Multiplier of the trueness test.

    Returns
    -------
    GuideTest
        .mean, .within_sd (of these results), .precision_ratio, .precision_limit, .precision_passes, .deviation,
        .trueness_limit, .trueness_passes.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two results, within_sd is not more than 0, or between_sd is negative.

    Valid for: results of one laboratory under one set of conditions.
    Source: ISO Guide 33, classical form, in Abzalov 2016, Applied Mining Geology ch. 10 (partly seen).
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    results = number_list(values, "values", least=2)
    within = one_number(within_sd, "within_sd", above=0.0)
    between = one_number(between_sd, "between_sd", at_least=0.0)
    factor = one_number(k, "k", above=0.0)
    count = len(results)
    mean, sd = float(results.mean()), float(results.std(ddof=1))
    ratio = (sd / within) ** 2
    allowed = float(stats.chi2.isf(fraction(level, "level"), count - 1)) / (count - 1)
    deviation = mean - one_number(certified, "certified")
    limit = factor * math.sqrt(between**2 + sd * sd / count)
    return GuideTest(mean, sd, ratio, allowed, ratio <= allowed, deviation, limit, abs(deviation) <= limit)


def agreement_test(
    *, mean: float, mean_u: float, certified: float, certified_u: float, k: float = 2.0
) -> AgreementTest:
    """Mean against the certificate with both standard uncertainties.

    |mean - certified| at most k sqrt(mean_u^2 + certified_u^2).

    Parameters
    ----------
    mean : float [any]
        Measured mean.
    mean_u : float [any]
        Its standard uncertainty, everything included.
    certified : float [any]
        Certified value.
    certified_u : float [any]
        Its standard uncertainty.
    k : float [1]
        Multiplier.

    Returns
    -------
    AgreementTest
        .difference, .limit, .passes.

    Raises
    ------
    ImpossibleValue
        When an uncertainty is negative, or both are 0.

    Valid for: uncertainties that share nothing.
    Source: ISO Guide 33:2015 ch. 9; ERM Application Note 1 (both from memory).
    Checked by: tests/unit/core/test_certificate_tests.py
    """
    spread = _both(mean_u, certified_u, "mean_u", "certified_u")
    difference = one_number(mean, "mean") - one_number(certified, "certified")
    limit = one_number(k, "k", above=0.0) * one_number(spread, "mean_u")
    return AgreementTest(difference, limit, abs(difference) <= limit)


def zeta_score(*, value: ArrayLike, value_u: ArrayLike, certified: ArrayLike, certified_u: ArrayLike) -> Any:
    """Difference over both standard uncertainties together.

    (value - certified)/sqrt(value_u^2 + certified_u^2); beyond 3 calls for action.

    Parameters
    ----------
    value : float or array (n,) [any]
        Result.
    value_u : float or array (n,) [any]
        Its standard uncertainty.
    certified : float or array (n,) [any]
        Certified value.
    certified_u : float or array (n,) [any]
        Its standard uncertainty.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When an uncertainty is negative, or both are 0.

    Valid for: uncertainties that share nothing.
    Source: ISO 13528:2015 9.6 (from memory).
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    return _score(value, value_u, certified, certified_u, "value_u", "certified_u")


def en_number(
    *, value: ArrayLike, value_expanded: ArrayLike, certified: ArrayLike, certified_expanded: ArrayLike
) -> Any:
    """Difference over both expanded uncertainties together.

    (value - certified)/sqrt(U^2 + U_certified^2); beyond 1 calls for action.

    Parameters
    ----------
    value : float or array (n,) [any]
        Result.
    value_expanded : float or array (n,) [any]
        Its expanded uncertainty.
    certified : float or array (n,) [any]
        Certified value.
    certified_expanded : float or array (n,) [any]
        Its expanded uncertainty, of the same k.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When an uncertainty is negative, or both are 0.

    Valid for: expanded uncertainties of one coverage.
    Source: ISO 13528:2015 9.7 (from memory).
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    return _score(value, value_expanded, certified, certified_expanded, "value_expanded", "certified_expanded")


def power_of_standards(*, results: int, bias_in_sd: ArrayLike, level: float = 0.05) -> Any:
    """Chance that the mean of so many standards shows a bias, sd known.

    Phi(d sqrt n - z) + Phi(-d sqrt n - z).

    Parameters
    ----------
    results : int
        Results of the standard.
    bias_in_sd : float or array (n,) [1]
        True bias in standard deviations of one result.
    level : float [1]
        Two-sided level.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When results is not a count.

    Valid for: independent results, exact certified value.
    Source: derived.
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    shift = numbers(bias_in_sd, "bias_in_sd") * math.sqrt(whole_count(results, "results"))
    z = float(stats.norm.isf(fraction(level, "level") / 2.0))
    return plain(stats.norm.cdf(shift - z) + stats.norm.cdf(-shift - z))


def standards_needed(*, bias_in_sd: float, level: float = 0.05, power: float = 0.8) -> int:
    """Results of a standard needed to show a bias.

    ((z_level + z_power)/d)^2, rounded up.

    Parameters
    ----------
    bias_in_sd : float [1]
        Bias in standard deviations of one result, not 0.
    level : float [1]
        Two-sided level.
    power : float [1]
        Wanted chance of showing it.

    Returns
    -------
    int

    Raises
    ------
    ImpossibleValue
        When the bias is 0, or the power is not above the level.

    Valid for: independent results, exact certified value.
    Source: derived.
    Checked by: tests/published/test_certificate_tests_published.py, tests/unit/core/test_certificate_tests.py
    """
    bias = abs(one_number(bias_in_sd, "bias_in_sd"))
    alpha, wanted = fraction(level, "level"), fraction(power, "power")
    if bias == 0.0:
        raise ImpossibleValue("no number shows a bias of 0", where="bias_in_sd", remedy="Say which bias would matter")
    if wanted <= alpha:
        raise ImpossibleValue(f"{wanted:g} is no more than the level", where="power", remedy="0.8 is usual")
    rough = (float(stats.norm.isf(alpha / 2.0) + stats.norm.ppf(wanted)) / bias) ** 2
    if rough > 1e12:
        raise ImpossibleValue(
            f"{rough:.2g} results would be needed", where="bias_in_sd", remedy="Ask for a larger bias"
        )
    return max(1, math.ceil(rough - 1e-9))


def _both(first: ArrayLike, second: ArrayLike, first_name: str, second_name: str) -> Any:
    a, b = together(
        **{
            first_name: numbers(first, first_name, at_least=0.0),
            second_name: numbers(second, second_name, at_least=0.0),
        }
    )
    refuse_where((a == 0.0) & (b == 0.0), a, first_name, "on both sides: no scale to judge by", "Give an uncertainty")
    return (a * a + b * b) ** 0.5


def _score(
    value: ArrayLike, own: ArrayLike, certified: ArrayLike, of_certificate: ArrayLike, own_name: str, its_name: str
) -> Any:
    difference, spread = together(
        value=numbers(value, "value") - numbers(certified, "certified"),
        spread=_both(own, of_certificate, own_name, its_name),
    )
    return plain(difference / spread)
