"""The laboratory's received list: what is read of CSV and typed lines, and every fault named at once."""

from __future__ import annotations

import hashlib

import pytest

from trayside.errors import LoadRefused
from trayside.files.received_list import MOST_LINES, read_received
from trayside.model.load import ReceivedLine


def read(text: str, *, unit: str | None = "kg", source: str = "list.csv"):
    return read_received(text.encode(), source=source, mass_unit=unit)


def faults(text: str | bytes, *, unit: str | None = "kg") -> list[tuple[int | None, str | None, str]]:
    raw = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(LoadRefused) as refused:
        read_received(raw, source="list.csv", mass_unit=unit)
    return [(fault.row, fault.column, fault.problem) for fault in refused.value.faults]


def test_a_list_with_every_column_is_read_as_it_stands():
    text = "number,mass_kg,condition,sack,seal,remark\nK410001,2.345,opened,SK-00001,Z-77,tie gone\nK410002,1.9,,,,\n"
    found = read(text)
    assert found.lines == (
        ReceivedLine(2, "K410001", 2345, "opened", "SK-00001", "Z-77", "tie gone"),
        ReceivedLine(3, "K410002", 1900),
    )
    assert (found.source, found.sha256) == ("list.csv", hashlib.sha256(text.encode()).hexdigest())


@pytest.mark.parametrize(
    ("head", "mass", "grams"),
    [
        ("mass_kg", "2.345", 2345), ("mass_g", "2345", 2345), ("Mass (kg)", "2,345", 2345), ("Weight_lb", "1", 454),
        ("received mass g", "12.4", 12), ("wt_kg", "0.001", 1), ("MASS RECEIVED KG", "3", 3000),
    ],
)  # fmt: skip
def test_a_mass_is_whole_grams_whatever_unit_its_column_names(head, mass, grams):
    # 1 lb = 0.45359237 kg (NIST SP 811, appendix B.8, from memory): 453.59 g, 454 when whole.
    (line,) = read(f'number;{head}\nK1;"{mass}"\n', unit=None).lines
    assert line.mass_g == grams


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_every_usual_delimiter_line_end_and_mark_is_taken(delimiter, end):
    text = end.join([delimiter.join(("Sample No.", "mass_kg")), delimiter.join(("K1", "1.5")), delimiter.join(("K2", "")), ""])
    found = read_received(b"\xef\xbb\xbf" + text.encode(), source="x", mass_unit=None)
    assert [(line.number, line.mass_g) for line in found.lines] == [("K1", 1500), ("K2", None)]


def test_a_comma_may_stand_for_the_point_where_it_does_not_part_the_cells():
    (line,) = read("number;mass_kg\nK1;2,5\n").lines
    assert line.mass_g == 2500


@pytest.mark.parametrize(
    ("word", "condition", "remark"),
    [("ok", "", ""), ("Intact", "", ""), ("damp", "wet", ""), ("OPEN", "opened", ""), ("Damaged", "damaged", ""),
     ("squashed flat", "damaged", "squashed flat")],
)  # fmt: skip
def test_a_condition_nobody_knows_stands_as_damage_with_the_word_kept(word, condition, remark):
    (line,) = read(f"number,condition\nK1,{word}\n").lines
    assert (line.condition, line.remark) == (condition, remark)


def test_typed_lines_hold_number_mass_and_a_word():
    found = read("K410001 2.34\n\n  K410002\nK410003, 1.98, damaged, one corner\nK410004 wet\n", source="typed")
    assert [(line.line, line.number, line.mass_g, line.condition, line.remark) for line in found.lines] == [
        (1, "K410001", 2340, "", ""), (3, "K410002", None, "", ""), (4, "K410003", 1980, "damaged", "one corner"),
        (5, "K410004", None, "wet", ""),
    ]  # fmt: skip


def test_a_number_twice_is_no_fault_of_the_file():
    assert len(read("number\nK1\nK1\n").lines) == 2


@pytest.mark.parametrize(
    ("text", "row", "column", "said"),
    [
        ("number,mass_kg\nK1,heavy\n", 2, "mass", "this is no mass of a bag"),
        ("number,mass_kg\nK1,-2\n", 2, "mass", "this is no mass of a bag"),
        ("number,mass_kg\nK1,0\n", 2, "mass", "this is no mass of a bag"),
        ("number,mass_kg\nK1,9999\n", 2, "mass", "this is no mass of a bag"),
        ("number,mass_kg\n,1\n", 2, "number", "no number"),
        ("number\n?!\n", 2, "number", "this cannot be a number"),
        ("number,seal\nK1,<b>\n", 2, "seal", "this cannot be a seal"),
        ("number,number\nK1,K2\n", 1, "number", "the column stands twice"),
        ("number,mass_kg,mass_g\nK1,1,1000\n", 1, "mass", "masses stand in two columns"),
        ("number,mass_kg\nK1,1,2,3\n", 2, None, "4 cells in a table of 2 columns"),
        ('number,remark\nK1,"open\n', 2, None, "this is not CSV"),
        ("", None, None, "the file is empty"),
        ("number\n", None, None, "there is no number in it"),
    ],
)
def test_a_fault_is_named_with_its_row_and_column(text, row, column, said):
    (first, *_) = faults(text)
    assert first[:2] == (row, column)
    assert said in first[2]


def test_masses_without_a_unit_anywhere_are_not_guessed():
    assert "the unit of the masses is not said" in faults("number,mass\nK1,2\n", unit=None)[0][2]
    assert "the unit of the masses is not said" in faults("K1 2.3\n", unit=None)[0][2]


def test_every_fault_is_told_at_once_and_nothing_is_read():
    told = faults("number,mass_kg\nK1,x\n?,1\nK3,y\n")
    assert [(row, column) for row, column, _ in told] == [(2, "mass"), (3, "number"), (4, "mass")]


def test_a_file_that_is_no_text_is_refused():
    assert faults(b"PK\x03\x04\x00\x00\xff\xfe\x9c")
    assert faults("number\nK\u00e4se\n".encode("utf-16"))


def test_more_lines_than_a_load_ever_has_are_refused():
    text = "number\n" + "".join(f"K{at}\n" for at in range(MOST_LINES + 2))
    assert f"more than {MOST_LINES} lines" in faults(text)[0][2]
