"""Rules by hand-made scores, by plain loops, and across many series at once."""

from itertools import pairwise

import numpy as np
import pytest

from trayside.core.control_rules import (
    NELSON,
    RULE_SETS,
    SHEWHART,
    WESTERN_ELECTRIC,
    WESTGARD,
    Rule,
    apply_rules,
    westgard_rules,
)
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

OURS = Source("hand-made", "", "derived")


def named(z, rules, **keys):
    found = apply_rules(z, rules=rules, **keys)
    return {name: np.flatnonzero(hits).tolist() for name, hits in found.by_rule.items() if hits.any()}


def test_westgard_by_hand():
    assert named([0.2, 3.1], WESTGARD) == {"1_2s": [1], "1_3s": [1]}
    assert named([2.1, 2.3], WESTGARD) == {"1_2s": [0, 1], "2_2s": [1]}
    assert named([2.1, -2.2], WESTGARD) == {"1_2s": [0, 1], "R_4s": [1]}
    assert named([1.1, 1.2, 1.3, 1.05], WESTGARD) == {"4_1s": [3]}
    assert named([0.1] * 10, WESTGARD) == {"10_x": [9]}
    only_warned = apply_rules([2.5, 0.3], rules=WESTGARD)
    assert only_warned.warned.tolist() == [True, False]
    assert not only_warned.rejected.any()


def test_two_readings_of_r4s():
    z = [1.5, -2.7]
    assert "R_4s" not in named(z, westgard_rules(r4s_reading="both beyond 2"))
    assert named(z, westgard_rules(r4s_reading="range over 4"))["R_4s"] == [1]
    for reading in ("both beyond 2", "range over 4"):
        assert named([2.1, -2.2], westgard_rules(r4s_reading=reading))["R_4s"] == [1]
    with pytest.raises(ImpossibleValue, match="reading"):
        westgard_rules(r4s_reading="other")


def test_r4s_looks_inside_the_batch_only():
    z = [2.5, 0.0, -2.5, 2.5, 0.0]
    assert "R_4s" not in named(z[:3], WESTGARD)  # without batches only neighbours are compared
    assert named(z, WESTGARD, batches=[1, 1, 1, 2, 2])["R_4s"] == [2]
    assert "R_4s" not in named(z, WESTGARD, batches=[1, 1, 2, 3, 3])


def test_western_electric_by_hand():
    assert named([2.1, 0.0, 2.1], WESTERN_ELECTRIC) == {"2 of 3 beyond 2": [2]}
    assert named([2.1, 0.0, 0.0, 2.1], WESTERN_ELECTRIC) == {}
    assert named([2.1, -2.1], WESTERN_ELECTRIC) == {}
    assert named([1.1, 1.1, 0.0, 1.1, 1.1], WESTERN_ELECTRIC) == {"4 of 5 beyond 1": [4]}
    assert named([-0.1] * 9, WESTERN_ELECTRIC) == {"8 on one side": [7, 8]}
    assert named([0.1] * 7 + [0.0] + [0.1] * 7, WESTERN_ELECTRIC) == {}


def test_a_result_on_the_limit_is_inside():
    assert named([3.0, -3.0], SHEWHART) == {}
    assert named([3.0000001], SHEWHART) == {"beyond 3": [0]}


def test_the_flag_is_on_the_result_that_completes_the_rule():
    assert named([2.5, 2.5, 0.0, 0.0], WESTERN_ELECTRIC)["2 of 3 beyond 2"] == [1]


def test_nelson_by_hand():
    assert named([0.1, 0.2, 0.3, 0.4, 0.5, 0.6], NELSON) == {"3: 6 steadily up or down": [5]}
    assert named([0.6, 0.5, 0.4, 0.3, 0.2, 0.1, -0.1], NELSON)["3: 6 steadily up or down"] == [5, 6]
    assert named([0.1, 0.2, 0.3, 0.3, 0.4, 0.5], NELSON) == {}
    turns = [1.5, -1.5] * 7
    assert named(turns, NELSON)["4: 14 up and down in turn"] == [13]
    assert "4: 14 up and down in turn" not in named(turns[:13], NELSON)
    assert named(turns, NELSON)["8: 8 beyond 1, either side"] == [7, 8, 9, 10, 11, 12, 13]
    quiet = [0.5, -0.4, -0.5] * 5
    assert named(quiet, NELSON) == {"7: 15 within 1": [14]}
    assert named([0.1] * 9, NELSON) == {"2: 9 on one side": [8]}


