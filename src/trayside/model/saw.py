"""Saws and blades of the yard, as `saws.csv` and `blades.csv` list them, and which saw a cut method asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

SawKind = Literal["automatic", "manual", "splitter"]
SAW_KINDS: tuple[SawKind, ...] = ("automatic", "manual", "splitter")
Need = Literal["", "saw", "automatic", "manual", "splitter"]
"""What a row of the cut sheet asks for: no saw at all, any saw, or one of a kind."""
BROKEN = ("blocky", "rubble", "clay")
"""Core that an automatic carriage throws about or wedges on (common practice, no source)."""

Register = Mapping[str, "Saw"]


@dataclass(frozen=True, slots=True)
class Saw:
    """One saw or splitter. An rpm that is not known keeps it from starting; the flows are the maker's, when known."""

    saw: str
    kind: SawKind
    spindle_rpm: float | None = None
    largest_blade_mm: float | None = None
    flange_diameter_mm: float | None = None
    water: str | None = None
    water_low_l_min: float | None = None
    water_high_l_min: float | None = None
    remark: str | None = None

    @property
    def has_blade(self) -> bool:
        return self.kind != "splitter"


@dataclass(frozen=True, slots=True)
class Blade:
    """One blade. `stamped_rpm` is read off the blade and never worked out; without it the blade does not run."""

    blade: str
    blade_type: str
    diameter_mm: float
    segment_height_mm: float
    stamped_rpm: float | None = None
    segments: int | None = None
    segment_length_mm: float | None = None
    segment_width_mm: float | None = None
    kerf_mm: float | None = None
    bond: str | None = None
    price: float | None = None
    lead_days: float | None = None
    remark: str | None = None


def need_of(
    method: str, portion: str = "half", *, kinds: Mapping[str, SawKind], without_saw: tuple[str, ...]
) -> Need:
    """Which saw a method asks for. A method that nobody described counts as sawing: that side is the safe one."""
    if portion == "whole" or method in without_saw or not method:
        return ""
    return kinds.get(method, "saw")


def fits_need(kind: SawKind, need: Need) -> bool:
    """Whether a saw of this kind does it. Sound core may be sawn by hand; other core never on a carriage."""
    if need in ("", "saw"):
        return need == "" or kind != "splitter"
    return kind == need or (need == "automatic" and kind == "manual")
