"""The path of a hole from its survey stations: where each depth lies, and how the hole points there.

Inclination is measured from straight down: 0 down, 90 level, 180 up. A table's dip, negative downward, is inclination
less 90; a plunge, positive downward, is 90 less inclination. Positions are north, east and down (true vertical depth).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trayside.core.refusals import Floats, numbers, plain, refuse_where, together
from trayside.errors import ImpossibleValue

METHODS = ("tangential", "balanced_tangential", "average_angle", "radius_of_curvature", "minimum_curvature")

# Below this sine of the inclination the hole is upright and its direction says nothing about azimuth.
UPRIGHT = 1e-9
# Two stations that point this nearly against each other leave the plane of the arc open.
TURNED_BACK_DEG = 179.99


@dataclass(frozen=True, slots=True)
class Attitude:
    """How the hole points; `beyond` is True where the depth lies off the surveyed part and the end is carried on."""

    inclination_deg: Any
    azimuth_deg: Any
    plunge_deg: Any
    beyond: Any


@dataclass(frozen=True, slots=True)
class Position:
    """Where a depth lies; `beyond` as in Attitude."""

    north_m: Any
    east_m: Any
    tvd_m: Any
    beyond: Any


@dataclass(frozen=True, slots=True)
class HolePath:
    """A surveyed hole: stations, their positions, and for each step between stations its bend and ratio factor."""

    depth_m: Floats
    inclination_deg: Floats
    azimuth_deg: Floats
    north_m: Floats
    east_m: Floats
    tvd_m: Floats
    dogleg_deg: Floats
    ratio_factor: Floats

    def dogleg_per(self, *, length_m: float = 30.0) -> Floats:
        """Bend of each step, in degrees per the given length."""
        length = float(numbers(length_m, "length_m", above=0.0))
        return self.dogleg_deg * length / np.diff(self.depth_m)

    def attitude_at(self, *, depth_m: ArrayLike) -> Attitude:
        """How the hole points at any depth: along the arc between stations, straight on past the last one."""
        _, step, share, beyond = self._place(depth_m)
        tangent = self._tangent(step, share)
        sideways = np.hypot(tangent[0], tangent[1])
        inclination = np.degrees(np.arctan2(sideways, tangent[2]))
        azimuth = np.mod(np.degrees(np.arctan2(tangent[1], tangent[0])), 360.0)
        nearer = self.azimuth_deg[step + (share > 0.5)]
        azimuth = np.where(sideways < UPRIGHT, np.mod(nearer, 360.0), azimuth)
        azimuth = np.where(azimuth == 360.0, 0.0, azimuth)
        return Attitude(
            inclination_deg=plain(inclination),
            azimuth_deg=plain(azimuth),
            plunge_deg=plain(90.0 - inclination),
            beyond=_truth(beyond),
        )

    def position_at(self, *, depth_m: ArrayLike) -> Position:
        """Where any depth lies: along the arc between stations, straight on past the last one."""
        depth, step, share, beyond = self._place(depth_m)
        bend = np.radians(self.dogleg_deg[step])
        length = np.diff(self.depth_m)[step]
        start = _tangents(self.inclination_deg[step], self.azimuth_deg[step])
        here = self._tangent(step, share)
        run = 0.5 * share * length * ratio_factor_of(share * bend)
        off = depth - self.depth_m[step] - share * length  # past the stations, along the tangent there
        stations = np.stack((self.north_m, self.east_m, self.tvd_m))
        at = stations[:, step] + run * (start + here) + off * here
        return Position(north_m=plain(at[0]), east_m=plain(at[1]), tvd_m=plain(at[2]), beyond=_truth(beyond))

    def _place(self, depth_m: ArrayLike) -> tuple[Floats, NDArray[np.int64], Floats, NDArray[np.bool_]]:
        depth = numbers(depth_m, "depth_m", at_least=0.0)
        step = np.clip(np.searchsorted(self.depth_m, depth, side="right") - 1, 0, self.depth_m.size - 2)
        top, bottom = self.depth_m[step], self.depth_m[step + 1]
        share = np.clip((depth - top) / (bottom - top), 0.0, 1.0)
        return depth, step, share, (depth < self.depth_m[0]) | (depth > self.depth_m[-1])

    def _tangent(self, step: NDArray[np.int64], share: Floats) -> Floats:
        """Unit vector (3, ...) at a share of a step: turned evenly from one station's direction to the next."""
        bend = np.radians(self.dogleg_deg[step])
        start = _tangents(self.inclination_deg[step], self.azimuth_deg[step])
        end = _tangents(self.inclination_deg[step + 1], self.azimuth_deg[step + 1])
        # sin(f b)/sin(b) by sinc, which stays right for a straight step.
        whole = np.sinc(bend / np.pi)
        tangent = (1.0 - share) * np.sinc((1.0 - share) * bend / np.pi) / whole * start
        return tangent + share * np.sinc(share * bend / np.pi) / whole * end


