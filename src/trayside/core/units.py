"""Feet, pounds, ounces and grade units, and the one place where a depth becomes whole millimetres.

Every factor is an exact fraction, so that a chain of conversions can be compared with `==`. Floats are made only at the
end: the value is multiplied by the numerator and divided by the denominator.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import numbers, plain
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

UCUM = Source(
    document="UCUM 2.2 (17 June 2024), ucum-essence.xml, github ucum-org/ucum commit d060c6d3",
    locator="unit definitions",
    grade="seen",
)
UCUM_PREFIX = Source(document="UCUM 2.2, table of prefixes", locator="m = 10*-3, u = 10*-6", grade="from memory")
FOOT_NOTICE = Source(
    document="85 FR 62698, 5 October 2020 (NIST and NOAA), end of the US survey foot",
    locator="foot = 0.3048 m exactly",
    grade="seen",
)


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: its UCUM code, what it measures, its exact size in the base unit (m, g or a fraction of one)."""

    code: str
    measures: str
    size: Fraction
    source: Source


GRAIN_G = Fraction("0.06479891")
POUND_G = 7000 * GRAIN_G
TROY_OUNCE_G = 20 * 24 * GRAIN_G
SHORT_TON_G = 20 * 100 * POUND_G
FOOT_M = 12 * Fraction("0.0254")
US_SURVEY_FOOT_M = Fraction(1200, 3937)

UNITS: dict[str, Unit] = {
    unit.code: unit
    for unit in (
        Unit("m", "length", Fraction(1), UCUM),
        Unit("cm", "length", Fraction(1, 100), UCUM),
        Unit("mm", "length", Fraction(1, 1000), UCUM_PREFIX),
        Unit("[in_i]", "length", Fraction("0.0254"), UCUM),
        Unit("[ft_i]", "length", FOOT_M, FOOT_NOTICE),
        Unit("[ft_us]", "length", US_SURVEY_FOOT_M, UCUM),
        Unit("g", "mass", Fraction(1), UCUM),
        Unit("kg", "mass", Fraction(1000), UCUM),
        Unit("mg", "mass", Fraction(1, 1000), UCUM_PREFIX),
        Unit("ug", "mass", Fraction(1, 1_000_000), UCUM_PREFIX),
        Unit("t", "mass", Fraction(1_000_000), UCUM),
        Unit("[gr]", "mass", GRAIN_G, UCUM),
        Unit("[lb_av]", "mass", POUND_G, UCUM),
        Unit("[oz_av]", "mass", POUND_G / 16, UCUM),
        Unit("[oz_tr]", "mass", TROY_OUNCE_G, UCUM),
        Unit("[ston_av]", "mass", SHORT_TON_G, UCUM),
        Unit("%", "fraction", Fraction(1, 10**2), UCUM),
        Unit("[ppth]", "fraction", Fraction(1, 10**3), UCUM),
        Unit("[ppm]", "fraction", Fraction(1, 10**6), UCUM),
        Unit("[ppb]", "fraction", Fraction(1, 10**9), UCUM),
        Unit("[pptr]", "fraction", Fraction(1, 10**12), UCUM),
    )
}

# Codes people write that are close to a UCUM code, and the code they most likely mean.
MEANT = {
    "ppm": "[ppm]",
    "ppb": "[ppb]",
    "pct": "%",
    "percent": "%",
    "g/T": "g/t",
    "gpt": "g/t",
    "ppt": "[pptr] or [ppth]",
}
TON_NOT_NAMED = {"oz/t", "oz/ton", "opt", "ozt/t", "oz/T"}

# No hole and no yard reaches further; a larger number is an entry in another unit.
DEPTH_LIMIT_M = 20_000.0


def metres_from_feet(*, depth_ft: ArrayLike) -> Any:
    """Metres for a depth or length in international feet.

    One foot is 0.3048 m exactly. The US survey foot is for old grid coordinates, not for depths: over 1,000 ft the
    two differ by 0.6 mm.

    Parameters
    ----------
    depth_ft : float or array (n,) [ft]
        Depth or length in feet.

    Returns
    -------
    float or array (n,) [m]

    Raises
    ------
    ImpossibleValue
        When a value is missing or infinite.

    Valid for: international feet.
    Source: 85 FR 62698, 5 October 2020, foot = 0.3048 m exactly (seen); UCUM 2.2 ucum-essence.xml, [ft_i] (seen).
    Checked by: tests/published/test_units_published.py, tests/unit/core/test_units.py
    """
    return plain(numbers(depth_ft, "depth_ft") * FOOT_M.numerator / FOOT_M.denominator)


