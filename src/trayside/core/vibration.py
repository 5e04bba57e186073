"""Hand-arm vibration of a day as A(8) and as points that add up: 100 points is the action value, 400 the limit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.number_lists import paired
from trayside.core.planning_aid import PLANNING_AID, Limit
from trayside.core.refusals import Floats, numbers, plain
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

_DIRECTIVE = "Directive 2002/44/EC"
VIBRATION_LIMITS = (
    Limit(
        "action value", "European Union", 2.5, "above", True,
        Source(_DIRECTIVE, "Art. 3, hand-arm, A(8) in m/s2", "seen"), "25 June 2002", "from memory",
    ),
    Limit(
        "limit value", "European Union", 5.0, "above", True,
        Source(_DIRECTIVE, "Art. 3, hand-arm, A(8) in m/s2", "seen"), "25 June 2002", "from memory",
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class HandArmDay:
    """The day in one number, in points, by stretch, and the limits it goes above."""

    a8_m_s2: float
    points: float
    points_by_stretch: Floats
    reached: tuple[Limit, ...]
    says: str
    caution: str = PLANNING_AID


def hand_arm_day(
    *, hours: ArrayLike, acceleration_m_s2: ArrayLike, limits: tuple[Limit, ...] = VIBRATION_LIMITS
) -> HandArmDay:
    """Daily hand-arm vibration.

    A(8) is the root of the sum of a^2 T / 8; points are 2 a^2 T.

    Parameters
    ----------
    hours : float or array (n,)
        Hours with the hand on the machine, together 24 or less.
    acceleration_m_s2 : float or array (n,)
        Frequency-weighted vibration total value at the hand.
    limits : tuple of Limit
        Limits to hold it against.

    Returns
    -------
    HandArmDay
        .a8_m_s2, .points, .points_by_stretch (n,), .reached, .says, .caution

    Raises
    ------
    ImpossibleValue
        When hours or accelerations are negative, or hours are more than 24 together.

    Valid for: trigger time, not time at work; fixed bench saws are usually low at the hand.
    Source: Directive 2002/44/EC, Annex A (seen); points as in HSE practice (seen).
    Checked by: tests/published/test_vibration_published.py, tests/unit/core/test_vibration.py
    """
    time, shake = paired(
        np.atleast_1d(hours), np.atleast_1d(acceleration_m_s2), names=("hours", "acceleration_m_s2"), at_least=0.0
    )
    if time.sum() > 24.0 + 1e-9:
        raise ImpossibleValue(f"{time.sum():g} h in one day", where="hours", remedy="Give the hours of one day")
    a8 = math.sqrt(float(np.sum(shake * shake * time)) / 8.0)
    points = 2.0 * shake * shake * time
    reached = tuple(one for one in limits if one.is_reached_by(a8))
    says = f"A(8) {a8:.2f} m/s2, {points.sum():.0f} points: "
    says += (
        " and ".join(f"above the {one.name} of {one.value:g}" for one in reached) if reached else "no limit exceeded"
    )
    return HandArmDay(a8, float(points.sum()), points, reached, says + ".")


def hours_until(*, acceleration_m_s2: ArrayLike, a8_m_s2: float) -> float | Floats:
    """Hours at one acceleration until a daily value is reached.

    8 (A8 / a)^2.

    Parameters
    ----------
    acceleration_m_s2 : float or array (n,)
        Vibration total value at the hand, above 0.
    a8_m_s2 : float
        Daily value, such as 2.5 or 5.

    Returns
    -------
    float or array (n,)
        Hours; more than 24 means not within a day.

    Raises
    ------
    ImpossibleValue
        When a value is not more than 0.

    Valid for: one machine, the rest of the day free of vibration.
    Source: Directive 2002/44/EC, Annex A (seen), solved for the time.
    Checked by: tests/published/test_vibration_published.py
    """
    shake = numbers(acceleration_m_s2, "acceleration_m_s2", above=0.0)
    return plain(8.0 * (numbers(a8_m_s2, "a8_m_s2", above=0.0) / shake) ** 2)
