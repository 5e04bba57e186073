"""Density of rock: starting values by rock name, mixing by mass, pores, and weighing in water.

The defaults are our own choices inside printed ranges, to be replaced by the yard's own measurements. 1 t/m3 = 1 g/cm3.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import numbers, plain, refuse_where, together
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

ROCK_LIST = Source(
    "'Densities of Common Rock Types', geology.about.com / thoughtco.com", "list by rock, ranges only", "seen"
)
MATERIAL_TABLE = Source(
    "matmake.com rock density table (after Cardarelli 2018 and CRC Handbook, 97th ed.)", "row of the rock", "seen"
)
TELFORD = Source("Telford, Geldart & Sheriff, Applied Geophysics, 2nd ed. (1990)", "Table 2.1", "from memory")
MINERAL_LIST = Source("'Densities of Common Rocks and Minerals', thoughtco.com", "list by mineral", "seen")

WATER_DENSITY_T_M3 = SourcedNumber(0.998, Source("density of water near 20 degC", "handbook value", "from memory"))
WAX_DENSITY_T_M3 = SourcedNumber(0.90, Source("density of paraffin wax", "about 0.90, weigh your own", "from memory"))


@dataclass(frozen=True, slots=True)
class RockDensity:
    """A starting density, our choice inside the printed range; the source is the one of the range."""

    rock: str
    density_t_m3: float
    low_t_m3: float
    high_t_m3: float
    source: Source


@dataclass(frozen=True, slots=True)
class MineralDensity:
    """A printed mineral density for mixing."""

    mineral: str
    density_t_m3: float
    source: Source


ROCK_DENSITIES: tuple[RockDensity, ...] = (
    RockDensity("granite", 2.64, 2.6, 2.7, ROCK_LIST),
    RockDensity("granodiorite", 2.73, 2.67, 2.79, TELFORD),
    RockDensity("diorite", 2.85, 2.8, 3.0, ROCK_LIST),
    RockDensity("gabbro", 3.03, 2.7, 3.3, ROCK_LIST),
    RockDensity("peridotite", 3.15, 3.1, 3.4, ROCK_LIST),
    RockDensity("rhyolite", 2.52, 2.4, 2.6, ROCK_LIST),
    RockDensity("andesite", 2.61, 2.5, 2.8, ROCK_LIST),
    RockDensity("basalt", 2.90, 2.8, 3.0, ROCK_LIST),
    RockDensity("dolerite", 2.91, 2.80, 3.10, MATERIAL_TABLE),
    RockDensity("sandstone", 2.35, 2.2, 2.8, ROCK_LIST),
    RockDensity("shale", 2.40, 2.4, 2.8, ROCK_LIST),
    RockDensity("limestone", 2.55, 2.3, 2.7, ROCK_LIST),
    RockDensity("dolomite", 2.82, 2.8, 2.9, ROCK_LIST),
    RockDensity("conglomerate", 2.50, 2.20, 2.70, MATERIAL_TABLE),
    RockDensity("quartzite", 2.65, 2.64, 2.73, MATERIAL_TABLE),
    RockDensity("schist", 2.70, 2.5, 2.9, ROCK_LIST),
    RockDensity("gneiss", 2.75, 2.6, 2.9, ROCK_LIST),
    RockDensity("marble", 2.70, 2.60, 2.80, MATERIAL_TABLE),
    RockDensity("slate", 2.78, 2.7, 2.8, ROCK_LIST),
    RockDensity("amphibolite", 2.96, 2.90, 3.04, TELFORD),
    RockDensity("coal", 1.30, 1.1, 1.4, ROCK_LIST),
    RockDensity("gypsum", 2.35, 2.3, 2.8, ROCK_LIST),
    RockDensity("rock salt", 2.16, 2.16, 2.16, MINERAL_LIST),  # the rock list misprints it as 2.5-2.6
)

MINERAL_DENSITIES: tuple[MineralDensity, ...] = (
    MineralDensity("quartz", 2.65, MINERAL_LIST),
    MineralDensity("calcite", 2.71, MINERAL_LIST),
    MineralDensity("hematite", 5.26, MINERAL_LIST),
    MineralDensity("magnetite", 5.18, MINERAL_LIST),
    MineralDensity("pyrite", 5.02, MINERAL_LIST),
    MineralDensity("copper", 8.9, MINERAL_LIST),
    MineralDensity("gold", 19.32, MINERAL_LIST),
    MineralDensity("graphite", 2.23, MINERAL_LIST),
)


def rock_density(rock: str) -> RockDensity:
    """The starting density of this rock; a name that is not in the list is refused."""
    wanted = " ".join(rock.split()).lower()
    for entry in ROCK_DENSITIES:
        if entry.rock == wanted:
            return entry
    raise ImpossibleValue(
        f"no starting density for {rock!r}",
        where="rock",
        remedy=f"Give its density, or use one of {', '.join(entry.rock for entry in ROCK_DENSITIES)}",
    )


def mixed_density(*, mass_fraction: ArrayLike, density_t_m3: ArrayLike) -> Any:
    """Density of a mixture given by mass fractions.

    Volumes add up: 1 / density is the sum of fraction / density over the parts, which lie along the last axis.

    Parameters
    ----------
    mass_fraction : array (..., k) [1]
        Mass fraction of each part, adding up to 1.
    density_t_m3 : array (..., k) [t_m3]
        Density of each part.

    Returns
    -------
    float or array (...) [t_m3]

    Raises
    ------
    ImpossibleValue
        When a fraction is negative, the fractions do not add up to 1, or a density is not more than 0.

    Valid for: parts without pores between them.
    Source: volumes add up (derived).
    Checked by: tests/unit/core/test_rock_density.py
    """
    fraction, density = together(
        mass_fraction=numbers(mass_fraction, "mass_fraction", at_least=0.0),
        density_t_m3=numbers(density_t_m3, "density_t_m3", above=0.0),
    )
    if fraction.ndim == 0:
        raise ImpossibleValue("one number is no mixture", where="mass_fraction", remedy="Give a list of parts")
    total = fraction.sum(axis=-1)
    refuse_where(
        np.abs(total - 1.0) > 1e-6, total, "mass_fraction", "is the sum, not 1", "Make the fractions add up to 1"
    )
    return plain(total / (fraction / density).sum(axis=-1))


def bulk_density_with_pores(
    *, grain_density_t_m3: ArrayLike, porosity: ArrayLike, pore_fill_density_t_m3: ArrayLike = 0.0
) -> Any:
    """Bulk density of a porous rock.

    Grains fill 1 - porosity of the volume, the pore filling the rest: 0 for dry rock, water's density for soaked rock.

    Parameters
    ----------
    grain_density_t_m3 : float or array (n,) [t_m3]
        Density of the solid grains.
    porosity : float or array (n,) [1]
        Share of the volume that is pores.
    pore_fill_density_t_m3 : float or array (n,) [t_m3]
        Density of what fills the pores.

    Returns
    -------
    float or array (n,) [t_m3]

    Raises
    ------
    ImpossibleValue
        When the porosity is not from 0 up to less than 1, or a density is impossible.

    Valid for: any rock.
    Source: volumes add up (derived).
    Checked by: tests/unit/core/test_rock_density.py
    """
    grain, pores, filling = together(
        grain_density_t_m3=numbers(grain_density_t_m3, "grain_density_t_m3", above=0.0),
        porosity=numbers(porosity, "porosity", at_least=0.0, below=1.0),
        pore_fill_density_t_m3=numbers(pore_fill_density_t_m3, "pore_fill_density_t_m3", at_least=0.0),
    )
    return plain((1.0 - pores) * grain + pores * filling)


def water_density(*, water_temperature_degc: ArrayLike) -> Any:
    """Density of clean water at the temperature of the weighing tank.

    The formula of Tanaka and others for air-free water at one atmosphere. Salty or muddy water is denser.

    Parameters
    ----------
    water_temperature_degc : float or array (n,) [degc]
        Temperature of the water, 0 to 40.

    Returns
    -------
    float or array (n,) [t_m3]

    Raises
    ------
    ImpossibleValue
        When the temperature is outside 0 to 40.

    Valid for: 0 to 40 degC.
    Source: Tanaka et al. 2001, Metrologia 38:301-309, formula and constants (from memory).
    Checked by: tests/unit/core/test_rock_density.py
    """
    t = numbers(water_temperature_degc, "water_temperature_degc", at_least=0.0, at_most=40.0)
    below_peak = (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881))
    return plain(0.999974950 * (1.0 - below_peak))


def density_from_immersion(
    *,
    mass_dry_g: ArrayLike,
    mass_in_water_g: ArrayLike,
    water_density_t_m3: ArrayLike = WATER_DENSITY_T_M3.value,
) -> Any:
    """Density of a stick weighed dry in air and hanging in water.

    The loss of weight is the water pushed aside: density = dry / (dry - in water) x water density.

    Parameters
    ----------
    mass_dry_g : float or array (n,) [g]
        Dry mass in air.
    mass_in_water_g : float or array (n,) [g]
        Apparent mass hanging in water.
    water_density_t_m3 : float or array (n,) [t_m3]
        Density of the water.

    Returns
    -------
    float or array (n,) [t_m3]

    Raises
    ------
    ImpossibleValue
        When the dry mass is not more than 0, the mass in water is negative or not less than the dry mass.

    Valid for: rock that takes up no water; coat porous or soluble rock with wax instead.
    Source: Archimedes' law (derived); default water density (from memory).
    Checked by: tests/unit/core/test_rock_density.py
    """
    dry, wet, water = together(
        mass_dry_g=numbers(mass_dry_g, "mass_dry_g", above=0.0),
        mass_in_water_g=numbers(mass_in_water_g, "mass_in_water_g", at_least=0.0),
        water_density_t_m3=numbers(water_density_t_m3, "water_density_t_m3", above=0.0),
    )
    refuse_where(
        wet >= dry,
        wet,
        "mass_in_water_g",
        "is not less than the dry mass",
        "Check for masses written the wrong way round",
    )
    return plain(dry / (dry - wet) * water)


def density_from_waxed_immersion(
    *,
    mass_dry_g: ArrayLike,
    mass_waxed_g: ArrayLike,
    mass_waxed_in_water_g: ArrayLike,
    wax_density_t_m3: ArrayLike = WAX_DENSITY_T_M3.value,
    water_density_t_m3: ArrayLike = WATER_DENSITY_T_M3.value,
) -> Any:
    """Bulk density of a stick coated with wax before it is weighed in water.

    The volume of the waxed stick comes from its loss of weight in water; the volume of the wax is taken off.

    Parameters
    ----------
    mass_dry_g : float or array (n,) [g]
        Dry mass in air before coating.
    mass_waxed_g : float or array (n,) [g]
        Mass in air with the coat.
    mass_waxed_in_water_g : float or array (n,) [g]
        Apparent mass with the coat, hanging in water. May be negative for a light stick that has to be held down.
    wax_density_t_m3 : float or array (n,) [t_m3]
        Density of the wax.
    water_density_t_m3 : float or array (n,) [t_m3]
        Density of the water.

    Returns
    -------
    float or array (n,) [t_m3]

    Raises
    ------
    ImpossibleValue
        When the waxed stick is lighter than the dry one, not lighter in water, or no volume is left for the rock.

    Valid for: a coat without bubbles that seals every pore.
    Source: Archimedes' law twice (derived); default wax and water densities (from memory).
    Checked by: tests/unit/core/test_rock_density.py
    """
    dry, waxed, wet, wax, water = together(
        mass_dry_g=numbers(mass_dry_g, "mass_dry_g", above=0.0),
        mass_waxed_g=numbers(mass_waxed_g, "mass_waxed_g", above=0.0),
        mass_waxed_in_water_g=numbers(mass_waxed_in_water_g, "mass_waxed_in_water_g"),
        wax_density_t_m3=numbers(wax_density_t_m3, "wax_density_t_m3", above=0.0),
        water_density_t_m3=numbers(water_density_t_m3, "water_density_t_m3", above=0.0),
    )
    refuse_where(waxed < dry, waxed, "mass_waxed_g", "is less than the dry mass", "Weigh dry first, then coated")
    refuse_where(
        wet >= waxed, wet, "mass_waxed_in_water_g", "is not less than the waxed mass", "Check the two waxed masses"
    )
    volume = (waxed - wet) / water - (waxed - dry) / wax
    refuse_where(
        volume <= 0.0,
        volume,
        "mass_waxed_g",
        "cm3 is what is left for the rock",
        "Check the three masses and the wax density",
    )
    return plain(dry / volume)
