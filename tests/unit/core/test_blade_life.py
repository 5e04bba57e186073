"""Blade life by class: against the normal equations, unknown wear, the next blade, refusals."""

import math

import numpy as np
import pytest
from scipy import stats

from trayside.core.blade_life import (
    blade_left,
    cut_since,
    gamma_wear,
    learn_wear,
    life_from_volume,
    next_blade,
    starting_wear,
)
from trayside.errors import ImpossibleValue

ROCKS = ("granite", "schist", "quartzite")


def belief(**changed):
    given = dict(
        rocks=ROCKS, new_height_mm=10.0, new_height_sd_mm=0.2, wear=[0.18, 0.1, 0.3], wear_sd=[0.06, 0.05, 0.1],
        scatter_mm=0.08,
    )  # fmt: skip
    return starting_wear(**{**given, **changed})


@pytest.fixture
def readings():
    chance = np.random.default_rng(5)
    areas = np.cumsum(chance.uniform(0, 3, (9, 3)), axis=0)
    return areas, 10.05 - areas @ [0.2, 0.08, 0.35] + chance.normal(0, 0.08, 9)


def test_the_updates_solve_the_normal_equations(readings):
    areas, heights = readings
    start = belief()
    rows = np.column_stack((np.ones(9), -areas))
    inverse = np.linalg.inv(start.covariance)
    covariance = np.linalg.inv(inverse + rows.T @ rows / 0.08**2)
    mean = covariance @ (inverse @ start.mean + rows.T @ heights / 0.08**2)
    found = learn_wear(belief=start, height_mm=heights, cut_m2=areas).belief
    assert found.mean == pytest.approx(mean, rel=1e-9)
    assert found.covariance == pytest.approx(covariance, rel=1e-7, abs=1e-12)
    assert found.height_now_mm == pytest.approx(mean @ rows[-1])
    assert found.readings == 9


def test_one_reading_at_a_time_is_the_same_as_all_at_once(readings):
    areas, heights = readings
    together = learn_wear(belief=belief(), height_mm=heights, cut_m2=areas)
    step, scores = belief(), []
    for height, area in zip(heights, areas, strict=True):
        learned = learn_wear(belief=step, height_mm=height, cut_m2=area[None, :])
        step, scores = learned.belief, [*scores, *learned.score]
    assert step.mean == pytest.approx(together.belief.mean)
    assert scores == pytest.approx(together.score.tolist())


def test_the_mix_to_come_decides_what_is_left(readings):
    areas, heights = readings
    found = learn_wear(belief=belief(), height_mm=heights, cut_m2=areas).belief
    left = {
        rock: blade_left(belief=found, lowest_height_mm=1.0, mix=np.eye(3)[k], core_diameter_mm=47.6)
        for k, rock in enumerate(ROCKS)
    }
    assert left["schist"].area_m2 > left["granite"].area_m2 > left["quartzite"].area_m2
    spare = found.height_now_mm - 1.0
    assert left["granite"].area_m2 == pytest.approx(spare / found.mean[1])
    mixed = blade_left(belief=found, lowest_height_mm=1.0, mix=[2, 1, 1], core_diameter_mm=47.6)
    assert mixed.area_m2 == pytest.approx(spare / (found.mean[1:] @ [0.5, 0.25, 0.25]))


def test_the_ends_of_the_interval_are_where_belief_says(readings):
    areas, heights = readings
    found = learn_wear(belief=belief(), height_mm=heights, cut_m2=areas).belief
    left = blade_left(belief=found, lowest_height_mm=1.0, core_diameter_mm=47.6, confidence=0.8)
    for end, share in ((left.low_m2, 0.1), (left.high_m2, 0.9)):
        row = np.concatenate(([1.0], -(found.cut_m2 + end / 3.0)))
        at_lowest = stats.norm.cdf(1.0, row @ found.mean, math.sqrt(row @ found.covariance @ row))
        assert at_lowest == pytest.approx(share, abs=1e-6)


