"""Sample intervals of a hole: the cheapest partition, found exactly, with the reason of every boundary."""

from dataclasses import dataclass

import numpy as np

from trayside.core.interval_algebra import UM_PER_M
from trayside.core.interval_checks import IntervalFault, IntervalProblem, check_intervals
from trayside.core.interval_costs import COST_PARTS, CostBook, PlanCost, cost_book, cost_of
from trayside.core.interval_ground import (
    BAG_MASS,
    LENGTH,
    SHOULDER,
    SOFT_CONTACT,
    WHOLE_METRE,
    Frame,
    Ground,
    IntervalRules,
    RuleSteps,
    Unmet,
    frame_of,
    rule_steps,
)
from trayside.core.interval_search import cheapest_cuts

__all__ = [
    "Ground",
    "IntervalFault",
    "IntervalPlan",
    "IntervalProblem",
    "IntervalRules",
    "PlanCost",
    "Unmet",
    "check_intervals",
    "cost_of",
    "plan_intervals",
]


@dataclass(frozen=True, slots=True)
class IntervalPlan:
    """Intervals from the top down, each with the reasons of its ends; and what could not be met."""

    from_m: np.ndarray
    to_m: np.ndarray
    top_reason: np.ndarray
    bottom_reason: np.ndarray
    expected_kg: np.ndarray
    cost: np.ndarray
    total_cost: float
    bags_outside: int
    is_shoulder: np.ndarray
    stretch: np.ndarray
    unmet: tuple[Unmet, ...]


def plan_intervals(*, ground: Ground, rules: IntervalRules) -> IntervalPlan:
    """The cheapest division of the sampled stretches into sample intervals.

    Hard contacts, changes of core size, ends of isolated losses, narrow veins and ends of stretches are forced
    boundaries and keep their exact depth. Between two of them every boundary lies on a whole multiple of the step,
    counted from zero depth, and the cost (see cost_of: first the count of bags outside their limits, then the sum of
    the costs) is the least there is, found by dynamic programming over all positions. Of plans that cost the same, the
    one with the shallower last boundary is taken, then the one with the shallower boundary before it, and so on upward.

    A segment that no allowed lengths can fill is reported and its limits are relaxed for that segment only: a segment
    below the minimum is one short sample; else the limit that has to bend least is bent. Nothing is bent unreported.

    Parameters
    ----------
    ground : Ground
        Stretches, contacts, losses, veins, shoulders and expected masses of one hole.
    rules : IntervalRules
        Lengths, costs and limits.

    Returns
    -------
    IntervalPlan
        .from_m (n,) [m] and .to_m (n,) [m]; .top_reason (n,) and .bottom_reason (n,) in words: "hard contact",
        "soft contact", "core loss", "core size", "vein", "vein widened", "start of stretch", "end of stretch",
        "shoulder", "whole metre" (a multiple of round_to_m), "length", "bag mass" (would lie elsewhere without bag
        limits); .expected_kg (n,) [kg], nan without a mass profile; .cost (n,) with the boundary below included;
        .total_cost; .bags_outside; .is_shoulder (n,); .stretch (n,) which stretch; .unmet a tuple of Unmet with code "segment too
        short", "segment not divisible", "vein widened", "vein below minimum length", "veins joined", "vein outside
        sampled core", "no core in stretch", "bag over tier" or "bag too light", and its numbers.

    Raises
    ------
    ImpossibleValue
        When stretches overlap, a depth is negative or not finite, the mass profile does not cover the stretches or is
        missing while a bag limit is set, or the rules contradict each other.

    Valid for: depths of 0 to 20 000 m; steps of whole micrometres; a minimum of two steps or more.
    Source: derived (dynamic programming over positions); lengths and costs are site rules (common practice, no source).
    Checked by: tests/unit/core/test_intervals.py, tests/properties/test_interval_plans.py
    """
    steps = rule_steps(rules)
    frame = frame_of(ground, rules, steps)
    book = cost_book(ground, rules, steps, frame)
    unmet = list(frame.unmet)
    tops: list[int] = []
    bottoms: list[int] = []
    top_reasons: list[str] = []
    bottom_reasons: list[str] = []
    inner: list[int] = []
    inner_at: list[int] = []
    own_sample = {(one.top, one.bottom) for one in frame.vein if one.thick}
    for (a, b), top_reason, bottom_reason in zip(
        frame.segment.tolist(), frame.top_reason, frame.bottom_reason, strict=True
    ):
        cuts, moved = _divide(a, b, steps, book, unmet, told=(a, b) in own_sample)
        inner += cuts
        inner_at += range(len(tops), len(tops) + len(cuts))
        reasons = _reasons(cuts, moved, book)
        tops += [a, *cuts]
        bottoms += [*cuts, b]
        top_reasons += [top_reason, *reasons]
        bottom_reasons += [*reasons, bottom_reason]
    top, bottom = np.array(tops, dtype=np.int64), np.array(bottoms, dtype=np.int64)
    cost = book.intervals(top, bottom)
    cost[inner_at] += book.boundary(np.array(inner, dtype=np.int64))
    expected_kg = book.kilograms(top, bottom)
    unmet += _bag_notes(top, bottom, expected_kg, book, rules)
    return IntervalPlan(
        from_m=top / UM_PER_M,
        to_m=bottom / UM_PER_M,
        top_reason=np.array(top_reasons, dtype="U16"),
        bottom_reason=np.array(bottom_reasons, dtype="U16"),
        expected_kg=expected_kg,
        cost=cost / COST_PARTS,
        total_cost=float(cost.sum()) / COST_PARTS,
        bags_outside=book.bags_outside(top, bottom),
        is_shoulder=_in_shoulder(top, bottom, frame, steps),
        stretch=np.searchsorted(frame.stretch[:, 0], top, "right") - 1,
        unmet=tuple(sorted(unmet, key=lambda one: (one.from_m, one.to_m, one.code))),
    )


