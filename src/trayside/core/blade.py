"""The blade on the saw: speed at its edge, rpm against the stamp, how deep it is set, and its water.

The one figure that is never worked out is the highest rpm: it is read from the blade. Printed tables of it are rounded and
do not follow one surface speed, so a stamp above the spindle's rpm is needed, and no stamp means no start.

Surface speeds wanted for a rock, flows of water and clearances are habits of the trade: settings, with their sources.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.number_lists import one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.refusals import Floats, numbers, plain, together
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

FASTEST_MARK_M_S = 100.0  # highest of the preferred speeds 50, 63, 80, 100 m/s (from memory)
_SPEED_NOTE = "typical, no law"


@dataclass(frozen=True, slots=True)
class SpeedWindow:
    """Surface speeds usual for a class of rock: an editable setting."""

    rock: str
    low_m_s: float
    high_m_s: float
    source: Source


SPEED_WINDOWS = (
    SpeedWindow("granite", 25.0, 35.0, Source("chinadiatools.com, 19 January 2026", _SPEED_NOTE, "seen")),
    SpeedWindow("concrete", 48.0, 51.0, Source("Masonry Magazine, November 2004", f"p. 26, {_SPEED_NOTE}", "seen")),
    SpeedWindow("marble, limestone", 40.0, 60.0, Source("trade tables", _SPEED_NOTE, "from memory")),
    SpeedWindow("abrasive sandstone", 40.0, 60.0, Source("trade tables", _SPEED_NOTE, "from memory")),
    SpeedWindow("quartzite, very hard", 20.0, 30.0, Source("trade tables", _SPEED_NOTE, "from memory")),
)


@dataclass(frozen=True, slots=True)
class StartCheck:
    """Whether the blade may run on this spindle. `reasons` block; `flags` are odd and do not."""

    may_start: bool
    reasons: tuple[str, ...]
    flags: tuple[str, ...]
    new_speed_m_s: float | None  # at the diameter the stamp is for
    working_speed_m_s: float | None  # at today's diameter
    says: str
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class BladeSetting:
    """Where to set the blade for one core size."""

    reach_mm: float  # what the blade can reach below the flange
    needed_mm: float  # core and clearance
    below_cradle_mm: float
    lowered_by_mm: float  # against a new blade, to make up for wear
    fits: bool
    says: str
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class WaterSettings:
    """Flow wanted: habit of the trade; the maker's figure comes first."""

    low_l_min: float = 3.0
    high_l_min: float = 5.0
    hottest_degc: float = 60.0
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "bladediamondpro.com", "stationary wet saws 3-5 L/min, below 60 degC: typical, no law", "seen"
    )


DEFAULT_WATER = WaterSettings()


@dataclass(frozen=True, slots=True)
class WaterCheck:
    """too little, too much, right or unknown; whether to cut; why, in sentences."""

    state: str
    may_cut: bool
    because: tuple[str, ...]
    source: Source
    caution: str = PLANNING_AID


def surface_speed(*, blade_diameter_mm: ArrayLike, spindle_rpm: ArrayLike) -> float | Floats:
    """Speed of the blade's edge.

    pi D n / 60. For the limit use the diameter of the new blade, for the work today's.

    Parameters
    ----------
    blade_diameter_mm : float or array (n,) [mm]
        Outer diameter.
    spindle_rpm : float or array (n,) [rpm]
        Turns a minute.

    Returns
    -------
    float or array (n,) [m_s]

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0 or the rpm negative.

    Valid for: any round blade.
    Source: speed on a circle (derived).
    Checked by: tests/published/test_blade_published.py, tests/unit/core/test_blade.py
    """
    diameter, turns = together(
        blade_diameter_mm=numbers(blade_diameter_mm, "blade_diameter_mm", above=0.0),
        spindle_rpm=numbers(spindle_rpm, "spindle_rpm", at_least=0.0),
    )
    return plain(np.pi * diameter / 1000.0 * turns / 60.0)


