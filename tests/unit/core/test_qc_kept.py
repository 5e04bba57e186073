"""Controls stay where they were issued when samples change round them."""

import numpy as np
import pytest

from trayside.core.qc_insertion import place_controls
from trayside.core.qc_kept import IssuedTicket, keep_controls
from trayside.core.qc_rules import BlankStock, ControlRules, StandardStock
from trayside.errors import ImpossibleValue

RULES = ControlRules(rack_size=20, standard_rate=0.1, blank_rate=0.1, duplicate_rate=0.1)
STANDARDS = (StandardStock("S", 1.0, 50),)
BLANKS = (BlankStock("B", 50),)


def issued_plan(samples=30):
    grade = np.ones(samples)
    plan = place_controls(
        expected_grade=grade,
        grade_class=np.zeros(samples, dtype=int),
        is_high=np.zeros(samples, dtype=bool),
        rules=RULES,
        standards=STANDARDS,
        blanks=BLANKS,
        seed=7,
    )
    return tuple(IssuedTicket(row.kind, row.sample_index, row.material, row.duplicate_type) for row in plan.rows)


def kept(issued, new_sample, samples):
    return keep_controls(
        issued=issued,
        new_sample=new_sample,
        expected_grade=np.ones(samples),
        is_high=np.zeros(samples, dtype=bool),
        rules=RULES,
        standards=STANDARDS,
        blanks=BLANKS,
        seed=7,
    )


def test_unchanged_samples_keep_the_whole_sequence():
    issued = issued_plan()
    plan = kept(issued, {i: i for i in range(30)}, 30)
    assert [(r.kind, r.sample_index, r.material) for r in plan.rows] == [(t.kind, t.sample, t.material) for t in issued]
    assert plan.shortfalls == ()


def test_a_sample_added_by_a_split_moves_no_control_from_its_sample():
    issued = issued_plan()
    new_sample = {i: i if i <= 10 else i + 1 for i in range(30)}
    plan = kept(issued, new_sample, 31)
    samples = [row.sample_index for row in plan.rows if row.kind == "sample"]
    assert samples == list(range(31))
    old_at = {position: ticket for position, ticket in enumerate(issued)}
    for row in plan.rows:
        if row.kind in ("standard", "blank"):
            position = row.evidence["issued"]
            before = max(t.sample for t in issued[:position] if t.kind == "sample")
            # the split sample's second half stands between sample 10 and whatever stood behind it
            assert row.after_sample == new_sample[before]
            assert old_at[position].material == row.material


def test_a_removed_sample_hands_its_standard_to_the_sample_before_and_loses_its_duplicate():
    issued = (
        IssuedTicket("sample", 0),
        IssuedTicket("sample", 1),
        IssuedTicket("duplicate", 1, duplicate_type="quarter/quarter"),
        IssuedTicket("standard", material="S"),
        IssuedTicket("sample", 2),
    )
    plan = kept(issued, {0: 0, 2: 1}, 2)
    assert [(row.kind, row.after_sample) for row in plan.rows] == [("sample", 0), ("standard", 0), ("sample", 1)]


def test_what_the_kept_controls_miss_is_told():
    issued = tuple(IssuedTicket("sample", i) for i in range(25))
    plan = kept(issued, {i: i for i in range(25)}, 25)
    assert {shortfall.rule for shortfall in plan.shortfalls} >= {"standard in every rack", "blank in every rack"}


def test_a_high_sample_without_its_blank_is_told():
    issued = tuple(IssuedTicket("sample", i) for i in range(5))
    plan = keep_controls(
        issued=issued,
        new_sample={i: i for i in range(5)},
        expected_grade=np.ones(5),
        is_high=np.array([False, True, False, False, False]),
        rules=RULES,
        standards=STANDARDS,
        blanks=BLANKS,
        seed=7,
    )
    assert "blank behind high samples" in {shortfall.rule for shortfall in plan.shortfalls}


@pytest.mark.parametrize("new_sample", [{0: 0, 1: 0}, {0: 5}, {0: -1}])
def test_impossible_matches_are_refused(new_sample):
    with pytest.raises(ImpossibleValue, match="issued sample"):
        kept((IssuedTicket("sample", 0), IssuedTicket("sample", 1)), new_sample, 2)
