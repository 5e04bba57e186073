"""Core and hole diameters by size code: defaults only, the millimetres measured in the yard decide."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

GSQ_CORE_SIZE = Source(
    document="Geological Survey of Queensland vocabulary 'Core Size' (linked.data.gov.au/def/core-size, CC BY 4.0)",
    locator="file core-size.ttl, modified 2024-08-16: inside diameter (core) and outside diameter (hole) of the bit",
    grade="seen",
)


@dataclass(frozen=True, slots=True)
class CoreSize:
    """A size code with the diameter of the core and of the hole it leaves."""

    code: str
    core_diameter_mm: float
    hole_diameter_mm: float
    source: Source


CORE_SIZES: tuple[CoreSize, ...] = tuple(
    CoreSize(code, core_diameter_mm, hole_diameter_mm, GSQ_CORE_SIZE)
    for code, core_diameter_mm, hole_diameter_mm in (
        ("AQ", 27.0, 48.0),
        ("BQ", 36.5, 60.0),
        ("NQ", 47.6, 75.7),
        ("HQ", 63.5, 96.0),
        ("HQ3", 61.1, 96.0),
        ("PQ", 85.0, 122.6),
        ("PQ3", 83.0, 122.6),
        ("CHD 76", 43.5, 75.7),
        ("CHD 101", 63.5, 101.3),
        ("CHD 134", 85.0, 134.0),
    )
)


def core_size(code: str) -> CoreSize:
    """The default size with this code; spaces and capitals do not matter, anything else is refused."""
    wanted = "".join(code.split()).upper()
    for size in CORE_SIZES:
        if size.code.replace(" ", "") == wanted:
            return size
    raise ImpossibleValue(
        f"no default for core size {code!r}",
        where="core size",
        remedy=f"Give its core and hole diameter in millimetres, or use one of {', '.join(s.code for s in CORE_SIZES)}",
    )
