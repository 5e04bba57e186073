"""Densities: defaults inside their printed ranges, mixing, pores, weighing in water."""

import numpy as np
import pytest

from trayside.core.rock_density import (
    MINERAL_DENSITIES,
    ROCK_DENSITIES,
    bulk_density_with_pores,
    density_from_immersion,
    density_from_waxed_immersion,
    mixed_density,
    rock_density,
    water_density,
)
from trayside.errors import ImpossibleValue


def test_every_default_lies_inside_the_printed_range_it_names():
    for entry in ROCK_DENSITIES:
        assert entry.low_t_m3 <= entry.density_t_m3 <= entry.high_t_m3, entry.rock
        assert entry.source.grade in ("seen", "from memory")
    assert len({entry.rock for entry in ROCK_DENSITIES}) == len(ROCK_DENSITIES)


def test_salt_does_not_repeat_the_misprinted_range():
    # about.com rock list (seen) prints rock salt 2.5-2.6; its own mineral list (thoughtco.com, seen) halite 2.16.
    assert rock_density("rock salt").density_t_m3 == 2.16


def test_rock_is_found_whatever_its_capitals_and_an_unknown_one_is_refused():
    assert rock_density(" Granite ").density_t_m3 == 2.64
    with pytest.raises(ImpossibleValue, match="Give its density"):
        rock_density("unobtainium")


def test_mixture_of_quartz_and_pyrite_by_mass():
    # derived: 1/(0.7/2.65 + 0.3/5.02); mineral densities from thoughtco.com (seen)
    mineral = {entry.mineral: entry.density_t_m3 for entry in MINERAL_DENSITIES}
    mixed = mixed_density(mass_fraction=[0.7, 0.3], density_t_m3=[mineral["quartz"], mineral["pyrite"]])
    assert mixed == pytest.approx(3.087259, abs=5e-7)


def test_mixtures_are_worked_row_by_row_and_lie_between_their_parts():
    mixed = mixed_density(mass_fraction=[[1.0, 0.0], [0.5, 0.5], [0.0, 1.0]], density_t_m3=[2.0, 4.0])
    assert mixed == pytest.approx([2.0, 8.0 / 3.0, 4.0])


@pytest.mark.parametrize("fractions", [[0.7, 0.2], [1.2, -0.2], [70.0, 30.0], 1.0])
def test_mass_fractions_must_make_up_one(fractions):
    with pytest.raises(ImpossibleValue, match="mass_fraction"):
        mixed_density(mass_fraction=fractions, density_t_m3=[2.65, 5.02])


def test_pores_lower_the_density_and_water_gives_some_back():
    assert bulk_density_with_pores(grain_density_t_m3=2.65, porosity=0.2) == pytest.approx(2.12)
    soaked = bulk_density_with_pores(grain_density_t_m3=2.65, porosity=0.2, pore_fill_density_t_m3=1.0)
    assert soaked == pytest.approx(2.32)
    with pytest.raises(ImpossibleValue, match="porosity"):
        bulk_density_with_pores(grain_density_t_m3=2.65, porosity=20)


@pytest.mark.parametrize(
    ("degc", "kg_m3"),
    # Density of water at 0.101325 MPa by the IAPWS-95 equation of state, worked out with the open package iapws
    # (derived): an independent formula, good to 0.0001 % here.
    [(4, 999.97487), (10, 999.70247), (20, 998.20715), (25, 997.04764), (40, 992.21635)],
)
def test_water_density_agrees_with_the_equation_of_state(degc, kg_m3):
    assert 1000 * water_density(water_temperature_degc=degc) == pytest.approx(kg_m3, abs=2e-3)


@pytest.mark.parametrize("degc", [-1, 41, 293.15])
def test_water_outside_0_to_40_degrees_is_refused(degc):
    with pytest.raises(ImpossibleValue, match="water_temperature_degc"):
        water_density(water_temperature_degc=degc)


def test_immersion_gives_back_the_density_of_a_stick_of_known_volume():
    volume_cm3, rock, water = 350.0, 2.81, 0.997
    found = density_from_immersion(
        mass_dry_g=volume_cm3 * rock, mass_in_water_g=volume_cm3 * (rock - water), water_density_t_m3=water
    )
    assert found == pytest.approx(rock, rel=1e-12)
    assert density_from_immersion(mass_dry_g=[270.0], mass_in_water_g=[170.0]) == pytest.approx([2.7 * 0.998])


def test_waxed_immersion_gives_back_the_bulk_density_under_the_coat():
    volume, rock, coat, wax, water = 350.0, 2.30, 12.0, 0.92, 0.998
    dry = volume * rock
    waxed = dry + coat * wax
    hanging = waxed - (volume + coat) * water
    found = density_from_waxed_immersion(
        mass_dry_g=dry,
        mass_waxed_g=waxed,
        mass_waxed_in_water_g=hanging,
        wax_density_t_m3=wax,
        water_density_t_m3=water,
    )
    assert found == pytest.approx(rock, rel=1e-12)


def test_forgetting_the_wax_makes_the_rock_too_light():
    arrays = {"mass_dry_g": np.array([805.0]), "mass_waxed_g": 816.0, "mass_waxed_in_water_g": 454.0}
    with_wax = density_from_waxed_immersion(**arrays)
    without = density_from_immersion(mass_dry_g=816.0, mass_in_water_g=454.0)
    assert with_wax[0] > without


@pytest.mark.parametrize(
    ("masses", "words"),
    [
        ((0.0, 0.0), "mass_dry_g"),
        ((100.0, 100.0), "wrong way round"),
        ((100.0, -5.0), "mass_in_water_g"),
    ],
)
def test_impossible_immersion_masses_are_refused(masses, words):
    with pytest.raises(ImpossibleValue, match=words):
        density_from_immersion(mass_dry_g=masses[0], mass_in_water_g=masses[1])


@pytest.mark.parametrize("masses", [(100.0, 99.0, 50.0), (100.0, 110.0, 110.0), (100.0, 200.0, 190.0)])
def test_impossible_waxed_masses_are_refused(masses):
    with pytest.raises(ImpossibleValue, match="waxed"):
        density_from_waxed_immersion(mass_dry_g=masses[0], mass_waxed_g=masses[1], mass_waxed_in_water_g=masses[2])
