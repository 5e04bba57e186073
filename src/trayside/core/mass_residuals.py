"""Bag masses on the scale against the masses expected: how far off each bag is, judged by the other bags of its group.

    measured / predicted  ->  logarithm  ->  in predicted standard deviations: u
    group (hole, rock, method, moisture): middle and spread of u of all OTHER bags of the group
    score z = (u - middle) / spread      inside range, light or heavy

A bag never helps to judge itself: in a group of three, one wrong bag would otherwise pull the middle toward itself. A
small group is drawn toward what was predicted (middle 0, spread 1); a large one that agrees with itself is believed.
What may lie behind a bag outside its range is ranked in `bag_causes`.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from trayside.core.number_lists import fraction, number_list, one_number
from trayside.core.refusals import Floats, numbers, refuse_where, together
from trayside.core.robust import MAD_TO_SD
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

MEDIAN_VARIANCE = np.pi / 2.0  # variance of the median of many normal values, in that of their mean
INSIDE, LIGHT, HEAVY = "inside range", "light", "heavy"

# Contents of a bag, in the order of the columns of `BagCauses`.
AS_PLANNED, NEAR_HALF, FAR_HALF, QUARTER, WHOLE = "as planned", "near_half", "far_half", "quarter", "whole"
CORE_BEFORE, CORE_AFTER = "core of the bag before", "core of the bag after"
PIECE_MISSING, PIECE_EXTRA, UNEXPLAINED = "piece missing", "piece too many", "none of these"
CAUSES = (
    AS_PLANNED, NEAR_HALF, FAR_HALF, QUARTER, WHOLE, CORE_BEFORE, CORE_AFTER, PIECE_MISSING, PIECE_EXTRA, UNEXPLAINED
)  # fmt: skip
QUESTIONS = {
    NEAR_HALF: "the near half?",
    FAR_HALF: "the other half?",
    QUARTER: "a quarter?",
    WHOLE: "whole core?",
    CORE_BEFORE: "core of the bag before?",
    CORE_AFTER: "core of the bag after?",
    PIECE_MISSING: "{m} m left on the saw?",
    PIECE_EXTRA: "{m} m too much in the bag?",
    UNEXPLAINED: "open and look",
    LIGHT: "light",
    HEAVY: "heavy",
}
MOST_EXTRA = 1.0  # a piece too many is at most as heavy as the bag should be
UNEXPLAINED_WIDTH = float(np.log(100.0))  # a mass nothing explains: anything within a factor of 10 either way


@dataclass(frozen=True, slots=True)
class CausePriors:
    """How often each cause is met before the scale is read: starting choices of our own, to be replaced by counts."""

    other_portion: float = 0.004
    neighbours_core: float = 0.002
    piece_missing: float = 0.006
    piece_extra: float = 0.003
    unexplained: float = 0.002
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own counts", "common practice, no source"
    )


DEFAULT_PRIORS = CausePriors()


@dataclass(frozen=True, slots=True)
class JudgedByOthers:
    """Middle and spread of the other values of each value's group, drawn toward 0 and 1, and how many others."""

    middle: Floats
    spread: Floats
    others: Any


@dataclass(frozen=True, slots=True)
class MassResiduals:
    """Each bag against what the other bags of its group make of the prediction; arrays (n,)."""

    ratio: Floats  # measured over predicted
    group_ratio: Floats  # what the other bags of the group say the ratio should be
    expected_kg: Floats  # predicted times group ratio
    relative_sd: Floats  # of the mass, as a share of it
    low_kg: Floats
    high_kg: Floats
    difference_kg: Floats  # measured less expected
    score: Floats
    verdict: tuple[str, ...]
    others: Any  # other bags in the group


@dataclass(frozen=True, slots=True)
class RankedCause:
    """One thing that may lie behind a mass. `length_m` is core missing (negative) or too many, where that is it."""

    cause: str
    share: float
    likelihood: float
    expected_kg: float
    length_m: float


