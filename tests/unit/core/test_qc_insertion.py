"""One hole's controls: each rule held on plain cases that can be read by eye."""

import time
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from trayside.core.qc_insertion import BlankStock, ControlRules, StandardStock, place_controls
from trayside.core.qc_rules import longest_gap, one_in
from trayside.errors import ImpossibleValue

SHELF = (StandardStock("LOW", 0.3, 500), StandardStock("MID", 1.5, 500), StandardStock("RICH", 8.0, 500))
BLANKS = (BlankStock("QUARTZ", 500),)


def plan(count=200, *, grade=None, classes=None, high=None, rules=None, standards=SHELF, blanks=BLANKS, seed=7, **more):
    grade = np.full(count, 0.3) if grade is None else np.asarray(grade, dtype=float)
    classes = np.zeros(len(grade), dtype=int) if classes is None else np.asarray(classes)
    high = np.zeros(len(grade), dtype=bool) if high is None else np.asarray(high)
    return place_controls(
        expected_grade=grade,
        grade_class=classes,
        is_high=high,
        rules=rules or ControlRules(),
        standards=standards,
        blanks=blanks,
        seed=seed,
        **more,
    )


def test_rates_become_blocks_rounded_in_favour_of_more_controls():
    assert one_in(0.05) == 20
    assert one_in(1 / 30) == 30
    assert one_in(1 / 49) == 49
    assert one_in(0.03) == 33
    assert one_in(0.0) == 0
    assert longest_gap(0.05) == 39


def test_samples_keep_their_order_and_every_control_says_why():
    made = plan()
    assert [row.sample_index for row in made.rows if row.kind == "sample"] == list(range(200))
    for row in made.rows:
        if row.kind == "sample":
            assert row.words == ""
        else:
            assert row.words.endswith(".")
            assert "{" not in row.words
    assert made.shortfalls == ()


def test_the_same_seed_gives_the_same_plan_and_another_seed_another():
    assert plan(seed=5) == plan(seed=5)
    assert plan(seed=5).rows != plan(seed=6).rows


def test_a_blank_stands_straight_behind_the_end_of_each_high_run():
    high = np.zeros(120, dtype=bool)
    high[[20, 21, 22, 60, 119]] = True
    made = plan(high=high, grade=np.where(high, 9.0, 0.2))
    followed = {row.after_sample: row for row in made.rows if row.kind == "blank"}
    assert {22, 60, 119} <= set(followed)
    assert 20 not in followed
    assert 21 not in followed
    assert "(3 in a row)" in followed[22].words
    assert followed[22].rack_place > 0


@pytest.mark.parametrize("seed", range(12))
def test_one_blank_serves_a_high_run_and_the_top_of_the_rack_in_it(seed):
    high = np.zeros(40, dtype=bool)
    high[20:23] = True
    grade = np.where(high, 9.0, 0.2)
    grade[20] = 30.0  # the highest of the rack begins the run
    rules = ControlRules(blank_rate=0.02, duplicate_rate=0, standard_rate=0.02)
    rows = plan(grade=grade, high=high, rules=rules, seed=seed).rows
    assert [row.after_sample for row in rows if row.kind == "blank"] == [22]


def test_a_high_run_that_leaves_the_rack_does_not_take_the_rack_s_blank_along():
    high = np.zeros(60, dtype=bool)
    high[10:40] = True
    grade = np.where(high, 9.0, 0.2)
    grade[12] = 30.0
    rules = ControlRules(rack_size=20, blank_rate=0, duplicate_rate=0, standard_rate=0, standard_in_every_rack=False)
    made = plan(grade=grade, high=high, rules=rules)
    behind = [row.after_sample for row in made.rows if row.kind == "blank"]
    assert {12, 39} <= set(behind)
    assert made.shortfalls == ()


