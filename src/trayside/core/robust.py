"""Middle and spread that a few wild results cannot drag away, and a mean of results with unequal uncertainties."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from trayside.core.number_lists import number_list, one_number, paired, whole_count
from trayside.core.refusals import Floats, numbers
from trayside.errors import ImpossibleValue

MAD_TO_SD = 1.4826  # 1/Phi^-1(0.75) to the four places in common use
ISO_START_FACTOR = 1.483  # ISO 5725-5 prints these two rounded (from memory)
ISO_SPREAD_FACTOR = 1.134
STANDARD_ERROR_FACTOR = 1.25  # ISO 13528: u(x*) = 1.25 s*/sqrt(n) (from memory)
CLOSE = 1e-12
MOST_ROUNDS = 5000


@dataclass(frozen=True, slots=True)
class RobustCentre:
    """Robust mean and sd. `tied` says that half the results or more are equal, so that the usual start was no use."""

    mean: float
    sd: float
    count: int
    rounds: int
    pulled_in: int  # results beyond k sd, counted at the limit
    tied: bool

    @property
    def standard_error(self) -> float:
        """Standard uncertainty of the robust mean, 1.25 sd / sqrt(n)."""
        return STANDARD_ERROR_FACTOR * self.sd / math.sqrt(self.count)


@dataclass(frozen=True, slots=True)
class RobustSpread:
    """Pooled robust sd out of many small ones, and the sd of one result when ranges of two were given."""

    pooled: float
    rounds: int


@dataclass(frozen=True, slots=True)
class WeightedMean:
    """Mean of results that each have a variance, and the variance between them that their own does not explain."""

    mean: float
    standard_error: float
    between_variance: float
    homogeneous: bool  # True: the results scatter no more than their own variances say; between_variance is then 0


def huber_beta(*, k: float) -> float:
    """Variance left in a standard normal value after pulling it in to +-k.

    th + k^2 (1 - th) - 2 k phi(k) with th = 2 Phi(k) - 1. At k = 1.5 it is 0.7784652.

    Parameters
    ----------
    k : float [1]
        Limit in standard deviations.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When k is not more than 0.

    Valid for: normal results.
    Source: second moment of the censored normal (derived).
    Checked by: tests/unit/core/test_robust.py
    """
    limit = one_number(k, "k", above=0.0)
    inside = 2.0 * float(stats.norm.cdf(limit)) - 1.0
    return inside + limit**2 * (1.0 - inside) - 2.0 * limit * float(stats.norm.pdf(limit))


def mad(values: ArrayLike, *, factor: float = 1.0) -> float:
    """Median of the absolute distances to the median.

    With factor MAD_TO_SD (1.4826) it estimates the standard deviation of normal results.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    factor : float [1]
        Multiplier.

    Returns
    -------
    float [any]

    Raises
    ------
    ImpossibleValue
        When there is no result, or one is missing.

    Valid for: any results; 0 when more than half are equal.
    Source: Hampel 1974 (from memory).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py
    """
    results = number_list(values, "values")
    return one_number(factor, "factor", above=0.0) * float(np.median(np.abs(results - np.median(results))))


def huber_proposal_2(
    values: ArrayLike, *, k: float = 1.5, centre: float | None = None, tolerance: float = 1e-6
) -> RobustCentre:
    """Robust mean and sd found together, results beyond k sd counted at k sd.

    Each round pulls results in to mean +- k sd, takes their mean, and their sd with n - 1 over the root of huber_beta.
    Starts at median and 1.4826 MAD; when the MAD is 0 at the plain sd. A centre that is given stays fixed, and the sd
    then uses n.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    k : float [1]
        Limit in standard deviations.
    centre : float or None [any]
        Known centre, such as a certified value.
    tolerance : float [1]
        Stop when the next step is below this many sd. The default is the one behind the printed results.

    Returns
    -------
    RobustCentre
        .mean and .sd in the unit of the values; .count, .rounds, .pulled_in, .tied; .standard_error.

    Raises
    ------
    ImpossibleValue
        When fewer than two results are given (one with a centre), one is missing, or k or the tolerance is out of
        range.

    Valid for: one peak, wild results fewer than a quarter or so. With a small k and many tied results the sd can be 0.
    Source: Huber 1964 proposal 2; AMC 1989, Analyst 114:1693 (from memory).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py,
        tests/properties/test_robust_properties.py
    """
    factor = 1.0 / math.sqrt(huber_beta(k=k))
    fixed = None if centre is None else one_number(centre, "centre")
    return _pull_in(
        values,
        k=k,
        start_factor=MAD_TO_SD,
        spread_factor=factor,
        centre=fixed,
        rounds=None,
        tolerance=one_number(tolerance, "tolerance", above=0.0, at_most=0.01),
    )


def huber_location(values: ArrayLike, *, k: float = 1.5) -> RobustCentre:
    """Robust mean with the spread held at 1.4826 MAD.

    Each round pulls results in to mean +- k sd and takes their mean; the sd does not change.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    k : float [1]
        Limit in standard deviations.

    Returns
    -------
    RobustCentre
        .mean and .sd in the unit of the values; .count, .rounds, .pulled_in, .tied.

    Raises
    ------
    ImpossibleValue
        When no result is given or one is missing. When more than half the results are equal the MAD is 0: use
        huber_proposal_2.

    Valid for: one peak; the spread is less exact than that of huber_proposal_2.
    Source: Huber 1964 M-estimator with MAD scale (from memory).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py
    """
    results = number_list(values, "values")
    limit = one_number(k, "k", above=0.0)
    sd = mad(results, factor=MAD_TO_SD)
    if sd == 0.0:
        raise ImpossibleValue(
            "half of the results or more are equal: their MAD is 0", where="values", remedy="Use huber_proposal_2"
        )
    start = float(np.median(results))
    units = (results - start) / sd
    mean, rounds, moved = 0.0, 0, math.inf
    while moved >= CLOSE and rounds < MOST_ROUNDS:
        rounds += 1
        new = float(np.mean(np.clip(units, mean - limit, mean + limit)))
        moved, mean = abs(new - mean), new
    pulled = int((np.abs(units - mean) > limit).sum())
    return RobustCentre(start + sd * mean, sd, len(results), rounds, pulled, tied=False)


def algorithm_a(values: ArrayLike, *, rounds: int | None = None) -> RobustCentre:
    """Robust mean and sd with the printed constants of the ISO standard.

    As huber_proposal_2 with k = 1.5, but 1.483 MAD to start and 1.134 for the spread, as printed. `rounds` stops early,
    which the standard's own worked table does.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    rounds : int or None
        Number of updates; None goes on until nothing changes.

    Returns
    -------
    RobustCentre
        .mean (x*) and .sd (s*) in the unit of the values; .standard_error is 1.25 s*/sqrt(n).

    Raises
    ------
    ImpossibleValue
        When fewer than two results are given or one is missing.

    Valid for: one peak, wild results fewer than a quarter or so.
    Source: ISO 5725-5:1998 and ISO 13528 Annex C, Algorithm A (from memory).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py
    """
    stop = None if rounds is None else whole_count(rounds, "rounds")
    return _pull_in(
        values,
        k=1.5,
        start_factor=ISO_START_FACTOR,
        spread_factor=ISO_SPREAD_FACTOR,
        centre=None,
        rounds=stop,
        tolerance=CLOSE,
    )


def algorithm_s(spreads: ArrayLike, *, degrees_of_freedom: int = 1, rounds: int | None = None) -> RobustSpread:
    """One robust pooled sd (or range) out of many.

    Starts at the median; each round counts a spread above eta w* at eta w*, and sets w* to xi times the root mean
    square. eta and xi follow from the degrees of freedom and are rounded to three places as the standard prints them
    (1.645 and 1.097 for one degree). For ranges of two, one degree of freedom: the sd of one result is .pooled/sqrt(2).

    Parameters
    ----------
    spreads : array (n,) [any]
        Standard deviations, or ranges of pairs; 0 or more.
    degrees_of_freedom : int
        Degrees of freedom of each.
    rounds : int or None
        Number of updates; None goes on until nothing changes.

    Returns
    -------
    RobustSpread
        .pooled (w*) in the unit of the spreads; .rounds.

    Raises
    ------
    ImpossibleValue
        When no spread is given, one is negative or missing, or more than half are 0.

    Valid for: spreads of one design; normal results.
    Source: ISO 5725-5:1998 Algorithm S (from memory); eta and xi from the chi-square (derived).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py
    """
    widths = number_list(spreads, "spreads", at_least=0.0)
    eta, xi = spread_constants(degrees_of_freedom=degrees_of_freedom)
    eta, xi = round(eta, 3), round(xi, 3)
    stop = MOST_ROUNDS if rounds is None else whole_count(rounds, "rounds")
    pooled = float(np.median(widths))
    if pooled == 0.0:
        raise ImpossibleValue(
            "more than half of the spreads are 0",
            where="spreads",
            remedy="The results are rounded too coarsely for this; use more digits",
        )
    done, still = 0, False
    while not still and done < stop:
        done += 1
        new = xi * float(np.sqrt(np.mean(np.minimum(widths, eta * pooled) ** 2)))
        still = rounds is None and abs(new - pooled) <= CLOSE * pooled
        pooled = new
    return RobustSpread(pooled, done)


def spread_constants(*, degrees_of_freedom: int) -> tuple[float, float]:
    """Limit eta and correction xi of Algorithm S, unrounded.

    eta leaves one in ten sds of normal results above eta sigma; xi makes the pulled-in root mean square right again.

    Parameters
    ----------
    degrees_of_freedom : int
        Degrees of freedom v of each spread.

    Returns
    -------
    tuple of two floats [1]

    Raises
    ------
    ImpossibleValue
        When the degrees of freedom are not a count of 1 or more.

    Valid for: normal results.
    Source: eta^2 = chi2(0.9; v)/v, 1/xi^2 = P(chi2(v + 2) < v eta^2) + 0.1 eta^2 (derived).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py
    """
    v = whole_count(degrees_of_freedom, "degrees_of_freedom")
    top = float(stats.chi2.ppf(0.9, v))
    eta = math.sqrt(top / v)
    return eta, 1.0 / math.sqrt(float(stats.chi2.cdf(top, v + 2)) + 0.1 * eta**2)


def mandel_paule(means: ArrayLike, variances: ArrayLike) -> WeightedMean:
    """Weighted mean of results with their own variances and one more variance between them.

    The between variance is the one that makes the weighted sum of squares equal n - 1. If the sum is below n - 1 with
    none, the results agree: it is 0 and `homogeneous` is true.

    Parameters
    ----------
    means : array (n,) [any]
        Results, such as the means of laboratories.
    variances : array (n,) [any squared]
        Variance of each result: squared standard uncertainty of the mean.

    Returns
    -------
    WeightedMean
        .mean, .standard_error, .between_variance, .homogeneous.

    Raises
    ------
    ImpossibleValue
        When fewer than two results are given, the lengths differ, or a variance is not more than 0.

    Valid for: results without shared error.
    Source: Paule & Mandel 1982, J. Res. NBS 87:377 (from memory).
    Checked by: tests/published/test_robust_published.py, tests/unit/core/test_robust.py
    """
    x, v = paired(means, variances, names=("means", "variances"), least=2)
    numbers(v, "variances", above=0.0)
    count = len(x)

    def surplus(between: float) -> float:
        weight = 1.0 / (v + between)
        centre = float((weight * x).sum() / weight.sum())
        return float((weight * (x - centre) ** 2).sum()) - (count - 1)

    between = 0.0
    homogeneous = surplus(0.0) <= 0.0
    if not homogeneous:
        # At this much the unweighted scatter alone is below n - 1, so a root lies under it.
        top = float(((x - x.mean()) ** 2).sum()) / (count - 1)
        between = float(optimize.brentq(surplus, 0.0, top, xtol=np.finfo(float).tiny, rtol=1e-14, maxiter=500))
    weight = 1.0 / (v + between)
    mean = float((weight * x).sum() / weight.sum())
    return WeightedMean(mean, float(1.0 / np.sqrt(weight.sum())), between, homogeneous)


def _pull_in(
    values: ArrayLike,
    *,
    k: float,
    start_factor: float,
    spread_factor: float,
    centre: float | None,
    rounds: int | None,
    tolerance: float,
) -> RobustCentre:
    """Mean and sd in turn until neither moves, in units of the starting spread so that no square overflows."""
    results = number_list(values, "values", least=2 if centre is None else 1)
    limit = one_number(k, "k", above=0.0)
    count = len(results)
    start = float(np.median(results)) if centre is None else centre
    far = float(np.abs(results - start).max())
    unit = start_factor * mad(results)
    tied = unit == 0.0
    if tied and far > 0.0:
        unit = far * float(np.sqrt(np.mean(((results - start) / far) ** 2)))
    if unit == 0.0:
        return RobustCentre(start, 0.0, count, 0, 0, tied=True)
    scaled = (results - start) / unit
    divisor = count - 1 if centre is None else count
    mean, sd, done = 0.0, 1.0, 0
    while done < (rounds or MOST_ROUNDS):
        held = np.clip(scaled, mean - limit * sd, mean + limit * sd)
        new_mean = float(held.mean()) if centre is None else 0.0
        new_sd = spread_factor * math.sqrt(float(((held - new_mean) ** 2).sum()) / divisor)
        if rounds is None and max(abs(new_mean - mean), abs(new_sd - sd)) < tolerance * sd:
            break
        mean, sd, done = new_mean, new_sd, done + 1
        if sd < CLOSE:  # so many equal results that the spread dies away round by round
            mean, sd = 0.0, 0.0
            break
    pulled = int((np.abs(scaled - mean) > limit * sd).sum())
    return RobustCentre(start + unit * mean, unit * sd, count, done, pulled, tied)


def weights_of(values: ArrayLike, centre: RobustCentre, *, k: float = 1.5) -> Floats:
    """How much each result counted: 1 inside +-k sd, k sd / distance beyond.

    A wild result far out keeps little weight; the list shows which ones the robust mean held back.

    Parameters
    ----------
    values : array (n,) [any]
        Results.
    centre : RobustCentre
        Robust mean and sd of these results.
    k : float [1]
        Limit in standard deviations.

    Returns
    -------
    array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When a result is missing.

    Valid for: the centre found with the same k.
    Source: Huber weight (from memory).
    Checked by: tests/unit/core/test_robust.py
    """
    distance = np.abs(number_list(values, "values") - centre.mean)
    allowed = one_number(k, "k", above=0.0) * centre.sd
    return np.where(distance <= allowed, 1.0, allowed / np.where(distance > 0, distance, 1.0))
