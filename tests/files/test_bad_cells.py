"""Cells that cannot be read: the exact table, row and column, what was read, what is wrong and what to do."""

from __future__ import annotations

import pytest
from small_yard import TABLES

from trayside.app.ports import Fault

SURVEY_HEADER = "hole_id,depth_m,azimuth_deg,dip_deg,instrument\n"


def one_fault(faults, table, row, column):
    assert [(fault.table, fault.row, fault.column) for fault in faults] == [(table, row, column)]
    assert faults[0].remedy
    return faults[0]


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ('"12,5"', "decimal comma"),
        ('",5"', "decimal comma"),
        ('"1,234"', "comma"),
        ('"1,234.5"', "thousands"),
        ("1 234.5", "thousands"),
        ("1'234", "thousands"),
        ('"1.234,5"', "thousands"),
        ("NaN", "not a finite number"),
        ("-nan", "not a finite number"),
        ("inf", "not a finite number"),
        ("-Infinity", "not a finite number"),
        ("1e309", "larger than any number"),
        ("-1e309", "larger than any number"),
        ("9" * 400, "larger than any number"),
        ("=A1+1", "formula"),
        ("+A1", "formula"),
        ("@SUM(A1)", "formula"),
        ("-A1", "formula"),
        ("-2+3", "formula"),
        ("#REF!", "spreadsheet error"),
        ("#N/A", "spreadsheet error"),
        ("n/a", "'nothing'"),
        ("-", "'nothing'"),
        ("null", "'nothing'"),
        ("12 m", "unit"),
        ("12m", "unit"),
        ("90°", "unit"),
        ("2024-01-05", "date"),
        ("5/1/2024", "date"),
        ("<5", "sign before it"),
        ("5..1", "not a number"),
        ("north", "not a number"),
        ("0x10", "unit"),
        ("1_000", "not a number"),
        ("٣", "not a number"),
        ("1e", "unit"),
        ("12\t5", "unprintable"),
    ],
)
def test_a_cell_that_is_no_number(faults_of, cell, word):
    faults = faults_of({"surveys": f"{SURVEY_HEADER}TS-01,6,90,-60,\nTS-01,9,{cell},-60,\n"})
    fault = one_fault(faults, "surveys", 3, "azimuth_deg")
    assert word in fault.problem
    assert fault.read == (cell.strip('"') if len(cell) < 80 else cell[:77] + "...")


@pytest.mark.parametrize("cell", ['"12,5"', "NaN", "1e309", "=1+1", "deep", "12 ft"])
@pytest.mark.parametrize("header", ["depth_m", "depth_ft"])
def test_a_cell_that_is_no_length(faults_of, header, cell):
    text = f"hole_id,{header},azimuth_deg,dip_deg\nTS-01,{cell},90,-60\n"
    one_fault(faults_of({"surveys": text}), "surveys", 2, header)


@pytest.mark.parametrize(
    ("header", "cell", "limit"),
    [
        ("depth_m", "-0.001", "below 0 m"),
        ("depth_m", "15000.001", "above 15,000 m"),
        ("depth_m", "1e300", "above 15,000 m"),
        ("depth_ft", "49212.6", "above 49,212.59843 ft"),
        ("depth_ft", "-1", "below 0 ft"),
    ],
)
def test_a_length_no_hole_can_have(faults_of, header, cell, limit):
    text = f"hole_id,{header},azimuth_deg,dip_deg\nTS-01,{cell},90,-60\n"
    fault = one_fault(faults_of({"surveys": text}), "surveys", 2, header)
    assert limit in fault.problem
    assert fault.read == cell


