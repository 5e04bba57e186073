"""What a bag should weigh, and how far the scale may differ before something is wrong.

Mass is the cheap witness: recovered length, diameter, kerf, offset and density give the expected mass of every bag, and
their scatter gives the range. A bag outside the range is the wrong half, the wrong interval, a slipped ticket or a
blade off the line. Water is left out: the density is taken as it would be weighed, wet rock on the scale reads higher.

The trade's habit is to saw a few millimetres beside the drawn line, so that the line stays on the kept half:

                 drawn line, in the plane through the axis
                      |  slot
             .- - - - | |   |- - .
           /            | : |      \\
          |   kept    + | : | bagged |       the blade has moved toward the bagged half:
           \\  (far)     | : | (near) /       the bagged half is the near one, and the smaller one
             ' - - - -  | : |  - - '
                      |<--->|                offset: line to the middle of the blade

The habit shifts mass, not grade: it is the default offset here, and `mass_bias_of_offset` shows what it costs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core import circle_parts
from trayside.core.cut_geometry import cut_pieces
from trayside.core.refusals import Floats, checked_cut, numbers, plain, refuse_where, together
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

PORTIONS = ("near_half", "far_half", "quarter", "whole")
HEAVIEST_ROCK_T_M3 = 23.0  # heavier than any metal: a density above this is a slip of unit

LINE_HABIT_MM = SourcedNumber(
    3.0, Source("habit of core yards", "sawing about 3 mm beside the drawn line", "common practice, no source")
)


OWN_START = Source("no document found", "starting choice, replace by the yard's own", "common practice, no source")


@dataclass(frozen=True, slots=True)
class BagMassScatter:
    """Standard deviations behind the mass range: starting choices of our own, to be replaced by the yard's own."""

    core_diameter_sd_mm: float = 0.3
    kerf_sd_mm: float = 0.2
    offset_sd_mm: float = 1.0
    density_sd_t_m3: float = 0.05
    length_sd_m: float = 0.01
    coverage_factor: float = 3.0
    source: Source = OWN_START


DEFAULT_SCATTER = BagMassScatter()


@dataclass(frozen=True, slots=True)
class BagMass:
    """Expected mass of a bag, its standard deviation, and the range expected -/+ coverage factor times it."""

    expected_kg: Any
    sd_kg: Any
    low_kg: Any
    high_kg: Any


@dataclass(frozen=True, slots=True)
class OffsetBias:
    """Shares of the whole core and changes against a centred cut; fractions of one."""

    bagged_share: Any
    kept_share: Any
    slot_share: Any
    bagged_share_of_pieces: Any
    bagged_change: Any
    kept_change: Any


