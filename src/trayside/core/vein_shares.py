"""How one cut through the core axis shares a vein, a bed or a change of grade between the two halves, exactly.

Looking down the hole, the apex of the vein's ellipse lies at beta and the cut runs at theta; phi = theta - beta:

            cut at theta           u   distance from the axis toward the lower apex, at beta
        plus   |     minus         phi angle from the apex to the cut, clockwise
          .- - | - - .             z   position along the core, downhole
        /      |  /    \\          plus half: the side a quarter turn anticlockwise from the cut line
       |       | /phi   |
       |       +- - - - | -> u     vein: |z - centre - u cot(alpha)| <= thickness / (2 sin(alpha)), between the
        \\               /              two square ends of the sample
          ' - - - - - '

The imbalance I is (plus - minus) / (plus + minus): the halves carry (1 + I) and (1 - I) times the mean grade. The slot
of the blade is left out of account: it lies evenly about the cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import Floats, numbers, plain, refuse_where, together
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class VeinShares:
    """What lies in both halves together, how much more lies in the plus half, and their ratio (NaN: nothing there)."""

    whole: Any
    difference: Any
    imbalance: Any


def clipped_vein_imbalance(
    *,
    radius_mm: ArrayLike,
    alpha_deg: ArrayLike,
    thickness_mm: ArrayLike,
    centre_mm: ArrayLike,
    sample_from_mm: ArrayLike,
    sample_to_mm: ArrayLike,
    angle_deg: ArrayLike,
) -> Any:
    """Imbalance of a vein that the ends of the sample may clip.

    See clipped_vein_shares; this is its ratio alone.

    Parameters
    ----------
    radius_mm : float or array (n,) [mm]
        Radius of the core.
    alpha_deg : float or array (n,) [deg]
        Angle between vein and core axis, above 0 to 90.
    thickness_mm : float or array (n,) [mm]
        True thickness.
    centre_mm : float or array (n,) [mm]
        Where the middle of the vein crosses the core axis.
    sample_from_mm : float or array (n,) [mm]
        Upper end of the sample on the same scale.
    sample_to_mm : float or array (n,) [mm]
        Lower end of the sample.
    angle_deg : float or array (n,) [deg]
        From the lower apex to the cut, clockwise looking downhole.

    Returns
    -------
    float or array (n,)
        From -1 to 1; NaN where none of the vein lies in the sample.

    Raises
    ------
    ImpossibleValue
        As for clipped_vein_shares.

    Valid for: as clipped_vein_shares.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py,
        tests/properties/test_cut_plane_properties.py
    """
    return clipped_vein_shares(
        radius_mm=radius_mm, alpha_deg=alpha_deg, thickness_mm=thickness_mm, centre_mm=centre_mm,
        sample_from_mm=sample_from_mm, sample_to_mm=sample_to_mm, angle_deg=angle_deg,
    ).imbalance  # fmt: skip


def clipped_vein_shares(
    *,
    radius_mm: ArrayLike,
    alpha_deg: ArrayLike,
    thickness_mm: ArrayLike,
    centre_mm: ArrayLike,
    sample_from_mm: ArrayLike,
    sample_to_mm: ArrayLike,
    angle_deg: ArrayLike,
) -> VeinShares:
    """Volume of a vein in the sample, and how much more of it the plus half holds.

    Along each column of the core the vein has a length that is straight in u between at most four breaks. Times the
    chord of the core this integrates in closed form. A vein wholly inside the sample is shared evenly by every cut.

    Parameters
    ----------
    radius_mm : float or array (n,) [mm]
        Radius of the core.
    alpha_deg : float or array (n,) [deg]
        Angle between vein and core axis, above 0 to 90. Along the axis use axial_vein_imbalance.
    thickness_mm : float or array (n,) [mm]
        True thickness.
    centre_mm : float or array (n,) [mm]
        Where the middle of the vein crosses the core axis; may lie outside the sample.
    sample_from_mm : float or array (n,) [mm]
        Upper end of the sample.
    sample_to_mm : float or array (n,) [mm]
        Lower end of the sample.
    angle_deg : float or array (n,) [deg]
        From the lower apex to the cut, clockwise looking downhole.

    Returns
    -------
    VeinShares
        .whole (n,) and .difference (n,) in cubic millimetres; .imbalance (n,), NaN where no vein lies in the sample.

    Raises
    ------
    ImpossibleValue
        When radius, thickness or sample length is not more than 0, or alpha is not above 0 to 90.

    Valid for: plane vein with parallel walls, round core, square sample ends, cut through the axis.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py,
        tests/properties/test_cut_plane_properties.py
    """
    radius, alpha, thickness, centre, top, bottom, angle = together(
        radius_mm=numbers(radius_mm, "radius_mm", above=0.0),
        alpha_deg=numbers(alpha_deg, "alpha_deg", above=0.0, at_most=90.0),
        thickness_mm=numbers(thickness_mm, "thickness_mm", above=0.0),
        centre_mm=numbers(centre_mm, "centre_mm"),
        sample_from_mm=numbers(sample_from_mm, "sample_from_mm"),
        sample_to_mm=numbers(sample_to_mm, "sample_to_mm"),
        angle_deg=numbers(angle_deg, "angle_deg"),
    )
    _refuse_empty_sample(top, bottom)
    half = thickness / (2.0 * np.sin(np.radians(alpha)))
    cot = _cot(alpha)
    return _shares(*bed_integrals(radius, cot, centre - half, centre + half, top, bottom, angle, 1.0, 0.0))


def layered_grade_imbalance(
    *,
    radius_mm: float,
    alpha_deg: float,
    layer_from_mm: ArrayLike,
    layer_to_mm: ArrayLike,
    grade_from: ArrayLike,
    grade_to: ArrayLike,
    sample_from_mm: ArrayLike,
    sample_to_mm: ArrayLike,
    angle_deg: ArrayLike,
) -> VeinShares:
    """Imbalance of beds that cross the core at one angle, each with a grade that runs straight from wall to wall.

    Positions are those where the walls cross the core axis. Each bed integrates in closed form, as in
    clipped_vein_shares with one power of u more; the beds are added. Ground outside all beds carries nothing.

    Parameters
    ----------
    radius_mm : float [mm]
        Radius of the core.
    alpha_deg : float [deg]
        Angle between beds and core axis, above 0 to 90.
    layer_from_mm : array (k,) [mm]
        Upper walls on the core axis; beds that reach past the sample are clipped by its ends.
    layer_to_mm : array (k,) [mm]
        Lower walls.
    grade_from : array (k,)
        Grade at the upper wall, in any unit, 0 or more.
    grade_to : array (k,)
        Grade at the lower wall.
    sample_from_mm : float or array (n,) [mm]
        Upper ends of the samples.
    sample_to_mm : float or array (n,) [mm]
        Lower ends of the samples.
    angle_deg : float or array (n,) [deg]
        From the lower apex to the cut, clockwise looking downhole.

    Returns
    -------
    VeinShares
        .whole (n,) and .difference (n,) in grade times cubic millimetres; .imbalance (n,), NaN for barren samples.

    Raises
    ------
    ImpossibleValue
        When a length is not more than 0, a grade is negative, or beds overlap.

    Valid for: even density; beds as clipped_vein_shares. Above alpha of a few degrees for a running grade (rounding).
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py
    """
    radius = float(numbers(radius_mm, "radius_mm", above=0.0))
    alpha = float(numbers(alpha_deg, "alpha_deg", above=0.0, at_most=90.0))
    upper, lower, first, last = (
        np.atleast_1d(one)
        for one in together(
            layer_from_mm=numbers(layer_from_mm, "layer_from_mm"),
            layer_to_mm=numbers(layer_to_mm, "layer_to_mm"),
            grade_from=numbers(grade_from, "grade_from", at_least=0.0),
            grade_to=numbers(grade_to, "grade_to", at_least=0.0),
        )
    )
    refuse_where(lower <= upper, lower, "layer_to_mm", "mm is not below the upper wall", "Give the upper wall first")
    order = np.argsort(upper, kind="stable")
    if np.any(upper[order][1:] < lower[order][:-1] - 1e-9):
        raise ImpossibleValue(
            "two beds overlap", where="layer_from_mm", remedy="Let each bed begin where the one above ends, or below"
        )
    top, bottom, angle = together(
        sample_from_mm=numbers(sample_from_mm, "sample_from_mm"),
        sample_to_mm=numbers(sample_to_mm, "sample_to_mm"),
        angle_deg=numbers(angle_deg, "angle_deg"),
    )
    _refuse_empty_sample(top, bottom)
    whole, difference = bed_integrals(
        np.float64(radius), _cot(np.float64(alpha)), upper, lower, top[..., None], bottom[..., None], angle[..., None],
        0.5 * (first + last), (last - first) / (lower - upper),
    )  # fmt: skip
    return _shares(whole.sum(axis=-1), difference.sum(axis=-1))


def axial_vein_imbalance(
    *, radius_mm: ArrayLike, offset_mm: ArrayLike, thickness_mm: ArrayLike, angle_deg: ArrayLike
) -> Any:
    """Imbalance of a vein that runs exactly along the core, at a distance from its axis.

    The strip between two chords, shared by a line through the middle; the same along the whole sample.

    Parameters
    ----------
    radius_mm : float or array (n,) [mm]
        Radius of the core.
    offset_mm : float or array (n,) [mm]
        From the core axis to the middle of the vein, positive toward beta.
    thickness_mm : float or array (n,) [mm]
        True thickness; 0 gives the limit of a thin vein.
    angle_deg : float or array (n,) [deg]
        From beta to the cut, clockwise looking downhole.

    Returns
    -------
    float or array (n,)
        From -1 to 1; NaN where the vein misses the core.

    Raises
    ------
    ImpossibleValue
        When the radius is not more than 0 or the thickness is negative.

    Valid for: plane vein parallel to the axis, cut through the axis.
    Source: thin vein: I = min(1, u tan(phi) / sqrt(R^2 - u^2)); thick vein: its integral (derived).
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py
    """
    radius, offset, thickness, angle = together(
        radius_mm=numbers(radius_mm, "radius_mm", above=0.0),
        offset_mm=numbers(offset_mm, "offset_mm"),
        thickness_mm=numbers(thickness_mm, "thickness_mm", at_least=0.0),
        angle_deg=numbers(angle_deg, "angle_deg"),
    )
    side, turn = _fold(angle)
    tan, reach = _tan_and_reach(turn)
    low = np.clip((offset - thickness / 2.0) / radius, -1.0, 1.0)
    high = np.clip((offset + thickness / 2.0) / radius, -1.0, 1.0)
    whole = np.zeros_like(radius)
    difference = np.zeros_like(radius)
    knots = np.sort(np.stack((low, np.clip(-reach, low, high), np.clip(reach, low, high), high)), axis=0)
    for start, end in pairwise(knots):
        middle = 0.5 * (start + end)
        part = _chord_0(end) - _chord_0(start)
        whole = whole + part
        difference = difference + np.where(
            np.abs(middle) > reach, np.sign(middle) * np.sign(tan) * part, tan * (end * end - start * start)
        )
    x = offset / radius
    half_chord = np.sqrt(np.clip(1.0 - x * x, 0.0, 1.0))
    wedge = np.clip(x * tan, -half_chord, half_chord)
    thin = thickness == 0.0
    whole = np.where(thin, 2.0 * half_chord, whole)
    difference = np.where(thin, 2.0 * wedge, difference)
    return _shares(whole, side * difference).imbalance


def end_clipped_share(*, radius_mm: ArrayLike, end_offset_mm: ArrayLike, angle_deg: ArrayLike) -> Any:
    """Imbalance that one sample end puts on a thin vein, as a share of the whole vein's volume.

    The end meets the vein along a chord at the given distance from the axis. The share is
    (phi - x^2 tan(phi)) / pi for x up to cos(phi), else (acos x - x sqrt(1 - x^2)) / pi, x = distance / radius.

    Parameters
    ----------
    radius_mm : float or array (n,) [mm]
        Radius of the core.
    end_offset_mm : float or array (n,) [mm]
        From the core axis to the chord, toward either apex, at most the radius.
    angle_deg : float or array (n,) [deg]
        Between apex and cut, -90 to 90.

    Returns
    -------
    float or array (n,)
        0 to one half.

    Raises
    ------
    ImpossibleValue
        When the chord lies outside the core or the angle is out of range.

    Valid for: a vein thin against the core, clipped by one end only.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py
    """
    radius, offset, angle = together(
        radius_mm=numbers(radius_mm, "radius_mm", above=0.0),
        end_offset_mm=numbers(end_offset_mm, "end_offset_mm"),
        angle_deg=numbers(angle_deg, "angle_deg", at_least=-90.0, at_most=90.0),
    )
    x = np.abs(offset) / radius
    refuse_where(x > 1.0, offset, "end_offset_mm", "mm lies outside the core", "Give at most the radius")
    tan, reach = _tan_and_reach(np.abs(angle))
    inside = x <= reach
    near = np.radians(np.abs(angle)) - x * x * np.where(inside, tan, 0.0)
    return plain(np.where(inside, near, np.arccos(x) - x * np.sqrt(1.0 - x * x)) / np.pi)


def mean_end_share(*, angle_deg: ArrayLike) -> Any:
    """Mean of end_clipped_share over all places of the sample end: 2 sin(phi) / (3 pi).

    Parameters
    ----------
    angle_deg : float or array (n,) [deg]
        Between apex and cut.

    Returns
    -------
    float or array (n,)
        0 to 0.2122.

    Raises
    ------
    ImpossibleValue
        When the angle is missing.

    Valid for: thin veins, sample ends placed without regard to them.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py
    """
    return plain(2.0 / (3.0 * np.pi) * np.abs(np.sin(np.radians(numbers(angle_deg, "angle_deg")))))


def clip_chance(*, core_diameter_mm: ArrayLike, alpha_deg: ArrayLike, sample_length_mm: ArrayLike) -> Any:
    """Chance that the upper or the lower end of some sample clips a thin vein: D cot(alpha) / L, at most 1.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    alpha_deg : float or array (n,) [deg]
        Angle between vein and core axis, above 0 to 90.
    sample_length_mm : float or array (n,) [mm]
        Length of the samples.

    Returns
    -------
    float or array (n,)
        0 to 1.

    Raises
    ------
    ImpossibleValue
        When a length is not more than 0 or alpha is out of range.

    Valid for: samples end to end, placed without regard to the veins.
    Source: derived.
    Checked by: tests/unit/core/test_vein_shares.py
    """
    diameter, alpha, length = together(
        core_diameter_mm=numbers(core_diameter_mm, "core_diameter_mm", above=0.0),
        alpha_deg=numbers(alpha_deg, "alpha_deg", above=0.0, at_most=90.0),
        sample_length_mm=numbers(sample_length_mm, "sample_length_mm", above=0.0),
    )
    return plain(np.minimum(1.0, diameter * _cot(alpha) / length))


def running_grade_imbalance(
    *,
    radius_mm: ArrayLike,
    alpha_deg: ArrayLike,
    length_mm: ArrayLike,
    grade_from: ArrayLike,
    grade_to: ArrayLike,
    angle_deg: ArrayLike,
) -> Any:
    """Imbalance where the grade of the beds runs straight from one sample end to the other.

    I = -(4 / (3 pi)) (R / L) cot(alpha) sin(phi) (difference of the two grades) / (their mean).

    Parameters
    ----------
    radius_mm : float or array (n,) [mm]
        Radius of the core.
    alpha_deg : float or array (n,) [deg]
        Angle between beds and core axis, above 0 to 90.
    length_mm : float or array (n,) [mm]
        Length of the sample.
    grade_from : float or array (n,)
        Grade on the axis at the upper end, any unit.
    grade_to : float or array (n,)
        Grade on the axis at the lower end.
    angle_deg : float or array (n,) [deg]
        From the lower apex to the cut, clockwise looking downhole.

    Returns
    -------
    float or array (n,)

    Raises
    ------
    ImpossibleValue
        When a length is not more than 0, a grade is negative or both are 0.

    Valid for: a grade that goes on in a straight line past the ends, by R cot(alpha), without falling below 0.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_vein_shares.py
    """
    radius, alpha, length, first, last, angle = together(
        radius_mm=numbers(radius_mm, "radius_mm", above=0.0),
        alpha_deg=numbers(alpha_deg, "alpha_deg", above=0.0, at_most=90.0),
        length_mm=numbers(length_mm, "length_mm", above=0.0),
        grade_from=numbers(grade_from, "grade_from", at_least=0.0),
        grade_to=numbers(grade_to, "grade_to", at_least=0.0),
        angle_deg=numbers(angle_deg, "angle_deg"),
    )
    mean = 0.5 * (first + last)
    refuse_where(mean == 0.0, mean, "grade_from, grade_to", "at both ends: a barren sample has no imbalance",
                 "Leave this sample out")  # fmt: skip
    slope = radius / length * _cot(alpha) * np.sin(np.radians(angle))
    return plain(-4.0 / (3.0 * np.pi) * slope * (last - first) / mean)


def across_grade_imbalance(*, mean_grade: ArrayLike, rim_change: ArrayLike, angle_deg: ArrayLike) -> Any:
    """Imbalance where the grade runs straight across the core and stays the same along it.

    I = (4 / (3 pi)) sin(phi) (change of grade from the axis to the rim) / (mean grade).

    Parameters
    ----------
    mean_grade : float or array (n,)
        Grade on the axis, any unit.
    rim_change : float or array (n,)
        Grade at the rim toward beta less grade on the axis, same unit; at most the mean either way.
    angle_deg : float or array (n,) [deg]
        From beta to the cut, clockwise looking downhole.

    Returns
    -------
    float or array (n,)

    Raises
    ------
    ImpossibleValue
        When the mean is not more than 0 or the change would make the grade negative at the rim.

    Valid for: a grade linear across the core.
    Source: derived.
    Checked by: tests/unit/core/test_vein_shares.py
    """
    mean, change, angle = together(
        mean_grade=numbers(mean_grade, "mean_grade", above=0.0),
        rim_change=numbers(rim_change, "rim_change"),
        angle_deg=numbers(angle_deg, "angle_deg"),
    )
    refuse_where(
        np.abs(change) > mean, change, "rim_change", "would make the grade negative at the rim", "Check both grades"
    )
    return plain(4.0 / (3.0 * np.pi) * np.sin(np.radians(angle)) * change / mean)


def bed_integrals(
    radius: Floats, cot: Floats, upper: Any, lower: Any, top: Any, bottom: Any, angle: Any, grade: Any, slope: Any
) -> tuple[Floats, Floats]:
    """Whole and plus-minus-minus content of beds between `upper` and `lower` on the axis, in samples `top` to `bottom`.

    `grade` is the grade halfway between the walls, `slope` its change per millimetre along the axis. Nothing is checked.
    """
    side, turn = _fold(angle)
    tan, reach = _tan_and_reach(turn)
    rise = radius * cot  # of the bed, from the axis to the rim
    half = 0.5 * (lower - upper)
    middle = 0.5 * (upper + lower)
    top, bottom = top - middle, bottom - middle  # from here on z is counted from the middle of the bed
    with np.errstate(divide="ignore", over="ignore"):
        breaks = [np.clip((end - wall) / rise, -1.0, 1.0) for end in (top, bottom) for wall in (-half, half)]
    knots = np.sort(np.stack(np.broadcast_arrays(-1.0, -reach, reach, 1.0, *breaks)), axis=0)
    shape = np.broadcast_shapes(knots.shape[1:], np.shape(grade), np.shape(slope))
    whole, difference = np.zeros(shape), np.zeros(shape)
    uniform = not np.any(slope)
    powers = 2 if uniform else 3
    chords = [_CHORDS[k](knots) for k in range(powers)]
    for step in range(7):
        start, end = knots[step], knots[step + 1]
        if not np.any(end > start):
            continue
        x = 0.5 * (start + end)
        # The bed's piece of each column runs from `low` to `high`, measured square to the walls along the axis.
        by_top, by_bottom = top - x * rise > -half, bottom - x * rise < half
        low_0, low_1 = np.where(by_top, top, -half), np.where(by_top, -rise, 0.0)
        high_0, high_1 = np.where(by_bottom, bottom, half), np.where(by_bottom, -rise, 0.0)
        length = [high_0 - low_0, high_1 - low_1]
        there = length[0] + length[1] * x > 0.0
        if uniform:
            content = [grade * one for one in length]
        else:
            mean = [grade + 0.5 * slope * (high_0 + low_0), 0.5 * slope * (high_1 + low_1)]
            content = [
                length[0] * mean[0], length[0] * mean[1] + length[1] * mean[0], length[1] * mean[1],
            ]  # fmt: skip
        part = sum(content[k] * (chords[k][step + 1] - chords[k][step]) for k in range(powers))
        part = np.where(there, np.maximum(part, 0.0), 0.0)  # below 0 only by rounding
        wedge = tan * sum(content[k] * (2.0 / (k + 2.0)) * (end ** (k + 2) - start ** (k + 2)) for k in range(powers))
        inner = np.where(there, np.clip(wedge, -part, part), 0.0)
        whole = whole + part
        difference = difference + np.where(np.abs(x) > reach, np.sign(x) * np.sign(tan) * part, inner)
    area = radius * radius
    return area * whole, area * side * difference


def _fold(angle_deg: Any) -> tuple[Floats, Floats]:
    """Half turns taken out: the sign they leave, and an angle from -90 to 90."""
    angle = np.asarray(angle_deg, dtype=np.float64)
    half_turns = np.round(angle / 180.0)
    return np.where(np.mod(half_turns, 2.0) == 0.0, 1.0, -1.0), angle - 180.0 * half_turns


def _tan_and_reach(turn_deg: Any) -> tuple[Floats, Floats]:
    """Tangent of the cut's angle, and how far out (of one radius) the cut stays inside the core."""
    turn = np.radians(turn_deg)
    return np.tan(turn), np.cos(turn)


