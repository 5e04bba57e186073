"""Where along a hole the best cut plane really changes: breaks between domains, and none in noise.

Each domain is cut at its own best plane by squares (cut_plane). A break is worth having when it lowers the cost by more
than shuffled veins would show. Chance enters through a seed that is handed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.refusals import Floats, numbers, refuse_where, together
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class CheapestDomains:
    """The division with the least cost plus penalty: first vein of each domain after the first, and the cost alone."""

    first_vein: NDArray[np.int64]
    cost: float


@dataclass(frozen=True, slots=True)
class CutDomains:
    """Domains from the top down, each with its plane, and the breaks between them with the evidence.

    `break_m` lies halfway between the veins on both sides. `turn_deg` is the angle between the planes of neighbours,
    `chance` the chance that shuffled veins show as large a gain. Costs are shares of the total weight.
    """

    break_m: Floats
    turn_deg: Floats
    chance: Floats
    first_vein: NDArray[np.int64]
    last_vein: NDArray[np.int64]
    cut_deg: Floats
    alignment: Floats
    cost: float
    one_plane_cost: float
    penalty: float


def cheapest_domains(
    *, beta_deg: ArrayLike, weight: ArrayLike, may_start: ArrayLike, penalty: float, fewest_veins: int = 1
) -> CheapestDomains:
    """The division of a row of veins into domains with the least total cost, exactly.

    A domain costs (W - R) / 2, its cost by squares at its own best plane; each break costs the penalty. The best
    division down to a place is the cheapest of all last domains after the best division above them. Starts that can
    never win again are dropped as the search goes down (a longer domain never costs less than its parts).

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, in order down the hole.
    weight : float or array (n,)
        How much each vein counts, 0 or more.
    may_start : array (n,) of bool
        True where a domain may begin with this vein.
    penalty : float
        Cost of a break in units of weight, 0 or more.
    fewest_veins : int
        Fewest veins in a domain, 1 or more.

    Returns
    -------
    CheapestDomains
        .first_vein (breaks,), .cost

    Raises
    ------
    ImpossibleValue
        When there is no vein, an angle is missing, or a weight, the penalty or the fewest veins is out of range.

    Valid for: any weights. Work grows with the square of the allowed starts at worst.
    Source: optimal partitioning with pruning, Killick, Fearnhead and Eckley 2012 (from memory); cost derived.
    Checked by: tests/unit/core/test_cut_domains.py
    """
    beta, weight_of = _row(beta_deg, weight)
    fine = float(numbers(penalty, "penalty", at_least=0.0))
    few = _count(fewest_veins, "fewest_veins", 1)
    start = np.asarray(may_start, dtype=bool)
    if start.shape != beta.shape:
        raise ImpossibleValue("not one entry per vein", where="may_start", remedy="Give True or False for every vein")
    return _cheapest(_sums(beta, weight_of), start, fine, few)


def cut_domains(
    *,
    depth_m: ArrayLike,
    beta_deg: ArrayLike,
    weight: ArrayLike,
    seed: int,
    shortest_m: float = 10.0,
    fewest_veins: int = 8,
    smallest_turn_deg: float = 10.0,
    significance: float = 0.05,
    shuffles: int = 199,
    step_m: float = 1.0,
) -> CutDomains:
    """Domains of a hole in which the best cut plane stays the same.

    The penalty of a break is the gain that the best single break reaches in shuffled veins with the given chance, so a
    hole of noise is left whole. The cheapest division under that penalty proposes breaks. Each is then tested on the
    two domains it parts, by shuffling only their veins, and must turn the plane by the smallest turn; the weakest
    that fails is taken out and its neighbours are tested again.

    Parameters
    ----------
    depth_m : array (n,) [m]
        Depths of the veins, in any order.
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more.
    seed : int
        Seed of the shuffling; the same seed gives the same answer.
    shortest_m : float [m]
        Shortest domain, from its first to the next domain's first vein; 0 or more.
    fewest_veins : int
        Fewest veins in a domain.
    smallest_turn_deg : float [deg]
        Smallest change of plane that is worth a break, 0 to 90.
    significance : float
        Chance of a break in noise, above 0 and below 1.
    shuffles : int
        Number of shuffles, at least enough to show the significance.
    step_m : float [m]
        Breaks are tried once in every step.

    Returns
    -------
    CutDomains
        .break_m (b,) [m]; .turn_deg (b,) [deg]; .chance (b,); .first_vein, .last_vein (b+1,) in the order of depth;
        .cut_deg (b+1,) [deg], NaN without a preferred plane; .alignment (b+1,); .cost, .one_plane_cost, .penalty

    Raises
    ------
    ImpossibleValue
        When there is no vein, a value is missing, or a limit is out of range.

    Valid for: one orientation line over the whole hole. A steady drift is cut into steps.
    Source: permutation test (derived); limits: common practice, no source (settings of the yard).
    Checked by: tests/unit/core/test_cut_domains.py, tests/properties/test_cut_domains_properties.py
    """
    depth, beta, weight_of = together(
        depth_m=numbers(np.atleast_1d(depth_m), "depth_m", at_least=0.0),
        beta_deg=numbers(beta_deg, "beta_deg"), weight=numbers(weight, "weight", at_least=0.0),
    )  # fmt: skip
    shortest = float(numbers(shortest_m, "shortest_m", at_least=0.0))
    smallest = float(numbers(smallest_turn_deg, "smallest_turn_deg", at_least=0.0, at_most=90.0))
    level = float(numbers(significance, "significance", above=0.0, below=1.0))
    step = float(numbers(step_m, "step_m", above=0.0))
    few, rounds = _count(fewest_veins, "fewest_veins", 1), _count(shuffles, "shuffles", 1)
    refuse_where(
        1.0 / (rounds + 1.0) > level, rounds, "shuffles", f"shuffles cannot show a chance of {level:g}",
        f"Give at least {int(np.ceil(1.0 / level)) - 1}",
    )  # fmt: skip
    order = np.argsort(depth, kind="stable")
    depth = depth[order]
    beta, weight_of = _row(beta[order], weight_of[order])
    total = float(weight_of.sum())
    weight_of = weight_of / total
    sums = _sums(beta, weight_of)
    spans = _Spans(depth, shortest, few, step)
    chance_of = np.random.default_rng(seed)
    n = depth.size

    gains = _shuffled_gains(beta, weight_of, spans.splits(0, n), rounds, chance_of)
    # A hair above the quantile, so that a gain equal to it (and a gain of 0 from rounding) is no gain.
    penalty = float(np.sort(gains)[int(np.ceil((1.0 - level) * (rounds + 1))) - 1]) + 1e-12
    first = [0, *_cheapest(sums, spans.starts(), penalty, few, spans).first_vein.tolist(), n]
    chances: dict[tuple[int, int, int], float] = {}
    while len(first) > 2:
        worst, worst_chance = 0, -1.0
        for at in range(1, len(first) - 1):
            key = (first[at - 1], first[at], first[at + 1])
            if key not in chances:
                chances[key] = _break_chance(beta, weight_of, sums, spans, key, smallest, rounds, chance_of)
            if chances[key] > worst_chance:
                worst, worst_chance = at, chances[key]
        if worst_chance <= level:
            break
        del first[worst]
    edges = np.array(first)
    part = sums[:, edges[1:]] - sums[:, edges[:-1]]
    cut, alignment = _plane(part)
    breaks = edges[1:-1]
    return CutDomains(
        break_m=0.5 * (depth[breaks - 1] + depth[breaks]),
        turn_deg=_between(cut[:-1], cut[1:]),
        chance=np.array([chances[tuple(first[at - 1 : at + 2])] for at in range(1, len(first) - 1)]),
        first_vein=edges[:-1], last_vein=edges[1:] - 1, cut_deg=cut, alignment=alignment,
        cost=float(_cost(part).sum()), one_plane_cost=float(_cost(sums[:, -1])), penalty=penalty,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Spans:
    """Where breaks may stand: between different depths, once a step, and far enough from both ends of the ground."""

    depth: Floats
    shortest: float
    few: int
    step: float

    def starts(self) -> NDArray[np.bool_]:
        cell = np.floor(self.depth / self.step)
        return np.concatenate(([True], (np.diff(cell) > 0.0) & (np.diff(self.depth) > 0.0)))

    def splits(self, first: int, end: int) -> NDArray[np.int64]:
        """Veins between `first` and `end` at which the ground between them may be parted."""
        at = np.flatnonzero(self.starts()[first:end]) + first
        last_depth = self.depth[end] if end < self.depth.size else self.depth[-1]
        far = (self.depth[at] - self.depth[first] >= self.shortest) & (last_depth - self.depth[at] >= self.shortest)
        return at[far & (at - first >= self.few) & (end - at >= self.few) & (at > first)]


def _cheapest(
    sums: Floats, start: NDArray[np.bool_], penalty: float, few: int, spans: _Spans | None = None
) -> CheapestDomains:
    """Domains [i, j) over the allowed starts; the last one ends with the row."""
    n = sums.shape[1] - 1
    nodes = np.flatnonzero(start)
    nodes = np.unique(np.concatenate(([0], nodes, [n])))
    best = np.full(nodes.size, np.inf)
    came = np.zeros(nodes.size, dtype=np.int64)
    best[0] = -penalty
    length = spans.depth if spans is not None else np.zeros(n)
    shortest = spans.shortest if spans is not None else 0.0
    place = np.append(length, length[-1])[nodes]
    alive = np.zeros(0, dtype=np.int64)
    waiting = 0  # nodes from here on are not yet far enough above to begin a domain that ends here
    for k in range(1, nodes.size):
        ready = waiting
        while ready < k and nodes[k] - nodes[ready] >= few and place[k] - place[ready] >= shortest:
            ready += 1
        alive = np.concatenate((alive, np.arange(waiting, ready)))
        waiting = ready
        if not alive.size:
            continue
        part = sums[:, nodes[k]][:, None] - sums[:, nodes[alive]]
        value = best[alive] + _cost(part)
        at = int(np.argmin(value))
        best[k], came[k] = value[at] + penalty, alive[at]
        # A start that is dearer already, without its next break, stays dearer for every later end. It may be dropped
        # only once a domain could begin here, which needs the same room below: hence no drop where room is asked for.
        if few == 1 and shortest == 0.0:
            alive = alive[value <= best[k] + 1e-12]
    if not np.isfinite(best[-1]):  # too few veins or too short for even one domain: the row stays whole
        return CheapestDomains(first_vein=np.zeros(0, dtype=np.int64), cost=float(_cost(sums[:, -1])))
    found, k = [], nodes.size - 1
    while came[k] > 0:
        k = int(came[k])
        found.append(int(nodes[k]))
    return CheapestDomains(
        first_vein=np.array(found[::-1], dtype=np.int64), cost=float(best[-1] - penalty * len(found))
    )


def _break_chance(
    beta: Floats, weight: Floats, sums: Floats, spans: _Spans, key: tuple[int, int, int], smallest: float,
    rounds: int, chance_of: np.random.Generator,
) -> float:  # fmt: skip
    """Chance of the gain of one break among shuffles of the veins on both sides; 1 when the plane hardly turns."""
    first, at, end = key
    above, below = sums[:, at] - sums[:, first], sums[:, end] - sums[:, at]
    planes, _ = _plane(np.stack((above, below), axis=1))
    if not _between(planes[:1], planes[1:])[0] >= smallest:
        return 1.0
    gain = float(_cost(above + below) - _cost(above) - _cost(below))
    splits = np.union1d(spans.splits(first, end), [at]) - first
    shuffled = _shuffled_gains(beta[first:end], weight[first:end], splits, rounds, chance_of)
    return (1.0 + float((shuffled >= gain - 1e-12).sum())) / (rounds + 1.0)


def _shuffled_gains(
    beta: Floats, weight: Floats, splits: NDArray[np.int64], rounds: int, chance_of: np.random.Generator
) -> Floats:
    """Largest gain of a single break in each shuffle of the veins; 0 where no break is allowed."""
    gains = np.zeros(rounds)
    if not splits.size:
        return gains
    double = np.radians(2.0 * np.mod(beta, 180.0))
    x, y = weight * np.cos(double), weight * np.sin(double)
    whole = np.hypot(x.sum(), y.sum())
    batch = max(1, int(2e6) // beta.size)
    for begin in range(0, rounds, batch):
        size = min(batch, rounds - begin)
        order = chance_of.permuted(np.broadcast_to(np.arange(beta.size), (size, beta.size)), axis=1)
        cum_x, cum_y = np.cumsum(x[order], axis=1), np.cumsum(y[order], axis=1)
        left_x, left_y = cum_x[:, splits - 1], cum_y[:, splits - 1]
        apart = np.hypot(left_x, left_y) + np.hypot(cum_x[:, -1:] - left_x, cum_y[:, -1:] - left_y)
        gains[begin : begin + size] = 0.5 * (apart.max(axis=1) - whole)
    return gains


def _sums(beta: Floats, weight: Floats) -> Floats:
    """Running sums (3, n+1) of weight and of the doubled directions."""
    double = np.radians(2.0 * np.mod(beta, 180.0))
    columns = np.stack((weight, weight * np.cos(double), weight * np.sin(double)))
    return np.concatenate((np.zeros((3, 1)), np.cumsum(columns, axis=1)), axis=1)


def _cost(part: Floats) -> Floats:
    return 0.5 * np.maximum(part[0] - np.hypot(part[1], part[2]), 0.0)


def _plane(part: Floats) -> tuple[Floats, Floats]:
    """Best plane and alignment of sums; NaN where no plane is better."""
    resultant = np.hypot(part[1], part[2])
    alignment = np.divide(resultant, part[0], out=np.zeros_like(resultant), where=part[0] > 0.0)
    cut = np.mod(0.5 * np.degrees(np.arctan2(part[2], part[1])), 180.0)
    cut = np.where(cut == 180.0, 0.0, cut)
    return np.where(alignment < 1e-9, np.nan, cut), np.minimum(alignment, 1.0)


def _between(one: Floats, other: Floats) -> Floats:
    """Angle between two planes through the axis, 0 to 90."""
    return np.abs(np.mod(one - other + 90.0, 180.0) - 90.0)


def _row(beta_deg: ArrayLike, weight: ArrayLike) -> tuple[Floats, Floats]:
    beta, weight_of = together(
        beta_deg=numbers(np.atleast_1d(beta_deg), "beta_deg"), weight=numbers(weight, "weight", at_least=0.0)
    )
    if beta.ndim != 1 or beta.size == 0:
        raise ImpossibleValue("no veins", where="beta_deg", remedy="Measure beta on at least one vein")
    if not weight_of.any():
        raise ImpossibleValue("all are 0", where="weight", remedy="Give at least one vein a weight")
    return beta, weight_of


def _count(value: int, name: str, least: int) -> int:
    number = float(numbers(value, name, at_least=least))
    if number != int(number):
        raise ImpossibleValue(f"{number:g} is not a whole number", where=name, remedy="Give a whole number")
    return int(number)
