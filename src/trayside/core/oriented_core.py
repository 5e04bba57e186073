"""Oriented core: from angles measured on the core to planes and lines in the ground, and back.

    alpha   acute angle between plane and core axis, 0 to 90
    beta    angle round the core from the reference line to an apex of the plane's ellipse, clockwise looking downhole
    gamma   in a plane: angle from the downhole end of the ellipse's long axis, clockwise looking downhole; for a free
            line: angle between line and core axis
    delta   angle round the core from the reference line to where a free line points as it goes downhole

Ground axes are east, north, up. Plunge is positive downward. Where a direction does not exist (dip direction of a
flat plane, beta of a plane square to the core, trend of an upright line) the answer is NaN, not 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import Floats, numbers, plain, together
from trayside.errors import ImpossibleValue

LINES = ("bottom", "top")
APEXES = ("lower", "upper")
ALPHA_TO = ("plane", "pole")

# Components of a unit vector smaller than this are rounding: the direction they would give does not exist.
ROUNDING = 1e-12
# The same in degrees, with room: a direction may be left out this near to where it does not exist.
UNDEFINED_DEG = 1e-9


@dataclass(frozen=True, slots=True)
class AngleConvention:
    """How alpha and beta were measured; the default is the one Trayside keeps.

    `line`: the reference line is along the bottom or the top of the hole. `apex`: beta is read at the lower (downhole)
    or the upper apex. `alpha_to`: alpha is the angle from the core axis to the plane or to its pole.
    """

    line: str = "bottom"
    apex: str = "lower"
    alpha_to: str = "plane"

    def __post_init__(self) -> None:
        for name, given, known in (
            ("line", self.line, LINES),
            ("apex", self.apex, APEXES),
            ("alpha_to", self.alpha_to, ALPHA_TO),
        ):
            if given not in known:
                raise ImpossibleValue(
                    f"{given!r} is not known",
                    where=f"AngleConvention, {name}",
                    remedy=f"Use one of: {', '.join(known)}",
                )

    @property
    def half_turns(self) -> int:
        """Half turns between this beta and the one from the bottom line to the lower apex."""
        return (self.line == "top") + (self.apex == "upper")


KEPT = AngleConvention()


@dataclass(frozen=True, slots=True)
class CoreAngles:
    """Alpha and beta of a plane; beta is NaN where the plane is square to the core."""

    alpha_deg: Any
    beta_deg: Any


@dataclass(frozen=True, slots=True)
class GroundPlane:
    """A plane in the ground and its downward pole. An upright plane gets the dip direction below 180."""

    dip_deg: Any
    dip_direction_deg: Any
    pole_trend_deg: Any
    pole_plunge_deg: Any


@dataclass(frozen=True, slots=True)
class GroundLine:
    """A line in the ground, pointing down. A level line gets the trend below 180."""

    trend_deg: Any
    plunge_deg: Any


@dataclass(frozen=True, slots=True)
class LineAngles:
    """A free line on the core: gamma from the axis, delta round the core; delta is NaN along the axis."""

    gamma_deg: Any
    delta_deg: Any


def convert_core_angles(
    *, alpha_deg: ArrayLike, beta_deg: ArrayLike, measured: AngleConvention, wanted: AngleConvention = KEPT
) -> CoreAngles:
    """Alpha and beta of one convention said in another.

    A top line and an upper apex each turn beta by 180; both together cancel. Alpha to the pole is 90 less alpha to
    the plane.

    Parameters
    ----------
    alpha_deg : float or array (n,) [deg]
        Alpha as measured, 0 to 90.
    beta_deg : float or array (n,) [deg]
        Beta as measured, -360 to 360.
    measured : AngleConvention
        How the angles were measured.
    wanted : AngleConvention
        How they are wanted.

    Returns
    -------
    CoreAngles
        .alpha_deg (n,) [deg], .beta_deg (n,) [deg] from 0 up to 360.

    Raises
    ------
    ImpossibleValue
        When an angle is out of range.

    Valid for: beta clockwise looking downhole in both conventions.
    Source: the conventions are listed in R. Marjoribanks, Geological Methods in Mineral Exploration and Mining,
        Appendix D p. 213 (partly seen); the conversion is derived.
    Checked by: tests/unit/core/test_oriented_core.py, tests/properties/test_oriented_core_properties.py
    """
    alpha, beta = _alpha_beta(alpha_deg, beta_deg, measured)
    return CoreAngles(
        alpha_deg=plain(90.0 - alpha if wanted.alpha_to == "pole" else alpha),
        beta_deg=plain(_turn(beta + 180.0 * wanted.half_turns)),
    )


def plane_from_core_angles(
    *,
    hole_azimuth_deg: ArrayLike,
    hole_plunge_deg: ArrayLike,
    alpha_deg: ArrayLike,
    beta_deg: ArrayLike,
    convention: AngleConvention = KEPT,
) -> GroundPlane:
    """Dip and dip direction of a plane measured on oriented core.

    With d down the hole, b to the bottom of the hole and c = d x b, the normal is d sin(alpha) - e cos(alpha), where
    e = b cos(beta) + c sin(beta) points to the lower apex. The upward normal gives the dip and its direction.

    Parameters
    ----------
    hole_azimuth_deg : float or array (n,) [deg]
        Azimuth of the hole at the measurement, 0 to 360.
    hole_plunge_deg : float or array (n,) [deg]
        Plunge of the hole, positive downward, -90 to 90.
    alpha_deg : float or array (n,) [deg]
        Angle between plane and core axis, 0 to 90.
    beta_deg : float or array (n,) [deg]
        Angle round the core, -360 to 360; may be NaN where the plane is square to the core.
    convention : AngleConvention
        How alpha and beta were measured; bottom line and lower apex if not said.

    Returns
    -------
    GroundPlane
        .dip_deg (n,) [deg] 0 to 90; .dip_direction_deg (n,) [deg] 0 up to 360, NaN for a flat plane;
        .pole_trend_deg (n,) [deg], .pole_plunge_deg (n,) [deg] of the downward pole.

    Raises
    ------
    ImpossibleValue
        When an angle is missing or out of range.

    Valid for: straight core at the measured point. In an upright hole the azimuth is that of the plane through axis
        and reference line.
    Source: derived; one worked result: tobiste/structr, tests/testthat/test-alphabeta.R (seen).
    Checked by: tests/published/test_oriented_core_published.py, tests/unit/core/test_oriented_core.py,
        tests/properties/test_oriented_core_properties.py
    """
    alpha, beta = _alpha_beta(alpha_deg, beta_deg, convention)
    azimuth, plunge = _hole(hole_azimuth_deg, hole_plunge_deg)
    azimuth, plunge, alpha, beta = together(
        hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, alpha_deg=alpha, beta_deg=beta
    )
    down, apex, _ = _core_frame(azimuth, plunge, beta)
    return _plane_of(down * _sin(alpha) - apex * _cos(alpha))


def core_angles_from_plane(
    *,
    hole_azimuth_deg: ArrayLike,
    hole_plunge_deg: ArrayLike,
    dip_deg: ArrayLike,
    dip_direction_deg: ArrayLike,
    convention: AngleConvention = KEPT,
) -> CoreAngles:
    """Alpha and beta at which a known plane would be seen on the core.

    The inverse of plane_from_core_angles: the normal is turned downhole; alpha is its angle above the core's cross
    section, and the lower apex lies opposite its sideways part.

    Parameters
    ----------
    hole_azimuth_deg : float or array (n,) [deg]
        Azimuth of the hole, 0 to 360.
    hole_plunge_deg : float or array (n,) [deg]
        Plunge of the hole, positive downward, -90 to 90.
    dip_deg : float or array (n,) [deg]
        Dip of the plane, 0 to 90.
    dip_direction_deg : float or array (n,) [deg]
        Dip direction, 0 to 360; may be NaN for a flat plane.
    convention : AngleConvention
        How the angles are wanted.

    Returns
    -------
    CoreAngles
        .alpha_deg (n,) [deg]; .beta_deg (n,) [deg] 0 up to 360, NaN where the plane is square to the core. Along the
        core (alpha 0) both ends are alike: the beta below 180 of the lower apex is given.

    Raises
    ------
    ImpossibleValue
        When an angle is missing or out of range.

    Valid for: straight core at the measured point.
    Source: derived.
    Checked by: tests/unit/core/test_oriented_core.py, tests/properties/test_oriented_core_properties.py
    """
    azimuth, plunge = _hole(hole_azimuth_deg, hole_plunge_deg)
    dip = numbers(dip_deg, "dip_deg", at_least=0.0, at_most=90.0)
    direction = _may_miss(dip_direction_deg, "dip_direction_deg", dip < UNDEFINED_DEG, at_least=0.0)
    azimuth, plunge, dip, direction = together(
        hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, dip_deg=dip, dip_direction_deg=direction
    )
    down, bottom, side = _core_frame(azimuth, plunge, np.zeros_like(azimuth))
    normal = np.stack((_sin(dip) * _sin(direction), _sin(dip) * _cos(direction), _cos(dip)))
    along, to_bottom, to_side = _dot(normal, down), _dot(normal, bottom), _dot(normal, side)
    turned = np.where(along < 0.0, -1.0, 1.0)
    alpha = np.degrees(np.arctan2(np.abs(along), np.hypot(to_bottom, to_side)))
    beta = _turn(np.degrees(np.arctan2(-turned * to_side, -turned * to_bottom)))
    beta = np.where(np.abs(along) < ROUNDING, np.mod(beta, 180.0), beta)
    beta = np.where(np.hypot(to_bottom, to_side) < ROUNDING, np.nan, beta)
    return CoreAngles(
        alpha_deg=plain(90.0 - alpha if convention.alpha_to == "pole" else alpha),
        beta_deg=plain(_turn(beta + 180.0 * convention.half_turns)),
    )


def line_in_plane(
    *,
    hole_azimuth_deg: ArrayLike,
    hole_plunge_deg: ArrayLike,
    alpha_deg: ArrayLike,
    beta_deg: ArrayLike,
    gamma_deg: ArrayLike,
    convention: AngleConvention = KEPT,
) -> GroundLine:
    """Trend and plunge of a line that lies in a measured plane.

    The line is l cos(gamma) + (d x e) sin(gamma), where l is the downhole end of the ellipse's long axis.

    Parameters
    ----------
    hole_azimuth_deg : float or array (n,) [deg]
        Azimuth of the hole, 0 to 360.
    hole_plunge_deg : float or array (n,) [deg]
        Plunge of the hole, positive downward, -90 to 90.
    alpha_deg : float or array (n,) [deg]
        Angle between plane and core axis, 0 to 90.
    beta_deg : float or array (n,) [deg]
        Angle round the core to the apex, -360 to 360.
    gamma_deg : float or array (n,) [deg]
        Angle in the plane from the downhole end of the long axis, clockwise looking downhole, -360 to 360.
    convention : AngleConvention
        How alpha and beta were measured. Gamma always starts at the downhole end.

    Returns
    -------
    GroundLine
        .trend_deg (n,) [deg] 0 up to 360, NaN for an upright line; .plunge_deg (n,) [deg] 0 to 90.

    Raises
    ------
    ImpossibleValue
        When an angle is missing or out of range.

    Valid for: straight core at the measured point.
    Source: gamma as in the manual page of tobiste/structr (seen); the formula is derived.
    Checked by: tests/published/test_oriented_core_published.py, tests/properties/test_oriented_core_properties.py
    """
    alpha, beta = _alpha_beta(alpha_deg, beta_deg, convention)
    azimuth, plunge = _hole(hole_azimuth_deg, hole_plunge_deg)
    gamma = numbers(gamma_deg, "gamma_deg", at_least=-360.0, at_most=360.0)
    azimuth, plunge, alpha, beta, gamma = together(
        hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, alpha_deg=alpha, beta_deg=beta, gamma_deg=gamma
    )
    down, apex, across = _core_frame(azimuth, plunge, beta)
    long_axis = down * _cos(alpha) + apex * _sin(alpha)
    return _line_of(long_axis * _cos(gamma) + across * _sin(gamma))


def line_from_core_angles(
    *,
    hole_azimuth_deg: ArrayLike,
    hole_plunge_deg: ArrayLike,
    gamma_deg: ArrayLike,
    delta_deg: ArrayLike,
    line: str = "bottom",
) -> GroundLine:
    """Trend and plunge of a free line measured by its angle to the axis and its place round the core.

    The line is d cos(gamma) + (b cos(delta) + c sin(delta)) sin(gamma).

    Parameters
    ----------
    hole_azimuth_deg : float or array (n,) [deg]
        Azimuth of the hole, 0 to 360.
    hole_plunge_deg : float or array (n,) [deg]
        Plunge of the hole, positive downward, -90 to 90.
    gamma_deg : float or array (n,) [deg]
        Angle between the line and the core axis, 0 to 180 (0 down the hole).
    delta_deg : float or array (n,) [deg]
        Angle round the core from the reference line, clockwise looking downhole, -360 to 360.
    line : str
        The reference line: "bottom" or "top".

    Returns
    -------
    GroundLine
        .trend_deg (n,) [deg] 0 up to 360, NaN for an upright line; .plunge_deg (n,) [deg] 0 to 90.

    Raises
    ------
    ImpossibleValue
        When an angle is missing or out of range, or the line is not known.

    Valid for: straight core at the measured point.
    Source: angles as in R. Marjoribanks, Geological Methods in Mineral Exploration and Mining, Appendix D (partly
        seen); the formula is derived.
    Checked by: tests/published/test_oriented_core_published.py, tests/properties/test_oriented_core_properties.py
    """
    turn = 180.0 * AngleConvention(line=line).half_turns
    azimuth, plunge = _hole(hole_azimuth_deg, hole_plunge_deg)
    gamma = numbers(gamma_deg, "gamma_deg", at_least=0.0, at_most=180.0)
    delta = numbers(delta_deg, "delta_deg", at_least=-360.0, at_most=360.0)
    azimuth, plunge, gamma, delta = together(
        hole_azimuth_deg=azimuth, hole_plunge_deg=plunge, gamma_deg=gamma, delta_deg=delta
    )
    down, out, _ = _core_frame(azimuth, plunge, delta + turn)
    return _line_of(down * _cos(gamma) + out * _sin(gamma))


def core_angles_from_line(
    *,
    hole_azimuth_deg: ArrayLike,
    hole_plunge_deg: ArrayLike,
    trend_deg: ArrayLike,
    plunge_deg: ArrayLike,
    line: str = "bottom",
) -> LineAngles:
    """Gamma and delta at which a known line would be seen on the core.

    The inverse of line_from_core_angles, with the line followed downhole so that gamma is at most 90.

    Parameters
    ----------
    hole_azimuth_deg : float or array (n,) [deg]
        Azimuth of the hole, 0 to 360.
    hole_plunge_deg : float or array (n,) [deg]
        Plunge of the hole, positive downward, -90 to 90.
    trend_deg : float or array (n,) [deg]
        Trend of the line, 0 to 360; may be NaN for an upright line.
    plunge_deg : float or array (n,) [deg]
        Plunge of the line, 0 to 90.
    line : str
        The reference line: "bottom" or "top".

    Returns
    -------
    LineAngles
        .gamma_deg (n,) [deg] 0 to 90; .delta_deg (n,) [deg] 0 up to 360, NaN along the axis.

    Raises
    ------
    ImpossibleValue
        When an angle is missing or out of range, or the line is not known.

    Valid for: straight core at the measured point.
    Source: derived.
    Checked by: tests/unit/core/test_oriented_core.py, tests/properties/test_oriented_core_properties.py
    """
    turn = 180.0 * AngleConvention(line=line).half_turns
    azimuth, hole_plunge = _hole(hole_azimuth_deg, hole_plunge_deg)
    plunge = numbers(plunge_deg, "plunge_deg", at_least=0.0, at_most=90.0)
    trend = _may_miss(trend_deg, "trend_deg", plunge > 90.0 - UNDEFINED_DEG, at_least=0.0)
    azimuth, hole_plunge, trend, plunge = together(
        hole_azimuth_deg=azimuth, hole_plunge_deg=hole_plunge, trend_deg=trend, plunge_deg=plunge
    )
    down, bottom, side = _core_frame(azimuth, hole_plunge, np.zeros_like(azimuth))
    vector = np.stack((_cos(plunge) * _sin(trend), _cos(plunge) * _cos(trend), -_sin(plunge)))
    along, to_bottom, to_side = _dot(vector, down), _dot(vector, bottom), _dot(vector, side)
    turned = np.where(along < 0.0, -1.0, 1.0)
    gamma = np.degrees(np.arctan2(np.hypot(to_bottom, to_side), np.abs(along)))
    delta = _turn(np.degrees(np.arctan2(turned * to_side, turned * to_bottom)) + turn)
    delta = np.where(np.hypot(to_bottom, to_side) < ROUNDING, np.nan, delta)
    return LineAngles(gamma_deg=plain(gamma), delta_deg=plain(delta))


def _hole(azimuth_deg: ArrayLike, plunge_deg: ArrayLike) -> tuple[Floats, Floats]:
    azimuth = numbers(azimuth_deg, "hole_azimuth_deg", at_least=0.0, at_most=360.0)
    return azimuth, numbers(plunge_deg, "hole_plunge_deg", at_least=-90.0, at_most=90.0)


def _alpha_beta(alpha_deg: ArrayLike, beta_deg: ArrayLike, measured: AngleConvention) -> tuple[Floats, Floats]:
    """Checked angles, in the convention that is kept."""
    alpha = numbers(alpha_deg, "alpha_deg", at_least=0.0, at_most=90.0)
    alpha = 90.0 - alpha if measured.alpha_to == "pole" else alpha
    beta = _may_miss(beta_deg, "beta_deg", alpha > 90.0 - UNDEFINED_DEG)
    alpha, beta = together(alpha_deg=alpha, beta_deg=beta)
    return alpha, beta + 180.0 * measured.half_turns


def _may_miss(value: ArrayLike, name: str, undefined: Any, at_least: float = -360.0) -> Floats:
    """A direction up to 360 that may be NaN exactly where it does not exist; 0 stands in there."""
    try:
        given = np.asarray(value, dtype=np.float64)
        missing = np.isnan(given) & undefined
        if missing.any():
            value = np.where(missing, 0.0, given)
    except (TypeError, ValueError):
        pass  # `numbers` says what is wrong
    return numbers(value, name, at_least=at_least, at_most=360.0)


def _core_frame(azimuth_deg: Floats, plunge_deg: Floats, round_deg: Floats) -> tuple[Floats, Floats, Floats]:
    """Unit vectors (3, ...): down the hole, out of the core at an angle from the bottom, and a quarter turn further."""
    sin_a, cos_a = _sin(azimuth_deg), _cos(azimuth_deg)
    sin_p, cos_p = _sin(plunge_deg), _cos(plunge_deg)
    down = np.stack((cos_p * sin_a, cos_p * cos_a, -sin_p))
    bottom = np.stack((-sin_p * sin_a, -sin_p * cos_a, -cos_p))
    side = np.stack((-cos_a, sin_a, np.zeros_like(sin_a)))
    cos_r, sin_r = _cos(round_deg), _sin(round_deg)
    return down, bottom * cos_r + side * sin_r, side * cos_r - bottom * sin_r


def _plane_of(normal: Floats) -> GroundPlane:
    level = np.hypot(normal[0], normal[1])
    upright = np.abs(normal[2]) < ROUNDING
    turned = np.where(normal[2] < 0.0, -1.0, 1.0)
    dip = np.degrees(np.arctan2(level, np.abs(normal[2])))
    direction = _turn(np.degrees(np.arctan2(turned * normal[0], turned * normal[1])))
    direction = np.where(upright, np.mod(direction, 180.0), direction)
    direction = np.where(level < ROUNDING, np.nan, direction)
    return GroundPlane(
        dip_deg=plain(dip),
        dip_direction_deg=plain(direction),
        pole_trend_deg=plain(_turn(direction + 180.0)),
        pole_plunge_deg=plain(90.0 - dip),
    )


def _line_of(vector: Floats) -> GroundLine:
    level = np.hypot(vector[0], vector[1])
    turned = np.where(vector[2] > 0.0, -1.0, 1.0)
    trend = _turn(np.degrees(np.arctan2(turned * vector[0], turned * vector[1])))
    trend = np.where(np.abs(vector[2]) < ROUNDING, np.mod(trend, 180.0), trend)
    trend = np.where(level < ROUNDING, np.nan, trend)
    return GroundLine(trend_deg=plain(trend), plunge_deg=plain(np.degrees(np.arctan2(np.abs(vector[2]), level))))


def _turn(angle_deg: Floats) -> Floats:
    """The angle from 0 up to, never at, 360."""
    turned = np.mod(angle_deg, 360.0)
    return np.where(turned == 360.0, 0.0, turned)


def _dot(one: Floats, other: Floats) -> Floats:
    return np.einsum("i...,i...->...", one, other)


def _sin(angle_deg: Floats) -> Floats:
    return np.sin(np.radians(angle_deg))


def _cos(angle_deg: Floats) -> Floats:
    return np.cos(np.radians(angle_deg))
