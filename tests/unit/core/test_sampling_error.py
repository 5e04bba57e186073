"""Sampling error: core portions, pairs by simulation, limits of the factors, refusals."""

import numpy as np
import pytest

from trayside.core.gy_factors import (
    GyConstants,
    heterogeneity,
    heterogeneity_from_calibration,
    liberation_by_power,
    liberation_by_root,
    mineral_factor,
    mineral_factor_of_trace,
)
from trayside.core.sampling_error import (
    core_portion_variance,
    duplicate_pair_variance,
    fundamental_error,
    grain_count,
    limits_in_words,
    mass_holding_grains_kg,
    minimum_mass_g,
    staged_error,
)
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

OURS = Source("made up for this test", "", "derived")


def ore(**change):
    values = {"liberation_size_mm": 0.1, "mineral_density_t_m3": 4.0, "gangue_density_t_m3": 2.7}
    return GyConstants(**{name: SourcedNumber(value, OURS) for name, value in values.items()}, **change)


@pytest.mark.parametrize(("share", "factor"), [(1.0, 0.0), (1 / 2, 1.0), (1 / 3, 2.0), (1 / 4, 3.0), (1 / 8, 7.0)])
def test_variance_of_a_portion_of_core(share, factor):
    assert core_portion_variance(share=share) == pytest.approx(factor)  # derived: (1/Ms - 1/ML) x ML


def test_quarter_core_scatters_1_7321_times_half_core_and_an_eighth_2_6458_times():
    half, quarter, eighth = np.sqrt(core_portion_variance(share=[0.5, 0.25, 0.125]))
    assert quarter / half == pytest.approx(1.7321, abs=5e-5)  # derived: sqrt(3)
    assert eighth / half == pytest.approx(2.6458, abs=5e-5)  # derived: sqrt(7)


@pytest.mark.parametrize(("first", "second", "factor"), [(0.5, 0.5, 4), (0.5, 0.25, 6), (0.25, 0.25, 8)])
def test_variance_of_duplicate_pairs(first, second, factor):
    assert duplicate_pair_variance(first_share=first, second_share=second) == pytest.approx(factor)  # derived


@pytest.mark.parametrize(("first", "second"), [(0.5, 0.5), (0.5, 0.25), (0.25, 0.25)])
def test_pairs_and_portions_agree_with_drawing_fragments_without_replacement(first, second):
    fragments, rounds = 64, 20_000
    chance = np.random.default_rng(11)
    grades = chance.lognormal(0.0, 0.5, fragments)
    shuffled = chance.permuted(np.tile(grades, (rounds, 1)), axis=1)
    a, b = int(first * fragments), int(second * fragments)
    one = shuffled[:, :a].mean(axis=1)
    two = shuffled[:, a : a + b].mean(axis=1)
    # heterogeneity over whole mass = sum of squared deviations / (n (n-1)) of equal fragments, relative to the mean
    unit = np.sum((grades - grades.mean()) ** 2) / (fragments * (fragments - 1)) / grades.mean() ** 2
    seen_pair = np.var((one - two) / grades.mean()) / unit
    seen_part = np.var(one / grades.mean()) / unit
    assert seen_pair == pytest.approx(duplicate_pair_variance(first_share=first, second_share=second), rel=0.05)
    assert seen_part == pytest.approx(core_portion_variance(share=first), rel=0.05)


def test_taking_the_whole_lot_has_no_error_and_a_huge_lot_the_most():
    assert fundamental_error(heterogeneity_g=3.0, sample_mass_g=50.0, lot_mass_g=50.0).relative_sd == 0.0
    error = fundamental_error(heterogeneity_g=3.0, sample_mass_g=[100.0, 300.0])
    assert error.relative_variance == pytest.approx([0.03, 0.01])
    assert error.relative_sd == pytest.approx(np.sqrt([0.03, 0.01]))


@pytest.mark.parametrize("lot", [2_000.0, 50_000.0, np.inf])
def test_minimum_mass_meets_its_target_exactly_and_never_exceeds_the_lot(lot):
    mass = minimum_mass_g(heterogeneity_g=40.0, target_sd=0.05, lot_mass_g=lot)
    assert mass < lot
    error = fundamental_error(heterogeneity_g=40.0, sample_mass_g=mass, lot_mass_g=lot)
    assert error.relative_sd == pytest.approx(0.05, rel=1e-10)


def test_stages_in_a_chain_take_the_sample_before_as_their_lot():
    staged = staged_error(heterogeneity_g=[40.0, 4.0, 0.1], sample_mass_g=[2000.0, 250.0, 30.0], lot_mass_g=4000.0)
    expected = [40 * (1 / 2000 - 1 / 4000), 4 * (1 / 250 - 1 / 2000), 0.1 * (1 / 30 - 1 / 250)]
    assert staged.stage_relative_variance == pytest.approx(expected)
    assert staged.relative_variance == pytest.approx(sum(expected))
    assert staged.relative_sd == pytest.approx(np.sqrt(sum(expected)))


def test_splitting_without_crushing_costs_the_same_in_one_step_or_two():
    two = staged_error(heterogeneity_g=[4.0, 4.0], sample_mass_g=[500.0, 50.0], lot_mass_g=1000.0)
    one = staged_error(heterogeneity_g=4.0, sample_mass_g=50.0, lot_mass_g=1000.0)
    assert two.relative_variance == pytest.approx(one.relative_variance)