def rpm_for_speed(*, blade_diameter_mm: ArrayLike, speed_m_s: ArrayLike) -> float | Floats:
    """Turns a minute that give a surface speed. Never a limit: the limit is the stamp.

    60 v / (pi D).

    Parameters
    ----------
    blade_diameter_mm : float or array (n,) [mm]
        Outer diameter.
    speed_m_s : float or array (n,) [m_s]
        Surface speed.

    Returns
    -------
    float or array (n,) [rpm]

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0 or the speed negative.

    Valid for: any round blade.
    Source: speed on a circle (derived).
    Checked by: tests/published/test_blade_published.py
    """
    diameter, speed = together(
        blade_diameter_mm=numbers(blade_diameter_mm, "blade_diameter_mm", above=0.0),
        speed_m_s=numbers(speed_m_s, "speed_m_s", at_least=0.0),
    )
    return plain(60.0 * speed / (np.pi * diameter / 1000.0))


def check_start(
    *,
    spindle_rpm: float | None,
    stamped_rpm: float | None,
    new_diameter_mm: float,
    wear_mm: float = 0.0,
    flange_diameter_mm: float | None = None,
    window: SpeedWindow | None = None,
) -> StartCheck:
    """Whether a blade may run on a spindle.

    Blocked when the spindle turns faster than the stamp, or when either is unknown. Flagged, not blocked: a surface speed
    outside what is usual for the rock, a stamp too high to be believed, a flange below a third of the blade.

    Parameters
    ----------
    spindle_rpm : float or None [rpm]
        Turns a minute of the spindle; None when not known.
    stamped_rpm : float or None [rpm]
        Highest rpm stamped on the blade; None when it cannot be read.
    new_diameter_mm : float [mm]
        Diameter of the blade when new.
    wear_mm : float [mm]
        Height worn off the segments, on the radius.
    flange_diameter_mm : float or None [mm]
        Diameter of the flanges.
    window : SpeedWindow or None
        Speeds usual for the rock.

    Returns
    -------
    StartCheck
        .may_start, .reasons, .flags, .new_speed_m_s [m_s], .working_speed_m_s [m_s], .says, .caution

    Raises
    ------
    ImpossibleValue
        When a number is impossible, or the wear is as large as the radius.

    Valid for: one blade on a fixed-speed spindle; all other checks of the pre-start card still apply.
    Source: WAC 296-806-40512 and WAC 296-155-367(3) (seen); EN 13236 marking (seen second-hand); flange rule of WAC
        296-307-19012 is written for abrasive wheels (seen).
    Checked by: tests/published/test_blade_published.py, tests/unit/core/test_blade.py
    """
    new = one_number(new_diameter_mm, "new_diameter_mm", above=0.0)
    now = _worn_diameter(new, wear_mm)
    spindle = None if spindle_rpm is None else one_number(spindle_rpm, "spindle_rpm", above=0.0)
    stamp = None if stamped_rpm is None else one_number(stamped_rpm, "stamped_rpm", above=0.0)
    reasons, flags = [], []
    if stamp is None:
        reasons.append("The highest rpm of the blade is not known: do not mount a blade whose stamp cannot be read")
    if spindle is None:
        reasons.append("The rpm of the spindle is not known: read its plate or measure it")
    if spindle is not None and stamp is not None and spindle > stamp:
        reasons.append(f"The spindle turns at {spindle:g} rpm, the blade is stamped {stamp:g} rpm: use another blade")
    if stamp is not None and surface_speed(blade_diameter_mm=new, spindle_rpm=stamp) > FASTEST_MARK_M_S * 1.02:
        flags.append(f"A stamp of {stamp:g} rpm on {new:g} mm would be above {FASTEST_MARK_M_S:g} m/s: read it again")
    working = None if spindle is None else float(surface_speed(blade_diameter_mm=now, spindle_rpm=spindle))
    if working is not None and window is not None and not window.low_m_s <= working <= window.high_m_s:
        side = "above" if working > window.high_m_s else "below"
        flags.append(
            f"{working:.1f} m/s is {side} the {window.low_m_s:g} to {window.high_m_s:g} m/s usual for {window.rock}"
        )
    if flange_diameter_mm is not None:
        flange = one_number(flange_diameter_mm, "flange_diameter_mm", above=0.0)
        if flange >= now:
            raise ImpossibleValue(
                f"the flange ({flange:g} mm) is as large as the blade ({now:g} mm)",
                where="flange_diameter_mm",
                remedy="Check both diameters",
            )
        if flange < new / 3.0:
            flags.append(
                f"The flange ({flange:g} mm) is less than a third of the blade ({new / 3.0:.1f} mm): that rule is written "
                "for abrasive wheels, so follow the maker's flange size"
            )
    says = "This blade may run on this spindle." if not reasons else f"Do not start. {'. '.join(reasons)}."
    first = None if spindle is None else float(surface_speed(blade_diameter_mm=new, spindle_rpm=spindle))
    return StartCheck(not reasons, tuple(reasons), tuple(flags), first, working, says)


