"""Rows and tables that contradict each other, and what is odd but loads."""

from __future__ import annotations

import random

import polars
import pytest
from small_yard import TABLES

from trayside.files.between_tables import _in_order


def one_fault(faults, table, row, column):
    assert [(fault.table, fault.row, fault.column) for fault in faults] == [(table, row, column)]
    assert faults[0].remedy
    return faults[0]


def test_a_key_used_twice_names_both_rows(faults_of):
    fault = one_fault(faults_of({"runs": TABLES["runs"] + "TS-01,2,6.05,9,3,,,,NQ,\n"}), "runs", 5, "hole_id, run")
    assert "row 3" in fault.problem
    assert fault.read == "TS-01, 2"


def test_a_key_of_a_single_column(faults_of):
    row = TABLES["holes"].splitlines()[1] + "\n"
    fault = one_fault(faults_of({"holes": TABLES["holes"] + row}), "holes", 4, "hole_id")
    assert "row 2" in fault.problem


def test_depths_that_round_to_one_millimetre_are_one_key(faults_of):
    fault = one_fault(
        faults_of({"surveys": TABLES["surveys"] + "TS-01,12.0001,91,-60,\n"}), "surveys", 4, "hole_id, depth_m"
    )
    assert fault.read == "TS-01, 12.0001 m"


def test_many_doubled_keys_are_counted(faults_of):
    rows = "TS-01,12,91,-60.5,gyro\n" * 50
    faults = faults_of({"surveys": TABLES["surveys"] + rows})
    assert len(faults) == 21
    assert "30 more" in faults[-1].problem


def test_the_quick_look_at_keys_agrees_with_counting_them():
    chance = random.Random(7)
    for _ in range(2000):
        rows = [(chance.choice("ABC"), chance.randrange(6)) for _ in range(chance.randrange(1, 6))]
        if chance.random() < 0.5:
            rows.sort()
        keys = polars.DataFrame(rows, schema={"hole": polars.String, "depth": polars.Int64}, orient="row")
        if _in_order(keys):
            assert len(set(rows)) == len(rows)
        if rows == sorted(set(rows)) and len(set(rows)) == len(rows):
            assert _in_order(keys)


@pytest.mark.parametrize(
    "table", ["surveys", "runs", "losses", "trays", "rock", "orientation_marks", "fabric", "density"]
)
def test_a_hole_that_is_not_in_holes(faults_of, table):
    lines = TABLES[table].splitlines()
    lines[1] = lines[1].replace("TS-01", "TS-1").replace("TS-02", "TS-1")
    fault = one_fault(faults_of({table: "\n".join(lines) + "\n"}), table, 2, "hole_id")
    assert fault.read == "TS-1"
    assert "Did you mean TS-01?" in fault.remedy or "Did you mean TS-02?" in fault.remedy


def test_a_hole_written_in_other_capitals_is_another_hole_but_named(faults_of):
    fault = one_fault(faults_of({"losses": TABLES["losses"].replace("TS-02", "ts-02")}), "losses", 2, "hole_id")
    assert "Did you mean TS-02?" in fault.remedy


@pytest.mark.parametrize(
    ("table", "old", "new", "column", "row"),
    [
        ("runs", "2.7,4,NQ", "2.7,4,NX", "core_size", 2),
        ("rock", "3.1,QV", "3.1,QZ", "rock", 3),
        ("tickets", "6,TS-02", "6,TS-09", "hole_id", 3),
    ],
)
def test_a_code_that_is_not_in_its_table(faults_of, table, old, new, column, row):
    one_fault(faults_of({table: TABLES[table].replace(old, new)}), table, row, column)


def test_a_code_that_no_table_has_is_capped_too(faults_of):
    rows = "".join(f"TS-77,{depth},90,-60,\n" for depth in range(30))
    faults = faults_of({"surveys": TABLES["surveys"] + rows})
    assert len(faults) == 21
    assert "10 more" in faults[-1].problem


def test_a_table_with_ragged_rows_is_not_asked_for_its_codes(faults_of):
    holes = TABLES["holes"].replace("9.1,cased", "9.1,cased,")
    one_fault(faults_of({"holes": holes}), "holes", 3, None)