@dataclass(frozen=True, slots=True)
class SurveySteps:
    """Change of position over each step between stations."""

    north_m: Floats
    east_m: Floats
    tvd_m: Floats


@dataclass(frozen=True, slots=True)
class ArcToPoint:
    """The arc that leaves a station along the hole and ends in a given point."""

    length_m: Any
    dogleg_deg: Any
    inclination_deg: Any
    azimuth_deg: Any


def minimum_curvature(
    *,
    depth_m: ArrayLike,
    inclination_deg: ArrayLike,
    azimuth_deg: ArrayLike,
    start_north_m: float = 0.0,
    start_east_m: float = 0.0,
    start_tvd_m: float = 0.0,
) -> HolePath:
    """Path of a hole by minimum curvature.

    Between two stations the hole is the arc of a circle that has the measured direction at both ends. A step is half
    its length times the ratio factor times the sum of the two unit directions. The bend is found from
    sin^2(b/2) = sin^2(dI/2) + sin I1 sin I2 sin^2(dA/2), which keeps its digits for small bends.

    Parameters
    ----------
    depth_m : array (n,) [m]
        Depths of the stations down the hole, rising, at least two.
    inclination_deg : array (n,) [deg]
        0 straight down, 90 level, 180 straight up.
    azimuth_deg : array (n,) [deg]
        Clockwise from north, 0 to 360.
    start_north_m : float [m]
        North of the first station.
    start_east_m : float [m]
        East of the first station.
    start_tvd_m : float [m]
        Vertical depth of the first station.

    Returns
    -------
    HolePath
        .north_m (n,) [m], .east_m (n,) [m], .tvd_m (n,) [m] of the stations; .dogleg_deg (n-1,) [deg] and
        .ratio_factor (n-1,) of the steps; attitude_at and position_at answer for any depth.

    Raises
    ------
    ImpossibleValue
        When depths do not rise, an angle is out of range, fewer than two stations are given, or two neighbours point
        against each other.

    Valid for: stations close enough that one arc follows the hole between them.
    Source: Taylor and Mason, A Systematic Approach to Well Surveying Calculations (from memory); worked example at
        drillingformulas.com/minimum-curvature-method (seen).
    Checked by: tests/published/test_desurvey_published.py, tests/unit/core/test_desurvey.py,
        tests/properties/test_desurvey_properties.py
    """
    depth, inclination, azimuth = _stations(depth_m, inclination_deg, azimuth_deg)
    bend = _bend(inclination, azimuth)
    refuse_where(
        np.degrees(bend) > TURNED_BACK_DEG,
        np.degrees(bend),
        "inclination_deg, step",
        "degrees of bend between two stations: the hole would turn back on itself",
        "Check the azimuths and inclinations of the two stations",
    )
    factor = ratio_factor_of(bend)
    tangent = _tangents(inclination, azimuth)
    steps = 0.5 * np.diff(depth) * factor * (tangent[:, :-1] + tangent[:, 1:])
    start = [float(numbers(v, n)) for v, n in (
        (start_north_m, "start_north_m"), (start_east_m, "start_east_m"), (start_tvd_m, "start_tvd_m")
    )]  # fmt: skip
    north, east, tvd = (
        first + np.concatenate(([0.0], np.cumsum(part))) for first, part in zip(start, steps, strict=True)
    )
    return HolePath(
        depth_m=depth,
        inclination_deg=inclination,
        azimuth_deg=azimuth,
        north_m=north,
        east_m=east,
        tvd_m=tvd,
        dogleg_deg=np.degrees(bend),
        ratio_factor=factor,
    )


