"""How long a chart waits before it signals: average run lengths, exactly where there is a way, else by simulation.

All in units of the standard deviation of one result, from the target; the shift is there from the first result on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from trayside.core.control_rules import Rule, apply_rules
from trayside.core.number_lists import one_number, whole_count
from trayside.core.refusals import Floats, numbers, plain
from trayside.errors import ImpossibleValue

MOST_NODES = 2500


@dataclass(frozen=True, slots=True)
class SimulatedRunLength:
    """Mean run length of simulated series with its standard error; `cut_off` series had no signal before the end.

    With series cut off the true mean is longer than `.mean`.
    """

    mean: float
    standard_error: float
    median: float
    series: int
    cut_off: int


def shewhart_arl(*, limit: float, shift: ArrayLike) -> Any:
    """Average run length of a chart with limits at -+limit.

    1/p with p = 1 - Phi(limit - shift) + Phi(-limit - shift).

    Parameters
    ----------
    limit : float [1]
        Limit in standard deviations.
    shift : float or array (n,) [1]
        Shift of the mean in standard deviations.

    Returns
    -------
    float or array (n,) [1]
        Results until the signal, this one included.

    Raises
    ------
    ImpossibleValue
        When the limit is not in 0..37.

    Valid for: independent normal results.
    Source: geometric waiting time (derived).
    Checked by: tests/published/test_run_length_published.py, tests/unit/core/test_run_length.py
    """
    return plain(1.0 / _beyond(one_number(limit, "limit", above=0.0, at_most=37.0), numbers(shift, "shift")))


def chance_of_signal(*, results: int, limit: float, shift: ArrayLike) -> Any:
    """Chance that at least one of so many results lies beyond -+limit.

    1 - (1 - p)^n.

    Parameters
    ----------
    results : int
        Number of results.
    limit : float [1]
        Limit in standard deviations.
    shift : float or array (n,) [1]
        Shift of the mean in standard deviations.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When the limit is not in 0..37, or results is not a count.

    Valid for: independent normal results.
    Source: derived.
    Checked by: tests/published/test_run_length_published.py
    """
    p = _beyond(one_number(limit, "limit", above=0.0, at_most=37.0), numbers(shift, "shift"))
    return plain(-np.expm1(whole_count(results, "results") * np.log1p(-p)))


def cusum_arl(*, k: float, h: float, shift: ArrayLike, head_start: float = 0.0, sides: int = 2) -> Any:
    """Average run length of the tabular cumulative sum.

    One side: the integral equation L(u) = 1 + Phi(k - shift - u) L(0) + integral over 0..h of L(y) phi(y - u + k -
    shift), solved at Gauss-Legendre nodes by an elimination without subtraction, so that very long run lengths stay
    right. Two sides: 1/ARL = 1/ARL+ + 1/ARL-, and with a head start the weighted form for sides that cannot signal
    while the other still stands.

    Parameters
    ----------
    k : float [1]
        Slack in standard deviations.
    h : float [1]
        Decision limit in standard deviations, at most 100.
    shift : float or array (n,) [1]
        Shift of the mean in standard deviations.
    head_start : float [1]
        Where the sums begin; at most h/2 for two sides.
    sides : int
        2, or 1 for the upper side alone.

    Returns
    -------
    float or array (n,) [1]
        Results until the signal, this one included; infinite beyond 1e300.

    Raises
    ------
    ImpossibleValue
        When k is negative, h is not in 0..100, the head start is negative or too high, or sides is not 1 or 2.

    Valid for: independent normal results of known sd.
    Source: Page 1954; Kemp 1961; Lucas & Crosier 1982, Technometrics 24:199 (from memory).
    Checked by: tests/published/test_run_length_published.py, tests/unit/core/test_run_length.py
    """
    slack = one_number(k, "k", at_least=0.0)
    limit = one_number(h, "h", above=0.0, at_most=100.0)
    if sides not in (1, 2):
        raise ImpossibleValue(f"{sides} sides", where="sides", remedy="Use 1 or 2")
    start = one_number(head_start, "head_start", at_least=0.0, at_most=limit / 2.0 if sides == 2 else limit)
    shifts = numbers(shift, "shift")
    answers = np.empty(shifts.shape)
    for place in np.ndindex(shifts.shape):
        up = _cusum_side(slack, limit, float(shifts[place]), start)
        if sides == 1:
            answers[place] = up[1]
            continue
        down = _cusum_side(slack, limit, -float(shifts[place]), start)
        answers[place] = _two_sides(up, down)
    return plain(answers)


def ewma_arl(*, weight: float, limit: float, shift: ArrayLike, start: float = 0.0) -> Any:
    """Average run length of the weighted moving average with its steady limits.

    Integral equation L(u) = 1 + 1/w integral over -c..c of L(y) phi((y - (1 - w) u)/w - shift),
    c = limit sqrt(w/(2 - w)), solved like cusum_arl.

    Parameters
    ----------
    weight : float [1]
        Weight w of the newest result, 0.001 to 1.
    limit : float [1]
        Limit in standard deviations of the average, at most 20.
    shift : float or array (n,) [1]
        Shift of the mean in standard deviations of one result.
    start : float [1]
        Average before the first result, from the target in standard deviations of one result.

    Returns
    -------
    float or array (n,) [1]
        Results until the signal, this one included.

    Raises
    ------
    ImpossibleValue
        When the weight is not in 0.001..1, the limit is not in 0..20, or the start is not inside the limits.

    Valid for: independent normal results of known sd; limits that begin narrow signal sooner than this.
    Source: Crowder 1987, Lucas & Saccucci 1990, Technometrics 32:1 (from memory).
    Checked by: tests/published/test_run_length_published.py, tests/unit/core/test_run_length.py
    """
    share = one_number(weight, "weight", at_least=0.001, at_most=1.0)
    width = one_number(limit, "limit", above=0.0, at_most=20.0)
    reach = width * math.sqrt(share / (2.0 - share))
    begin = one_number(start, "start", above=-reach, below=reach)
    shifts = numbers(shift, "shift")
    answers = np.empty(shifts.shape)
    nodes, parts = _nodes(-reach, reach, share)
    for place in np.ndindex(shifts.shape):
        moved = float(shifts[place])
        fall = (nodes[None, :] - (1.0 - share) * nodes[:, None]) / share - moved
        moves = parts * _density(fall) / share
        leave = special.ndtr((-reach - (1.0 - share) * nodes) / share - moved) + special.ndtr(
            moved - (reach - (1.0 - share) * nodes) / share
        )
        lengths = _mean_steps(moves, leave)
        first = parts * _density((nodes - (1.0 - share) * begin) / share - moved) / share
        answers[place] = 1.0 + float(first @ lengths)
    return plain(answers)


def runs_rules_arl(*, rules: tuple[Rule, ...], shift: ArrayLike) -> Any:
    """Average run length of a set of zone rules together, exactly.

    A Markov chain over what still matters of the last scores: for every rule and side, which of them were beyond its
    limit and can still take part in a signal. Warning rules are left out.

    Parameters
    ----------
    rules : tuple of Rule
        Rules of the kinds "same side", "either side" and "within".
    shift : float or array (n,) [1]
        Shift of the mean in standard deviations.

    Returns
    -------
    float or array (n,) [1]
        Results until the signal, this one included.

    Raises
    ------
    ImpossibleValue
        When no rejecting rule is left, a rule has another kind (use simulated_arl), or the chain grows too large.

    Valid for: independent normal results of known sd.
    Source: Champ & Woodall 1987, Technometrics 29:393 (from memory).
    Checked by: tests/published/test_run_length_published.py, tests/unit/core/test_run_length.py
    """
    used = [rule for rule in rules if not rule.warning]
    if not used:
        raise ImpossibleValue("no rule that rejects", where="rules", remedy="Give a rule that is not a warning")
    for rule in used:
        if rule.kind not in ("same side", "either side", "within"):
            raise ImpossibleValue(
                f"rule {rule.name!r} looks at more than zones", where="rules", remedy="Use simulated_arl for this set"
            )
    edges, memories = _zones(used)
    steps = _chain(memories, len(edges) + 1)
    count = len(steps)
    shifts = numbers(shift, "shift")
    answers = np.empty(shifts.shape)
    source = np.repeat(np.arange(count), len(edges) + 1)
    target = np.array(steps).reshape(-1)
    for place in np.ndindex(shifts.shape):
        chance = _zone_chances(edges, float(shifts[place]))
        moves = np.zeros((count, count + 1))
        np.add.at(moves, (source, target), np.tile(chance, count))  # -1, a signal, lands in the last column
        answers[place] = _mean_steps(moves[:, :-1], moves[:, -1].copy())[0]
    return plain(answers)


def simulated_arl(
    *, rules: tuple[Rule, ...], shift: float, seed: int, series: int = 1000, longest: int = 5000
) -> SimulatedRunLength:
    """Average run length of any set of rules by seeded simulation.

    Independent normal scores with the shift from the first one on; each series runs to its first rejection. Batches
    are not simulated: R4s looks at neighbours.

    Parameters
    ----------
    rules : tuple of Rule
        Any rules; warning rules are left out.
    shift : float [1]
        Shift of the mean in standard deviations.
    seed : int
        Seed of the chance numbers.
    series : int
        Number of series.
    longest : int
        Results after which a series is cut off.

    Returns
    -------
    SimulatedRunLength
        .mean, .standard_error, .median [1], .series, .cut_off.

    Raises
    ------
    ImpossibleValue
        When no rejecting rule is left, or a count is not 2 or more.

    Valid for: independent normal results of known sd.
    Source: derived.
    Checked by: tests/unit/core/test_run_length.py
    """
    used = tuple(rule for rule in rules if not rule.warning)
    if not used:
        raise ImpossibleValue("no rule that rejects", where="rules", remedy="Give a rule that is not a warning")
    count = whole_count(series, "series", least=2)
    end = whole_count(longest, "longest", least=2)
    moved = one_number(shift, "shift")
    rng = np.random.default_rng(seed)
    back = max(rule.of for rule in used)
    length = np.full(count, end, dtype=np.int64)
    found = np.zeros(count, dtype=bool)
    alive = np.arange(count)
    kept = np.zeros((count, 0))
    done = 0
    while len(alive) and done < end:
        block = min(256, end - done)
        fresh = rng.standard_normal((len(alive), block)) + moved
        table = np.concatenate((kept, fresh), axis=1)
        hits = apply_rules(
            table.ravel(), rules=used, series=np.repeat(np.arange(len(alive)), table.shape[1])
        ).rejected.reshape(table.shape)[:, kept.shape[1] :]
        hit = hits.any(axis=1)
        length[alive[hit]] = done + hits[hit].argmax(axis=1) + 1
        found[alive[hit]] = True
        alive = alive[~hit]
        kept = table[~hit][:, -back:]
        done += block
    mean = float(length.mean())
    error = float(length.std(ddof=1)) / math.sqrt(count)
    return SimulatedRunLength(mean, error, float(np.median(length)), count, int((~found).sum()))


def siegmund_arl(*, k: float, h: float, shift: float) -> float:
    """Quick approximation of the two-sided cumulative sum's run length.

    One side: (exp(-2 D b) + 2 D b - 1)/(2 D^2), D = shift - k, b = h + 1.166; b^2 when D is 0.

    Parameters
    ----------
    k : float [1]
        Slack in standard deviations.
    h : float [1]
        Decision limit in standard deviations.
    shift : float [1]
        Shift of the mean in standard deviations.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When k is negative or h is not more than 0.

    Valid for: a check of cusum_arl within a few percent.
    Source: Siegmund 1985, in Montgomery, Introduction to Statistical Quality Control, ch. 9 (from memory).
    Checked by: tests/published/test_run_length_published.py
    """
    slack, reach = one_number(k, "k", at_least=0.0), one_number(h, "h", above=0.0) + 1.166
    moved = one_number(shift, "shift")

    def side(drift: float) -> float:
        if abs(drift) * reach < 1e-4:
            return reach**2
        power = -2.0 * drift * reach
        return math.inf if power > 700.0 else (math.expm1(power) - power) / (2.0 * drift**2)

    return 1.0 / (1.0 / side(moved - slack) + 1.0 / side(-moved - slack))


def _beyond(limit: float, shift: Floats) -> Floats:
    return special.ndtr(shift - limit) + special.ndtr(-limit - shift)


def _density(x: Floats) -> Floats:
    return np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)


def _nodes(low: float, high: float, scale: float) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes, enough for a bell of this width moving over the interval."""
    count = 48 + math.ceil(10.0 * (high - low) / scale)
    if count > MOST_NODES:
        raise ImpossibleValue(
            "limits this wide for so small a weight are beyond this calculation", where="limit", remedy="Narrow them"
        )
    x, part = special.roots_legendre(count)
    return (low + high) / 2.0 + (high - low) / 2.0 * x, (high - low) / 2.0 * part


