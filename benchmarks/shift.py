"""A shift of 200 pieces on 3 saws: seconds to plan it, and how far above the bound the plan lies."""

from __future__ import annotations

from time import perf_counter, process_time

import numpy as np

from benchmarks.figures import Figure, in_child
from trayside.core.shift_plan import Piece, Saw, plan_shift

GOAL_GAP, GOAL_S = 5.0, 20.0
YARDS = ((2, False), (3, True), (6, False), (12, True), (25, False), (60, True))
SAWS = tuple(Saw(f"saw {at}", blade_left_m2=left, blade_new_m2=30.0) for at, left in enumerate((2.0, 6.0, 9.0)))


def measure(*, small: bool) -> list[Figure]:
    count, yards = (60, YARDS[3:5]) if small else (200, YARDS)
    found = [(holes, scattered, in_child(_plan, count, holes, scattered)[0]) for holes, scattered in yards]
    figures = []
    for holes, scattered, (_, _, gap, first_come) in found:
        note = f"{holes} holes, grades {'scattered' if scattered else 'in stretches'}; first come is {first_come:.0f} % dearer"
        figures.append(
            Figure("shift", "cost above the bound", 100 * gap, "%", None if small else GOAL_GAP, note)
        )
    seconds, cpu_s = max(one[2][0] for one in found), max(one[2][1] for one in found)
    note = f"{count} pieces on 3 saws; {cpu_s:.1f} s of processor time on one core"
    figures.append(Figure("shift", "plan a shift, the slowest of these", seconds, "s", None if small else GOAL_S, note))
    return figures


def _plan(count: int, holes: int, scattered: bool) -> tuple[float, float, float, float]:
    pieces = _shift(count, holes, scattered)
    begun, begun_cpu = perf_counter(), process_time()
    plan = plan_shift(pieces=pieces, saws=SAWS)
    seconds, cpu_s = perf_counter() - begun, process_time() - begun_cpu
    dearer = 100 * (plan.first_come.cost_min / plan.figures.cost_min - 1)
    return seconds, cpu_s, plan.figures.cost_min / plan.bound_min - 1, dearer


def _shift(count: int, holes: int, scattered: bool) -> list[Piece]:
    """Pieces as they arrive, holes mixed; rock, grade and priority in stretches, or scattered piece by piece."""
    chance = np.random.default_rng(1)
    hole = np.sort(chance.integers(0, holes, count))
    metres = np.round(chance.uniform(0.5, 1.5, count), 2)
    stretch = 1 if scattered else 10
    rate = np.repeat(chance.choice([4.0, 6.0, 8.0, 11.0], -(-count // stretch)), stretch)[:count]
    grade = np.repeat(chance.choice([0, 1, 2], -(-count // stretch), p=[0.6, 0.3, 0.1]), stretch)[:count]
    urgent = chance.choice([1.0, 2.0, 4.0], count, p=[0.7, 0.2, 0.1])
    urgent = urgent if scattered else urgent[:holes][hole]
    lorry = {int(one): 240.0 for one in chance.choice(holes, max(1, holes // 6), replace=False)}
    return [
        Piece(
            f"piece {at}", f"hole {hole[at]}", float(metres[at] * rate[at]), float(metres[at]), int(grade[at]),
            float(metres[at] * 0.0556), float(urgent[at]), lorry.get(int(hole[at])),
        )
        for at in chance.permutation(count)
    ]  # fmt: skip