def feet_from_metres(*, depth_m: ArrayLike) -> Any:
    """International feet for a depth or length in metres.

    One foot is 0.3048 m exactly.

    Parameters
    ----------
    depth_m : float or array (n,) [m]
        Depth or length in metres.

    Returns
    -------
    float or array (n,) [ft]

    Raises
    ------
    ImpossibleValue
        When a value is missing or infinite.

    Valid for: international feet.
    Source: 85 FR 62698, 5 October 2020, foot = 0.3048 m exactly (seen); UCUM 2.2 ucum-essence.xml, [ft_i] (seen).
    Checked by: tests/published/test_units_published.py, tests/unit/core/test_units.py
    """
    return plain(numbers(depth_m, "depth_m") * FOOT_M.denominator / FOOT_M.numerator)


def whole_mm(*, depth_m: ArrayLike) -> Any:
    """A depth or length as whole millimetres, the form in which depths rest.

    Rounded to the nearest millimetre, a half to the even one. What counts as a half is the decimal number, not its
    nearest binary neighbour: 0.5015 m gives 502 mm on every machine.

    Parameters
    ----------
    depth_m : float or array (n,) [m]
        Depth or length in metres, not beyond 20,000 m either way.

    Returns
    -------
    int or int64 array (n,) [mm]

    Raises
    ------
    ImpossibleValue
        When a value is missing, infinite or beyond 20,000 m.

    Valid for: depths and lengths in a hole or a yard.
    Source: site rule (depths at rest are whole millimetres).
    Checked by: tests/unit/core/test_units.py, tests/properties/test_units_properties.py
    """
    metres = numbers(depth_m, "depth_m", at_least=-DEPTH_LIMIT_M, at_most=DEPTH_LIMIT_M)
    millimetres = np.rint(np.round(metres * 1000.0, 6)).astype(np.int64)
    return int(millimetres) if millimetres.ndim == 0 else millimetres


def metres_from_mm(*, depth_mm: ArrayLike) -> Any:
    """Metres for arithmetic from whole millimetres at rest.

    Divides by 1,000, which gives the float nearest to the decimal number.

    Parameters
    ----------
    depth_mm : int or array (n,) [mm]
        Depth or length in whole millimetres.

    Returns
    -------
    float or array (n,) [m]

    Raises
    ------
    ImpossibleValue
        When a value is missing or infinite.

    Valid for: depths and lengths at rest.
    Source: site rule (depths at rest are whole millimetres).
    Checked by: tests/unit/core/test_units.py, tests/properties/test_units_properties.py
    """
    return plain(numbers(depth_mm, "depth_mm") / 1000.0)


def kg_from_lb(*, mass_lb: ArrayLike) -> Any:
    """Kilograms for a mass in avoirdupois pounds.

    One pound is 7,000 grains of 64.79891 mg, which is 0.45359237 kg.

    Parameters
    ----------
    mass_lb : float or array (n,) [lb]
        Mass in pounds.

    Returns
    -------
    float or array (n,) [kg]

    Raises
    ------
    ImpossibleValue
        When a value is missing, infinite or negative.

    Valid for: avoirdupois pounds.
    Source: UCUM 2.2 ucum-essence.xml, [lb_av] and [gr] (seen).
    Checked by: tests/published/test_units_published.py, tests/unit/core/test_units.py
    """
    kilograms = POUND_G / 1000
    return plain(numbers(mass_lb, "mass_lb", at_least=0.0) * kilograms.numerator / kilograms.denominator)


