"""A small invented yard on a real SQLite store: tables as lists of rows that a test may spoil before it loads them."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from trayside.app.edit_sheet import Edit, save_edit
from trayside.app.hole_view import HoleView, view_hole
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import LoadReport, load_yard
from trayside.app.plan_samples import PlannedHole, plan_samples
from trayside.files.yard_folder import read_yard_folder
from trayside.model.cut_sheet import Revision, Sheet
from trayside.store.connection import engine_for, open_store
from trayside.store.work import SqlWork

START = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
RULES = """
yard = "Test yard"
[controls]
standard_every = 10
blank_every = 10
duplicate_every = 10
[mass]
minimum_kg = 0.2
"""


def small_yard() -> dict[str, list[dict]]:
    """A-1: 30 m, ten metres of ore between hard contacts. C-7: 12 m of ore. All core is there."""
    depths = {"A-1": 30, "C-7": 12}
    collar = {"east_m": 0, "north_m": 0, "elevation_m": 0, "azimuth_deg": 90, "dip_deg": -60}
    return {
        "holes": [{"hole_id": hole, **collar, "total_depth_m": depth} for hole, depth in depths.items()],
        "runs": [
            {
                "hole_id": hole,
                "run": run + 1,
                "from_m": 3 * run,
                "to_m": 3 * run + 3,
                "recovered_m": 3,
                "core_size": "NQ",
            }
            for hole, depth in depths.items()
            for run in range(depth // 3)
        ],
        "trays": [
            {"hole_id": hole, "tray": tray + 1, "from_m": 6 * tray, "to_m": 6 * tray + 6, "rows": 6, "row_length_m": 1}
            for hole, depth in depths.items()
            for tray in range(depth // 6)
        ],
        "rock": [
            {"hole_id": hole, "from_m": top, "to_m": bottom, "rock": rock, "condition": "intact", "grade_class": grade}
            | {"contact": "hard", "sampling": "", "caution": "", "vein": ""}
            for hole, top, bottom, rock, grade in (
                ("A-1", 0, 10, "GRD", "barren"),
                ("A-1", 10, 20, "QZV", "medium"),
                ("A-1", 20, 30, "GRD", "barren"),
                ("C-7", 0, 12, "GRD", "low"),
            )
        ],
        "losses": [],
        "density": [],
        "rock_codes": [
            {"rock": "GRD", "name": "granodiorite", "density_t_m3": 2.7, "density_sd_t_m3": 0.05},
            {"rock": "QZV", "name": "quartz vein", "density_t_m3": 2.6, "density_sd_t_m3": 0.04},
        ],
        "materials": [
            {"material": "STD-A", "kind": "standard", "in_stock": 50, "mass_g": 60, "grade_g_t": 0.4},
            {"material": "STD-B", "kind": "standard", "in_stock": 50, "mass_g": 60, "grade_g_t": 1.6},
            {"material": "BLK", "kind": "coarse blank", "in_stock": 80, "mass_g": 1500, "grade_g_t": ""},
        ],
        "tickets": [
            {"book": "one", "prefix": "K", "first": 101, "last": 200, "digits": 4, "hole_id": "", "voids": ""},
        ],
    }


class Yard:
    """The small yard, its folder and its store, with the use cases as one-liners."""

    def __init__(self, folder: Path, engine, *, first_id: int = 1) -> None:
        self.folder, self.engine = folder, engine
        self.tables, self.rules = small_yard(), RULES
        self._ids, self._ticks = count(first_id), count()

    def start_work(self, *, writing: bool = True) -> SqlWork:
        return SqlWork(self.engine, writing=writing)

    def make_id(self) -> str:
        return f"sheet-{next(self._ids)}"

    def clock(self) -> datetime:
        return START + timedelta(minutes=next(self._ticks))

    def rows(self, table: str, hole_id: str) -> list[dict]:
        return [row for row in self.tables[table] if row["hole_id"] == hole_id]

    def write(self) -> Path:
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        if self.rules is not None:
            (self.folder / "rules.toml").write_text(self.rules, encoding="utf-8")
        for name, rows in self.tables.items():
            if rows:
                columns = list(dict.fromkeys(column for row in rows for column in row))
                with (self.folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
                    writer = csv.DictWriter(file, columns)
                    writer.writeheader()
                    writer.writerows(rows)
        return self.folder

    def load(self) -> LoadReport:
        return load_yard(self.write(), read_folder=read_yard_folder, start_work=self.start_work)

    def plan(self, hole_id: str = "A-1") -> PlannedHole:
        return plan_samples(hole_id, start_work=self.start_work, make_id=self.make_id)

    def edit(self, *edits: Edit, hole_id: str = "A-1", base_version: int | None = None) -> PlannedHole:
        if base_version is None:
            base_version = self.sheet(hole_id).version
        return save_edit(
            hole_id,
            edits=edits,
            base_version=base_version,
            edited_by="Ada",
            start_work=self.start_work,
            make_id=self.make_id,
        )

    def issue(self, hole_id: str = "A-1", *, version: int | None = None, by: str = "Ada", **more) -> Revision:
        if version is None:
            version = self.sheet(hole_id).version
        return issue_cut_sheet(
            hole_id, version=version, issued_by=by, start_work=self.start_work, clock=self.clock, **more
        )

    def view(self, hole_id: str = "A-1") -> HoleView:
        with self.start_work(writing=False) as work:
            return view_hole(work, hole_id)

    def sheet(self, hole_id: str = "A-1") -> Sheet:
        return self.view(hole_id).sheet

    def row_counts(self) -> dict[str, int]:
        with self.engine.connect() as connection:
            names = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'table'").scalars().all()
            return {name: connection.exec_driver_sql(f'SELECT count(*) FROM "{name}"').scalar_one() for name in names}

    def number_states(self) -> dict[str, str]:
        with self.engine.connect() as connection:
            return dict(connection.exec_driver_sql("SELECT number, state FROM sample_numbers").all())


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("store") / "yard.sqlite"
    open_store(path).dispose()
    return path


@pytest.fixture
def yard(tmp_path, empty_store):
    """The small yard, not yet loaded."""
    path = shutil.copy(empty_store, tmp_path / "yard.sqlite")
    engine = engine_for(path)
    yield Yard(tmp_path / "folder", engine)
    engine.dispose()


@pytest.fixture(scope="session")
def planned_store(tmp_path_factory, empty_store) -> Path:
    folder = tmp_path_factory.mktemp("planned")
    path = Path(shutil.copy(empty_store, folder / "yard.sqlite"))
    engine = engine_for(path)
    yard = Yard(folder / "folder", engine)
    yard.load()
    yard.plan()
    engine.dispose()
    return path


@pytest.fixture
def planned(tmp_path, planned_store):
    """The small yard with A-1 planned."""
    engine = engine_for(shutil.copy(planned_store, tmp_path / "yard.sqlite"))
    yield Yard(tmp_path / "folder", engine, first_id=2)
    engine.dispose()


@pytest.fixture
def codes() -> Callable[..., list[str]]:
    return lambda findings: [finding.code for finding in findings]
