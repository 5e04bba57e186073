"""What the saw leaves of a core: halves, slot, quarters, a cut that drifts, and the cut found back by weighing.

Looking along the core, the blade stands upright at the signed distance `offset` from the axis:

         kept half (far)     slot  bagged half (near)
             .- - - - - - -|   |- - .
           /               | : |      \\
          |        +       | : |       |     +  core axis
           \\       :       | : |      /      :  middle of the blade
             ' - - : - - - | : | - - '
                   :<------->:      offset
                           |<->|    kerf, the width of the slot

A positive offset makes the near piece the smaller one; a negative offset makes it the larger one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core import circle_parts
from trayside.core.refusals import checked_cut, numbers, plain, together


@dataclass(frozen=True, slots=True)
class CutPieces:
    """Cross-section areas after one cut: the piece the blade is shifted toward, the other, and the slot."""

    near_mm2: Any
    far_mm2: Any
    slot_mm2: Any


@dataclass(frozen=True, slots=True)
class QuarterPieces:
    """Areas after a second cut, at right angles, through the near half."""

    near_quarter_mm2: Any
    far_quarter_mm2: Any
    second_slot_mm2: Any
    far_half_mm2: Any
    first_slot_mm2: Any


@dataclass(frozen=True, slots=True)
class CutFaces:
    """Widths of the two flat sawn faces."""

    near_face_mm: Any
    far_face_mm: Any


def whole_area(*, core_diameter_mm: ArrayLike) -> Any:
    """Cross-section area of the uncut core.

    A round core: pi D^2 / 4.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.

    Returns
    -------
    float or array (n,) [mm2]

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0.

    Valid for: round, unbroken core.
    Source: area of a circle (derived).
    Checked by: tests/published/test_cut_geometry_table.py, tests/unit/core/test_cut_geometry.py
    """
    diameter = numbers(core_diameter_mm, "core_diameter_mm", above=0.0)
    return plain(np.pi * diameter * diameter / 4.0)


def cut_pieces(*, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, offset_mm: ArrayLike = 0.0) -> CutPieces:
    """Areas of the two pieces and of the slot for one straight cut.

    The blade is a flat slab of width kerf, its middle at the offset from the core axis. Each piece is the part of the
    circle beyond one face of the slab. If the slab reaches past the rim, the near piece is sawn away: its area is 0.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot, 0 or more and less than the diameter.
    offset_mm : float or array (n,) [mm]
        Core axis to middle of the blade; positive toward the near piece.

    Returns
    -------
    CutPieces
        .near_mm2 (n,) [mm2] side the blade is shifted toward; .far_mm2 (n,) [mm2] other side;
        .slot_mm2 (n,) [mm2] sawn away.
        Floats when every input is a single number.

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0, the kerf is negative or not less than the diameter, or the middle of
        the blade passes outside the core.

    Valid for: round core, flat blade parallel to the axis.
    Source: circular segment R^2 acos(h/R) - h sqrt(R^2 - h^2) (derived).
    Checked by: tests/published/test_cut_geometry_table.py, tests/unit/core/test_cut_geometry.py,
        tests/properties/test_cut_geometry_properties.py
    """
    radius, kerf, offset = checked_cut(core_diameter_mm, kerf_mm, offset_mm)
    return CutPieces(
        near_mm2=plain(circle_parts.segment(radius, kerf / 2.0 + offset)),
        far_mm2=plain(circle_parts.segment(radius, kerf / 2.0 - offset)),
        slot_mm2=plain(circle_parts.strip(radius, offset, kerf)),
    )


def cut_faces(*, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, offset_mm: ArrayLike = 0.0) -> CutFaces:
    """Widths of the two sawn faces, which a tape can check.

    The chord of the circle at each face of the blade.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.
    offset_mm : float or array (n,) [mm]
        Core axis to middle of the blade; positive toward the near piece.

    Returns
    -------
    CutFaces
        .near_face_mm (n,) [mm], .far_face_mm (n,) [mm]

    Raises
    ------
    ImpossibleValue
        As for cut_pieces.

    Valid for: round core, flat blade parallel to the axis.
    Source: chord 2 sqrt(R^2 - h^2) (derived).
    Checked by: tests/unit/core/test_cut_geometry.py
    """
    radius, kerf, offset = checked_cut(core_diameter_mm, kerf_mm, offset_mm)
    return CutFaces(
        near_face_mm=plain(2.0 * circle_parts.half_chord(radius, kerf / 2.0 + offset)),
        far_face_mm=plain(2.0 * circle_parts.half_chord(radius, kerf / 2.0 - offset)),
    )


def drifting_cut(
    *, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, start_offset_mm: ArrayLike, end_offset_mm: ArrayLike
) -> CutPieces:
    """Mean areas over a sample whose cut drifts evenly from one offset to another.

    The exact mean of the areas of cut_pieces while the offset changes in proportion to the distance along the core.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.
    start_offset_mm : float or array (n,) [mm]
        Offset at the top of the sample.
    end_offset_mm : float or array (n,) [mm]
        Offset at the bottom of the sample.

    Returns
    -------
    CutPieces
        .near_mm2 (n,) [mm2], .far_mm2 (n,) [mm2], .slot_mm2 (n,) [mm2], means over the length.

    Raises
    ------
    ImpossibleValue
        As for cut_pieces, at either end.

    Valid for: a drift small against the sample length, so that the blade stays nearly parallel to the axis.
    Source: integral G(h) of the segment area (derived).
    Checked by: tests/published/test_cut_geometry_table.py, tests/unit/core/test_cut_geometry.py
    """
    start_radius, kerf, start = checked_cut(core_diameter_mm, kerf_mm, start_offset_mm, offset_name="start_offset_mm")
    _, _, end = checked_cut(core_diameter_mm, kerf_mm, end_offset_mm, offset_name="end_offset_mm")
    radius, kerf, start, end = together(
        core_diameter_mm=start_radius, kerf_mm=kerf, start_offset_mm=start, end_offset_mm=end
    )
    near = circle_parts.mean_segment(radius, kerf / 2.0 + start, kerf / 2.0 + end)
    far = circle_parts.mean_segment(radius, kerf / 2.0 - start, kerf / 2.0 - end)
    return CutPieces(near_mm2=plain(near), far_mm2=plain(far), slot_mm2=plain(np.pi * radius**2 - near - far))


def quarter_pieces(
    *, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, offset_mm: ArrayLike = 0.0, second_offset_mm: ArrayLike = 0.0
) -> QuarterPieces:
    """Areas after the near half is cut again, at right angles to the first cut.

    Both cuts have the same kerf. To quarter the far half, give the first offset with the opposite sign. Where the
    second cut runs outside the half, one quarter is 0 and the other is what is left of the half.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of each slot.
    offset_mm : float or array (n,) [mm]
        Offset of the first cut, positive toward the half that is cut again.
    second_offset_mm : float or array (n,) [mm]
        Offset of the second cut from the core axis, positive toward the near quarter.

    Returns
    -------
    QuarterPieces
        .near_quarter_mm2 (n,) [mm2] side the second blade is shifted toward; .far_quarter_mm2 (n,) [mm2];
        .second_slot_mm2 (n,) [mm2]; .far_half_mm2 (n,) [mm2] the half not cut again; .first_slot_mm2 (n,) [mm2].

    Raises
    ------
    ImpossibleValue
        As for cut_pieces, for either cut.

    Valid for: round core, two flat cuts at right angles, parallel to the axis.
    Source: part of a circle beyond two lines at right angles (derived).
    Checked by: tests/published/test_cut_geometry_table.py, tests/unit/core/test_cut_geometry.py
    """
    first_radius, kerf, first = checked_cut(core_diameter_mm, kerf_mm, offset_mm)
    _, _, second = checked_cut(core_diameter_mm, kerf_mm, second_offset_mm, offset_name="second_offset_mm")
    radius, kerf, first, second = together(
        core_diameter_mm=first_radius, kerf_mm=kerf, offset_mm=first, second_offset_mm=second
    )
    half = circle_parts.segment(radius, kerf / 2.0 + first)
    near = circle_parts.corner(radius, kerf / 2.0 + second, kerf / 2.0 + first)
    far = circle_parts.corner(radius, kerf / 2.0 - second, kerf / 2.0 + first)
    return QuarterPieces(
        near_quarter_mm2=plain(near),
        far_quarter_mm2=plain(far),
        second_slot_mm2=plain(half - near - far),
        far_half_mm2=plain(circle_parts.segment(radius, kerf / 2.0 - first)),
        first_slot_mm2=plain(circle_parts.strip(radius, first, kerf)),
    )


def offset_from_masses(
    *, near_kg: ArrayLike, far_kg: ArrayLike, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike
) -> Any:
    """Offset of the blade, found back from the two halves on the scale.

    The one offset at which the areas of cut_pieces stand in the ratio of the two masses. Length and density drop out.
    Negative when the near half is the heavier one.

    Parameters
    ----------
    near_kg : float or array (n,) [kg]
        Mass of the half on the side that positive offsets point to.
    far_kg : float or array (n,) [kg]
        Mass of the other half of the same core.
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.

    Returns
    -------
    float or array (n,) [mm]

    Raises
    ------
    ImpossibleValue
        When a mass is not more than 0, or the diameter or kerf is impossible.

    Valid for: both halves complete, from one length of even rock.
    Source: cut_pieces solved for the offset by bracketed Newton steps (derived).
    Checked by: tests/published/test_cut_geometry_table.py, tests/unit/core/test_cut_geometry.py,
        tests/properties/test_cut_geometry_properties.py
    """
    near = numbers(near_kg, "near_kg", above=0.0)
    far = numbers(far_kg, "far_kg", above=0.0)
    radius, kerf, _ = checked_cut(core_diameter_mm, kerf_mm, 0.0)
    near, far, radius, kerf = together(near_kg=near, far_kg=far, core_diameter_mm=radius, kerf_mm=kerf)
    largest = np.maximum(near, far)
    near, far = near / largest, far / largest
    high = radius - kerf / 2.0
    low = -high
    offset = np.zeros_like(radius)
    for _ in range(80):
        near_area = circle_parts.segment(radius, kerf / 2.0 + offset)
        far_area = circle_parts.segment(radius, kerf / 2.0 - offset)
        miss = far * near_area - near * far_area
        # The miss falls steadily with the offset: a positive miss means the true offset is larger.
        low, high = np.where(miss >= 0.0, offset, low), np.where(miss <= 0.0, offset, high)
        slope = -2.0 * (
            far * circle_parts.half_chord(radius, kerf / 2.0 + offset)
            + near * circle_parts.half_chord(radius, kerf / 2.0 - offset)
        )
        step = np.divide(miss, slope, out=np.full_like(miss, np.inf), where=slope < 0.0)
        newton = offset - step
        better = np.where((newton > low) & (newton < high), newton, 0.5 * (low + high))
        better = np.where(miss == 0.0, offset, better)
        if np.all(np.abs(better - offset) <= 1e-14 * radius):
            offset = better
            break
        offset = better
    return plain(offset)