def predict_bag_mass(
    *,
    recovered_length_m: ArrayLike,
    density_t_m3: ArrayLike,
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    offset_mm: ArrayLike = LINE_HABIT_MM.value,
    second_offset_mm: ArrayLike = 0.0,
    portion: str | ArrayLike = "near_half",
    core_diameter_sd_mm: ArrayLike = DEFAULT_SCATTER.core_diameter_sd_mm,
    kerf_sd_mm: ArrayLike = DEFAULT_SCATTER.kerf_sd_mm,
    offset_sd_mm: ArrayLike = DEFAULT_SCATTER.offset_sd_mm,
    density_sd_t_m3: ArrayLike = DEFAULT_SCATTER.density_sd_t_m3,
    length_sd_m: ArrayLike = DEFAULT_SCATTER.length_sd_m,
    coverage_factor: ArrayLike = DEFAULT_SCATTER.coverage_factor,
) -> BagMass:
    """Expected mass of a bag of one rock, with its range.

    Mass is area times recovered length times density. The variance is the sum of the squares of each slope times its
    standard deviation, the slopes in closed form; the causes are taken as independent of each other. The low end is
    not cut off at 0: below 0 it says that no bag could be too light.

    Parameters
    ----------
    recovered_length_m : float or array (n,) [m]
        Length of core that is there, not the length drilled.
    density_t_m3 : float or array (n,) [t_m3]
        Bulk density of the rock.
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot; of both slots for a quarter.
    offset_mm : float or array (n,) [mm]
        Core axis to middle of the blade, positive toward the near half.
    second_offset_mm : float or array (n,) [mm]
        Offset of the second cut, positive toward the quarter that is bagged; only quarters use it.
    portion : str or array of str (n,)
        near_half, far_half, quarter (of the near half) or whole. For a quarter of the far half turn the sign of the
        offset.
    core_diameter_sd_mm : float or array (n,) [mm]
        Standard deviation of the diameter.
    kerf_sd_mm : float or array (n,) [mm]
        Standard deviation of the kerf.
    offset_sd_mm : float or array (n,) [mm]
        Standard deviation of the offset, the same for both cuts of a quarter.
    density_sd_t_m3 : float or array (n,) [t_m3]
        Standard deviation of the density from bag to bag.
    length_sd_m : float or array (n,) [m]
        Standard deviation of the recovered length.
    coverage_factor : float or array (n,) [1]
        Half width of the range in standard deviations; a setting.

    Returns
    -------
    BagMass
        .expected_kg (n,) [kg], .sd_kg (n,) [kg], .low_kg (n,) [kg], .high_kg (n,) [kg]

    Raises
    ------
    ImpossibleValue
        When the cut is impossible or leaves nothing of the portion, a length or standard deviation is negative, a
        density is not between 0 and 23, or the portion has another name.

    Valid for: scatter small against the size it belongs to; water on or in the rock is not counted.
    Source: first-order propagation of the area formulas of cut_geometry (derived); default offset and scatter are
        settings (common practice, no source).
    Checked by: tests/published/test_bag_mass_figures.py, tests/unit/core/test_bag_mass.py
    """
    length = numbers(recovered_length_m, "recovered_length_m", at_least=0.0)
    density = numbers(density_t_m3, "density_t_m3", above=0.0, at_most=HEAVIEST_ROCK_T_M3)
    density_sd = numbers(density_sd_t_m3, "density_sd_t_m3", at_least=0.0)
    length_sd = numbers(length_sd_m, "length_sd_m", at_least=0.0)
    length, density, density_sd, length_sd = together(
        recovered_length_m=length, density_t_m3=density, density_sd_t_m3=density_sd, length_sd_m=length_sd
    )
    area, area_variance = _area_with_variance(
        core_diameter_mm, kerf_mm, offset_mm, second_offset_mm, portion, core_diameter_sd_mm, kerf_sd_mm, offset_sd_mm
    )
    return _bag(
        area, area_variance, length * density, (length * density_sd) ** 2 + (density * length_sd) ** 2, coverage_factor
    )