@dataclass(frozen=True, slots=True)
class BagCauses:
    """Shares of the causes for each bag, columns as in CAUSES; `ranked` puts them in order for one bag."""

    share: Floats  # (n, causes), rows add up to 1
    likelihood: Floats  # (n, causes), density of the logarithm of the mass
    expected_kg: Floats  # (n, causes), NaN where a cause has no one mass or cannot be
    length_m: Floats  # (n, causes), NaN where it is no matter of length

    def ranked(self, bag: int, *, least_share: float = 0.01) -> tuple[RankedCause, ...]:
        """Causes of one bag, likeliest first, those below the least share left out."""
        order = np.argsort(-self.share[bag], kind="stable")
        return tuple(
            RankedCause(
                cause=CAUSES[c],
                share=float(self.share[bag, c]),
                likelihood=float(self.likelihood[bag, c]),
                expected_kg=float(self.expected_kg[bag, c]),
                length_m=float(self.length_m[bag, c]),
            )
            for c in order
            if self.share[bag, c] >= least_share
        )


def mass_residuals(
    *,
    measured_kg: ArrayLike,
    predicted_kg: ArrayLike,
    predicted_sd_kg: ArrayLike,
    group: Sequence[Hashable] | None = None,
    coverage_factor: float = 3.0,
    prior_bags: float = 4.0,
    shared_variance: float = 0.5,
) -> MassResiduals:
    """Score every weighed bag against its prediction and the other bags of its group.

    The logarithm of measured over predicted is divided by the predicted relative standard deviation. Middle and
    spread are those of the other bags of the group (median, 1.4826 MAD), drawn toward 0 and 1 as by judge_by_others.
    The range is the expected mass times exp(-/+ coverage factor times standard deviation).

    Parameters
    ----------
    measured_kg : array (n,) [kg]
        Mass on the scale, without the bag.
    predicted_kg : float or array (n,) [kg]
        Mass expected from length, density and cut.
    predicted_sd_kg : float or array (n,) [kg]
        Standard deviation of the prediction.
    group : sequence (n,) or None
        Hole, rock, method and moisture of each bag in any hashable form; None takes all bags as one group.
    coverage_factor : float [1]
        Half width of the range in standard deviations; a setting.
    prior_bags : float [1]
        How many bags the predicted spread counts for; a setting.
    shared_variance : float [1]
        Share of the predicted variance that the bags of a group have in common; a setting.

    Returns
    -------
    MassResiduals
        .ratio (n,) [1], .group_ratio (n,) [1], .expected_kg (n,) [kg], .relative_sd (n,) [1], .low_kg (n,) [kg],
        .high_kg (n,) [kg], .difference_kg (n,) [kg], .score (n,) [1], .verdict (n,), .others (n,)

    Raises
    ------
    ImpossibleValue
        When a mass or standard deviation is not more than 0 or missing, or the lists differ in length.

    Valid for: groups in which fewer than half of the bags are wrong. When most are wrong alike, the group ratio shows
        it, not the score.
    Source: median and MAD (Hampel 1974, from memory) of the others, in a normal model of groups (derived); settings: common
        practice, no source.
    Checked by: tests/unit/core/test_mass_residuals.py, tests/properties/test_mass_residuals_properties.py
    """
    measured = number_list(numbers(measured_kg, "measured_kg", above=0.0), "measured_kg", least=0)
    predicted = numbers(predicted_kg, "predicted_kg", above=0.0)
    sd = numbers(predicted_sd_kg, "predicted_sd_kg", above=0.0)
    weighed = len(measured)
    measured, predicted, sd = together(measured_kg=measured, predicted_kg=predicted, predicted_sd_kg=sd)
    if measured.shape != (weighed,):
        raise ImpossibleValue(
            f"{weighed} masses on the scale for predictions of shape {measured.shape}",
            where="measured_kg",
            remedy="Give one of each for every bag",
        )
    coverage = one_number(coverage_factor, "coverage_factor", above=0.0)
    own = sd / predicted
    ratio = measured / predicted
    units = np.log(ratio) / own
    judged = judge_by_others(units, group=group, prior_count=prior_bags, shared_variance=shared_variance)
    group_ratio = np.exp(judged.middle * own)
    relative_sd = judged.spread * own
    expected = predicted * group_ratio
    score = (units - judged.middle) / judged.spread
    return MassResiduals(
        ratio=ratio,
        group_ratio=group_ratio,
        expected_kg=expected,
        relative_sd=relative_sd,
        low_kg=expected * np.exp(-coverage * relative_sd),
        high_kg=expected * np.exp(coverage * relative_sd),
        difference_kg=measured - expected,
        score=score,
        verdict=tuple(HEAVY if z > coverage else LIGHT if z < -coverage else INSIDE for z in score.tolist()),
        others=judged.others,
    )


