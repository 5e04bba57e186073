"""Which standard is it really? Distances of one result to every standard and blank in stock, over all elements.

A standard that reads like another standard's certificate was given the wrong tag, and no laboratory failed. And the
same question between two materials that went to many places: who exchanged them?
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from trayside.core.number_lists import fraction, one_number, paired
from trayside.core.refusals import Floats, numbers, refuse_where
from trayside.core.robust import MAD_TO_SD, mad
from trayside.errors import ImpossibleValue

AS_LABELLED, ANOTHER, SEVERAL, NONE_FITS = "as labelled", "another in stock", "several others fit", "fits none"
NOTHING_TO_COMPARE = "nothing to compare"


@dataclass(frozen=True, slots=True)
class StandardCard:
    """One standard or blank in stock: value and sd of each element in the order used, NaN where it has none."""

    code: str
    mean: tuple[float, ...]
    sd: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class CardDistance:
    """Distance to one card: sum of squared scores over the elements both have, and the chance of more."""

    code: str
    elements: int
    distance: float
    p_value: float


@dataclass(frozen=True, slots=True)
class StandardIdentity:
    """Distances nearest first (by chance), the label's own, and what that says."""

    verdict: str
    own: CardDistance | None
    nearest: CardDistance | None  # best of the others that can be compared
    fitting: tuple[str, ...]  # others that fit
    distances: tuple[CardDistance, ...]
    log_likelihood_gain: float  # nearest other over own, elements both have; NaN without


@dataclass(frozen=True, slots=True)
class ExchangedPairs:
    """Two materials at many places; arrays (n,). `suspected` are places whose pair fits only when exchanged."""

    labelled_distance: Floats
    exchanged_distance: Floats
    ratio_score: Floats
    exchanged_ratio_score: Floats
    suspected: tuple[int, ...]


def nearest_standard(
    *,
    values: ArrayLike,
    cards: Sequence[StandardCard],
    label: str | None,
    censored: ArrayLike | None = None,
    own_level: float = 0.997,
    other_level: float = 0.95,
    least_elements: float = 0.5,
) -> StandardIdentity:
    """Distance of one result to every standard and blank in stock, and whether the label holds.

    Distance = sum over elements of ((x - mean)/sd)^2, chi-squared with as many degrees; a result "below L" counts
    -2 ln Phi((L - mean)/sd). The label holds while its distance is within own_level. Otherwise a card within
    other_level that shares at least least_elements of the measured elements is taken for what it is.

    Parameters
    ----------
    values : array (p,) [any]
        Results, one of each element; NaN where there is none.
    cards : sequence of StandardCard
        All standards and blanks in stock.
    label : str or None
        Code on the tag; None when it is not known.
    censored : bool array (p,) or None
        True where the value is a limit the result lies below.
    own_level : float [1]
        Level at which the label is given up.
    other_level : float [1]
        Level within which another card fits.
    least_elements : float [1]
        Share of the measured elements that a card must have to be taken.

    Returns
    -------
    StandardIdentity
        .verdict: "as labelled", "another in stock", "several others fit", "fits none" or "nothing to compare"; .own,
        .nearest, .fitting, .distances, .log_likelihood_gain.

    Raises
    ------
    ImpossibleValue
        When a card has another number of elements or an sd not more than 0, a code comes twice, or the label is not
        among the cards.

    Valid for: scatter of the elements independent; with one element only, any level can be hit by chance.
    Source: derived; levels 0.997 and 0.95 a proposal (derived).
    Checked by: tests/unit/core/test_standard_identity.py
    """
    result, below = _results(values, censored)
    _check_cards(cards, len(result), label)
    inside, fits = fraction(own_level, "own_level"), fraction(other_level, "other_level")
    least = one_number(least_elements, "least_elements", at_least=0.0, at_most=1.0)
    measured = int((~np.isnan(result)).sum())
    found, parts = [], {}
    for card in cards:
        part = _parts(result, below, card)
        parts[card.code] = part
        has = ~np.isnan(part)
        distance = float(part[has].sum())
        count = int(has.sum())
        found.append(CardDistance(card.code, count, distance, float(stats.chi2.sf(distance, count)) if count else 0.0))
    own = next((one for one in found if one.code == label), None)
    comparable = [
        one for one in found if one.code != label and one.elements and one.elements >= least * measured - 1e-9
    ]
    comparable.sort(key=lambda one: (-one.p_value, one.distance))
    fitting = tuple(one.code for one in comparable if one.p_value >= 1.0 - fits)
    if own is not None and own.elements and own.p_value >= 1.0 - inside:
        verdict = AS_LABELLED
    elif (own is None or not own.elements) and not comparable:
        verdict = NOTHING_TO_COMPARE
    else:
        verdict = ANOTHER if len(fitting) == 1 else SEVERAL if fitting else NONE_FITS
    nearest = comparable[0] if comparable else None
    gain = math.nan
    if own is not None and nearest is not None:
        gain = _gain(below, parts, cards, own.code, nearest.code)
    return StandardIdentity(
        verdict=verdict,
        own=own,
        nearest=nearest,
        fitting=fitting,
        distances=tuple(sorted(found, key=lambda one: (-one.p_value, one.distance))),
        log_likelihood_gain=gain,
    )