def _cusum_side(k: float, h: float, shift: float, start: float) -> tuple[float, float]:
    """Run length of one side from zero and from its head start."""
    nodes, parts = _nodes(0.0, h, 1.0)
    state = np.concatenate(([0.0], nodes))  # zero is a place of its own: a sum falls onto it with real chance
    moves = np.empty((len(state), len(state)))
    moves[:, 0] = special.ndtr(k - shift - state)
    moves[:, 1:] = parts * _density(nodes[None, :] - state[:, None] + k - shift)
    leave = special.ndtr(state + shift - k - h)
    lengths = _mean_steps(moves, leave)
    if start == 0.0:
        return float(lengths[0]), float(lengths[0])
    first = special.ndtr(k - shift - start) * lengths[0]
    return float(lengths[0]), 1.0 + float(first + (parts * _density(nodes - start + k - shift)) @ lengths[1:])


def _two_sides(up: tuple[float, float], down: tuple[float, float]) -> float:
    """Lucas & Crosier: (H+ L- + H- L+ - L+ L-)/(L+ + L-), H from the head start; written so that nothing overflows."""
    if math.isinf(up[0]) and math.isinf(down[0]):
        return math.inf
    if up[0] > down[0]:
        up, down = down, up
    ratio = up[0] / down[0]
    return (up[1] + ratio * down[1] - up[0]) / (1.0 + ratio) if math.isfinite(down[0]) else up[1]


