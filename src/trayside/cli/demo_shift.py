"""One invented shift of the demo's operator, for the Safety screen: what was first said, and a correction of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from trayside.app.ports import Clock, StartWork
from trayside.app.record_exposure import record_exposure, yard_today
from trayside.app.yard_rules import rules_of
from trayside.model.exposure_record import (
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    ShiftExposure,
    Surroundings,
    VibrationTask,
)

OPERATOR = "Demo operator"


def record_demo_shift(*, start_work: StartWork, clock: Clock) -> date:
    """Ten hours of yesterday: sawing with muffs on, marking up and packing with muffs off."""
    with start_work(writing=False) as work:
        day = yard_today(rules_of(work), clock()) - timedelta(days=1)
    first = _shift(day)
    record_exposure(first, after=0, by=OPERATOR, reason="", start_work=start_work, clock=clock)
    sawing, *others = first.noise
    again = replace(first, noise=(replace(sawing, hours=4.5), *others), remark="Invented for the demo.")
    reason = "the blade change was counted as sawing"
    record_exposure(again, after=1, by=OPERATOR, reason=reason, start_work=start_work, clock=clock)
    return day


def _shift(day: date) -> ShiftExposure:
    """Every figure is invented."""
    return ShiftExposure(
        day=day,
        person=OPERATOR,
        shift_h=10.0,
        noise=(
            NoiseTask("wet bench core saw, cutting", 97.0, 5.0, worn=True, basis="measured"),
            NoiseTask("helping at the next saw", 88.0, 1.0, worn=False, basis="measured"),
            NoiseTask("marking up, packing", 71.0, 3.9, worn=False, basis="measured"),
        ),
        protector=Protector(24.0, "muff", "osha_half"),
        air=(
            AirTask("at the saw", 290.0, mass_ug=13.0, flow_l_min=1.7),
            AirTask("packing, away from the saw", 240.0, concentration_mg_m3=0.005, below=True),
        ),
        lifting=Lifting(
            (
                Lift("full tray to the saw table", 27.0, 40.0, 20.0, 100.0, 0.2, "fair"),
                Lift("sack to the pallet", 17.0, 35.0, 30.0, 60.0, 0.2, "poor"),
            ),
            work_h=1.5,
            recovery_h=1.0,
            place=Surroundings(floor_wet=True, one_hand=False, seated_or_kneeling=False, tight_space=False),
        ),
        vibration=(VibrationTask("hand-held cutter for long sticks", 4.0, 20.0, "maker"),),
    )