def exchanged_pairs(
    *,
    first: ArrayLike,
    second: ArrayLike,
    ratio_centre: float | None = None,
    ratio_log_sd: float | None = None,
    limit: float = 3.0,
) -> ExchangedPairs:
    """Who exchanged two materials that everybody measured?

    Distance of each pair from the medians of both materials in units of 1.4826 MAD, as labelled and exchanged; and the
    score of ln(first/second) against its median, which a bias common to both does not move. Suspected: ratio score
    beyond the limit as labelled, within it exchanged, and the exchanged distance the smaller.

    Parameters
    ----------
    first : array (n,) [any]
        Result of the first material at each place.
    second : array (n,) [any]
        Result of the second.
    ratio_centre : float or None [1]
        Known ratio; the median when None.
    ratio_log_sd : float or None [1]
        Known sd of its logarithm; 1.4826 MAD when None.
    limit : float [1]
        Limit of the ratio score.

    Returns
    -------
    ExchangedPairs
        .labelled_distance (n,) [1], .exchanged_distance (n,) [1], .ratio_score (n,) [1],
        .exchanged_ratio_score (n,) [1], .suspected.

    Raises
    ------
    ImpossibleValue
        When a result is not more than 0, the lists differ in length, or more than half of them are equal.

    Valid for: two materials whose contents differ, fewer than half of the places wrong; centre and sd given for a few
        places only.
    Source: Youden plot of two materials, as in the metRology pages on chromium and potassium (seen); scores derived.
    Checked by: tests/published/test_mixups_published.py, tests/unit/core/test_standard_identity.py
    """
    a, b = paired(first, second, names=("first", "second"))
    numbers(a, "first", above=0.0)
    numbers(b, "second", above=0.0)
    reach = one_number(limit, "limit", above=0.0)
    log_ratio = np.log(a / b)
    centre = (
        float(np.median(log_ratio))
        if ratio_centre is None
        else math.log(one_number(ratio_centre, "ratio_centre", above=0.0))
    )
    sd = (
        mad(log_ratio, factor=MAD_TO_SD)
        if ratio_log_sd is None
        else one_number(ratio_log_sd, "ratio_log_sd", above=0.0)
    )
    sd_a, sd_b = mad(a, factor=MAD_TO_SD), mad(b, factor=MAD_TO_SD)
    if sd == 0.0 or (len(a) > 1 and 0.0 in (sd_a, sd_b)):
        raise ImpossibleValue(
            "more than half of the places agree to the last digit: there is no scatter to compare with",
            where="first and second",
            remedy="Give more digits, or a known ratio with its sd",
        )
    with np.errstate(divide="ignore", invalid="ignore"):
        labelled = ((a - np.median(a)) / sd_a) ** 2 + ((b - np.median(b)) / sd_b) ** 2
        exchanged = ((b - np.median(a)) / sd_a) ** 2 + ((a - np.median(b)) / sd_b) ** 2
    score, turned = (log_ratio - centre) / sd, (-log_ratio - centre) / sd
    worse = ~(exchanged >= labelled) if len(a) > 1 else np.ones(1, dtype=bool)
    suspected = np.flatnonzero((np.abs(score) > reach) & (np.abs(turned) <= reach) & worse)
    return ExchangedPairs(labelled, exchanged, score, turned, tuple(suspected.tolist()))


def _results(values: ArrayLike, censored: ArrayLike | None) -> tuple[Floats, np.ndarray]:
    result = np.asarray(values, dtype=np.float64)
    if result.ndim != 1 or not len(result):
        raise ImpossibleValue("no list of results", where="values", remedy="Give one result of each element")
    refuse_where(np.isinf(result), result, "values", "infinite", "Give a finite number")
    below = np.zeros(len(result), dtype=bool) if censored is None else np.asarray(censored)
    if below.shape != result.shape or below.dtype.kind != "b":
        raise ImpossibleValue("not one flag for each result", where="censored", remedy="Give true or false for each")
    return result, below


def _check_cards(cards: Sequence[StandardCard], elements: int, label: str | None) -> None:
    codes = [card.code for card in cards]
    if len(set(codes)) != len(codes):
        twice = next(code for code in codes if codes.count(code) > 1)
        raise ImpossibleValue(f"{twice} comes twice", where="cards", remedy="Give each standard once")
    if label is not None and label not in codes:
        raise ImpossibleValue(f"{label} is not among the cards", where="label", remedy="Give its certificate too")
    for card in cards:
        if len(card.mean) != elements or len(card.sd) != elements:
            raise ImpossibleValue(
                f"{len(card.mean)} values and {len(card.sd)} sds for {elements} elements",
                where=f"card {card.code}",
                remedy="Give one for each element, NaN for none",
            )
        sd = np.asarray(card.sd, dtype=np.float64)
        refuse_where(sd <= 0.0, sd, f"card {card.code}, sd", "must be more than 0", "Give NaN for none")


def _parts(result: Floats, below: np.ndarray, card: StandardCard) -> Floats:
    """Squared score of each element, NaN where one of the two has none."""
    z = (result - np.asarray(card.mean, dtype=np.float64)) / np.asarray(card.sd, dtype=np.float64)
    return np.where(below, -2.0 * special.log_ndtr(z), z * z)


def _gain(below: np.ndarray, parts: dict, cards: Sequence[StandardCard], own: str, other: str) -> float:
    """Log-likelihood of the other card less that of the own, over the elements both have."""
    sd = {card.code: np.asarray(card.sd, dtype=np.float64) for card in cards}
    both = ~np.isnan(parts[own]) & ~np.isnan(parts[other])
    if not both.any():
        return math.nan
    each = 0.5 * (parts[own] - parts[other]) + np.where(below, 0.0, np.log(sd[own] / sd[other]))
    return float(each[both].sum())
