"""Loading a yard folder and checking it, against polars parsing the same CSV files and plain sqlite3 inserting the same rows.

The baseline checks nothing, converts nothing and keeps no keys: it is the least that any loader on these libraries costs.
"""

from __future__ import annotations

import sqlite3
import tempfile
from itertools import pairwise
from pathlib import Path
from time import perf_counter

import polars

from benchmarks.figures import Figure, in_child
from benchmarks.stores import big_folder
from trayside.app.load_yard import load_yard
from trayside.bootstrap import open_store
from trayside.files.yard_folder import read_yard_folder

GOAL_RATIO = 4.0
STEPS = ("read and validate", "compare", "store and commit", "check and commit")


def measure(*, small: bool) -> list[Figure]:
    holes, metres, rounds = (50, 300.0, 2) if small else (1000, 300.0, 4)
    with tempfile.TemporaryDirectory() as room:
        (plain, ours, parts, again, rows), memory_mb = in_child(_rounds, Path(room), holes, metres, rounds)
    checks = parts[STEPS[-1]]
    said = f"{holes:,} holes of {metres:g} m, {rows:,} rows, best of {rounds}"
    return [
        Figure("load", "parse with polars and insert with sqlite3", plain, "s", note=said),
        Figure("load", "load the yard folder", ours - checks, "s", note="read, validate, compare, store, commit"),
        Figure("load", "load / parse and insert", (ours - checks) / plain, "x", GOAL_RATIO),
        Figure("load", "check all holes after it", checks, "s", note="every check on every hole, stored"),
        Figure("load", "load and check / parse and insert", ours / plain, "x"),
        *(Figure("load", f"of it: {part} / parse and insert", seconds / plain, "x") for part, seconds in parts.items()),
        Figure("load", "load the same folder again", again, "s", note="nothing changes"),
        Figure("load", "peak memory", memory_mb, "MB"),
    ]


def _rounds(room: Path, holes: int, metres: float, rounds: int):
    """Best seconds of the baseline and of ours, taken in turns; the parts of our best round; a second load; the rows."""
    folder = big_folder(room, holes=holes, metres=metres)
    plain, best, again = [], (float("inf"), {}), []
    for turn in range(rounds):
        seconds, rows = _parse_and_insert(folder, room / f"plain-{turn}.sqlite")
        plain.append(seconds)
        start_work = open_store(str(room / f"ours-{turn}.sqlite"))
        best = min(best, _load(folder, start_work), key=lambda taken: taken[0])
        again.append(_load(folder, start_work)[0])
    return min(plain), *best, min(again), rows


def _load(folder: Path, start_work) -> tuple[float, dict[str, float]]:
    """Seconds of one load, and of its steps as the progress bar shows them."""
    begun: list[float] = []
    load_yard(
        folder,
        read_folder=read_yard_folder,
        start_work=start_work,
        progress=lambda done, of, what: begun.append(perf_counter()),
    )
    parts = {step: later - at for step, (at, later) in zip(STEPS, pairwise(begun), strict=True)}
    return begun[-1] - begun[0], parts


def _parse_and_insert(folder: Path, file: Path) -> tuple[float, int]:
    begun, rows = perf_counter(), 0
    connection = sqlite3.connect(file)
    for path in sorted(folder.glob("*.csv")):
        frame = polars.read_csv(path)
        connection.execute(f"CREATE TABLE {path.stem} ({', '.join(frame.columns)})")
        places = ", ".join("?" * frame.width)
        connection.executemany(f"INSERT INTO {path.stem} VALUES ({places})", frame.rows())
        rows += frame.height
    connection.commit()
    connection.close()
    return perf_counter() - begun, rows