def _mean_steps(moves: Floats, leave: Floats) -> Floats:
    """Mean number of steps before leaving, from every state, by elimination without subtraction.

    What a state keeps to itself is never used: leaving and moving on say the same, and so 1 - (almost 1) is never
    formed. See Grassmann, Taksar & Heyman 1985.
    """
    moves, leave = moves.copy(), leave.copy()
    count = len(leave)
    cost = np.ones(count)
    out = np.empty(count)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for last in range(count - 1, 0, -1):
            out[last] = leave[last] + moves[last, :last].sum()
            share = moves[:last, last] / out[last]
            moves[:last, :last] += np.outer(share, moves[last, :last])
            leave[:last] += share * leave[last]
            cost[:last] += share * cost[last]
        out[0] = leave[0]
        lengths = np.empty(count)
        for state in range(count):
            lengths[state] = (cost[state] + moves[state, :state] @ lengths[:state]) / out[state]
    return lengths


def _zones(rules: list[Rule]) -> tuple[list[float], list[tuple[int, int, np.ndarray]]]:
    """Edges between zones, and for each rule and side (count, of, which zones count)."""
    edges = sorted({turn * rule.limit for rule in rules for turn in (-1.0, 1.0)})
    middle = np.array([edges[0] - 1.0, *((a + b) / 2.0 for a, b in pairwise(edges)), edges[-1] + 1.0])
    memories = []
    for rule in rules:
        if rule.kind == "same side":
            memories.append((rule.count, rule.of, middle > rule.limit))
            memories.append((rule.count, rule.of, middle < -rule.limit))
        else:
            inside = np.abs(middle) < rule.limit
            memories.append((rule.count, rule.of, inside if rule.kind == "within" else ~inside))
    return edges, memories


