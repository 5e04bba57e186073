"""What each bag should weigh: density of its rocks, area of the piece bagged, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from statistics import median

import numpy as np

from trayside.core.bag_mass import BagMass, predict_bag_mass_of_parts
from trayside.core.cut_geometry import cut_pieces, quarter_pieces, whole_area
from trayside.model.checks.rock import stick_densities_t_m3
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import Stock

STICKS_TO_BELIEVE = 3
MAD_TO_SD = 1.4826
BY_MASS = "half by mass"


@dataclass(frozen=True, slots=True)
class RockDensity:
    """Density of one rock in one hole, and from how many sticks (0: the rock code's own value)."""

    density_t_m3: float
    density_sd_t_m3: float
    sticks: int


@dataclass(frozen=True, slots=True)
class BagPart:
    """One rock inside one bag: the bag's index, the rock, and the core recovered of it."""

    bag: int
    rock: str
    recovered_m: float


def rock_densities(core: HoleCore, stock: Stock) -> dict[str, RockDensity]:
    """Density per rock code: the median of the hole's own sticks when there are enough, else the rock code's value."""
    sticks: dict[str, list[float]] = {}
    for stick, density in zip(core.densities, stick_densities_t_m3(core.densities), strict=True):
        middle = (stick.from_mm + stick.to_mm) // 2
        rock = next((rock for rock in core.rock if rock.from_mm <= middle < rock.to_mm), None)
        if density is not None and rock is not None:
            sticks.setdefault(rock.rock, []).append(density)
    densities = {
        code.rock: RockDensity(code.density_t_m3, code.density_sd_t_m3, 0) for code in stock.rock_codes.values()
    }
    for rock, values in sticks.items():
        if len(values) >= STICKS_TO_BELIEVE:
            middle = median(values)
            spread = MAD_TO_SD * median(abs(value - middle) for value in values)
            densities[rock] = RockDensity(middle, max(spread, densities[rock].density_sd_t_m3 / 2), len(values))
    return densities


@lru_cache(maxsize=512)
def bagged_area_mm2(core_diameter_mm: float, kerf_mm: float, offset_mm: float, portion: str, by_mass: bool) -> float:
    """Area of core that goes into an ordinary sample's bag: `portion` is half, quarter or whole."""
    whole = whole_area(core_diameter_mm=core_diameter_mm)
    if portion == "whole":
        return whole
    if by_mass:
        return whole / (4 if portion == "quarter" else 2)
    if portion == "quarter":
        return quarter_pieces(
            core_diameter_mm=core_diameter_mm, kerf_mm=kerf_mm, offset_mm=offset_mm, second_offset_mm=0.0
        ).near_quarter_mm2
    return cut_pieces(core_diameter_mm=core_diameter_mm, kerf_mm=kerf_mm, offset_mm=offset_mm).near_mm2


def bag_masses(
    parts: list[BagPart],
    *,
    core_diameter_mm: np.ndarray,
    portion: list[str],
    other_half: np.ndarray,
    by_mass: np.ndarray,
    rules: Rules,
    densities: dict[str, RockDensity],
) -> BagMass:
    """Expected mass and range of n bags, whose parts name them by index.

    `portion` is half, quarter or whole; `other_half` marks bags filled from the half away from the blade's shift. Bags
    filled by hand by mass get half (or a quarter) of the whole core, no slot, and the yard's scatter for such halves.
    """
    count = len(portion)
    kinds = {"half": "near_half", "quarter": "quarter", "whole": "whole"}
    names = [kinds[p] for p in portion]
    names = [
        "far_half" if far and p == "half" else name for far, p, name in zip(other_half, portion, names, strict=True)
    ]
    # A quarter of the other half is a quarter of the near half with the blade shifted the other way.
    offset = np.where(
        other_half & np.array([p == "quarter" for p in portion], dtype=bool), -rules.cut.offset_mm, rules.cut.offset_mm
    )
    names = ["whole" if hand else name for hand, name in zip(by_mass, names, strict=True)]
    mass = rules.mass
    whole = np.array([name == "whole" for name in names])
    predicted = predict_bag_mass_of_parts(
        bag_count=count,
        part_bag=np.array([part.bag for part in parts], dtype=np.int64),
        part_length_m=np.array([part.recovered_m for part in parts]),
        part_density_t_m3=np.array([densities[part.rock].density_t_m3 for part in parts]),
        part_density_sd_t_m3=np.array([densities[part.rock].density_sd_t_m3 for part in parts]),
        part_length_sd_m=mass.length_sd_m,
        core_diameter_mm=core_diameter_mm,
        kerf_mm=rules.cut.kerf_mm,
        offset_mm=np.where(whole, 0.0, offset),
        second_offset_mm=0.0,
        portion=np.array(names) if count else np.array([], dtype="<U9"),
        core_diameter_sd_mm=mass.core_diameter_sd_mm,
        kerf_sd_mm=mass.kerf_sd_mm,
        offset_sd_mm=mass.offset_sd_mm,
        coverage_factor=mass.coverage,
    )
    share = np.array([{"half": 0.5, "quarter": 0.25, "whole": 1.0}[p] for p in portion])
    factor = np.where(by_mass, share, 1.0)
    expected = predicted.expected_kg * factor
    extra = np.where(by_mass & (share < 1.0), mass.rubble_sd, 0.0) * expected
    sd = np.hypot(predicted.sd_kg * factor, extra)
    return BagMass(expected, sd, expected - mass.coverage * sd, expected + mass.coverage * sd)
