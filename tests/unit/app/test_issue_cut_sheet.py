"""Issuing: what is refused, what is frozen, and what a second revision says."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from trayside.app.edit_sheet import Edit
from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.model.sheet_digest import sheet_digest


def stored(yard, revision: int, hole_id: str = "A-1"):
    with yard.start_work(writing=False) as work:
        return work.revision(hole_id, revision)


def test_the_first_revision_freezes_the_draft_with_name_time_and_fingerprint(planned):
    revision = planned.issue(by="  Ada   Example ", statement=" looked at ")
    assert (revision.revision, revision.issued_by, revision.statement) == (1, "Ada Example", "looked at")
    assert revision.rows == planned.sheet().rows
    assert revision.changes == ()
    assert revision.digest == sheet_digest(hole_id="A-1", revision=1, rows=revision.rows)
    assert stored(planned, 1) == revision
    assert planned.sheet().revision == 1
    assert set(planned.number_states().values()) == {"issued"}


@pytest.mark.parametrize("name", ["", "   ", "x" * 81])
def test_a_name_is_needed(planned, name):
    with pytest.raises(RefusedByRule, match="name"):
        planned.issue(by=name)
    assert planned.sheet().revision == 0


def test_there_must_be_a_plan_and_a_hole(yard):
    yard.load()
    with pytest.raises(NotFound, match="no plan to issue"):
        yard.issue(version=0)
    with pytest.raises(NotFound, match="no such hole"):
        yard.issue("Z-9", version=0)


def test_somebody_who_looked_at_an_older_draft_is_told(planned):
    planned.edit(Edit("split", 15_500))
    with pytest.raises(ChangedMeanwhile, match="version 2, you looked at version 1"):
        planned.issue(version=1)


def test_a_finding_that_says_stop_is_named_and_refuses(planned):
    planned.edit(Edit("add", 15_200, 15_800))
    with pytest.raises(RefusedByRule) as refused:
        planned.issue()
    (reason,) = refused.value.reasons
    assert "15.20–15.80 m" in reason
    assert planned.sheet().revision == 0
    assert set(planned.number_states().values()) == {"planned"}


def test_a_sample_dropped_on_purpose_is_a_warning_and_does_not_refuse(planned):
    planned.edit(Edit("drop", 15_000))
    assert "plan.gap" in {finding.code for finding in planned.view().findings}
    assert planned.issue().revision == 1


def test_a_sample_beyond_the_core_refuses(planned):
    planned.edit(Edit("add", 40_000, 41_000))
    with pytest.raises(RefusedByRule) as refused:
        planned.issue()
    assert "where there is no core" in refused.value.reasons[0]


def test_warnings_do_not_refuse(planned):
    planned.edit(Edit("split", 15_200))
    assert planned.issue().revision == 1


def test_nothing_changed_is_refused_and_keeps_the_first_revision(planned):
    first = planned.issue()
    with pytest.raises(RefusedByRule, match="nothing changed since revision 1"):
        planned.issue()
    planned.plan()
    with pytest.raises(RefusedByRule, match="nothing changed since revision 1"):
        planned.issue()
    assert stored(planned, 1) == first


def test_the_second_revision_names_its_changes_and_the_first_one_stays(planned):
    first = planned.issue()
    planned.edit(Edit("move", 15_000, 15_250))
    second = planned.issue(by="Ben")
    number = next(row.number for row in first.rows if (row.from_mm, row.kind) == (15_000, "sample"))
    assert f"{number} was sample 15.00–16.00 m, is sample 15.25–16.00 m" in second.changes
    assert (second.revision, second.issued_by) == (2, "Ben")
    assert second.issued_at - first.issued_at == timedelta(minutes=1)
    assert stored(planned, 1) == first
    assert stored(planned, 2) == second
    assert first.digest != second.digest
    assert first.digest == sheet_digest(hole_id="A-1", revision=1, rows=stored(planned, 1).rows)


def test_core_that_lies_elsewhere_is_reason_enough_for_a_new_revision(planned):
    planned.issue()
    for tray in planned.rows("trays", "A-1"):
        tray["row_length_m"], tray["rows"] = 1.5, 4
    planned.load()
    planned.plan()
    second = planned.issue()
    assert any("starts at: was tray 2, row 3, 0 cm, is tray 2, row 2" in line for line in second.changes)


def test_bags_that_should_weigh_otherwise_are_reason_enough_too(planned):
    planned.issue()
    planned.rules += "[cut]\noffset_mm = 0.0\n"
    planned.load()
    planned.plan()
    assert any("expected mass" in line for line in planned.issue().changes)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda yard: yard.rows("runs", "A-1")[2].update(recovered_m=2.9),
        lambda yard: yard.rows("rock", "A-1")[1].update(caution="sulphide"),
        lambda yard: yard.tables["rock_codes"][1].update(density_t_m3=2.65),
        lambda yard: setattr(yard, "rules", yard.rules + "[cut]\nkerf_mm = 3.5\n"),
    ],
)
def test_a_plan_made_from_an_older_load_is_not_issued(planned, codes, spoil):
    spoil(planned)
    planned.load()
    assert planned.view().stale
    assert "plan.stale" in codes(planned.view().findings)
    with pytest.raises(RefusedByRule) as refused:
        planned.issue()
    assert any("loaded again after this plan" in reason for reason in refused.value.reasons)
    planned.plan()
    assert "plan.stale" not in codes(planned.view().findings)
    assert planned.issue().revision == 1


def test_a_load_that_is_taken_back_makes_the_plan_good_again(planned, codes):
    rock = planned.rows("rock", "A-1")[1]
    rock["caution"] = "sulphide"
    planned.load()
    assert "plan.stale" in codes(planned.view().findings)
    rock["caution"] = ""
    planned.load()
    assert "plan.stale" not in codes(planned.view().findings)
    assert planned.issue().revision == 1


def test_a_delivery_of_standards_makes_no_plan_old(planned):
    planned.tables["materials"][0]["in_stock"] = 500
    planned.load()
    assert not planned.view().stale
    assert planned.issue().revision == 1


def test_ticket_books_that_share_numbers_keep_a_sheet_from_being_issued(planned):
    planned.tables["tickets"] = [
        planned.tables["tickets"][0],
        planned.tables["tickets"][0] | {"book": "again", "first": 180, "last": 260},
    ]
    planned.load()
    with pytest.raises(RefusedByRule) as refused:
        planned.issue()
    (reason,) = refused.value.reasons
    assert "Books one and again share 21 numbers" in reason


def test_books_of_another_hole_that_share_numbers_do_not(planned):
    mine = planned.tables["tickets"][0] | {"hole_id": "A-1"}
    others = {"prefix": "X", "digits": 4, "hole_id": "C-7", "voids": ""}
    planned.tables["tickets"] = [
        mine,
        others | {"book": "x", "first": 1, "last": 50},
        others | {"book": "y", "first": 50, "last": 90},
    ]
    planned.load()
    assert planned.issue().revision == 1


def test_a_hole_waits_where_its_sheet_says(planned):
    def station() -> str:
        with planned.start_work(writing=False) as work:
            page = work.station_page(first=0, count=10)
        return next(row.station for row in page.rows if row.hole_id == "A-1")

    assert station() == "to issue"
    planned.issue()
    assert station() == "to cut"
    planned.rows("rock", "A-1")[1]["caution"] = "sulphide"
    planned.load()
    assert station() == "to settle"
    planned.plan()
    assert station() == "to issue"


def test_a_revision_is_not_touched_by_what_happens_to_the_draft(planned):
    first = planned.issue()
    planned.edit(Edit("drop", 8000))
    planned.plan("C-7")
    assert stored(planned, 1) == first
    assert replace(stored(planned, 1), rows=()) == planned.view().revisions[0]
