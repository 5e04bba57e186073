"""Is this shift safe, as far as figures can say: noise, silica, lifting and hand-arm vibration of one person's shift.

What was entered is worked out each time it is looked at, with the limits and methods the yard's rules name now: a
planning aid, not a measurement and not a permit.
"""

from __future__ import annotations

from dataclasses import dataclass

from trayside.app.exposure_limits import Grade, Hazard, worst
from trayside.app.shift_lifting import LiftingDay, lifting_of
from trayside.app.shift_noise import Noise, noise_of
from trayside.app.shift_silica import Silica, silica_of
from trayside.app.shift_vibration import Vibration, vibration_of
from trayside.core.planning_aid import PLANNING_AID
from trayside.model.exposure_record import ShiftExposure, check_exposure
from trayside.model.safety_settings import SafetySettings

CAUTIONS = (
    PLANNING_AID,
    "Nothing here replaces a measurement by a person trained to make it, a medical examination, or the advice of one.",
    "A typical value is a place to start from. Where a figure comes near a limit, measure.",
    "First take the hazard away: water on the blade, air drawn off, a quieter saw, a trolley, two people. Then protect the person.",
)


@dataclass(frozen=True, slots=True)
class ShiftSafety:
    """Everything worked out about one person's shift. A part is None where nothing was entered."""

    exposure: ShiftExposure
    noise: Noise | None
    silica: Silica | None
    lifting: LiftingDay | None
    vibration: Vibration | None
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def hazards(self) -> tuple[Hazard, ...]:
        """Always the four, in one order."""
        parts = (("noise", self.noise), ("silica", self.silica), ("lifting", self.lifting), ("vibration", self.vibration))
        return tuple(part.hazard if part else Hazard(name, "none", "–", ()) for name, part in parts)

    @property
    def grade(self) -> Grade:
        return worst([one.grade for one in self.hazards if one.grade != "none"])


def assess_shift(exposure: ShiftExposure, settings: SafetySettings) -> ShiftSafety:
    """Work a shift out; ImpossibleValue when an entry cannot be."""
    check_exposure(exposure)
    return ShiftSafety(
        exposure,
        noise_of(exposure, settings) if exposure.noise else None,
        silica_of(exposure, settings) if exposure.air else None,
        lifting_of(exposure.lifting, settings) if exposure.lifting.lifts else None,
        vibration_of(exposure, settings) if exposure.vibration else None,
    )
