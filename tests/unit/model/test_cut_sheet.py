"""Cut sheets: what a revision changes in words, and the fingerprint that any change must change."""

from __future__ import annotations

import hashlib
from dataclasses import fields, replace

import pytest

from trayside.model.cut_sheet import Place, SheetRow, changes_between
from trayside.model.sheet_digest import canonical_rows, sheet_digest

SAMPLE = SheetRow(
    seq=1,
    kind="sample",
    number="K001",
    from_mm=10_000,
    to_mm=11_000,
    from_place=Place(3, 2, 40.0),
    to_place=Place(3, 3, 35.5),
    core_size="NQ",
    rock="GRD",
    condition="intact",
    grade_class="low",
    recovered_mm=980,
    method="automatic saw",
    method_reason="long sticks",
    portion="half",
    side="right",
    expected_kg=2.2,
    low_kg=2.0,
    high_kg=2.4,
    top_reason="contact",
    bottom_reason="whole metre",
    caution="",
)
STANDARD = SheetRow(seq=2, kind="standard", number="K002", material="STD-A", reason="by rate", rack=1)
OTHER = {
    "seq": 9,
    "kind": "duplicate",
    "number": "K099",
    "from_mm": 10_001,
    "to_mm": 11_001,
    "from_place": Place(3, 2, 40.1),
    "to_place": None,
    "core_size": "HQ",
    "rock": "QV",
    "condition": "blocky",
    "grade_class": "high",
    "recovered_mm": 981,
    "method": "manual saw",
    "method_reason": "short pieces",
    "portion": "quarter",
    "side": "left",
    "expected_kg": 2.201,
    "low_kg": 2.001,
    "high_kg": None,
    "material": "STD-B",
    "duplicate_of": "K001",
    "duplicate_type": "half/half",
    "top_reason": "by hand",
    "bottom_reason": "by hand",
    "reason": "by rate",
    "caution": "visible gold",
    "rack": 2,
}


def digest(*rows: SheetRow, hole_id: str = "T-1", revision: int = 1) -> str:
    return sheet_digest(hole_id=hole_id, revision=revision, rows=rows)


def test_equal_rows_have_the_same_fingerprint_and_it_is_sha256_of_the_canonical_text():
    assert digest(SAMPLE, STANDARD) == digest(replace(SAMPLE), replace(STANDARD))
    text = f"T-1\n1\n{canonical_rows((SAMPLE,))}"
    assert digest(SAMPLE) == hashlib.sha256(text.encode("utf-8")).hexdigest()


def test_every_field_of_a_row_has_another_value_to_try():
    assert set(OTHER) == {field.name for field in fields(SheetRow)}


@pytest.mark.parametrize("name", OTHER)
def test_a_change_of_any_field_changes_the_fingerprint(name):
    assert getattr(SAMPLE, name) != OTHER[name]
    assert digest(replace(SAMPLE, **{name: OTHER[name]})) != digest(SAMPLE)


def test_hole_revision_order_and_count_of_rows_change_the_fingerprint():
    found = {
        digest(SAMPLE, STANDARD),
        digest(STANDARD, SAMPLE),
        digest(SAMPLE),
        digest(),
        digest(SAMPLE, STANDARD, hole_id="T-2"),
        digest(SAMPLE, STANDARD, revision=2),
    }
    assert len(found) == 6


def test_the_last_bits_of_a_mass_do_not_change_the_fingerprint():
    assert digest(replace(SAMPLE, expected_kg=2.2 + 1e-9)) == digest(SAMPLE)


def test_rows_added_withdrawn_and_changed_are_named_by_their_numbers():
    after = (
        replace(SAMPLE, to_mm=10_500, side="left", caution="visible gold"),
        replace(STANDARD, number="K003"),
    )
    assert changes_between((SAMPLE, STANDARD), after) == (
        "K002 withdrawn (standard STD-A)",
        "K003 added (standard STD-A)",
        "K001 was sample 10.00–11.00 m, is sample 10.00–10.50 m",
        "K001 half to bag: was right, is left",
        "K001 caution: was none, is visible gold",
    )


def test_a_piece_that_lies_elsewhere_or_weighs_otherwise_is_a_change():
    moved = replace(SAMPLE, from_place=Place(4, 1, 12.0), expected_kg=2.3, low_kg=2.1, high_kg=2.5)
    assert changes_between((SAMPLE,), (moved,)) == (
        "K001 starts at: was tray 3, row 2, 40 cm, is tray 4, row 1, 12 cm",
        "K001 expected mass: was 2.200 kg (2.000 to 2.400), is 2.300 kg (2.100 to 2.500)",
    )


def test_a_duplicate_of_another_sample_is_a_change():
    before = replace(SAMPLE, kind="duplicate", number="K009", duplicate_of="K001")
    (line,) = changes_between((before,), (replace(before, duplicate_of="K004"),))
    assert line == "K009 duplicate of: was K001, is K004"


@pytest.mark.parametrize("name", OTHER)
def test_no_change_of_a_row_goes_unsaid(name):
    assert changes_between((SAMPLE,), (SAMPLE,)) == ()
    assert changes_between((SAMPLE,), (replace(SAMPLE, **{name: OTHER[name]}),)) != ()


def test_the_same_rows_in_another_order_are_a_change():
    assert changes_between((SAMPLE, STANDARD), (STANDARD, SAMPLE)) == ("order, reasons or remarks of the rows changed",)


def test_a_place_reads_as_a_person_says_it():
    assert str(Place(12, 3, 44.6)) == "tray 12, row 3, 45 cm"
