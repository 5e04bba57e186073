"""One saw's queue played through minute by minute: what a plan costs, and the search for a cheaper one.

A queue is a list of piece numbers. Playing it gives the end of every piece and its cost:

    cost = finish weight x end of the last piece
           + sum over pieces of   weight x end   +   late weight x minutes after the lorry's deadline

The search is simulated annealing on the queues with seeded chance: move a piece or a run of pieces, swap two, exchange
the tails of two queues. It promises nothing by itself; `shift_bound` says how far from the best its answer can be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

LAST_HEAT = 0.001  # of the first


@dataclass(frozen=True, slots=True)
class Task:
    """The whole job in plain lists: pieces by number, saws by number, holes by number."""

    minutes: tuple[float, ...]
    hole: tuple[int, ...]
    grade: tuple[int, ...]
    area_m2: tuple[float, ...]
    weight: tuple[float, ...]  # cost of each minute until the piece is done
    due_min: tuple[float, ...]  # infinite without a deadline
    late_weight: tuple[float, ...]
    allowed: tuple[frozenset[int], ...]  # saws that may take the piece
    ready_min: tuple[float, ...]
    pace: tuple[float, ...]
    first_hole: tuple[int, ...]  # hole laid out at the saw now; -1 when none is
    first_grade: tuple[int, ...]
    blade_left_m2: tuple[float, ...]
    blade_new_m2: tuple[float, ...]
    wash_min: float
    wash_down_min: float
    hole_change_min: float
    blade_change_min: float
    finish_weight: float  # cost of each minute until the last saw is done


@dataclass(frozen=True, slots=True)
class Step:
    """One piece as played: what was done before it, its start and end."""

    piece: int
    falling: bool  # washed longer because the grade falls
    wash_min: float
    hole_change_min: float
    blade_change_min: float
    start_min: float
    end_min: float


def play(task: Task, saw: int, queue: Sequence[int]) -> list[Step]:
    """Every step of one saw's queue, in order. The same arithmetic as `_after`, written out for people."""
    clock, hole, grade = task.ready_min[saw], task.first_hole[saw], task.first_grade[saw]
    left, steps = task.blade_left_m2[saw], []
    for piece in queue:
        change = blade = wash = 0.0
        falling = task.hole[piece] == hole and task.grade[piece] < grade
        if task.hole[piece] != hole:
            change = task.hole_change_min
        else:
            wash = task.wash_down_min if falling else task.wash_min
        if task.area_m2[piece] > left:
            blade, left = task.blade_change_min, task.blade_new_m2[saw]
        left -= task.area_m2[piece]
        start = clock + change + wash + blade
        clock = start + task.minutes[piece] * task.pace[saw]
        steps.append(Step(piece, falling, wash, change, blade, start, clock))
        hole, grade = task.hole[piece], task.grade[piece]
    return steps


def piece_cost(task: Task, piece: int, end_min: float) -> float:
    """Cost of one piece that ends at this minute."""
    return task.weight[piece] * end_min + task.late_weight[piece] * max(0.0, end_min - task.due_min[piece])


def plan_cost(task: Task, queues: Sequence[Sequence[int]]) -> float:
    """Cost of all queues together."""
    steps = [step for saw, queue in enumerate(queues) for step in play(task, saw, queue)]
    finish = max((step.end_min for step in steps), default=0.0)
    return task.finish_weight * finish + math.fsum(piece_cost(task, step.piece, step.end_min) for step in steps)


def in_turn(task: Task, order: Sequence[int]) -> list[list[int]]:
    """First come, first served: each piece in this order goes to the allowed saw that is free first."""
    queues: list[list[int]] = [[] for _ in task.ready_min]
    free = list(task.ready_min)
    for piece in order:
        saw = min(task.allowed[piece], key=lambda one: (free[one], one))
        queues[saw].append(piece)
        free[saw] = play(task, saw, queues[saw])[-1].end_min
    return queues


def hole_by_hole(task: Task, holes: Sequence[int]) -> list[list[int]]:
    """Whole holes in this order, each to the saw that ends it first; within a hole low grades first."""
    members: dict[int, list[int]] = {hole: [] for hole in holes}
    for piece, hole in enumerate(task.hole):
        members[hole].append(piece)
    queues: list[list[int]] = [[] for _ in task.ready_min]
    for pieces in members.values():
        pieces.sort(key=lambda piece: (task.grade[piece], -task.weight[piece] / max(task.minutes[piece], 1e-9), piece))
        together = frozenset.intersection(*(task.allowed[piece] for piece in pieces))
        for part in [pieces] if together else [[piece] for piece in pieces]:
            saws = together or task.allowed[part[0]]
            would_end = {saw: play(task, saw, queues[saw] + part)[-1].end_min for saw in sorted(saws)}
            saw = min(would_end, key=would_end.__getitem__)
            queues[saw] += part
    return queues


