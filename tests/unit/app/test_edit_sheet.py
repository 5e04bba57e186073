"""Edits by hand: move, split, join, add and drop, what is refused, and what is shown before it is saved."""

from __future__ import annotations

import pytest

from trayside.app.edit_sheet import Edit, preview_edit
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule


def spans(sheet) -> list[tuple[int, int]]:
    return [(row.from_mm, row.to_mm) for row in sheet.rows if row.kind == "sample"]


def whole_metres(first: int, last: int) -> list[tuple[int, int]]:
    return [(1000 * metre, 1000 * metre + 1000) for metre in range(first, last)]


def test_the_plan_these_edits_start_from(planned):
    assert spans(planned.sheet()) == whole_metres(8, 22)


def test_move_takes_both_samples_along(planned):
    saved = planned.edit(Edit("move", 15_000, 15_250))
    assert spans(saved.sheet)[6:8] == [(14_000, 15_250), (15_250, 16_000)]
    rows = {row.from_mm: row for row in saved.sheet.rows if row.kind == "sample"}
    assert (rows[14_000].bottom_reason, rows[15_250].top_reason) == ("by hand", "by hand")
    assert saved.sheet.by_hand == (15_250,)
    assert saved.sheet.edited_by == "Ada"
    assert saved.sheet.version == 2


def test_masses_and_places_follow_the_boundary(planned):
    before = next(row for row in planned.sheet().rows if row.from_mm == 15_000)
    planned.edit(Edit("move", 15_000, 15_250))
    after = next(row for row in planned.sheet().rows if row.from_mm == 15_250 and row.kind == "sample")
    assert after.expected_kg == pytest.approx(before.expected_kg * 0.75, abs=2e-4)
    assert str(after.from_place) == "tray 3, row 4, 25 cm"


def test_the_top_of_the_first_sample_moves_alone(planned, codes):
    saved = planned.edit(Edit("move", 8000, 8400))
    assert spans(saved.sheet)[0] == (8400, 9000)
    assert "plan.gap" in codes(saved.findings)


@pytest.mark.parametrize("to_mm", [16_000, 14_000, 20_000, 5_000])
def test_a_boundary_cannot_go_past_its_neighbours(planned, to_mm):
    with pytest.raises(ImpossibleValue, match="would vanish"):
        planned.edit(Edit("move", 15_000, to_mm))
    assert planned.sheet().version == 1


@pytest.mark.parametrize("edit", [Edit("move", 15_000), Edit("move", 15_000, -5)])
def test_a_move_needs_a_depth(planned, edit):
    with pytest.raises(ImpossibleValue, match="no depth to move to"):
        planned.edit(edit)


def test_split_and_join_undo_each_other(planned):
    before = planned.sheet()
    planned.edit(Edit("split", 15_500))
    assert (15_000, 15_500) in spans(planned.sheet())
    assert planned.sheet().by_hand == (15_500,)
    planned.edit(Edit("join", 15_500))
    assert spans(planned.sheet()) == spans(before)
    assert planned.sheet().by_hand == ()


def test_add_and_drop_undo_each_other(planned):
    planned.edit(Edit("drop", 8000))
    assert spans(planned.sheet()) == whole_metres(9, 22)
    planned.edit(Edit("add", 8000, 9000))
    assert spans(planned.sheet()) == whole_metres(8, 22)
    assert planned.sheet().by_hand == (8000, 9000)


def test_several_edits_are_one_save(planned):
    saved = planned.edit(Edit("join", 9000), Edit("move", 10_000, 9_900), Edit("split", 21_500))
    assert spans(saved.sheet)[0] == (8000, 9900)
    assert spans(saved.sheet)[-1] == (21_500, 22_000)
    assert saved.sheet.version == 2


@pytest.mark.parametrize(
    ("edit", "said"),
    [
        (Edit("move", 15_001, 15_100), "There is no boundary at 15.00 m"),
        (Edit("split", 15_000), "No sample holds at 15.00 m"),
        (Edit("split", 25_000), "No sample holds at 25.00 m"),
        (Edit("join", 8000), "No two samples meet at 8.00 m"),
        (Edit("join", 15_500), "No two samples meet at 15.50 m"),
        (Edit("drop", 15_500), "No sample starts at 15.50 m"),
        (Edit("add", 25_000), "a sample needs a top and a deeper bottom"),
        (Edit("add", 25_000, 25_000), "a sample needs a top and a deeper bottom"),
        (Edit("add", -1, 25_000), "a sample needs a top and a deeper bottom"),
    ],
)
def test_an_edit_that_fits_nothing_is_refused_and_nothing_is_saved(planned, edit, said):
    before = planned.sheet()
    with pytest.raises(ImpossibleValue, match=said):
        planned.edit(Edit("split", 12_500), edit)
    assert planned.sheet() == before