def set_blade(
    *,
    core_diameter_mm: float,
    new_diameter_mm: float,
    flange_diameter_mm: float,
    wear_mm: float = 0.0,
    below_cradle_mm: float = 4.0,
    clearance_mm: float = 3.0,
) -> BladeSetting:
    """How deep to set the blade for a core.

    The edge goes just below the line on which the core lies, so that the cut is complete; the flange must stay clear of
    the core. Reach is half of blade less flange. Too shallow leaves a bridge that breaks off unevenly; too deep wears the
    cradle, throws the pieces and loads the blade.

    Parameters
    ----------
    core_diameter_mm : float [mm]
        Diameter of the core.
    new_diameter_mm : float [mm]
        Diameter of the blade when new.
    flange_diameter_mm : float [mm]
        Diameter of the flanges.
    wear_mm : float [mm]
        Height worn off the segments, on the radius.
    below_cradle_mm : float [mm]
        How far the edge goes below the core: a setting.
    clearance_mm : float [mm]
        Least gap of flange and core: a setting.

    Returns
    -------
    BladeSetting
        .reach_mm [mm], .needed_mm [mm], .below_cradle_mm [mm], .lowered_by_mm [mm], .fits, .says, .caution

    Raises
    ------
    ImpossibleValue
        When a number is impossible, or the flange is as large as the worn blade.

    Valid for: a blade above the core that cuts it in one pass.
    Source: reach (D - d) / 2 (derived); depth below the cradle and clearance are common practice, no source.
    Checked by: tests/published/test_blade_published.py, tests/unit/core/test_blade.py
    """
    core = one_number(core_diameter_mm, "core_diameter_mm", above=0.0)
    new = one_number(new_diameter_mm, "new_diameter_mm", above=0.0)
    flange = one_number(flange_diameter_mm, "flange_diameter_mm", above=0.0)
    below = one_number(below_cradle_mm, "below_cradle_mm", at_least=0.0)
    gap = one_number(clearance_mm, "clearance_mm", at_least=0.0)
    now = _worn_diameter(new, wear_mm)
    if flange >= now:
        raise ImpossibleValue(
            f"the flange ({flange:g} mm) is as large as the blade ({now:g} mm)",
            where="flange_diameter_mm",
            remedy="Check both diameters",
        )
    reach, needed = (now - flange) / 2.0, core + below + gap
    fits = reach >= needed
    if below == 0.0:
        says = "Set below the line of the cradle, or a bridge of rock stays."
    elif fits:
        says = f"Set the edge {below:g} mm below the line of the cradle, {wear_mm:g} mm lower than with a new blade."
    else:
        says = f"The blade reaches {reach:.1f} mm, {needed:.1f} mm are needed: use a larger blade or a smaller flange."
    return BladeSetting(reach, needed, below, float(wear_mm), fits, says)


