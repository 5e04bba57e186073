"""Hand-arm vibration against the directive's definitions (2002/44/EC, values seen; examples derived from them)."""

import pytest

from trayside.core.vibration import VIBRATION_LIMITS, hand_arm_day, hours_until


def test_action_and_limit_value_are_100_and_400_points():
    # Directive 2002/44/EC Art. 3 (seen): 2.5 and 5 m/s2; points 100 and 400 (seen).
    assert [one.value for one in VIBRATION_LIMITS] == [2.5, 5.0]
    assert hand_arm_day(hours=8, acceleration_m_s2=2.5).points == pytest.approx(100)
    assert hand_arm_day(hours=8, acceleration_m_s2=5).points == pytest.approx(400)


@pytest.mark.parametrize(
    ("hours", "shake", "a8", "points"), [([2], [4.5], 2.250, 81.0), ([2, 4], [4.5, 3.0], 3.0923, 153.0)]
)
def test_worked_days(hours, shake, a8, points):
    # Worked from the definition (derived): 2.250 m/s2 and 81.0 points; 3.0923 m/s2 and 153 points.
    day = hand_arm_day(hours=hours, acceleration_m_s2=shake)
    assert day.a8_m_s2 == pytest.approx(a8, abs=0.00005)
    assert day.points == pytest.approx(points)


def test_five_reaches_the_action_value_after_two_hours():
    # Worked from the definition (derived): 2.00 h.
    assert hours_until(acceleration_m_s2=5.0, a8_m_s2=2.5) == pytest.approx(2.00, abs=0.005)
