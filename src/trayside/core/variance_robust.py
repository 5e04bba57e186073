"""The same split of variance when a few wild results must not decide it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import Floats, numbers
from trayside.core.robust import MAD_TO_SD, huber_beta
from trayside.errors import ImpossibleValue

CLOSE = 1e-12
MOST_ROUNDS = 5000


@dataclass(frozen=True, slots=True)
class RobustVariances:
    """Robust variances between targets, of sampling and of analysis, unclipped, and the robust mean."""

    mean: float
    target: float
    sampling: float
    analysis: float

    @property
    def measurement(self) -> float:
        return self.sampling + self.analysis

    @property
    def total(self) -> float:
        return self.target + self.sampling + self.analysis

    @property
    def negative(self) -> tuple[str, ...]:
        return tuple(name for name in ("target", "sampling", "analysis") if getattr(self, name) < 0.0)


def nested_components_robust(values: ArrayLike, *, k: float = 1.5) -> RobustVariances:
    """Robust variances of targets, of sampling and of analysis.

    From the inside out: analyses about the mean of their sample, sample means about the mean of their target, target
    means about the whole. At each level one spread is found by Huber's proposal 2 over all groups: distances to the
    group mean are pulled in to +-k s sqrt((n - 1)/n) and their sum of squares is divided by groups (n - 1) beta. Only
    the whole has a robust mean of its own. The spread of the means below is then taken off.

    Parameters
    ----------
    values : array (targets, samples, analyses) [any]
        Results, two or more at each level.
    k : float [1]
        Limit in standard deviations.

    Returns
    -------
    RobustVariances
        .mean, .target, .sampling, .analysis (unclipped), .measurement, .total, .negative.

    Raises
    ------
    ImpossibleValue
        When the array has not three levels of two or more, or a value is missing.

    Valid for: balanced designs with few wild results. Reproduces printed results for two and two; with more samples or
        analyses the same steps, checked by simulation.
    Source: AMC 1989, Analyst 114:1699 and Eurachem/CITAC sampling guide, example A1 (from memory); the limit
        sqrt((n - 1)/n) is what reproduces the printed figures (derived).
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance_robust.py
    """
    array = numbers(values, "values")
    if array.ndim != 3 or min(array.shape) < 2:
        raise ImpossibleValue(
            f"shape {array.shape}", where="values", remedy="Give (targets, samples, analyses), two or more of each"
        )
    targets, samples, analyses = array.shape
    level = float(np.median(array))
    rest = array - level
    sample_means, target_means = rest.mean(axis=2), rest.mean(axis=(1, 2))
    analysis = _pooled_spread(rest.reshape(targets * samples, analyses), k)[1]
    of_samples = _pooled_spread(sample_means, k)[1]
    whole_mean, of_targets = _pooled_spread(target_means[None, :], k, robust_mean=True)
    return RobustVariances(
        mean=level + whole_mean,
        target=of_targets - of_samples / samples,
        sampling=of_samples - analysis / analyses,
        analysis=analysis,
    )


def _pooled_spread(groups: Floats, k: float, *, robust_mean: bool = False) -> tuple[float, float]:
    """One robust variance for all rows about their means; about a robust mean, given back too, for a single row."""
    rows, size = groups.shape
    small = math.sqrt((size - 1) / size)  # a result is nearer to the mean of its own group than to the true centre
    factor = 1.0 / math.sqrt(huber_beta(k=k) * rows * (size - 1))
    centres = np.median(groups, axis=1) if robust_mean else groups.mean(axis=1)
    start = MAD_TO_SD * float(np.median(np.abs(groups - centres[:, None]))) / small
    if start == 0.0:
        start = math.sqrt(float(((groups - groups.mean(axis=1, keepdims=True)) ** 2).sum()) / (rows * (size - 1)))
    sd, moved, rounds = start, math.inf, 0
    while moved > CLOSE * sd and rounds < MOST_ROUNDS:
        if sd <= CLOSE * start:
            return float(np.median(groups)), 0.0
        limit = k * small * sd
        held = np.clip(groups, centres[:, None] - limit, centres[:, None] + limit)
        new_centres = held.mean(axis=1) if robust_mean else centres
        new_sd = factor * math.sqrt(float(((held - new_centres[:, None]) ** 2).sum()))
        moved = max(float(np.abs(new_centres - centres).max()), abs(new_sd - sd))
        centres, sd, rounds = new_centres, new_sd, rounds + 1
    return float(centres[0]), sd**2