def check_water(
    *,
    litres_per_minute: float | None,
    dust_seen: bool = False,
    mist_seen: bool = False,
    fines_washed_off: bool = False,
    gritty: bool = False,
    water_degc: float | None = None,
    settings: WaterSettings = DEFAULT_WATER,
) -> WaterCheck:
    """Whether the blade gets the right water, and what too little or too much does.

    What is seen comes before the flow: visible dust is too little at any flow, mist or fines washed off the core too much.

    Parameters
    ----------
    litres_per_minute : float or None
        Flow at the blade; None when not measured.
    dust_seen : bool
        Dust leaves the cut.
    mist_seen : bool
        A mist stands round the blade.
    fines_washed_off : bool
        Fines of broken core are carried away, or the tray is flooded.
    gritty : bool
        Recirculated water feels gritty or thick.
    water_degc : float or None [degc]
        Temperature of recirculated water.
    settings : WaterSettings
        Flow wanted.

    Returns
    -------
    WaterCheck
        .state, .may_cut, .because, .source, .caution

    Raises
    ------
    ImpossibleValue
        When the flow is negative.

    Valid for: bench saws with water on the blade; the maker's flow comes first.
    Source: CPWR/OSHA Table 1 tips, March 2017, and WorkSafe Queensland (seen): enough that no dust is seen; flows are
        settings; too much water: common practice, no source.
    Checked by: tests/unit/core/test_blade.py
    """
    flow = None if litres_per_minute is None else one_number(litres_per_minute, "litres_per_minute", at_least=0.0)
    hot = None if water_degc is None else one_number(water_degc, "water_degc")
    low, high = settings.low_l_min, settings.high_l_min
    little, much, because = dust_seen, mist_seen or fines_washed_off, []
    if dust_seen:
        because.append("Dust leaves the cut: stop, more water, or water that reaches the cut")
    if flow is not None and flow < low:
        little = True
        because.append(
            f"{flow:g} L/min is below {low:g}: the blade overheats, glazes, may lose segments, and dust rises"
        )
    if flow is not None and flow > high:
        much = True
        because.append(f"{flow:g} L/min is above {high:g}: mist that is breathed in, fines washed off the sample")
    if mist_seen:
        because.append("Mist carries fine rock to the lungs: less flow or pressure, or a screen")
    if fines_washed_off:
        because.append("Fines are washed out of the sample: less flow on broken core, or another method than sawing")
    if gritty:
        because.append(
            "The water is gritty: change it, it carries grade from one sample to the next and wears the pump"
        )
    if hot is not None and hot > settings.hottest_degc:
        because.append(f"The water has {hot:g} degC, above {settings.hottest_degc:g}: change it or let it cool")
    if little:
        state = "too little"
    elif much:
        state = "too much"
    else:
        state = "unknown" if flow is None else "right"
    if flow == 0.0:
        because.append("No water, no cut")
    if state == "unknown":
        because.append("The flow was not measured: hold a can under the nozzle for a minute")
    may_cut = not dust_seen and flow != 0.0 and not gritty
    return WaterCheck(state, may_cut, tuple(because), settings.source)


def water_volume(*, litres_per_minute: float, cutting_min: float) -> float:
    """Water for so many minutes of cutting, in cubic metres.

    Flow times time.

    Parameters
    ----------
    litres_per_minute : float
        Flow at the blade.
    cutting_min : float [min]
        Minutes of cutting.

    Returns
    -------
    float
        Cubic metres.

    Raises
    ------
    ImpossibleValue
        When a number is negative.

    Valid for: fresh water, not recirculated.
    Source: derived.
    Checked by: tests/published/test_blade_published.py
    """
    flow = one_number(litres_per_minute, "litres_per_minute", at_least=0.0)
    return flow * one_number(cutting_min, "cutting_min", at_least=0.0) / 1000.0


def _worn_diameter(new_mm: float, wear_mm: float) -> float:
    wear = one_number(wear_mm, "wear_mm", at_least=0.0)
    if 2.0 * wear >= new_mm or not math.isfinite(wear):
        raise ImpossibleValue(
            f"{wear:g} mm worn off a blade of {new_mm:g} mm",
            where="wear_mm",
            remedy="Give the wear of the segment height",
        )
    return new_mm - 2.0 * wear