def _divide(
    a: int, b: int, steps: RuleSteps, book: CostBook, unmet: list[Unmet], *, told: bool
) -> tuple[list[int], set[int]]:
    """Cuts of one segment and those that bag limits moved; what had to bend is added to `unmet`."""
    if b - a < steps.minimum:
        if not told:  # a vein below the minimum was named when the vein was held
            unmet.append(_bent("segment too short", a, b, b - a, steps.minimum))
        return [], set()
    shortest, longest = steps.minimum, steps.maximum
    cuts = cheapest_cuts(a, b, shortest=shortest, longest=longest, book=book, weigh_bags=False)
    bent = cuts is None
    if bent:
        shortest, longest = _relaxed(b - a, steps)
        cuts = cheapest_cuts(a, b, shortest=shortest, longest=longest, book=book, weigh_bags=False)
    moved: set[int] = set()
    if book.weighs_bags:
        ends = np.array([a, *cuts, b])
        # Without a bag to pay for, the plan that ignores bags is the cheapest with them too.
        if book.bag(np.diff(book.mass_above(ends)), np.diff(ends), each_outside=1).any():
            lighter = cheapest_cuts(a, b, shortest=shortest, longest=longest, book=book, weigh_bags=True)
            moved, cuts = set(lighter) - set(cuts), lighter
    if bent:
        length = np.diff([a, *cuts, b])
        short = length.min() < steps.minimum
        found, limit = (length.min(), steps.minimum) if short else (length.max(), steps.maximum)
        unmet.append(_bent("segment not divisible", a, b, int(found), limit))
    return cuts, moved


def _relaxed(length: int, steps: RuleSteps) -> tuple[int, int]:
    """Limits under which a segment can be cut: one step looser, or the bound that has to bend least."""
    fewer = length // steps.maximum
    more = fewer + 1
    if fewer * steps.maximum == length or more * steps.minimum <= length:  # only the step stands in the way
        return max(1, steps.minimum - steps.step), steps.maximum + steps.step
    if more * steps.minimum * fewer * steps.maximum <= length * length:
        equal = length // more
        return max(1, equal - steps.step), max(steps.maximum, equal + steps.step)
    equal = -(-length // fewer)
    return min(steps.minimum, max(1, equal - steps.step)), equal + steps.step


def _reasons(cuts: list[int], moved: set[int], book: CostBook) -> list[str]:
    """Why each free boundary lies where it does."""
    if not cuts:
        return []
    depth = np.array(cuts)
    contact, edge = book.near(depth, book.contact), book.near(depth, book.shoulder_edge)
    reasons = []
    for place, cut in enumerate(cuts):
        if contact[place]:
            reasons.append(SOFT_CONTACT)
        elif edge[place]:
            reasons.append(SHOULDER)
        elif cut in moved:
            reasons.append(BAG_MASS)
        else:
            reasons.append(WHOLE_METRE if cut % book.steps.round_to == 0 else LENGTH)
    return reasons


def _in_shoulder(top: np.ndarray, bottom: np.ndarray, frame: Frame, steps: RuleSteps) -> np.ndarray:
    """True for intervals that lie in barren shoulder, give or take half a step at each end."""
    if len(frame.shoulder) == 0:
        return np.zeros(len(top), dtype=bool)
    half = steps.step // 2
    place = np.searchsorted(frame.shoulder[:, 0], top + half, "right") - 1
    return (place >= 0) & (bottom - half <= frame.shoulder[np.maximum(place, 0), 1])


def _bag_notes(top, bottom, expected_kg, book: CostBook, rules: IntervalRules) -> list[Unmet]:
    """Bags the plan could not bring inside the limits."""
    notes = []
    if not book.weighs_bags:
        return notes
    mass = book.mass_above(bottom) - book.mass_above(top)
    for limit, wrong, code, limit_kg in (
        (book.tier_limit, np.greater, "bag over tier", rules.tier_limit_kg),
        (book.light_limit, np.less, "bag too light", rules.minimum_bag_kg),
    ):
        if limit is not None:
            for row in np.flatnonzero(wrong(mass, limit)).tolist():
                a, b = top[row] / UM_PER_M, bottom[row] / UM_PER_M
                notes.append(Unmet(code, float(a), float(b), found_kg=float(expected_kg[row]), limit_kg=limit_kg))
    return notes


def _bent(code: str, a: int, b: int, found: int, limit: int) -> Unmet:
    return Unmet(code, a / UM_PER_M, b / UM_PER_M, found_m=found / UM_PER_M, limit_m=limit / UM_PER_M)