def survey_steps(*, depth_m: ArrayLike, inclination_deg: ArrayLike, azimuth_deg: ArrayLike, method: str) -> SurveySteps:
    """Steps between stations by a named older method, to compare with minimum curvature.

    Tangential: the direction of the lower station. Balanced tangential: the mean of the two unit directions. Average
    angle: the direction of the mean angles. Radius of curvature: the inclination turns evenly with depth, the azimuth
    evenly with the level distance. Azimuths are joined the short way round.

    Parameters
    ----------
    depth_m : array (n,) [m]
        Depths of the stations, rising.
    inclination_deg : array (n,) [deg]
        0 straight down, 180 straight up.
    azimuth_deg : array (n,) [deg]
        Clockwise from north, 0 to 360.
    method : str
        One of METHODS.

    Returns
    -------
    SurveySteps
        .north_m (n-1,) [m], .east_m (n-1,) [m], .tvd_m (n-1,) [m]

    Raises
    ------
    ImpossibleValue
        As for minimum_curvature, or when the method is not known.

    Valid for: comparison; Trayside's own depths and attitudes use minimum curvature.
    Source: definitions of the methods (derived); worked examples in the tests named below.
    Checked by: tests/published/test_desurvey_published.py, tests/unit/core/test_desurvey.py
    """
    if method not in METHODS:
        raise ImpossibleValue(f"{method!r} is not known", where="method", remedy=f"Use one of: {', '.join(METHODS)}")
    if method == "minimum_curvature":
        path = minimum_curvature(depth_m=depth_m, inclination_deg=inclination_deg, azimuth_deg=azimuth_deg)
        return SurveySteps(north_m=np.diff(path.north_m), east_m=np.diff(path.east_m), tvd_m=np.diff(path.tvd_m))
    depth, inclination, azimuth = _stations(depth_m, inclination_deg, azimuth_deg)
    length = np.diff(depth)
    tangent = _tangents(inclination, azimuth)
    turn = np.remainder(np.diff(azimuth) + 180.0, 360.0) - 180.0
    tilt = np.diff(inclination)
    middle = _tangents(inclination[:-1] + tilt / 2.0, azimuth[:-1] + turn / 2.0)
    if method == "tangential":
        steps = length * tangent[:, 1:]
    elif method == "balanced_tangential":
        steps = 0.5 * length * (tangent[:, :-1] + tangent[:, 1:])
    elif method == "average_angle":
        steps = length * middle
    else:
        # (cos I1 - cos I2)(sin A2 - sin A1) / (dI dA) and its like, by sinc: right also where an angle does not turn.
        steps = length * np.sinc(tilt / 360.0) * middle
        steps[:2] *= np.sinc(turn / 360.0)
    return SurveySteps(north_m=steps[0], east_m=steps[1], tvd_m=steps[2])


