"""Hand-arm vibration of a shift: A(8), points, and hours until an action value or limit on each machine."""

from __future__ import annotations

import math
from dataclasses import dataclass

from trayside.app.exposure_limits import Hazard, held, in_words, typical_flags, verdicts, vibration_limits, worst
from trayside.core.vibration import hand_arm_day, hours_until
from trayside.model.exposure_record import ShiftExposure
from trayside.model.safety_settings import SafetySettings

ACTION_M_S2, LIMIT_M_S2 = 2.5, 5.0
"""Directive 2002/44/EC, Art. 3 (seen): action value and limit, 100 and 400 points."""


@dataclass(frozen=True, slots=True)
class VibrationLine:
    what: str
    points: float
    hours_to_action: float
    hours_to_limit: float


@dataclass(frozen=True, slots=True)
class Vibration:
    hazard: Hazard
    lines: tuple[VibrationLine, ...]
    a8_m_s2: float
    points: float


def vibration_of(exposure: ShiftExposure, settings: SafetySettings) -> Vibration:
    """Hand-arm vibration of a shift with at least one machine."""
    tasks, limits = exposure.vibration, vibration_limits(settings)
    day = hand_arm_day(
        hours=[task.minutes / 60.0 for task in tasks],
        acceleration_m_s2=[task.acceleration_m_s2 for task in tasks],
        limits=limits,
    )
    found = verdicts(held(limit, day.a8_m_s2, "m/s²") for limit in limits)
    flags = [f"{task.what}: {task.acceleration_m_s2:g} m/s² is very much: look at the entry"
             for task in tasks if task.acceleration_m_s2 > 30.0]  # fmt: skip
    lines = tuple(
        VibrationLine(
            task.what,
            float(points),
            _until(task.acceleration_m_s2, ACTION_M_S2),
            _until(task.acceleration_m_s2, LIMIT_M_S2),
        )
        for task, points in zip(tasks, day.points_by_stretch, strict=True)
    )
    hazard = Hazard(
        "vibration",
        worst([one.grade for one in found]),
        f"A(8) {day.a8_m_s2:.1f} m/s² · {day.points:.0f} points",
        (f"{in_words(found)}." if found else "No limits of vibration are chosen in the rules.",),
        found,
        (*flags, *typical_flags(tasks)),
    )
    return Vibration(hazard, lines, day.a8_m_s2, day.points)


def _until(acceleration_m_s2: float, a8_m_s2: float) -> float:
    """Hours until the daily value; infinite on a machine that does not shake."""
    if acceleration_m_s2 <= 0.0:
        return math.inf
    return float(hours_until(acceleration_m_s2=acceleration_m_s2, a8_m_s2=a8_m_s2))
