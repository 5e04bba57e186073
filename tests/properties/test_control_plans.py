"""Control plans over many holes, rules and seeds: every rule holds or its breach is reported, and no pattern can be read off."""

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.qc_insertion import BlankStock, ControlRules, StandardStock, place_controls
from trayside.core.qc_kept import IssuedTicket, keep_controls
from trayside.core.qc_power import pattern_is_guessable


def hole(count, seed, high_share=0.05):
    rng = np.random.default_rng(seed)
    grade = np.convolve(rng.lognormal(-1, 1, count + 3), np.full(4, 0.25), "valid")
    grade[rng.random(count) < 0.05] = np.nan
    classes = np.digitize(np.nan_to_num(grade), [0.3, 0.7, 1.2])
    return grade, classes, (classes == 3) | (rng.random(count) < high_share)


@st.composite
def cases(draw):
    rules = ControlRules(
        standard_rate=draw(st.sampled_from([0, 0.01, 0.02, 0.05, 0.1])),
        blank_rate=draw(st.sampled_from([0, 0.01, 1 / 30, 0.05, 0.1])),
        duplicate_rate=draw(st.sampled_from([0, 0.02, 0.05, 0.1])),
        duplicate_shares=(("half/half", 0.25), ("half/quarter", 0.25), ("quarter/quarter", 0.5)),
        duplicate_follows=draw(st.sampled_from(["straight after", "later in rack"])),
        duplicate_spread=draw(st.sampled_from(["equal over classes", "in proportion"])),
        rack_size=draw(st.integers(4, 90)),
        blank_after_high=draw(st.sampled_from(["each run", "each sample", "never"])),
        min_rack_for_controls=draw(st.integers(1, 12)),
        allow_adjacent=draw(st.booleans()),
        allow_first_of_rack=draw(st.booleans()),
    )
    stock = draw(st.sampled_from([0, 1, 5, 500]))
    return {
        "rules": rules,
        "standards": (StandardStock("A", 0.3, stock), StandardStock("B", 2.0, stock)),
        "blanks": (BlankStock("Q", stock),),
        "count": draw(st.integers(1, 260)),
        "seed": draw(st.integers(0, 10**6)),
        "rack_phase": draw(st.integers(0, rules.rack_size - 1)),
    }


def breaches(plan, case, high):
    """The rules broken in a plan, worked out from the rows alone."""
    rules, rows = case["rules"], plan.rows
    found = Counter()
    for kind, asked in (("standard", rules.standard_in_every_rack), ("blank", rules.blank_in_every_rack)):
        for rack in range(rows[-1].rack + 1):
            found[f"{kind} in every rack"] += asked and not any(r.kind == kind for r in rows if r.rack == rack)
    for kind, rate in (("standard", rules.standard_rate), ("blank", rules.blank_rate)):
        places = [-1] + [t for t, row in enumerate(rows) if row.kind == kind] + [len(rows)]
        if rate and max(np.diff(places)) > 2 * round(1 / rate) - 1:
            found[f"{kind} rate"] += 1
    if rules.blank_after_high != "never":
        due = high if rules.blank_after_high == "each sample" else high & ~np.append(high[1:], False)
        behind = {row.after_sample for row in rows if row.kind == "blank"}
        found["blank behind high samples"] += bool(set(np.flatnonzero(due).tolist()) - behind)
    control = [row.kind != "sample" for row in rows]
    found["no two controls side by side"] += not rules.allow_adjacent and any(a and b for a, b in pairwise(control))
    opens = any(row.rack_place == 0 and row.kind != "sample" for row in rows)
    found["no control first in a rack"] += opens and not rules.allow_first_of_rack
    return {rule: times for rule, times in found.items() if times}


