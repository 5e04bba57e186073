"""Watching a blade: when to order the next, and whether it is glazed or wears too fast."""

from __future__ import annotations

from dataclasses import dataclass

from numpy.typing import ArrayLike

from trayside.core.control_chart import cusum
from trayside.core.number_lists import one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.refusals import numbers

CUSUM_SLACK, CUSUM_LIMIT = 0.5, 5.0  # in standard deviations of one score


@dataclass(frozen=True, slots=True)
class Reorder:
    """Working days from today until the blades run out, and until an order must be out; below 0 is late."""

    empty_in_days: float
    order_in_days: float
    order_now: bool
    says: str
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class BladeState:
    """What minutes and wear say together."""

    state: str  # steady, glazing, over-wear, both, slow, fresh
    minutes_up: bool
    wear_up: bool
    wear_down: bool
    says: str
    caution: str = PLANNING_AID


def reorder(
    *,
    left_low_m2: float,
    spare_blades: int,
    spare_blade_m2: float,
    per_day_m2: float,
    lead_days: float,
    margin_days: float = 2.0,
) -> Reorder:
    """When to order blades.

    Days until the blade on the saw (at the low end of its interval) and the spares are used up; the order goes out the lead
    time and a margin before. The caller puts dates to the days.

    Parameters
    ----------
    left_low_m2 : float
        Area the blade on the saw lasts at the low end (BladeLeft.low_m2); below 0 counts as it stands.
    spare_blades : int
        Blades in the store.
    spare_blade_m2 : float
        Area a new blade lasts.
    per_day_m2 : float
        Area sawn in a working day.
    lead_days : float
        Working days from order to arrival.
    margin_days : float
        Working days to spare: a setting.

    Returns
    -------
    Reorder
        .empty_in_days, .order_in_days, .order_now, .says, .caution

    Raises
    ------
    ImpossibleValue
        When a count or time is negative, or nothing is sawn in a day.

    Valid for: even work; working days.
    Source: derived; margin: common practice, no source.
    Checked by: tests/unit/core/test_blade_watch.py
    """
    left = one_number(left_low_m2, "left_low_m2")
    spare = one_number(spare_blades, "spare_blades", at_least=0.0) * one_number(
        spare_blade_m2, "spare_blade_m2", above=0.0
    )
    daily = one_number(per_day_m2, "per_day_m2", above=0.0)
    empty = (left + spare) / daily
    order = empty - one_number(lead_days, "lead_days", at_least=0.0)
    order -= one_number(margin_days, "margin_days", at_least=0.0)
    if order > 0.0:
        says = f"Order within {order:.0f} working days; the blades last about {empty:.0f}."
    elif empty >= lead_days:
        says = f"Order today: the blades last about {empty:.0f} working days."
    else:
        says = f"Order today: the blades last about {empty:.0f} working days, less than the {lead_days:g} of delivery."
    return Reorder(empty, order, order <= 0.0, says)


def tell_glazing(
    *, minutes_score: ArrayLike, wear_score: ArrayLike, slack: float = CUSUM_SLACK, limit: float = CUSUM_LIMIT
) -> BladeState:
    """Glazing or over-wear, told apart from minutes and wear together.

    A cumulative sum runs up and down over each list of scores (learn_times, learn_wear). Slower and less wear: the
    blade is glazed. Not slower and more wear: bond too soft for the rock, or too little water. Slower and more wear:
    water, arbor or feed.

    Parameters
    ----------
    minutes_score : array (n,)
        Scores of the minutes in order of time, slow positive, in standard deviations.
    wear_score : array (k,)
        Scores of the heights in order of time, worn fast positive.
    slack : float
        What is let pass of each score.
    limit : float
        Sum that counts as a change.

    Returns
    -------
    BladeState
        .state, .minutes_up, .wear_up, .wear_down, .says, .caution

    Raises
    ------
    ImpossibleValue
        When a score is not a number.

    Valid for: scores against a belief learned while the blade cut well.
    Source: cumulative sums (derived use); signs by trade pages (wel-co.com "Out of round", desertdiamondindustries 2013,
        seen).
    Checked by: tests/unit/core/test_blade_watch.py
    """
    slow, fast = _moved(minutes_score, "minutes_score", slack, limit)
    worn, spared = _moved(wear_score, "wear_score", slack, limit)
    if slow and spared:
        state, says = "glazing", "Slower and wearing less: glazed. Dress the blade; if it comes back, a softer bond."
    elif slow and worn:
        state, says = "both", "Slower and wearing faster: check water, arbor, bearings and feed before cutting on."
    elif worn:
        state, says = "over-wear", "Wearing faster at no slower pace: bond too soft for this rock, or too little water."
    elif slow:
        state, says = "slow", "Slower at the usual wear: check feed, rock class and handling before the blade."
    elif fast or spared:
        state, says = "fresh", "Better than believed: nothing to do, the belief will follow."
    else:
        state, says = "steady", "Pace and wear are as believed."
    return BladeState(state, slow, worn, spared, says)


def _moved(scores: ArrayLike, name: str, slack: float, limit: float) -> tuple[bool, bool]:
    """Whether the sum stands above the limit now, upward and downward."""
    values = numbers(scores, name)
    if values.size == 0:
        return False, False
    found = cusum(values, target=0.0, k=slack, h=limit)
    return bool(found.upper[-1] > limit), bool(found.lower[-1] > limit)