def plain_loop(rule, z):
    hits = []
    for i in range(len(z)):
        window = z[max(0, i - rule.of + 1) : i + 1]
        if rule.kind == "same side":
            up, down = sum(v > rule.limit for v in window), sum(v < -rule.limit for v in window)
            hit = (up >= rule.count and z[i] > rule.limit) or (down >= rule.count and z[i] < -rule.limit)
        elif rule.kind == "either side":
            hit = sum(abs(v) > rule.limit for v in window) >= rule.count and abs(z[i]) > rule.limit
        elif rule.kind == "within":
            hit = len(window) == rule.of and all(abs(v) < rule.limit for v in window)
        elif rule.kind == "opposite":
            hit = len(window) == 2 and max(window) > rule.limit and min(window) < -rule.limit
        else:
            steps = np.diff(window)
            if rule.kind == "trend":
                hit = len(window) == rule.of and (all(s > 0 for s in steps) or all(s < 0 for s in steps))
            else:
                hit = len(window) == rule.of and all(a * b < 0 for a, b in pairwise(steps))
        hits.append(bool(hit))
    return hits


@pytest.mark.parametrize("name", sorted(RULE_SETS))
def test_every_rule_is_its_plain_loop(name):
    rng = np.random.default_rng(17)
    walk = rng.normal(0, 1.3, 400) + 0.8 * np.sin(np.arange(400) / 9)
    walk[100:130] = np.tile([0.3, -0.2, 0.5], 10)
    walk[200:220] = np.linspace(-2, 2, 20)
    walk[300:320] = np.tile([0.4, -0.4], 10)
    walk[350:360] = np.tile([1.2, 1.4, -1.6, -1.3, 1.1], 2)
    found = apply_rules(walk, rules=RULE_SETS[name])
    for rule in RULE_SETS[name]:
        assert found.by_rule[rule.name].tolist() == plain_loop(rule, walk), rule.name
        assert found.by_rule[rule.name].any(), f"{rule.name} is never tried here"


def test_many_series_at_once_are_each_alone():
    rng = np.random.default_rng(18)
    parts = [rng.normal(0.5, 1.2, n) for n in (1, 7, 40, 3, 90)]
    together = apply_rules(np.concatenate(parts), rules=NELSON, series=np.repeat(list("dbace"), [1, 7, 40, 3, 90]))
    for rule in NELSON:
        alone = np.concatenate([apply_rules(part, rules=NELSON).by_rule[rule.name] for part in parts])
        assert (together.by_rule[rule.name] == alone).all()


def test_batches_of_two_standards_are_kept_apart():
    z, series, batches = [2.5, 0.1, -2.5, 0.2], ["a", "a", "b", "b"], [1, 1, 1, 1]
    assert "R_4s" not in named(z, WESTGARD, series=series, batches=batches)


def test_an_empty_series_has_no_hits():
    found = apply_rules([], rules=NELSON)
    assert len(found.rejected) == 0
    assert len(apply_rules([], rules=NELSON, series=[], batches=[]).warned) == 0


@pytest.mark.parametrize(
    "call",
    [
        lambda: apply_rules([1.0, float("nan")], rules=SHEWHART),
        lambda: apply_rules([1.0, 2.0], rules=SHEWHART, series=["a"]),
        lambda: apply_rules([1.0, 2.0, 3.0], rules=SHEWHART, series=["a", "b", "a"]),
        lambda: apply_rules([1.0, 2.0, 3.0], rules=SHEWHART, batches=[1, 2, 1]),
        lambda: apply_rules([1.0], rules=(SHEWHART[0], SHEWHART[0])),
        lambda: Rule("x", "sideways", 1, 1, 1.0, OURS),
        lambda: Rule("x", "same side", 3, 2, 1.0, OURS),
        lambda: Rule("x", "within", 2, 3, 1.0, OURS),
        lambda: Rule("x", "trend", 2, 2, 0.0, OURS),
        lambda: Rule("x", "same side", 1, 1, -1.0, OURS),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
