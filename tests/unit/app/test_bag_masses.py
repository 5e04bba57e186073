"""Expected masses: hand arithmetic on circles, and the areas of core.cut_geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from trayside.app.bag_masses import BagPart, RockDensity, bag_masses, bagged_area_mm2, rock_densities
from trayside.core.cut_geometry import cut_pieces, quarter_pieces
from trayside.model.hole import Density, Hole, HoleCore, Rock
from trayside.model.rules import CutSettings, MassSettings, Rules
from trayside.model.stock import RockCode, Stock

NQ_MM = 47.6
WHOLE_MM2 = math.pi * NQ_MM**2 / 4
CENTRED = Rules(cut=CutSettings(kerf_mm=2.5, offset_mm=0.0))
SHIFTED = Rules(cut=CutSettings(kerf_mm=2.5, offset_mm=3.0))
ROCKS = {"GRD": RockDensity(2.7, 0.05, 0), "QZV": RockDensity(2.6, 0.04, 0)}


def masses(*parts: tuple[int, str, float], portion, other=None, by_mass=None, rules=SHIFTED):
    count = len(portion)
    return bag_masses(
        [BagPart(*part) for part in parts],
        core_diameter_mm=np.full(count, NQ_MM),
        portion=list(portion),
        other_half=np.array(other or [False] * count, dtype=bool),
        by_mass=np.array(by_mass or [False] * count, dtype=bool),
        rules=rules,
        densities=ROCKS,
    )


def segment_mm2(radius_mm: float, at_mm: float) -> float:
    """Area of a circle beyond a chord at this distance from its middle: r² acos(h/r) - h √(r² - h²)."""
    return radius_mm**2 * math.acos(at_mm / radius_mm) - at_mm * math.sqrt(radius_mm**2 - at_mm**2)


def test_half_of_a_metre_by_hand():
    """Half core is what lies beyond the edge of the slot, half a kerf from the axis."""
    expected_kg = segment_mm2(NQ_MM / 2, 1.25) * 2.7 / 1000
    assert masses((0, "GRD", 1.0), portion=["half"], rules=CENTRED).expected_kg == pytest.approx([expected_kg])
    near_kg = segment_mm2(NQ_MM / 2, 1.25 + 3.0) * 2.7 / 1000
    assert masses((0, "GRD", 1.0), portion=["half"]).expected_kg == pytest.approx([near_kg])
    far_kg = segment_mm2(NQ_MM / 2, 1.25 - 3.0) * 2.7 / 1000
    assert masses((0, "GRD", 1.0), portion=["half"], other=[True]).expected_kg == pytest.approx([far_kg])


def test_quarters_of_the_near_and_of_the_other_half():
    cut = dict(core_diameter_mm=NQ_MM, kerf_mm=2.5, second_offset_mm=0.0)
    near = quarter_pieces(offset_mm=3.0, **cut).near_quarter_mm2
    far = quarter_pieces(offset_mm=-3.0, **cut).near_quarter_mm2
    found = masses((0, "GRD", 1.0), (1, "GRD", 1.0), portion=["quarter", "quarter"], other=[False, True])
    assert found.expected_kg == pytest.approx([near * 2.7 / 1000, far * 2.7 / 1000])
    assert far > near


def test_whole_core_and_parts_taken_by_mass_lose_no_slot():
    found = masses(
        *((bag, "GRD", 2.0) for bag in range(3)), portion=["whole", "half", "quarter"], by_mass=[False, True, True]
    )
    whole_kg = WHOLE_MM2 * 2.0 * 2.7 / 1000
    assert found.expected_kg == pytest.approx([whole_kg, whole_kg / 2, whole_kg / 4])


def test_a_bag_of_two_rocks_is_their_sum_and_an_empty_bag_weighs_nothing():
    found = masses((0, "GRD", 0.4), (0, "QZV", 0.6), portion=["half", "half"])
    per_m = cut_pieces(core_diameter_mm=NQ_MM, kerf_mm=2.5, offset_mm=3.0).near_mm2 / 1000
    assert found.expected_kg == pytest.approx([per_m * (0.4 * 2.7 + 0.6 * 2.6), 0.0])
    assert found.sd_kg[1] == 0.0


def test_no_bags_at_all():
    assert masses(portion=[]).expected_kg.tolist() == []


def test_the_range_is_symmetric_and_as_wide_as_the_coverage_says():
    exact = dict(core_diameter_sd_mm=0.0, kerf_sd_mm=0.0, offset_sd_mm=0.0, length_sd_m=0.0)
    rules = Rules(mass=MassSettings(coverage=2.0, **exact))
    found = masses((0, "GRD", 1.0), portion=["whole"], rules=rules)
    assert found.sd_kg == pytest.approx(found.expected_kg * 0.05 / 2.7)
    assert found.high_kg - found.expected_kg == pytest.approx(2 * found.sd_kg)
    assert found.expected_kg - found.low_kg == pytest.approx(2 * found.sd_kg)


def test_a_half_taken_by_hand_is_known_less_well_by_the_rubble_scatter():
    exact = dict(core_diameter_sd_mm=0.0, kerf_sd_mm=0.0, offset_sd_mm=0.0, length_sd_m=0.0)
    rules = Rules(mass=MassSettings(rubble_sd=0.10, **exact))
    found = masses((0, "GRD", 1.0), portion=["half"], by_mass=[True], rules=rules)
    assert found.sd_kg / found.expected_kg == pytest.approx(math.hypot(0.05 / 2.7, 0.10))


@pytest.mark.parametrize("portion", ["half", "quarter", "whole"])
@pytest.mark.parametrize("hand", [False, True])
def test_the_planner_and_the_sheet_use_the_same_area(portion, hand):
    """Core sent whole is never parted by mass, so that pair does not occur."""
    if portion == "whole" and hand:
        return
    area_mm2 = bagged_area_mm2(NQ_MM, 2.5, 3.0, portion, hand)
    found = masses((0, "GRD", 1.0), portion=[portion], by_mass=[hand])
    assert found.expected_kg == pytest.approx([area_mm2 * 2.7 / 1000])


CORE = HoleCore(
    Hole("T-1", None, 0, 0, 0, 0, -90, 10_000, ""),
    rock=(Rock(0, 5000, "GRD", "intact", "low", "soft"), Rock(5000, 10_000, "QZV", "intact", "low", "soft")),
)
STOCK = Stock({}, {"GRD": RockCode("GRD", None, 2.7, 0.05), "QZV": RockCode("QZV", None, 2.6, 0.04)}, (), ())


def sticks(*densities: float, at_mm: int = 1000) -> tuple[Density, ...]:
    return tuple(Density(at_mm, at_mm + 100, "given", density_t_m3=value) for value in densities)


def test_three_sticks_of_the_hole_beat_the_rock_code():
    found = rock_densities(replace(CORE, densities=sticks(2.80, 2.90, 2.84)), STOCK)
    assert (found["GRD"].density_t_m3, found["GRD"].sticks) == (2.84, 3)
    assert found["GRD"].density_sd_t_m3 == pytest.approx(1.4826 * 0.04)
    assert found["QZV"] == RockDensity(2.6, 0.04, 0)


def test_two_sticks_do_not_and_agreement_by_luck_keeps_half_of_the_scatter():
    assert rock_densities(replace(CORE, densities=sticks(2.8, 2.9)), STOCK)["GRD"] == RockDensity(2.7, 0.05, 0)
    found = rock_densities(replace(CORE, densities=sticks(2.8, 2.8, 2.8)), STOCK)
    assert found["GRD"].density_sd_t_m3 == pytest.approx(0.025)


def test_a_stick_counts_for_the_rock_at_its_middle():
    found = rock_densities(replace(CORE, densities=sticks(2.5, 2.5, 2.5, at_mm=4960)), STOCK)
    assert (found["GRD"].sticks, found["QZV"].sticks) == (0, 3)
