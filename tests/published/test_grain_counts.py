"""Grain counts by Poisson's law.

Clifton, Hunter, Swanson & Phillips 1969, USGS Professional Paper 625-C: the rule of 20 grains (from memory).
The figures of the tables are derived (Poisson's law, worked out beforehand); tolerance half the last printed place.
"""

import pytest

from trayside.core.sampling_error import GRAINS_WANTED, grain_count, grains_in_mass, mass_holding_grains_kg

COUNTS = [
    # grains, RSD %, tolerance, P(none), relative tolerance, low, high, P(within 50 %), tolerance
    (1, 100.0, 0.5, 0.367879, 2e-6, 0, 3, 0.3679, 5e-5),
    (5, 44.72, 5e-3, 0.006738, 1e-4, 1, 10, 0.7420, 5e-5),
    (10, 31.62, 5e-3, 4.54e-5, 2e-3, 4, 17, 0.9220, 5e-5),
    (20, 22.36, 5e-3, 2.06e-9, 3e-3, 12, 29, 0.9815, 5e-5),
    (50, 14.14, 5e-3, 1.9e-22, 3e-2, 37, 64, 0.99959, 5e-6),
]


@pytest.mark.parametrize(
    ("grains", "rsd", "rsd_tol", "none", "none_tol", "low", "high", "inside", "inside_tol"), COUNTS
)
def test_scatter_of_a_number_of_grains(grains, rsd, rsd_tol, none, none_tol, low, high, inside, inside_tol):
    count = grain_count(mean_grains=grains)
    assert 100 * count.relative_sd == pytest.approx(rsd, abs=rsd_tol)
    assert count.chance_of_none == pytest.approx(none, rel=none_tol, abs=0)
    assert (count.low_count, count.high_count) == (low, high)
    assert count.chance_within == pytest.approx(inside, abs=inside_tol)


@pytest.mark.parametrize(
    ("diameter_mm", "kg", "tolerance"),
    [(0.1, 0.2021, 5e-5), (0.2, 1.6169, 5e-5), (0.5, 25.264, 5e-4), (1.0, 202.11, 5e-3)],
)
def test_mass_that_holds_twenty_grains_of_pure_gold_at_one_gram_per_tonne(diameter_mm, kg, tolerance):
    mass = mass_holding_grains_kg(grain_diameter_mm=diameter_mm, grade_ppm=1.0)
    assert mass == pytest.approx(kg, abs=tolerance)
    back = grains_in_mass(sample_mass_kg=mass, grain_diameter_mm=diameter_mm, grade_ppm=1.0)
    assert back == pytest.approx(20.0, rel=1e-12)


def test_the_rule_of_twenty_is_marked_as_remembered():
    assert GRAINS_WANTED.value == 20.0
    assert GRAINS_WANTED.source.grade == "from memory"
