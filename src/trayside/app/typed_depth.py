"""A depth as people type it: a number in the yard's unit, or with its own: 123.4, 123,4, 123.4 m, 405 ft."""

from __future__ import annotations

import re

from trayside.core.units import metres_from_feet, whole_mm
from trayside.errors import ImpossibleValue

DEEPEST_M = 15_000.0
"""No hole was ever cored deeper (from memory); the tables of a yard folder have the same limit."""
TYPED = re.compile(r"(?P<number>\d{1,6}(?:[.,]\d{0,6})?|[.,]\d{1,6})\s*(?P<unit>[a-z']*)", re.IGNORECASE | re.ASCII)
UNITS = {"m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "ft": "ft", "feet": "ft", "foot": "ft",
         "'": "ft"}  # fmt: skip
REMEDY = "Type a depth like 123.4, 123.4 m or 405 ft"


def typed_depth_mm(text: str, *, unit: str) -> int:
    """The depth in whole millimetres; without a unit in the text the yard's `unit` ('m' or 'ft') is meant."""
    shown = " ".join(text.split())[:40]
    found = TYPED.fullmatch(text.strip())
    if found is None:
        raise ImpossibleValue(f"{shown!r} is not a depth" if shown else "no depth was typed", remedy=REMEDY)
    named = found["unit"].casefold()
    if named and named not in UNITS:
        raise ImpossibleValue(f"{shown!r} has a unit that is not known here", remedy=REMEDY)
    if re.search(r",\d{3}$", found["number"]):
        raise ImpossibleValue(f"{shown!r} can be read in two ways", remedy="Type the decimals after a point")
    value = float(found["number"].replace(",", "."))
    depth_m = metres_from_feet(depth_ft=value) if UNITS.get(named, unit) == "ft" else value
    if depth_m > DEEPEST_M:
        raise ImpossibleValue(f"{shown!r} is deeper than any hole", remedy=REMEDY)
    return int(whole_mm(depth_m=depth_m))