def arc_to_point(
    *, inclination_deg: ArrayLike, azimuth_deg: ArrayLike, north_m: ArrayLike, east_m: ArrayLike, tvd_m: ArrayLike
) -> ArcToPoint:
    """The one arc that starts along the hole and ends in a point: its length, bend, and direction there.

    With u the unit vector to the point, the end direction is 2 (t.u) u - t and the bend is twice the angle between
    t and u.

    Parameters
    ----------
    inclination_deg : float or array (n,) [deg]
        Inclination at the start, 0 to 180.
    azimuth_deg : float or array (n,) [deg]
        Azimuth at the start, 0 to 360.
    north_m : float or array (n,) [m]
        North of the point from the start.
    east_m : float or array (n,) [m]
        East of the point from the start.
    tvd_m : float or array (n,) [m]
        Point below the start.

    Returns
    -------
    ArcToPoint
        .length_m (n,) [m], .dogleg_deg (n,) [deg], .inclination_deg (n,) [deg], .azimuth_deg (n,) [deg] at the point.

    Raises
    ------
    ImpossibleValue
        When the point is the start itself or lies straight behind it.

    Valid for: bends below 360.
    Source: minimum curvature solved for its end (derived).
    Checked by: tests/unit/core/test_desurvey.py, tests/properties/test_desurvey_properties.py
    """
    inclination, azimuth, north, east, tvd = together(
        inclination_deg=numbers(inclination_deg, "inclination_deg", at_least=0.0, at_most=180.0),
        azimuth_deg=numbers(azimuth_deg, "azimuth_deg", at_least=0.0, at_most=360.0),
        north_m=numbers(north_m, "north_m"),
        east_m=numbers(east_m, "east_m"),
        tvd_m=numbers(tvd_m, "tvd_m"),
    )
    start, way = _tangents(inclination, azimuth), np.stack((north, east, tvd))
    chord = np.sqrt((way**2).sum(axis=0))
    refuse_where(chord == 0.0, chord, "north_m, east_m, tvd_m", "m away: the point is the start", "Give another point")
    unit = way / chord
    along = (start * unit).sum(axis=0)
    half = np.arctan2(np.sqrt(((unit - along * start) ** 2).sum(axis=0)), along)
    refuse_where(
        half > np.pi - 1e-9, np.degrees(half), "north_m, east_m, tvd_m",
        "degrees off the hole: the point lies straight behind", "Give a point that an arc can reach",
    )  # fmt: skip
    end = 2.0 * along * unit - start
    return ArcToPoint(
        length_m=plain(chord / np.sinc(half / np.pi)),
        dogleg_deg=plain(np.degrees(2.0 * half)),
        inclination_deg=plain(np.degrees(np.arctan2(np.hypot(end[0], end[1]), end[2]))),
        azimuth_deg=plain(np.mod(np.degrees(np.arctan2(end[1], end[0])), 360.0)),
    )


def ratio_factor_of(bend_rad: Floats) -> Floats:
    """Ratio factor tan(b/2)/(b/2): how much longer the two end tangents are than half the arc."""
    bend = np.asarray(bend_rad, dtype=np.float64)
    small = np.abs(bend) < 0.02  # the next term of the series is below 1e-15 there
    safe = np.where(small, 1.0, bend)
    series = 1.0 + bend**2 / 12.0 + bend**4 / 120.0 + 17.0 * bend**6 / 20160.0
    return np.where(small, series, 2.0 / safe * np.tan(safe / 2.0))


def _stations(depth_m: ArrayLike, inclination_deg: ArrayLike, azimuth_deg: ArrayLike) -> tuple[Floats, Floats, Floats]:
    depth = numbers(depth_m, "depth_m", at_least=0.0)
    inclination = numbers(inclination_deg, "inclination_deg", at_least=0.0, at_most=180.0)
    azimuth = numbers(azimuth_deg, "azimuth_deg", at_least=0.0, at_most=360.0)
    if depth.ndim != 1 or depth.size < 2:
        raise ImpossibleValue(
            "a path needs at least two stations", where="depth_m",
            remedy="Give the collar as the first station; a hole surveyed once is straight: repeat that station at its end",
        )  # fmt: skip
    depth, inclination, azimuth = together(depth_m=depth, inclination_deg=inclination, azimuth_deg=azimuth)
    refuse_where(
        np.concatenate(([False], np.diff(depth) <= 0.0)), depth, "depth_m",
        "m is not below the station before it", "Sort the stations and remove doubles",
    )  # fmt: skip
    return np.array(depth), np.array(inclination), np.array(azimuth)


def _bend(inclination_deg: Floats, azimuth_deg: Floats) -> Floats:
    inclination, azimuth = np.radians(inclination_deg), np.radians(azimuth_deg)
    square = np.sin(np.diff(inclination) / 2.0) ** 2 + (
        np.sin(inclination[:-1]) * np.sin(inclination[1:]) * np.sin(np.diff(azimuth) / 2.0) ** 2
    )
    return 2.0 * np.arcsin(np.sqrt(np.clip(square, 0.0, 1.0)))


def _tangents(inclination_deg: Floats, azimuth_deg: Floats) -> Floats:
    """Unit directions (3, ...) north, east, down."""
    inclination, azimuth = np.radians(inclination_deg), np.radians(azimuth_deg)
    sideways = np.sin(inclination)
    return np.stack((sideways * np.cos(azimuth), sideways * np.sin(azimuth), np.cos(inclination)))


def _truth(array: Any) -> Any:
    return bool(array) if np.ndim(array) == 0 else np.array(array)