def predict_bag_mass_of_parts(
    *,
    bag_count: int,
    part_bag: ArrayLike,
    part_length_m: ArrayLike,
    part_density_t_m3: ArrayLike,
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    offset_mm: ArrayLike = LINE_HABIT_MM.value,
    second_offset_mm: ArrayLike = 0.0,
    portion: str | ArrayLike = "near_half",
    core_diameter_sd_mm: ArrayLike = DEFAULT_SCATTER.core_diameter_sd_mm,
    kerf_sd_mm: ArrayLike = DEFAULT_SCATTER.kerf_sd_mm,
    offset_sd_mm: ArrayLike = DEFAULT_SCATTER.offset_sd_mm,
    part_density_sd_t_m3: ArrayLike = DEFAULT_SCATTER.density_sd_t_m3,
    part_length_sd_m: ArrayLike = DEFAULT_SCATTER.length_sd_m,
    coverage_factor: ArrayLike = DEFAULT_SCATTER.coverage_factor,
) -> BagMass:
    """Expected mass of bags that each hold one or more rocks, with their ranges.

    The parts of a bag share one diameter, kerf and offset, and so share their errors; their densities and lengths err
    independently. Give one part for each rock in a bag: stretches of the same rock share the error of its density and
    belong in one part. A bag without parts weighs 0.

    Parameters
    ----------
    bag_count : int [1]
        Number of bags n.
    part_bag : array (p,) of int [1]
        For each part the index of its bag, from 0.
    part_length_m : float or array (p,) [m]
        Recovered length of each part.
    part_density_t_m3 : float or array (p,) [t_m3]
        Bulk density of each part.
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot; of both slots for a quarter.
    offset_mm : float or array (n,) [mm]
        Core axis to middle of the blade, positive toward the near half.
    second_offset_mm : float or array (n,) [mm]
        Offset of the second cut; only quarters use it.
    portion : str or array of str (n,)
        near_half, far_half, quarter or whole.
    core_diameter_sd_mm : float or array (n,) [mm]
        Standard deviation of the diameter.
    kerf_sd_mm : float or array (n,) [mm]
        Standard deviation of the kerf.
    offset_sd_mm : float or array (n,) [mm]
        Standard deviation of the offset.
    part_density_sd_t_m3 : float or array (p,) [t_m3]
        Standard deviation of the density of each part.
    part_length_sd_m : float or array (p,) [m]
        Standard deviation of the length of each part.
    coverage_factor : float or array (n,) [1]
        Half width of the range in standard deviations; a setting.

    Returns
    -------
    BagMass
        .expected_kg (n,) [kg], .sd_kg (n,) [kg], .low_kg (n,) [kg], .high_kg (n,) [kg]; always arrays.

    Raises
    ------
    ImpossibleValue
        As for predict_bag_mass, or when a part names a bag that is not there.

    Valid for: as predict_bag_mass.
    Source: as predict_bag_mass, summed over the parts (derived).
    Checked by: tests/unit/core/test_bag_mass.py
    """
    bag = np.asarray(part_bag)
    if bag.ndim != 1 or (bag.size and bag.dtype.kind not in "iu"):
        raise ImpossibleValue(
            "part_bag must be a list of whole numbers", where="part_bag", remedy="Number the bags from 0"
        )
    bag = bag.astype(np.int64)
    refuse_where(
        (bag < 0) | (bag >= bag_count), bag, "part_bag", f"names no bag among {bag_count}", "Number the bags from 0"
    )
    length, density, density_sd, length_sd, _ = together(
        part_length_m=numbers(part_length_m, "part_length_m", at_least=0.0),
        part_density_t_m3=numbers(part_density_t_m3, "part_density_t_m3", above=0.0, at_most=HEAVIEST_ROCK_T_M3),
        part_density_sd_t_m3=numbers(part_density_sd_t_m3, "part_density_sd_t_m3", at_least=0.0),
        part_length_sd_m=numbers(part_length_sd_m, "part_length_sd_m", at_least=0.0),
        part_bag=bag.astype(np.float64),
    )
    tonnes_per_area = np.bincount(bag, weights=length * density, minlength=bag_count)
    variance = np.bincount(bag, weights=(length * density_sd) ** 2 + (density * length_sd) ** 2, minlength=bag_count)
    area, area_variance = _area_with_variance(
        core_diameter_mm, kerf_mm, offset_mm, second_offset_mm, portion, core_diameter_sd_mm, kerf_sd_mm, offset_sd_mm
    )
    return _bag(area, area_variance, tonnes_per_area, variance, coverage_factor)


def mass_bias_of_offset(
    *, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, offset_mm: ArrayLike = LINE_HABIT_MM.value
) -> OffsetBias:
    """What sawing beside the line does to the mass bagged and the mass kept.

    The line is drawn in the plane through the axis and stays on the kept half, so the blade is shifted toward the
    bagged half: bagged is near, kept is far. Changes compare with a cut of the same kerf through the axis.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.
    offset_mm : float or array (n,) [mm]
        Drawn line to middle of the blade, positive toward the bagged half.

    Returns
    -------
    OffsetBias
        .bagged_share (n,) [1], .kept_share (n,) [1], .slot_share (n,) [1] of the whole core;
        .bagged_share_of_pieces (n,) [1] of the two halves together;
        .bagged_change (n,) [1], .kept_change (n,) [1] relative to the centred cut, negative for lighter.

    Raises
    ------
    ImpossibleValue
        As for cut_pieces.

    Valid for: a line drawn in a plane through the core axis.
    Source: cut_pieces (derived); the habit of about 3 mm (common practice, no source).
    Checked by: tests/published/test_bag_mass_figures.py, tests/unit/core/test_bag_mass.py
    """
    cut = cut_pieces(core_diameter_mm=core_diameter_mm, kerf_mm=kerf_mm, offset_mm=offset_mm)
    centred = cut_pieces(core_diameter_mm=core_diameter_mm, kerf_mm=kerf_mm).near_mm2
    whole = cut.near_mm2 + cut.far_mm2 + cut.slot_mm2
    return OffsetBias(
        bagged_share=cut.near_mm2 / whole,
        kept_share=cut.far_mm2 / whole,
        slot_share=cut.slot_mm2 / whole,
        bagged_share_of_pieces=cut.near_mm2 / (cut.near_mm2 + cut.far_mm2),
        bagged_change=cut.near_mm2 / centred - 1.0,
        kept_change=cut.far_mm2 / centred - 1.0,
    )


