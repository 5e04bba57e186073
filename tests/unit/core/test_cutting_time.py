"""Minutes per metre: sizes of a rock learn from one another, totals against a numerical posterior, refusals."""

import math

import numpy as np
import pytest

from trayside.core.cutting_time import (
    TimeLog,
    TimeSettings,
    learn_times,
    metres_per_shift,
    minutes_per_metre,
    sawn_area,
    starting_times,
)
from trayside.errors import ImpossibleValue


def start(**changed):
    return starting_times(rocks=["granite", "schist"], core_diameter_mm=[47.6, 63.5], settings=TimeSettings(**changed))


def simulated(count, *, seed, rate, handling, split):
    chance = np.random.default_rng(seed)
    logs = []
    for _ in range(count):
        metres = float(chance.uniform(3, 12))
        cutting = 60 * 0.0476 * metres / rate * math.exp(chance.normal(0, 0.1))
        hold = handling * metres * math.exp(chance.normal(0, 0.1))
        minutes = dict(cutting_min=cutting, handling_min=hold) if split else dict(total_min=cutting + hold)
        logs.append(TimeLog(rock="granite", core_diameter_mm=47.6, metres=metres, **minutes))
    return logs


def test_split_logs_find_both_rates():
    found = learn_times(belief=start(log_sd=0.1), logs=simulated(60, seed=1, rate=0.5, handling=2.0, split=True)).belief
    here = minutes_per_metre(belief=found, rock="granite", core_diameter_mm=47.6)
    assert here.area_rate_m2_h == pytest.approx(0.5, rel=0.05)
    assert here.handling == pytest.approx(2.0, rel=0.05)
    assert here.minutes == pytest.approx(here.cutting + here.handling)
    assert here.low < here.minutes < here.high
    assert found.logs == 60


def test_totals_find_the_sum():
    found = learn_times(
        belief=start(log_sd=0.1), logs=simulated(60, seed=2, rate=0.5, handling=2.0, split=False)
    ).belief
    here = minutes_per_metre(belief=found, rock="granite", core_diameter_mm=47.6)
    assert here.minutes == pytest.approx(60 * 0.0476 / 0.5 + 2.0, rel=0.05)


def test_a_total_leads_to_the_highest_point_of_the_belief():
    belief = start()
    log = TimeLog(rock="schist", core_diameter_mm=63.5, metres=5.0, total_min=70.0)
    found = learn_times(belief=belief, logs=[log]).belief
    inverse = np.linalg.inv(belief.covariance)

    def misfit(point):
        off = point - belief.mean
        total = math.log(math.exp(point[5]) + 60 * 0.0635 / math.exp(point[3]))
        return off @ inverse @ off + ((math.log(14.0) - total) / belief.log_sd) ** 2

    best = misfit(found.mean)
    chance = np.random.default_rng(0)
    for size in (1e-4, 1e-2, 0.3):
        for _ in range(50):
            assert misfit(found.mean + chance.normal(0, size, 6)) >= best - 1e-9


def test_hq_learns_from_nq_of_the_same_rock_and_schist_does_not():
    found = learn_times(belief=start(), logs=simulated(30, seed=3, rate=0.3, handling=1.2, split=True)).belief
    before, after = start(), found

    def rate(belief, rock, size):
        return minutes_per_metre(belief=belief, rock=rock, core_diameter_mm=size).area_rate_m2_h

    assert rate(after, "granite", 63.5) == pytest.approx(0.3, rel=0.1)
    assert rate(after, "schist", 63.5) == pytest.approx(rate(before, "schist", 63.5))
    nq, hq = (minutes_per_metre(belief=after, rock="granite", core_diameter_mm=size) for size in (47.6, 63.5))
    assert hq.cutting > nq.cutting
    assert math.log(hq.high / hq.low) > math.log(nq.high / nq.low)


def test_scores_say_slow_as_positive():
    belief = learn_times(belief=start(), logs=simulated(30, seed=4, rate=0.68, handling=1.2, split=True)).belief
    slow, fast = (
        learn_times(belief=belief, logs=[TimeLog("granite", 47.6, 10.0, cutting_min=minutes)]).score[0]
        for minutes in (80.0, 25.0)
    )
    assert slow > 2.0
    assert fast < -2.0


def test_a_quarter_takes_half_again_the_cutting():
    half, quarter = (
        minutes_per_metre(belief=start(), rock="granite", core_diameter_mm=47.6, cut=cut) for cut in ("half", "quarter")
    )
    assert quarter.cutting == pytest.approx(1.5 * half.cutting)
    assert quarter.handling == half.handling


def test_blade_changes_and_washing_cost_metres():
    plain = metres_per_shift(productive_min=360, cutting=4.2, handling=1.2)
    less = metres_per_shift(
        productive_min=360, cutting=4.2, handling=1.2, washing=0.5, blade_change_min=20, blade_metres=600
    )
    assert less == pytest.approx(360 / (5.9 + 20 / 600))
    assert less < plain


@pytest.mark.parametrize(
    ("log", "match"),
    [
        (TimeLog("basalt", 47.6, 5.0, total_min=30.0), "granite, schist"),
        (TimeLog("granite", 85.0, 5.0, total_min=30.0), "47.6, 63.5"),
        (TimeLog("granite", 47.6, 0.0, total_min=30.0), "more than 0"),
        (TimeLog("granite", 47.6, 5.0), "one or the other"),
        (TimeLog("granite", 47.6, 5.0, cutting_min=20.0, total_min=30.0), "one or the other"),
        (TimeLog("granite", 47.6, 5.0, total_min=-1.0), "more than 0"),
        (TimeLog("granite", 47.6, 5.0, total_min=30.0, cut="slice"), "half, quarter"),
    ],
)
def test_refusals(log, match):
    with pytest.raises(ImpossibleValue, match=match):
        learn_times(belief=start(), logs=[log])


def test_more_refusals():
    with pytest.raises(ImpossibleValue, match="twice"):
        starting_times(rocks=["a", "a"], core_diameter_mm=[47.6])
    with pytest.raises(ImpossibleValue, match="more than 0"):
        start(log_sd=0.0)
    with pytest.raises(ImpossibleValue, match="more than 0"):
        sawn_area(core_diameter_mm=0.0)
