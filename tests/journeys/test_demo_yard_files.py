"""The demo yard on disk: written again byte for byte, the sizes it promises, columns as the tables say."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
import tomllib
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

from trayside.files.yard_folder import read_yard_folder
from trayside.model.finding_kinds import BY_CODE
from trayside.model.rules import Rules
from trayside.model.tables import BY_NAME

ROOT = Path(__file__).resolve().parents[2]
YARD = ROOT / "demo" / "vellin_ridge"
TABLES = sorted(path.stem for path in YARD.glob("*.csv"))
EXPECTED = json.loads((YARD / "expected-findings.json").read_text(encoding="utf-8"))


def rows(table: str) -> list[dict[str, str]]:
    with (YARD / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def written_again(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("again")
    script = ROOT / "demo" / "generate_vellin_ridge.py"
    subprocess.run([sys.executable, str(script), str(folder)], check=True, timeout=60)
    return folder


def test_the_script_writes_the_committed_files_byte_for_byte(written_again):
    made = {path.name: path.read_bytes() for path in written_again.iterdir()}
    kept = {path.name: path.read_bytes() for path in YARD.iterdir() if path.name != "datapackage.json"}
    assert made.keys() == kept.keys()
    assert [name for name in made if made[name] != kept[name]] == []


def test_another_seed_would_write_other_core(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "demo"))
    from vellin_recipe import rock_log, shapes, sites

    before = rock_log.rock_log(sites.SITES[0])
    monkeypatch.setattr(shapes, "SEED", shapes.SEED + 1)
    assert rock_log.rock_log(sites.SITES[0]) != before


def test_eight_holes_of_1660_m_in_about_335_trays():
    depths = {row["hole_id"]: float(row["total_depth_m"]) for row in rows("holes")}
    assert len(depths) == 8
    assert sum(depths.values()) == pytest.approx(1660.0)
    assert (min(depths.values()), max(depths.values())) == (142.0, 310.0)
    assert 325 <= len(rows("trays")) <= 345
    sections = sorted({float(row["north_m"]) // 40 for row in rows("holes")})
    assert len(sections) == 3


@pytest.mark.parametrize("table", TABLES)
def test_the_columns_are_those_of_the_schema(table):
    header = (YARD / f"{table}.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
    described = BY_NAME[table].columns
    allowed = {name for column in described for name in column.headers}
    assert set(header) <= allowed
    assert len(set(header)) == len(header)
    for column in described:
        if column.required:
            assert set(column.headers) & set(header), column.name
    for column in described:
        if column.required and column.name in header:
            assert all(row[column.name] != "" for row in rows(table)), column.name


def test_every_table_but_the_shipped_core_sizes_is_there():
    assert set(TABLES) == set(BY_NAME) - {"core_sizes"}


def test_the_folder_is_read_without_a_fault():
    folder = read_yard_folder(YARD)
    assert {name: folder.tables[name].height for name in TABLES} == {name: len(rows(name)) for name in TABLES}
    assert folder.tables["holes"]["total_depth_mm"].sum() == 1_660_000


def test_the_rules_are_valid_and_name_the_yard():
    rules = Rules(**tomllib.loads((YARD / "rules.toml").read_text(encoding="utf-8")))
    assert rules.yard == "Vellin Ridge"
    known = {grade_class.name for grade_class in rules.grade_classes}
    assert {row["grade_class"] for row in rows("rock")} == known


def test_every_row_belongs_to_a_hole_and_a_rock_that_are_there():
    holes = {row["hole_id"] for row in rows("holes")}
    codes = {row["rock"] for row in rows("rock_codes")}
    for table in (one for one in TABLES if BY_NAME[one].of_hole and one != "holes"):
        assert {row["hole_id"] for row in rows(table)} <= holes, table
    assert {row["rock"] for row in rows("rock")} <= codes


def test_expected_findings_are_of_known_kinds_with_their_severity():
    assert EXPECTED
    for row in EXPECTED:
        assert row["severity"] == BY_CODE[row["code"]].severity, row
        assert row["stage"] in ("load", "plan")
        assert (row["from_mm"] is None) == (row["to_mm"] is None)
        if row["from_mm"] is not None:
            assert row["from_mm"] <= row["to_mm"]
            assert row["hole_id"] in {hole["hole_id"] for hole in rows("holes")}


def test_each_group_of_faults_is_planted_and_the_bench_faults_are_not():
    groups = Counter(row["fault"][0] for row in EXPECTED if row["fault"] != "natural")
    assert set(groups) >= {"D", "T", "I", "O", "G", "N", "S"}
    assert "A" not in groups


def test_at_least_four_holes_can_be_planned_among_them_the_one_with_the_turning_line():
    stopped = {row["hole_id"] for row in EXPECTED if row["severity"] == "stop"}
    free = {row["hole_id"] for row in rows("holes")} - stopped
    assert len(free) >= 4
    assert {row["hole_id"] for row in EXPECTED if row["code"] == "orientation.drift"} <= free


def test_the_main_hole_has_gold_a_loss_and_a_tail_of_smaller_core():
    sizes = [row["core_size"] for row in rows("runs") if row["hole_id"] == "VR-01"]
    assert sizes == sorted(sizes, reverse=True)
    assert set(sizes) == {"NQ", "BQ"}
    gold = [row for row in rows("rock") if row["hole_id"] == "VR-01" and row["grade_class"] == "visible"]
    assert len(gold) >= 3
    assert all(row["caution"] and row["vein"] == "yes" for row in gold)
    assert any(row["hole_id"] == "VR-01" and float(row["lost_m"]) >= 0.3 for row in rows("losses"))


def test_the_planted_numbers_stand_in_the_tables():
    """The faults read straight from the files, each by arithmetic of its own."""
    runs = {hole["hole_id"]: [] for hole in rows("holes")}
    for row in rows("runs"):
        runs[row["hole_id"]].append({name: float(row[name]) for name in ("from_m", "to_m", "recovered_m")})
    over = {
        (hole, round(run["recovered_m"] - (run["to_m"] - run["from_m"]), 2))
        for hole, held in runs.items()
        for run in held
        if run["to_m"] > run["from_m"] and run["recovered_m"] - (run["to_m"] - run["from_m"]) > 0.05
    }
    assert over == {("VR-03", 2.98), ("VR-04", 0.22)}
    steps = {
        (hole, round(below["from_m"] - above["to_m"], 2))
        for hole, held in runs.items()
        for above, below in pairwise(held)
        if abs(below["from_m"] - above["to_m"]) > 0.001
    }
    assert steps == {("VR-06", -0.2)}
    numbers = Counter((row["hole_id"], row["tray"]) for row in rows("trays"))
    assert {key for key, count in numbers.items() if count > 1} == {("VR-05", "23")}
    reversed_tags = [row for row in rows("trays") if float(row["to_m"]) <= float(row["from_m"])]
    assert [(row["hole_id"], row["tray"]) for row in reversed_tags] == [("VR-03", "21")]
    turned = [float(row["angle_deg"]) for row in rows("orientation_marks") if row["hole_id"] == "VR-02"]
    assert max(turned) - min(turned) > 33
