"""No plan can cost less than this: a lower bound on the cost of a shift plan.

Put a price on every minute of saw time and let each hole be planned alone, paying for the minutes it takes. Whatever the
prices, the holes' cheapest costs together, less the price of all the saw time there is, cannot be more than the cost of
any plan (Lagrange duality). A hole has two ways:

    one visit      laid out once, all pieces one behind the other on one saw
    more visits    laid out at least twice, the first time before any of its pieces; each piece then goes where it likes

Both are counted too low rather than too high: least minutes, least wash, no falling grades. Prices are improved by
subgradient steps. The minute of the last saw is paid for through the work: all saws together hold all of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trayside.core.refusals import Floats
from trayside.core.shift_routes import Task

CELLS = 160  # of price over the time of the plan
ROUNDS = 500


@dataclass(frozen=True, slots=True)
class _Starts:
    """Possible starts of some jobs (rows, rising), where start and end lie among the cells, cost of the job itself."""

    start: Floats
    end: Floats
    start_cell: np.ndarray
    end_cell: np.ndarray
    cost: Floats  # straight from start to start
    late: Floats  # rising, of any shape from start to start; 0 where lateness is in the cost


@dataclass(frozen=True, slots=True)
class Bound:
    """The bound, and about when each hole would like to start (a good order to begin a search with)."""

    cost: float
    hole_start_min: Floats
    piece_worth: Floats
    """Least cost of each piece alone at the best prices."""


def lower_bound(task: Task, *, cost: float, finish_min: float) -> Bound:
    """The bound and the order of holes. `cost` and `finish_min` of any plan guide the prices, never the bound."""
    first = min(task.ready_min)
    least = _least_finish(task)
    edges = np.linspace(first, max(finish_min, least, first + 1.0), CELLS + 1)
    width = edges[1] - edges[0]
    capacity = np.sum([np.clip(edges[1:] - ready, 0.0, width) for ready in task.ready_min], axis=0)
    # A saw that is ready only after the others may be done does not share the finish: then it is paid for apart.
    shared = max(task.ready_min) <= least
    work_price = task.finish_weight / len(task.ready_min) if shared else 0.0
    fixed = (
        work_price * (math.fsum(task.ready_min) + _blade_changes(task) * task.blade_change_min)
        if shared
        else task.finish_weight * least
    )
    holes = max(task.hole) + 1
    hole = np.array(task.hole)
    by_hole = np.argsort(hole, kind="stable")
    opening = _openings(task, holes)
    whole = _whole_holes(task, opening, edges, work_price)
    single = _single_pieces(task, opening, edges, work_price, by_hole)
    firsts = np.flatnonzero(np.diff(hole[by_hole], prepend=-1))
    steps = max(1, math.ceil(float(opening.max()) / width) + 1)
    # Place of the last start at or before (opening done when begun at each edge), for every piece.
    after = edges[None, :-1] + opening[hole[by_hole]][:, None]
    place = np.maximum(
        [np.searchsorted(row, wanted, side="right") - 1 for row, wanted in zip(single.start, after, strict=True)], 0
    )
    laid_out = np.bincount([one for one in task.first_hole if 0 <= one < holes], minlength=holes)
    extra = work_price * (opening + np.where(laid_out > 1, 0.0, _change(task)))

    price = _first_prices(task, edges)
    best, best_start, best_worth, stale, pace = -math.inf, np.zeros(holes), np.zeros(len(hole)), 0, 1.0
    for _ in range(ROUNDS):
        total = np.concatenate(([0.0], np.cumsum(price * width)))
        one = whole.cost + _spent(whole, edges, price, total)
        # Lateness between two starts is at least that of the earlier one.
        one[:, :-1] = np.minimum(one[:, :-1], one[:, 1:])
        one += whole.late
        one_at = one.argmin(axis=1)
        one_cost = one[np.arange(holes), one_at]
        free = single.cost + _spent(single, edges, price, total)
        later = np.minimum.accumulate(free[:, ::-1], axis=1)[:, ::-1]
        low = np.min(np.lib.stride_tricks.sliding_window_view(np.append(price, np.zeros(steps)), steps + 1), axis=1)
        many = np.add.reduceat(np.take_along_axis(later, place, axis=1), firsts, axis=0)
        many += opening[:, None] * low[None, :CELLS] + extra[:, None]
        many_at = many.argmin(axis=1)
        many_cost = many[np.arange(holes), many_at]
        bound = float(np.minimum(one_cost, many_cost).sum() - np.dot(price, capacity)) + fixed
        if bound > best:
            best, stale = bound, 0
            best_worth[by_hole] = free.min(axis=1)
            best_start = np.where(one_cost <= many_cost, whole.start[np.arange(holes), one_at], edges[many_at])
        else:
            stale += 1
            if stale == 15:
                pace, stale = pace * 0.6, 0
        in_one = one_cost <= many_cost
        begin, end = [whole.start[in_one, one_at[in_one]]], [whole.end[in_one, one_at[in_one]]]
        loose = np.flatnonzero(~in_one[hole[by_hole]])
        allowed = np.arange(free.shape[1]) >= place[loose, many_at[hole[by_hole][loose]]][:, None]
        at = np.where(allowed, free[loose], np.inf).argmin(axis=1)
        begin += [single.start[loose, at], edges[many_at[~in_one]]]
        end += [single.end[loose, at], edges[many_at[~in_one]] + opening[~in_one]]
        slope = _minutes_used(np.concatenate(begin), np.concatenate(end), edges) - capacity
        slope = np.where((price <= 0.0) & (slope < 0.0), 0.0, slope)
        size = float(np.dot(slope, slope))
        if size < 1e-12 or pace < 1e-3:
            break
        price = np.maximum(0.0, price + pace * max(cost - bound, 1e-6 * abs(cost)) / size * slope)
    # The rounding of some thousand terms goes to the safe side.
    return Bound(float(best - 1e-9 * abs(best)), best_start, best_worth)


def _change(task: Task) -> float:
    """What laying out a hole takes beyond the least wash, which is counted with every piece."""
    return max(0.0, task.hole_change_min - _least_wash(task))


def _least_wash(task: Task) -> float:
    return min(task.wash_min, task.wash_down_min, task.hole_change_min)


def _openings(task: Task, holes: int) -> Floats:
    """Minutes of the first laying out of each hole: none where it is laid out already."""
    opening = np.full(holes, _change(task))
    opening[[hole for hole in task.first_hole if 0 <= hole < holes]] = 0.0
    return opening


def _blade_changes(task: Task) -> int:
    """Blade changes that no plan can do without."""
    short = math.fsum(task.area_m2) - math.fsum(task.blade_left_m2)
    return max(0, math.ceil(short / max(task.blade_new_m2) - 1e-9)) if short > 0.0 else 0


def _least_minutes(task: Task) -> Floats:
    """Least minutes of each piece with its wash, on the quickest saw that may take it."""
    pace = [min(task.pace[saw] for saw in saws) for saws in task.allowed]
    return np.array(task.minutes) * np.array(pace) + _least_wash(task)


def _least_finish(task: Task) -> float:
    """No plan is done before this: all work shared evenly by the saws as they become ready."""
    minutes = _least_minutes(task)
    work = (
        float(minutes.sum() + _openings(task, max(task.hole) + 1).sum()) + _blade_changes(task) * task.blade_change_min
    )
    ready = np.sort(task.ready_min)
    finish = [(work + ready[:count].sum()) / count for count in range(1, len(ready) + 1)]
    return max(min(finish), float(ready[0] + minutes.max()))


def _first_prices(task: Task, edges: Floats) -> Floats:
    """Prices that would be right if every piece could go anywhere: weight to work, best first, summed from the end."""
    minutes, weight = _least_minutes(task), np.array(task.weight)
    ratio = weight / minutes
    order = np.argsort(-ratio, kind="stable")
    ends = edges[0] + np.cumsum(minutes[order]) / len(task.ready_min)
    middle = (edges[:-1] + edges[1:]) / 2.0
    at = np.searchsorted(ends, middle)
    rate = np.where(at < len(order), ratio[order][np.minimum(at, len(order) - 1)], 0.0)
    return np.cumsum((rate * np.diff(edges))[::-1])[::-1]


def _starts(length: Floats, earliest: Floats, dues: Floats, edges: Floats) -> tuple[Floats, Floats]:
    """Starts at which a piecewise straight cost can be least: start or end on an edge, or the end on a deadline."""
    start = np.concatenate(
        (np.broadcast_to(edges, (len(length), len(edges))), edges[None, :] - length[:, None], dues - length[:, None]),
        axis=1,
    )
    start = np.sort(np.maximum(start, earliest[:, None]), axis=1)
    return start, start + length[:, None]


def _placed(start: Floats, end: Floats, cost: Floats, late: Floats, edges: Floats) -> _Starts:
    width = edges[1] - edges[0]
    cells = [np.clip(((side - edges[0]) / width).astype(np.int64), 0, CELLS) for side in (start, end)]
    return _Starts(start, end, *cells, cost, late)


def _spent(jobs: _Starts, edges: Floats, price: Floats, total: Floats) -> Floats:
    """What the time from start to end costs at these prices; beyond the last edge time is free."""
    rate = np.append(price, 0.0)
    at_end = total[jobs.end_cell] + rate[jobs.end_cell] * (jobs.end - edges[jobs.end_cell])
    return at_end - total[jobs.start_cell] - rate[jobs.start_cell] * (jobs.start - edges[jobs.start_cell])


def _minutes_used(begin: Floats, end: Floats, edges: Floats) -> Floats:
    """Saw minutes taken in each cell."""
    until = np.clip(edges[None, :] - begin[:, None], 0.0, (end - begin)[:, None]).sum(axis=0)
    return np.diff(until)


def _single_pieces(task: Task, opening: Floats, edges: Floats, work_price: float, order: np.ndarray) -> _Starts:
    length = _least_minutes(task)[order]
    due = np.array(task.due_min)[order]
    weight, late = np.array(task.weight)[order], np.array(task.late_weight)[order]
    earliest = edges[0] + opening[np.array(task.hole)[order]]
    start, end = _starts(length, earliest, np.where(np.isfinite(due), due, edges[0])[:, None], edges)
    cost = weight[:, None] * end + late[:, None] * np.maximum(0.0, end - due[:, None]) + work_price * length[:, None]
    return _placed(start, end, cost, np.zeros_like(cost), edges)


def _whole_holes(task: Task, opening: Floats, edges: Floats, work_price: float) -> _Starts:
    minutes = _least_minutes(task)
    weight, late, due = np.array(task.weight), np.array(task.late_weight), np.array(task.due_min)
    members = [np.flatnonzero(np.array(task.hole) == hole) for hole in range(len(opening))]
    length = np.array([opening[hole] + minutes[pieces].sum() for hole, pieces in enumerate(members)])
    latest = np.array([due[pieces][np.isfinite(due[pieces])].max(initial=edges[0]) for pieces in members])
    start, end = _starts(length, np.full(len(length), edges[0]), latest[:, None], edges)
    cost, lateness = np.empty_like(start), np.empty_like(start)
    for hole, pieces in enumerate(members):
        order = pieces[np.argsort(-weight[pieces] / minutes[pieces], kind="stable")]
        ends = opening[hole] + np.cumsum(minutes[order])
        cost[hole] = weight[order].sum() * start[hole] + np.dot(weight[order], ends) + work_price * length[hole]
        begin = start[hole] + opening[hole]
        lateness[hole] = _late_in_one_visit(pieces, begin, minutes, late, due, float(latest[hole]))
    return _placed(start, end, cost, lateness, edges)


def _late_in_one_visit(
    pieces: np.ndarray, start: Floats, minutes: Floats, late: Floats, due: Floats, latest: float
) -> Floats:
    """Least lateness of pieces cut one behind the other from each start, all held against the latest deadline.

    A piece is late by no less than the mean lateness of its own minutes; those are best in order of late weight to
    minutes, because lateness rises with time.
    """
    rate = np.where(np.isfinite(due[pieces]), late[pieces], 0.0) / minutes[pieces]
    order = np.argsort(-rate, kind="stable")
    ends = start[:, None] + np.cumsum(minutes[pieces][order])[None, :]
    begins = ends - minutes[pieces][order][None, :]
    over_end, over_begin = np.maximum(0.0, ends - latest), np.maximum(0.0, begins - latest)
    return ((over_end**2 - over_begin**2) / 2.0) @ rate[order]
