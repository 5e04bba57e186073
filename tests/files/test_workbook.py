"""Tables as sheets of a workbook: the same yard, and what only spreadsheets get wrong."""

from __future__ import annotations

import csv
import datetime
import io
import random
import zipfile

import openpyxl
import polars
import pytest
from openpyxl.worksheet.formula import ArrayFormula
from small_yard import RULES, TABLES, write_yard

from trayside.errors import LoadRefused
from trayside.files.yard_folder import read_yard_folder


def number_or_text(cell):
    try:
        return float(cell) if cell and not cell.startswith("TS") else cell or None
    except ValueError:
        return cell


def sheets(names=tuple(TABLES)):
    """The small yard as lists of rows, numbers as numbers."""
    return {
        name: [[number_or_text(cell) for cell in row] for row in csv.reader(io.StringIO(TABLES[name]))]
        for name in names
    }


def save(path, contents):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in contents.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path


@pytest.fixture
def yard_book(tmp_path):
    """Save the small yard as a workbook, changed as a test wants it, and return the faults it is refused for."""

    def read(change=lambda contents: None, *, only_book=True):
        contents = sheets()
        change(contents)
        (tmp_path / "rules.toml").write_text(RULES)
        path = save(tmp_path / "yard.xlsx", contents)
        try:
            return read_yard_folder(path if only_book else tmp_path), ()
        except LoadRefused as refused:
            found = refused.faults
        assert found
        return None, found

    return read


def one_fault(faults, table, row, column):
    assert [(fault.table, fault.row, fault.column) for fault in faults] == [(table, row, column)]
    assert faults[0].remedy
    return faults[0]


@pytest.mark.parametrize("only_book", [True, False])
def test_a_workbook_reads_like_the_csv_files(tmp_path, yard_book, only_book):
    from_book, faults = yard_book(only_book=only_book)
    assert faults == ()
    from_files = read_yard_folder(write_yard(tmp_path / "files"))
    assert from_book.rules == from_files.rules
    assert from_book.tables.keys() == from_files.tables.keys()
    for name, frame in from_files.tables.items():
        # 3.0 in a cell is the number 3: only the text as written may differ.
        same = [column for column in frame.columns if not column.endswith("_entered")]
        assert from_book.tables[name].select(same).equals(frame.select(same)), name
    assert from_book.tables["runs"]["to_entered"].to_list() == ["3 m", "6.05 m", "3.05 m"]


def test_a_table_may_be_a_file_and_the_others_sheets(tmp_path):
    folder = write_yard(tmp_path / "yard", {"rock": None, "holes": None})
    save(folder / "log.xlsx", sheets(("rock", "holes")) | {"Notes": [["free text"]]})
    assert read_yard_folder(folder).tables["rock"].height == 3


def test_a_table_given_twice(tmp_path):
    folder = write_yard(tmp_path / "yard")
    save(folder / "log.xlsx", sheets(("rock",)))
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(folder)
    fault = one_fault(refused.value.faults, "rock", None, None)
    assert fault.read == "rock.csv and log.xlsx"


def test_two_workbooks(tmp_path):
    folder = write_yard(tmp_path / "yard", {"rock": None, "holes": None})
    save(folder / "a.xlsx", sheets(("rock",)))
    save(folder / "b.xlsx", sheets(("holes",)))
    (folder / "~$a.xlsx").write_bytes(b"lock file of a spreadsheet")
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(folder)
    assert "more than one workbook" in refused.value.faults[0].problem


def test_a_sheet_is_found_in_any_capitals(yard_book):
    def change(contents):
        contents[" Runs "] = contents.pop("runs")

    assert yard_book(change)[1] == ()


def test_blank_rows_are_skipped_and_rows_keep_their_numbers(yard_book):
    def change(contents):
        contents["runs"].insert(2, [None])
        contents["runs"].insert(2, [" "])
        contents["runs"][4][2] = "deep"

    assert one_fault(yard_book(change)[1], "runs", 5, "from_m").read == "deep"