def test_each_high_sample_gets_its_blank_when_asked():
    high = np.zeros(120, dtype=bool)
    high[[20, 21, 22, 60]] = True
    made = plan(120, high=high, rules=ControlRules(blank_after_high="each sample"))
    assert {20, 21, 22, 60} <= {row.after_sample for row in made.rows if row.kind == "blank"}


def test_high_samples_get_no_blank_of_their_own_when_switched_off():
    high = np.zeros(40, dtype=bool)
    high[5:15:2] = True
    off = ControlRules(blank_after_high="never", blank_rate=0, blank_in_every_rack=False)
    assert not any(row.kind == "blank" for row in plan(40, high=high, rules=off).rows)


@pytest.mark.parametrize("seed", range(20))
def test_every_rack_has_a_blank_behind_its_best_sample_and_a_standard(seed):
    grade = np.random.default_rng(seed).lognormal(0, 1, 230)
    made = plan(grade=grade, seed=seed, rules=ControlRules(standard_rate=0.01, blank_rate=0))
    racks = range(made.rows[-1].rack + 1)
    for rack in racks:
        rows = [row for row in made.rows if row.rack == rack]
        samples = [row.sample_index for row in rows if row.kind == "sample"]
        if len(samples) < 2:
            continue
        best = max(samples, key=lambda j: grade[j])
        assert best in {row.after_sample for row in rows if row.kind == "blank"}
        assert any(row.kind == "standard" for row in rows)


def test_racks_fill_to_their_size_from_the_places_already_taken():
    made = plan(rack_phase=30)
    sizes = Counter(row.rack for row in made.rows)
    assert sizes[0] == 20
    assert made.rows[0].rack_place == 30
    assert all(sizes[rack] == 50 for rack in range(1, made.rows[-1].rack))
    assert made.next_rack_phase == (30 + len(made.rows)) % 50


def test_an_open_rack_that_has_its_controls_is_not_given_more_for_its_own_sake():
    rare = ControlRules(standard_rate=0.001, blank_rate=0.001, duplicate_rate=0)
    full = plan(10, rules=rare, rack_phase=20, rack_has_standard=True, rack_has_blank=True)
    assert not full.is_control.any()
    assert full.shortfalls == ()
    assert full.rack_has_standard
    assert full.rack_has_blank
    bare = plan(10, rules=rare, rack_phase=20)
    assert Counter(row.kind for row in bare.rows) == {"sample": 10, "standard": 1, "blank": 1}


def test_a_rack_with_one_sample_is_reported_not_forced():
    made = plan(1)
    assert [row.kind for row in made.rows] == ["sample"]
    assert {short.rule for short in made.shortfalls} == {"standard in every rack", "blank in every rack"}
    assert not made.rack_has_standard


def test_two_samples_are_enough_for_a_standard_and_a_blank():
    for seed in range(20):
        made = plan(2, seed=seed)
        kinds = [row.kind for row in made.rows]
        assert kinds[0] == kinds[2] == "sample"
        assert {kinds[1], kinds[3]} == {"standard", "blank"}


def test_the_smallest_rack_for_controls_is_a_setting():
    rules = ControlRules(min_rack_for_controls=10, duplicate_rate=0, standard_rate=0.01, blank_rate=0.01)
    assert not plan(9, rules=rules).is_control.any()
    assert plan(10, rules=rules).is_control.sum() == 2


def test_a_rack_without_a_control_says_what_a_person_can_do():
    words = {short.rule: short.words for short in plan(1).shortfalls}["blank in every rack"]
    assert words == (
        "Rack 1 has no blank among its 1 sample. Send it together with another hole's bags and insert a blank by hand."
    )


