"""A place round the core as people type it: millimetres of arc or degrees, minus for anticlockwise: 12 mm, -5 mm, 30°."""

from __future__ import annotations

import re

from trayside.core.cut_mark import turn_deg
from trayside.errors import ImpossibleValue

TYPED = re.compile(
    r"(?P<sign>[+-]?)\s*(?P<number>\d{1,4}(?:[.,]\d{0,3})?)\s*(?P<unit>mm|°|deg|degrees)?", re.IGNORECASE
)
REMEDY = "Type it like 12 mm, -5 mm or 30°; minus is anticlockwise looking downhole"


def typed_turn_deg(text: str, *, core_diameter_mm: float) -> float:
    """The angle from the orientation line; a number without a unit is refused, for both are in use."""
    shown = " ".join(text.split())[:40]
    found = TYPED.fullmatch(text.strip().replace("\u2212", "-"))
    if found is None:
        raise ImpossibleValue(f"{shown!r} is no place round the core" if shown else "no place was typed", remedy=REMEDY)
    value = float(found["number"].replace(",", ".")) * (-1.0 if found["sign"] == "-" else 1.0)
    if found["unit"] is None and value != 0.0:
        raise ImpossibleValue(f"{shown!r} does not say mm or degrees", remedy=REMEDY)
    angle = (
        float(turn_deg(core_diameter_mm=core_diameter_mm, arc_mm=value))
        if (found["unit"] or "").lower() == "mm"
        else value
    )
    if abs(angle) > 360.0:
        raise ImpossibleValue(f"{shown!r} goes round the core more than once", remedy=REMEDY)
    return angle


def typed_number(text: str, what: str, *, low: float, high: float) -> float:
    """A plain number in a range, for angles that have their own field."""
    shown = " ".join(text.split())[:40]
    try:
        value = float(shown.replace(",", ".").removesuffix("°").strip())
    except ValueError:
        raise ImpossibleValue(
            f"{what}: {shown!r} is not a number", remedy=f"Type a number from {low:g} to {high:g}"
        ) from None
    if not low <= value <= high:
        raise ImpossibleValue(f"{what}: {shown} is not between {low:g} and {high:g}", remedy="Read the angle again")
    return value
