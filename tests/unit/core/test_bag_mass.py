"""Bag mass: the spread against Monte Carlo, parts of several rocks, the habit of the line, speed."""

from time import perf_counter

import numpy as np
import pytest

from trayside.core.bag_mass import (
    LINE_HABIT_MM,
    PORTIONS,
    mass_bias_of_offset,
    predict_bag_mass,
    predict_bag_mass_of_parts,
)
from trayside.core.cut_geometry import cut_pieces, quarter_pieces
from trayside.errors import ImpossibleValue

CUT = {"core_diameter_mm": 47.6, "kerf_mm": 2.5, "offset_mm": 3.0}
SCATTER = {"core_diameter_sd_mm": 0.25, "kerf_sd_mm": 0.15, "offset_sd_mm": 0.4}
ROCK = {"recovered_length_m": 0.94, "density_t_m3": 2.78}


def area_by_portion(portion, diameter, kerf, offset, second):
    if portion == "whole":
        return np.pi * diameter**2 / 4
    if portion == "quarter":
        return quarter_pieces(
            core_diameter_mm=diameter, kerf_mm=kerf, offset_mm=offset, second_offset_mm=second
        ).near_quarter_mm2
    cut = cut_pieces(core_diameter_mm=diameter, kerf_mm=kerf, offset_mm=offset)
    return cut.near_mm2 if portion == "near_half" else cut.far_mm2


@pytest.mark.parametrize("portion", PORTIONS)
@pytest.mark.parametrize("offset", [0.0, 3.0, -4.0])
def test_spread_agrees_with_monte_carlo(portion, offset):
    n = 200_000
    chance = np.random.default_rng(20240611)
    diameter = chance.normal(47.6, 0.25, n)
    kerf = chance.normal(2.5, 0.15, n)
    first = chance.normal(offset, 0.4, n)
    second = chance.normal(1.0, 0.4, n)
    length = chance.normal(0.94, 0.008, n)
    density = chance.normal(2.78, 0.03, n)
    kg = 1e-3 * area_by_portion(portion, diameter, kerf, first, second) * length * density
    bag = predict_bag_mass(
        **ROCK,
        **SCATTER,
        core_diameter_mm=47.6,
        kerf_mm=2.5,
        offset_mm=offset,
        second_offset_mm=1.0,
        portion=portion,
        density_sd_t_m3=0.03,
        length_sd_m=0.008,
    )
    # Sampling error of a standard deviation is 1/sqrt(2n) = 0.16 %; 4 of them, and 0.3 % for the neglected curvature.
    assert bag.sd_kg == pytest.approx(np.std(kg), rel=0.0095)
    assert bag.expected_kg == pytest.approx(np.mean(kg), rel=0.002)


@pytest.mark.parametrize("portion", PORTIONS)
@pytest.mark.parametrize("cause", ["core_diameter", "kerf", "offset", "density", "length"])
def test_each_cause_alone_agrees_with_a_finite_difference(portion, cause):
    name = {"density": "density_t_m3", "length": "recovered_length_m"}.get(cause, f"{cause}_mm")
    sd_name = {"density": "density_sd_t_m3", "length": "length_sd_m"}.get(cause, f"{cause}_sd_mm")
    none = dict.fromkeys(["core_diameter_sd_mm", "kerf_sd_mm", "offset_sd_mm", "density_sd_t_m3", "length_sd_m"], 0.0)
    case = CUT | ROCK | {"portion": portion, "second_offset_mm": 0.7} | none
    step = 1e-5

    def slope(which):
        up = predict_bag_mass(**case | {which: case[which] + step}).expected_kg
        down = predict_bag_mass(**case | {which: case[which] - step}).expected_kg
        return (up - down) / (2 * step)

    expected = abs(slope(name))
    if cause == "offset" and portion == "quarter":
        expected = np.hypot(slope("offset_mm"), slope("second_offset_mm"))
    assert predict_bag_mass(**case | {sd_name: 1e-3}).sd_kg == pytest.approx(1e-3 * expected, rel=1e-6, abs=1e-13)


def test_range_is_the_coverage_factor_times_the_spread():
    bag = predict_bag_mass(**CUT, **ROCK, coverage_factor=2.5)
    assert bag.high_kg - bag.expected_kg == pytest.approx(2.5 * bag.sd_kg)
    assert bag.expected_kg - bag.low_kg == pytest.approx(2.5 * bag.sd_kg)
    assert type(bag.low_kg) is float


def test_parts_of_one_bag_share_the_errors_of_the_cut():
    n = 200_000
    chance = np.random.default_rng(7)
    area = area_by_portion(
        "near_half", chance.normal(47.6, 0.25, n), chance.normal(2.5, 0.15, n), chance.normal(3.0, 0.4, n), 0.0
    )
    load = chance.normal(0.4, 0.008, n) * chance.normal(2.7, 0.03, n)
    load = load + chance.normal(0.5, 0.008, n) * chance.normal(4.1, 0.20, n)
    kg = 1e-3 * area * load
    bag = predict_bag_mass_of_parts(
        bag_count=1,
        part_bag=[0, 0],
        part_length_m=[0.4, 0.5],
        part_density_t_m3=[2.7, 4.1],
        part_density_sd_t_m3=[0.03, 0.20],
        part_length_sd_m=0.008,
        **CUT,
        **SCATTER,
    )
    assert bag.sd_kg[0] == pytest.approx(np.std(kg), rel=0.0095)
    assert bag.expected_kg[0] == pytest.approx(np.mean(kg), rel=0.002)
    alone = [
        predict_bag_mass(
            recovered_length_m=length, density_t_m3=density, density_sd_t_m3=sd, length_sd_m=0.008, **CUT, **SCATTER
        ).sd_kg
        for length, density, sd in [(0.4, 2.7, 0.03), (0.5, 4.1, 0.20)]
    ]
    assert np.hypot(*alone) < bag.sd_kg[0] < sum(alone)