def judge_by_others(
    values: ArrayLike,
    *,
    group: Sequence[Hashable] | None = None,
    prior_count: float = 4.0,
    shared_variance: float = 0.5,
) -> JudgedByOthers:
    """Middle and spread of the other members of each value's group, drawn toward 0 and 1 where they are few.

    Of the predicted variance 1 a part v is shared by a group, the rest is each value's own. With m others of squared
    1.4826 MAD d: own variance s = (prior (1 - v) + (m - 1) d) / (prior + m - 1); their median, whose variance is near
    1.57 s / m, weighs w = v / (v + 1.57 s / m) against 0; and the spread is the root of s + w 1.57 s / m. With fewer
    than two others nothing tells a wrong one from a group that stands apart: 0 and 1.

    Parameters
    ----------
    values : array (n,) [1]
        Values in units of their own predicted standard deviations.
    group : sequence (n,) or None
        Group of each value, hashable; None takes all as one group.
    prior_count : float [1]
        How many values the predicted spread counts for; a setting.
    shared_variance : float [1]
        Share v of the predicted variance that a group has in common; a setting.

    Returns
    -------
    JudgedByOthers
        .middle (n,) [1], .spread (n,) [1], .others (n,) [1]

    Raises
    ------
    ImpossibleValue
        When a value is missing, the lists differ in length, the prior count is not more than 0 or the share not
        between 0 and 1.

    Valid for: fewer than half of a group wrong.
    Source: leave-one-out median and MAD in a normal model of groups (derived); settings: common practice, no source.
    Checked by: tests/unit/core/test_mass_residuals.py, tests/properties/test_mass_residuals_properties.py
    """
    series = number_list(values, "values", least=0)
    prior = one_number(prior_count, "prior_count", above=0.0)
    shared = fraction(shared_variance, "shared_variance")
    middle, spread = np.zeros(len(series)), np.ones(len(series))
    others = np.zeros(len(series), dtype=np.int64)
    for rows in group_rows(len(series), group):
        count = len(rows) - 1
        others[rows] = count
        if count < 2:
            continue
        medians, mads = middles_without_each(series[rows])
        own = (prior * (1.0 - shared) + (count - 1) * (MAD_TO_SD * mads) ** 2) / (prior + count - 1)
        of_median = MEDIAN_VARIANCE * own / count
        weight = shared / (shared + of_median)
        middle[rows] = weight * medians
        spread[rows] = np.sqrt(own + weight * of_median)
    return JudgedByOthers(middle=middle, spread=spread, others=others)


def group_rows(count: int, group: Sequence[Hashable] | None) -> list[np.ndarray]:
    """Row numbers of each group, groups in the order they first appear.

    Parameters
    ----------
    count : int [1]
        Number of rows.
    group : sequence (n,) or None
        Group of each row; None takes all as one group.

    Returns
    -------
    list of array [1]

    Raises
    ------
    ImpossibleValue
        When the groups are not as many as the rows.

    Valid for: hashable groups.
    Source: derived.
    Checked by: tests/unit/core/test_mass_residuals.py
    """
    if group is None:
        return [np.arange(count)] if count else []
    if len(group) != count:
        raise ImpossibleValue(
            f"{len(group)} groups for {count} bags", where="group", remedy="Give the group of every bag, in bag order"
        )
    rows: dict[Hashable, list[int]] = {}
    for row, name in enumerate(group):
        rows.setdefault(name, []).append(row)
    return [np.array(members) for members in rows.values()]


def middles_without_each(values: ArrayLike) -> tuple[Floats, Floats]:
    """For each value, median of all the others and median of their distances to it.

    Taking one value out of a sorted list leaves at most three different medians, so that few sorts do for all.

    Parameters
    ----------
    values : array (n,) [1]
        Two values or more.

    Returns
    -------
    tuple of array (n,) [1]
        Medians, and median absolute distances (not multiplied by anything).

    Raises
    ------
    ImpossibleValue
        When there are fewer than two values, or one is missing.

    Valid for: any values.
    Source: derived.
    Checked by: tests/unit/core/test_mass_residuals.py
    """
    series = number_list(values, "values", least=2)
    medians = _medians_without_each(series)
    mads = np.empty_like(medians)
    for centre in np.unique(medians):
        rows = medians == centre
        mads[rows] = _medians_without_each(np.abs(series - centre))[rows]
    return medians, mads


