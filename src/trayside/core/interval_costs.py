"""What a plan costs: lengths, boundaries, crossings and bags, in whole millionths so that equal costs are equal."""

from dataclasses import dataclass

import numpy as np

from trayside.core.interval_algebra import UM_PER_M, pairs_um, whole_um
from trayside.core.interval_ground import Frame, Ground, IntervalRules, RuleSteps, frame_of, rule_steps
from trayside.core.refusals import numbers
from trayside.errors import ImpossibleValue

COST_PARTS = 1_000_000
_MG_PER_KG = 1_000_000
HEAVIEST_KG_PER_M = 200.0


@dataclass(frozen=True, slots=True)
class CostBook:
    """Every price of one hole, ready for whole arrays of depths in micrometres.

    Masses are counted in milligrams per metre times micrometres: whole numbers, so a bag exactly at a limit is at it.
    Bags outside their limits are counted apart from all other costs: the fewest of them come first, at any price.
    """

    steps: RuleSteps
    length_cost: float
    off_round: int
    half_round: int
    in_loss: int
    tier_cost: int
    tier_limit: int | None
    light_cost: int
    light_limit: int | None
    contact: np.ndarray
    shoulder_edge: np.ndarray
    crossed: np.ndarray
    crossed_total: np.ndarray
    small_loss: np.ndarray
    mass_break: np.ndarray
    mass_rate: np.ndarray
    mass_total: np.ndarray

    @property
    def weighs_bags(self) -> bool:
        """True when a bag can cost something."""
        return self.tier_limit is not None or self.light_limit is not None

    def length(self, length_um: np.ndarray) -> np.ndarray:
        """Squared deviation from the nominal length, relative to it."""
        off = (length_um - self.steps.nominal) / self.steps.nominal
        return np.rint(self.length_cost * COST_PARTS * off * off).astype(np.int64)

    def near(self, depth_um: np.ndarray, place: np.ndarray) -> np.ndarray:
        """True where one of the (sorted) places lies within half a step."""
        half = self.steps.step // 2
        return np.searchsorted(place, depth_um - half, "left") < np.searchsorted(place, depth_um + half, "right")

    def boundary(self, depth_um: np.ndarray) -> np.ndarray:
        """Price of a free boundary: nothing on a whole multiple or a soft contact, half on a half multiple."""
        whole, halves = depth_um % self.steps.round_to == 0, 2 * depth_um % self.steps.round_to == 0
        price = np.where(halves, self.half_round, self.off_round)
        price[whole | self.near(depth_um, self.crossed)] = 0
        if len(self.small_loss):
            before = np.searchsorted(self.small_loss[:, 0], depth_um, "left") - 1
            price[(before >= 0) & (depth_um < self.small_loss[np.maximum(before, 0), 1])] += self.in_loss
        return price

    def crossed_before(self, depth_um: np.ndarray) -> np.ndarray:
        """Price of all soft contacts more than half a step above a depth."""
        return self.crossed_total[np.searchsorted(self.crossed, depth_um - self.steps.step // 2, "left")]

    def crossed_upto(self, depth_um: np.ndarray) -> np.ndarray:
        """Price of all soft contacts above a depth or within half a step below it."""
        return self.crossed_total[np.searchsorted(self.crossed, depth_um + self.steps.step // 2, "right")]

    def crossing(self, top_um: np.ndarray, bottom_um: np.ndarray) -> np.ndarray:
        """Price of the soft contacts inside intervals, more than half a step from both ends."""
        return np.maximum(0, self.crossed_before(bottom_um) - self.crossed_upto(top_um))

    def mass_above(self, depth_um: np.ndarray) -> np.ndarray:
        """Bag mass from the top of the mass profile down to a depth."""
        if len(self.mass_rate) == 0:
            return np.zeros(np.shape(depth_um), dtype=np.int64)
        place = np.clip(np.searchsorted(self.mass_break, depth_um, "right") - 1, 0, len(self.mass_rate) - 1)
        return self.mass_total[place] + self.mass_rate[place] * (depth_um - self.mass_break[place])

    def bag(self, mass: np.ndarray, length_um: np.ndarray, *, each_outside: int = 0) -> np.ndarray:
        """Price of bags: their mass beyond a limit, and `each_outside` for those that need not be there, see cost_of."""
        price = np.zeros(np.shape(mass), dtype=np.int64)
        for limit, cost, beyond, in_reach in (
            (self.tier_limit, self.tier_cost, 1, self._tier_in_reach),
            (self.light_limit, self.light_cost, -1, self._least_in_reach),
        ):
            if limit is None:
                continue
            over = (mass - limit) * beyond
            wrong = over > 0
            if not wrong.any():
                continue
            part = over // (limit // 1000) * cost // 1000 if cost % 1000 else over // (limit // 1000) * (cost // 1000)
            if each_outside:
                part += each_outside * in_reach(mass, length_um)
            price += part * wrong
        return price

    def _tier_in_reach(self, mass: np.ndarray, length_um: np.ndarray) -> np.ndarray | bool:
        """Whether core of this mass per length, cut at the least length, is inside the tier."""
        least = self.steps.minimum
        if int(self.mass_rate.max()) * least <= self.tier_limit:
            return True
        # As floats: whole numbers would overflow, and equal products stay equal.
        return mass * float(least) <= float(self.tier_limit) * length_um

    def _least_in_reach(self, mass: np.ndarray, length_um: np.ndarray) -> np.ndarray | bool:
        """Whether core of this mass per length, cut at the greatest length, reaches the least mass."""
        most = self.steps.maximum
        if int(self.mass_rate.min()) * most >= self.light_limit:
            return True
        return mass * float(most) >= float(self.light_limit) * length_um

    def intervals(self, top_um: np.ndarray, bottom_um: np.ndarray) -> np.ndarray:
        """Price of each interval, without its boundaries."""
        price = self.length(bottom_um - top_um) + self.crossing(top_um, bottom_um)
        if self.weighs_bags:
            price += self.bag(self.mass_above(bottom_um) - self.mass_above(top_um), bottom_um - top_um)
        return price

    def bags_outside(self, top_um: np.ndarray, bottom_um: np.ndarray) -> int:
        """How many of the bags are outside a limit that their core could keep."""
        if not self.weighs_bags:
            return 0
        mass, length_um = self.mass_above(bottom_um) - self.mass_above(top_um), bottom_um - top_um
        return int((self.bag(mass, length_um, each_outside=1) - self.bag(mass, length_um)).sum())

    def kilograms(self, top_um: np.ndarray, bottom_um: np.ndarray) -> np.ndarray:
        """Expected bag masses; nan when the ground has no mass profile."""
        if len(self.mass_rate) == 0:
            return np.full(len(top_um), np.nan)
        return (self.mass_above(bottom_um) - self.mass_above(top_um)) / (_MG_PER_KG * UM_PER_M)


def cost_book(ground: Ground, rules: IntervalRules, steps: RuleSteps, frame: Frame) -> CostBook:
    """The prices of one hole, checked."""
    contact = whole_um(depth_m=ground.soft_contact_m, name="soft_contact_m")
    price = np.atleast_1d(np.asarray(ground.soft_contact_cost, dtype=float))
    if price.size == 0:
        price = np.full(len(contact), rules.soft_crossing_cost)
    if len(price) != len(contact):
        _refuse(f"{len(contact)} soft contacts and {len(price)} costs", "Give one cost per soft contact, or none")
    price = np.where(np.isnan(price), rules.soft_crossing_cost, price)
    numbers(price, "soft_contact_cost", at_least=0.0, at_most=1e4)
    edge = np.setdiff1d(frame.shoulder.ravel(), np.concatenate([frame.forced, frame.stretch.ravel()]))
    crossed = np.concatenate([contact, edge])
    price = _parts(np.concatenate([price, np.full(len(edge), float(rules.shoulder_crossing_cost))]))
    order = np.argsort(crossed, kind="stable")
    mass_break, mass_rate = _mass_profile(ground, rules, frame)
    return CostBook(
        steps=steps,
        length_cost=float(rules.length_cost),
        off_round=int(_parts(rules.off_round_cost)),
        half_round=int(_parts(rules.off_round_cost / 2)),
        in_loss=int(_parts(rules.boundary_in_loss_cost)),
        tier_cost=int(_parts(rules.tier_cost)),
        tier_limit=_mass_limit(rules.tier_limit_kg),
        light_cost=int(_parts(rules.light_bag_cost)),
        light_limit=_mass_limit(rules.minimum_bag_kg),
        contact=np.sort(contact),
        shoulder_edge=edge,
        crossed=crossed[order],
        crossed_total=np.concatenate([[0], np.cumsum(price[order])]),
        small_loss=frame.small_loss,
        mass_break=mass_break,
        mass_rate=mass_rate,
        mass_total=np.concatenate([[0], np.cumsum(mass_rate * np.diff(mass_break))[:-1]]).astype(np.int64),
    )


def _mass_profile(ground: Ground, rules: IntervalRules, frame: Frame) -> tuple[np.ndarray, np.ndarray]:
    breaks = whole_um(depth_m=ground.mass_break_m, name="mass_break_m")
    rate = np.atleast_1d(numbers(ground.mass_kg_per_m, "mass_kg_per_m", at_least=0.0, at_most=HEAVIEST_KG_PER_M))
    if len(breaks) == 0 and len(rate) == 0:
        if rules.tier_limit_kg is not None or rules.minimum_bag_kg is not None:
            _refuse("a bag limit is set but the expected masses are not known", "Give a mass profile or no bag limit")
        return breaks, rate.astype(np.int64)
    if len(breaks) != len(rate) + 1 or (np.diff(breaks) <= 0).any():
        _refuse("the mass profile needs one value between each two increasing depths", "Give n + 1 depths and n masses")
    if len(frame.core) and (breaks[0] > frame.core[0, 0] or breaks[-1] < frame.core[-1, 1]):
        _refuse(
            f"the mass profile covers {breaks[0] / UM_PER_M:g} to {breaks[-1] / UM_PER_M:g} m only",
            "It must cover every sampled stretch",
        )
    return breaks, np.rint(rate * _MG_PER_KG).astype(np.int64)


@dataclass(frozen=True, slots=True, order=True)
class PlanCost:
    """What a list of intervals costs. Of two, the one with fewer bags outside their limits is the cheaper one; the
    cost decides between equals."""

    bags_outside: int
    cost: float


def cost_of(*, from_m, to_m, ground: Ground, rules: IntervalRules) -> PlanCost:
    """Cost of any list of intervals, by the same prices the planner uses.

    First the count of bags outside their limits: above the tier, though core of the same mass per metre fits into it
    at minimum_m; or below the least mass, though core of the same mass per metre reaches it at maximum_m. A limit that
    no allowed length could keep is not counted, or a few long bags would always beat many short ones.

    Then the cost: the sum over intervals of length_cost x ((length - nominal) / nominal)^2, the cost of every soft
    contact inside, tier_cost x (mass - tier) / tier of a bag above the tier and light_bag_cost x (least - mass) / least
    of a bag below the least mass, both fractions in whole thousandths, rounded down; plus, for every boundary that is
    not forced, nothing on a whole multiple of round_to or at a soft contact, half of off_round_cost on a half multiple,
    all of it elsewhere, and boundary_in_loss_cost inside a core loss. A contact within half a step of a boundary counts
    as honoured. Faults (a hard contact crossed, ground left out) have no price: ask check_intervals.

    Parameters
    ----------
    from_m : array (n,) [m]
        Tops of the intervals, in any order.
    to_m : array (n,) [m]
        Bottoms of the intervals.
    ground : Ground
        The hole.
    rules : IntervalRules
        The rules.

    Returns
    -------
    PlanCost
        .bags_outside, a count, and .cost, a number without unit; they compare in this order.

    Raises
    ------
    ImpossibleValue
        When an interval has no length, or the ground or the rules cannot be.

    Valid for: intervals of any length.
    Source: derived; the prices are site rules without a published source (common practice, no source).
    Checked by: tests/unit/core/test_intervals.py, tests/properties/test_interval_plans.py
    """
    steps = rule_steps(rules)
    frame = frame_of(ground, rules, steps)
    book = cost_book(ground, rules, steps, frame)
    pairs = pairs_um(from_m=from_m, to_m=to_m, name="interval")
    free = np.setdiff1d(pairs.ravel(), np.concatenate([frame.forced, frame.stretch.ravel()]))
    cost = float(book.intervals(pairs[:, 0], pairs[:, 1]).sum() + book.boundary(free).sum()) / COST_PARTS
    return PlanCost(book.bags_outside(pairs[:, 0], pairs[:, 1]), cost)


def _parts(cost) -> np.ndarray:
    return np.rint(np.asarray(cost, dtype=float) * COST_PARTS).astype(np.int64)


def _mass_limit(limit_kg: float | None) -> int | None:
    return None if limit_kg is None else round(limit_kg * _MG_PER_KG) * UM_PER_M


def _refuse(what: str, remedy: str) -> None:
    raise ImpossibleValue(what, where="interval planning", remedy=remedy)
