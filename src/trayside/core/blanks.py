"""Blanks: limits, carry-over from the sample before, the material's own content, and a blank lot that is none.

     blank = background of the material + share carried over x sample before it + scatter

"Before" has two meanings, before on the saw and before in the laboratory. Where the two orders differ, the shares of
saw and laboratory can be told apart. A blank that follows nothing high can show no carry-over, whatever it reads.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from trayside.core.number_lists import fraction, number_list, one_number, paired, whole_count
from trayside.core.refusals import Floats, numbers, refuse_where
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

PASSES, FAILS, CARRIED = "passes", "above the limit", "above the limit, carry-over within what is allowed"
CANNOT_CONCLUDE, CARRY_OVER, NO_CARRY_OVER = "cannot conclude", "carry-over", "no carry-over beyond what matters"
DIRTY, CLEAN = "dirty", "not shown to be dirty"


@dataclass(frozen=True, slots=True)
class BlankSettings:
    """When a blank fails and what carry-over matters: starting choices, settings of the yard."""

    coarse_factor: float = 5.0  # times the detection limit, blanks that pass the crusher
    pulp_factor: float = 3.0  # times the detection limit, blanks that come as pulp
    carry_over_allowed: float = 0.01  # of the sample before
    level: float = 0.05  # one-sided
    split_correlation: float = 0.9  # above it the two orders are too alike to part saw and laboratory
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "Simón and Méndez 2011, as used in technical reports",
        "blank limits; carry-over 1 %: common practice",
        "from memory",
    )

    def __post_init__(self) -> None:
        one_number(self.coarse_factor, "coarse_factor", above=0.0)
        one_number(self.pulp_factor, "pulp_factor", above=0.0)
        for name in ("carry_over_allowed", "level", "split_correlation"):
            fraction(getattr(self, name), name)


DEFAULT_BLANKS = BlankSettings()


@dataclass(frozen=True, slots=True)
class JudgedBlanks:
    """Each blank against its limit; arrays (n,). `share_of_previous` is NaN where nothing is known of the sample."""

    limit: Floats
    above: np.ndarray
    share_of_previous: Floats
    verdict: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FailureRate:
    """Failures among blanks: exact interval, one-sided upper limit, and the chance of so many at the allowed rate."""

    rate: float
    low: float
    high: float
    upper: float
    p_value: float


@dataclass(frozen=True, slots=True)
class CarryOver:
    """Share of the sample before that is found again in the blank; shares are fractions of one."""

    rate: float
    standard_error: float
    low: float
    high: float
    p_value: float  # one-sided, rate of 0 or less
    background: float
    background_low: float
    background_high: float
    rank_correlation: float
    rank_p_value: float  # one-sided
    each: Floats  # (n,) of each blank: (blank - background) / sample before
    largest_leverage: float  # 1: one blank alone makes the line
    smallest_seen: float  # rate that so many blanks behind such samples show at 80 %
    verdict: str


@dataclass(frozen=True, slots=True)
class CarryOverPart:
    """Share carried over at one place, with interval and one-sided p."""

    rate: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True, slots=True)
class CarryOverSplit:
    """Carry-over of the saw and of the laboratory, where the two orders allow to part them (else None)."""

    saw: CarryOverPart | None
    laboratory: CarryOverPart | None
    background: float
    blanks: int
    differ: int  # blanks whose sample before differs between the orders
    correlation: float
    why: str  # in words


@dataclass(frozen=True, slots=True)
class LotBackground:
    """Background of one lot of blank material, carry-over taken off."""

    lot: Hashable
    blanks: int
    median: float
    low: float
    high: float
    others: float  # median of the other lots, NaN for the only one
    p_value: float  # one-sided against the others (the only lot: against the limit), counted for all lots
    verdict: str


def judge_blanks(
    *,
    blank: ArrayLike,
    detection_limit: ArrayLike,
    pulp: ArrayLike = False,
    previous: ArrayLike | None = None,
    background: float = 0.0,
    settings: BlankSettings = DEFAULT_BLANKS,
) -> JudgedBlanks:
    """Each blank against so many times its detection limit, and how much of the sample before it holds.

    A blank above its limit stays above; when what it holds beyond the background is no more than the allowed share of
    the sample before, the verdict says so.

    Parameters
    ----------
    blank : float array (n,) [any]
        Results of the blanks; a result below its limit enters as that limit (it passes whatever it is).
    detection_limit : float or array (n,) [any]
        Of the method.
    pulp : bool or array (n,)
        True for blanks that come as pulp.
    previous : float array (n,) or None [any]
        Result of the sample before; NaN where unknown.
    background : float [any]
        The material's own content.
    settings : BlankSettings
        Factors and allowed share; a setting.

    Returns
    -------
    JudgedBlanks
        .limit (n,) in the unit of the blanks; .above (n,); .share_of_previous (n,) [1]; .verdict (n,).

    Raises
    ------
    ImpossibleValue
        When a detection limit is not more than 0, a previous result is not more than 0, or lists differ in length.

    Valid for: one element, one unit.
    Source: factors 3 and 5: Simón and Méndez 2011 (from memory); 1 %: common practice, no source.
    Checked by: tests/unit/core/test_blanks.py, tests/properties/test_blanks_properties.py
    """
    results = number_list(blank, "blank", least=0)
    limits = _alike(numbers(detection_limit, "detection_limit", above=0.0), results, "detection_limit")
    is_pulp = np.broadcast_to(np.asarray(pulp, dtype=bool), results.shape)
    own = one_number(background, "background")
    limit = limits * np.where(is_pulp, settings.pulp_factor, settings.coarse_factor)
    if previous is None:
        share = np.full(len(results), np.nan)
    else:
        before = _alike(np.asarray(previous, dtype=np.float64), results, "previous")
        refuse_where(before <= 0.0, before, "previous", "must be more than 0", "Give NaN where it is not known")
        share = (results - own) / before
    above = results > limit
    verdict = tuple(
        PASSES if not high else CARRIED if part <= settings.carry_over_allowed else FAILS
        for high, part in zip(above.tolist(), share.tolist(), strict=True)
    )
    return JudgedBlanks(limit, above, share, verdict)


def failure_rate(*, failures: int, blanks: int, allowed: float = 0.05, confidence: float = 0.95) -> FailureRate:
    """Failures among blanks with their exact interval.

    Clopper-Pearson from the beta distribution; the one-sided upper limit beside it; p is the binomial chance of so many
    failures or more at the allowed rate.

    Parameters
    ----------
    failures : int
        Blanks that failed.
    blanks : int
        All blanks.
    allowed : float [1]
        Rate of failures put up with.
    confidence : float [1]
        Of the interval and of the upper limit.

    Returns
    -------
    FailureRate
        .rate [1], .low [1], .high [1], .upper [1], .p_value [1]

    Raises
    ------
    ImpossibleValue
        When there are more failures than blanks, no blanks, or a rate is not between 0 and 1.

    Valid for: blanks that fail independently.
    Source: Clopper and Pearson 1934 (from memory); binomial (derived).
    Checked by: tests/published/test_blanks_published.py, tests/unit/core/test_blanks.py,
        tests/properties/test_blanks_properties.py
    """
    count = whole_count(blanks, "blanks")
    failed = whole_count(failures, "failures", least=0)
    if failed > count:
        raise ImpossibleValue(f"{failed} failures among {count} blanks", where="failures", remedy="Count again")
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0

    def upper(share: float) -> float:
        return 1.0 if failed == count else float(stats.beta.isf(share, failed + 1, count - failed))

    return FailureRate(
        rate=failed / count,
        low=0.0 if failed == 0 else float(stats.beta.ppf(tail, failed, count - failed + 1)),
        high=upper(tail),
        upper=upper(2.0 * tail),
        p_value=float(stats.binom.sf(failed - 1, count, fraction(allowed, "allowed"))),
    )


def blanks_for_claim(*, rate: float, confidence: float = 0.95) -> int:
    """How many blanks must pass, with none failing, to claim a failure rate below this.

    Smallest n with (1 - rate)^n <= 1 - confidence.

    Parameters
    ----------
    rate : float [1]
        Rate to stay below.
    confidence : float [1]
        One-sided.

    Returns
    -------
    int

    Raises
    ------
    ImpossibleValue
        When a number is not between 0 and 1.

    Valid for: blanks that fail independently.
    Source: binomial (derived).
    Checked by: tests/published/test_blanks_published.py
    """
    return math.ceil(math.log1p(-fraction(confidence, "confidence")) / math.log1p(-fraction(rate, "rate")) - 1e-12)


def carry_over(
    *, blank: ArrayLike, previous: ArrayLike, confidence: float = 0.95, settings: BlankSettings = DEFAULT_BLANKS
) -> CarryOver:
    """Carry-over from the sample before each blank, by regression and by ranks.

    blank = background + rate x previous by least squares; p one-sided from t; the interval two-sided. The rank test
    (Spearman, one-sided; all orders counted out up to 7 blanks, else t) needs no straight line. "cannot conclude" when
    the rate is not shown and a rate of the allowed size would not have been shown at 80 % either. When all blanks read
    the same (all at the limit), what could hide is taken as that reading over the richest sample before.

    Parameters
    ----------
    blank : float array (n,) [any]
        Results of the blanks as numbers.
    previous : float array (n,) [any]
        Results of the samples before, in the same order and unit.
    confidence : float [1]
        Of the intervals.
    settings : BlankSettings
        Allowed share and level; a setting.

    Returns
    -------
    CarryOver
        .rate [1] with .standard_error, .low, .high, .p_value; .background with .background_low and .background_high in
        the unit of the blanks; .rank_correlation, .rank_p_value; .each (n,) [1]; .largest_leverage [1];
        .smallest_seen [1]; .verdict.

    Raises
    ------
    ImpossibleValue
        When there are fewer than three blanks, the lists differ in length, a result before is negative, or all of
        those are equal.

    Valid for: scatter that does not grow with the sample before; look at the leverage when one sample is far above the
        others, and at the ranks.
    Source: least squares (derived); Spearman 1904 (from memory).
    Checked by: tests/published/test_blanks_published.py, tests/unit/core/test_blanks.py,
        tests/properties/test_blanks_properties.py
    """
    held, before = paired(blank, previous, names=("blank", "previous"), least=3)
    numbers(before, "previous", at_least=0.0)
    if np.ptp(before) == 0.0:
        raise ImpossibleValue(
            "all samples before the blanks read the same: carry-over has nothing to follow",
            where="previous",
            remedy="Put blanks behind rich samples too",
        )
    count, degrees = len(held), len(held) - 2
    centred = before - before.mean()
    spread = float(centred @ centred)
    rate = float(centred @ held) / spread
    background = float(held.mean()) - rate * float(before.mean())
    residual = held - background - rate * before
    sd = math.sqrt(float(residual @ residual) / degrees)
    error = sd / math.sqrt(spread)
    error_background = sd * math.sqrt(1.0 / count + float(before.mean()) ** 2 / spread)
    reach = float(stats.t.isf((1.0 - fraction(confidence, "confidence")) / 2.0, degrees))
    p_value = _upper_t(rate, error, degrees)
    rho, rank_p = _ranks(held, before)
    if np.ptp(held) == 0.0:
        seen = float(held[0] / before.max())  # no scatter to go by: more than this would have raised the richest one
    else:
        seen = _smallest_slope(degrees, settings.level) * error
    verdict = (
        CARRY_OVER
        if p_value <= settings.level
        else NO_CARRY_OVER if seen <= settings.carry_over_allowed
        else CANNOT_CONCLUDE
    )  # fmt: skip
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        each = np.where(before > 0.0, (held - background) / before, np.nan)
    return CarryOver(
        rate=rate,
        standard_error=error,
        low=rate - reach * error,
        high=rate + reach * error,
        p_value=p_value,
        background=background,
        background_low=background - reach * error_background,
        background_high=background + reach * error_background,
        rank_correlation=rho,
        rank_p_value=rank_p,
        each=each,
        largest_leverage=float((1.0 / count + centred**2 / spread).max()),
        smallest_seen=seen,
        verdict=verdict,
    )


def split_carry_over(
    *,
    blank: ArrayLike,
    previous_on_saw: ArrayLike,
    previous_in_laboratory: ArrayLike,
    confidence: float = 0.95,
    settings: BlankSettings = DEFAULT_BLANKS,
) -> CarryOverSplit:
    """Carry-over parted between saw and laboratory by the two orders.

    blank = background + saw rate x sample sawn before + laboratory rate x sample prepared before, by least squares.
    Nothing is claimed of either when the orders agree, or agree so nearly that the two columns correlate beyond the
    setting. A blank that was never on the saw has nothing sawn before it: give 0.

    Parameters
    ----------
    blank : float array (n,) [any]
        Results of the blanks as numbers.
    previous_on_saw : float array (n,) [any]
        Result of the sample sawn before.
    previous_in_laboratory : float array (n,) [any]
        Result of the sample prepared before.
    confidence : float [1]
        Of the intervals.
    settings : BlankSettings
        Correlation at which nothing is claimed; a setting.

    Returns
    -------
    CarryOverSplit
        .saw and .laboratory (rate, low, high, p_value) or None; .background; .differ; .correlation [1]; .why in words.

    Raises
    ------
    ImpossibleValue
        When there are fewer than four blanks, the lists differ in length, or a result before is negative.

    Valid for: as carry_over, and errors of the two results before small against their spread.
    Source: least squares (derived); correlation limit: common practice, no source.
    Checked by: tests/unit/core/test_blanks.py
    """
    held, saw = paired(blank, previous_on_saw, names=("blank", "previous_on_saw"), least=4)
    _, bench = paired(blank, previous_in_laboratory, names=("blank", "previous_in_laboratory"), least=4)
    numbers(saw, "previous_on_saw", at_least=0.0)
    numbers(bench, "previous_in_laboratory", at_least=0.0)
    differ = int((saw != bench).sum())
    flat = np.ptp(saw) == 0.0 or np.ptp(bench) == 0.0
    correlation = math.nan if flat else float(np.corrcoef(saw, bench)[0, 1])

    def nothing(why: str) -> CarryOverSplit:
        return CarryOverSplit(None, None, math.nan, len(held), differ, correlation, why)

    if differ == 0:
        return nothing("cannot be split: every blank has the same sample before it on the saw and in the laboratory")
    if flat:
        return nothing("cannot be split: one of the two orders has no spread of samples before the blanks")
    if abs(correlation) > settings.split_correlation:
        return nothing(f"cannot be split: the two orders are too alike (correlation {correlation:.2f})")
    table = np.column_stack([np.ones(len(held)), saw, bench])
    # Columns of one size keep the solution exact when grades are far from 1.
    size = np.abs(table).max(axis=0)
    inverse = np.linalg.inv((table / size).T @ (table / size)) / np.outer(size, size)
    coefficient = inverse @ table.T @ held
    degrees = len(held) - 3
    residual = held - table @ coefficient
    error = np.sqrt(np.diag(inverse) * float(residual @ residual) / degrees)
    reach = float(stats.t.isf((1.0 - fraction(confidence, "confidence")) / 2.0, degrees))
    parts = [
        CarryOverPart(
            rate=float(coefficient[k]),
            low=float(coefficient[k] - reach * error[k]),
            high=float(coefficient[k] + reach * error[k]),
            p_value=_upper_t(float(coefficient[k]), float(error[k]), degrees),
        )
        for k in (1, 2)
    ]
    words = [
        f"{name} {part.rate:.2%} ({part.low:.2%} to {part.high:.2%})"
        for name, part in zip(("saw", "laboratory"), parts, strict=True)
    ]
    return CarryOverSplit(parts[0], parts[1], float(coefficient[0]), len(held), differ, correlation, ", ".join(words))


def lot_backgrounds(
    *,
    blank: ArrayLike,
    lot: Sequence[Hashable],
    previous: ArrayLike | None = None,
    limit: float | None = None,
    settings: BlankSettings = DEFAULT_BLANKS,
    confidence: float = 0.95,
) -> tuple[LotBackground, ...]:
    """Content of each lot of blank material, and whether a lot is dirty.

    Carry-over is taken off first, with one rate for all lots from the differences within lots (none when that rate is
    not above 0). Each lot's median has an interval from order statistics. A lot is dirty when its blanks stand above
    those of the other lots (Mann-Whitney, one-sided, p multiplied by Holm's rule), however low the samples before them
    were; the only lot is dirty when its median is shown to lie above the limit (sign test).

    Parameters
    ----------
    blank : float array (n,) [any]
        Results of the blanks as numbers; one below its limit enters as the limit, so that such results tie.
    lot : sequence (n,)
        Lot of each blank, hashable.
    previous : float array (n,) or None [any]
        Result of the sample before.
    limit : float or None [any]
        Limit of a blank; asked for when there is only one lot.
    settings : BlankSettings
        Level; a setting.
    confidence : float [1]
        Of the intervals.

    Returns
    -------
    tuple of LotBackground
        In order of first appearance: .median, .low, .high in the unit of the blanks; .p_value [1]; .verdict.

    Raises
    ------
    ImpossibleValue
        When the lists are empty or differ in length, or a result before is negative.

    Valid for: lots used side by side or over times of one method; a change of method looks like a lot.
    Source: Mann and Whitney 1947, Holm 1979 (from memory); carry-over within lots (derived).
    Checked by: tests/unit/core/test_blanks.py
    """
    held = number_list(blank, "blank")
    names = list(dict.fromkeys(lot))
    if len(lot) != len(held):
        raise ImpossibleValue(f"{len(held)} blanks, {len(lot)} lots", where="lot", remedy="Give the lot of each blank")
    group = np.array([names.index(one) for one in lot])
    if previous is not None:
        held = held - _rate_within(held, _alike(numbers(previous, "previous", at_least=0.0), held, "previous"), group)
    found = []
    for k in range(len(names)):
        own, others = held[group == k], held[group != k]
        if len(others):
            p_value = float(stats.mannwhitneyu(own, others, alternative="greater").pvalue) if np.ptp(held) else 1.0
        elif limit is not None:
            over, ties = int((own > limit).sum()), int((own == limit).sum())
            p_value = float(stats.binom.sf(over - 1, len(own) - ties, 0.5)) if len(own) > ties else 1.0
        else:
            p_value = math.nan
        found.append((own, others, p_value))
    adjusted = _holm([one[2] for one in found])
    lots = []
    for name, (own, others, _), p_value in zip(names, found, adjusted, strict=True):
        low, high = _median_interval(own, confidence)
        middle = float(np.median(own))
        rest = float(np.median(others)) if len(others) else math.nan
        dirty = p_value <= settings.level and not middle <= rest
        lots.append(LotBackground(name, len(own), middle, low, high, rest, p_value, DIRTY if dirty else CLEAN))
    return tuple(lots)


def _alike(values: Floats, results: Floats, name: str) -> Floats:
    if values.ndim and values.shape != results.shape:
        raise ImpossibleValue(
            f"{values.size} given for {len(results)} blanks", where=name, remedy="Give one for each blank"
        )
    return np.broadcast_to(values, results.shape)


def _upper_t(value: float, error: float, degrees: int) -> float:
    if error == 0.0:
        return 0.0 if value > 0.0 else 1.0
    return float(stats.t.sf(value / error, degrees))


def _ranks(held: Floats, before: Floats) -> tuple[float, float]:
    """Spearman's correlation with its one-sided p; NaN and 1 when all blanks read the same."""
    if np.ptp(held) == 0.0:
        return math.nan, 1.0
    a, b = stats.rankdata(held), stats.rankdata(before)
    rho = float(np.corrcoef(a, b)[0, 1])
    if len(held) > 7:
        return rho, float(stats.spearmanr(held, before, alternative="greater").pvalue)
    orders = np.array(list(permutations(a)))
    return rho, float(np.mean(orders @ b >= a @ b - 1e-9))


def _smallest_slope(degrees: int, level: float, power: float = 0.8) -> float:
    """Slope in standard errors that a one-sided t test shows with this power."""
    critical = float(stats.t.isf(level, degrees))
    high = 2.0 * critical + 3.0
    while stats.nct.cdf(critical, degrees, high) > 1.0 - power:
        high *= 2.0
    return float(optimize.brentq(lambda d: stats.nct.cdf(critical, degrees, d) - (1.0 - power), 0.0, high))


def _rate_within(held: Floats, before: Floats, group: np.ndarray) -> Floats:
    """What each blank owes to carry-over, by the rate within lots (never below 0)."""
    x, y = before.astype(np.float64), held.astype(np.float64)
    for k in range(int(group.max()) + 1):
        mine = group == k
        x = np.where(mine, x - before[mine].mean(), x)
        y = np.where(mine, y - held[mine].mean(), y)
    spread = float(x @ x)
    rate = max(float(x @ y) / spread, 0.0) if spread > 0.0 else 0.0
    return rate * before


def _holm(p_values: list[float]) -> list[float]:
    order = sorted(range(len(p_values)), key=lambda k: p_values[k])
    adjusted, highest = [0.0] * len(p_values), 0.0
    for rank, k in enumerate(order):
        highest = max(highest, (len(p_values) - rank) * p_values[k]) if p_values[k] == p_values[k] else math.nan
        adjusted[k] = min(highest, 1.0) if highest == highest else math.nan
    return adjusted


def _median_interval(values: Floats, confidence: float) -> tuple[float, float]:
    """Interval of the median from order statistics; infinite when the list is too short for it."""
    tail = (1.0 - fraction(confidence, "confidence")) / 2.0
    ordered = np.sort(values)
    k = int(stats.binom.ppf(tail, len(ordered), 0.5))
    if stats.binom.cdf(k - 1, len(ordered), 0.5) > tail:
        k -= 1
    if k < 1:
        return -math.inf, math.inf
    return float(ordered[k - 1]), float(ordered[-k])
