"""What holds for the path of every hole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.desurvey import arc_to_point, minimum_curvature


@st.composite
def surveys(draw):
    steps = draw(st.lists(st.floats(0.5, 200), min_size=1, max_size=8))
    count = len(steps) + 1
    angles = st.lists(st.floats(0, 85), min_size=count, max_size=count)  # bends stay below half a turn
    return {
        "depth_m": np.concatenate(([0.0], np.cumsum(steps))),
        "inclination_deg": np.array(draw(angles)),
        "azimuth_deg": np.array(draw(st.lists(st.floats(0, 360), min_size=count, max_size=count))),
    }


@settings(deadline=None)
@given(surveys(), st.floats(0, 1))
def test_a_station_put_in_between_changes_nothing(survey, share):
    hole = minimum_curvature(**survey)
    depth = share * survey["depth_m"][-1]
    if np.abs(survey["depth_m"] - depth).min() < 1e-3:
        return
    at = hole.attitude_at(depth_m=depth)
    place = int(np.searchsorted(survey["depth_m"], depth))
    more = minimum_curvature(
        depth_m=np.insert(survey["depth_m"], place, depth),
        inclination_deg=np.insert(survey["inclination_deg"], place, at.inclination_deg),
        azimuth_deg=np.insert(survey["azimuth_deg"], place, at.azimuth_deg),
    )
    assert (more.north_m[-1], more.east_m[-1], more.tvd_m[-1]) == pytest.approx(
        (hole.north_m[-1], hole.east_m[-1], hole.tvd_m[-1]), abs=1e-5
    )


@settings(deadline=None)
@given(surveys())
def test_no_step_is_longer_than_its_length_and_the_factor_is_at_least_one(survey):
    hole = minimum_curvature(**survey)
    chord = np.sqrt(np.diff(hole.north_m) ** 2 + np.diff(hole.east_m) ** 2 + np.diff(hole.tvd_m) ** 2)
    assert (chord <= np.diff(hole.depth_m) * (1 + 1e-12)).all()
    assert (hole.ratio_factor >= 1.0).all()


@settings(deadline=None)
@given(surveys(), st.floats(0, 360))
def test_turning_the_whole_hole_turns_the_path(survey, turn):
    hole = minimum_curvature(**survey)
    turned = minimum_curvature(**survey | {"azimuth_deg": np.mod(survey["azimuth_deg"] + turn, 360.0)})
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    assert turned.north_m == pytest.approx(hole.north_m * cos - hole.east_m * sin, abs=1e-7)
    assert turned.east_m == pytest.approx(hole.north_m * sin + hole.east_m * cos, abs=1e-7)
    assert turned.tvd_m == pytest.approx(hole.tvd_m, abs=1e-7)


@settings(deadline=None)
@given(surveys())
def test_the_arc_is_found_back_from_its_end(survey):
    one = {name: column[:2] for name, column in survey.items()}
    hole = minimum_curvature(**one)
    arc = arc_to_point(
        inclination_deg=one["inclination_deg"][0], azimuth_deg=one["azimuth_deg"][0],
        north_m=hole.north_m[1], east_m=hole.east_m[1], tvd_m=hole.tvd_m[1],
    )  # fmt: skip
    assert arc.length_m == pytest.approx(one["depth_m"][1], rel=1e-9)
    assert arc.inclination_deg == pytest.approx(one["inclination_deg"][1], abs=1e-5)
