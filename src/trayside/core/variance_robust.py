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

    From the inside out: analyses about their sample, sample means about their target, target means about the whole.
    At each level one spread is found by Huber's proposal 2 over all groups: distances to the group centre are pulled
    in to +-k s sqrt((n - 1)/n) and their sum of squares is divided by groups (n - 1) beta. The spread of the means
    below is then taken off. With two samples and two analyses this works on the differences alone.

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

    Valid for: balanced designs with few wild results. Reproduces printed results for two and two; more samples or
        analyses is our extension of the same steps.
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
    sample_means, analysis = _pooled_spread(rest.reshape(targets * samples, analyses), k)
    target_means, of_samples = _pooled_spread(sample_means.reshape(targets, samples), k)
    whole_mean, of_targets = _pooled_spread(target_means.reshape(1, targets), k)
    return RobustVariances(
        mean=level + float(whole_mean[0]),
        target=of_targets - of_samples / samples,
        sampling=of_samples - analysis / analyses,
        analysis=analysis,
    )


def _pooled_spread(groups: Floats, k: float) -> tuple[Floats, float]:
    """Centre of each row and one robust variance for all rows."""
    rows, size = groups.shape
    small = math.sqrt((size - 1) / size)  # a result is nearer to the mean of its own group than to the true centre
    factor = 1.0 / math.sqrt(huber_beta(k=k) * rows * (size - 1))
    centres = np.median(groups, axis=1)
    start = MAD_TO_SD * float(np.median(np.abs(groups - centres[:, None]))) / small
    if start == 0.0:
        start = math.sqrt(float(((groups - groups.mean(axis=1, keepdims=True)) ** 2).sum()) / (rows * (size - 1)))
    sd = start
    for _ in range(MOST_ROUNDS):
        if sd <= CLOSE * start:
            return np.median(groups, axis=1), 0.0
        limit = k * small * sd
        held = np.clip(groups, centres[:, None] - limit, centres[:, None] + limit)
        new_centres = held.mean(axis=1)
        new_sd = factor * math.sqrt(float(((held - new_centres[:, None]) ** 2).sum()))
        moved = max(float(np.abs(new_centres - centres).max()), abs(new_sd - sd))
        centres, sd = new_centres, new_sd
        if moved <= CLOSE * sd:
            break
    return centres, sd**2