@settings(max_examples=250, deadline=None)
@given(cases())
def test_every_rule_holds_or_its_breach_is_reported(case):
    count, rules = case.pop("count"), case["rules"]
    grade, classes, high = hole(count, case["seed"])
    plan = place_controls(expected_grade=grade, grade_class=classes, is_high=high, **case)
    rows = plan.rows
    control = plan.is_control

    assert [row.sample_index for row in rows if row.kind == "sample"] == list(range(count))
    for ticket, row in enumerate(rows):
        assert row.rack * rules.rack_size + row.rack_place == case["rack_phase"] + ticket
        assert row.kind == "sample" or row.words
    if not rules.allow_adjacent:
        assert not (control[1:] & control[:-1]).any()
    if not rules.allow_first_of_rack:
        assert not any(row.rack_place == 0 and row.kind != "sample" for row in rows)
    for kind, stocks in (("standard", case["standards"]), ("blank", case["blanks"])):
        used = Counter(row.material for row in rows if row.kind == kind)
        assert dict(used) == {k: v for k, v in getattr(plan, f"{kind}s_used").items() if v}
        for stock in stocks:
            assert used[stock.code] <= (stock.sachets if kind == "standard" else stock.bags)
    pairs = [row.sample_index for row in rows if row.kind == "duplicate"]
    assert len(set(pairs)) == len(pairs)
    assert all(row.sample_index <= row.after_sample for row in rows if row.kind == "duplicate")

    told = Counter(short.rule for short in plan.shortfalls)
    broken = breaches(plan, case, high)
    for rule in (
        "standard in every rack",
        "blank in every rack",
        "standard rate",
        "blank rate",
        "blank behind high samples",
        "no two controls side by side",
        "no control first in a rack",
    ):
        assert told[rule] == broken.get(rule, 0), rule


