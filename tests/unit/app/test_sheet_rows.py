"""Rows of a cut sheet: methods by condition, duplicates, whole core, rubble, controls and their reasons."""

from __future__ import annotations

from itertools import pairwise

import pytest

from trayside.core.cut_geometry import cut_pieces, quarter_pieces, whole_area

CUT = dict(core_diameter_mm=47.6, kerf_mm=2.5, offset_mm=3.0)
HALVES = cut_pieces(**CUT)
WHOLE_MM2 = whole_area(core_diameter_mm=47.6)
QUARTER_MM2 = quarter_pieces(**CUT, second_offset_mm=0.0).near_quarter_mm2
FAR_QUARTER_MM2 = quarter_pieces(**CUT | {"offset_mm": -3.0}, second_offset_mm=0.0).near_quarter_mm2
DENSITY_T_M3 = {"GRD": 2.7, "QZV": 2.6}


def kg(area_mm2: float, row) -> float:
    """Mass of a bag of one rock with all its core there."""
    return pytest.approx(area_mm2 * DENSITY_T_M3[row.rock] * (row.to_mm - row.from_mm) / 1e6, abs=1e-4)


def pairs_of(yard, hole_id: str = "A-1") -> list[tuple]:
    """(sample, its duplicate) of a planned hole."""
    rows = yard.sheet(hole_id).rows
    by_number = {row.number: row for row in rows}
    pairs = [(by_number[row.duplicate_of], row) for row in rows if row.kind == "duplicate"]
    assert len(pairs) >= 2
    return pairs


def plan_with(yard, rules: str, hole_id: str = "A-1"):
    yard.rules += rules
    yard.load()
    return yard.plan(hole_id).sheet


def test_an_ordinary_sample_is_the_bagged_half_with_its_place_and_reasons(planned):
    row = planned.sheet().rows[0]
    assert (row.seq, row.kind, row.from_mm, row.to_mm) == (1, "sample", 8000, 9000)
    assert (row.method, row.portion, row.side) == ("automatic saw", "half", "right")
    assert row.method_reason == planned.view().rules.cut.reason_by_condition["intact"]
    assert (str(row.from_place), str(row.to_place)) == ("tray 2, row 3, 0 cm", "tray 2, row 3, 100 cm")
    assert (row.core_size, row.rock, row.condition, row.grade_class) == ("NQ", "GRD", "intact", "barren")
    assert row.recovered_mm == 1000
    assert row.expected_kg == kg(HALVES.near_mm2, row)
    assert row.low_kg < row.expected_kg < row.high_kg
    assert row.top_reason
    assert row.reason == ""


def test_rows_are_counted_from_one_and_duplicates_follow_their_sample(planned):
    rows = planned.sheet().rows
    assert [row.seq for row in rows] == list(range(1, len(rows) + 1))
    for index, row in enumerate(rows):
        if row.kind == "duplicate":
            assert row.duplicate_of == rows[index - 1].number
            assert (row.from_mm, row.to_mm, row.rack) == (rows[index - 1].from_mm, rows[index - 1].to_mm, 1)
        else:
            assert row.duplicate_of is None


def test_controls_have_material_reason_and_the_mass_of_one_insertion(planned):
    controls = [row for row in planned.sheet().rows if not row.is_core]
    assert {row.kind for row in controls} == {"standard", "blank"}
    for row in controls:
        mass_kg = 1.5 if row.material == "BLK" else 0.06
        assert (row.expected_kg, row.low_kg, row.high_kg) == pytest.approx((mass_kg, mass_kg * 0.9, mass_kg * 1.1))
        assert row.reason.endswith(".")
        assert (row.from_mm, row.from_place, row.method) == (None, None, "")


def test_reasons_name_depths_and_classes_rather_than_counts(planned):
    reasons = [row.reason for row in planned.sheet().rows if row.kind == "duplicate"]
    for sample, row in pairs_of(planned):
        assert (
            f"{sample.from_mm / 1000:.2f}–{sample.to_mm / 1000:.2f} m, grade class {sample.grade_class}" in row.reason
        )
    assert len(reasons) >= 2


def test_two_quarters_of_the_bagged_half(yard):
    plan_with(yard, '[controls.duplicate_types]\n"quarter/quarter" = 1.0\n')
    for sample, row in pairs_of(yard):
        assert (sample.portion, sample.side) == (row.portion, row.side) == ("quarter", "right")
        assert sample.expected_kg == row.expected_kg == kg(QUARTER_MM2, row)


def test_both_halves(yard):
    plan_with(yard, '[controls.duplicate_types]\n"half/half" = 1.0\n')
    for sample, row in pairs_of(yard):
        assert (sample.portion, sample.side, row.portion, row.side) == ("half", "right", "half", "left")
        assert sample.expected_kg == kg(HALVES.near_mm2, sample)
        assert row.expected_kg == kg(HALVES.far_mm2, row)


def test_the_bagged_half_and_a_quarter_of_the_other(yard):
    plan_with(yard, '[controls.duplicate_types]\n"half/quarter" = 1.0\n')
    for sample, row in pairs_of(yard):
        assert (sample.portion, sample.side, row.portion, row.side) == ("half", "right", "quarter", "left")
        assert row.expected_kg == kg(FAR_QUARTER_MM2, row)


def test_a_yard_that_bags_the_left_half(yard):
    plan_with(yard, '[cut]\nbag_side = "left"\n[controls.duplicate_types]\n"half/half" = 1.0\n')
    for sample, row in pairs_of(yard):
        assert (sample.side, row.side) == ("left", "right")
        assert sample.expected_kg == kg(HALVES.near_mm2, sample)
        assert row.expected_kg == kg(HALVES.far_mm2, row)


