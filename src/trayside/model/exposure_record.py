"""What one person was exposed to in one shift, as entered: noise, silica in the air, lifting, vibration of the hands.

An entry is kept as it was said; nothing worked out is kept with it. A change is a new revision with a reason, and the
first one stays. Days are the yard's own, by the day on which the shift began.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from datetime import date, datetime
from typing import Literal

from trayside.core.hearing_protectors import KINDS
from trayside.core.lifting import Surroundings
from trayside.errors import ImpossibleValue

Basis = Literal["measured", "typical", "maker"]
BASES: tuple[Basis, ...] = ("measured", "typical", "maker")
GRIPS = ("good", "fair", "poor")
PROTECTOR_KINDS = KINDS
LONGEST_WORDS = 80
LONGEST_REMARK = 500
MOST_ENTRIES = 30
LABELS = {
    "level_dba": "level in dBA", "worn": "protector worn", "basis": "known from", "nrr_db": "rating in dB",
    "dual": "muffs over plugs", "concentration_mg_m3": "silica in mg/m³", "mass_ug": "on the filter in µg",
    "flow_l_min": "flow in L/min", "below": "less than the laboratory sees", "load_kg": "load in kg",
    "reach_cm": "reach in cm", "start_height_cm": "start height in cm", "end_height_cm": "end height in cm",
    "turn_deg": "turn in degrees", "heaviest_kg": "heaviest in kg", "end_reach_cm": "reach at the end in cm",
    "acceleration_m_s2": "vibration in m/s²", "floor_friction": "grip of the floor", "air_degc": "air in °C",
}  # fmt: skip
"""What the fields of an entry are called where a change is told."""


@dataclass(frozen=True, slots=True)
class NoiseTask:
    """Hours at one level at the open ear; `worn`: with the hearing protector on."""

    what: str
    level_dba: float
    hours: float
    worn: bool = False
    basis: Basis = "measured"


@dataclass(frozen=True, slots=True)
class Protector:
    """A hearing protector by its printed rating, and the method by which that is counted down."""

    nrr_db: float
    kind: str
    method: str
    dual: bool = False


@dataclass(frozen=True, slots=True)
class AirTask:
    """Minutes in one air: its silica as a concentration, or as mass on a filter with the flow of the pump.

    `below`: the laboratory saw less than this and gave its limit.
    """

    what: str
    minutes: float
    concentration_mg_m3: float | None = None
    mass_ug: float | None = None
    flow_l_min: float | None = None
    below: bool = False
    basis: Basis = "measured"


@dataclass(frozen=True, slots=True)
class Lift:
    """One kind of lift. `end_reach_cm` is given where the load has to be set down with care."""

    what: str
    load_kg: float
    reach_cm: float
    start_height_cm: float
    end_height_cm: float
    lifts_per_minute: float
    grip: str
    turn_deg: float = 0.0
    heaviest_kg: float | None = None
    end_reach_cm: float | None = None


@dataclass(frozen=True, slots=True)
class Lifting:
    """All lifts of a shift, how long on end, and what the equation takes for granted about the place."""

    lifts: tuple[Lift, ...] = ()
    work_h: float | None = None
    recovery_h: float | None = None
    place: Surroundings = field(default_factory=Surroundings)


@dataclass(frozen=True, slots=True)
class VibrationTask:
    """Minutes with a hand on a machine that runs."""

    what: str
    acceleration_m_s2: float
    minutes: float
    basis: Basis = "measured"


@dataclass(frozen=True, slots=True)
class ShiftExposure:
    """One person's shift. `long_shift` is the way silica limits are brought down for it: none or brief_scala."""

    day: date
    person: str
    shift_h: float
    noise: tuple[NoiseTask, ...] = ()
    protector: Protector | None = None
    air: tuple[AirTask, ...] = ()
    long_shift: str = "none"
    lifting: Lifting = Lifting()
    vibration: tuple[VibrationTask, ...] = ()
    remark: str = ""


