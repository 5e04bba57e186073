"""Precision against grade after Thompson and Howarth, with what must be said beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.number_lists import one_number, paired, whole_count
from trayside.core.refusals import Floats, numbers
from trayside.errors import ImpossibleValue

MEDIAN_DIFFERENCE_TO_SD = 1.0 / (math.sqrt(2.0) * float(stats.norm.ppf(0.75)))  # 1.04836

CAUTIONS = (
    "It takes the errors as normal and so comes out lower than other measures when a few pairs differ wildly.",
    "It describes how precision changes with grade; do not use it for an average error or to split variances.",
    "It wants 50 pairs or more; a line through three or four groups is a weak line.",
)


@dataclass(frozen=True, slots=True)
class PrecisionLine:
    """Standard deviation of one result as s0 + k c. A negative s0 cannot be; `usable_above` says from which grade on."""

    s0: float
    k: float
    group_mean: Floats
    group_median_difference: Floats
    pairs_used: int
    pairs_left_over: int
    usable_above: float
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PrecisionCount:
    """Pairs above the 90 % and 99 % lines of a stated precision, and the chance of so many or more."""

    pairs: int
    above_90: int
    above_99: int
    chance_90: float
    chance_99: float
    line_90: Floats
    line_99: Floats
    cautions: tuple[str, ...]


def thompson_howarth_long(first: ArrayLike, second: ArrayLike, *, group_size: int = 11) -> PrecisionLine:
    """Line of standard deviation against grade from groups of pairs.

    Pairs sorted by mean, in groups; the median difference of each group against its mean grade; a least squares line,
    both numbers times 1.04836. Pairs that fill no group at the top are left over and counted.

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.
    group_size : int
        Pairs per group.

    Returns
    -------
    PrecisionLine
        .s0 [any] and .k [1], .group_mean, .group_median_difference, .pairs_used, .pairs_left_over, .usable_above
        (grade where the line crosses zero, 0 if s0 is not negative, infinite if the line never rises above zero),
        .cautions to show beside it.

    Raises
    ------
    ImpossibleValue
        When there are fewer than three groups of pairs, all groups have one mean, or a result is negative.

    Valid for: 50 pairs or more, normal errors.
    Source: Thompson & Howarth 1976, 1978 (from memory); steps and factor 1.0484 in Stanley & Lawie 2008, GEEA 8:173
        (seen).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_thompson_howarth.py
    """
    size = whole_count(group_size, "group_size", least=3)
    a, b = paired(first, second, names=("first", "second"), at_least=0.0)
    groups = len(a) // size
    if groups < 3:
        raise ImpossibleValue(
            f"{len(a)} pairs make {groups} groups of {size}",
            where="first and second",
            remedy=f"{3 * size} pairs are needed; use thompson_howarth_short",
        )
    mean, difference = (a + b) / 2.0, np.abs(a - b)
    order = np.argsort(mean, kind="stable")[: groups * size].reshape(groups, size)
    group_mean = mean[order].mean(axis=1)
    group_median = np.median(difference[order], axis=1)
    if group_mean[0] == group_mean[-1]:
        raise ImpossibleValue("all pairs have one grade: no line", where="first and second", remedy="Use rms_cv")
    line = stats.linregress(group_mean, group_median)
    s0 = MEDIAN_DIFFERENCE_TO_SD * float(line.intercept)
    k = MEDIAN_DIFFERENCE_TO_SD * float(line.slope)
    cautions = list(CAUTIONS)
    # With s0 below zero the line is usable right of its zero; with k not above zero it may fall to zero further up.
    usable = 0.0 if s0 >= 0.0 else (-s0 / k if k > 0.0 else math.inf)
    if s0 < 0.0:
        cautions.append(f"The line is below zero for grades under {usable:.4g}: nothing is said about them.")
    if k < 0.0:
        cautions.append("The line falls with grade, which errors do not do: too few pairs, or a wild group.")
    return PrecisionLine(
        s0, k, group_mean, group_median, groups * size, len(a) - groups * size, usable, tuple(cautions)
    )


def thompson_howarth_short(
    first: ArrayLike, second: ArrayLike, *, precision: float, detection_sd: float = 0.0
) -> PrecisionCount:
    """Whether pairs keep a stated precision: how many lie above its 90 % and 99 % lines.

    Precision P is two relative standard deviations: sd = s0 + P c/2. Of two results with that sd, 9 in 10 differ by
    less than 2.3262 sd and 99 in 100 by less than 3.6428 sd. The counts are judged by the exact binomial.

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.
    precision : float [1]
        P, such as 0.10.
    detection_sd : float [any]
        s0, standard deviation near zero grade.

    Returns
    -------
    PrecisionCount
        .pairs, .above_90, .above_99, .chance_90, .chance_99, .line_90 and .line_99 (n,) at the mean of each pair,
        .cautions.

    Raises
    ------
    ImpossibleValue
        When there is no pair, a result is negative, or precision and detection_sd are both 0.

    Valid for: 10 to 50 pairs, normal errors.
    Source: Thompson & Howarth 1973, Analyst 98:153 (from memory); factors derived.
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_thompson_howarth.py
    """
    a, b = paired(first, second, names=("first", "second"), at_least=0.0)
    relative = one_number(precision, "precision", above=0.0) / 2.0
    sd = one_number(detection_sd, "detection_sd", at_least=0.0) + relative * (a + b) / 2.0
    difference = np.abs(a - b)
    lines = [difference_line(sd=sd, share=share) for share in (0.90, 0.99)]
    above = [int((difference > line).sum()) for line in lines]
    chances = [float(stats.binom.sf(count - 1, len(a), tail)) for count, tail in zip(above, (0.10, 0.01), strict=True)]
    return PrecisionCount(len(a), *above, *chances, *lines, CAUTIONS[:2])


def difference_line(*, sd: ArrayLike, share: float) -> Floats:
    """Difference that a share of pairs stays below, for results with this standard deviation.

    sqrt2 sd Phi^-1((1 + share)/2): 2.3262 sd for 0.90, 3.6428 sd for 0.99, 0.95387 sd for one half.

    Parameters
    ----------
    sd : float or array (n,) [any]
        Standard deviation of one result.
    share : float [1]
        Share of pairs.

    Returns
    -------
    array (n,) [any]

    Raises
    ------
    ImpossibleValue
        When the sd is negative, or the share is not between 0 and 1.

    Valid for: normal errors.
    Source: derived.
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_thompson_howarth.py
    """
    spread = numbers(sd, "sd", at_least=0.0)
    part = one_number(share, "share", above=0.0, below=1.0)
    return math.sqrt(2.0) * float(stats.norm.ppf((1.0 + part) / 2.0)) * spread
