"""Imbalances of samples: veins laid into every sample they reach, the exact curve and its best plane."""

from time import perf_counter

import numpy as np
import pytest

from trayside.core.cut_plane import best_cut_deg, vein_weight
from trayside.core.sample_cut import best_sample_cut, sample_imbalances
from trayside.core.vein_shares import clipped_vein_shares
from trayside.errors import ImpossibleValue


def some_hole(seed=1, count=60, length=20):
    chance = np.random.default_rng(seed)
    top = np.arange(length) * 1000.0
    return {
        "radius_mm": 23.8,
        "alpha_deg": np.clip(chance.normal(35, 15, count), 2, 90),
        "beta_deg": chance.normal(65, 25, count),
        "thickness_mm": chance.exponential(6, count) + 0.1,
        "centre_mm": chance.uniform(-50, length * 1000 + 50, count),
        "sample_from_mm": top,
        "sample_to_mm": top + chance.choice([700.0, 1000.0], length),  # some ground between samples is left
        "grade": chance.exponential(3, count),
    }


@pytest.mark.parametrize("seed", [1, 2])
def test_every_pair_of_vein_and_sample_is_counted_once(seed):
    hole = some_hole(seed)
    cuts = np.array([0.0, 33, 120])
    got = sample_imbalances(**hole, cut_deg=cuts)
    for row, cut in enumerate(cuts):
        for sample, (top, bottom) in enumerate(zip(hole["sample_from_mm"], hole["sample_to_mm"], strict=True)):
            one = clipped_vein_shares(
                radius_mm=23.8, alpha_deg=hole["alpha_deg"], thickness_mm=hole["thickness_mm"],
                centre_mm=hole["centre_mm"], sample_from_mm=top, sample_to_mm=bottom, angle_deg=cut - hole["beta_deg"],
            )  # fmt: skip
            metal, uneven = (hole["grade"] * one.whole).sum(), (hole["grade"] * one.difference).sum()
            assert got.metal[sample] == pytest.approx(metal, rel=1e-9)
            if metal > 0:
                assert got.imbalance[row, sample] == pytest.approx(uneven / metal, abs=1e-9)
            else:
                assert np.isnan(got.imbalance[row, sample])


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_best_plane_agrees_with_brute_force(seed):
    hole = some_hole(seed)
    best = best_sample_cut(**hole)
    fine = np.arange(0, 180, 0.25)
    curve = np.sqrt(np.nanmean(sample_imbalances(**hole, cut_deg=fine).imbalance ** 2, axis=1))
    assert best.rms_imbalance <= curve.min() + 1e-6
    assert best.rms_imbalance == pytest.approx(curve.min(), abs=1e-4)
    assert best.worst_rms_imbalance == pytest.approx(curve.max(), abs=1e-4)
    assert best.line_rms_imbalance == pytest.approx(curve[0])
    inside = (fine >= best.free_from_deg) & (fine <= best.free_to_deg)
    assert (curve[inside] <= curve.min() + 0.01 + 1e-4).all()
    assert best.free_from_deg <= best.cut_deg <= best.free_to_deg


def test_half_a_turn_more_swaps_the_halves():
    hole = some_hole(4)
    one = sample_imbalances(**hole, cut_deg=[20.0, 200.0]).imbalance
    assert one[1] == pytest.approx(-one[0], nan_ok=True, abs=1e-12)


def test_simple_weights_point_to_nearly_the_same_plane_in_a_long_hole():
    hole = some_hole(5, count=3000, length=400) | {"grade": 1.0}
    exact = best_sample_cut(**hole)
    weight = vein_weight(alpha_deg=hole["alpha_deg"], thickness_mm=hole["thickness_mm"])
    simple = best_cut_deg(beta_deg=hole["beta_deg"], weight=weight)
    assert abs((exact.cut_deg - simple + 90) % 180 - 90) < 12
    assert exact.worst_rms_imbalance > 1.8 * exact.rms_imbalance


def test_veins_that_no_sample_end_clips_leave_every_plane_free():
    best = best_sample_cut(
        radius_mm=23.8, alpha_deg=45, beta_deg=[10, 80], thickness_mm=5, centre_mm=[500, 1500],
        sample_from_mm=[0, 1000], sample_to_mm=[1000, 2000],
    )  # fmt: skip
    assert best.worst_rms_imbalance == pytest.approx(0, abs=1e-12)
    assert best.free_to_deg - best.free_from_deg == pytest.approx(180)


def test_one_clipped_vein_is_cut_through_its_apexes():
    best = best_sample_cut(
        radius_mm=23.8, alpha_deg=45, beta_deg=248, thickness_mm=5, centre_mm=0, sample_from_mm=[0], sample_to_mm=[1000]
    )
    assert best.cut_deg == pytest.approx(68, abs=0.02)
    assert best.rms_imbalance == pytest.approx(0, abs=1e-3)
    assert best.sample_count == 1


@pytest.mark.parametrize(
    ("bad", "where"),
    [
        ({"sample_from_mm": [1000, 0], "sample_to_mm": [2000, 1000]}, "sample_from_mm"),
        ({"sample_to_mm": [1000, 900]}, "sample_to_mm"),
        ({"centre_mm": 9e6}, "no vein"),
        ({"grade": 0}, "no vein"),
        ({"alpha_deg": 0}, "alpha_deg"),
        ({"step_deg": 0}, "step_deg"),
    ],
)
def test_impossible_holes_are_refused(bad, where):
    good = {
        "radius_mm": 23.8, "alpha_deg": 45, "beta_deg": 10, "thickness_mm": 5, "centre_mm": 0,
        "sample_from_mm": [0, 1000], "sample_to_mm": [1000, 2000],
    }  # fmt: skip
    with pytest.raises(ImpossibleValue, match=where):
        best_sample_cut(**good | bad)


def test_the_exact_curve_of_twenty_thousand_veins_is_quick():
    hole = some_hole(6, count=20_000, length=2000)
    start = perf_counter()
    best_sample_cut(**hole)
    assert perf_counter() - start < 3.0