@dataclass(frozen=True, slots=True)
class RecordedShift:
    """A revision as it is kept: 1 is what was first said. `reason` says why something said before was changed."""

    exposure: ShiftExposure
    revision: int
    recorded_at: datetime
    recorded_by: str
    reason: str = ""


def check_exposure(exposure: ShiftExposure) -> None:
    """ImpossibleValue for the first entry that cannot be, by name."""
    _number(exposure.shift_h, "length of the shift", above=0.0, at_most=23.999, unit="h")
    for words, entries in (("noise", exposure.noise), ("silica", exposure.air), ("lifting", exposure.lifting.lifts),
                           ("vibration", exposure.vibration)):  # fmt: skip
        _named(words, [one.what for one in entries])
    for task in exposure.noise:
        _number(task.level_dba, f"noise, {task.what}, level", at_most=194.0, unit="dBA")
        _number(task.hours, f"noise, {task.what}, hours", above=0.0, at_most=24.0, unit="h")
    _day_is_long_enough("noise", sum(task.hours for task in exposure.noise))
    if exposure.protector is not None:
        _number(exposure.protector.nrr_db, "hearing protector, rating", at_most=60.0, unit="dB")
    elif any(task.worn for task in exposure.noise):
        raise ImpossibleValue(
            "a protector was worn, but none is described",
            where="hearing protector",
            remedy="Give its rating and kind, or take the tick away",
        )
    for air in exposure.air:
        _check_air(air)
    _day_is_long_enough("silica", sum(air.minutes for air in exposure.air) / 60.0)
    _check_lifting(exposure.lifting)
    for task in exposure.vibration:
        _number(task.acceleration_m_s2, f"vibration, {task.what}, acceleration", at_most=1000.0, unit="m/s2")
        _number(task.minutes, f"vibration, {task.what}, minutes", above=0.0, at_most=1440.0, unit="min")
    _day_is_long_enough("vibration", sum(task.minutes for task in exposure.vibration) / 60.0)
    if len(exposure.remark) > LONGEST_REMARK:
        raise ImpossibleValue(f"longer than {LONGEST_REMARK} characters", where="remark", remedy="Shorten it")


def _check_air(air: AirTask) -> None:
    where = f"silica, {air.what}"
    _number(air.minutes, f"{where}, minutes", above=0.0, at_most=1440.0, unit="min")
    sampled = air.mass_ug is not None or air.flow_l_min is not None
    if (air.concentration_mg_m3 is not None) == sampled:
        raise ImpossibleValue(
            "both a concentration and a filter" if sampled else "neither a concentration nor a filter",
            where=where,
            remedy="Give the concentration, or the mass on the filter with the flow",
        )
    if sampled:
        if air.mass_ug is None or air.flow_l_min is None:
            raise ImpossibleValue("half of a sample", where=where, remedy="Give the mass on the filter and the flow")
        _number(air.mass_ug, f"{where}, mass on the filter", at_most=1e6, unit="ug")
        _number(air.flow_l_min, f"{where}, flow", above=0.0, at_most=1000.0, unit="L/min")
    else:
        _number(air.concentration_mg_m3, f"{where}, concentration", at_most=1e5, unit="mg/m3")


def _check_lifting(lifting: Lifting) -> None:
    for lift in lifting.lifts:
        where = f"lifting, {lift.what}"
        _number(lift.load_kg, f"{where}, load", above=0.0, at_most=2000.0, unit="kg")
        for name in ("reach_cm", "start_height_cm", "end_height_cm", "end_reach_cm"):
            value = getattr(lift, name)
            if value is not None:
                _number(value, f"{where}, {name.removesuffix('_cm').replace('_', ' ')}", at_most=300.0, unit="cm")
        _number(lift.turn_deg, f"{where}, turn", at_most=180.0, unit="degrees")
        _number(lift.lifts_per_minute, f"{where}, lifts a minute", at_most=100.0, unit="a minute")
        if lift.heaviest_kg is not None:
            _number(lift.heaviest_kg, f"{where}, heaviest", at_least=lift.load_kg, at_most=2000.0, unit="kg")
    if lifting.lifts and (lifting.work_h is None or lifting.recovery_h is None):
        raise ImpossibleValue(
            "how long was lifted, and how long rested after it, is not said",
            where="lifting",
            remedy="Give the hours of lifting on end and the hours of lighter work after them",
        )
    if lifting.work_h is not None:
        _number(lifting.work_h, "lifting, hours on end", above=0.0, at_most=24.0, unit="h")
    if lifting.recovery_h is not None:
        _number(lifting.recovery_h, "lifting, lighter work after it", at_most=24.0, unit="h")
    place = lifting.place
    if place.humidity is not None:
        _number(place.humidity, "lifting, humidity", at_most=1.0, unit="(a fraction of one)")
    if place.air_degc is not None:
        _number(place.air_degc, "lifting, air", at_least=-60.0, at_most=70.0, unit="degC")
    if place.floor_friction is not None:
        _number(place.floor_friction, "lifting, grip of the floor", at_most=2.0, unit="")