@pytest.mark.parametrize(("table", "row"), [("rock", 2), ("density", 2)])
@pytest.mark.parametrize("bottom", ["0.5", "2.2", "2.0", "0"])
def test_from_is_above_to(faults_of, table, row, bottom):
    lines = TABLES[table].splitlines()
    cells = lines[1].split(",")
    cells[1], cells[2] = "2.2", bottom
    lines[1] = ",".join(cells)
    if table == "rock":
        lines = [lines[0], lines[1], lines[3]]
    fault = one_fault(faults_of({table: "\n".join(lines) + "\n"}), table, row, "to_m")
    assert fault.read == f"2.2 m and {bottom} m"


def test_a_grade_class_the_rules_do_not_know(faults_of):
    fault = one_fault(
        faults_of({"rock": TABLES["rock"].replace("visible,hard", "rich,hard")}), "rock", 3, "grade_class"
    )
    assert "barren, low, medium, high, visible" in fault.remedy


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("1.02 2.05", "less one"),
        ("1.02 2.05 3.1 3.5", "less one"),
        ("1.02 2.05 4.2", "above the start or below the end"),
        ("2.05 1.02 3.1", "do not go deeper"),
    ],
)
def test_row_ends_that_cannot_be(faults_of, cell, word):
    fault = one_fault(faults_of({"trays": TABLES["trays"].replace("1.02 2.05 3.1", cell)}), "trays", 2, "row_ends_m")
    assert word in fault.problem


@pytest.mark.parametrize("ends", ["1.02 2.05 3.1", "3.1 2.05 1.02"])
def test_row_ends_of_a_reversed_tray_may_go_either_way(loaded, ends):
    text = TABLES["trays"].replace("TS-01,1,0,4.1,4,1.05,1.02 2.05 3.1", f"TS-01,1,4.1,0,4,1.05,{ends}")
    assert loaded({"trays": text}).tables["trays"]["from_mm"][0] == 4100


@pytest.mark.parametrize(("dry", "wet"), [("812.4", ""), ("", "512.3"), ("", "")])
def test_a_density_row_with_neither_two_masses_nor_a_value(faults_of, dry, wet):
    text = TABLES["density"].replace("812.4,512.3", f"{dry},{wet}")
    assert "neither" in one_fault(faults_of({"density": text}), "density", 2, "density_t_m3").problem


def test_a_stick_heavier_in_water_than_dry(faults_of):
    text = TABLES["density"].replace("812.4,512.3", "512.3,812.4")
    one_fault(faults_of({"density": text}), "density", 2, "mass_in_water_g")


def test_a_mass_that_cannot_be_read_is_told_once(faults_of):
    one_fault(faults_of({"density": TABLES["density"].replace("512.3", "heavy")}), "density", 2, "mass_in_water_g")


@pytest.mark.parametrize(
    ("row", "column", "word"),
    [
        ("A,TS,1100,1001,6,,", "last", "below the first"),
        ("A,TS,1001,1100,3,,", "digits", "more digits"),
        ("A,TS,1001,1100,6,,1007 x", "voids", "not a whole number"),
        ("A,TS,1001,1100,6,,1007 1008.5", "voids", "not a whole number"),
        ('A,TS,1001,1100,6,,"1007,1008"', "voids", "not a whole number"),
        ("A,TS,1001,1100,6,,2000", "voids", "outside 1001 to 1100"),
        (f"A,TS,1001,1100,6,,{'9' * 300}", "voids", "outside 1001 to 1100"),
    ],
)
def test_ticket_books_that_cannot_be(faults_of, row, column, word):
    text = TABLES["tickets"].replace("A,TS,1001,1100,6,,1007 1012", row)
    assert word in one_fault(faults_of({"tickets": text}), "tickets", 2, column).problem


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [
        ("recirculated,3.5,6,", "recirculated,6,3.5,", "water_high_l_min"),
        ("1425,350,120,", "1425,350,350,", "flange_diameter_mm"),
    ],
)
def test_saws_that_cannot_be(faults_of, old, new, column):
    (fault,) = faults_of({"saws": TABLES["saws"].replace(old, new)})
    assert (fault.table, fault.row, fault.column) == ("saws", 2, column)
