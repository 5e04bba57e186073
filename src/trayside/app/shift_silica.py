"""Respirable crystalline silica of a shift: stretches of air and filters, the mean over 8 h, limits by jurisdiction."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.app.exposure_limits import Hazard, held, in_words, silica_limits, typical_flags, verdicts, worst
from trayside.core.silica import SHIFT_WAYS, adjusted_limit, sampled_concentration, silica_day
from trayside.core.sources import Source
from trayside.model.exposure_record import AirTask, ShiftExposure
from trayside.model.safety_settings import SafetySettings

FULL_SHIFT_H = 0.25
"""Times that miss the shift by less than this are taken as the whole of it."""


@dataclass(frozen=True, slots=True)
class AirLine:
    """One stretch of air: the concentration it was counted with."""

    task: AirTask
    concentration_mg_m3: float
    litres: float | None


@dataclass(frozen=True, slots=True)
class Silica:
    hazard: Hazard
    lines: tuple[AirLine, ...]
    mean_mg_m3: float
    unsampled_h: float
    adjusted_by: str
    way_source: Source


def silica_of(exposure: ShiftExposure, settings: SafetySettings) -> Silica:
    """Silica of a shift with at least one stretch of air."""
    lines = tuple(_air_line(task) for task in exposure.air)
    hours = [line.task.minutes / 60.0 for line in lines]
    day = silica_day(
        hours=hours,
        concentration_mg_m3=[line.concentration_mg_m3 for line in lines],
        shift_h=exposure.shift_h,
        way=exposure.long_shift,
        limits=silica_limits(settings),
    )
    found = verdicts(held(one.limit, day.mean_mg_m3, "mg/m³", used=one.used_mg_m3, reached=one.reached) for one in day.results)
    unsampled = max(exposure.shift_h - sum(hours), 0.0)
    says = [f"{in_words(found)}."] if found else ["No limits of silica are chosen in the rules."]
    if exposure.shift_h > 8.0:
        share = adjusted_limit(limit=1.0, shift_h=exposure.shift_h, way="brief_scala")
        says.append(
            f"The mean is over 8 h although the shift is longer. Limits are brought down to {share:.2f} of what is printed (Brief"
            " and Scala)."
            if exposure.long_shift == "brief_scala"
            else f"The mean is over 8 h although the shift is longer. Limits are as printed; Brief and Scala would bring them"
            f" down to {share:.2f} of that."
        )
    says.append("A respirator is not counted: this is the air outside it.")
    hazard = Hazard(
        "silica",
        worst([one.grade for one in found]),
        f"{day.mean_mg_m3:.3f} mg/m³ over 8 h",
        tuple(says),
        found,
        tuple(_silica_flags(exposure, lines, sum(hours))),
    )
    return Silica(hazard, lines, day.mean_mg_m3, unsampled, day.adjusted_by, SHIFT_WAYS[day.adjusted_by])


def _air_line(task: AirTask) -> AirLine:
    if task.concentration_mg_m3 is not None:
        return AirLine(task, task.concentration_mg_m3, None)
    found = sampled_concentration(
        mass_mg=task.mass_ug / 1000.0, litres_per_minute=task.flow_l_min, sampled_min=task.minutes
    )
    return AirLine(task, float(found), task.flow_l_min * task.minutes)


def _silica_flags(exposure: ShiftExposure, lines: tuple[AirLine, ...], hours: float) -> list[str]:
    flags = []
    for line in lines:
        if line.task.below:
            flags.append(f"{line.task.what}: less than the laboratory can see, counted at its limit: the mean is at most this")
        if line.concentration_mg_m3 > 10.0:
            flags.append(f"{line.task.what}: {line.concentration_mg_m3:g} mg/m³ is very much: look at the units")
        if line.task.flow_l_min is not None and not 0.5 <= line.task.flow_l_min <= 15.0:
            flags.append(f"{line.task.what}: {line.task.flow_l_min:g} L/min is an unusual flow for a sampler worn by a person")
    flags += typical_flags(exposure.air)
    if hours < exposure.shift_h - FULL_SHIFT_H:
        flags.append(
            f"{exposure.shift_h - hours:.1f} h of the shift were not sampled and count as free of silica: the mean may be too low"
        )
    if hours > exposure.shift_h + FULL_SHIFT_H:
        flags.append(f"{hours:.1f} h of samples in a shift of {exposure.shift_h:g} h: they must not overlap")
    return flags