def test_stock_is_never_overdrawn_and_the_lack_is_told():
    made = plan(400, standards=(StandardStock("A", 0.3, 3), StandardStock("B", 2.0, 0)), blanks=(BlankStock("Q", 2),))
    assert made.standards_used == {"A": 3, "B": 0}
    assert made.blanks_used == {"Q": 2}
    rules = {short.rule for short in made.shortfalls}
    assert {"standard in every rack", "blank in every rack", "standard rate", "blank rate"} <= rules
    rate = next(short for short in made.shortfalls if short.rule == "standard rate")
    assert rate.placed == 3
    assert rate.wanted > 3
    assert "left on the shelf" in rate.words


def test_an_empty_shelf_gives_a_plan_without_standards():
    made = plan(100, standards=(), blanks=())
    assert {row.kind for row in made.rows} == {"sample", "duplicate"}
    assert len([s for s in made.shortfalls if s.rule == "standard in every rack"]) == made.rows[-1].rack + 1


def test_standards_follow_the_grade_around_them():
    grade = np.concatenate([np.full(400, 0.3), np.full(400, 8.0)])
    made = plan(grade=grade, rules=ControlRules(standard_any_share=0, standard_near_factor=1.2))
    codes = {True: set(), False: set()}
    for row in made.rows:
        if row.kind == "standard" and abs(row.after_sample - 400) > 10:
            codes[row.after_sample < 400].add(row.material)
    assert codes == {True: {"LOW"}, False: {"RICH"}}


def test_every_grade_band_is_watched_even_in_barren_ground():
    used = plan(800).standards_used
    assert all(used[code] >= 2 for code in ("LOW", "MID", "RICH"))
    assert used["LOW"] > used["RICH"]


def test_the_choice_between_near_standards_is_not_a_rota():
    twins = (StandardStock("A", 1.0, 500), StandardStock("B", 1.0, 500))
    codes = "".join(row.material for row in plan(1500, standards=twins).rows if row.kind == "standard")
    assert abs(codes.count("A") - codes.count("B")) <= 4
    assert "AA" in codes
    assert "BB" in codes


def test_duplicates_are_spread_equally_over_the_grade_classes():
    rng = np.random.default_rng(2)
    classes = rng.choice([0, 1, 2], p=[0.8, 0.15, 0.05], size=2000)
    made = plan(2000, classes=classes)
    pairs = Counter(int(classes[row.sample_index]) for row in made.rows if row.kind == "duplicate")
    even = plan(2000, classes=classes, rules=ControlRules(duplicate_spread="in proportion"))
    shares = Counter(int(classes[row.sample_index]) for row in even.rows if row.kind == "duplicate")
    assert min(pairs.values()) >= 0.25 * sum(pairs.values())
    assert shares[0] == pytest.approx(0.8 * sum(shares.values()), rel=0.1)


def test_duplicate_types_keep_their_shares():
    rules = ControlRules(duplicate_shares=(("half/half", 0.2), ("half/quarter", 0.3), ("quarter/quarter", 0.5)))
    made = plan(2000, rules=rules)
    types = Counter(row.duplicate_type for row in made.rows if row.kind == "duplicate")
    total = sum(types.values())
    for name, share in rules.duplicate_shares:
        assert types[name] == pytest.approx(share * total, abs=1.5)


def test_a_duplicate_has_the_next_ticket_unless_it_is_set_back():
    made = plan(1000)
    for ticket, row in enumerate(made.rows):
        if row.reason == "duplicate by rate":
            assert made.rows[ticket - 1].sample_index == row.sample_index
            assert made.rows[ticket - 1].kind == "sample"
    assert sum(row.reason == "duplicate by rate" for row in made.rows) > 40


def test_a_high_sample_can_have_both_blank_and_duplicate():
    high = np.zeros(60, dtype=bool)
    high[30] = True
    rules = ControlRules(standard_rate=0, standard_in_every_rack=False)
    both = 0
    for seed in range(30):
        rows = plan(60, classes=high.astype(int), high=high, rules=rules, seed=seed).rows
        blank = next(t for t, row in enumerate(rows) if row.kind == "blank" and row.after_sample == 30)
        assert rows[blank - 1].sample_index == 30
        pair = [t for t, row in enumerate(rows) if row.kind == "duplicate" and row.sample_index == 30]
        if pair:
            assert blank + 2 <= pair[0] <= blank + 12
            both += 1
    assert both > 10


