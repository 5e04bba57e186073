"""A second lower bound on the cost of a shift plan, strong where few holes hold many pieces.

Every piece gets a prize, and each saw alone looks for its cheapest way through the shift: any pieces that it may take, in
any order, a piece more than once if it pays, each for its prize. Whatever the prizes, the prizes of all pieces once, plus
the cheapest ways of all saws, cannot be more than the cost of any plan (Lagrange duality). A way pays every wash, falling
grade and change of hole between its pieces; blade changes are left out. Times are cut down to a grid, so that the way is
counted too cheap rather than too dear; behind the grid each piece still comes at most once. Prizes are improved by
subgradient steps.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trayside.core.refusals import Floats
from trayside.core.shift_routes import Task

MOST_CELLS, MOST_NUMBERS, MOST_BLOCKS = 4_000, 2_500_000, 1_500
PATIENCE = 5  # rounds without a better bound before the steps are shortened
FAR = 1e12
RISING, FALLING, OTHER_HOLE = range(3)


@dataclass(frozen=True, slots=True)
class _Pieces:
    """Pieces in order of their state, which is hole and grade together."""

    order: np.ndarray
    hole: np.ndarray
    grade: np.ndarray
    state: np.ndarray
    weight: Floats
    late: Floats
    due: Floats
    minutes: Floats
    held: np.ndarray  # states that have pieces
    first: np.ndarray  # first piece of each of them


@dataclass(frozen=True, slots=True)
class _Grid:
    """What a saw of one pace pays for each piece, begun in each cell."""

    begin_min: float
    cell_min: float
    cells: int
    length: np.ndarray  # (3, n) in cells
    arc: Floats  # (3, n, cells) cost of a piece begun at each cell, without its prize
    beyond: Floats  # (n,) least cost behind the grid


def path_bound(
    task: Task,
    *,
    cost: float,
    finish_min: float,
    worth: Floats,
    rounds: int,
    enough: Callable[[], bool] = lambda: False,
) -> float:
    """The bound; `worth` is a first guess at the prizes. Minus infinity when the shift does not fit on the grid.

    `enough` is asked before every round; the best bound until then is given.
    """
    grades = sorted(set(task.grade))
    pieces = _in_states(task, grades)
    grids = {pace: _grid(task, pieces, pace, finish_min) for pace in sorted(set(task.pace))}
    alike = _alike(task, pieces)
    if None in grids.values():
        return -math.inf
    share = task.finish_weight / len(task.ready_min)
    prize = worth[pieces.order].astype(float)
    best, best_prize, stale, step = -math.inf, prize, 0, 0.02 * abs(cost)
    for _ in range(rounds):
        if enough():
            break
        used = np.zeros(len(prize))
        total = float(prize.sum())
        for saws, may in alike:
            grid, reachable = grids[task.pace[saws[0]]], np.where(may, prize, -FAR)
            value = _to_the_end(grid, pieces, reachable, share, len(grades))
            for saw in saws:
                total += _way(task, saw, grid, pieces, reachable, share, value, grades, used)
        if total > best:
            best, best_prize, stale = total, prize, 0
        else:
            stale += 1
            if stale == PATIENCE:
                step, stale, prize = step * 0.6, 0, best_prize
        slope = 1.0 - used
        size = float(np.dot(slope, slope))
        if size == 0.0 or best >= cost or step < 1e-6 * abs(cost):
            break
        prize = prize + (best + step - total) / size * slope
    # The rounding of some thousand terms goes to the safe side.
    return best - 1e-9 * abs(best)


def _alike(task: Task, pieces: _Pieces) -> list[tuple[list[int], np.ndarray]]:
    """Saws of one pace that may take the same pieces, and which these are: one look back from the end serves them all."""
    found: dict[tuple[float, bytes], tuple[list[int], np.ndarray]] = {}
    for saw, pace in enumerate(task.pace):
        may = np.array([saw in task.allowed[piece] for piece in pieces.order])
        found.setdefault((pace, may.tobytes()), ([], may))[0].append(saw)
    return list(found.values())


def _in_states(task: Task, grades: list[int]) -> _Pieces:
    hole = np.array(task.hole)
    grade = np.array([grades.index(one) for one in task.grade])
    order = np.argsort(hole * len(grades) + grade, kind="stable")
    state = (hole * len(grades) + grade)[order]
    held, first = np.unique(state, return_index=True)
    return _Pieces(
        order, hole[order], grade[order], state, np.array(task.weight)[order], np.array(task.late_weight)[order],
        np.array(task.due_min)[order], np.array(task.minutes)[order], held, first,
    )  # fmt: skip


def _grid(task: Task, pieces: _Pieces, pace: float, finish_min: float) -> _Grid | None:
    washes = np.array([task.wash_min, task.wash_down_min, task.hole_change_min])
    minutes = pieces.minutes * pace
    takes = washes[:, None] + minutes[None, :]
    begin = min(task.ready_min)
    horizon = max(1.15 * (finish_min - begin), 1.0)
    cells = min(MOST_CELLS, MOST_NUMBERS // (3 * len(minutes)))
    cell = min(horizon / max(cells, 1), float(takes.min()))
    if horizon / cell > MOST_CELLS + 1 or horizon / float(takes.min()) > MOST_BLOCKS:
        return None
    cells = math.ceil(horizon / cell)
    length = np.maximum(np.floor(takes / cell).astype(np.int64), 1)
    if np.any(length * cell > takes * (1.0 + 1e-12)):
        return None
    share = task.finish_weight / len(task.ready_min)
    end = begin + np.arange(cells)[None, None, :] * cell + takes[:, :, None]
    # What the grid cuts off costs at least the saw's share of the finish.
    arc = _piece_cost(pieces, end) + share * (takes - length * cell)[:, :, None]
    beyond = _piece_cost(pieces, np.full((1, len(minutes), 1), begin + cells * cell))[0, :, 0]
    return _Grid(begin, cell, cells, length, arc, beyond + share * (minutes + washes.min()))


def _piece_cost(pieces: _Pieces, end: Floats) -> Floats:
    due = np.where(np.isfinite(pieces.due), pieces.due, 0.0)[:, None]
    late = np.where(np.isfinite(pieces.due), pieces.late, 0.0)[:, None]
    return pieces.weight[:, None] * end + late * np.maximum(0.0, end - due)


def _to_the_end(grid: _Grid, pieces: _Pieces, prize: Floats, share: float, grades: int) -> Floats:
    """Least cost from every state (row) and cell to the end of the shift, worked from the end in blocks of cells."""
    holes = int(pieces.hole.max()) + 1
    width = grid.cells + int(grid.length.max()) + 1
    value = np.empty((holes * grades, width))
    stop = share * (grid.begin_min + np.arange(width) * grid.cell_min)
    value[:, grid.cells :] = stop[grid.cells :] + np.minimum(0.0, grid.beyond - prize).sum()
    flat, base = value.reshape(-1), pieces.state[None, :] * width + grid.length
    block = int(grid.length.min())
    for until in range(grid.cells, 0, -block):
        span = np.arange(max(0, until - block), until)
        cost = flat[base[:, :, None] + span]
        cost += grid.arc[:, :, span[0] : until]
        cost -= prize[None, :, None]
        least = np.full((3, holes * grades, len(span)), FAR)
        least[:, pieces.held] = np.minimum.reduceat(cost, pieces.first, axis=1)
        rising, falling, other = least.reshape(3, holes, grades, len(span))
        onward = np.minimum.accumulate(rising[:, ::-1], axis=1)[:, ::-1]
        if grades > 1:
            onward[:, 1:] = np.minimum(onward[:, 1:], np.minimum.accumulate(falling, axis=1)[:, :-1])
        if holes > 1:
            by_hole = other.min(axis=1)
            two = np.partition(by_hole, 1, axis=0)[:2]
            elsewhere = np.where(by_hole == two[0], two[1], two[0])
            onward = np.minimum(onward, elsewhere[:, None, :])
        value[:, span[0] : until] = np.minimum(onward, stop[span[0] : until]).reshape(holes * grades, len(span))
    return value


def _way(
    task: Task, saw: int, grid: _Grid, pieces: _Pieces, prize: Floats, share: float, value: Floats, grades: list[int],
    used: Floats,
) -> float:  # fmt: skip
    """Cost of the saw's cheapest way; the pieces on it are added to `used`."""
    flat, width = value.reshape(-1), value.shape[1]
    base = pieces.state[None, :] * width + grid.length
    hole, grade = task.first_hole[saw], sum(one < task.first_grade[saw] for one in grades)
    at = math.floor((task.ready_min[saw] - grid.begin_min) / grid.cell_min)
    everyone, worth = np.arange(len(prize)), None
    while True:
        if at >= grid.cells:
            if worth is None:
                beyond = np.minimum(0.0, grid.beyond - prize)
                worth = min(0.0, share * task.ready_min[saw] + float(beyond.sum()))
            used += grid.beyond < prize
            return worth
        kind = np.where(pieces.hole != hole, OTHER_HOLE, np.where(pieces.grade < grade, FALLING, RISING))
        cost = flat[base[kind, everyone] + at] + grid.arc[kind, everyone, at] - prize
        piece = int(cost.argmin())
        stop = 0.0 if worth is None else share * (grid.begin_min + at * grid.cell_min)
        if worth is None:
            worth = min(stop, float(cost[piece]))
        if cost[piece] >= stop:
            return worth
        used[piece] += 1
        at += int(grid.length[kind[piece], piece])
        hole, grade = int(pieces.hole[piece]), int(pieces.grade[piece])