def lb_from_kg(*, mass_kg: ArrayLike) -> Any:
    """Avoirdupois pounds for a mass in kilograms.

    One pound is 0.45359237 kg.

    Parameters
    ----------
    mass_kg : float or array (n,) [kg]
        Mass in kilograms.

    Returns
    -------
    float or array (n,) [lb]

    Raises
    ------
    ImpossibleValue
        When a value is missing, infinite or negative.

    Valid for: avoirdupois pounds.
    Source: UCUM 2.2 ucum-essence.xml, [lb_av] and [gr] (seen).
    Checked by: tests/published/test_units_published.py, tests/unit/core/test_units.py
    """
    kilograms = POUND_G / 1000
    return plain(numbers(mass_kg, "mass_kg", at_least=0.0) * kilograms.denominator / kilograms.numerator)


def grade_factor(*, from_unit: str, to_unit: str) -> Fraction:
    """The exact number to multiply a grade by when its unit changes.

    A grade is a mass in a mass. Each unit is a known fraction of one, either named (`%`, `[ppm]`) or one mass unit over
    another (`g/t`, `[oz_tr]/[ston_av]`). The factor is the ratio of the two fractions.

    Parameters
    ----------
    from_unit : str
        UCUM code of the unit the number is in.
    to_unit : str
        UCUM code of the unit wanted.

    Returns
    -------
    Fraction
        Exact; `float()` of it for arithmetic with floats.

    Raises
    ------
    ImpossibleValue
        When a code is not a grade unit, or is `oz/t` with the ton not named.

    Valid for: grades by mass.
    Source: UCUM 2.2 ucum-essence.xml (seen); composed units derived.
    Checked by: tests/published/test_units_published.py, tests/unit/core/test_units.py
    """
    return mass_fraction(from_unit) / mass_fraction(to_unit)


def grade_in(*, grade: Decimal | ArrayLike, from_unit: str, to_unit: str) -> Any:
    """A grade in another unit.

    A decimal number stays a decimal number (as the laboratory printed it); floats and arrays stay floats.

    Parameters
    ----------
    grade : Decimal, float or array (n,)
        The grade in `from_unit`.
    from_unit : str
        UCUM code of the unit the number is in.
    to_unit : str
        UCUM code of the unit wanted.

    Returns
    -------
    Decimal, float or array (n,)
        The grade in `to_unit`. A missing value (NaN) stays missing.

    Raises
    ------
    ImpossibleValue
        When a unit is refused by `grade_factor`.

    Valid for: grades by mass.
    Source: UCUM 2.2 ucum-essence.xml (seen); composed units derived.
    Checked by: tests/published/test_units_published.py, tests/unit/core/test_units.py
    """
    factor = grade_factor(from_unit=from_unit, to_unit=to_unit)
    if isinstance(grade, Decimal):
        return grade * factor.numerator / factor.denominator
    return plain(np.asarray(grade, dtype=np.float64) * factor.numerator / factor.denominator)


def mass_fraction(code: str) -> Fraction:
    """The exact fraction of one that a grade unit stands for; refuses what is not a grade unit."""
    code = code.strip()
    if code in TON_NOT_NAMED:
        per_tonne = float(TROY_OUNCE_G)
        per_short_ton = float(TROY_OUNCE_G / SHORT_TON_G * 1_000_000)
        raise ImpossibleValue(
            f"{code!r} does not say which ton",
            where="grade unit",
            remedy=f"Write [oz_tr]/t for the tonne (1 = {per_tonne:.4f} g/t) "
            f"or [oz_tr]/[ston_av] for the short ton (1 = {per_short_ton:.4f} g/t)",
        )
    unit = UNITS.get(code)
    if unit is not None and unit.measures == "fraction":
        return unit.size
    top, slash, bottom = code.partition("/")
    if slash and _is_mass(top) and _is_mass(bottom):
        return UNITS[top].size / UNITS[bottom].size
    meant = f"Did you mean {MEANT[code]}? " if code in MEANT else ""
    raise ImpossibleValue(
        f"{code!r} is no grade unit",
        where="grade unit",
        remedy=f"{meant}Use a UCUM code such as g/t, %, [ppm], [ppb], [oz_tr]/t or [oz_tr]/[ston_av]",
    )


def _is_mass(code: str) -> bool:
    return code in UNITS and UNITS[code].measures == "mass"
