"""Design of a control scheme: what is played, what is counted, what is recommended."""

import math
import time
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from trayside.core.scheme_design import (
    BATCH,
    BIAS,
    CONTAMINATION,
    DRIFT,
    RACK,
    ControlScheme,
    Fault,
    LaboratoryModel,
    SchemeRules,
    design_curve,
    play_scheme,
    recommend_rate,
)
from trayside.errors import ImpossibleValue

SCHEME = ControlScheme()
LABORATORY = LaboratoryModel()


def play(fault, scheme=SCHEME, laboratory=LABORATORY, campaigns=2000, **more):
    return play_scheme(scheme=scheme, laboratory=laboratory, fault=fault, campaigns=campaigns, **more)


def test_the_same_seed_gives_the_same_answer_and_another_another():
    one, again, other = (play(Fault(BIAS, 0.05), seed=seed) for seed in (1, 1, 2))
    assert one.seen == again.seen
    assert (one.by_batch == again.by_batch).all()
    assert one.seen != other.seen


def test_windows_follow_each_other():
    found = play(Fault(BIAS, 0.05))
    assert found.seen["batch"].value < found.seen["month"].value < found.seen["campaign"].value
    assert (np.diff(found.by_batch) >= 0.0).all()
    assert found.by_batch[0] == found.seen["batch"].value
    assert found.by_batch[3] == found.seen["month"].value
    assert found.by_batch[-1] == found.seen["campaign"].value
    for chance in found.seen.values():
        assert chance.low <= chance.value <= chance.high


def test_no_fault_is_seen_as_often_as_false_alarms_come():
    found = play(Fault(BIAS, 0.0))
    assert found.seen == found.alarm


def test_a_rack_with_n_standards_is_seen_by_the_exact_chance():
    # One rack, five standards, fault in the whole rack: 1 - (1 - p)^5.
    scheme = ControlScheme(tickets_per_batch=50, rack_size=50, standard_rate=0.1)
    laboratory = LaboratoryModel(standard_sd=0.03, batch_sd=0.0, chart_sd=0.03)
    found = play(Fault(BIAS, 0.06, RACK), scheme, laboratory, 20_000, rules=SchemeRules(two_beyond=None))
    p = stats.norm.sf(1.0) + stats.norm.sf(5.0)
    exact = 1 - (1 - p) ** 5
    assert found.seen["batch"].value == pytest.approx(exact, abs=4 * math.sqrt(exact * (1 - exact) / 20_000))
    assert found.seen["campaign"] == found.seen["batch"]


def test_broken_rates_are_kept_on_average():
    # 0.7 standards in each rack of 10, no minimum: a fault nobody can miss is seen when there is one.
    scheme = ControlScheme(tickets_per_batch=10, rack_size=10, standard_rate=0.07, standard_in_every_rack=False)
    found = play(Fault(BIAS, 10.0, RACK), scheme, campaigns=20_000)
    assert found.seen["batch"].value == pytest.approx(0.7, abs=4 * math.sqrt(0.21 / 20_000))
    every = play(Fault(BIAS, 10.0, RACK), replace(scheme, standard_in_every_rack=True))
    assert every.seen["batch"].value == 1.0


def test_without_controls_nothing_is_seen():
    scheme = ControlScheme(standard_rate=0.0, standard_in_every_rack=False)
    found = play(Fault(BIAS, 1.0), scheme, campaigns=200)
    assert found.seen["campaign"].value == 0.0
    assert math.isinf(found.median_tickets)


def test_a_fault_that_begins_in_a_batch_meets_half_its_controls():
    # One standard at a random ticket, the fault from a random ticket on: met in (n + 1)/(2 n).
    scheme = ControlScheme(tickets_per_batch=20, rack_size=20, standard_rate=0.05)
    found = play(Fault(BIAS, 10.0, BATCH), scheme, campaigns=20_000)
    assert found.seen["batch"].value == pytest.approx(21 / 40, abs=4 * 0.5 / math.sqrt(20_000))
    assert found.seen["campaign"] == found.seen["batch"]


def test_scatter_between_batches_makes_false_alarms():
    steady = play(Fault(BIAS, 0.0), laboratory=LaboratoryModel(batch_sd=0.0))
    shaky = play(Fault(BIAS, 0.0), laboratory=LaboratoryModel(batch_sd=0.04))
    assert shaky.alarm["campaign"].value > steady.alarm["campaign"].value + 0.3


def test_a_drift_is_seen_later_than_a_step_of_its_later_size():
    step, drift = play(Fault(BIAS, 0.06)), play(Fault(DRIFT, 0.01))
    assert drift.seen["batch"].value < step.seen["batch"].value
    assert drift.median_tickets > step.median_tickets
    assert drift.seen["campaign"].value > 0.95


def test_cusum_sees_small_biases_that_single_scores_miss():
    laboratory = LaboratoryModel(standard_sd=0.03, batch_sd=0.0, chart_sd=0.03)
    single = play(Fault(BIAS, 0.02), laboratory=laboratory, rules=SchemeRules(two_beyond=None))
    sums = play(Fault(BIAS, 0.02), laboratory=laboratory, rules=SchemeRules(None, None, 0.5, 5.0))
    assert sums.seen["month"].value > single.seen["month"].value + 0.3