def test_one_part_is_the_same_as_one_rock_and_a_bag_without_parts_weighs_nothing():
    both = predict_bag_mass_of_parts(
        bag_count=2, part_bag=[1], part_length_m=[0.94], part_density_t_m3=[2.78], portion=["whole", "quarter"], **CUT
    )
    one = predict_bag_mass(**CUT, **ROCK, portion="quarter")
    assert both.expected_kg.tolist() == pytest.approx([0.0, one.expected_kg])
    assert both.sd_kg.tolist() == pytest.approx([0.0, one.sd_kg])


@pytest.mark.parametrize("part_bag", [[2], [-1], [0.5], 0])
def test_a_part_must_name_a_bag_that_is_there(part_bag):
    with pytest.raises(ImpossibleValue, match="part_bag"):
        predict_bag_mass_of_parts(bag_count=2, part_bag=part_bag, part_length_m=[1.0], part_density_t_m3=[2.7], **CUT)


def test_bagged_half_is_the_smaller_one_when_the_line_stays_on_the_kept_half():
    bias = mass_bias_of_offset(core_diameter_mm=47.6, kerf_mm=2.5)
    assert LINE_HABIT_MM.value == 3.0
    assert bias.bagged_share < bias.kept_share
    assert bias.bagged_share + bias.kept_share + bias.slot_share == pytest.approx(1.0)
    assert bias.bagged_change < 0.0 < bias.kept_change
    by_default = predict_bag_mass(**ROCK, core_diameter_mm=47.6, kerf_mm=2.5)
    centred = predict_bag_mass(**ROCK, core_diameter_mm=47.6, kerf_mm=2.5, offset_mm=0.0)
    assert by_default.expected_kg / centred.expected_kg - 1.0 == pytest.approx(bias.bagged_change)


def test_centred_cut_has_no_bias():
    bias = mass_bias_of_offset(core_diameter_mm=[47.6, 85.0], kerf_mm=2.5, offset_mm=0.0)
    assert bias.bagged_change.tolist() == [0.0, 0.0]
    assert bias.bagged_share_of_pieces.tolist() == [0.5, 0.5]


def test_quarter_of_the_far_half_is_reached_by_turning_the_sign_of_the_offset():
    bag = predict_bag_mass(**ROCK, core_diameter_mm=47.6, kerf_mm=2.5, offset_mm=-3.0, portion="quarter")
    near = quarter_pieces(core_diameter_mm=47.6, kerf_mm=2.5, offset_mm=3.0)
    cut = quarter_pieces(core_diameter_mm=47.6, kerf_mm=2.5, offset_mm=-3.0)
    assert bag.expected_kg == pytest.approx(1e-3 * cut.near_quarter_mm2 * 0.94 * 2.78)
    assert 2 * cut.near_quarter_mm2 + cut.second_slot_mm2 == pytest.approx(near.far_half_mm2)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"recovered_length_m": -0.1}, "recovered_length_m"),
        ({"density_t_m3": 2700.0}, "density_t_m3: 2700 must be at most 23"),
        ({"density_t_m3": 0.0}, "density_t_m3"),
        ({"kerf_mm": 50.0}, "as wide as the core"),
        ({"offset_mm": 25.0}, "would miss it"),
        ({"offset_mm": [0.0, 23.5]}, "offset_mm, entry 1: 23.5 leaves nothing to bag"),
        ({"portion": "half"}, "near_half, far_half, quarter, whole"),
        ({"portion": ["whole", "third", "whole"]}, "third"),
        ({"length_sd_m": -1.0}, "length_sd_m"),
        ({"offset_sd_mm": float("nan")}, "offset_sd_mm"),
        ({"coverage_factor": 0.0}, "coverage_factor"),
        ({"recovered_length_m": [1.0, 2.0], "kerf_mm": [2.0, 2.0, 2.0]}, "do not go together"),
    ],
)
def test_impossible_bags_are_refused_in_words(change, words):
    with pytest.raises(ImpossibleValue) as caught:
        predict_bag_mass(**CUT | ROCK | change)
    assert words in str(caught.value)


def test_two_hundred_thousand_bags_take_less_than_a_second():
    n = 200_000
    chance = np.random.default_rng(3)
    case = {
        "recovered_length_m": chance.uniform(0.3, 1.5, n),
        "density_t_m3": chance.uniform(2.5, 4.0, n),
        "core_diameter_mm": chance.choice([47.6, 63.5, 85.0], n),
        "kerf_mm": 2.5,
        "portion": chance.choice(PORTIONS, n),
    }
    fastest = np.inf
    for _ in range(3):  # the machine may be busy with other things
        begin = perf_counter()
        bags = predict_bag_mass(**case)
        fastest = min(fastest, perf_counter() - begin)
    assert bags.expected_kg.shape == (n,)
    assert fastest < 1.0
