"""Files that are no tables: each is refused with its name, its row where there is one, and a remedy."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_yard import RULES, TABLES, write_yard

from trayside.errors import LoadRefused
from trayside.files.yard_folder import read_yard_folder

RUNS = TABLES["runs"]


def only(faults):
    assert len(faults) == 1, [str(fault) for fault in faults]
    fault = faults[0]
    assert fault.problem
    assert fault.remedy
    return fault


def refusal(path):
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(path)
    return refused.value


@pytest.mark.parametrize("raw", [b"", b"\n", b" \r\n\r\n", b"\xef\xbb\xbf", b"\xef\xbb\xbf\n"])
def test_an_empty_file(faults_of, raw):
    fault = only(faults_of({"runs": raw}))
    assert (fault.table, fault.column) == ("runs", None)
    assert "empty" in fault.problem or "blank" in fault.problem


def test_a_header_alone_where_rows_are_needed(faults_of):
    fault = only(faults_of({"runs": RUNS.splitlines()[0] + "\n"}))
    assert (fault.table, fault.row) == ("runs", None)
    assert "no rows" in fault.problem


@pytest.mark.parametrize(("mark", "name"), [(";", "semicolons"), ("\t", "tabs"), ("|", "pipes")])
def test_another_delimiter_is_named(faults_of, mark, name):
    fault = only(faults_of({"runs": RUNS.replace(".", ",").replace(",", mark)}))
    assert (fault.table, fault.row) == ("runs", 1)
    assert name in fault.problem


@pytest.mark.parametrize(
    ("encoding", "name"),
    [
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("utf-32", "UTF-32"),
        ("utf-32-be", "NUL"),
    ],
)
def test_wide_encodings_are_named(faults_of, encoding, name):
    fault = only(faults_of({"runs": RUNS.encode(encoding)}))
    assert fault.table == "runs"
    assert name in fault.problem


def test_windows_letters_give_the_place(faults_of):
    raw = RUNS.replace("12,HQ,", "12,HQ,señal").encode("latin-1")
    fault = only(faults_of({"runs": raw}))
    assert (fault.table, fault.row, fault.column) == ("runs", 4, "remark")
    assert "0xF1" in fault.problem
    assert "señal" in fault.read


def test_a_file_cut_in_the_middle_of_a_letter(faults_of):
    raw = RUNS.rstrip("\n").encode() + "ñ".encode()[:1]
    fault = only(faults_of({"runs": raw}))
    assert (fault.table, fault.row, fault.column) == ("runs", 4, "remark")
    assert "cut off" in fault.problem


def test_a_nul_byte_gives_the_place(faults_of):
    fault = only(faults_of({"runs": RUNS.replace("TS-01,2,3.0", "TS-01,2,3\0.0").encode()}))
    assert (fault.table, fault.row, fault.column) == ("runs", 3, "from_m")


def test_rows_too_short_and_too_long_are_named_by_their_line(faults_of):
    text = RUNS.replace("TS-01,2,3.0,6.05,3.05,,,,NQ,", "TS-01,2,3.0,6.05").replace("TS-02,1,0,", "\nTS-02,1,0,1,")
    short, long = faults_of({"runs": text})
    assert (short.table, short.row, long.row) == ("runs", 3, 5)
    assert "4 cells where the header has 10" in short.problem
    assert "11 cells where the header has 10" in long.problem


def test_a_short_and_a_long_row_do_not_cancel_out(faults_of):
    text = RUNS.replace("TS-01,2,3.0,6.05,3.05,,,,NQ,", "TS-01,2,3.0,6.05,3.05,,,,NQ").replace("HQ,", "HQ,,")
    assert [fault.row for fault in faults_of({"runs": text})] == [3, 4]


def test_a_last_line_cut_short(faults_of):
    fault = only(faults_of({"runs": RUNS[:-12]}))
    assert (fault.table, fault.row) == ("runs", 4)
    assert "cells" in fault.problem


def test_a_decimal_comma_splits_its_row(faults_of):
    fault = only(faults_of({"runs": RUNS.replace("6.05", "6,05")}))
    assert (fault.table, fault.row) == ("runs", 3)
    assert "decimal comma" in fault.remedy


def test_the_count_of_ragged_rows_is_capped(faults_of):
    rows = "".join(f"TS-01,{run},0,1\n" for run in range(3, 503))
    faults = faults_of({"runs": RUNS + rows})
    assert len(faults) == 21
    assert "480 more" in faults[-1].problem


@pytest.mark.parametrize(
    ("text", "row", "word"),
    [
        (RUNS.replace("3.05,,,,NQ,", '3.05,,,,NQ,"never closed'), 3, "never closes"),
        (RUNS.replace("3.05,,,,NQ,", '3.05,,,,NQ,5" casing'), 3, "stands inside a cell"),
        (RUNS.replace("3.05,,,,NQ,", '3.05,,,,NQ,"5" casing"'), 3, "does not end at a comma"),
        (RUNS.replace("3.05,,,,NQ,", '3.05,,,,NQ,"open').replace("12,HQ,", '12,HQ,"x"'), 3, "does not end at a comma"),
    ],
)
def test_quote_marks_that_do_not_pair_up(faults_of, text, row, word):
    fault = only(faults_of({"runs": text}))
    assert (fault.table, fault.row) == ("runs", row)
    assert word in fault.problem


def test_rows_are_counted_as_lines_after_a_cell_of_several_lines(faults_of):
    text = RUNS.replace("2.5,2.7,4,NQ,", '2.5,2.7,4,NQ,"first\nsecond\nthird"').replace("2.4,1.1", "2.4,x")
    broken, wrong = sorted(faults_of({"runs": text}), key=lambda fault: fault.row)
    assert (broken.row, broken.column) == (2, "remark")
    assert "line break" in broken.problem
    assert (wrong.row, wrong.column, wrong.read) == (6, "rqd_m", "x")


def test_old_mac_line_ends(faults_of):
    fault = only(faults_of({"runs": RUNS.replace("\n", "\r")}))
    assert "Mac" in fault.problem


@pytest.mark.parametrize(
    ("header", "problem", "column"),
    [
        ("hole_id,run,from_m,from_m,to_m,recovered_m,core_size", "2 times", "from_m"),
        ("hole_id,run,from_m,from_ft,to_m,recovered_m,core_size", "given twice", "from_m"),
        ("hole_id,run,from_m,too_m,to_m,recovered_m,core_size", "no such column", "too_m"),
        ("hole_id,run,from_m,,to_m,recovered_m,core_size", "column 4 has no name", None),
    ],
)
def test_wrong_headers(faults_of, header, problem, column):
    faults = faults_of({"runs": f"{header}\nTS-01,1,0,0,3,3,NQ\n"})
    fault = only(faults)
    assert (fault.table, fault.row, fault.column) == ("runs", 1, column)
    assert problem in fault.problem


def test_an_unknown_column_is_told_its_nearest_and_all_there_are(faults_of):
    fault = only(faults_of({"runs": RUNS.replace("remark", "Remarks")}))
    assert "Did you mean remark?" in fault.remedy
    assert "from_m or from_ft" in fault.remedy


def test_a_missing_column_is_named_by_both_its_names(faults_of):
    fault = only(faults_of({"surveys": "hole_id,azimuth_deg,dip_deg\nTS-01,90,-60\n"}))
    assert (fault.table, fault.row, fault.column) == ("surveys", 1, "depth_m or depth_ft")
    assert "missing" in fault.problem


@pytest.mark.parametrize("name", ["holes", "runs", "trays", "rock", "rock_codes"])
def test_a_needed_table_that_is_missing(faults_of, name):
    fault = only(faults_of({name: None}))
    assert (fault.table, fault.row, fault.column) == (name, None, None)
    assert "missing" in fault.problem


def test_a_missing_table_is_looked_for_under_a_similar_name(tmp_path):
    folder = write_yard(tmp_path / "yard", {"trays": None})
    (folder / "tray.csv").write_text(TABLES["trays"])
    assert "tray.csv" in only(refusal(folder).faults).remedy


def test_two_files_for_one_table(tmp_path):
    folder = write_yard(tmp_path / "yard")
    (folder / "RUNS.csv").write_text(RUNS)
    assert only(refusal(folder).faults).table == "runs"


def test_a_directory_in_the_place_of_a_file(tmp_path):
    folder = write_yard(tmp_path / "yard", {"runs": None})
    (folder / "runs.csv").mkdir()
    fault = only(refusal(folder).faults)
    assert (fault.table, fault.read) == ("runs", "runs.csv")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    folder = write_yard(tmp_path / "yard")
    read_bytes = Path.read_bytes

    def refuse_runs(path):
        if path.name == "runs.csv":
            raise PermissionError(13, "Permission denied")
        return read_bytes(path)

    monkeypatch.setattr(Path, "read_bytes", refuse_runs)
    fault = only(refusal(folder).faults)
    assert (fault.table, fault.read) == ("runs", "runs.csv")
    assert "Permission denied" in fault.problem


def test_a_link_to_nowhere(tmp_path):
    folder = write_yard(tmp_path / "yard", {"runs": None})
    (folder / "runs.csv").symlink_to(folder / "gone.csv")
    assert only(refusal(folder).faults).table == "runs"


def test_a_path_that_is_not_there(tmp_path):
    refused = refusal(tmp_path / "nowhere")
    assert only(refused.faults).read == str(tmp_path / "nowhere")
    assert str(tmp_path / "nowhere") in str(refused)


def test_a_single_csv_file_is_no_yard(tmp_path):
    path = tmp_path / "runs.csv"
    path.write_text(RUNS)
    assert "neither" in only(refusal(path).faults).problem


def test_an_empty_folder_misses_every_needed_table(tmp_path):
    faults = refusal(tmp_path).faults
    assert [fault.table for fault in faults] == ["holes", "runs", "trays", "rock", "rock_codes"]


def test_a_workbook_under_the_name_of_a_csv_file(faults_of):
    assert "workbook" in only(faults_of({"runs": b"PK\x03\x04" + bytes(100)})).problem


def test_a_file_that_is_too_large_is_not_read(tmp_path, monkeypatch):
    monkeypatch.setattr("trayside.files.yard_folder.LARGEST_FILE", 200)
    folder = write_yard(tmp_path / "yard", rules=RULES)
    tables = {fault.table for fault in refusal(folder).faults if "MB" in fault.problem}
    large = {name for name, text in TABLES.items() if len(text.encode()) > 200}
    assert large
    assert tables == large


def test_faults_of_all_tables_are_listed_at_once(faults_of):
    faults = faults_of(
        {"holes": TABLES["holes"].replace("1000.5", "east"), "runs": RUNS.replace("2.95", "-1"), "rock_codes": b""},
        rules='yard = ""\n',
    )
    assert [fault.table for fault in faults] == ["rules.toml", "holes", "runs", "rock_codes"]