def _named(words: str, names: list[str]) -> None:
    if len(names) > MOST_ENTRIES:
        raise ImpossibleValue(f"{len(names)} entries", where=words, remedy=f"At most {MOST_ENTRIES}: put like tasks together")
    for name in names:
        if not name.strip() or len(name) > LONGEST_WORDS:
            raise ImpossibleValue(
                "an entry without a name" if not name.strip() else f"a name longer than {LONGEST_WORDS} characters",
                where=words,
                remedy="Say in a few words what was done",
            )
        if names.count(name) > 1:
            raise ImpossibleValue(f"{name!r} stands there twice", where=words, remedy="Add them up, or name them apart")


def _day_is_long_enough(words: str, hours: float) -> None:
    if hours > 24.0 + 1e-9:
        raise ImpossibleValue(f"{hours:g} h together", where=words, remedy="A day has 24: look at the times again")


def _number(
    value: float, where: str, *, unit: str, above: float | None = None, at_least: float = 0.0, at_most: float
) -> None:
    low = f"more than {above:g}" if above is not None else f"at least {at_least:g}"
    fits = math.isfinite(value) and value <= at_most and (value > above if above is not None else value >= at_least)
    if not fits:
        raise ImpossibleValue(
            f"{value:g} {unit}".strip(), where=where, remedy=f"It must be {low} and at most {at_most:g} {unit}".strip()
        )


def changes(before: ShiftExposure, after: ShiftExposure) -> tuple[tuple[str, str, str], ...]:
    """What was said before and is otherwise now: where, before, after. What was only added is not among them."""
    old, new = dict(_said(before)), dict(_said(after))
    return tuple((name, text, new.get(name, "–")) for name, text in old.items() if text and new.get(name) != text)


def additions(before: ShiftExposure, after: ShiftExposure) -> tuple[tuple[str, str], ...]:
    """What is new: where, and what."""
    old = dict(_said(before))
    return tuple((name, text) for name, text in _said(after) if text and not old.get(name))


def _said(exposure: ShiftExposure) -> Iterator[tuple[str, str]]:
    """Every single thing that was said, by name, as text; empty where nothing was said."""
    yield "length of the shift", f"{exposure.shift_h:g} h"
    for words, entries in (("noise", exposure.noise), ("silica", exposure.air), ("lifting", exposure.lifting.lifts),
                           ("vibration", exposure.vibration)):  # fmt: skip
        for entry in entries:
            for name, text in _values(entry):
                if name != "what":
                    yield f"{words}, {entry.what}, {name}", text
    if exposure.protector is not None:
        for name, text in _values(exposure.protector):
            yield f"hearing protector, {name}", text
    yield "limits for a long shift", exposure.long_shift if exposure.air else ""
    yield "lifting, hours on end", _text(exposure.lifting.work_h)
    yield "lifting, hours of lighter work", _text(exposure.lifting.recovery_h)
    for name, text in _values(exposure.lifting.place):
        yield f"lifting, {name}", text
    yield "remark", exposure.remark


def _values(entry: object) -> Iterator[tuple[str, str]]:
    for one in fields(entry):
        yield LABELS.get(one.name, one.name.replace("_", " ")), _text(getattr(entry, one.name))


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)