def bag_causes(
    *,
    measured_kg: ArrayLike,
    as_planned_kg: ArrayLike,
    relative_sd: ArrayLike,
    recovered_length_m: ArrayLike,
    portion_kg: dict[str, ArrayLike] | None = None,
    before_kg: ArrayLike = np.nan,
    after_kg: ArrayLike = np.nan,
    priors: CausePriors = DEFAULT_PRIORS,
) -> BagCauses:
    """Weigh what may lie behind a mass: right bag, other piece of the core, neighbour's core, a piece missing.

    Each cause gives the logarithm of the mass a density: a normal one about its expected mass; for a missing piece
    any share of the length alike, for a piece too many any share up to the whole; for no cause at all anything within
    a factor of ten. Prior times density, added up to 1, are the shares.

    Parameters
    ----------
    measured_kg : float or array (n,) [kg]
        Mass on the scale, without the bag.
    as_planned_kg : float or array (n,) [kg]
        Mass expected of the planned content.
    relative_sd : float or array (n,) [1]
        Standard deviation of a mass as a share of it.
    recovered_length_m : float or array (n,) [m]
        Length of core that should be in the bag.
    portion_kg : dict of float or array (n,) [kg]
        Mass of the same core as near_half, far_half, quarter or whole; leave out the planned one, or give NaN for it.
    before_kg : float or array (n,) [kg]
        Mass expected of the bag before; NaN when there is none.
    after_kg : float or array (n,) [kg]
        Mass expected of the bag after; NaN when there is none.
    priors : CausePriors
        How often each cause is met; a setting.

    Returns
    -------
    BagCauses
        .share (n, causes) [1], .likelihood (n, causes) [1], .expected_kg (n, causes) [kg], .length_m (n, causes) [m]

    Raises
    ------
    ImpossibleValue
        When a mass, length or standard deviation is not more than 0, or a portion has another name.

    Valid for: one cause at a time; two wrongs that cancel are not seen.
    Source: Bayes' rule (derived); priors: common practice, no source.
    Checked by: tests/unit/core/test_mass_residuals.py, tests/properties/test_mass_residuals_properties.py
    """
    portions = dict(portion_kg or {})
    unknown = sorted(set(portions) - {NEAR_HALF, FAR_HALF, QUARTER, WHOLE})
    if unknown:
        raise ImpossibleValue(
            f"no portion {unknown[0]!r}", where="portion_kg", remedy="Use near_half, far_half, quarter or whole"
        )
    measured, planned, sd, length, before, after, *pieces = (
        np.atleast_1d(array)
        for array in together(
            measured_kg=numbers(measured_kg, "measured_kg", above=0.0),
            as_planned_kg=numbers(as_planned_kg, "as_planned_kg", above=0.0),
            relative_sd=numbers(relative_sd, "relative_sd", above=0.0),
            recovered_length_m=numbers(recovered_length_m, "recovered_length_m", above=0.0),
            before_kg=_mass_or_none(before_kg, "before_kg"),
            after_kg=_mass_or_none(after_kg, "after_kg"),
            **{name: _mass_or_none(mass, f"portion_kg {name}") for name, mass in portions.items()},
        )
    )
    if measured.ndim != 1:
        raise ImpossibleValue("a table of masses", where="measured_kg", remedy="Give one number, or one list")
    none = np.full(measured.shape, np.nan)
    fixed = {AS_PLANNED: planned, CORE_BEFORE: before, CORE_AFTER: after, **dict(zip(portions, pieces, strict=True))}
    expected = np.column_stack([fixed.get(cause, none) for cause in CAUSES])
    log_mass = np.log(measured)
    with np.errstate(invalid="ignore"):
        density = np.exp(-0.5 * ((log_mass[:, None] - np.log(expected)) / sd[:, None]) ** 2)
    likelihood = np.nan_to_num(density / (np.sqrt(2.0 * np.pi) * sd[:, None]), nan=0.0)
    sd_kg = sd * planned
    short, full, heaped = ndtr(measured / sd_kg), ndtr((measured - planned) / sd_kg), (1.0 + MOST_EXTRA) * planned
    missing, extra = CAUSES.index(PIECE_MISSING), CAUSES.index(PIECE_EXTRA)
    likelihood[:, missing] = measured * (short - full) / planned
    likelihood[:, extra] = measured * (full - ndtr((measured - heaped) / sd_kg)) / (MOST_EXTRA * planned)
    likelihood[:, CAUSES.index(UNEXPLAINED)] = (
        np.abs(log_mass - np.log(planned)) <= UNEXPLAINED_WIDTH / 2.0
    ) / UNEXPLAINED_WIDTH
    share = likelihood * _prior_of_each(expected, priors)
    # Farther off than anything foreseen: nothing here explains it, and that is what is said.
    total = share.sum(axis=1)
    share[total <= 0.0, CAUSES.index(UNEXPLAINED)] = 1.0
    share /= share.sum(axis=1, keepdims=True)
    off_m = length * (measured / planned - 1.0)
    length_m = np.full(expected.shape, np.nan)
    length_m[:, missing] = np.where(off_m < 0.0, off_m, np.nan)
    length_m[:, extra] = np.where(off_m > 0.0, off_m, np.nan)
    return BagCauses(share=share, likelihood=likelihood, expected_kg=expected, length_m=length_m)