def _chord_0(x: Floats) -> Floats:
    """Integral of the chord 2 sqrt(1 - x^2)."""
    return x * np.sqrt((1.0 - x) * (1.0 + x)) + np.arcsin(x)


def _chord_1(x: Floats) -> Floats:
    """Integral of x times the chord."""
    return -2.0 / 3.0 * ((1.0 - x) * (1.0 + x)) ** 1.5


def _chord_2(x: Floats) -> Floats:
    """Integral of x^2 times the chord."""
    return 0.25 * (np.arcsin(x) - x * np.sqrt((1.0 - x) * (1.0 + x)) * (1.0 - 2.0 * x * x))


_CHORDS = (_chord_0, _chord_1, _chord_2)


def _cot(alpha_deg: Floats) -> Floats:
    """Cotangent, exactly 0 at 90."""
    return np.tan(np.radians(90.0 - alpha_deg))


def _shares(whole: Floats, difference: Floats) -> VeinShares:
    there = whole > 0.0
    imbalance = np.divide(difference, whole, out=np.full(np.shape(whole), np.nan), where=there)
    return VeinShares(whole=plain(whole), difference=plain(difference), imbalance=plain(imbalance))


def _refuse_empty_sample(top: Floats, bottom: Floats) -> None:
    refuse_where(
        bottom <= top, bottom, "sample_to_mm", "mm is not below the upper end of the sample", "Give the upper end first"
    )
