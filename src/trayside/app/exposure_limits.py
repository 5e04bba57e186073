"""Whose limits a yard holds its shifts against, and how a figure stands under each of them, in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from trayside.core.noise_tables import NOISE_LIMITS, PROTECTED_LIMIT
from trayside.core.planning_aid import Limit
from trayside.core.silica import SILICA_LIMITS
from trayside.core.sources import Source
from trayside.core.vibration import VIBRATION_LIMITS
from trayside.model.exposure_record import AirTask, NoiseTask, VibrationTask
from trayside.model.safety_settings import OwnLimit, SafetySettings

Grade = Literal["above", "action", "advised", "below", "none"]
GRADES: tuple[Grade, ...] = ("above", "action", "advised", "below", "none")
"""The gravest first: above a limit, an action value reached, a recommendation reached, below all, nothing entered."""
RULE_WORDS = {"osha": "OSHA", "niosh": "NIOSH", "lex8": "L_EX,8h"}
OWN = "as entered in this yard's rules"


@dataclass(frozen=True, slots=True)
class Held:
    """A figure held against one limit; `used` is the limit as used today, after the adjustment for a long shift."""

    limit: Limit
    used: float
    value: float
    reached: bool
    whose: str
    unit: str

    @property
    def name(self) -> str:
        """The limit's name without the rule it belongs to."""
        rule, _, rest = self.limit.name.partition(" ")
        return (rest if rule in RULE_WORDS else self.limit.name).replace(", with", " with")

    @property
    def is_action(self) -> bool:
        return "action" in self.limit.name


@dataclass(frozen=True, slots=True)
class Verdict:
    """How the figure stands under one jurisdiction, with every limit of it."""

    whose: str
    grade: Grade
    says: str
    held: tuple[Held, ...]


@dataclass(frozen=True, slots=True)
class Hazard:
    """One hazard of the shift: its gravest grade, its figure in short, how it stands, and what is odd."""

    name: str
    grade: Grade
    figure: str
    says: tuple[str, ...]
    verdicts: tuple[Verdict, ...] = ()
    flags: tuple[str, ...] = ()


def noise_limits(settings: SafetySettings) -> tuple[Limit, ...]:
    shown = [
        limit
        for limit in NOISE_LIMITS
        if limit.jurisdiction in settings.noise_jurisdictions and limit.name.split()[0] in settings.noise_rules
    ]
    own = [one for one in settings.own_limits if one.quantity.partition(" ")[2] in settings.noise_rules]
    return (*shown, *(_own(one, prefix=f"{one.quantity.partition(' ')[2]} ") for one in own))


def protected_limits(settings: SafetySettings) -> tuple[Limit, ...]:
    """Held against the level behind the protector, where L_EX,8h is shown."""
    shown = "lex8" in settings.noise_rules and PROTECTED_LIMIT.jurisdiction in settings.noise_jurisdictions
    return (PROTECTED_LIMIT,) if shown else ()


def silica_limits(settings: SafetySettings) -> tuple[Limit, ...]:
    shown = [limit for limit in SILICA_LIMITS if limit.jurisdiction in settings.silica_jurisdictions]
    return (*shown, *(_own(one) for one in settings.own_limits if one.quantity == "silica"))


def vibration_limits(settings: SafetySettings) -> tuple[Limit, ...]:
    shown = [limit for limit in VIBRATION_LIMITS if limit.jurisdiction in settings.vibration_jurisdictions]
    return (*shown, *(_own(one) for one in settings.own_limits if one.quantity == "vibration"))


def _own(one: OwnLimit, *, prefix: str = "") -> Limit:
    source = Source(one.document, OWN, "seen")
    return Limit(f"{prefix}{one.name}", one.jurisdiction, one.value, one.reached, one.binding, source, one.date, "seen")


def whose(limit: Limit) -> str:
    """The jurisdiction as a sentence says it, for noise with the body whose rule it is."""
    rule = limit.name.split()[0]
    if rule in ("osha", "niosh"):
        return f"{limit.jurisdiction} ({RULE_WORDS[rule]})"
    country, _, part = limit.jurisdiction.partition(", ")
    return f"{country} ({part})" if country == "United States" and part else limit.jurisdiction.replace(", ", " and ")


def held(limit: Limit, value: float, unit: str, *, used: float | None = None, reached: bool | None = None) -> Held:
    """The figure against the limit itself, or against one that was brought down and judged elsewhere."""
    used_now = limit.value if used is None else used
    return Held(limit, used_now, value, limit.is_reached_by(value) if reached is None else reached, whose(limit), unit)


def verdicts(against: Iterable[Held]) -> tuple[Verdict, ...]:
    """One verdict for each jurisdiction, the gravest first."""
    ordered = sorted(against, key=lambda one: one.whose)
    found = [_verdict(name, tuple(group)) for name, group in groupby(ordered, key=lambda one: one.whose)]
    return tuple(sorted(found, key=lambda one: GRADES.index(one.grade)))


def _verdict(name: str, against: tuple[Held, ...]) -> Verdict:
    rising = tuple(sorted(against, key=lambda one: (one.used, not one.is_action)))
    reached = [one for one in rising if one.reached]
    if not reached:
        lowest = rising[0]
        return Verdict(name, "below", f"{_below(lowest)} the {lowest.name} of {lowest.used:g} {lowest.unit}", rising)
    limits = [one for one in reached if one.limit.binding and not one.is_action]
    actions = [one for one in reached if one.limit.binding and one.is_action]
    one = (limits or actions or reached)[-1]
    grade: Grade = "above" if limits else "action" if actions else "advised"
    return Verdict(name, grade, f"{one.limit.reached} the {one.name} of {one.used:g} {one.unit}", rising)


def _below(one: Held) -> str:
    """A figure may stand exactly on a limit that only what is above it breaks."""
    return "below" if one.limit.reached == "at or above" else "not above"


def worst(grades: Sequence[Grade]) -> Grade:
    return min(grades, key=GRADES.index, default="none")


def in_words(found: Sequence[Verdict]) -> str:
    """'Above the limit of 90 dBA under United States (OSHA); below the action level of ... under A, B'."""
    alike: dict[str, list[str]] = {}
    for one in found:
        alike.setdefault(one.says, []).append(one.whose)
    text = "; ".join(f"{says} under {', '.join(names)}" for says, names in alike.items())
    return text[:1].upper() + text[1:]


def typical_flags(tasks: Iterable[NoiseTask | AirTask | VibrationTask]) -> list[str]:
    """One sentence for every figure that nobody measured."""
    return [f"{task.what}: a typical value, not measured" for task in tasks if task.basis == "typical"]


def lower_first(text: str) -> str:
    return text[:1].lower() + text[1:]
