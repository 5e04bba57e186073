"""Controls stay where they were issued when samples change round them."""

from dataclasses import replace

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


def kept(issued, new_sample, samples, *, old_end=None, new_end=None, rules=RULES):
    """Samples a metre long from the collar, unless their ends are given."""
    old = sum(ticket.kind == "sample" for ticket in issued)
    return keep_controls(
        issued=issued,
        new_sample=new_sample,
        issued_bottom_m=np.arange(1.0, old + 1) if old_end is None else np.array(old_end, dtype=float),
        new_bottom_m=np.arange(1.0, samples + 1) if new_end is None else np.array(new_end, dtype=float),
        expected_grade=np.ones(samples),
        is_high=np.zeros(samples, dtype=bool),
        rules=rules,
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
    plan = kept(issued, {0: 0, 2: 1}, 2, new_end=[1, 3])
    assert [(row.kind, row.after_sample) for row in plan.rows] == [("sample", 0), ("standard", 0), ("sample", 1)]


def tickets(text):
    """Issued tickets from letters: o a sample, S a standard, B a blank, d a duplicate of the sample before it."""
    out, count = [], 0
    for letter in text:
        if letter == "o":
            out.append(IssuedTicket("sample", count))
            count += 1
        elif letter == "d":
            out.append(IssuedTicket("duplicate", count - 1, duplicate_type="quarter/quarter"))
        else:
            kind = {"S": "standard", "B": "blank"}[letter]
            out.append(IssuedTicket(kind, material=letter))
    return tuple(out)


def letters(plan):
    return "".join({"sample": "o", "standard": "S", "blank": "B", "duplicate": "d"}[row.kind] for row in plan.rows)


def told(plan):
    return {shortfall.rule: shortfall for shortfall in plan.shortfalls}


def test_when_every_sample_is_gone_the_controls_spread_over_the_new_ones_and_none_opens_the_sheet():
    issued = tickets("ooBooSoodoBo")
    plan = kept(issued, {}, 8, new_end=np.arange(8) + 1.5)
    # the duplicate goes with its sample; 2, 4 and 7 m are nearest to 1.5, 3.5 and 6.5 m (of equals the upper)
    assert letters(plan) == "oBooSoooBoo"
    assert [row.evidence["moved"] for row in plan.rows if row.kind != "sample"] == ["sample gone"] * 3
    moved = told(plan)["control moved"]
    assert (moved.wanted, moved.placed) == (3, 0)
    assert "blank now behind sample 1: the sample it stood behind is gone" in moved.words


def test_a_control_above_every_kept_sample_goes_behind_the_first_new_one():
    assert letters(kept(tickets("oBooo"), {1: 0, 2: 1, 3: 2}, 3, new_end=[2, 3, 4])) == "oBoo"


def test_controls_that_would_meet_are_parted_and_it_is_told():
    # the second sample is gone: its blank would stand beside the standard of the first
    plan = kept(tickets("oSoBooo"), {0: 0, 2: 1, 3: 2, 4: 3}, 4, new_end=[1, 3, 4, 5])
    assert letters(plan) == "oSoBoo"
    assert [row.evidence.get("moved") for row in plan.rows if row.kind != "sample"] == [None, "side by side"]
    assert (told(plan)["control moved"].wanted, told(plan)["control moved"].placed) == (2, 1)
    assert "no two controls side by side" not in told(plan)


def test_a_control_whose_sample_is_there_keeps_its_place_before_one_that_must_move():
    # samples 0 and 1 became one that keeps the number of sample 1: the standard behind it stays, the blank goes on
    plan = kept(tickets("oBoSoo"), {1: 0, 2: 1, 3: 2}, 3, new_end=[2, 3, 4])
    assert letters(plan) == "oSoBo"


def test_of_two_merged_samples_the_control_at_the_lower_end_has_not_moved():
    plan = kept(tickets("oooSoo"), {0: 0, 3: 2, 4: 3}, 4, new_end=[1, 3, 4, 5])
    assert letters(plan) == "ooSoo"
    assert "control moved" not in told(plan)


def test_a_control_without_a_free_sample_below_goes_up():
    plan = kept(tickets("oooSoB"), {0: 0, 1: 1, 2: 2}, 3)
    assert letters(plan) == "ooBoS"


def test_controls_side_by_side_may_stay_when_the_rules_allow_it():
    plan = kept(
        tickets("oSoBooo"),
        {0: 0, 2: 1, 3: 2, 4: 3},
        4,
        new_end=[1, 3, 4, 5],
        rules=replace(RULES, allow_adjacent=True),
    )
    assert letters(plan) == "oSBooo"
    assert "no two controls side by side" not in told(plan)


def test_controls_left_side_by_side_are_told():
    plan = kept(tickets("ooSBo"), {0: 0, 1: 1, 2: 2}, 3)
    assert letters(plan) == "ooSBo"
    shortfall = told(plan)["no two controls side by side"]
    assert (shortfall.wanted, shortfall.placed, shortfall.words) == (
        2,
        1,
        "Controls stand side by side behind sample 2.",
    )


def test_a_kept_control_that_comes_first_in_a_rack_is_told_and_a_moved_one_goes_on():
    rules = replace(RULES, rack_size=4)
    # a new sample on top pushes the standard onto the first ticket of rack 2
    pushed = kept(tickets("oooSoo"), {0: 1, 1: 2, 2: 3, 3: 4, 4: 5}, 6, rules=rules)
    assert letters(pushed) == "ooooSoo"
    assert told(pushed)["no control first in a rack"].words == "Rack 2 begins with a control."
    allowed = replace(rules, allow_first_of_rack=True)
    assert "no control first in a rack" not in told(
        kept(tickets("oooSoo"), {0: 1, 1: 2, 2: 3, 3: 4, 4: 5}, 6, rules=allowed)
    )
    # its sample is gone as well: it may move, so it does
    moved = kept(tickets("oooSoo"), {0: 1, 1: 2, 3: 4, 4: 5}, 6, rules=rules, new_end=[0.5, 1, 2, 2.9, 4, 5])
    assert letters(moved) == "oooooSo"
    assert [row.evidence["moved"] for row in moved.rows if row.kind == "standard"] == ["first of rack"]


def test_too_few_duplicates_are_told():
    issued = tickets("oood" + "oooooood" + "oooo")
    gone = {sample: sample for sample in range(14) if sample != 9}
    plan = kept(issued, {old: new for new, old in enumerate(gone)}, 13, new_end=[old + 1 for old in gone])
    assert "duplicate rate" not in told(plan)  # 14 tickets at one in 10 ask for one
    assert "duplicate rate" not in told(kept(issued, {i: i for i in range(14)}, 14))
    bare = told(kept(tickets("o" * 25), {i: i for i in range(25)}, 25))["duplicate rate"]
    assert (bare.wanted, bare.placed) == (2, 0)


def test_depths_must_be_given_for_every_sample():
    with pytest.raises(ImpossibleValue, match="depths"):
        kept(tickets("oo"), {0: 0}, 2, new_end=[1])


def test_what_the_kept_controls_miss_is_told():
    issued = tuple(IssuedTicket("sample", i) for i in range(25))
    plan = kept(issued, {i: i for i in range(25)}, 25)
    assert {shortfall.rule for shortfall in plan.shortfalls} >= {"standard in every rack", "blank in every rack"}


def test_a_high_sample_without_its_blank_is_told():
    issued = tuple(IssuedTicket("sample", i) for i in range(5))
    plan = keep_controls(
        issued=issued,
        new_sample={i: i for i in range(5)},
        issued_bottom_m=np.arange(1.0, 6),
        new_bottom_m=np.arange(1.0, 6),
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
