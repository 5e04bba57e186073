"""Filling sacks with bags in ticket order, under a limit of mass and of bags.

Three ways, each exact for what it promises:

    fewest     fill each sack until the next bag does not fit. No way in ticket order needs fewer sacks.
    balanced   as few sacks, the heaviest as light as it can be, then as even as can be.
    together   as few groups (holes, racks) torn apart as can be, then few sacks, then light and even ones.

Filling in turn is best in the number of sacks, because any other plan can have its first sack filled up from the second
without harm. It is worse in lifting: it leaves full sacks and a nearly empty last one.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.number_lists import number_list, one_number, whole_count
from trayside.core.refusals import numbers, refuse_where
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

WAYS = ("fewest", "balanced", "together")
SACK_LIMIT_KG = SourcedNumber(
    20.0, Source("no document found", "sacks of 20-25 kg; the lower end", "common practice, no source")
)
SACK_LIMIT_BAGS = SourcedNumber(
    40.0, Source("resourcesgoldtechnology.com, ore shipping", "at most 40-50 bags a box, in list order", "seen")
)
MG_PER_KG = 1_000_000  # whole milligrams: sums are exact, and 20 kg of 0.1 kg bags is 20 kg

Whole = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Sack:
    """Bags first to last, both counted, and their mass."""

    first: int
    last: int
    bags: int
    mass_kg: float


@dataclass(frozen=True, slots=True)
class SackPlan:
    """Sacks in ticket order, and what another way of filling would have given."""

    sacks: tuple[Sack, ...]
    way: str
    heaviest_kg: float
    torn_groups: int  # places where a group goes on in the next sack
    fewest_sacks: int  # in ticket order
    heaviest_when_fewest_kg: float  # filling in turn
    torn_when_fewest: int
    least_sacks_any_order: int  # no order at all could do with fewer than this
    says: str


def pack_sacks(
    *,
    mass_kg: ArrayLike,
    most_kg: float = SACK_LIMIT_KG.value,
    most_bags: int = int(SACK_LIMIT_BAGS.value),
    way: str = "fewest",
    group: Sequence[Hashable] | None = None,
) -> SackPlan:
    """Sacks for bags in ticket order.

    Filling in turn gives the fewest sacks. The other ways choose the ends of the sacks by dynamic programming: the
    smallest count that is asked for first, under the lowest mass limit that still allows it (found by halving over all
    sums of neighbouring bags), and under that limit the smallest sum of squared masses.

    Parameters
    ----------
    mass_kg : array (n,) [kg]
        Mass of each bag in ticket order, as it goes into the sack.
    most_kg : float [kg]
        Most a sack may weigh; a setting.
    most_bags : int [1]
        Most bags a sack may hold; a setting.
    way : str
        fewest, balanced or together.
    group : sequence (n,) or None
        Hole or rack of each bag, hashable; needed for together.

    Returns
    -------
    SackPlan
        .sacks with .first, .last, .bags, .mass_kg [kg]; .heaviest_kg [kg], .torn_groups, .fewest_sacks,
        .heaviest_when_fewest_kg [kg], .torn_when_fewest, .least_sacks_any_order, .says

    Raises
    ------
    ImpossibleValue
        When one bag alone is above the limit, a mass is not more than 0, a limit is not more than 0, or the way is
        not known.

    Valid for: masses to the milligram; a few thousand bags.
    Source: derived; the limits are settings (common practice, no source).
    Checked by: tests/unit/core/test_sack_packing.py, tests/properties/test_sack_packing_properties.py
    """
    mass = number_list(numbers(mass_kg, "mass_kg", above=0.0), "mass_kg", least=0)
    limit_kg = one_number(most_kg, "most_kg", above=0.0)
    count_limit = whole_count(most_bags, "most_bags")
    if way not in WAYS:
        raise ImpossibleValue(f"no way {way!r} of filling", where="way", remedy=f"Use one of {', '.join(WAYS)}")
    if group is not None and len(group) != len(mass):
        raise ImpossibleValue(
            f"{len(group)} groups for {len(mass)} bags",
            where="group",
            remedy="Give the group of every bag, in bag order",
        )
    if way == "together" and group is None:
        raise ImpossibleValue("no groups given", where="group", remedy="Give the hole or rack of every bag")
    whole, limit = np.rint(mass * MG_PER_KG).astype(np.int64), round(limit_kg * MG_PER_KG)
    refuse_where(
        whole > limit,
        mass,
        "mass_kg",
        f"kg in one bag is above the sack limit of {limit_kg:g} kg",
        "Split the bag, or send it alone under a higher limit",
    )
    if not len(mass):
        return SackPlan((), way, 0.0, 0, 0, 0.0, 0, 0, "no bags, no sacks")
    sums = np.concatenate([[0], np.cumsum(whole)])
    joined = np.zeros(len(mass), dtype=np.int64)  # 1 where a bag belongs with the one before
    if group is not None:
        joined[1:] = [one == other for one, other in zip(group[1:], group[:-1], strict=True)]
    in_turn = _in_turn(sums, limit, count_limit)
    if way == "fewest":
        ends = in_turn
    else:
        cost = joined * (len(mass) + 1) if way == "together" else np.zeros_like(joined)
        ends = _best_ends(sums, cost + 1, limit, count_limit)
    chosen, turn = _sacks(ends, sums), _sacks(in_turn, sums)
    least = max(-(-int(sums[-1]) // limit), -(-len(mass) // count_limit))
    plan = SackPlan(
        sacks=chosen,
        way=way,
        heaviest_kg=max(sack.mass_kg for sack in chosen),
        torn_groups=int(joined[[sack.first for sack in chosen]].sum()),
        fewest_sacks=len(turn),
        heaviest_when_fewest_kg=max(sack.mass_kg for sack in turn),
        torn_when_fewest=int(joined[[sack.first for sack in turn]].sum()),
        least_sacks_any_order=least,
        says="",
    )
    return _with_words(plan)


def _in_turn(sums: Whole, limit: int, count_limit: int) -> list[int]:
    """Ends of the sacks (bag after the last) when each is filled until the next bag does not fit."""
    ends, first, count = [], 0, len(sums) - 1
    while first < count:
        fits = int(np.searchsorted(sums, sums[first] + limit, side="right")) - 1
        first = min(fits, first + count_limit, count)
        ends.append(first)
    return ends


def _best_ends(sums: Whole, start_cost: Whole, limit: int, count_limit: int) -> list[int]:
    """Ends at the lowest summed cost of sack starts, then the lightest heaviest sack, then the least squares."""
    target = _lowest_cost(sums, start_cost, limit, count_limit)
    spans = [sums[k:] - sums[:-k] for k in range(1, min(count_limit, len(start_cost)) + 1)]
    limits = np.unique(np.concatenate(spans))
    limits = limits[(limits <= limit) & (limits >= np.diff(sums).max())]
    low, high = 0, len(limits) - 1
    while low < high:
        middle = (low + high) // 2
        if _lowest_cost(sums, start_cost, int(limits[middle]), count_limit) == target:
            high = middle
        else:
            low = middle + 1
    return _least_squares(sums, start_cost, int(limits[low]), count_limit)


def _earliest_starts(sums: Whole, limit: int, count_limit: int) -> Whole:
    """For each end, the earliest first bag of a sack that ends there."""
    by_mass = np.searchsorted(sums, sums - limit, side="left")
    return np.maximum(by_mass, np.arange(len(sums)) - count_limit)


def _lowest_cost(sums: Whole, start_cost: Whole, limit: int, count_limit: int) -> int:
    earliest = _earliest_starts(sums, limit, count_limit)
    best = np.zeros(len(sums), dtype=np.int64)
    for end in range(1, len(sums)):
        first = earliest[end]
        best[end] = (best[first:end] + start_cost[first:end]).min()
    return int(best[-1])


def _least_squares(sums: Whole, start_cost: Whole, limit: int, count_limit: int) -> list[int]:
    earliest = _earliest_starts(sums, limit, count_limit)
    kg = sums / MG_PER_KG
    best, squares = np.zeros(len(sums), dtype=np.int64), np.zeros(len(sums))
    came_from = np.zeros(len(sums), dtype=np.int64)
    for end in range(1, len(sums)):
        first = earliest[end]
        cost = best[first:end] + start_cost[first:end]
        even = squares[first:end] + (kg[end] - kg[first:end]) ** 2
        even = np.where(cost == cost.min(), even, np.inf)
        pick = int(even.argmin())
        best[end], squares[end], came_from[end] = cost[pick], even[pick], first + pick
    ends = [len(sums) - 1]
    while came_from[ends[-1]]:
        ends.append(int(came_from[ends[-1]]))
    return ends[::-1]


def _sacks(ends: list[int], sums: Whole) -> tuple[Sack, ...]:
    starts = [0, *ends[:-1]]
    return tuple(
        Sack(first, end - 1, end - first, int(sums[end] - sums[first]) / MG_PER_KG)
        for first, end in zip(starts, ends, strict=True)
    )


def _with_words(plan: SackPlan) -> SackPlan:
    count, fewest = len(plan.sacks), plan.fewest_sacks
    says = f"{count} sack{'s' * (count != 1)}, heaviest {plan.heaviest_kg:.2f} kg"
    if plan.way == "fewest":
        says += "; no way in ticket order needs fewer"
    else:
        says += f"; filled in turn: {fewest}, heaviest {plan.heaviest_when_fewest_kg:.2f} kg"
    if plan.way == "together":
        says += f"; groups torn apart {plan.torn_groups}, in turn {plan.torn_when_fewest}"
    if fewest > plan.least_sacks_any_order:
        says += f"; out of ticket order perhaps {plan.least_sacks_any_order}"
    return replace(plan, says=says)
