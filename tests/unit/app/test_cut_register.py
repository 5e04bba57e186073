"""The cut-line register: newest decision on top, in words, in the ledger, and held against what was drawn."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from tests.unit.app.cut_cases import NQ_MM

from trayside.app.cut_register import (
    CutLine,
    TrayReading,
    away_from_set,
    drift_of,
    register_of,
)
from trayside.app.cut_words import edge_deg, line_words, mark_words, row_line, side_words
from trayside.app.typed_angle import typed_number, typed_turn_deg
from trayside.errors import ImpossibleValue
from trayside.model.cut_sheet import SheetRow
from trayside.model.rules import CutSettings, Rules

NOW = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)


def line(from_mm: int, to_mm: int, start: float, end: float | None = None, side: str = "right") -> CutLine:
    return CutLine(from_mm, to_mm, start, start if end is None else end, side, "best plane", "why", "A", "2031")


def sample(from_mm: int, to_mm: int, **more) -> SheetRow:
    return SheetRow(1, "sample", "T1", from_mm, to_mm, side="right", portion="half", method="saw", **more)


def test_nothing_set_is_the_yards_rule():
    register = register_of((), Rules(cut=CutSettings(bag_side="left")))
    (only,) = register.over(5_000, 9_000)
    assert (only.from_mm, only.to_mm, only.on_the_line, only.side, only.is_set) == (5_000, 9_000, True, "left", False)


def test_a_later_decision_holds_over_an_earlier_one_and_leaves_the_rest():
    register = register_of((line(0, 100_000, 10), line(40_000, 60_000, 30, 50, side="left")), Rules())
    held = register.over(0, 120_000)
    assert [(one.from_mm, one.to_mm) for one in held] == [
        (0, 40_000),
        (40_000, 60_000),
        (60_000, 100_000),
        (100_000, 120_000),
    ]
    assert [one.side for one in held] == ["right", "left", "right", "right"]
    assert register.at(50_000).angle_at(50_000) == pytest.approx(40)
    assert register.at(110_000).is_set is False


def test_a_stretch_cut_out_of_a_turning_line_keeps_its_angles():
    register = register_of((line(0, 100_000, 0, 40), line(40_000, 50_000, 90)), Rules())
    top, _, foot, _ = register.over(0, 100_001)
    assert (top.start_deg, top.end_deg) == (0, pytest.approx(16))
    assert (foot.start_deg, foot.end_deg) == (pytest.approx(20), 40)


def test_a_turn_takes_the_shorter_way_round():
    assert line(0, 1000, 170, -170).angle_at(500) == pytest.approx(180)


@pytest.mark.parametrize(
    ("angle", "words"),
    [
        (0.0, "on the orientation line"),
        # Arc = pi D angle / 360 with D 47.6 mm (derived); 120 degrees is 49.847 mm on NQ (derived).
        (30.0, "12 mm clockwise of the orientation line"),
        (-30.0, "12 mm anticlockwise of the orientation line"),
        (90.0, "37 mm clockwise of the orientation line"),
        (120.0, "straight across from a mark 25 mm anticlockwise of the orientation line (50 mm clockwise)"),
        (180.0, "straight across from the orientation line (75 mm round the core)"),
    ],
)
def test_an_angle_is_said_as_arc_from_the_line(angle, words):
    assert mark_words(angle, core_diameter_mm=NQ_MM) == words


@pytest.mark.parametrize("cut", [1.0, 45.0, 89.0, 91.0, 179.0])
def test_the_orientation_line_always_stays_on_the_kept_half(cut):
    for side in ("right", "left"):
        angle = edge_deg(cut, side=side)
        assert (angle - cut) % 180.0 == pytest.approx(0.0)
        kept = "left" if side == "right" else "right"
        assert f"the orientation line stays on the {kept} half" in side_words(line(0, 1000, angle, side=side))
        assert "goes into the bag" in side_words(line(0, 1000, -angle, side=side))


def test_a_turning_line_is_said_from_its_top_to_its_bottom():
    told = line_words(line(10_000, 20_000, 10, 40), core_diameter_mm=NQ_MM, unit="m")
    assert told == (
        "Draw the cut line from 4 mm clockwise of the orientation line at 10.00 m evenly to "
        "17 mm clockwise of the orientation line at 20.00 m."
    )


def test_the_bags_say_where_the_cut_line_runs_on_their_core():
    rules = Rules()
    nothing = row_line(sample(0, 1000), register_of((), rules), core_diameter_mm=NQ_MM, unit="m")
    assert nothing == ("", "drawn line")
    register = register_of((line(500, 10_000, 30), line(5_000, 10_000, 30, side="left")), rules)
    told, name = row_line(sample(1_000, 2_000), register, core_diameter_mm=NQ_MM, unit="m")
    assert (told, name) == ("Cut line: 12 mm clockwise of the orientation line.", "cut line")
    told, _ = row_line(sample(0, 1_000), register, core_diameter_mm=NQ_MM, unit="m")
    assert told == (
        "Cut line down to 0.50 m: on the orientation line. Cut line down to 1.00 m: 12 mm clockwise of the orientation line."
    )
    told, _ = row_line(sample(6_000, 7_000), register, core_diameter_mm=NQ_MM, unit="m")
    assert told == "The register bags the left half here, this sheet the right half: ask before you cut."
    by_mass = SheetRow(1, "sample", "T1", 1_000, 2_000, side="", portion="half", method="half by mass")
    assert row_line(by_mass, register, core_diameter_mm=NQ_MM, unit="m")[0] == ""


def reading(tray: int, start: int, end: int) -> TrayReading:
    return TrayReading(tray, (tray - 1) * 5_000, tray * 5_000, start, end, "A", "2031")


def test_a_drawn_line_that_turns_over_many_trays_is_told_from_one_that_only_scatters():
    turning = [reading(at, 3 * at, 3 * at + 3) for at in range(1, 13)]
    drift = drift_of(turning, Rules())
    assert drift.turns
    assert drift.slope_deg_per_m == pytest.approx(0.6, abs=1e-9)
    assert drift.total_deg == pytest.approx(36)
    scatter = [reading(at, (at * 7) % 5 - 2, (at * 11) % 5 - 2) for at in range(1, 13)]
    assert not drift_of(scatter, Rules()).turns
    assert drift_of(turning[:1], Rules()) is None


def test_what_was_drawn_is_held_against_what_was_set():
    register = register_of((line(0, 10_000, 10, 30),), Rules())
    assert away_from_set(reading(1, 12, 15), register) == (pytest.approx(2), pytest.approx(-5, abs=0.01))


@pytest.mark.parametrize(
    ("text", "angle"),
    [
        ("30°", 30),
        ("-30 °", -30),
        ("12.462 mm", 30),
        ("-12,462mm", -30),
        ("0", 0),
        ("90 deg", 90),
        ("\u22125 mm", -12.037),
    ],
)
def test_a_place_round_the_core_is_read_in_millimetres_or_degrees(text, angle):
    assert typed_turn_deg(text, core_diameter_mm=NQ_MM) == pytest.approx(angle, abs=0.002)


@pytest.mark.parametrize("text", ["", "12", "mm", "twelve mm", "400°", "12 cm", "1e3 mm"])
def test_a_place_that_cannot_be_read_is_refused_with_a_way_out(text):
    with pytest.raises(ImpossibleValue, match="12 mm"):
        typed_turn_deg(text, core_diameter_mm=NQ_MM)


def test_an_angle_in_a_field_of_its_own_has_a_range():
    assert typed_number("45,5°", "Alpha", low=0, high=90) == 45.5
    for text in ("", "x", "91", "nan"):
        with pytest.raises(ImpossibleValue, match="Alpha"):
            typed_number(text, "Alpha", low=0, high=90)