@pytest.mark.parametrize(
    ("cell", "word"),
    [
        ("=1+2", "formula"),
        (ArrayFormula("C3:C3", "=SUM(A1:A3)"), "formula"),
        ("#DIV/0!", "spreadsheet error"),
        (datetime.date(2024, 3, 5), "date"),
        (datetime.datetime(2024, 3, 5, 12), "date"),
        (datetime.time(3, 5), "date"),
        (True, "not a number"),
        ("12,5", "decimal comma"),
    ],
)
def test_a_cell_a_spreadsheet_spoils(yard_book, cell, word):
    def change(contents):
        contents["runs"][2][2] = cell

    assert word in one_fault(yard_book(change)[1], "runs", 3, "from_m").problem


@pytest.mark.parametrize(
    ("table", "column"), [("holes", "hole_id"), ("holes", "remark"), ("rock", "condition"), ("rock", "vein")]
)
def test_a_name_that_became_a_date_is_found_in_any_column(yard_book, table, column):
    def change(contents):
        contents[table][1][contents[table][0].index(column)] = datetime.date(2024, 3, 5)

    faults = [fault for fault in yard_book(change)[1] if fault.table == table and fault.row == 2]
    fault = one_fault(faults[:1], table, 2, column)
    assert "date" in fault.problem
    assert fault.read.startswith("2024-03-05")


def test_numbers_are_read_to_the_digits_a_person_sees(yard_book):
    def change(contents):
        contents["runs"][1][3] = 0.1 + 0.2 + 2.7
        contents["runs"][1][4] = 2.9499999999999997

    yard, _ = yard_book(change)
    assert yard.tables["runs"]["to_entered"][0] == "3 m"
    assert yard.tables["runs"]["recovered_entered"][0] == "2.95 m"


def test_numbers_may_be_codes_and_truths_yes_or_no(yard_book):
    def change(contents):
        for rows in contents.values():
            for row in rows:
                row[:] = [17 if cell == "TS-01" else cell for cell in row]
        contents["rock"][1][contents["rock"][0].index("vein")] = True

    yard, faults = yard_book(change)
    assert faults == ()
    assert yard.tables["holes"]["hole_id"].to_list() == ["17", "TS-02"]
    assert yard.tables["rock"]["vein"].to_list()[0] is True


def test_a_cell_beside_the_named_columns(yard_book):
    def change(contents):
        contents["runs"][2] += [None, "see photo"]

    fault = one_fault(yard_book(change)[1], "runs", 3, None)
    assert (fault.read, "10 named columns" in fault.problem) == ("see photo", True)


def test_a_sheet_without_a_header(yard_book):
    def change(contents):
        contents["runs"] = [[None], *contents["runs"]]

    assert "first row" in one_fault(yard_book(change)[1], "runs", 1, None).problem


def test_an_empty_sheet(yard_book):
    def change(contents):
        contents["runs"] = []

    assert one_fault(yard_book(change)[1], "runs", 1, None)


def test_a_doubled_column(yard_book):
    def change(contents):
        contents["runs"][0][3] = "from_m"

    faults = yard_book(change)[1]
    assert {(fault.table, fault.column) for fault in faults} == {("runs", "from_m"), ("runs", "to_m or to_ft")}


