"""Planning every hole of a yard: seconds, memory, and whether twice the metres take twice the time."""

from __future__ import annotations

import tempfile
from pathlib import Path
from time import perf_counter, process_time

from benchmarks.figures import Figure, in_child
from benchmarks.stores import big_folder, loaded_store
from trayside.app.plan_samples import plan_yard
from trayside.bootstrap import make_id

GOAL_S, GOAL_TWICE, GOAL_MB = 300.0, 2.2, 1500.0


def measure(*, small: bool) -> list[Figure]:
    whole, half, rounds = (40, 10, 3) if small else (1000, 250, 2)
    (seconds, _, bags), memory_mb = in_child(_plan, whole, 300.0)
    base, more, shallow = _best_cpu_s(((half, 300.0), (2 * half, 300.0), (half, 150.0)), rounds)
    goal = None if small else GOAL_S
    return [
        Figure("plan", "plan every hole", seconds, "s", goal, f"{whole:,} holes of 300 m, by the clock on the wall"),
        Figure("plan", "bags planned", bags, ""),
        Figure("plan", "one bag", 1000 * seconds / bags, "ms"),
        Figure("plan", "peak memory, load and plan", memory_mb, "MB", GOAL_MB),
        Figure(
            "plan", "twice the holes", more / base, "x", GOAL_TWICE, _said(more, base, f"{2 * half} holes / {half}")
        ),
        Figure("plan", "holes twice as deep", base / shallow, "x", GOAL_TWICE, _said(base, shallow, "300 m / 150 m")),
    ]


def _said(more_s: float, less_s: float, what: str) -> str:
    return f"{what}: {more_s:.1f} s / {less_s:.1f} s of processor time"


def _best_cpu_s(yards: tuple[tuple[int, float], ...], rounds: int) -> list[float]:
    """Least processor seconds to plan each yard, the yards taken in turns.

    Processor time, because on a busy machine the wall clock tells more of the neighbours than of the yard.
    """
    turns = [[in_child(_plan, *yard)[0][1] for yard in yards] for _ in range(rounds)]
    return [min(of_yard) for of_yard in zip(*turns, strict=True)]


def _plan(holes: int, metres: float) -> tuple[float, float, int]:
    """Seconds by the wall and of the processor to plan a fresh yard, and the bags planned."""
    with tempfile.TemporaryDirectory() as room:
        folder = big_folder(Path(room), holes=holes, metres=metres)
        start_work = loaded_store(folder, Path(room) / "yard.sqlite")
        begun, begun_cpu = perf_counter(), process_time()
        planned = plan_yard(start_work=start_work, make_id=make_id)
        seconds, cpu_s = perf_counter() - begun, process_time() - begun_cpu
    return seconds, cpu_s, sum(len(plan.sheet.rows) for plan in planned.values())