@settings(max_examples=80, deadline=None)
@given(count=st.integers(2, 600), seed=st.integers(0, 10**6), phase=st.integers(0, 49), later=st.booleans())
def test_the_usual_rules_are_kept_in_full_when_the_shelf_is_full(count, seed, phase, later):
    grade, classes, high = hole(count, seed)
    rules = ControlRules(duplicate_follows="later in rack" if later else "straight after")
    plan = place_controls(
        expected_grade=grade,
        grade_class=classes,
        is_high=high,
        rules=rules,
        standards=(StandardStock("A", 0.3, 5000), StandardStock("B", 2.0, 5000)),
        blanks=(BlankStock("Q", 5000),),
        seed=seed,
        rack_phase=phase,
    )
    places = Counter(row.rack for row in plan.rows)
    controls = Counter(row.rack for row in plan.rows if row.kind != "sample")
    # A rack where every second place is a control already has no room for more, and one sample has room for one control.
    crowded = {rack for rack in places if controls[rack] >= places[rack] // 2}
    for short in plan.shortfalls:
        if not short.rule.startswith("duplicate"):
            assert crowded if short.rack is None else short.rack in crowded, short


@st.composite
def revisions(draw):
    """A plan as issued, and new samples of which some continue issued ones, in order."""
    case = draw(cases())
    old_end = np.cumsum(draw(st.lists(st.sampled_from([0.4, 1.0, 1.5]), min_size=1, max_size=60)))
    new_end = np.cumsum(draw(st.lists(st.sampled_from([0.4, 1.0, 1.5]), min_size=0, max_size=60)))
    kept_old = sorted(draw(st.sets(st.integers(0, len(old_end) - 1), max_size=min(len(old_end), len(new_end)))))
    places = st.sets(st.integers(0, len(new_end) - 1), min_size=len(kept_old), max_size=len(kept_old))
    kept_new = sorted(draw(places)) if kept_old else []
    return case, old_end, new_end, dict(zip(kept_old, kept_new, strict=True))


@settings(max_examples=150, deadline=None)
@given(revisions())
def test_a_revision_keeps_the_controls_and_breaks_no_rule_untold(revision):
    case, old_end, new_end, new_sample = revision
    rules = case["rules"]
    grade, classes, high = hole(len(old_end), case["seed"])
    stock = {"standards": case["standards"], "blanks": case["blanks"]}
    issued = place_controls(
        expected_grade=grade, grade_class=classes, is_high=high, rules=rules, seed=case["seed"], **stock
    )
    new_grade, _, new_high = (values[: len(new_end)] for values in hole(len(new_end) + 1, case["seed"] + 1))
    plan = keep_controls(
        issued=tuple(IssuedTicket(r.kind, r.sample_index, r.material, r.duplicate_type) for r in issued.rows),
        new_sample=new_sample,
        issued_bottom_m=old_end,
        new_bottom_m=new_end,
        expected_grade=new_grade,
        is_high=new_high,
        rules=rules,
        seed=case["seed"],
        **stock,
    )
    rows = plan.rows
    assert [row.sample_index for row in rows if row.kind == "sample"] == list(range(len(new_end)))
    left = [t for t, r in enumerate(issued.rows) if r.kind in ("standard", "blank") or r.sample_index in new_sample]
    left = [t for t in left if issued.rows[t].kind != "sample"]
    assert sorted(row.evidence["issued"] for row in rows if row.kind != "sample") == left
    told = Counter(short.rule for short in plan.shortfalls)
    for row in rows:
        if row.kind == "sample":
            continue
        old = issued.rows[row.evidence["issued"]]
        assert (row.kind, row.material, row.duplicate_type) == (old.kind, old.material, old.duplicate_type)
        if row.kind == "duplicate":
            assert row.after_sample >= row.sample_index == new_sample[old.sample_index]
        if old.after_sample in new_sample:
            assert row.after_sample == new_sample[old.after_sample]
            assert "moved" not in row.evidence
        if "moved" in row.evidence:
            assert told["control moved"] == 1
        if len(new_end) and not rules.allow_first_of_rack:
            assert row.after_sample >= 0
    for rule, times in breaches(plan, case, new_high).items() if rows else ():
        assert told[rule] == times, rule
    control = plan.is_control
    if not rules.allow_adjacent and control.sum() < len(new_end) and (control[1:] & control[:-1]).any():
        # only where every sample a duplicate might stand behind has a control already
        assert any(row.kind == "duplicate" and row.evidence.get("moved") == "side by side" for row in rows)


def test_rates_come_out_over_long_holes():
    grade, classes, high = hole(6000, 4, high_share=0)
    plan = place_controls(
        expected_grade=grade,
        grade_class=classes,
        is_high=high & False,
        rules=ControlRules(standard_rate=0.05, blank_rate=0.05, duplicate_rate=0.05),
        standards=(StandardStock("A", 0.3, 5000),),
        blanks=(BlankStock("Q", 5000),),
        seed=3,
    )
    for kind in ("standard", "duplicate"):
        assert plan.is_kind(kind).mean() == pytest.approx(0.05, rel=0.05)
    assert 0.05 <= plan.is_kind("blank").mean() < 0.065  # the best sample of a rack cannot always serve a block


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_can_be_guessed_by_kind_or_together(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(40, 700))
    grade, classes, high = hole(count, seed)
    for later in ("straight after", "later in rack"):
        plan = place_controls(
            expected_grade=grade,
            grade_class=classes,
            is_high=high,
            rules=ControlRules(duplicate_follows=later, rack_size=int(rng.choice([30, 50, 84]))),
            standards=(StandardStock("A", 0.3, 5000), StandardStock("B", 2.0, 5000)),
            blanks=(BlankStock("Q", 5000),),
            seed=seed,
        )
        for flags in (plan.is_control, *(plan.is_kind(kind) for kind in ("standard", "blank", "duplicate"))):
            result = pattern_is_guessable(is_control=flags, layouts=99)
            assert not result.guessable, result.why


def test_positions_fall_evenly_over_the_block():
    """A standard's place within its block of 20 is as likely as any other: nothing to learn from the first half of the block."""
    places = np.zeros(20)
    for seed in range(150):
        plan = place_controls(
            expected_grade=np.full(300, 0.3),
            grade_class=np.zeros(300, dtype=int),
            is_high=np.zeros(300, dtype=bool),
            rules=ControlRules(blank_rate=0, duplicate_rate=0, blank_in_every_rack=False, rack_size=84),
            standards=(StandardStock("A", 0.3, 5000),),
            blanks=(),
            seed=seed,
        )
        for ticket in np.flatnonzero(plan.is_control):
            places[ticket % 20] += 1
    assert places.sum() > 2000
    assert places.max() / places.mean() < 1.35
    # The last places are rarer: a standard is urgent before the longest gap is reached.
    assert places.min() / places.mean() > 0.5


@pytest.mark.parametrize("kind", ["standard", "blank"])
@pytest.mark.parametrize("rate", [0.1, 0.05])
def test_the_longest_gap_is_kept_where_only_the_rate_asks(kind, rate):
    rates = {"standard_rate": 0.0, "blank_rate": 0.0, "duplicate_rate": 0.12, f"{kind}_rate": rate}
    rules = ControlRules(**rates, standard_in_every_rack=False, blank_in_every_rack=False, blank_after_high="never")
    for seed in range(150):
        plan = place_controls(
            expected_grade=np.full(200, 0.3),
            grade_class=np.zeros(200, dtype=int),
            is_high=np.zeros(200, dtype=bool),
            rules=rules,
            standards=(StandardStock("A", 0.3, 5000),),
            blanks=(BlankStock("Q", 5000),),
            seed=seed,
        )
        gaps = np.diff([-1, *np.flatnonzero(plan.is_kind(kind)), len(plan.rows)])
        assert gaps.max() <= 2 / rate - 1