@pytest.mark.parametrize(
    ("condition", "method", "side"),
    [
        ("intact", "automatic saw", "right"),
        ("blocky", "manual saw", "right"),
        ("rubble", "half by mass", ""),
        ("clay", "knife", "right"),
    ],
)
def test_the_method_follows_the_condition(yard, condition, method, side):
    yard.rows("rock", "A-1")[1]["condition"] = condition
    yard.load()
    ore = [row for row in yard.plan().sheet.rows if row.is_core and 10_000 <= row.from_mm < 20_000]
    assert len(ore) >= 8
    assert {(row.method, row.side) for row in ore} == {(method, side)}


def test_rubble_is_half_of_all_core_without_a_slot(yard):
    yard.rows("rock", "A-1")[1]["condition"] = "rubble"
    plan_with(yard, '[controls.duplicate_types]\n"half/half" = 1.0\n')
    rows = [row for row in yard.sheet().rows if row.method == "half by mass"]
    assert {row.portion for row in rows} == {"half"}
    assert all(row.expected_kg == kg(WHOLE_MM2 / 2, row) for row in rows)
    assert all(row.high_kg - row.expected_kg >= 3 * 0.10 * row.expected_kg for row in rows)


@pytest.mark.parametrize("rules", ['[cut]\nwhole_rocks = ["QZV"]\n', '[cut]\nportion = "whole"\n'])
def test_core_sent_whole_is_not_halved_unless_it_fills_two_bags(yard, rules):
    plan_with(yard, rules)
    ore = [row for row in yard.sheet().rows if row.rock == "QZV"]
    single = [row for row in ore if row.duplicate_type is None]
    assert {(row.method, row.portion, row.side) for row in single} == {("whole core", "whole", "")}
    assert all(row.expected_kg == kg(WHOLE_MM2, row) for row in single)
    twice = [pair for pair in pairs_of(yard) if pair[1].rock == "QZV"]
    assert twice
    for sample, row in twice:
        assert (sample.portion, row.portion) == ("half", "half")
        assert sample.duplicate_type == row.duplicate_type == "half/half"
        assert sample.expected_kg + row.expected_kg <= WHOLE_MM2 * 2.6 / 1000 + 1e-4
        assert "Duplicate (half/half)" in row.reason


def test_a_sample_with_a_hole_in_it_weighs_what_is_there(yard):
    yard.rows("runs", "A-1")[4]["recovered_m"] = 2.8
    yard.tables["losses"] = [{"hole_id": "A-1", "from_m": 12.5, "lost_m": 0.2, "position": "seen"}]
    yard.load()
    row = next(row for row in yard.plan().sheet.rows if row.kind == "sample" and row.from_mm <= 12_500 < row.to_mm)
    assert row.recovered_mm == row.to_mm - row.from_mm - 200
    area = HALVES.near_mm2 if row.portion == "half" else QUARTER_MM2
    assert row.expected_kg == pytest.approx(area * 2.6 * row.recovered_mm / 1e6, abs=1e-4)


def test_the_main_rock_names_the_bag_and_cautions_of_all_its_rocks_are_passed_on(yard):
    rock = yard.rows("rock", "C-7")[0]
    yard.tables["rock"].remove(rock)
    yard.tables["rock"] += [
        rock | {"to_m": 0.7, "caution": "sulphide"},
        rock
        | {
            "from_m": 0.7,
            "to_m": 1,
            "rock": "QZV",
            "contact": "soft",
            "caution": "visible gold",
            "grade_class": "high",
        },
        rock | {"from_m": 1, "contact": "soft"},
    ]
    yard.load()
    row = yard.plan("C-7").sheet.rows[0]
    assert (row.from_mm, row.to_mm, row.rock, row.grade_class) == (0, 1000, "GRD", "high")
    assert row.caution == "sulphide; visible gold"


def test_a_rock_that_is_not_intact_all_through_follows_most_of_the_core(yard):
    rock = yard.rows("rock", "C-7")[0]
    yard.tables["rock"].remove(rock)
    yard.tables["rock"] += [
        rock | {"to_m": 0.4, "condition": "rubble"},
        rock | {"from_m": 0.4, "contact": "soft"},
    ]
    yard.load()
    row = yard.plan("C-7").sheet.rows[0]
    assert (row.from_mm, row.to_mm, row.method) == (0, 1000, "automatic saw")


def test_a_boundary_set_only_by_its_length_is_called_even_length(yard):
    rock = yard.rows("rock", "A-1")
    rock[0]["to_m"] = rock[1]["from_m"] = 10.3
    sheet = plan_with(yard, "[sampling]\nminimum_m = 0.8\nmaximum_m = 1.05\n")
    words = {reason for row in sheet.rows if row.is_core for reason in (row.top_reason, row.bottom_reason)}
    assert "even length" in words
    assert "length" not in words


def test_what_the_controls_would_miss_counts_standards_and_blanks_only(planned):
    sheet = planned.sheet()
    (power,) = [one for one in planned.view().findings if one.code == "control.power"]
    known = [row.kind in ("standard", "blank") for row in sheet.rows]
    touched = [above or below for above, below in pairwise(known)]
    assert power.evidence["swap_share"] == pytest.approx(sum(touched) / len(touched), abs=1e-4)
    number = {row.duplicate_of for row in sheet.rows if row.kind == "duplicate"}
    mark = [row.duplicate_of or (row.number if row.number in number else None) for row in sheet.rows]
    parted = [a != b and not hit for (a, b), hit in zip(pairwise(mark), touched, strict=True)]
    assert any(a == b is not None for a, b in pairwise(mark))
    assert power.evidence["parted_pair_share"] == pytest.approx(sum(parted) / len(parted), abs=1e-4)
    assert "touch a standard or blank; another" in power.message
