"""Ordering in time, and glazing told from over-wear, on scores learned from simulated logs."""

import numpy as np
import pytest

from trayside.core.blade_life import learn_wear, starting_wear
from trayside.core.blade_watch import reorder, tell_glazing
from trayside.core.cutting_time import TimeLog, TimeSettings, learn_times, starting_times
from trayside.errors import ImpossibleValue

STOCK = dict(left_low_m2=10.0, spare_blades=1, spare_blade_m2=40.0, per_day_m2=2.5)


@pytest.mark.parametrize(
    ("lead", "order", "now", "word"),
    [(10.0, 8.0, False, "within 8"), (18.0, 0.0, True, "Order today"), (30.0, -12.0, True, "than the 30")],
)
def test_the_order_goes_out_before_the_blades_run_out(lead, order, now, word):
    found = reorder(**STOCK, lead_days=lead)
    assert found.empty_in_days == 20.0
    assert found.order_in_days == pytest.approx(order)
    assert found.order_now is now
    assert word in found.says


@pytest.mark.parametrize(
    ("minutes", "wear", "state"),
    [
        (0.0, 0.0, "steady"),
        (2.0, -2.0, "glazing"),
        (0.0, 2.0, "over-wear"),
        (-2.0, 2.0, "over-wear"),
        (2.0, 2.0, "both"),
        (2.0, 0.0, "slow"),
        (-2.0, 0.0, "fresh"),
        (0.0, -2.0, "fresh"),
    ],
)
def test_states_by_the_two_streams(minutes, wear, state):
    assert tell_glazing(minutes_score=[minutes] * 8, wear_score=[wear] * 8).state == state


def test_one_bad_reading_is_not_a_state():
    assert tell_glazing(minutes_score=[0, 0, 4.5, 0], wear_score=[0, -4.5, 0]).state == "steady"


def test_no_readings_yet_is_steady():
    assert tell_glazing(minutes_score=[], wear_score=[]).state == "steady"


def scores(*, minutes_factor, wear_factor, seed=3):
    """A blade that cuts as believed for 20 readings, then changes."""
    chance = np.random.default_rng(seed)
    rates = starting_times(
        rocks=["granite"], core_diameter_mm=[47.6],
        settings=TimeSettings(area_rate_m2_h=0.68, rock_sd=0.05, size_sd=0.05, log_sd=0.08),
    )  # fmt: skip
    wear = starting_wear(
        rocks=["granite"], new_height_mm=10, new_height_sd_mm=0.1, wear=0.18, wear_sd=0.01, scatter_mm=0.04
    )
    factors = np.where(np.arange(40) < 20, 1.0, minutes_factor)
    logs = [
        TimeLog(rock="granite", core_diameter_mm=47.6, metres=10, cutting_min=42.0 * f * np.exp(chance.normal(0, 0.08)))
        for f in factors
    ]
    areas = np.arange(1, 41) * 0.7
    worn = np.cumsum(np.where(np.arange(40) < 20, 0.18, 0.18 * wear_factor) * 0.7)
    heights = 10 - worn + chance.normal(0, 0.04, 40)
    minutes_score = learn_times(belief=rates, logs=logs).score
    wear_score = learn_wear(belief=wear, height_mm=heights, cut_m2=areas).score
    return dict(minutes_score=minutes_score, wear_score=wear_score)


@pytest.mark.parametrize(
    ("minutes_factor", "wear_factor", "state"),
    [(1.0, 1.0, "steady"), (1.4, 0.5, "glazing"), (1.0, 1.9, "over-wear"), (1.4, 1.9, "both")],
)
def test_simulated_blades_are_told_apart(minutes_factor, wear_factor, state):
    assert tell_glazing(**scores(minutes_factor=minutes_factor, wear_factor=wear_factor)).state == state


def test_refusals():
    with pytest.raises(ImpossibleValue, match="more than 0"):
        reorder(**{**STOCK, "per_day_m2": 0.0}, lead_days=5.0)
    with pytest.raises(ImpossibleValue, match="missing"):
        tell_glazing(minutes_score=[float("nan")], wear_score=[])
