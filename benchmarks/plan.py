"""Planning every hole of a yard: seconds, memory, and whether twice the metres take twice the time."""

from __future__ import annotations

import tempfile
from pathlib import Path
from time import perf_counter

from benchmarks.figures import Figure, in_child
from benchmarks.stores import big_folder, loaded_store
from trayside.app.plan_samples import plan_yard
from trayside.bootstrap import make_id

GOAL_S, GOAL_TWICE, GOAL_MB = 300.0, 2.2, 1500.0


def measure(*, small: bool) -> list[Figure]:
    whole, half, rounds = (40, 10, 2) if small else (1000, 250, 2)
    (seconds, bags), memory_mb = in_child(_plan, whole, 300.0)
    base = _best(half, 300.0, rounds)
    holes_twice = _best(2 * half, 300.0, rounds) / base
    metres_twice = base / _best(half, 150.0, rounds)
    return [
        Figure("plan", "plan every hole", seconds, "s", None if small else GOAL_S, f"{whole:,} holes of 300 m"),
        Figure("plan", "bags planned", bags, ""),
        Figure("plan", "one bag", 1000 * seconds / bags, "ms"),
        Figure("plan", "peak memory, load and plan", memory_mb, "MB", GOAL_MB),
        Figure("plan", "twice the holes", holes_twice, "x", GOAL_TWICE, f"{2 * half} holes / {half}, 300 m each"),
        Figure("plan", "holes twice as deep", metres_twice, "x", GOAL_TWICE, f"{half} holes, 300 m / 150 m each"),
    ]


def _best(holes: int, metres: float, rounds: int) -> float:
    return min(in_child(_plan, holes, metres)[0][0] for _ in range(rounds))


def _plan(holes: int, metres: float) -> tuple[float, int]:
    """Seconds to plan a fresh yard, and the bags planned."""
    with tempfile.TemporaryDirectory() as room:
        folder = big_folder(Path(room), holes=holes, metres=metres)
        start_work = loaded_store(folder, Path(room) / "yard.sqlite")
        begun = perf_counter()
        planned = plan_yard(start_work=start_work, make_id=make_id)
        seconds = perf_counter() - begun
    return seconds, sum(len(plan.sheet.rows) for plan in planned.values())
