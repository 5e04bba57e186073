"""Hand-arm vibration: points add up and stand in a fixed relation to A(8)."""

import pytest

from trayside.core.vibration import hand_arm_day, hours_until
from trayside.errors import ImpossibleValue


def test_points_are_those_of_a8():
    day = hand_arm_day(hours=[1.0, 0.5, 3.0], acceleration_m_s2=[6.0, 9.0, 1.0])
    assert day.points == pytest.approx(16.0 * day.a8_m_s2**2)
    assert day.points_by_stretch.sum() == pytest.approx(day.points)


@pytest.mark.parametrize(
    ("shake", "names"), [(2.5, []), (2.6, ["action value"]), (5.1, ["action value", "limit value"])]
)
def test_values_are_reached_above_them(shake, names):
    assert [one.name for one in hand_arm_day(hours=8.0, acceleration_m_s2=shake).reached] == names


def test_time_until_a_value_gives_that_value():
    hours = hours_until(acceleration_m_s2=7.0, a8_m_s2=2.5)
    assert hand_arm_day(hours=hours, acceleration_m_s2=7.0).a8_m_s2 == pytest.approx(2.5)


@pytest.mark.parametrize(("hours", "shake"), [([25.0], [1.0]), ([-1.0], [1.0]), ([1.0], [-1.0]), ([1.0, 2.0], [1.0])])
def test_refusals(hours, shake):
    with pytest.raises(ImpossibleValue):
        hand_arm_day(hours=hours, acceleration_m_s2=shake)