def test_a_later_stage_cannot_be_heavier_than_the_one_before():
    with pytest.raises(ImpossibleValue, match="sample_mass_g, entry 1"):
        staged_error(heterogeneity_g=[1.0, 1.0], sample_mass_g=[100.0, 200.0])


def test_mineral_factor_tends_to_its_short_form_for_traces():
    full = mineral_factor(mineral_mass_fraction=1e-6, mineral_density_t_m3=19.3, gangue_density_t_m3=2.7)
    short = mineral_factor_of_trace(mineral_mass_fraction=1e-6, mineral_density_t_m3=19.3)
    assert short == pytest.approx(19.3e6)  # Pitard (from memory): 19.3e6 g/cm3 for pure gold at 1 g/t
    assert full == pytest.approx(short, rel=3e-6)
    assert mineral_factor(mineral_mass_fraction=1.0, mineral_density_t_m3=5.0, gangue_density_t_m3=2.7) == 0.0
    with pytest.raises(ImpossibleValue, match="no trace"):
        mineral_factor_of_trace(mineral_mass_fraction=0.05, mineral_density_t_m3=7.5)


def test_liberation_is_one_below_the_liberation_size_and_falls_above_it():
    sizes = [0.01, 0.1, 0.4, 10.0]
    assert liberation_by_root(liberation_size_mm=0.1, top_size_mm=sizes) == pytest.approx([1.0, 1.0, 0.5, 0.1])
    power = liberation_by_power(liberation_size_mm=0.1, top_size_mm=sizes, exponent=1.5)
    assert power == pytest.approx([1.0, 1.0, 0.125, 1e-3])
    with pytest.raises(ImpossibleValue, match="exponent"):
        liberation_by_power(liberation_size_mm=0.1, top_size_mm=1.0, exponent=3.5)


def test_power_law_of_the_factors_is_the_calibrated_form_with_alpha_3_less_b():
    by_factors = heterogeneity(
        constants=ore(liberation_model="power", liberation_exponent=SourcedNumber(1.8, OURS)),
        top_size_mm=[1.0, 2.0, 10.0],
        mineral_mass_fraction=0.02,
    )
    c = mineral_factor(mineral_mass_fraction=0.02, mineral_density_t_m3=4.0, gangue_density_t_m3=2.7)
    k = 0.5 * 0.25 * c * 0.01**1.8  # K = f g c dl^(3 - alpha), dl = 0.01 cm (derived)
    calibrated = heterogeneity_from_calibration(constant_k_g=k, alpha=1.2, top_size_mm=[1.0, 2.0, 10.0])
    assert by_factors == pytest.approx(calibrated, rel=1e-12)


def test_every_factor_of_the_ore_can_be_replaced():
    case = {"top_size_mm": 2.0, "mineral_mass_fraction": 0.02}
    plain_ore = heterogeneity(constants=ore(), **case)
    flat = heterogeneity(constants=ore(shape=SourcedNumber(0.2, OURS)), **case)
    sieved = heterogeneity(constants=ore(granulometric=SourcedNumber(0.5, OURS)), **case)
    by_eye = heterogeneity(constants=ore(liberation_model="by eye", liberation_by_eye=SourcedNumber(0.4, OURS)), **case)
    assert flat / plain_ore == pytest.approx(0.4)
    assert sieved / plain_ore == pytest.approx(2.0)
    assert by_eye / plain_ore == pytest.approx(0.4 / np.sqrt(0.05))
    assert type(by_eye) is float


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"liberation_model": "guess"}, "square root, power, by eye"),
        ({"shape": SourcedNumber(0.0, OURS)}, "shape"),
        ({"granulometric": SourcedNumber(1.5, OURS)}, "granulometric"),
    ],
)
def test_impossible_ore_constants_are_refused(change, words):
    with pytest.raises(ImpossibleValue, match=words):
        ore(**change)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: fundamental_error(heterogeneity_g=1.0, sample_mass_g=0.0), "sample_mass_g"),
        (lambda: fundamental_error(heterogeneity_g=1.0, sample_mass_g=9.0, lot_mass_g=8.0), "more than the lot"),
        (lambda: fundamental_error(heterogeneity_g=-1.0, sample_mass_g=9.0), "heterogeneity_g"),
        (lambda: minimum_mass_g(heterogeneity_g=1.0, target_sd=0.0), "target_sd"),
        (lambda: core_portion_variance(share=1.2), "share"),
        (lambda: core_portion_variance(share=0.0), "share"),
        (lambda: duplicate_pair_variance(first_share=0.6, second_share=0.5), "more than all"),
        (lambda: grain_count(mean_grains=0.0), "mean_grains"),
        (lambda: grain_count(mean_grains=5.0, confidence=1.0), "confidence"),
        (lambda: mass_holding_grains_kg(grain_diameter_mm=0.1, grade_ppm=0.0), "grade_ppm"),
    ],
)
def test_impossible_sampling_questions_are_refused(call, words):
    with pytest.raises(ImpossibleValue, match=words):
        call()


def test_limits_say_that_core_is_not_broken_rock_and_name_the_pairs_never_to_be_pooled():
    limits = " ".join(limits_in_words())
    for words in ("not broken rock", "Homestake", "Never pool", "calibrate", "at random"):
        assert words in limits
    assert all(sentence.endswith(".") and len(sentence) < 200 for sentence in limits_in_words())