def _bag(
    area: Floats, area_variance: Floats, load: Floats, load_variance: Floats, coverage_factor: ArrayLike
) -> BagMass:
    """Area in mm2 times load in t/m2 (length times density) is mass in grams."""
    coverage = numbers(coverage_factor, "coverage_factor", above=0.0)
    area, area_variance, load, load_variance, coverage = together(
        core_diameter_mm=area,
        area_variance=area_variance,
        length=load,
        load_variance=load_variance,
        coverage_factor=coverage,
    )
    expected = 1e-3 * area * load
    sd = 1e-3 * np.sqrt(load * load * area_variance + area * area * load_variance)
    return BagMass(
        expected_kg=plain(expected),
        sd_kg=plain(sd),
        low_kg=plain(expected - coverage * sd),
        high_kg=plain(expected + coverage * sd),
    )


def _area_with_variance(
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    offset_mm: ArrayLike,
    second_offset_mm: ArrayLike,
    portion: str | ArrayLike,
    core_diameter_sd_mm: ArrayLike,
    kerf_sd_mm: ArrayLike,
    offset_sd_mm: ArrayLike,
) -> tuple[Floats, Floats]:
    """Area of the bagged piece and its variance from the scatter of diameter, kerf and offset."""
    names = np.asarray(portion)
    unknown = sorted(set(np.unique(names).tolist()) - set(PORTIONS))
    if unknown:
        raise ImpossibleValue(f"no portion {unknown[0]!r}", where="portion", remedy=f"Use one of {', '.join(PORTIONS)}")
    radius, kerf, offset = checked_cut(core_diameter_mm, kerf_mm, offset_mm)
    _, _, second = checked_cut(core_diameter_mm, kerf_mm, second_offset_mm, offset_name="second_offset_mm")
    radius, kerf, offset, second, diameter_sd, kerf_sd, offset_sd, names = together(
        core_diameter_mm=radius,
        kerf_mm=kerf,
        offset_mm=offset,
        second_offset_mm=second,
        core_diameter_sd_mm=numbers(core_diameter_sd_mm, "core_diameter_sd_mm", at_least=0.0),
        kerf_sd_mm=numbers(kerf_sd_mm, "kerf_sd_mm", at_least=0.0),
        offset_sd_mm=numbers(offset_sd_mm, "offset_sd_mm", at_least=0.0),
        portion=names,
    )
    area, variance = np.empty(radius.shape), np.empty(radius.shape)
    for name in np.unique(names).tolist():
        rows = names == name
        piece, by_diameter, by_kerf, by_offset, by_second = _slopes(
            name, radius[rows], kerf[rows], offset[rows], second[rows]
        )
        area[rows] = piece
        variance[rows] = (
            (by_diameter * diameter_sd[rows]) ** 2
            + (by_kerf * kerf_sd[rows]) ** 2
            + (by_offset**2 + by_second**2) * offset_sd[rows] ** 2
        )
    refuse_where(
        area <= 0.0, offset, "offset_mm", "leaves nothing to bag", "Check the offsets, the kerf and the core size"
    )
    return area, variance


def _slopes(name: str, radius: Floats, kerf: Floats, offset: Floats, second: Floats) -> tuple[Floats, ...]:
    """Area of a portion and its slopes with diameter, kerf, offset and second offset."""
    none = np.zeros_like(radius)
    if name == "whole":
        return np.pi * radius**2, np.pi * radius, none, none, none
    if name == "quarter":
        a, b = kerf / 2.0 + second, kerf / 2.0 + offset
        arc, by_a, by_b = circle_parts.corner_slopes(radius, a, b)
        return circle_parts.corner(radius, a, b), arc / 2.0, (by_a + by_b) / 2.0, by_b, by_a
    side = 1.0 if name == "near_half" else -1.0
    h = kerf / 2.0 + side * offset
    chord = 2.0 * circle_parts.half_chord(radius, h)
    return (
        circle_parts.segment(radius, h),
        radius * circle_parts.half_angle(radius, h),
        -chord / 2.0,
        -side * chord,
        none,
    )
