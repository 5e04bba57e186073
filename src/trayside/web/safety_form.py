"""The form of a shift: rows as typed, kept whatever happens, and read into an exposure or a list of every fault."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date

from trayside.core.lifting import Surroundings
from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.exposure_record import (
    BASES,
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    ShiftExposure,
    VibrationTask,
)
from trayside.model.safety_settings import SafetySettings

from .asking import Form, one
from .words import say

FIELDS: dict[str, tuple[str, ...]] = {
    "noise": ("what", "level", "hours", "worn", "basis"),
    "air": ("what", "minutes", "concentration", "mass", "flow", "basis"),
    "lift": ("what", "load", "heaviest", "reach", "start", "end", "end_reach", "turn", "rate", "grip"),
    "vibration": ("what", "acceleration", "minutes", "basis"),
}
ALWAYS_FILLED = ("worn", "basis", "grip")
PLACE = ("floor_wet", "one_hand", "seated_or_kneeling", "tight_space", "load_shifts", "carries_or_pushes", "fast_or_jerky")
SINGLE = (
    "shift_h", "nrr", "kind", "method", "dual", "long_shift", "work_h", "recovery_h", "floor_friction", "air_degc",
    "humidity", "remark", "reason", "hole", *PLACE,
)  # fmt: skip
SPARE_ROWS = 2
MOST_ROWS = 30
NUMBER = re.compile(r"[+-]?(\d{1,9}([.,]\d{0,9})?|[.,]\d{1,9})")
TWO_READINGS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")


@dataclass(slots=True)
class Typed:
    """Everything in the form as text: rows by section, and what stands alone."""

    rows: dict[str, list[dict[str, str]]] = field(default_factory=lambda: {name: [] for name in FIELDS})
    single: dict[str, str] = field(default_factory=dict)

    def spare(self, more: int = SPARE_ROWS) -> None:
        """Empty rows at the end of every section."""
        for name, rows in self.rows.items():
            rows[:] = [row for row in rows if not is_empty(row)]
            rows += [dict.fromkeys(FIELDS[name], "") for _ in range(min(more, MOST_ROWS - len(rows)))]

    def add(self, section: str, **values: str) -> None:
        rows = self.rows[section]
        rows[:] = [row for row in rows if not is_empty(row)]
        rows.append(dict.fromkeys(FIELDS[section], "") | values)


def is_empty(row: dict[str, str]) -> bool:
    return not any(text.strip() for name, text in row.items() if name not in ALWAYS_FILLED)


def typed_in(form: Form) -> Typed:
    """The form as it came back."""
    typed = Typed(single={name: one(form, name) for name in SINGLE})
    for section, names in FIELDS.items():
        for place in range(MOST_ROWS):
            row = {name: one(form, f"{section}.{place}.{name}") for name in names}
            if any(f"{section}.{place}.{name}" in form for name in names):
                typed.rows[section].append(row)
    return typed


def typed_from(exposure: ShiftExposure) -> Typed:
    """The form of a shift that is recorded."""
    typed = Typed()
    for task in exposure.noise:
        typed.add("noise", what=task.what, level=_text(task.level_dba), hours=_text(task.hours), basis=task.basis,
                  worn="yes" if task.worn else "")  # fmt: skip
    for air in exposure.air:
        less = "<" if air.below else ""
        typed.add("air", what=air.what, minutes=_text(air.minutes), basis=air.basis, flow=_text(air.flow_l_min),
                  concentration=less + _text(air.concentration_mg_m3) if air.concentration_mg_m3 is not None else "",
                  mass=less + _text(air.mass_ug) if air.mass_ug is not None else "")  # fmt: skip
    for lift in exposure.lifting.lifts:
        typed.add("lift", what=lift.what, load=_text(lift.load_kg), heaviest=_text(lift.heaviest_kg), grip=lift.grip,
                  reach=_text(lift.reach_cm), start=_text(lift.start_height_cm), end=_text(lift.end_height_cm),
                  end_reach=_text(lift.end_reach_cm), turn=_text(lift.turn_deg), rate=_text(lift.lifts_per_minute))  # fmt: skip
    for task in exposure.vibration:
        typed.add("vibration", what=task.what, acceleration=_text(task.acceleration_m_s2), minutes=_text(task.minutes),
                  basis=task.basis)  # fmt: skip
    protector, place = exposure.protector, exposure.lifting.place
    typed.single = dict.fromkeys(SINGLE, "") | {
        "shift_h": _text(exposure.shift_h), "long_shift": exposure.long_shift, "remark": exposure.remark,
        "work_h": _text(exposure.lifting.work_h), "recovery_h": _text(exposure.lifting.recovery_h),
        "floor_friction": _text(place.floor_friction), "air_degc": _text(place.air_degc),
        "humidity": _text(None if place.humidity is None else round(100 * place.humidity, 9)),
    }  # fmt: skip
    typed.single |= {name: {True: "yes", False: "no", None: ""}[getattr(place, name)] for name in PLACE}
    if protector is not None:
        typed.single |= {"nrr": _text(protector.nrr_db), "kind": protector.kind, "method": protector.method,
                         "dual": "yes" if protector.dual else ""}  # fmt: skip
    return typed


def new_typed(settings: SafetySettings) -> Typed:
    """The form of a shift about which nothing is recorded."""
    single = {"shift_h": _text(settings.shift_h), "long_shift": settings.long_shift, "method": settings.protector_method,
              "kind": "muff", "floor_wet": "yes" if settings.floor_wet else ""}  # fmt: skip
    return Typed(single=dict.fromkeys(SINGLE, "") | single)


class _Reader:
    """Reads one form and notes every fault."""

    def __init__(self) -> None:
        self.faults: list[str] = []

    def number(self, text: str, where: str, *, needed: bool = True) -> float | None:
        plain = text.strip()
        if not plain:
            if needed:
                self.faults.append(f"{where}: {say('safety.fault.missing')}")
            return None
        if NUMBER.fullmatch(plain) is None or TWO_READINGS.fullmatch(plain):
            key = "safety.fault.two_readings" if TWO_READINGS.fullmatch(plain) else "safety.fault.number"
            self.faults.append(f"{where}: {say(key, text=plain[:30])}")
            return None
        return float(plain.replace(",", "."))

    def choice(self, text: str, choices: tuple[str, ...], where: str) -> str:
        if text not in choices:
            self.faults.append(f"{where}: {say('safety.fault.choice')}")
        return text


def exposure_of(typed: Typed, *, day: date, person: str, settings: SafetySettings) -> ShiftExposure:
    """The shift in the form; RefusedByRule with every entry that cannot be read."""
    read = _Reader()
    single = typed.single
    shift_h = read.number(single["shift_h"], say("safety.shift_h"))
    exposure = dict(
        noise=tuple(_noise(read, row, settings) for row in _filled(typed, "noise")),
        protector=_protector(read, single),
        air=tuple(_air(read, row, settings) for row in _filled(typed, "air")),
        lifting=_lifting(read, typed),
        vibration=tuple(_vibration(read, row, settings) for row in _filled(typed, "vibration")),
        long_shift=read.choice(single["long_shift"], ("none", "brief_scala"), say("safety.long_shift")),
        remark=" ".join(single["remark"].split()),
    )
    if read.faults:
        raise RefusedByRule(
            say("safety.fault.some", count=len(read.faults)), remedy=say("safety.fault.do"), reasons=tuple(read.faults)
        )
    return ShiftExposure(day=day, person=person, shift_h=shift_h, **exposure)


def _filled(typed: Typed, section: str) -> list[dict[str, str]]:
    return [row for row in typed.rows[section] if not is_empty(row)]


def _what(read: _Reader, row: dict[str, str], section: str) -> tuple[str, str]:
    """The name of an entry, and what a fault in it is called."""
    what = " ".join(row["what"].split())
    if not what:
        read.faults.append(f"{say(f'safety.{section}')}: {say('safety.fault.what')}")
    return what, f"{say(f'safety.{section}')}, {what or '?'}"


def _typical(what: str, values) -> object | None:
    return next((one for one in values if one.what.casefold() == what.casefold()), None)


def _noise(read: _Reader, row: dict[str, str], settings: SafetySettings) -> NoiseTask | None:
    what, where = _what(read, row, "noise")
    usual, basis = _typical(what, settings.typical_noise), row["basis"] or "measured"
    if not row["level"].strip() and usual is not None:
        level, basis = usual.level_dba, "typical"
    else:
        level = read.number(row["level"], f"{where}, {say('safety.level')}")
    hours = read.number(row["hours"], f"{where}, {say('safety.hours')}")
    read.choice(basis, BASES, where)
    return NoiseTask(what, level, hours, bool(row["worn"]), basis)


def _protector(read: _Reader, single: dict[str, str]) -> Protector | None:
    if not single["nrr"].strip():
        return None
    where = say("safety.protector")
    rating = read.number(single["nrr"], f"{where}, {say('safety.nrr')}")
    return Protector(rating, single["kind"], single["method"], bool(single["dual"]))


def _air(read: _Reader, row: dict[str, str], settings: SafetySettings) -> AirTask | None:
    what, where = _what(read, row, "air")
    usual, basis = _typical(what, settings.typical_silica), row["basis"] or "measured"
    texts = {name: row[name].strip() for name in ("concentration", "mass")}
    below = any(text.startswith("<") for text in texts.values())
    values = {
        name: read.number(text.removeprefix("<"), f"{where}, {say(f'safety.{name}')}", needed=text.startswith("<"))
        for name, text in texts.items()
    }
    flow = read.number(row["flow"], f"{where}, {say('safety.flow')}", needed=False)
    if usual is not None and not any((*texts.values(), row["flow"].strip())):
        values["concentration"], basis = usual.concentration_mg_m3, "typical"
    read.choice(basis, BASES, where)
    minutes = read.number(row["minutes"], f"{where}, {say('safety.minutes')}")
    return AirTask(what, minutes, values["concentration"], values["mass"], flow, below, basis)


def _lifting(read: _Reader, typed: Typed) -> Lifting:
    single = typed.single

    def alone(name: str) -> float | None:
        return read.number(single[name], f"{say('safety.lift')}, {say(f'safety.{name}')}", needed=False)

    humidity = alone("humidity")
    yes_no = {"yes": True, "no": False, "": None}
    place = Surroundings(
        floor_friction=alone("floor_friction"),
        air_degc=alone("air_degc"),
        humidity=None if humidity is None else humidity / 100,
        **{name: yes_no.get(single[name]) for name in PLACE},
    )
    lifts = tuple(_lift(read, row) for row in _filled(typed, "lift"))
    return Lifting(lifts, alone("work_h"), alone("recovery_h"), place)


def _lift(read: _Reader, row: dict[str, str]) -> Lift:
    what, where = _what(read, row, "lift")

    def value(name: str, *, needed: bool = True) -> float | None:
        return read.number(row[name], f"{where}, {say(f'safety.{name}')}", needed=needed)

    turn = value("turn", needed=False)
    return Lift(
        what=what,
        load_kg=value("load"),
        heaviest_kg=value("heaviest", needed=False),
        reach_cm=value("reach"),
        start_height_cm=value("start"),
        end_height_cm=value("end"),
        end_reach_cm=value("end_reach", needed=False),
        turn_deg=0.0 if turn is None else turn,
        lifts_per_minute=value("rate"),
        grip=read.choice(row["grip"] or "poor", ("good", "fair", "poor"), where),
    )


def _vibration(read: _Reader, row: dict[str, str], settings: SafetySettings) -> VibrationTask:
    what, where = _what(read, row, "vibration")
    usual, basis = _typical(what, settings.typical_vibration), row["basis"] or "measured"
    if not row["acceleration"].strip() and usual is not None:
        acceleration, basis = usual.acceleration_m_s2, "typical"
    else:
        acceleration = read.number(row["acceleration"], f"{where}, {say('safety.acceleration')}")
    read.choice(basis, BASES, where)
    return VibrationTask(what, acceleration, read.number(row["minutes"], f"{where}, {say('safety.minutes')}"), basis)


def chosen(text: str, choices: list, what: str):
    """The entry a button of the form names by its place."""
    if not text.isdecimal() or int(text) >= len(choices):
        raise ImpossibleValue(f"{what}: {say('fault.broken')}", remedy=say("fault.broken.do"))
    return choices[int(text)]


def _text(value: float | None) -> str:
    return "" if value is None else f"{value:.12g}"