def test_two_in_a_row_on_one_side_is_a_rule_of_its_own():
    laboratory = LaboratoryModel(standard_sd=1e-6, batch_sd=0.0, chart_sd=0.02)
    scheme = ControlScheme(tickets_per_batch=50, rack_size=50, standard_rate=0.04)
    # Every score stands at 2.5: one says nothing, two in a row do.
    both = play(Fault(BIAS, 0.05, RACK), scheme, laboratory, 200)
    single = play(Fault(BIAS, 0.05, RACK), scheme, laboratory, 200, rules=SchemeRules(two_beyond=None))
    assert both.seen["batch"].value == 1.0
    assert single.seen["batch"].value == 0.0


def test_blanks_behind_the_richest_sample_see_more():
    fault = Fault(CONTAMINATION, 0.003)
    blind = play(fault, replace(SCHEME, blank_behind_best=0.0))
    aimed = play(fault, replace(SCHEME, blank_behind_best=1.0))
    assert aimed.seen["batch"].value > blind.seen["batch"].value + 0.3


def test_carry_over_of_a_known_grade_has_its_exact_chance():
    # One blank in the rack behind any sample: P(share x grade > limit), background and scatter nil.
    scheme = ControlScheme(tickets_per_batch=30, rack_size=30, blank_rate=1 / 30, blank_behind_best=0.0)
    laboratory = LaboratoryModel(
        grade_median=0.5, grade_log_sd=1.5, blank_background=0.0, blank_sd=0.0, blank_limit=0.025
    )
    found = play(Fault(CONTAMINATION, 0.01, RACK), scheme, laboratory, 20_000)
    exact = stats.norm.sf(math.log(2.5 / 0.5) / 1.5)
    assert found.seen["batch"].value == pytest.approx(exact, abs=4 * math.sqrt(exact * (1 - exact) / 20_000))
    best = play(Fault(CONTAMINATION, 0.01, RACK), replace(scheme, blank_behind_best=1.0), laboratory, 20_000)
    exact = 1 - (1 - exact) ** 29
    assert best.seen["batch"].value == pytest.approx(exact, abs=4 * math.sqrt(exact * (1 - exact) / 20_000))


def test_blanks_switched_off_see_nothing():
    found = play(Fault(CONTAMINATION, 1.0), rules=SchemeRules(blank_above=False), campaigns=100)
    assert found.seen["campaign"].value == 0.0


def test_an_alarm_in_the_lead_does_not_count():
    laboratory = LaboratoryModel(standard_sd=1.0, batch_sd=0.0, chart_sd=0.001)
    scheme = ControlScheme(standard_rate=0.05)
    found = play(Fault(BIAS, 0.0), scheme, laboratory, 200)
    assert found.mean_tickets >= 1.0


def test_the_curve_rises_with_the_fault():
    curve = design_curve(scheme=SCHEME, laboratory=LABORATORY, kind=BIAS, sizes=[0.0, 0.03, 0.06, 0.12], campaigns=1000)
    for chance in (curve.batch, curve.month, curve.campaign):
        assert (np.diff(chance) >= 0.0).all()
    assert curve.month[-1] > 0.95
    assert curve.campaign[0] == curve.alarm[0]


def test_the_smallest_rate_that_does_is_recommended():
    more = {"scheme": SCHEME, "laboratory": LABORATORY, "fault": Fault(BIAS, 0.06), "campaigns": 1000}
    found = recommend_rate(rates=[0.1, 0.02, 0.05], target=0.8, **more)
    assert found.rates.tolist() == [0.02, 0.05, 0.1]
    assert (np.diff(found.seen) > 0.0).all()
    chosen = found.rates.tolist().index(found.rate)
    assert found.seen[chosen] >= 0.8
    assert chosen == 0 or found.seen[chosen - 1] < 0.85
    assert "standards in" in found.says
    none = recommend_rate(rates=[0.02], target=0.999, **more)
    assert none.rate is None
    assert "none of the rates" in none.says


@pytest.mark.slow
def test_ten_thousand_campaigns_take_less_than_a_minute():
    scheme = ControlScheme(tickets_per_batch=200, batches_per_month=8, months=12, standard_rate=0.06, blank_rate=0.04)
    began = time.process_time()
    play_scheme(scheme=scheme, laboratory=LABORATORY, fault=Fault(BIAS, 0.05), campaigns=10_000)
    play_scheme(scheme=scheme, laboratory=LABORATORY, fault=Fault(CONTAMINATION, 0.005), campaigns=10_000)
    assert time.process_time() - began < 60.0


@pytest.mark.parametrize(
    "call",
    [
        lambda: Fault("theft", 0.1),
        lambda: Fault(BIAS, -1.0),
        lambda: Fault(CONTAMINATION, -0.1),
        lambda: Fault(BIAS, 0.1, "week"),
        lambda: ControlScheme(standard_rate=0.6),
        lambda: ControlScheme(months=0),
        lambda: LaboratoryModel(chart_sd=0.0),
        lambda: SchemeRules(beyond=0.0),
        lambda: play(Fault(BIAS, 0.1), campaigns=0),
        lambda: play(Fault(BIAS, 0.1), seed=-1),
        lambda: recommend_rate(
            scheme=SCHEME, laboratory=LABORATORY, fault=Fault(BIAS, 0.1), rates=[0.05], within="year"
        ),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
