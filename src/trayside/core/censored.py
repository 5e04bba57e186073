"""Averages of results of which some only say "less than": never by putting half the limit in their place.

Three estimates that use what is known and nothing else. Each limit may be different.

     lognormal likelihood    a result counts by its density, a "<L" by the chance of lying below L
     Kaplan-Meier            no distribution: the shares below each value, built up from the top
     regression on order     a line through the detected results on normal scores; the rest read from the line

A list is the results with a flag each: where the flag is set, the number is the limit the result lies below.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from trayside.core.number_lists import exp_or_infinite, fraction, number_list
from trayside.core.refusals import Floats, refuse_where
from trayside.errors import ImpossibleValue

ROUNDS = 200


@dataclass(frozen=True, slots=True)
class LognormalFit:
    """Mean, median and sd of a lognormal fitted by likelihood; the mean with its interval."""

    mean: float
    median: float
    sd: float
    log_mean: float
    log_sd: float
    log_mean_se: float
    log_sd_se: float
    mean_low: float
    mean_high: float
    count: int
    censored_count: int


@dataclass(frozen=True, slots=True)
class BelowCurve:
    """Share of results at or below each detected value. `unplaced` lies below the smallest of them, nobody knows where.

    `mean` is given only when nothing is unplaced; the two bounds put the unplaced share at 0 and at its limit.
    `median` is NaN when half or more is unplaced.
    """

    value: Floats
    share_at_or_below: Floats
    mean: float
    mean_low: float
    mean_high: float
    median: float
    unplaced: float


@dataclass(frozen=True, slots=True)
class OrderFit:
    """Mean, median and sd with the undetected results read from the line through the detected ones."""

    mean: float
    median: float
    sd: float
    log_intercept: float
    log_slope: float
    correlation: float  # of the detected logarithms with their scores


def lognormal_fit(*, values: ArrayLike, censored: ArrayLike, confidence: float = 0.95) -> LognormalFit:
    """Mean, median and standard deviation of a lognormal by maximum likelihood.

    Logarithms normal with mean mu and sd sigma; detected results count by their density, "<L" by Phi((ln L - mu) /
    sigma). Solved by Newton steps in mu/sigma and 1/sigma, where the likelihood has one summit. Mean
    exp(mu + sigma^2/2), its interval from the curvature at the summit, on the logarithm.

    Parameters
    ----------
    values : float array (n,) [any]
        Results; the limit where censored.
    censored : bool array (n,)
        True where the result is "less than".
    confidence : float [1]
        Of the interval of the mean.

    Returns
    -------
    LognormalFit
        .mean, .median, .sd, .mean_low, .mean_high in the unit of the values; .log_mean, .log_sd with their standard
        errors; counts.

    Raises
    ------
    ImpossibleValue
        When a value is not more than 0, the lists differ in length, or fewer than two different results were detected.

    Valid for: lognormal results; at 50 and more the interval is as stated, below that it is too narrow.
    Source: Helsel 2005, Nondetects and Data Analysis (from memory); likelihood derived.
    Checked by: tests/published/test_censored_published.py, tests/unit/core/test_censored.py
    """
    results, below = _checked(values, censored)
    if len(np.unique(results[~below])) < 2:
        raise ImpossibleValue(
            f"{len(np.unique(results[~below]))} different detected results, 2 needed",
            where="values",
            remedy="Say only that the results lie below their limits, or take a longer period",
        )
    logs = np.log(results)
    centre, width = float(logs.mean()), float(logs.std())
    scaled = (logs - centre) / width
    a, b, hessian = _summit(scaled[~below], scaled[below])
    mu, sigma = centre + width * a / b, width / b
    # From (a, b) to (mu, sigma): mu = a/b, sigma = 1/b in scaled units.
    turn = width * np.array([[1.0 / b, -a / b**2], [0.0, -1.0 / b**2]])
    covariance = turn @ np.linalg.inv(-hessian) @ turn.T
    slope = np.array([1.0, sigma])
    spread = float(stats.norm.ppf((1.0 + fraction(confidence, "confidence")) / 2.0)) * math.sqrt(
        float(slope @ covariance @ slope)
    )
    log_of_mean = mu + sigma * sigma / 2.0
    return LognormalFit(
        mean=exp_or_infinite(log_of_mean),
        median=math.exp(mu),
        sd=exp_or_infinite(log_of_mean) * math.sqrt(math.expm1(min(sigma * sigma, 700.0))),
        log_mean=mu,
        log_sd=sigma,
        log_mean_se=math.sqrt(covariance[0, 0]),
        log_sd_se=math.sqrt(covariance[1, 1]),
        mean_low=exp_or_infinite(log_of_mean - spread),
        mean_high=exp_or_infinite(log_of_mean + spread),
        count=len(results),
        censored_count=int(below.sum()),
    )


def below_curve(*, values: ArrayLike, censored: ArrayLike) -> BelowCurve:
    """Shares of results at or below each detected value, without any distribution.

    Kaplan-Meier turned round: from the largest value down, the share below a detected value v is the share at or below
    it times 1 - d/n, d results at v, n results or limits at or below v. A "<v" counts as below a detected v.

    Parameters
    ----------
    values : float array (n,) [any]
        Results; the limit where censored.
    censored : bool array (n,)
        True where the result is "less than".

    Returns
    -------
    BelowCurve
        .value (k,) ascending; .share_at_or_below (k,) [1]; .mean (NaN when a share is unplaced) with .mean_low and
        .mean_high; .median, smallest value that half lie at or below; .unplaced [1].

    Raises
    ------
    ImpossibleValue
        When a value is not more than 0, the lists differ in length, or nothing was detected.

    Valid for: limits that do not depend on the value behind them.
    Source: Helsel 2005, Nondetects and Data Analysis (from memory); product-limit estimate of Kaplan & Meier 1958
        (from memory).
    Checked by: tests/published/test_censored_published.py, tests/unit/core/test_censored.py,
        tests/properties/test_censored_properties.py
    """
    results, below = _checked(values, censored)
    if below.all():
        raise ImpossibleValue(
            "nothing was detected", where="values", remedy="Say only that the results lie below their limits"
        )
    detected, count = np.unique(results[~below], return_counts=True)
    at_risk = np.searchsorted(np.sort(results), detected, side="right")
    kept = 1.0 - count / at_risk
    # Share below each value, from the top; the share at or below it is the one below the next value up.
    under = np.cumprod(kept[::-1])[::-1]
    at_or_below = np.append(under[1:], 1.0)
    unplaced = float(under[0])
    placed = float(np.dot(detected, at_or_below - under))
    half = at_or_below >= 0.5 - 1e-12
    low_limits = results[below & (results <= detected[0])]
    high = placed + unplaced * (float(low_limits.max()) if len(low_limits) else 0.0)
    return BelowCurve(
        value=detected,
        share_at_or_below=at_or_below,
        mean=placed if unplaced == 0.0 else math.nan,
        mean_low=placed,
        mean_high=high,
        median=float(detected[np.argmax(half)]) if unplaced < 0.5 else math.nan,
        unplaced=unplaced,
    )


def order_fit(*, values: ArrayLike, censored: ArrayLike) -> OrderFit:
    """Mean, median and standard deviation by regression on order statistics.

    Plotting positions that respect every limit: the share at or above limit j is P_j = P_(j+1) + A_j/(A_j + B_j)
    (1 - P_(j+1)), A_j detected from limit j up to the next, B_j all known to lie below limit j. Logarithms of the
    detected on normal scores give a line; the undetected are read from it and enter the averages, and are not kept.

    Parameters
    ----------
    values : float array (n,) [any]
        Results; the limit where censored.
    censored : bool array (n,)
        True where the result is "less than".

    Returns
    -------
    OrderFit
        .mean, .median, .sd in the unit of the values; .log_intercept, .log_slope; .correlation [1].

    Raises
    ------
    ImpossibleValue
        When a value is not more than 0, the lists differ in length, or fewer than two different results were detected.

    Valid for: fewer than about 80 % undetected; no limit above every detected result (such a limit tells nothing of
        the order, its results share the top of the line).
    Source: Helsel & Cohn 1988, Water Resour. Res. 24:1997 (from memory).
    Checked by: tests/published/test_censored_published.py, tests/unit/core/test_censored.py
    """
    results, below = _checked(values, censored)
    if len(np.unique(results[~below])) < 2:
        raise ImpossibleValue(
            f"{len(np.unique(results[~below]))} different detected results, 2 needed",
            where="values",
            remedy="Say only that the results lie below their limits, or take a longer period",
        )
    detected = np.sort(results[~below])
    scores, hidden = _order_scores(detected, results[below])
    line = stats.linregress(scores, np.log(detected))
    whole = np.concatenate([detected, np.exp(line.intercept + line.slope * hidden)])
    return OrderFit(
        mean=float(whole.mean()),
        median=float(np.median(whole)),
        sd=float(whole.std(ddof=1)),
        log_intercept=float(line.intercept),
        log_slope=float(line.slope),
        correlation=float(line.rvalue),
    )


def _checked(values: ArrayLike, censored: ArrayLike) -> tuple[Floats, np.ndarray]:
    results = number_list(values, "values")
    refuse_where(
        results <= 0.0, results, "values", "must be more than 0", "Give the limit of a result below it, with its flag"
    )
    below = np.asarray(censored)
    if below.dtype.kind != "b" or below.shape != results.shape:
        raise ImpossibleValue(
            f"{below.size} flags of kind {below.dtype} for {len(results)} results",
            where="censored",
            remedy="Give true or false for each result",
        )
    return results, below


def _summit(seen: Floats, limits: Floats) -> tuple[float, float, np.ndarray]:
    """Top of the likelihood in a = mu/sigma, b = 1/sigma (concave there), with the second derivatives."""

    def height(a: float, b: float) -> float:
        if b <= 0.0:
            return -math.inf
        return float(
            len(seen) * math.log(b) - 0.5 * ((b * seen - a) ** 2).sum() + special.log_ndtr(b * limits - a).sum()
        )

    a, b = 0.0, 1.0
    for _ in range(ROUNDS):
        z, below = b * seen - a, b * limits - a
        pull = np.exp(-0.5 * below * below - 0.5 * math.log(2.0 * math.pi) - special.log_ndtr(below))
        bend = -pull * (below + pull)
        slope = np.array([z.sum() - pull.sum(), len(seen) / b - (z * seen).sum() + (pull * limits).sum()])
        cross = (seen).sum() - (bend * limits).sum()
        hessian = np.array(
            [
                [-len(seen) + bend.sum(), cross],
                [cross, -len(seen) / b**2 - (seen * seen).sum() + (bend * limits * limits).sum()],
            ]
        )
        step = np.linalg.solve(hessian, -slope)
        now, length = height(a, b), 1.0
        while height(a + length * step[0], b + length * step[1]) < now - 1e-12 * abs(now) and length > 1e-12:
            length /= 2.0
        a, b = a + length * float(step[0]), b + length * float(step[1])
        if np.abs(length * step).max() < 1e-11 * (1.0 + abs(a) + b):
            return a, b, hessian
    raise ImpossibleValue(
        "no best lognormal was found for these results",
        where="values",
        remedy="Use the curve without a distribution",
    )


def _order_scores(detected: Floats, limits: Floats) -> tuple[Floats, Floats]:
    """Normal scores of the sorted detected results, and of the undetected, limit by limit."""
    if not len(limits):
        place = np.arange(1, len(detected) + 1) / (len(detected) + 1.0)
        return stats.norm.ppf(place), np.zeros(0)
    edge = np.unique(limits)
    group = np.searchsorted(edge, detected, side="right")  # 0: below every limit
    at_or_above = np.zeros(len(edge) + 1)
    for j in range(len(edge) - 1, -1, -1):
        above = int((group == j + 1).sum())
        known_below = int((limits <= edge[j]).sum() + (detected < edge[j]).sum())
        at_or_above[j] = at_or_above[j + 1] + above / (above + known_below) * (1.0 - at_or_above[j + 1])
    bounds = np.concatenate([[1.0], at_or_above])  # share at or above 0, limit 1, ..., infinity
    seen = []
    for j in range(len(edge) + 1):
        inside = int((group == j).sum())
        rank = np.arange(1, inside + 1) / (inside + 1.0)
        seen.append(1.0 - bounds[j] + rank * (bounds[j] - bounds[j + 1]))
    hidden = []
    for j, limit in enumerate(edge):
        there = int((limits == limit).sum())
        hidden.append(np.arange(1, there + 1) / (there + 1.0) * (1.0 - at_or_above[j]))
    return stats.norm.ppf(np.concatenate(seen)), stats.norm.ppf(np.concatenate(hidden))
