"""No plan can cost less than this: a lower bound on the cost of a shift plan.

The saws are joined in thought to one fast saw on which work can be broken off at will. Three things are kept of the real
rules: every piece takes its least minutes and its least wash; every hole that is not already laid out is laid out once
before its first piece; a piece is cut by one saw, so it ends half its own length after the middle of its work.

What is left is one machine with weights and out-trees of depth one (laying out a hole comes before its pieces), which a
rule of composite jobs solves exactly: a hole goes in front with as many of its best pieces as raise its ratio of weight to
work. Deadlines come in through multipliers: for any share y between 0 and the late weight,

    late weight x max(0, end - due)  >=  y x (end - due)

so that every choice of y gives a bound; a subgradient search looks for a good one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trayside.core.refusals import Floats
from trayside.core.shift_routes import Task

ROUNDS = 400


@dataclass(frozen=True, slots=True)
class _Relaxed:
    """The one fast saw: work per piece and per hole, its speed, when it starts, least time at a saw."""

    work: Floats
    opening: Floats  # by hole number
    hole: np.ndarray
    start_min: float
    minutes_per_work: float
    least_minutes: Floats


def lower_bound(task: Task, *, cost: float) -> tuple[float, list[int]]:
    """The bound, and the order of the pieces on the one fast saw, which is a good start for a search.

    `cost` is that of any plan; it sets the step of the search for multipliers, never the bound itself.
    """
    relaxed = _relax(task)
    weight, due = np.array(task.weight), np.array(task.due_min)
    late = np.where(np.isfinite(due), np.array(task.late_weight), 0.0)
    due = np.where(np.isfinite(due), due, 0.0)
    share = np.zeros_like(late)
    best, best_order, stale, pace = -math.inf, [], 0, 1.0
    for _ in range(ROUNDS if late.any() else 1):
        end, order = _one_saw(relaxed, weight + share)
        bound = float(np.dot(weight + share, end) - np.dot(share, due))
        if bound > best:
            best, best_order, stale = bound, order, 0
        else:
            stale += 1
            if stale == 12:
                pace, stale = pace / 2.0, 0
        slope = np.where(late > 0.0, end - due, 0.0)
        slope = np.where((share <= 0.0) & (slope < 0.0) | (share >= late) & (slope > 0.0), 0.0, slope)
        size = float(np.dot(slope, slope))
        if size == 0.0 or pace < 1e-3:
            break
        share = np.clip(share + pace * max(cost - bound, 1e-9 * abs(cost)) / size * slope, 0.0, late)
    best += task.finish_weight * _least_finish(task, relaxed)
    # Sums of some hundred terms: give the rounding to the safe side.
    return best - 1e-9 * abs(best), best_order


def _least_finish(task: Task, relaxed: _Relaxed) -> float:
    """No plan is done before this: all work and the blade changes it needs, shared evenly by all saws."""
    speed = 1.0 / np.array(task.pace)
    short = math.fsum(task.area_m2) - math.fsum(task.blade_left_m2)
    changes = math.ceil(short / max(task.blade_new_m2) - 1e-9) if short > 0.0 else 0
    total = float(relaxed.work.sum() + relaxed.opening.sum()) + changes * task.blade_change_min * float(speed.min())
    start, per_work = _straight_clock(np.array(task.ready_min), speed, total)
    return max(start + per_work * total, start + float(relaxed.least_minutes.max()))


def _relax(task: Task) -> _Relaxed:
    """Least work of everything, in minutes of a saw of pace one; the speed of all saws together."""
    speed = 1.0 / np.array(task.pace)
    minutes = np.array(task.minutes)
    wash = min(task.wash_min, task.wash_down_min, task.hole_change_min)
    least_pace = np.array([min(task.pace[saw] for saw in saws) for saws in task.allowed])
    opening = np.full(max(task.hole) + 1, max(0.0, task.hole_change_min - wash) * speed.min())
    laid_out = [hole for hole in task.first_hole if 0 <= hole < len(opening)]
    opening[laid_out] = 0.0
    work = minutes + wash * speed.min()
    start, per_work = _straight_clock(np.array(task.ready_min), speed, float(work.sum() + opening.sum()))
    return _Relaxed(work, opening, np.array(task.hole), start, per_work, minutes * least_pace + wash)


def _straight_clock(ready: Floats, speed: Floats, total: float) -> tuple[float, float]:
    """Start and minutes per unit of work of a straight line that the joint clock of all saws never runs ahead of.

    Saws join as they become ready, so the clock over the work done is concave: its chord lies below it.
    """
    order = np.argsort(ready, kind="stable")
    done, rate, clock = 0.0, 0.0, float(ready[order[0]])
    end = None
    for place, saw in enumerate(order):
        step = (float(ready[saw]) - clock) * rate
        if rate > 0.0 and done + step >= total:
            end = clock + (total - done) / rate
            break
        done, clock = done + step, float(ready[saw])
        rate += float(speed[saw])
    if end is None:
        end = clock + (total - done) / rate
    begin = float(ready[order[0]])
    return begin, (end - begin) / total if total > 0.0 else 0.0


def _one_saw(relaxed: _Relaxed, weight: Floats) -> tuple[Floats, list[int]]:
    """Ends (at least) of every piece on the one fast saw in the best order, and that order."""
    ratio = weight / relaxed.work
    by_ratio = np.lexsort((-ratio, relaxed.hole))
    blocks: list[tuple[float, int, list[int], float]] = []  # minus ratio, first piece, pieces, opening work
    edges = np.flatnonzero(np.diff(relaxed.hole[by_ratio])) + 1
    for family in np.split(by_ratio, edges):
        pieces = family.tolist()
        opening = float(relaxed.opening[relaxed.hole[pieces[0]]])
        heap, work, taken = 0.0, opening, 0
        if opening > 0.0:
            while taken < len(pieces) and (heap <= 0.0 or ratio[pieces[taken]] > heap / work):
                heap += float(weight[pieces[taken]])
                work += float(relaxed.work[pieces[taken]])
                taken += 1
            blocks.append((-heap / work, pieces[0], pieces[:taken], opening))
        blocks += [(-float(ratio[piece]), piece, [piece], 0.0) for piece in pieces[taken:]]
    blocks.sort(key=lambda block: block[:2])
    order = [piece for block in blocks for piece in block[2]]
    before = np.array([block[3] if place == 0 else 0.0 for block in blocks for place in range(len(block[2]))])
    middle_work = np.cumsum(before + relaxed.work[order]) - relaxed.work[order] / 2.0
    end = np.empty(len(order))
    middle = relaxed.start_min + relaxed.minutes_per_work * middle_work
    end[order] = middle + relaxed.least_minutes[order] / 2.0
    return end, order
