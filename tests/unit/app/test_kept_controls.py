"""After a sheet is issued its controls stay where they are: bags may be filled already."""

from __future__ import annotations

from itertools import pairwise

import pytest

from trayside.app.edit_sheet import Edit


def controls(sheet) -> list[tuple]:
    """Each control with its number and the sample number it stands behind."""
    out, last = [], None
    for row in sheet.rows:
        if row.kind == "sample":
            last = row.number
        else:
            out.append((row.kind, row.number, row.material, row.duplicate_of, last))
    return out


@pytest.fixture
def issued(planned):
    planned.issue()
    return planned


def middle_sample(sheet):
    """A sample with room to be split, and whose follower is a sample too."""
    for row, behind in pairwise(sheet.rows):
        if row.kind == behind.kind == "sample" and row.to_mm - row.from_mm >= 1000:
            return row
    raise AssertionError("no such sample")


def test_a_split_after_issue_moves_no_control(issued):
    before, bags = controls(issued.sheet()), len(issued.sheet().rows)
    assert before
    row = middle_sample(issued.sheet())
    after = issued.edit(Edit("split", row.from_mm + 500)).sheet
    assert controls(after) == before
    assert len(after.rows) == bags + 1


def test_a_split_before_issue_draws_the_controls_anew(planned):
    row = middle_sample(planned.sheet())
    samples = [r.number for r in planned.edit(Edit("split", row.from_mm + 500)).sheet.rows]
    assert samples == sorted(samples)


def test_the_new_half_gets_a_fresh_number_and_nothing_is_withdrawn(issued):
    row = middle_sample(issued.sheet())
    old = {r.number for r in issued.sheet().rows}
    after = issued.edit(Edit("split", row.from_mm + 500)).sheet
    fresh = [r for r in after.rows if r.number not in old]
    assert [r.kind for r in fresh] == ["sample"]
    assert old <= {r.number for r in after.rows}


def test_a_dropped_sample_takes_its_duplicate_along_and_leaves_other_controls(issued):
    duplicate = next((r for r in issued.sheet().rows if r.kind == "duplicate"), None)
    if duplicate is None:
        row = next(r for r in issued.sheet().rows if r.kind == "sample")
    else:
        row = next(r for r in issued.sheet().rows if r.number == duplicate.duplicate_of)
    before = [one for one in controls(issued.sheet()) if one[0] != "duplicate"]
    after = issued.edit(Edit("drop", row.from_mm)).sheet
    assert [one[:3] for one in controls(after) if one[0] != "duplicate"] == [one[:3] for one in before]
    assert row.number not in {r.duplicate_of for r in after.rows}


def test_a_new_seed_and_planning_again_draws_new_places(issued):
    before = controls(issued.sheet())
    issued.rules = issued.rules.replace("[controls]", "[controls]\nseed = 991")
    issued.load()
    after = issued.plan().sheet
    assert controls(after) != before


@pytest.fixture
def moved_contact(yard):
    """The ore moved half a metre down after the sheet was issued: every new sample lies half in two old ones."""
    yard.rules += "[sampling]\noff_round_cost = 0\n"
    yard.load()
    yard.plan()
    yard.issue()
    rock = yard.rows("rock", "A-1")
    rock[0]["to_m"] = rock[1]["from_m"] = 10.5
    rock[1]["to_m"] = rock[2]["from_m"] = 20.5
    yard.load()
    return yard


def test_a_contact_moved_after_issue_puts_no_control_where_the_rules_forbid_it(moved_contact):
    before = controls(moved_contact.sheet())
    planned = moved_contact.plan()
    kinds = [row.kind for row in planned.sheet.rows]
    assert kinds[0] == "sample"
    assert not any(above != "sample" and below != "sample" for above, below in pairwise(kinds))
    after = controls(planned.sheet)
    kept = [one[:3] for one in before if one[0] != "duplicate"]
    assert sorted(one[:3] for one in after if one[0] != "duplicate") == sorted(kept)


def test_a_control_that_moved_says_so_and_keeps_the_reason_it_was_issued_with(moved_contact):
    old = {row.number: row.reason for row in moved_contact.sheet().rows if row.kind != "sample"}
    for _ in range(2):
        planned = moved_contact.plan()
        moved = [row for row in planned.sheet.rows if row.reason.startswith("Moved by a revision: ")]
        assert moved
        for row in moved:
            assert row.reason.endswith(f"As issued: {old[row.number]}")
        (told,) = [one for one in planned.findings if one.evidence.get("rule") == "control moved"]
        assert told.evidence["wanted"] - told.evidence["placed"] == len(moved)
    moved_contact.issue()
    moved_contact.rows("rock", "A-1")[0]["to_m"] = moved_contact.rows("rock", "A-1")[1]["from_m"] = 10.9
    moved_contact.load()
    again = [row.reason for row in moved_contact.plan().sheet.rows if row.kind != "sample"]
    assert any(reason.startswith("Moved") for reason in again)
    assert all(reason.count("As issued: ") <= 1 for reason in again)
