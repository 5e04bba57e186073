"""Stores to measure on, filled through the real reader and the real transaction."""

from __future__ import annotations

from pathlib import Path

from benchmarks.big_yard import write_big_yard
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import plan_yard
from trayside.app.ports import StartWork
from trayside.bootstrap import make_id, open_store
from trayside.errors import RefusedByRule
from trayside.files.yard_folder import read_yard_folder

DEMO_YARD = Path(__file__).resolve().parents[1] / "demo" / "vellin_ridge"


def big_folder(room: Path, *, holes: int, metres: float) -> Path:
    """A generated yard folder inside `room`."""
    return write_big_yard(room / f"yard-{holes}-{metres:g}", holes=holes, metres=metres)


def loaded_store(folder: Path, file: Path) -> StartWork:
    """A new store at `file` that holds the folder."""
    start_work = open_store(str(file))
    load_yard(folder, read_folder=read_yard_folder, start_work=start_work)
    return start_work


def planned_store(folder: Path, file: Path) -> tuple[StartWork, tuple[str, ...]]:
    """A new store with a plan for every hole that can be planned, and the names of those holes."""
    start_work = loaded_store(folder, file)
    planned = plan_yard(start_work=start_work, make_id=make_id)
    return start_work, tuple(hole for hole, plan in planned.items() if not isinstance(plan, RefusedByRule))