def cheapest_of_all(task: Task, start: Sequence[Sequence[int]]) -> list[list[int]]:
    """The cheapest queues there are, by trying every one that is not dearer already: for a handful of pieces."""
    best, best_cost = [list(queue) for queue in start], plan_cost(task, start)
    queues: list[list[int]] = [[] for _ in task.ready_min]

    def fill(saw: int, state: State, left: frozenset[int], cost: float, finish: float) -> None:
        nonlocal best, best_cost
        if cost + task.finish_weight * finish >= best_cost:
            return
        if not left:
            best, best_cost = [list(queue) for queue in queues], cost + task.finish_weight * finish
            return
        for piece in sorted(left):
            after = _after(task, saw, (piece,), state)
            if math.isfinite(after[4]):
                queues[saw].append(piece)
                fill(saw, after, left - {piece}, cost + after[4] - state[4], max(finish, after[0]))
                queues[saw].pop()
        if saw + 1 < len(queues):
            fill(saw + 1, _states(task, saw + 1, (), 0, None)[0], left, cost, finish)

    fill(0, _states(task, 0, (), 0, None)[0], frozenset(range(len(task.minutes))), 0.0, 0.0)
    return best


def search(
    task: Task,
    start: Sequence[Sequence[int]],
    *,
    moves: int,
    seed: int,
    bound: float,
    near: float,
    first_heat: float,
    enough: Callable[[], bool] = lambda: False,
) -> list[list[int]]:
    """The cheapest queues met; stops early once the cost is within `near` (a fraction) of the bound.

    `first_heat` is how much worse a move may be at first, in mean costs of a piece. `enough` is asked every few thousand
    moves whether to stop.
    """
    queues = [list(queue) for queue in start]
    count = len(task.minutes)
    states = [_states(task, saw, queue, 0, None) for saw, queue in enumerate(queues)]
    costs = [state[-1][4] for state in states]
    ends = [state[-1][0] if queue else 0.0 for state, queue in zip(states, queues, strict=True)]
    total = best_cost = sum(costs) + task.finish_weight * max(ends)
    best = [list(queue) for queue in queues]
    if count < 2 or best_cost <= bound * (1.0 + near):
        return best
    where = {piece: saw for saw, queue in enumerate(queues) for piece in queue}
    mates: dict[int, list[int]] = {}
    for piece, hole in enumerate(task.hole):
        mates.setdefault(hole, []).append(piece)

    chance = np.random.default_rng(seed)
    heat = first_heat * best_cost / count
    cooling = LAST_HEAT ** (1.0 / max(1, moves))
    draws = iter(())
    for _ in range(moves):
        heat *= cooling
        draw = next(draws, None)
        if draw is None:
            if enough():
                break
            draws = iter(chance.random((4096, 6)).tolist())
            draw = next(draws)
        kind, pick, other, side, length, luck = draw
        piece = int(pick * count)
        if kind < 0.5:  # beside a piece of the same hole
            family = mates[task.hole[piece]]
            mate = family[int(other * len(family))]
        else:
            mate = int(other * count)
        a, b = where[piece], where[mate]
        if kind < 0.75:
            change = _run_move(task.hole, queues, a, b, piece, mate, side, length)
        elif kind < 0.82:
            change = _swap_move(queues, a, b, piece, mate)
        elif kind < 0.9:
            change = _runs_move(task.hole, queues, a, b, piece, mate)
        else:
            change = _tail_move(queues, a, b, piece, mate, side)
        if change is None:
            continue
        new_costs, new_ends = list(costs), list(ends)
        for saw, queue, first in change:
            new_end, _, _, _, new_costs[saw] = _after(task, saw, queue[first:], states[saw][first])
            new_ends[saw] = new_end if queue else 0.0
        gain = sum(new_costs) + task.finish_weight * max(new_ends) - total
        if not math.isfinite(gain) or (gain > 0.0 and luck >= math.exp(-min(gain / heat, 700.0))):
            continue
        costs, ends = new_costs, new_ends
        for saw, queue, first in change:
            queues[saw] = queue
            states[saw][first + 1 :] = _states(task, saw, queue, first, states[saw][first])[1:]
            for moved in queue[first:]:
                where[moved] = saw
        total += gain
        if total < best_cost * (1.0 - 1e-12):
            best_cost = total
            best = [list(queue) for queue in queues]
            if best_cost <= bound * (1.0 + near):
                break
    return best


Changes = list[tuple[int, list[int], int]] | None  # saw, its new queue, first place that differs


