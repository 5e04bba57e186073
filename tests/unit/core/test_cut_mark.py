"""Millimetres of arc, there and back, and the nearer edge of the cut."""

import numpy as np
import pytest

from trayside.core.cut_mark import arc_mm, blade_half_angle_deg, closest_mark, turn_deg
from trayside.errors import ImpossibleValue


def test_half_a_turn_is_half_the_girth_and_back():
    assert arc_mm(core_diameter_mm=47.6, angle_deg=180) == pytest.approx(np.pi * 47.6 / 2)
    angle = np.array([-90.0, 0, 33, 300])
    assert turn_deg(core_diameter_mm=63.5, arc_mm=arc_mm(core_diameter_mm=63.5, angle_deg=angle)) == pytest.approx(
        angle
    )


@pytest.mark.parametrize(
    ("cut", "angle", "clockwise"),
    [
        (0, 0, True),
        (40, 40, True),
        (90, 90, True),
        (130, 50, False),
        (170, 10, False),
        (220, 40, True),
        (-10, 10, False),
    ],
)
def test_mark_is_put_at_the_nearer_edge(cut, angle, clockwise):
    mark = closest_mark(core_diameter_mm=47.6, cut_deg=cut)
    assert mark.arc_mm == pytest.approx(arc_mm(core_diameter_mm=47.6, angle_deg=angle))
    assert mark.clockwise is clockwise


def test_marks_of_many_trays_at_once():
    marks = closest_mark(core_diameter_mm=[47.6, 63.5], cut_deg=[40, 130])
    assert marks.clockwise.tolist() == [True, False]
    assert marks.arc_mm == pytest.approx([np.pi * 47.6 / 9, np.pi * 63.5 * 50 / 360])


def test_a_slot_as_wide_as_the_core_is_refused():
    with pytest.raises(ImpossibleValue, match="kerf_mm"):
        blade_half_angle_deg(core_diameter_mm=47.6, kerf_mm=47.6)
    with pytest.raises(ImpossibleValue, match="core_diameter_mm"):
        arc_mm(core_diameter_mm=0, angle_deg=10)