@pytest.mark.parametrize(
    ("old", "new", "column", "word"),
    [
        (",90.5,-60.2,", ",360.5,-60.2,", "azimuth_deg", "above 360 deg"),
        (",90.5,-60.2,", ",-1,-60.2,", "azimuth_deg", "below 0 deg"),
        (",90.5,-60.2,", ",90.5,-91,", "dip_deg", "below -90 deg"),
    ],
)
def test_an_angle_out_of_range(faults_of, old, new, column, word):
    faults = faults_of({"surveys": TABLES["surveys"].replace(old, new)})
    assert word in one_fault(faults, "surveys", 2, column).problem


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("3.5", "not a whole number"),
        ("1e2", "exponent"),
        ("-1", "below 0"),
        ("100001", "above 100,000"),
        ("99999999999999999999", "larger"),
        ("four", "not a number"),
        ('"4,0"', "decimal comma"),
    ],
)
def test_a_cell_that_is_no_count(faults_of, cell, word):
    faults = faults_of({"runs": TABLES["runs"].replace(",4,NQ", f",{cell},NQ")})
    assert word in one_fault(faults, "runs", 2, "fractures").problem


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("=A1", "formula"),
        ("-hole", "formula"),
        ("Año-1", "character codes cannot have"),
        ("TS#1", "character codes cannot have"),
        ("_TS", "begins with neither"),
        ("A" * 41, "longer than 40"),
        ("#NAME?", "spreadsheet error"),
    ],
)
def test_a_cell_that_is_no_code(faults_of, cell, word):
    faults = faults_of({"fabric": f"hole_id,depth_m,alpha_deg,kind\nTS-01,2,40,{cell}\n"})
    fault = one_fault(faults, "fabric", 2, "kind")
    assert word in fault.problem
    assert fault.read == cell


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ('"two\nlines"', "line break"),
        ("bell\a", "unprintable"),
        ("right\u202eleft", "unprintable"),
        ("=HYPERLINK(1)", "formula"),
        ("@home", "formula"),
        ("+1 more", "formula"),
        ("-see photo", "formula"),
        ("-2+3+cmd|x", "formula"),
        ("x" * 501, "longer than 500"),
        ("#REF!", "spreadsheet error"),
    ],
)
def test_a_cell_that_is_no_text(faults_of, cell, word):
    faults = faults_of({"holes": TABLES["holes"].replace("cased to 2 m", cell)})
    assert word in one_fault(faults, "holes", 3, "remark").problem


@pytest.mark.parametrize("cell", ["-5", "-5.25", "+5", "5 = five", "x" * 500, "#3 tray", "'quoted'"])
def test_a_text_that_only_looks_odd_is_kept(loaded, cell):
    assert loaded({"holes": TABLES["holes"].replace("cased to 2 m", cell)}).tables["holes"]["remark"][1] == cell


def test_a_word_that_is_not_listed_names_the_list(faults_of):
    faults = faults_of({"rock": TABLES["rock"].replace("blocky", "bloky")})
    fault = one_fault(faults, "rock", 3, "condition")
    assert "intact, blocky, rubble, clay" in fault.remedy


@pytest.mark.parametrize("cell", ["maybe", "2", "y", "=1"])
def test_a_cell_that_is_neither_yes_nor_no(faults_of, cell):
    one_fault(faults_of({"rock": TABLES["rock"].replace("yes", cell)}), "rock", 3, "vein")


@pytest.mark.parametrize("blank", ["", "  ", '""', '" "'])
@pytest.mark.parametrize(
    ("table", "column", "cell"),
    [("runs", "from_m", "3.0"), ("runs", "core_size", "NQ"), ("rock", "contact", "hard"), ("runs", "run", "2")],
)
def test_a_needed_cell_that_is_blank(faults_of, table, column, cell, blank):
    lines = TABLES[table].splitlines()
    place = lines[0].split(",").index(column)
    cells = lines[2].split(",")
    assert cells[place] == cell
    cells[place] = blank
    lines[2] = ",".join(cells)
    fault = one_fault(faults_of({table: "\n".join(lines) + "\n"}), table, 3, column)
    assert fault.problem == "the cell is empty"


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("1.02 x 3.1", "not a list"),
        ("1.02 NaN 3.1", "not a list"),
        ('"1,02 2,05 3,1"', "comma"),
        ("1.02 -2.05 3.1", "below 0 m"),
        ("1.02 2.05 1e9", "above 20,000 m"),
        ("=A1 1 2", "formula"),
        (";", "not a list"),
    ],
)
def test_a_cell_that_is_no_list_of_lengths(faults_of, cell, word):
    faults = faults_of({"trays": TABLES["trays"].replace("1.02 2.05 3.1", cell)})
    assert word in one_fault(faults, "trays", 2, "row_ends_m").problem


def test_of_many_alike_faults_the_first_are_shown_and_the_rest_counted(faults_of):
    rows = "".join(f"TS-01,{depth},{'north' if depth % 2 else 'NaN'},-60,\n" for depth in range(100))
    faults = faults_of({"surveys": SURVEY_HEADER + rows})
    assert len(faults) == 42
    shown = [fault for fault in faults if fault.row is not None]
    assert [fault.row for fault in shown if fault.read == "north"] == list(range(3, 42, 2))
    assert [fault.row for fault in shown if fault.read == "NaN"] == list(range(2, 41, 2))
    rest = [fault for fault in faults if fault.row is None]
    assert {fault.column for fault in rest} == {"azimuth_deg"}
    assert all("and 30 more" in fault.problem for fault in rest)


def test_a_fault_reads_as_one_sentence_with_its_place():
    fault = Fault("runs", 14, "from_m", "12,5", "the number has a decimal comma", "Write a decimal point")
    assert (
        str(fault) == "runs row 14 column from_m: the number has a decimal comma (read: '12,5'). Write a decimal point"
    )