def test_wear_that_is_not_known_has_no_upper_end():
    left = blade_left(belief=belief(wear_sd=0.5), lowest_height_mm=2.0, core_diameter_mm=47.6)
    assert math.isinf(left.high_m2)
    assert 0 < left.low_m2 < left.area_m2
    assert "not known" in left.says
    assert any("not known well enough" in flag for flag in left.flags)


def test_a_blade_at_its_lowest_comes_off():
    worn = learn_wear(belief=belief(), height_mm=[1.9], cut_m2=[[45.0, 0.0, 0.0]]).belief
    left = blade_left(belief=worn, lowest_height_mm=2.0, core_diameter_mm=47.6)
    assert left.area_m2 < 0.0
    assert left.says.startswith("Nothing left")
    assert any("at their lowest height" in flag for flag in left.flags)


def test_rock_cut_without_a_reading_shortens_what_is_left():
    base = belief()
    later = cut_since(belief=base, area_m2=[4.0, 0.0, 0.0])
    assert base.height_now_mm - later.height_now_mm == pytest.approx(4.0 * 0.18)
    before, after = (
        blade_left(belief=one, lowest_height_mm=2.0, mix=[1, 0, 0], core_diameter_mm=47.6) for one in (base, later)
    )
    assert before.area_m2 - after.area_m2 == pytest.approx(4.0)


def test_heights_that_grow_are_flagged_and_not_extrapolated():
    odd = learn_wear(
        belief=belief(rocks=("granite",), wear=0.05, wear_sd=0.2), height_mm=[10.0, 10.6, 11.2], cut_m2=[0, 5, 10]
    ).belief
    assert any("adds height" in flag for flag in odd.flags)
    with pytest.raises(ImpossibleValue, match="adds height"):
        blade_left(belief=odd, lowest_height_mm=2.0, core_diameter_mm=47.6)


def test_the_next_blade_keeps_the_wear_and_widens_it(readings):
    areas, heights = readings
    found = learn_wear(belief=belief(), height_mm=heights, cut_m2=areas).belief
    fresh = next_blade(belief=found, new_height_mm=12.0, new_height_sd_mm=0.3)
    assert fresh.mean[1:] == pytest.approx(found.mean[1:])
    assert fresh.height_now_mm == 12.0
    assert (np.diag(fresh.covariance)[1:] > np.diag(found.covariance)[1:]).all()
    assert not fresh.covariance[0, 1:].any()
    assert (np.linalg.eigvalsh(fresh.covariance) > 0).all()


def test_gamma_interval_is_that_of_its_distribution():
    found = gamma_wear(shape_per_m2=20, prior_shape=21, prior_rate=0.2, area_m2=15, worn_mm=2.7)
    draws = 20 / stats.gamma(321, scale=1 / 2.9).ppf([0.95, 0.05])
    assert (found.low, found.high) == pytest.approx(draws)
    assert found.low < found.mean < found.high


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: belief(rocks=("a", "a", "b")), "twice"),
        (lambda: belief(wear=[0.1, 0.2]), "2 values for 3"),
        (lambda: belief(scatter_mm=0.0), "more than 0"),
        (lambda: learn_wear(belief=belief(), height_mm=[9.0], cut_m2=[1.0]), "one column a class"),
        (lambda: learn_wear(belief=belief(), height_mm=[9, 8], cut_m2=[[2, 0, 0], [1, 0, 0]]), "falls"),
        (lambda: learn_wear(belief=belief(), height_mm=[-1.0], cut_m2=[[1, 0, 0]]), "at least 0"),
        (lambda: blade_left(belief=belief(), lowest_height_mm=1.0, mix=[0, 0, 0], core_diameter_mm=47.6), "all 0"),
        (lambda: cut_since(belief=belief(), area_m2=[1.0, -1.0, 0.0]), "at least 0"),
        (
            lambda: life_from_volume(segments=20, length_mm=40, width_mm=3, height_mm=8, leave_mm=8, volume_wear=500),
            "less than the height",
        ),
        (lambda: gamma_wear(shape_per_m2=1, prior_shape=0.5, prior_rate=1, area_m2=0.1, worn_mm=0), "more than 1"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ImpossibleValue, match=match):
        call()
