"""Gy's formula against printed examples: a lead ore after Wills and the course note CM3820."""

import numpy as np
import pytest

from trayside.core.gy_factors import (
    GRANULOMETRIC_FACTORS,
    LIBERATION_BY_EYE,
    SHAPE_FACTORS,
    GyConstants,
    granulometric_factor,
    heterogeneity,
    liberation_by_root,
    mineral_factor,
)
from trayside.core.sampling_error import minimum_mass_g, stage_masses_g, staged_error, target_relative_sd
from trayside.core.sources import Source, SourcedNumber

# "Gy: Sample size by Gy Formula", B. A. Wills (1982), spreadsheet of 2005 accompanying Mineral Processing Technology,
# scribd.com documents 172979098 and 240303485. Inputs printed there (seen): 95 % confidence, ore 5 % Pb, mineral
# 86.6 % Pb, relative error 2 %, liberation size 0.015 cm, densities 7.5 and 2.65, 4 stages, F95/F5 = 5, safety
# factor 2. Inferred (derived), and needed to reach the printed results: z = 1.96, f = 0.5, g = 0.25, equal split of
# the variance.
WILLS = Source("B. A. Wills (1982), Gy spreadsheet of 2005, scribd 172979098", "inputs", "seen")
LEAD_ORE = GyConstants(
    liberation_size_mm=SourcedNumber(0.15, WILLS),
    mineral_density_t_m3=SourcedNumber(7.5, WILLS),
    gangue_density_t_m3=SourcedNumber(2.65, WILLS),
)
LEAD_FRACTION = 5.0 / 86.6
TOP_SIZES_MM = np.array([25.0, 5.0, 1.0, 0.04])


def lead_ore_heterogeneity():
    return heterogeneity(constants=LEAD_ORE, top_size_mm=TOP_SIZES_MM, mineral_mass_fraction=LEAD_FRACTION)


def test_sample_masses_of_the_four_stages_agree_with_the_printed_ones():
    target = target_relative_sd(relative_error=0.02, z=1.96)
    masses = stage_masses_g(heterogeneity_g=lead_ore_heterogeneity(), target_sd=target, safety_factor=2.0)
    printed = [(1369632, 0.5), (24501, 0.5), (438, 0.5), (0.07, 0.005)]  # G1-G4 (seen)
    for mass, (published, half_place) in zip(masses, printed, strict=True):
        assert mass == pytest.approx(published, abs=half_place)


def test_total_error_of_the_four_stages_agrees_with_the_printed_1_4_percent():
    target = target_relative_sd(relative_error=0.02, z=1.96)
    spread = lead_ore_heterogeneity()
    masses = stage_masses_g(heterogeneity_g=spread, target_sd=target, safety_factor=2.0)
    total = staged_error(heterogeneity_g=spread, sample_mass_g=masses, lot_mass_g=np.full(4, np.inf))
    assert 100 * 1.96 * total.relative_sd == pytest.approx(1.4, abs=0.05)  # GYError (seen)
    assert total.relative_sd == pytest.approx(target / np.sqrt(2.0), rel=1e-12)


def test_more_exact_z_would_not_reach_the_printed_mass():
    target = target_relative_sd(relative_error=0.02, z=1.959964)
    masses = stage_masses_g(heterogeneity_g=lead_ore_heterogeneity(), target_sd=target, safety_factor=2.0)
    assert round(masses[0]) == 1369581  # derived; the printed 1369632 needs z = 1.96


def test_intermediate_factors_of_the_lead_ore():
    # derived beforehand from the same inputs, last place +-1
    assert abs(LEAD_FRACTION - 0.05773672) < 5e-9
    c = mineral_factor(mineral_mass_fraction=LEAD_FRACTION, mineral_density_t_m3=7.5, gangue_density_t_m3=2.65)
    assert c == pytest.approx(117.830023, abs=5e-7)
    liberation = liberation_by_root(liberation_size_mm=0.15, top_size_mm=TOP_SIZES_MM)
    assert liberation == pytest.approx([0.0774597, 0.1732051, 0.3872983, 1.0], abs=5e-8)
    spread = lead_ore_heterogeneity() / (TOP_SIZES_MM / 10.0) ** 3
    assert spread == pytest.approx([1.1408843, 2.5510948, 5.7044215, 14.7287529], abs=5e-8)
    target = target_relative_sd(relative_error=0.02, z=1.96)
    single = minimum_mass_g(heterogeneity_g=lead_ore_heterogeneity(), target_sd=target)
    assert single[0] == pytest.approx(171203.95, abs=5e-3)
    assert single[1] == pytest.approx(3062.589, abs=5e-4)
    assert single[2] == pytest.approx(54.7853, abs=5e-5)
    # The fourth stage was noted as 0.0090531 g: C d^3 / s^2 = 14.7287529 x 0.004^3 / 0.01020408^2.
    assert single[3] == pytest.approx(0.0090531, abs=5e-8)


def test_book_worked_by_hand_with_rounded_factors_differs_by_less_than_one_percent():
    # Wills, 4th edition text (from memory): z = 2, C = 1.135, 177 kg at 25 mm, a and c rounded.
    # Unrounded (derived): 178.26 kg.
    mass_g = minimum_mass_g(
        heterogeneity_g=lead_ore_heterogeneity()[0], target_sd=target_relative_sd(relative_error=0.02, z=2.0)
    )
    assert mass_g / 1000 == pytest.approx(178.26, abs=0.005)
    assert mass_g / 177_000 - 1 == pytest.approx(0.007, abs=0.0005)


@pytest.mark.parametrize(("z", "printed"), [(1.96, 0.0102), (2.576, 0.0078)])
def test_target_deviation_of_the_course_note(z, printed):
    # CM3820 "Sampling" (14 Jan 2009), scribd 241205173 (seen): +-0.1 % Cu on 5 % Cu is 0.02.
    assert target_relative_sd(relative_error=0.1 / 5.0, z=z) == pytest.approx(printed, abs=5e-5)


@pytest.mark.parametrize(("ratio", "factor"), [(5, 0.25), (4, 0.5), (3, 0.5), (2, 0.5), (1.5, 0.75), (1, 1.0)])
def test_granulometric_classes_of_the_course_note(ratio, factor):
    # CM3820 (seen): over 4 -> 0.25, 2-4 -> 0.5, under 2 -> 0.75, 1 -> 1
    assert granulometric_factor(size_ratio=ratio) == factor


def test_shipped_factors_are_the_tabled_ones_with_their_grade():
    assert SHAPE_FACTORS["most natural rock"].value == 0.5  # CM3820 (seen)
    assert SHAPE_FACTORS["flat or long grains"].value == 0.2  # CM3820 (seen)
    assert SHAPE_FACTORS["most natural rock"].source.grade == "seen"
    # EPA/600/R-03/027 (from memory)
    assert [n.value for n in GRANULOMETRIC_FACTORS.values()] == [0.25, 0.55, 0.75, 1.0]
    assert [n.value for n in LIBERATION_BY_EYE.values()] == [0.8, 0.4, 0.2, 0.1, 0.05]
    assert {n.source.grade for n in LIBERATION_BY_EYE.values()} == {"from memory"}
