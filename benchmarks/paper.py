"""A cut sheet of 40 rows as a PDF, after the first one has warmed the typesetter up.

Every sheet measured is of another hole: the typesetter remembers what it has set, and would answer a second asking
for the same sheet from memory.
"""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from statistics import median
from time import perf_counter

from benchmarks.figures import Figure, in_child
from benchmarks.stores import big_folder, planned_store
from trayside.app.hole_view import HoleView, view_hole
from trayside.bootstrap import papers

GOAL_S = 0.5
ROWS = 40


def measure(*, small: bool) -> list[Figure]:
    (first, others), _ = in_child(_papers, 3 if small else 12)
    return [
        Figure("paper", "first cut sheet", first, "s", note="loads fonts and template"),
        Figure("paper", f"cut sheet of {ROWS} rows", median(others), "s", GOAL_S, f"median of {len(others)} holes"),
        Figure("paper", "slowest of them", max(others), "s"),
    ]


def _papers(holes: int) -> tuple[float, list[float]]:
    """Seconds of the first sheet, and of each one after it."""
    with tempfile.TemporaryDirectory() as room:
        folder = big_folder(Path(room), holes=holes + 1, metres=60.0)
        start_work, hole_ids = planned_store(folder, Path(room) / "yard.sqlite")
        with start_work(writing=False) as work:
            views = [_with_rows(view_hole(work, hole_id)) for hole_id in hole_ids]
    made = papers()
    seconds = []
    for view in views:
        begun = perf_counter()
        made.cut_sheet(view, None)
        seconds.append(perf_counter() - begun)
    return seconds[0], seconds[1:]


def _with_rows(view: HoleView) -> HoleView:
    """The hole with the first rows of its sheet; holes of 60 m have a few more than are measured."""
    if len(view.sheet.rows) < ROWS:
        raise ValueError(f"{view.hole_id} has {len(view.sheet.rows)} rows, {ROWS} are to be measured")
    return replace(view, sheet=replace(view.sheet, rows=view.sheet.rows[:ROWS]))
