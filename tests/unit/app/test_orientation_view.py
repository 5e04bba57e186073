"""Planes in the ground: the hole's attitude at the depth, the yard's convention, and a line that was drawn askew."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.app.cut_cases import cut_hole

from trayside.app.orientation_view import hole_path, line_turn, view_orientation
from trayside.core.oriented_core import core_angles_from_plane
from trayside.model.hole import Survey
from trayside.model.rules import OrientationRules, Rules

PLANE = {"dip_deg": 55.0, "dip_direction_deg": 310.0}
BENT = (Survey(0, 80.0, -70.0), Survey(30_000, 90.0, -60.0), Survey(60_000, 105.0, -48.0))


def angles_there(azimuth_deg: float, plunge_deg: float) -> tuple[float, float]:
    found = core_angles_from_plane(hole_azimuth_deg=azimuth_deg, hole_plunge_deg=plunge_deg, **PLANE)
    return float(found.alpha_deg), float(found.beta_deg)


def test_one_plane_of_the_ground_is_found_at_every_station_of_a_bent_hole():
    veins = [(at.depth_mm / 1000, *angles_there(at.azimuth_deg, -at.dip_deg)) for at in BENT]
    for one in view_orientation(cut_hole(veins=veins, surveys=BENT).core, Rules()).measures:
        assert one.dip_deg == pytest.approx(PLANE["dip_deg"], abs=1e-6)
        assert one.direction_deg == pytest.approx(PLANE["dip_direction_deg"], abs=1e-6)


def test_between_stations_the_hole_is_an_arc_and_without_surveys_straight():
    middle = hole_path(cut_hole(veins=[], surveys=BENT).core).attitude_at(depth_m=15.0)
    assert 80 < middle.azimuth_deg < 90
    assert 60 < middle.plunge_deg < 70
    straight = hole_path(cut_hole(veins=[]).core).attitude_at(depth_m=[0.0, 15.0, 59.0])
    assert straight.azimuth_deg == pytest.approx([90.0] * 3)
    assert straight.plunge_deg == pytest.approx([60.0] * 3)


def test_the_collar_is_a_station_where_no_survey_is_at_the_top():
    path = hole_path(cut_hole(veins=[], surveys=BENT[1:]).core)
    assert path.depth_m.tolist() == [0.0, 30.0, 60.0]
    assert path.azimuth_deg[0] == 90.0


@pytest.mark.parametrize(
    ("line", "apex", "alpha_to", "turned", "alpha_of"),
    [("top", "lower", "plane", 180, lambda a: a), ("bottom", "upper", "plane", 180, lambda a: a),
     ("top", "upper", "plane", 0, lambda a: a), ("bottom", "lower", "pole", 0, lambda a: 90 - a)],
)  # fmt: skip
def test_the_yards_convention_is_turned_into_ours(line, apex, alpha_to, turned, alpha_of):
    alpha, beta = angles_there(90.0, 60.0)
    rules = Rules(orientation=OrientationRules(reference_line=line, apex=apex, alpha_to=alpha_to))
    view = cut_hole(veins=[(10.0, alpha_of(alpha), beta + turned)], rules=rules)
    (one,) = view_orientation(view.core, rules).measures
    assert (one.alpha_deg, one.beta_deg) == (pytest.approx(alpha), pytest.approx(beta))
    assert (one.dip_deg, one.direction_deg) == (pytest.approx(55.0, abs=1e-6), pytest.approx(310.0, abs=1e-6))


def test_the_marks_put_a_plane_right_that_was_read_from_a_line_drawn_askew():
    alpha, beta = angles_there(90.0, 60.0)
    marks = [(at, 25.0) for at in np.arange(3.0, 60.0, 3.0)]
    (one,) = view_orientation(cut_hole(veins=[(30.0, alpha, beta + 25.0)], marks=marks).core, Rules()).measures
    assert one.direction_deg == pytest.approx(310.0, abs=1e-6)
    assert abs(one.drawn_direction_deg - 310.0) > 5.0
    assert one.turn_deg == pytest.approx(25.0)


def test_one_mark_astray_turns_nothing_and_a_steady_turn_is_followed_to_its_end():
    marks = [(3.0 * at, 40.0 if at == 7 else 0.0) for at in range(1, 20)]
    assert line_turn(cut_hole(veins=[], marks=marks).core, Rules()).at(np.array([0.0, 21.0, 60.0])) == pytest.approx(
        [0, 0, 0]
    )
    marks = [(3.0 * at, 2.0 * at) for at in range(1, 21)]
    assert line_turn(cut_hole(veins=[], marks=marks).core, Rules()).at(np.array([3.0, 30.0, 60.0])) == pytest.approx(
        [2, 20, 40]
    )


def test_a_plane_nobody_read_beta_on_has_no_direction():
    view = cut_hole(veins=[(10.0, 40.0, 0.0)])
    core = view.core
    bare = type(core)(
        core.hole, runs=core.runs, fabric=tuple(type(one)(one.depth_mm, one.alpha_deg, one.kind) for one in core.fabric)
    )
    (one,) = view_orientation(bare, Rules()).measures
    assert (one.beta_deg, one.dip_deg, one.drawn_dip_deg) == (None, None, None)
    assert view_orientation(bare, Rules()).share.oriented_share == 0.0