def ask_about_bag(
    *, difference_kg: float, causes: Sequence[RankedCause], words: dict[str, str] | None = None, most: int = 2
) -> str:
    """The mass residual as a question to the operator: "0.62 kg light: other half? 0.25 m left on the saw?".

    The likeliest causes in order, the bag as planned left out. When nothing foreseen fits it says so.

    Parameters
    ----------
    difference_kg : float [kg]
        Measured less expected.
    causes : sequence of RankedCause
        From BagCauses.ranked.
    words : dict of str or None
        Other words for causes, for a language or for the side bagged; {m} stands for a length in metres.
    most : int
        How many causes to name.

    Returns
    -------
    str

    Raises
    ------
    ImpossibleValue
        When the difference is not a number.

    Valid for: any language the words are given in.
    Source: derived.
    Checked by: tests/unit/core/test_mass_residuals.py
    """
    off = one_number(difference_kg, "difference_kg")
    said = QUESTIONS | (words or {})
    named = [one for one in causes if one.cause != AS_PLANNED][:most]
    questions = " ".join(said[one.cause].format(m=f"{abs(one.length_m):.2f}") for one in named)
    start = f"{abs(off):.2f} kg {said[LIGHT] if off < 0 else said[HEAVY]}"
    return f"{start}: {questions}" if questions else start


def _mass_or_none(value: ArrayLike, name: str) -> Floats:
    """A mass, or NaN where there is none."""
    array = np.asarray(value, dtype=np.float64)
    refuse_where(~np.isnan(array) & ~(array > 0.0), array, name, "must be more than 0", "Check the entry and its unit")
    return array


def _prior_of_each(expected: Floats, priors: CausePriors) -> Floats:
    """Prior of each cause for each bag; a cause that cannot be has none, the rest goes to the bag as planned."""
    given = {
        CORE_BEFORE: priors.neighbours_core,
        CORE_AFTER: priors.neighbours_core,
        PIECE_MISSING: priors.piece_missing,
        PIECE_EXTRA: priors.piece_extra,
        UNEXPLAINED: priors.unexplained,
    }
    prior = np.array([0.0 if cause == AS_PLANNED else given.get(cause, priors.other_portion) for cause in CAUSES])
    if (prior < 0.0).any() or prior.sum() >= 1.0:
        raise ImpossibleValue(
            "the chances are below 0 or add up to 1 or more", where="priors", remedy="Leave most for the right bag"
        )
    always = np.isin(CAUSES, (PIECE_MISSING, PIECE_EXTRA, UNEXPLAINED))
    table = np.where(always | ~np.isnan(expected), prior, 0.0)
    table[:, CAUSES.index(AS_PLANNED)] = 1.0 - table.sum(axis=1)
    return table


def _medians_without_each(values: Floats) -> Floats:
    left = len(values) - 1
    order = np.argsort(values, kind="stable")
    rank = np.empty(len(values), dtype=np.int64)
    rank[order] = np.arange(len(values))
    ordered = values[order]
    low, high = (left - 1) // 2, left // 2
    return 0.5 * (ordered[low + (low >= rank)] + ordered[high + (high >= rank)])
