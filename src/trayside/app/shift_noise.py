"""Noise of a shift: the same day under every rule, at the open ear and behind the protector where it was worn."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.app.exposure_limits import (
    RULE_WORDS,
    Hazard,
    held,
    in_words,
    lower_first,
    noise_limits,
    protected_limits,
    typical_flags,
    verdicts,
    worst,
)
from trayside.core.exposure import NoiseDay, action_level, noise_day, noise_points
from trayside.core.hearing_protectors import METHODS, ProtectedEar, protected_level
from trayside.errors import ImpossibleValue
from trayside.model.exposure_record import NoiseTask, Protector, ShiftExposure
from trayside.model.safety_settings import SafetySettings

LOUD_DBA = 115.0
QUIET_DBA = 40.0
FULL_SHIFT_H = 0.25
"""Times that miss the shift by less than this are taken as the whole of it."""


@dataclass(frozen=True, slots=True)
class RuleLine:
    """The day under one rule, at the open ear and with the protector where it was worn (None: never)."""

    rule: str
    dose: float | None
    level_dba: float
    protected_dose: float | None
    protected_dba: float | None


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of the shift; `ears` is the same protector by every method that counts it."""

    hazard: Hazard
    lines: tuple[RuleLine, ...]
    points: float
    hours: float
    shift_action_dba: float
    ears: tuple[ProtectedEar, ...] = ()


def noise_of(exposure: ShiftExposure, settings: SafetySettings) -> Noise:
    """Noise of a shift with at least one level."""
    tasks, protector = exposure.noise, exposure.protector
    hours, levels = [task.hours for task in tasks], [task.level_dba for task in tasks]
    open_ear = noise_day(hours=hours, level_dba=levels)
    credit = _credit(protector, tasks) if protector is not None else None
    worn = [task.worn for task in tasks]
    behind = None
    if credit is not None and any(worn):
        # Nothing is heard below 0 dBA, and nothing below it adds to a dose.
        inside = [max(level - credit, 0.0) if on else level for level, on in zip(levels, worn, strict=True)]
        behind = noise_day(hours=hours, level_dba=inside)
    lines = []
    for place, one in enumerate(open_ear.results):
        after = behind.results[place] if behind else None
        if one.rule in settings.noise_rules:
            lines.append(
                RuleLine(one.rule, one.dose, one.level_dba, after.dose if after else None, after.level_dba if after else None)
            )
    level_of = {one.rule: round(one.level_dba, 3) for one in open_ear.results}
    found = verdicts(held(limit, level_of[limit.name.split()[0]], "dBA") for limit in noise_limits(settings))
    says = [f"At the open ear: {lower_first(in_words(found))}."] if found else ["No limits of noise are chosen in the rules."]
    ears: tuple[ProtectedEar, ...] = ()
    flags = _noise_flags(exposure, open_ear.hours)
    if protector is not None:
        says += _behind_words(behind, exposure, settings)
        loudest = max((task.level_dba for task in tasks if task.worn), default=max(levels))
        ears = _every_method(protector, loudest, settings.protector_target_dba)
        flags += [flag for ear in ears if ear.method == protector.method for flag in ear.flags]
    hazard = Hazard(
        "noise",
        worst([one.grade for one in found]),
        " · ".join(f"{one.level_dba:.1f} dBA {RULE_WORDS[one.rule]}" for one in lines),
        tuple(says),
        found,
        tuple(flags),
    )
    return Noise(hazard, tuple(lines), open_ear.points, open_ear.hours, action_level(shift_h=exposure.shift_h), ears)


def _credit(protector: Protector, tasks: tuple[NoiseTask, ...]) -> float:
    """Decibels the method takes off an A-weighted level; the same at every level."""
    return protected_level(
        level_db=tasks[0].level_dba, weighting="A", nrr_db=protector.nrr_db, method=protector.method, kind=protector.kind,
        dual=protector.dual,
    ).credit_db  # fmt: skip


def _every_method(protector: Protector, level_dba: float, target_dba: float) -> tuple[ProtectedEar, ...]:
    """The same protector at the loudest task by each method; one whose rule does not cover it is left out."""
    found = []
    for method in METHODS:
        try:
            found.append(
                protected_level(
                    level_db=level_dba, weighting="A", nrr_db=protector.nrr_db, method=method, kind=protector.kind,
                    dual=protector.dual, target_dba=target_dba,
                )
            )
        except ImpossibleValue:
            if method == protector.method:
                raise
    return tuple(found)


def _behind_words(behind: NoiseDay | None, exposure: ShiftExposure, settings: SafetySettings) -> list[str]:
    if behind is None:
        return ["A protector is described, and no task says that it was worn."]
    level_of = {one.rule: round(one.level_dba, 3) for one in behind.results}
    target = settings.protector_target_dba
    word = "not above" if level_of["osha"] <= target + 1e-9 else "ABOVE"
    says = [
        f"With the protector where it was worn, by {METHODS[exposure.protector.method].document}: about"
        f" {level_of['osha']:.1f} dBA as OSHA mean, {word} the {target:g} dBA to be reached."
    ]
    found = verdicts(held(limit, level_of[limit.name.split()[0]], "dBA") for limit in protected_limits(settings))
    if found:
        says.append(f"With it, L_EX,8h is about {level_of['lex8']:.1f} dBA: {lower_first(in_words(found))}.")
    bare = [task for task in exposure.noise if not task.worn]
    if bare:
        hours = sum(task.hours for task in bare)
        share = noise_points(hours=[task.hours for task in bare], level_dba=[task.level_dba for task in bare]) / behind.points
        says.append(f"It was off for {hours:g} h: {100 * share:.0f} % of the noise that reached the ear came in that time.")
    return says


def _noise_flags(exposure: ShiftExposure, hours: float) -> list[str]:
    flags = [
        f"{task.what}: {task.level_dba:g} dBA is louder than {LOUD_DBA:g}: read the meter again, and let nobody stay there"
        for task in exposure.noise
        if task.level_dba > LOUD_DBA
    ]
    flags += [
        f"{task.what}: {task.level_dba:g} dBA is as quiet as an empty room: look at the entry"
        for task in exposure.noise
        if task.level_dba < QUIET_DBA
    ]
    flags += typical_flags(exposure.noise)
    if hours < exposure.shift_h - FULL_SHIFT_H:
        flags.append(f"{exposure.shift_h - hours:.1f} h of the shift have no level and count as quiet: the result may be too low")
    if hours > exposure.shift_h + FULL_SHIFT_H:
        flags.append(f"{hours:g} h of noise in a shift of {exposure.shift_h:g} h: look at the times")
    return flags
