"""Where the scatter comes from: sampling, preparation or analysis, from nested results or from three kinds of pair.

A component that comes out below zero is reported below zero: it says that the data cannot tell it from nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.number_lists import number_list, one_number, paired
from trayside.core.refusals import numbers
from trayside.core.sampling_error import core_portion_variance, duplicate_pair_variance
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class NestedVariance:
    """Analysis of variance of a balanced nested array, outermost level first. `variances` are unclipped."""

    mean: float
    counts: tuple[int, ...]
    sums_of_squares: tuple[float, ...]
    degrees: tuple[int, ...]
    mean_squares: tuple[float, ...]
    variances: tuple[float, ...]

    @property
    def results_per_group(self) -> tuple[int, ...]:
        """How many results stand behind one mean of each level; 1 for the innermost."""
        return tuple(int(math.prod(self.counts[level + 1 :])) for level in range(len(self.counts)))


@dataclass(frozen=True, slots=True)
class SamplingVariances:
    """Variances between targets, of sampling and of analysis, unclipped, with the table they came from."""

    target: float
    sampling: float
    analysis: float
    table: NestedVariance

    @property
    def mean(self) -> float:
        return self.table.mean

    @property
    def measurement(self) -> float:
        """Sampling and analysis together."""
        return self.sampling + self.analysis

    @property
    def total(self) -> float:
        return self.target + self.sampling + self.analysis

    @property
    def negative(self) -> tuple[str, ...]:
        """Components that came out below zero."""
        return tuple(name for name in ("target", "sampling", "analysis") if getattr(self, name) < 0.0)


@dataclass(frozen=True, slots=True)
class BetweenWithin:
    """One-way table of groups that may differ in size: between-batch and within-batch variance."""

    mean: float  # of all results
    between: float
    within: float
    sums_of_squares: tuple[float, float]
    degrees: tuple[int, int]
    mean_squares: tuple[float, float]
    size: float  # effective results per group


@dataclass(frozen=True, slots=True)
class PairComponents:
    """Components from field, coarse and pulp pairs, unclipped."""

    sampling: float
    preparation: float
    analysis: float

    @property
    def negative(self) -> tuple[str, ...]:
        return tuple(name for name in ("sampling", "preparation", "analysis") if getattr(self, name) < 0.0)


@dataclass(frozen=True, slots=True)
class Dominance:
    """Share of each source in the scatter, the largest one, and whether it is half of all or more."""

    shares: dict[str, float]
    largest: str
    clear: bool
    negative: tuple[str, ...]
    sentence: str


@dataclass(frozen=True, slots=True)
class OtherCore:
    """What bagging another share of the core would change, by the law of mass."""

    sampling: float  # variance of a sample about the surrounding rock
    about_own_core: float  # variance of a sample about the core it was cut from
    total: float  # sampling about the surrounding rock, with preparation and analysis unchanged
    sd_ratio: float  # root of total over total of the present share


def balanced_nested(values: ArrayLike) -> NestedVariance:
    """Components of variance of a balanced nested design with any number of levels.

    Level by level, the mean squares differ by the component of that level times the results behind each of its means.

    Parameters
    ----------
    values : array (a, b, ...) [any]
        Outermost level first, such as (batch, cask, test); a last axis of replicates.

    Returns
    -------
    NestedVariance
        .mean, and per level .sums_of_squares, .degrees, .mean_squares, .variances (unclipped).

    Raises
    ------
    ImpossibleValue
        When a value is missing or a level has fewer than two entries.

    Valid for: balanced designs; random levels.
    Source: nested analysis of variance, expected mean squares (derived).
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance.py,
        tests/properties/test_variance_properties.py
    """
    array = numbers(values, "values")
    if array.ndim < 1:
        raise ImpossibleValue("one number has no levels", where="values", remedy="Give a table of results")
    for axis, size in enumerate(array.shape):
        if size < 2:
            raise ImpossibleValue(
                f"level {axis + 1} has {size} entries, 2 needed", where="values", remedy="Leave this level out"
            )
    grand = float(array.mean())
    rest = array - grand  # nothing below depends on the level of the results, only on how they differ
    sums, degrees = [], []
    outer = np.zeros(())
    for level in range(array.ndim):
        inner = rest.mean(axis=tuple(range(level + 1, array.ndim)))
        behind = math.prod(array.shape[level + 1 :])
        sums.append(behind * float(((inner - outer[..., None] if level else inner) ** 2).sum()))
        degrees.append(math.prod(array.shape[:level]) * (array.shape[level] - 1))
        outer = inner
    squares = [s / d for s, d in zip(sums, degrees, strict=True)]
    below = [*squares[1:], 0.0]
    behind = [math.prod(array.shape[level + 1 :]) for level in range(array.ndim)]
    parts = [(upper - lower) / n for upper, lower, n in zip(squares, below, behind, strict=True)]
    return NestedVariance(grand, array.shape, tuple(sums), tuple(degrees), tuple(squares), tuple(parts))


def nested_components(values: ArrayLike) -> SamplingVariances:
    """Variances of targets, of sampling and of analysis from repeated samples analysed repeatedly.

    Balanced nested analysis of variance of an array (targets, samples, analyses).

    Parameters
    ----------
    values : array (targets, samples, analyses) [any]
        Results; eight targets or more, two samples each, two analyses each is the usual design.

    Returns
    -------
    SamplingVariances
        .target, .sampling, .analysis in the squared unit of the values, unclipped; .measurement, .total, .negative
        (names below zero), .mean, .table.

    Raises
    ------
    ImpossibleValue
        When the array has not three levels of two or more, or a value is missing.

    Valid for: balanced designs; a wild result moves everything, see nested_components_robust.
    Source: Eurachem/CITAC Guide, Measurement uncertainty arising from sampling, example A1 (from memory).
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance.py,
        tests/properties/test_variance_properties.py
    """
    array = numbers(values, "values")
    if array.ndim != 3:
        raise ImpossibleValue(
            f"{array.ndim} levels", where="values", remedy="Give an array (targets, samples, analyses)"
        )
    table = balanced_nested(array)
    return SamplingVariances(*table.variances, table=table)


def between_within(values: ArrayLike, groups: ArrayLike) -> BetweenWithin:
    """Variance between batches and within batches, batches of any size.

    One-way analysis of variance; the between variance is (MS_between - MS_within)/n0 with
    n0 = (N - sum(n^2)/N)/(groups - 1), unclipped.

    Parameters
    ----------
    values : array (n,) [any]
        Results of one standard.
    groups : array (n,) of labels
        Batch of each result.

    Returns
    -------
    BetweenWithin
        .between, .within in the squared unit of the values; .mean, .sums_of_squares, .degrees, .mean_squares, .size.

    Raises
    ------
    ImpossibleValue
        When there are fewer than two batches, no batch has two results, or the lengths differ.

    Valid for: batches as random draws.
    Source: one-way analysis of variance, Searle's n0 (from memory).
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance.py
    """
    results = number_list(values, "values", least=3)
    labels = np.asarray(groups)
    if labels.shape != results.shape:
        raise ImpossibleValue(
            f"{labels.size} labels for {len(results)} results", where="groups", remedy="Give the batch of each result"
        )
    _, group = np.unique(labels, return_inverse=True)
    sizes = np.bincount(group)
    if len(sizes) < 2 or len(sizes) == len(results):
        raise ImpossibleValue(
            f"{len(results)} results in {len(sizes)} batches tell nothing of between and within",
            where="groups",
            remedy="Two batches or more are needed, and one of them with two results",
        )
    grand = float(results.mean())
    rest = results - grand
    means = np.bincount(group, weights=rest) / sizes
    ss = (float((sizes * means**2).sum()), float(((rest - means[group]) ** 2).sum()))
    df = (len(sizes) - 1, len(results) - len(sizes))
    ms = (ss[0] / df[0], ss[1] / df[1])
    size = (len(results) - float((sizes**2).sum()) / len(results)) / df[0]
    return BetweenWithin(grand, (ms[0] - ms[1]) / size, ms[1], ss, df, ms, size)


def components_from_pairs(
    *, field_variance: float, preparation_variance: float, analysis_variance: float
) -> PairComponents:
    """Sampling, preparation and analysis out of three kinds of duplicate.

    A field pair holds all three, a coarse pair preparation and analysis, a pulp pair analysis alone; the differences
    are the components. Field pairs must be of one kind (half and half, or half and quarter, or two quarters).

    Parameters
    ----------
    field_variance : float [1 or any squared]
        Variance of one result from field pairs: mean of d^2/2, or the squared pair CV.
    preparation_variance : float [same]
        The same from coarse pairs.
    analysis_variance : float [same]
        The same from pulp pairs.

    Returns
    -------
    PairComponents
        .sampling, .preparation, .analysis, unclipped; .negative names those below zero.

    Raises
    ------
    ImpossibleValue
        When a variance is negative or missing.

    Valid for: the three kinds from the same ground and the same grades.
    Source: additivity of variances (derived).
    Checked by: tests/published/test_variance_published.py, tests/unit/core/test_variance.py
    """
    field = one_number(field_variance, "field_variance", at_least=0.0)
    preparation = one_number(preparation_variance, "preparation_variance", at_least=0.0)
    analysis = one_number(analysis_variance, "analysis_variance", at_least=0.0)
    return PairComponents(field - preparation, preparation - analysis, analysis)


def what_dominates(*, sampling: float, preparation: float | None = None, analysis: float) -> Dominance:
    """Which source carries the scatter, in numbers and in one sentence.

    Shares are taken among the components above zero; one below zero is named and counts as nothing in the shares. A
    source is called clear when it holds half or more.

    Parameters
    ----------
    sampling : float [1 or any squared]
        Variance of sampling.
    preparation : float or None [same]
        Variance of preparation; None when it was not separated.
    analysis : float [same]
        Variance of analysis.

    Returns
    -------
    Dominance
        .shares by name, .largest, .clear, .negative and .sentence.

    Raises
    ------
    ImpossibleValue
        When a variance is missing or none is above zero.

    Valid for: components of one unit; read them with their intervals.
    Source: derived; half as "clear": site rule.
    Checked by: tests/unit/core/test_variance.py
    """
    given = {"sampling": sampling, "preparation": preparation, "analysis": analysis}
    parts = {name: one_number(value, name) for name, value in given.items() if value is not None}
    whole = sum(value for value in parts.values() if value > 0.0)
    if whole <= 0.0:
        raise ImpossibleValue(
            "no component is above zero: nothing scatters", where="components", remedy="Check that the pairs differ"
        )
    shares = {name: max(value, 0.0) / whole for name, value in parts.items()}
    negative = tuple(name for name, value in parts.items() if value < 0.0)
    largest = max(shares, key=lambda name: shares[name])
    clear = shares[largest] >= 0.5
    listed = ", ".join(f"{name} {shares[name]:.0%}" for name in shares if name not in negative)
    lead = f"{largest.capitalize()} dominates" if clear else f"No source dominates; the largest is {largest}"
    tail = f"; {' and '.join(negative)} cannot be told from nothing" if negative else ""
    return Dominance(shares, largest, clear, negative, f"{lead} ({listed}){tail}.")


def other_core_share(
    *,
    sampling_variance: float,
    other_variance: float,
    first_share: float,
    second_share: float,
    present_share: float,
    other_share: float,
) -> OtherCore:
    """What a quarter, a half or the whole core in the bag would change.

    Pairs with shares p and q of one core have (1/p + 1/q)/2 units of sampling variance, a sample of share s 1/s units
    about the rock around it and 1/s - 1 about its own core. So from half and half pairs the sampling variance doubles
    with a quarter and halves with the whole core. This is the law of mass: in core whose metal sits in clusters
    variance falls more slowly with mass, so a whole core gains at most this much.

    Parameters
    ----------
    sampling_variance : float [1 or any squared]
        Sampling component from the field pairs; below zero it is refused, for nothing can be scaled from it.
    other_variance : float [same]
        Preparation and analysis together.
    first_share : float [1]
        Share of the core in the first bag of the pairs: 0.5 or 0.25.
    second_share : float [1]
        Share in the second bag.
    present_share : float [1]
        Share bagged now.
    other_share : float [1]
        Share asked about, 1 for the whole core.

    Returns
    -------
    OtherCore
        .sampling, .about_own_core, .total, .sd_ratio (below 1: better than now).

    Raises
    ------
    ImpossibleValue
        When a variance is negative, or shares are not more than 0 or over 1.

    Valid for: an upper bound of what more mass gains, and of what less mass costs. At least one variance above zero.
    Source: sampling without replacement (derived); caution of USBM on Homestake core, NIOSHTIC-2 10008747 (seen).
    Checked by: tests/unit/core/test_variance.py
    """
    sampling = one_number(sampling_variance, "sampling_variance", at_least=0.0)
    rest = one_number(other_variance, "other_variance", at_least=0.0)
    if sampling + rest == 0.0:
        raise ImpossibleValue("both variances are 0", where="sampling_variance", remedy="Nothing scatters")
    now = one_number(present_share, "present_share", above=0.0, at_most=1.0)
    then = one_number(other_share, "other_share", above=0.0, at_most=1.0)
    unit = (
        2.0
        * sampling
        / one_number(duplicate_pair_variance(first_share=first_share, second_share=second_share), "first_share")
    )
    total = unit / then + rest
    own = unit * core_portion_variance(share=then)
    return OtherCore(unit / then, own, total, math.sqrt(total / (unit / now + rest)))


def pooled_pair_variance(first: ArrayLike, second: ArrayLike) -> float:
    """Variance of one result from pairs of one kind: mean of d^2 / 2.

    Parameters
    ----------
    first : array (n,) [any]
        First results.
    second : array (n,) [any]
        Second results.

    Returns
    -------
    float [any squared]

    Raises
    ------
    ImpossibleValue
        When the lengths differ, or a value is missing.

    Valid for: pairs without bias between first and second.
    Source: variance of a difference (derived).
    Checked by: tests/published/test_duplicates_published.py, tests/unit/core/test_variance.py
    """
    a, b = paired(first, second, names=("first", "second"))
    return float(((a - b) ** 2).mean() / 2.0)
