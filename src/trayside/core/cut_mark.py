"""Where to put the cut on the core: millimetres of arc from the orientation line, and how fine a mark can be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import numbers, plain, refuse_where, together


@dataclass(frozen=True, slots=True)
class ClosestMark:
    """Where to put the tape: arc from the orientation line to the nearer edge of the cut, at most a quarter round."""

    arc_mm: Any
    clockwise: Any


def arc_mm(*, core_diameter_mm: ArrayLike, angle_deg: ArrayLike) -> Any:
    """Arc on the surface of the core for an angle round it: pi D angle / 360.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    angle_deg : float or array (n,) [deg]
        Angle round the core, with its sign.

    Returns
    -------
    float or array (n,) [mm]

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0.

    Valid for: a tape laid square round the core.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_cut_mark.py
    """
    diameter, angle = together(
        core_diameter_mm=numbers(core_diameter_mm, "core_diameter_mm", above=0.0),
        angle_deg=numbers(angle_deg, "angle_deg"),
    )
    return plain(np.pi * diameter * angle / 360.0)


def turn_deg(*, core_diameter_mm: ArrayLike, arc_mm: ArrayLike) -> Any:
    """Angle round the core for an arc on its surface: the inverse of arc_mm.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    arc_mm : float or array (n,) [mm]
        Arc on the surface, with its sign.

    Returns
    -------
    float or array (n,) [deg]

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0.

    Valid for: a tape laid square round the core.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_cut_mark.py
    """
    diameter, arc = together(
        core_diameter_mm=numbers(core_diameter_mm, "core_diameter_mm", above=0.0), arc_mm=numbers(arc_mm, "arc_mm")
    )
    return plain(360.0 * arc / (np.pi * diameter))


def blade_half_angle_deg(*, core_diameter_mm: ArrayLike, kerf_mm: ArrayLike) -> Any:
    """Half the angle round the core that the slot covers at the surface: asin(kerf / diameter).

    A mark within it is sawn away: the cut cannot be set finer.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot, less than the diameter.

    Returns
    -------
    float or array (n,) [deg]

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0 or the kerf is negative or not less than it.

    Valid for: a cut through the axis.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_cut_mark.py
    """
    diameter, kerf = together(
        core_diameter_mm=numbers(core_diameter_mm, "core_diameter_mm", above=0.0),
        kerf_mm=numbers(kerf_mm, "kerf_mm", at_least=0.0),
    )
    refuse_where(kerf >= diameter, kerf, "kerf_mm", "mm is as wide as the core", "Check the blade and the core size")
    return plain(np.degrees(np.arcsin(kerf / diameter)))


def closest_mark(*, core_diameter_mm: ArrayLike, cut_deg: ArrayLike) -> ClosestMark:
    """Millimetres of arc from the orientation line to the nearer edge of the cut, and to which side.

    The cut meets the surface twice, half a turn apart; the nearer edge is at most a quarter of the way round.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    cut_deg : float or array (n,) [deg]
        Cut from the orientation line, clockwise looking downhole.

    Returns
    -------
    ClosestMark
        .arc_mm (n,) [mm] 0 or more; .clockwise (n,) True where to measure clockwise looking downhole.

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0.

    Valid for: a tape laid square round the core.
    Source: derived.
    Checked by: tests/unit/core/test_cut_mark.py
    """
    cut = np.mod(numbers(cut_deg, "cut_deg"), 180.0)
    signed = np.where(cut <= 90.0, cut, cut - 180.0)
    clockwise = signed >= 0.0
    return ClosestMark(
        arc_mm=arc_mm(core_diameter_mm=core_diameter_mm, angle_deg=np.abs(signed)),
        clockwise=bool(clockwise) if np.ndim(clockwise) == 0 else clockwise,
    )