def test_a_later_duplicate_stays_behind_its_sample_and_mostly_in_its_rack():
    made = plan(1000, rules=ControlRules(duplicate_follows="later in rack"))
    place = {row.sample_index: (t, row.rack) for t, row in enumerate(made.rows) if row.kind == "sample"}
    behind = [t - place[row.sample_index][0] for t, row in enumerate(made.rows) if row.kind == "duplicate"]
    apart = [row for row in made.rows if row.kind == "duplicate" and place[row.sample_index][1] != row.rack]
    assert min(behind) >= 2
    assert max(behind) > 10
    assert len(apart) <= 0.05 * len(behind) + 1
    told = [short for short in made.shortfalls if short.rule == "duplicate in the rack of its sample"]
    assert sum(short.wanted - short.placed for short in told) == len(apart)


def test_unknown_grades_are_allowed_and_said():
    made = plan(grade=np.full(60, np.nan))
    words = " ".join(row.words for row in made.rows)
    assert "no grade is expected around it" in words or "grade band" in words
    assert "not given" in words
    assert made.shortfalls == ()


def test_a_thousand_holes_are_planned_in_seconds():
    rng = np.random.default_rng(0)
    grade = rng.lognormal(-1, 1, 200)
    classes = np.digitize(grade, [0.3, 1.0])
    began = time.process_time()
    for seed in range(100):
        plan(grade=grade, classes=classes, high=grade > 3, seed=seed)
    assert time.process_time() - began < 2.0  # a tenth of 20 s for 1,000 holes; takes about 0.3 s


@pytest.mark.parametrize(
    "change",
    [
        {"standard_rate": 20.0},
        {"standard_rate": float("nan")},
        {"blank_rate": -0.1},
        {"standard_rate": 0.2, "blank_rate": 0.2, "duplicate_rate": 0.2},
        {"duplicate_shares": (("half/half", 0.5),)},
        {"duplicate_shares": (("half/third", 1.0),)},
        {"duplicate_shares": (("half/half", 0.5), ("half/half", 0.5))},
        {"duplicate_follows": "before"},
        {"duplicate_spread": "whatever"},
        {"blank_after_high": "sometimes"},
        {"rack_size": 3},
        {"min_rack_for_controls": 0},
        {"standard_near_factor": 0.5},
        {"standard_any_share": 1.5},
    ],
)
def test_impossible_rules_are_refused(change):
    with pytest.raises(ImpossibleValue):
        replace(ControlRules(), **change)


def test_impossible_samples_and_stock_are_refused():
    with pytest.raises(ImpossibleValue, match="sample 2"):
        plan(grade=[0.1, -1.0])
    with pytest.raises(ImpossibleValue):
        plan(grade=[0.1, np.inf])
    with pytest.raises(ImpossibleValue):
        plan(grade=[])
    with pytest.raises(ImpossibleValue):
        plan(grade=[0.1, 0.2], classes=[1])
    with pytest.raises(ImpossibleValue):
        plan(grade=[0.1], classes=[0.5])
    with pytest.raises(ImpossibleValue):
        plan(grade=[0.1], high=[1])
    with pytest.raises(ImpossibleValue):
        plan(rack_phase=50)
    with pytest.raises(ImpossibleValue, match="twice"):
        plan(standards=(StandardStock("A", 1, 1), StandardStock("A", 1, 1)))
    with pytest.raises(ImpossibleValue):
        StandardStock("A", 1.0, -1)
    with pytest.raises(ImpossibleValue):
        StandardStock("A", float("nan"), 1)
    with pytest.raises(ImpossibleValue):
        BlankStock("Q", -1)
