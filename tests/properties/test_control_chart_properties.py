"""Charts and rules: mirrored results mirror the chart, and nothing looks ahead."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.control_chart import cusum, ewma
from trayside.core.control_rules import NELSON, WESTERN_ELECTRIC, WESTGARD, apply_rules

SCORES = st.lists(st.integers(-400, 400).map(lambda v: v / 100), max_size=60)
SETS = st.sampled_from([WESTERN_ELECTRIC, NELSON, WESTGARD])


@settings(deadline=None)
@given(SCORES, st.integers(0, 60), SETS)
def test_no_rule_looks_ahead(scores, cut, rules):
    whole, part = apply_rules(scores, rules=rules), apply_rules(scores[:cut], rules=rules)
    for name, hits in part.by_rule.items():
        assert (whole.by_rule[name][: len(hits)] == hits).all()


@settings(deadline=None)
@given(SCORES, SETS)
def test_rules_do_not_care_which_way_is_up(scores, rules):
    one, two = apply_rules(scores, rules=rules), apply_rules([-z for z in scores], rules=rules)
    assert (one.rejected == two.rejected).all()
    assert (one.warned == two.warned).all()


@settings(deadline=None)
@given(SCORES, SETS)
def test_a_result_is_rejected_exactly_when_a_hard_rule_hits(scores, rules):
    found = apply_rules(scores, rules=rules)
    hard = np.zeros(len(scores), dtype=bool)
    for rule in rules:
        if not rule.warning:
            hard |= found.by_rule[rule.name]
    assert (found.rejected == hard).all()


@settings(deadline=None)
@given(SCORES, st.floats(0, 2), st.floats(0.5, 6), st.floats(0, 0.4))
def test_cusum_mirrors_and_never_falls_below_zero(scores, k, h, head_start):
    one = cusum(scores, target=0.0, k=k, h=h, head_start=head_start)
    two = cusum([-z for z in scores], target=0.0, k=k, h=h, head_start=head_start)
    assert (one.upper >= 0).all()
    assert one.upper == pytest.approx(two.lower, abs=1e-9)
    assert (one.count_upper > 0).tolist() == (one.upper > 0).tolist()


@settings(deadline=None)
@given(st.lists(st.floats(-50, 50), min_size=1, max_size=60), st.floats(0.01, 1))
def test_ewma_stays_between_its_results_and_target(values, weight):
    found = ewma(values, target=3.0, sd=1.0, weight=weight)
    assert (found.average >= min(3.0, *values) - 1e-9).all()
    assert (found.average <= max(3.0, *values) + 1e-9).all()
    assert (np.diff(found.high) >= -1e-12).all()
    assert (found.high <= found.steady_high + 1e-9).all()