def test_the_last_sample_cannot_be_dropped(planned):
    with pytest.raises(ImpossibleValue):
        planned.edit(*(Edit("drop", top) for top, _ in spans(planned.sheet())))
    assert planned.sheet().version == 1


@pytest.mark.parametrize(
    ("edit", "code"),
    [
        (Edit("move", 10_000, 10_300), "plan.crosses_contact"),
        (Edit("add", 25_000, 26_000), "plan.outside_ground"),
        (Edit("add", 40_000, 41_000), "plan.outside_ground"),
        (Edit("add", 15_500, 16_500), "plan.overlap"),
        (Edit("drop", 15_000), "plan.gap"),
        (Edit("split", 15_200), "plan.too_short"),
        (Edit("join", 15_000), "plan.too_long"),
        (Edit("split", 15_050), "plan.bag_light"),
    ],
)
def test_an_odd_edit_is_saved_and_found(planned, codes, edit, code):
    saved = planned.edit(edit)
    assert code in codes(saved.findings)
    assert code in codes(planned.view().findings)


def test_findings_of_the_plan_name_the_number_of_the_bag(planned):
    saved = planned.edit(Edit("split", 15_200))
    short = next(finding for finding in saved.findings if finding.code == "plan.too_short")
    row = next(row for row in saved.sheet.rows if row.kind == "sample" and row.to_mm == 15_200)
    assert (short.number, short.from_mm, short.to_mm) == (row.number, 15_000, 15_200)


def test_a_preview_shows_what_saving_would_do_and_saves_nothing(planned):
    before, states = planned.sheet(), planned.number_states()
    edits = (Edit("split", 15_200),)
    shown = preview_edit("A-1", edits=edits, base_version=1, start_work=planned.start_work, make_id=planned.make_id)
    assert planned.sheet() == before
    assert planned.number_states() == states
    saved = planned.edit(*edits)
    assert shown.sheet.rows == saved.sheet.rows
    assert shown.findings == saved.findings
    assert any("sample 15.00–16.00 m" in line for line in shown.changes)


def test_the_second_editor_is_told_who_was_faster(planned):
    planned.edit(Edit("split", 15_500), base_version=1)
    with pytest.raises(ChangedMeanwhile, match="saved by Ada"):
        planned.edit(Edit("split", 12_500), base_version=1)
    assert spans(planned.sheet()).count((12_000, 13_000)) == 1


def test_there_must_be_a_plan_and_a_hole(planned):
    with pytest.raises(NotFound, match="no plan to edit"):
        planned.edit(Edit("split", 500), hole_id="C-7", base_version=1)
    with pytest.raises(NotFound, match="no such hole"):
        planned.edit(Edit("split", 500), hole_id="Z-9", base_version=1)


def test_an_edit_keeps_the_seed_and_planning_again_drops_what_was_done_by_hand(planned):
    seed = planned.sheet().seed
    planned.edit(Edit("split", 15_500))
    assert planned.sheet().seed == seed
    again = planned.plan().sheet
    assert (spans(again), again.by_hand) == (whole_metres(8, 22), ())


def test_a_hole_that_was_loaded_wrong_cannot_be_edited_until_it_is_put_right(planned):
    planned.rows("rock", "A-1")[1]["to_m"] = 20.5
    planned.load()
    with pytest.raises(RefusedByRule) as refused:
        planned.edit(Edit("split", 15_500))
    assert any("20.00–20.50 m" in reason for reason in refused.value.reasons)
    planned.tables["runs"] = planned.rows("runs", "C-7")
    planned.rows("rock", "A-1")[1]["to_m"] = 20
    planned.load()
    with pytest.raises(RefusedByRule, match="1 finding must be settled") as refused:
        planned.edit(Edit("split", 15_500))
    assert any("runs" in reason for reason in refused.value.reasons)


def test_samples_where_nothing_is_to_be_sampled_any_more_are_found(planned, codes):
    planned.rows("rock", "A-1")[1]["grade_class"] = "barren"
    planned.load()
    saved = planned.edit(Edit("split", 15_500))
    assert codes(saved.findings).count("plan.outside_ground") == 15