def _chain(memories: list[tuple[int, int, np.ndarray]], zones: int) -> list[list[int]]:
    """For each state the next state by zone; -1 is a signal. State 0 remembers nothing."""
    start = (0,) * len(memories)
    known = {start: 0}
    queue = [start]
    steps: list[list[int]] = []
    for state in queue:
        row = []
        for zone in range(zones):
            new = []
            for bits, (count, of, counts) in zip(state, memories, strict=True):
                seen = ((bits << 1) | int(counts[zone])) & ((1 << of) - 1)
                if seen.bit_count() >= count:
                    break
                new.append(_still_of_use(seen, count, of))
            if len(new) < len(memories):
                row.append(-1)
                continue
            key = tuple(new)
            if key not in known:
                known[key] = len(known)
                queue.append(key)
                if len(known) > 4000:
                    raise ImpossibleValue(
                        "these rules together remember too much", where="rules", remedy="Use simulated_arl for this set"
                    )
            row.append(known[key])
        steps.append(row)
    return steps


def _still_of_use(bits: int, count: int, of: int) -> int:
    """The bits that can still be part of a signal: the oldest goes when even all to come would not be enough with it."""
    kept = bits & ((1 << (of - 1)) - 1)  # the oldest of a full window falls out with the next score
    while kept:
        age = kept.bit_length()  # 1 is the newest
        if kept.bit_count() + (of - age) >= count:
            return kept
        kept &= ~(1 << (age - 1))
    return 0


def _zone_chances(edges: list[float], shift: float) -> Floats:
    """Chance of each zone, from whichever tail is the smaller so that small ones stay right."""
    at = np.array([-np.inf, *edges, np.inf]) - shift
    low, high = at[:-1], at[1:]
    return np.where(low > 0.0, stats.norm.sf(low) - stats.norm.sf(high), special.ndtr(high) - special.ndtr(low))