@pytest.mark.parametrize(
    ("raw", "word"),
    [
        (b"", "empty"),
        (b"hole_id,run\n", "not an XLSX"),
        (b"PK\x03\x04" + bytes(300), "not an XLSX"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old .xls"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600) + "EncryptedPackage".encode("utf-16-le"), "password"),
    ],
)
def test_files_that_are_no_workbooks(tmp_path, raw, word):
    path = tmp_path / "yard.xlsx"
    path.write_bytes(raw)
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(path)
    assert word in one_fault(refused.value.faults, "yard.xlsx", None, None).problem


def test_a_zip_that_is_no_workbook(tmp_path):
    with zipfile.ZipFile(tmp_path / "yard.xlsx", "w") as archive:
        archive.writestr("readme.txt", "nothing here")
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(tmp_path / "yard.xlsx")
    assert "damaged" in one_fault(refused.value.faults, "yard.xlsx", None, None).problem


def test_a_workbook_that_unpacks_to_too_much(tmp_path):
    path = save(tmp_path / "yard.xlsx", sheets())
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive, archive.open("xl/media/big.bin", "w") as part:
        for _ in range(320):
            part.write(bytes(2**20))
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(path)
    assert "unpacks to more than" in one_fault(refused.value.faults, "yard.xlsx", None, None).problem


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet3.xml", "[Content_Types].xml"])
@pytest.mark.parametrize(
    "spoilt", [b"", b"<x", b"\xff\xfe\x00", b"<!DOCTYPE a [<!ENTITY b '" + b"c" * 99 + b"'>]><a>&b;</a>"]
)
def test_a_workbook_with_a_damaged_part_is_refused(tmp_path, part, spoilt):
    whole = save(tmp_path / "whole.xlsx", sheets())
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(tmp_path / "yard.xlsx", "w") as target:
        for item in source.namelist():
            target.writestr(item, spoilt if item == part else source.read(item))
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(tmp_path / "yard.xlsx")
    assert refused.value.faults


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
def test_a_workbook_cut_short_is_refused(tmp_path, share):
    path = save(tmp_path / "yard.xlsx", sheets())
    raw = path.read_bytes()
    path.write_bytes(raw[: int(len(raw) * share)])
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(path)
    assert one_fault(refused.value.faults, "yard.xlsx", None, None)


def test_a_sheet_that_claims_a_million_columns_is_read_by_its_cells(tmp_path):
    whole = save(tmp_path / "whole.xlsx", sheets())
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(tmp_path / "yard.xlsx", "w") as target:
        for item in source.namelist():
            raw = source.read(item)
            if item.startswith("xl/worksheets/sheet"):
                start = raw.index(b'<dimension ref="') + 16
                raw = raw[:start] + b"A1:XFD1048576" + raw[raw.index(b'"', start) :]
            target.writestr(item, raw)
    assert isinstance(read_yard_folder(tmp_path / "yard.xlsx").tables["runs"], polars.DataFrame)


def test_a_row_number_no_sheet_can_have(tmp_path):
    whole = save(tmp_path / "whole.xlsx", sheets())
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(tmp_path / "yard.xlsx", "w") as target:
        for item in source.namelist():
            raw = source.read(item)
            if item.startswith("xl/worksheets/sheet"):
                raw = raw.replace(b'<row r="3"', b'<row r="3000000000"').replace(b' r="A3"', b' r="A3000000000"')
            target.writestr(item, raw)
    with pytest.raises(LoadRefused) as refused:
        read_yard_folder(tmp_path / "yard.xlsx")
    assert "damaged" in one_fault(refused.value.faults, "yard.xlsx", None, None).problem


@pytest.mark.parametrize("seed", range(40))
def test_a_sheet_spoilt_here_and_there_is_read_or_refused(tmp_path, seed):
    chance = random.Random(seed)
    whole = save(tmp_path / "whole.xlsx", sheets())
    with zipfile.ZipFile(whole) as source, zipfile.ZipFile(tmp_path / "yard.xlsx", "w") as target:
        spoilt = chance.choice([name for name in source.namelist() if name.endswith(".xml")])
        for item in source.namelist():
            raw = source.read(item)
            for _ in range(chance.randrange(1, 4) if item == spoilt else 0):
                place = chance.randrange(len(raw))
                piece = chance.choice([b"", b"<", b'"', b"\0", b"9", b"A", b'r="', b"</c>", b"1e400", b"\xff"])
                raw = raw[:place] + piece + raw[place + chance.choice([0, 1, 8]) :]
            target.writestr(item, raw)
    try:
        read_yard_folder(tmp_path / "yard.xlsx")
    except LoadRefused as refused:
        found = refused.faults
    else:
        return
    assert found
