"""Lifting of a shift by the revised NIOSH equation: each lift alone, all together, and when the equation does not hold."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from trayside.app.exposure_limits import Grade, Hazard, lower_first
from trayside.core.lifting import (
    JobResult,
    LiftResult,
    LiftTask,
    composite_index,
    duration_class,
    lift_limit,
    lift_warnings,
)
from trayside.model.exposure_record import Lift, Lifting
from trayside.model.safety_settings import SafetySettings

HEAVY_KG = 60.0


@dataclass(frozen=True, slots=True)
class LiftLine:
    """One kind of lift alone, at the end of it that allows less."""

    lift: Lift
    result: LiftResult
    at_end: bool


@dataclass(frozen=True, slots=True)
class LiftingDay:
    hazard: Hazard
    lines: tuple[LiftLine, ...]
    job: JobResult
    duration: str
    warnings: tuple[str, ...]


def lifting_of(lifting: Lifting, settings: SafetySettings) -> LiftingDay:
    """The lifting of a shift with at least one lift."""
    duration = "long" if lifting.work_h > 8.0 else duration_class(work_h=lifting.work_h, recovery_h=lifting.recovery_h)
    lines = tuple(_lift_line(lift, duration) for lift in lifting.lifts)
    job = composite_index(tasks=[_task(line) for line in lines], duration=duration)
    place = replace(lifting.place, hours_of_lifting=lifting.work_h)
    warnings = lift_warnings(surroundings=place)
    broken = tuple(one for one in warnings if not one.startswith("Not said"))
    hardest = max(lines, key=lambda line: line.result.index)
    grade: Grade = "below" if job.index <= 1.0 else "action" if job.index <= 3.0 else "above"
    says = [job.says]
    if len(lines) > 1 or grade != "below":
        says.append(f"The hardest is {hardest.lift.what}: {lower_first(hardest.result.says)}")
    if broken:
        says.append("The equation does not hold here as it stands: take less than it says.")
    odd = [f"{lift.what}: {lift.load_kg:g} kg for one person is very much: look at the entry"
           for lift in lifting.lifts if lift.load_kg > HEAVY_KG]  # fmt: skip
    if settings.gloves:
        odd += [f"{lift.what}: a good grip, although trays and sacks are handled in gloves here: fair at best"
                for lift in lifting.lifts if lift.grip == "good"]  # fmt: skip
    figure = "nothing may be lifted this way" if math.isinf(job.index) else f"lifting index {job.index:.1f}"
    hazard = Hazard("lifting", grade, figure, tuple(says), (), (*odd, *job.flags))
    return LiftingDay(hazard, lines, job, duration, warnings)


def _lift_line(lift: Lift, duration: str) -> LiftLine:
    """The start of the lift, or its end where it is set down with care and the end allows less."""
    start = _limit(lift, duration, reach_cm=lift.reach_cm, end_height_cm=None)
    if lift.end_reach_cm is None:
        return LiftLine(lift, start, False)
    end = _limit(lift, duration, reach_cm=lift.end_reach_cm, end_height_cm=lift.end_height_cm)
    return LiftLine(lift, end, True) if end.limit_kg < start.limit_kg else LiftLine(lift, start, False)


def _limit(lift: Lift, duration: str, *, reach_cm: float, end_height_cm: float | None) -> LiftResult:
    return lift_limit(
        load_kg=lift.load_kg,
        horizontal_cm=reach_cm,
        vertical_cm=lift.start_height_cm,
        travel_cm=abs(lift.end_height_cm - lift.start_height_cm),
        lifts_per_minute=lift.lifts_per_minute,
        duration=duration,
        coupling=lift.grip,
        asymmetry_deg=lift.turn_deg,
        end_vertical_cm=end_height_cm,
    )


def _task(line: LiftLine) -> LiftTask:
    """The lift inside the job, by the end of it that allows less."""
    lift = line.lift
    return LiftTask(
        name=lift.what,
        load_kg=lift.load_kg,
        horizontal_cm=lift.end_reach_cm if line.at_end else lift.reach_cm,
        vertical_cm=lift.end_height_cm if line.at_end else lift.start_height_cm,
        travel_cm=abs(lift.end_height_cm - lift.start_height_cm),
        lifts_per_minute=lift.lifts_per_minute,
        coupling=lift.grip,
        asymmetry_deg=lift.turn_deg,
        heaviest_kg=lift.heaviest_kg,
    )
