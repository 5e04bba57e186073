"""Properties that must hold for every cut."""

from math import pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.cut_geometry import cut_pieces, drifting_cut, offset_from_masses, quarter_pieces


@st.composite
def cuts(draw):
    diameter = draw(st.floats(10.0, 200.0))
    kerf = draw(st.floats(0.0, 0.3)) * diameter
    offset = draw(st.floats(-0.49, 0.49)) * diameter
    return {"core_diameter_mm": diameter, "kerf_mm": kerf, "offset_mm": offset}


@given(cuts())
def test_pieces_and_slot_make_up_the_core(cut):
    pieces = cut_pieces(**cut)
    whole = pi * cut["core_diameter_mm"] ** 2 / 4
    assert pieces.near_mm2 + pieces.far_mm2 + pieces.slot_mm2 == pytest.approx(whole, rel=1e-12)
    assert min(pieces.near_mm2, pieces.far_mm2, pieces.slot_mm2) >= 0.0


@given(cuts())
def test_turning_the_core_round_swaps_the_pieces(cut):
    pieces = cut_pieces(**cut)
    turned = cut_pieces(**cut | {"offset_mm": -cut["offset_mm"]})
    assert (turned.near_mm2, turned.far_mm2) == (pieces.far_mm2, pieces.near_mm2)


@given(cuts(), st.floats(0.1, 10.0))
def test_areas_grow_with_the_square_of_the_size(cut, scale):
    pieces, larger = cut_pieces(**cut), cut_pieces(**{name: value * scale for name, value in cut.items()})
    whole = pi * cut["core_diameter_mm"] ** 2 / 4
    assert larger.near_mm2 / scale**2 == pytest.approx(pieces.near_mm2, abs=1e-12 * whole)


@given(cuts(), st.floats(0.1, 5.0))
def test_offset_is_found_back_from_the_two_masses(cut, kg_per_mm2):
    limit = 0.97 * (cut["core_diameter_mm"] - cut["kerf_mm"]) / 2
    offset = max(-limit, min(limit, cut["offset_mm"]))
    pieces = cut_pieces(**cut | {"offset_mm": offset})
    found = offset_from_masses(
        near_kg=pieces.near_mm2 * kg_per_mm2,
        far_kg=pieces.far_mm2 * kg_per_mm2,
        core_diameter_mm=cut["core_diameter_mm"],
        kerf_mm=cut["kerf_mm"],
    )
    assert found == pytest.approx(offset, abs=1e-9 * cut["core_diameter_mm"])


@given(cuts(), st.floats(-0.49, 0.49))
def test_quarters_and_slots_make_up_the_core(cut, second):
    parts = quarter_pieces(**cut, second_offset_mm=second * cut["core_diameter_mm"])
    areas = [
        parts.near_quarter_mm2,
        parts.far_quarter_mm2,
        parts.second_slot_mm2,
        parts.far_half_mm2,
        parts.first_slot_mm2,
    ]
    whole = pi * cut["core_diameter_mm"] ** 2 / 4
    assert sum(areas) == pytest.approx(whole, rel=1e-12)
    assert min(areas) >= -1e-12 * whole


@given(cuts(), st.floats(-0.49, 0.49))
def test_drift_runs_the_same_both_ways_and_lies_between_its_ends(cut, end):
    ends = {"start_offset_mm": cut["offset_mm"], "end_offset_mm": end * cut["core_diameter_mm"]}
    fixed = {"core_diameter_mm": cut["core_diameter_mm"], "kerf_mm": cut["kerf_mm"]}
    there = drifting_cut(**fixed, **ends)
    back = drifting_cut(**fixed, start_offset_mm=ends["end_offset_mm"], end_offset_mm=ends["start_offset_mm"])
    whole = pi * cut["core_diameter_mm"] ** 2 / 4
    assert there.near_mm2 == pytest.approx(back.near_mm2, abs=1e-10 * whole)
    at_ends = [cut_pieces(**fixed, offset_mm=offset).near_mm2 for offset in ends.values()]
    assert min(at_ends) - 1e-10 * whole <= there.near_mm2 <= max(at_ends) + 1e-10 * whole
