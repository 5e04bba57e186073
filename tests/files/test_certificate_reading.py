"""Certificates in the layouts laboratories use: found, proposed with reasons, read without anything put in place."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from certificate_texts import LONG, SETTLED, WIDE, workbook

from trayside.errors import LoadRefused
from trayside.files.certificate_reader import open_file
from trayside.model.assay import ColumnMapping


def read(raw: str | bytes, settled: dict | None = None):
    opened = open_file(raw.encode() if isinstance(raw, str) else raw, source="certificate.csv")
    proposal = opened.propose(settled or {})
    assert proposal.questions == ()
    return proposal, opened.read(proposal)


def values(read_, number: str, element: str, *, kind: str = "sample") -> list[tuple]:
    """(raw text, value, censor, preferred) of one number and element, column by column."""
    columns = [one.column for one in read_.analytes if one.element == element]
    places = [p for p, n, k in read_.lines.select("place", "number", "line_kind").iter_rows() if (n, k) == (number, kind)]
    rows = read_.results.sort("column").iter_rows(named=True)
    return [
        (row["raw_text"], row["value"], row["censor"], row["preferred"])
        for row in rows
        if row["column"] in columns and row["place"] in places
    ]


def questions(raw: str, settled: dict | None = None) -> dict[str, str]:
    return {one.key: one.asks for one in open_file(raw.encode(), source="x.csv").propose(settled or {}).questions}


def test_a_wide_certificate_with_units_methods_and_limits_above():
    proposal, done = read(WIDE)
    assert (proposal.laboratory, proposal.job, proposal.reported_at) == (
        "Demo laboratory A", "A-0001", datetime(2031, 6, 2, tzinfo=UTC)
    )  # fmt: skip
    assert [(a.element, a.unit, a.method, a.lower_limit, a.upper_limit, a.ppm_per_unit) for a in done.analytes] == [
        ("Au", "[ppb]", "FA30", 5.0, 10000.0, 0.001),
        ("Au", "[ppm]", "GRAV", 0.5, None, 1.0),
        ("Cu", "[ppm]", "ICP4A", 1.0, 10000.0, 1.0),
        ("Ag", "[ppm]", "ICP4A", 0.1, 100.0, 1.0),
    ]
    assert list(done.lines.select("number", "line_kind", "mass_kg", "line").iter_rows())[:5] == [
        ("K410001", "sample", 3.21, 10),
        ("K410002", "sample", 2.2, 11),
        ("K410002", "pulp duplicate", None, 12),
        ("STD-7", "laboratory standard", None, 13),
        ("BLK-1", "laboratory blank", None, 14),
    ]
    assert done.lines.height == 8, "the closing words are no line"


def test_signs_words_and_limits_are_kept_as_they_were_written():
    _, done = read(WIDE)
    assert values(done, "K410001", "Au") == [("<5", 5.0, "lt", True)]
    assert values(done, "K410002", "Au") == [(">10000", 10000.0, "gt", False), ("12.5", 12.5, "none", True)]
    assert values(done, "K410002", "Ag") == [("-0.1", 0.1, "lt", True)]
    assert values(done, "K410002", "Ag", kind="pulp duplicate") == [("N.A.", None, "not_analysed", True)]
    assert values(done, "K410003", "Au") == [("IS", None, "insufficient", True)]
    assert values(done, "K410003", "Cu") == [("LNR", None, "listed_not_received", True)]
    assert values(done, "K410003", "Ag") == [("0", 0.0, "none", True)]
    assert values(done, "K410005", "Au") == [("1-5", None, "review", True)]
    assert values(done, "K410005", "Cu") == [("abc", None, "review", True)]
    assert values(done, "BLK-1", "Ag", kind="laboratory blank") == [("< 0.1", 0.1, "lt", True)]


def test_what_is_odd_is_noted_and_nothing_is_clipped():
    _, done = read(WIDE)
    notes = {(row["place"], row["column"]): row["note"] for row in done.notes.iter_rows(named=True)}
    assert notes[7, 3] == "above its upper limit: check the unit"
    assert notes[6, 4].startswith("zero")
    assert values(done, "K410004", "Cu") == [("20000", 20000.0, "none", True)]


def test_a_long_certificate_with_a_decimal_comma_masses_and_limits_by_sample():
    proposal, done = read(LONG)
    assert proposal.layout == "long"
    assert proposal.reported_at == datetime(2031, 6, 4, tzinfo=UTC)
    assert [(a.element, a.unit, a.method, a.lower_limit) for a in done.analytes] == [
        ("Au", "g/t", "FA30", 0.01), ("Cu", "%", "ICP", None)
    ]  # fmt: skip
    assert list(done.lines.select("number", "line_kind", "mass_kg").iter_rows()) == [
        ("K410001", "sample", 3.25), ("K410002", "sample", None), ("K410002", "pulp duplicate", None)
    ]  # fmt: skip
    assert values(done, "K410001", "Au") == [("0,52", 0.52, "none", True)]
    limits = {row["raw_text"]: row["lower_limit"] for row in done.results.iter_rows(named=True)}
    assert limits == {"0,52": None, "1,2": 0.001, "< 0,01": None, "< 0,005": 0.005, "0,02": None}


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("Au_ppm", ("Au", "[ppm]", "", None, None)),
        ("Au-FA50 (g/t)", ("Au", "g/t", "FA50", None, None)),
        ("FA30 Au ppb", ("Au", "[ppb]", "FA30", None, None)),
        ("Ag ppm 0.01-100", ("Ag", "[ppm]", "", 0.01, 100.0)),
        ("Cu ppm (0.5)", ("Cu", "[ppm]", "", 0.5, None)),
        ("Al2O3_pct", ("Al2O3", "%", "", None, None)),
        ("S_total %", ("S total", "%", "", None, None)),
        ("CU PPM", ("Cu", "[ppm]", "", None, None)),
        ("LOI %", ("LOI", "%", "", None, None)),
    ],
)
def test_units_methods_and_limits_beside_the_element(header, expected):
    _, done = read(f"Sample,{header}\nK1,0.7\n", SETTLED)
    one = done.analytes[0]
    assert (one.element, one.unit, one.method, one.lower_limit, one.upper_limit) == expected


@pytest.mark.parametrize("word", ["Sample", "As received", "Remarks", "Hole", "No", "Description of core", "CORE"])
def test_a_word_that_only_looks_like_an_element_is_no_column_of_results(word):
    _, done = read(f"Sample,{word},Zn ppm\nK1,3,4\n", SETTLED)
    assert [one.element for one in done.analytes] == ["Zn"]


@pytest.mark.parametrize("written", ["oz/t", "opt", "oz/ton"])
def test_ounces_a_ton_are_not_read_before_the_ton_is_named(written):
    raw = f"Sample,Au {written}\nK1,0.7\n"
    asked = questions(raw, SETTLED)
    assert "which ton" in asked["unit:2"]
    _, done = read(raw, SETTLED | {"unit:2": "[oz_tr]/[ston_av]"})
    assert done.analytes[0].ppm_per_unit == pytest.approx(34.2857, abs=5e-5)
    assert list(questions(raw, SETTLED | {"unit:2": written})) == ["unit:2"]


def test_what_the_file_does_not_say_is_asked():
    assert set(questions("Sample,Au\nK1,0.7\n")) == {"laboratory", "job", "reported", "unit:2"}
    assert "no certain day" in questions("Reported: 4/5/2031\nSample,Au ppm\nK1,1\n")["reported"]
    assert "reported" not in questions("Reported: 24/5/2031\nSample,Au ppm\nK1,1\n")
    assert "reported" not in questions("Reported: 4/5/2031\nSample,Au ppm\nK1,1\n", {"date_order": "dmy"})


def test_a_negative_number_that_is_no_stated_limit_is_asked_once_a_file():
    raw = "Sample,Au ppm (0.01),Cu ppm\nK1,-0.01,-5\nK2,-9999,-5\n"
    assert "2 results are negative" in questions(raw, SETTLED)["negative"]
    _, done = read(raw, SETTLED | {"negative": "limit"})
    assert values(done, "K1", "Au") == [("-0.01", 0.01, "lt", True)]
    assert values(done, "K1", "Cu") == [("-5", 5.0, "lt", True)]
    assert values(done, "K2", "Au") == [("-9999", None, "not_analysed", True)]
    _, done = read(raw, SETTLED | {"negative": "number"})
    assert values(done, "K1", "Cu") == [("-5", -5.0, "none", True)]


def test_the_decimal_mark_is_found_or_asked_never_guessed():
    assert "decimal_mark" in questions("Sample;Au ppm\nK1;1,234\nK2;2,345\n", SETTLED)
    _, done = read("Sample;Au ppm\nK1;1,234\nK2;2,3\n", SETTLED)
    assert values(done, "K1", "Au") == [("1,234", 1.234, "none", True)]
    _, done = read('Sample,Au ppm\nK1,"1,234.5"\nK2,2.3\n', SETTLED)
    assert values(done, "K1", "Au") == [("1,234.5", 1234.5, "none", True)]


def test_more_than_the_whole_sample_is_an_alarm():
    _, done = read("Sample,Cu %\nK1,117\nK2,99\n", SETTLED)
    assert [(row["place"], row["note"]) for row in done.notes.iter_rows(named=True)] == [
        (1, "more than the whole sample: check the unit")
    ]


def test_marks_suffixes_and_names_tell_the_laboratorys_own_lines():
    raw = "Sample,Au ppm\nK410001,1\nK410001 DUP,1\nK410001-CD,1\nSTD 4,1\nBLANK,0.1\nDUP K410002,2\nK410002,2\nSTDX1,3\n"
    _, done = read(raw, SETTLED)
    assert list(done.lines.select("number", "line_kind").iter_rows()) == [
        ("K410001", "sample"),
        ("K410001", "pulp duplicate"),
        ("K410001", "coarse duplicate"),
        ("STD 4", "laboratory standard"),
        ("BLANK", "laboratory blank"),
        ("K410002", "pulp duplicate"),
        ("K410002", "sample"),
        ("STDX1", "sample"),
    ]
    _, done = read("Sample,Type,Au ppm\nK1,X9,1\nK2,SMP,1\n", SETTLED | {"mark:X9": "laboratory blank"})
    assert done.lines["line_kind"].to_list() == ["laboratory blank", "sample"]
    _, done = read("Sample,Type,Au ppm\nK1,X9,1\nK2,SMP,1\n", SETTLED)
    assert done.line_notes["note"].to_list() == ["unknown mark 'X9'"]


def test_a_workbook_with_merged_headers_and_a_sheet_before_it():
    rows = [["Sample", "Au", None, "Cu"], [None, "ppm", "ppb", "ppm"], [None, "FA", "GRAV", "ICP"], ["K1", 1.5, 1500, "<1"]]
    raw = workbook(rows, merged=("B1:C1",), first=[["Demo laboratory B"], ["nothing here"]])
    proposal, done = read(raw, SETTLED)
    assert proposal.places["sheet"] == "Results"
    assert [(a.element, a.unit, a.method) for a in done.analytes] == [
        ("Au", "[ppm]", "FA"), ("Au", "[ppb]", "GRAV"), ("Cu", "[ppm]", "ICP")
    ]  # fmt: skip
    assert values(done, "K1", "Cu") == [("<1", 1.0, "lt", True)]


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-32", "cp1252"])
def test_marks_and_older_encodings_are_read(encoding):
    raw = "Sample,Au (µg/g)\nK1,1.5\n".encode(encoding)
    _, done = read(raw, SETTLED)
    assert done.analytes[0].unit == "ug/g"


def remembered(raw: str, settled: dict) -> ColumnMapping:
    proposal = open_file(raw.encode(), source="x.csv").propose(settled)
    return ColumnMapping(proposal.laboratory, proposal.layout, proposal.to_remember(), proposal.header_digest)


def test_a_confirmed_mapping_is_used_again_without_a_question_while_the_header_stays():
    first = "Made by: x\nSample,Au\nK1,0.7\n"
    mapping = remembered(first, SETTLED | {"unit:2": "g/t", "negative": "limit"})
    assert set(mapping.more["settled"]) == {"unit:2", "decimal_mark"}, "what is of one file only is not remembered"
    again = "Job: J2\nReported: 2031-07-01\nmore words above\nSample,Au\nK9,0.9\n"
    proposal = open_file(again.encode(), source="y.csv").propose({}, remembered=[mapping])
    assert proposal.remembered
    assert proposal.questions == ()
    assert (proposal.laboratory, proposal.columns[0].unit) == ("Demo laboratory A", "g/t")


def test_a_changed_header_is_asked_again_and_what_changed_is_said():
    mapping = remembered("Sample,Au ppm,Cu ppm\nK1,0.7,3\n", SETTLED)
    raw = "Sample,Au ppm,Cu %,Ag ppm\nK1,0.7,3,1\n"
    proposal = open_file(raw.encode(), source="y.csv").propose(SETTLED, remembered=[mapping])
    assert not proposal.remembered
    assert proposal.changed == ("column 3 was 'Cu ppm', is 'Cu %'", "column 4 is new: Ag ppm")
    other = open_file(raw.encode(), source="y.csv").propose(SETTLED | {"laboratory": "Another"}, remembered=[mapping])
    assert other.changed == ()


def refusal(raw: str | bytes, settled: dict | None = None) -> list[tuple]:
    def all_of_it() -> None:
        opened = open_file(raw.encode() if isinstance(raw, str) else raw, source="bad.csv")
        opened.read(opened.propose(SETTLED | (settled or {})))

    with pytest.raises(LoadRefused) as refused:
        all_of_it()
    assert all(fault.remedy for fault in refused.value.faults)
    return [(fault.row, fault.column, fault.problem) for fault in refused.value.faults]


def test_bad_files_are_refused_with_every_fault():
    table = "Sample,Au ppm,Cu ppm\nK1,1.5,2\n"
    assert "without a sample number" in refusal(table + ",3,4\n")[0][2]
    assert refusal(table + ",3,4\n")[0][0] == 3
    assert "cut off" in refusal(table + "K2,1.5,3\nK3,1")[0][2]
    assert "cannot be a sample number" in refusal(table + "K\u00a72,3,4\n")[0][2]
    assert "does not look like a table of results" in refusal("a,b\n1,2\n")[0][2]
    assert "nothing in the file" in refusal("  \n \n")[0][2]
    assert "more cells than the header" in refusal(table + "K2,1,5,7,8\nK3,1,2\n")[0][2]
    assert "no line with a sample number" in refusal("Sample,Au ppm\n")[0][2]
    assert "quote marks" in refusal(table + 'K2,"3,4\n')[0][2]
    rows = [["Sample", "Au ppm"], ["K1", "=1+2"], ["K2", "#N/A"]]
    assert [(row, column, problem[:12]) for row, column, problem in refusal(workbook(rows))] == [
        (2, "Au ppm", "a formula st"), (3, "Au ppm", "the cell hol")
    ]  # fmt: skip


def test_lines_that_only_lost_empty_cells_at_their_end_are_read():
    _, done = read("Sample,Au ppm,Cu ppm\nK1,1.5\nK2,1.5,3\nK3,1\n", SETTLED)
    assert done.lines.height == 3
    assert values(done, "K1", "Cu") == []