def _run_move(
    hole: Sequence[int], queues: list[list[int]], a: int, b: int, piece: int, mate: int, side: float, length: float
) -> Changes:
    """Take a piece, or a run of pieces of one hole, out of one queue and put it beside the mate."""
    queue = queues[a]
    i = queue.index(piece)
    run = 1
    if length < 0.6:
        first, last = _same_hole(hole, queue, i)
        if length < 0.2:
            i, run = first, last - first
        elif length < 0.4:
            run = 1 + int((length - 0.2) * 5.0 * (last - i))
        else:
            run = 1 + int((length - 0.4) * 5.0 * (i - first + 1))
            i -= run - 1
    part, rest = queue[i : i + run], queue[:i] + queue[i + run :]
    if mate in part:  # no place beside itself: the end of some queue instead
        b = int(side * len(queues))
        if a == b:
            return [(a, rest + part, i)] if rest[i:] else None
        return [(a, rest, i), (b, queues[b] + part, len(queues[b]))]
    if a == b:
        j = rest.index(mate) + (side < 0.5)
        return [(a, rest[:j] + part + rest[j:], min(i, j))] if i != j else None
    j = queues[b].index(mate) + (side < 0.5)
    return [(a, rest, i), (b, queues[b][:j] + part + queues[b][j:], j)]


def _same_hole(hole: Sequence[int], queue: list[int], i: int) -> tuple[int, int]:
    """First place, and place behind the last, of the run of pieces of one hole around place i."""
    here, first, last = hole[queue[i]], i, i + 1
    while first > 0 and hole[queue[first - 1]] == here:
        first -= 1
    while last < len(queue) and hole[queue[last]] == here:
        last += 1
    return first, last


def _runs_move(hole: Sequence[int], queues: list[list[int]], a: int, b: int, piece: int, mate: int) -> Changes:
    """Exchange two whole runs, each of one hole."""
    i, i_end = _same_hole(hole, queues[a], queues[a].index(piece))
    j, j_end = _same_hole(hole, queues[b], queues[b].index(mate))
    if a != b:
        first, second = queues[a], queues[b]
        return [
            (a, first[:i] + second[j:j_end] + first[i_end:], i),
            (b, second[:j] + first[i:i_end] + second[j_end:], j),
        ]
    if i == j:
        return None
    if j < i:
        i, i_end, j, j_end = j, j_end, i, i_end
    queue = queues[a]
    return [(a, queue[:i] + queue[j:j_end] + queue[i_end:j] + queue[i:i_end] + queue[j_end:], i)]


def _swap_move(queues: list[list[int]], a: int, b: int, piece: int, mate: int) -> Changes:
    """Exchange two pieces."""
    if piece == mate:
        return None
    i, j = queues[a].index(piece), queues[b].index(mate)
    first = list(queues[a])
    if a == b:
        first[i], first[j] = mate, piece
        return [(a, first, min(i, j))]
    second = list(queues[b])
    first[i], second[j] = mate, piece
    return [(a, first, i), (b, second, j)]


def _tail_move(queues: list[list[int]], a: int, b: int, piece: int, mate: int, side: float) -> Changes:
    """Exchange everything behind two places of two queues."""
    if a == b:
        b = int(side * len(queues))
        if a == b:
            return None
        mate = -1
    i = queues[a].index(piece)
    j = len(queues[b]) if mate < 0 else queues[b].index(mate)
    return [(a, queues[a][:i] + queues[b][j:], i), (b, queues[b][:j] + queues[a][i:], j)]


State = tuple[float, int, int, float, float]  # clock, hole, grade, blade left, cost so far


def _states(task: Task, saw: int, queue: Sequence[int], first: int, state: State | None) -> list[State]:
    """State before the first place, and after each piece from there on."""
    if state is None:
        state = (
            task.ready_min[saw], task.first_hole[saw], task.first_grade[saw], task.blade_left_m2[saw], 0.0
        )  # fmt: skip
    found = [state]
    for place in range(first, len(queue)):
        state = _after(task, saw, queue[place : place + 1], state)
        found.append(state)
    return found


def _after(task: Task, saw: int, pieces: Sequence[int], state: State) -> State:
    clock, hole, grade, left, cost = state
    minutes, holes, grades, areas = task.minutes, task.hole, task.grade, task.area_m2
    weights, due, late, allowed = task.weight, task.due_min, task.late_weight, task.allowed
    pace, wash, down, change = task.pace[saw], task.wash_min, task.wash_down_min, task.hole_change_min
    for piece in pieces:
        if saw not in allowed[piece]:
            return clock, hole, grade, left, math.inf
        if holes[piece] != hole:
            hole = holes[piece]
            clock += change
        elif grades[piece] < grade:
            clock += down
        else:
            clock += wash
        grade = grades[piece]
        area = areas[piece]
        if area > left:
            clock += task.blade_change_min
            left = task.blade_new_m2[saw]
        left -= area
        clock += minutes[piece] * pace
        cost += weights[piece] * clock
        if clock > due[piece]:
            cost += late[piece] * (clock - due[piece])
    return clock, hole, grade, left, cost
