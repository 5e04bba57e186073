"""How far the orientation line can be trusted: marks that agree, joints that spun, metres oriented, half turns, drift.

Angles are places round the core, clockwise looking downhole. A stretch is core whose pieces lock together, so that one
line can be drawn along all of it; marks of different runs in one stretch are then read against that line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import stats
from scipy.special import expit, i0e, i1e

from trayside.core.refusals import Floats, numbers, refuse_where, together
from trayside.errors import ImpossibleValue

CLASSES = ("none", "dashed", "solid")
AS_DRAWN, TURNED, OPEN = "as drawn", "turned half round", "cannot tell"


@dataclass(frozen=True, slots=True)
class AgreeingMarks:
    """Per stretch: marks, how many agree, the line through them, its class; per mark: whether it is one of them."""

    mark_count: NDArray[np.int64]
    agreeing_count: NDArray[np.int64]
    line_deg: Floats
    spread_deg: Floats
    line_class: NDArray[np.str_]
    agrees: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class JointMismatch:
    """Per joint between runs: turn of the lower line against the upper one, and what it looks like.

    `case`: "agrees", "spun joint" (the turn stays), "stray mark" (the next joint turns back), "not locked".
    """

    mismatch_deg: Floats
    case: NDArray[np.str_]


@dataclass(frozen=True, slots=True)
class OrientedShare:
    """Metres of core in each class of line, and the share of all metres with any line."""

    length_m: dict[str, float]
    share: dict[str, float]
    oriented_share: float


@dataclass(frozen=True, slots=True)
class HalfTurns:
    """Per run: log odds that the line is as drawn (negative: on the other side), chance that it is turned, verdict.

    `reference_deg` is the beta the fabric should have in each run; `concentration` is how tightly it keeps to it.
    """

    log_odds: Floats
    chance_turned: Floats
    verdict: NDArray[np.str_]
    reference_deg: Floats
    concentration: float


@dataclass(frozen=True, slots=True)
class LineDrift:
    """How the cut line turns along the hole, and in each tray.

    `slope_deg_per_m` is the least-squares slope with its 95 % range; `total_deg` is the slope over the whole length.
    `turns` is True when the total reaches the alert and chance does not explain the slope.
    """

    slope_deg_per_m: float
    slope_low_deg_per_m: float
    slope_high_deg_per_m: float
    chance: float
    total_deg: float
    length_m: float
    turns: bool
    tray_change_deg: Floats
    tray_alert: NDArray[np.bool_]
    step_change_deg: Floats
    step_alert: NDArray[np.bool_]


def agreeing_marks(
    *,
    mark_deg: ArrayLike,
    stretch: ArrayLike,
    tolerance_deg: float = 10.0,
    solid_from: int = 3,
    dashed_from: int = 2,
) -> AgreeingMarks:
    """Largest set of orientation marks that agree in each stretch of locked core, and the class of the line.

    Marks agree when they all lie within the tolerance of each other. Of equally large sets the tightest counts, then
    the one that begins at the smallest angle. The line is the mean direction of the set.

    Parameters
    ----------
    mark_deg : array (n,) [deg]
        Place of each mark round the core, read against one line along the stretch.
    stretch : array (n,) of int
        Number of the stretch of each mark, 0 to k-1.
    tolerance_deg : float [deg]
        Largest angle between agreeing marks, 0 to below 180.
    solid_from : int
        Agreeing marks for a solid line.
    dashed_from : int
        Agreeing marks for a dashed line; with fewer there is none.

    Returns
    -------
    AgreeingMarks
        .mark_count, .agreeing_count (k,); .line_deg (k,) [deg], NaN without a line; .spread_deg (k,) [deg] between the
        outermost agreeing marks; .line_class (k,); .agrees (n,)

    Raises
    ------
    ImpossibleValue
        When an angle is missing, the tolerance out of range, or a stretch is not a whole number.

    Valid for: marks whose own error is small against half a turn.
    Source: a mark counts when it agrees with one, better two or more, neighbours: Orefind blog, core orientation part 3
        (partly seen); solid from three: site rule; tolerance: common practice, no source (a setting of the yard).
    Checked by: tests/unit/core/test_orientation_quality.py, tests/properties/test_orientation_quality_properties.py
    """
    angle = np.mod(numbers(np.atleast_1d(mark_deg), "mark_deg"), 360.0)
    group = _whole(stretch, "stretch", angle.shape)
    tolerance = float(numbers(tolerance_deg, "tolerance_deg", at_least=0.0, below=180.0))
    if not 1 <= dashed_from <= solid_from:
        raise ImpossibleValue(
            f"{dashed_from} and {solid_from} marks", where="dashed_from, solid_from",
            remedy="Give at least 1 for a dashed line and no fewer for a solid one",
        )  # fmt: skip
    count = int(group.max()) + 1 if group.size else 0
    number = np.bincount(group, minlength=count)
    # Each stretch is laid out twice, one turn apart, and stretches far from each other: a set is then a plain range.
    order = np.lexsort((angle, group))
    place = np.concatenate((group[order] * 1e4 + angle[order], group[order] * 1e4 + angle[order] + 360.0))
    twice = np.sort(place)
    begin = place[: order.size]
    end = np.searchsorted(twice, begin + tolerance + 1e-9, side="right")
    held = end - np.searchsorted(twice, begin, side="left")
    span = twice[end - 1] - begin if order.size else begin
    best = np.lexsort((begin, np.round(span, 9), -held, group[order]))
    first = best[np.unique(group[order][best], return_index=True)[1]] if order.size else best
    start, spread = np.full(count, np.nan), np.full(count, np.nan)
    at = group[order][first] if order.size else np.zeros(0, dtype=np.int64)
    start[at], spread[at] = angle[order][first], span[first]
    off = np.mod(angle - start[group] + 1e-9, 360.0) - 1e-9
    agrees = off <= tolerance + 1e-9
    turn = np.radians(angle)
    x = np.bincount(group, weights=np.where(agrees, np.cos(turn), 0.0), minlength=count)
    y = np.bincount(group, weights=np.where(agrees, np.sin(turn), 0.0), minlength=count)
    size = np.bincount(group, weights=agrees, minlength=count).astype(np.int64)
    lined = size >= dashed_from
    name = np.where(size >= solid_from, "solid", np.where(lined, "dashed", "none"))
    return AgreeingMarks(
        mark_count=number,
        agreeing_count=size,
        line_deg=np.where(lined, _full_turn(np.degrees(np.arctan2(y, x))), np.nan),
        spread_deg=np.where(lined, spread, np.nan),
        line_class=name,
        agrees=agrees & lined[group],
    )


def joint_mismatch(
    *, upper_deg: ArrayLike, lower_deg: ArrayLike, locked: ArrayLike, tolerance_deg: float = 10.0
) -> JointMismatch:
    """Turn of the orientation from run to run across each joint, and whether a joint spun or one mark is astray.

    At each joint both runs' marks are carried to the joint and read on one scale. A mark that is wrong by itself turns
    the line at its upper joint and turns it back at its lower joint; a joint that spun turns everything below it.

    Parameters
    ----------
    upper_deg : array (n,) [deg]
        At each joint, from the top down, where the mark of the run above lies.
    lower_deg : array (n,) [deg]
        Where the mark of the run below lies.
    locked : array (n,) of bool
        True where the pieces on both sides of the joint fit together.
    tolerance_deg : float [deg]
        Largest mismatch that counts as agreement, 0 to below 180.

    Returns
    -------
    JointMismatch
        .mismatch_deg (n,) [deg] above -180 to 180, clockwise looking downhole; NaN where not locked; .case (n,)

    Raises
    ------
    ImpossibleValue
        When an angle is missing, the tolerance out of range, or the arrays differ in length.

    Valid for: joints in order down the hole; neighbours in the arrays are neighbours in the hole.
    Source: derived; tolerance: common practice, no source (a setting of the yard).
    Checked by: tests/unit/core/test_orientation_quality.py, tests/properties/test_orientation_quality_properties.py
    """
    upper, lower = together(
        upper_deg=numbers(np.atleast_1d(upper_deg), "upper_deg"), lower_deg=numbers(lower_deg, "lower_deg")
    )
    fits = np.broadcast_to(np.asarray(locked, dtype=bool), upper.shape)
    tolerance = float(numbers(tolerance_deg, "tolerance_deg", at_least=0.0, below=180.0))
    turn = np.where(fits, signed_turn(lower - upper), np.nan)
    off = np.abs(turn) > tolerance
    # Turns that cancel with a neighbour belong to the mark between the two joints; each joint is used once, from above.
    stray = np.zeros(turn.shape, dtype=bool)
    with np.errstate(invalid="ignore"):
        back = off[:-1] & off[1:] & (np.abs(signed_turn(turn[:-1] + turn[1:])) <= tolerance)
    for at in np.flatnonzero(back):
        if not stray[at]:
            stray[at] = stray[at + 1] = True
    case = np.where(~fits, "not locked", np.where(stray, "stray mark", np.where(off, "spun joint", "agrees")))
    return JointMismatch(mismatch_deg=turn, case=case)


def oriented_share(*, from_m: ArrayLike, to_m: ArrayLike, line_class: ArrayLike) -> OrientedShare:
    """Share of metres that carry an orientation line, by class of line.

    Parameters
    ----------
    from_m : array (n,) [m]
        Tops of the pieces of core.
    to_m : array (n,) [m]
        Bottoms of the pieces.
    line_class : array (n,) of str
        "solid", "dashed" or "none".

    Returns
    -------
    OrientedShare
        .length_m, .share by class; .oriented_share from 0 to 1

    Raises
    ------
    ImpossibleValue
        When a piece has no length, two pieces overlap, there is none, or a class is not known.

    Valid for: pieces that do not overlap, in any order; core lost between them is not counted.
    Source: derived.
    Checked by: tests/unit/core/test_orientation_quality.py
    """
    top, bottom = together(from_m=numbers(np.atleast_1d(from_m), "from_m", at_least=0.0), to_m=numbers(to_m, "to_m"))
    kind = np.broadcast_to(np.asarray(line_class, dtype=str), top.shape)
    unknown = sorted(set(kind.tolist()) - set(CLASSES))
    if unknown:
        raise ImpossibleValue(
            f"{unknown[0]!r} is not known", where="line_class", remedy=f"Use one of: {', '.join(CLASSES)}"
        )
    if not top.size:
        raise ImpossibleValue("no core", where="from_m", remedy="Give at least one piece of core")
    refuse_where(bottom <= top, bottom, "to_m", "m is not below from_m", "Give the upper depth as from_m")
    order = np.argsort(top, kind="stable")
    if np.any(top[order][1:] < bottom[order][:-1] - 1e-6):
        raise ImpossibleValue("two pieces overlap", where="from_m", remedy="Count every metre of core once")
    length = {name: float((bottom - top)[kind == name].sum()) for name in CLASSES}
    total = sum(length.values())
    share = {name: one / total for name, one in length.items()}
    return OrientedShare(length_m=length, share=share, oriented_share=1.0 - share["none"])


def half_turn_test(
    *,
    beta_deg: ArrayLike,
    run: ArrayLike,
    expected_beta_deg: ArrayLike | None = None,
    turned_beforehand: float = 0.05,
    odds_wanted: float = 20.0,
    largest_concentration: float = 30.0,
) -> HalfTurns:
    """Runs whose line lies on the wrong side of the core, seen from the fabric.

    A line drawn along the top instead of the bottom turns every beta of its run by 180. Doubled betas do not feel that,
    so they tell how tightly the fabric keeps to its plane (a von Mises concentration k). The log odds of "as drawn"
    grow by 2 k times the sum of cos(beta - expected) over the run. Without an expected beta both sides of the common
    axis are weighed by what all runs say of them, so that few runs stand against many.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the fabric, read against the line as drawn.
    run : array (n,) of int
        Number of the run of each measurement, 0 to k-1.
    expected_beta_deg : float or array (n,) [deg] or None
        Beta that the known fabric of the ground has at this attitude of the hole (oriented_core gives it).
    turned_beforehand : float
        Chance that a run is turned, before the fabric is looked at; above 0 and below 0.5.
    odds_wanted : float
        Odds at which a side is believed, above 1.
    largest_concentration : float
        No fabric is believed to keep to its plane more tightly than this; 30 is a spread of about 10 degrees.

    Returns
    -------
    HalfTurns
        .log_odds, .chance_turned, .verdict (k,); .reference_deg (k,) [deg]; .concentration

    Raises
    ------
    ImpossibleValue
        When an angle is missing, a run is not a whole number, or a limit is out of range.

    Valid for: one fabric. Without an expected beta it finds odd runs out; a hole whose runs are all turned looks right.
    Source: von Mises likelihood, Mardia and Jupp, Directional Statistics (from memory); test derived; limits: common
        practice, no source (settings of the yard).
    Checked by: tests/unit/core/test_orientation_quality.py, tests/properties/test_orientation_quality_properties.py
    """
    beta = numbers(np.atleast_1d(beta_deg), "beta_deg")
    if not beta.size:
        raise ImpossibleValue("no measurements", where="beta_deg", remedy="Measure beta on at least one plane")
    group = _whole(run, "run", beta.shape)
    before = float(numbers(turned_beforehand, "turned_beforehand", above=0.0, below=0.5))
    odds = float(numbers(odds_wanted, "odds_wanted", above=1.0))
    most = float(numbers(largest_concentration, "largest_concentration", above=0.0))
    count = int(group.max()) + 1
    turn = np.radians(beta)
    if expected_beta_deg is not None:
        expected = np.radians(np.broadcast_to(numbers(expected_beta_deg, "expected_beta_deg"), beta.shape))
        doubled = np.cos(2.0 * (turn - expected)).mean()
        concentration = min(4.0 * _concentration(doubled, beta.size), most)
        pull = concentration * np.bincount(group, weights=np.cos(turn - expected), minlength=count)
        log_odds = 2.0 * pull + np.log1p(-before) - np.log(before)
        x = np.bincount(group, weights=np.cos(expected), minlength=count)
        y = np.bincount(group, weights=np.sin(expected), minlength=count)
        reference = np.degrees(np.arctan2(y, x))
    else:
        x, y = np.cos(2.0 * turn).mean(), np.sin(2.0 * turn).mean()
        concentration = min(4.0 * _concentration(float(np.hypot(x, y)), beta.size), most)
        axis = 0.5 * np.arctan2(y, x)
        pull = concentration * np.bincount(group, weights=np.cos(turn - axis), minlength=count)
        # The fabric may lie on either side of the axis; a run counts for a side as drawn, or against it as turned.
        drawn = np.stack((pull, -pull)) + np.log1p(-before)
        turned = np.stack((-pull, pull)) + np.log(before)
        either = np.logaddexp(drawn, turned)
        side = either.sum(axis=1, keepdims=True) - either
        log_odds = np.logaddexp(*(side + drawn)) - np.logaddexp(*(side + turned))
        reference = np.full(count, np.degrees(axis) + (180.0 if side[1].sum() > side[0].sum() else 0.0))
    verdict = np.where(log_odds >= np.log(odds), AS_DRAWN, np.where(log_odds <= -np.log(odds), TURNED, OPEN))
    return HalfTurns(
        log_odds=log_odds,
        chance_turned=expit(-log_odds),
        verdict=verdict,
        reference_deg=_full_turn(reference),
        concentration=float(concentration),
    )


def line_drift(
    *,
    depth_m: ArrayLike,
    offset_deg: ArrayLike,
    tray: ArrayLike | None = None,
    alert_deg: float = 10.0,
    chance_limit: float = 0.05,
) -> LineDrift:
    """Turn of the cut line along the hole, from its offset angle at tray starts and ends.

    Angles are unrolled from one reading to the next by the shorter way. The slope is fitted by least squares over all
    readings; a tray's own change is its last reading less its first; a step is the change from one reading to the next.

    Parameters
    ----------
    depth_m : array (n,) [m]
        Depths of the readings, rising; two may be equal (end of one tray, start of the next).
    offset_deg : array (n,) [deg]
        Angle from the orientation line to the cut line, clockwise looking downhole.
    tray : array (n,) of int or None
        Number of the tray of each reading, 0 to k-1; None when no trays are told apart.
    alert_deg : float [deg]
        Change over the readings, in a tray or at a step that is worth a look.
    chance_limit : float
        Largest chance at which a slope is believed.

    Returns
    -------
    LineDrift
        .slope_deg_per_m with .slope_low_deg_per_m and .slope_high_deg_per_m; .chance; .total_deg [deg];
        .length_m [m]; .turns; .tray_change_deg (k,) [deg], .tray_alert (k,); .step_change_deg (n-1,) [deg],
        .step_alert (n-1,)

    Raises
    ------
    ImpossibleValue
        When there are fewer than three readings, all at one depth, or depths do not rise.

    Valid for: less than half a turn between readings that follow each other; readings with like errors.
    Source: least squares (derived); alert: common practice, no source (a setting of the yard).
    Checked by: tests/unit/core/test_orientation_quality.py, tests/properties/test_orientation_quality_properties.py
    """
    depth, offset = together(
        depth_m=numbers(np.atleast_1d(depth_m), "depth_m", at_least=0.0), offset_deg=numbers(offset_deg, "offset_deg")
    )
    alert = float(numbers(alert_deg, "alert_deg", above=0.0))
    limit = float(numbers(chance_limit, "chance_limit", above=0.0, below=1.0))
    if depth.size < 3 or np.ptp(depth) == 0.0:
        raise ImpossibleValue(
            "a slope needs three readings, not all at one depth", where="depth_m",
            remedy="Read the offset at the start and the end of every tray",
        )  # fmt: skip
    refuse_where(
        np.concatenate(([False], np.diff(depth) < 0.0)), depth, "depth_m", "m lies above the reading before it",
        "Sort the readings down the hole",
    )  # fmt: skip
    steps = signed_turn(np.diff(offset))
    unrolled = np.concatenate(([offset[0]], offset[0] + np.cumsum(steps)))
    slope, error = _slope(depth, unrolled)
    freedom = depth.size - 2
    reach = float(stats.t.ppf(0.975, freedom)) * error
    chance = float(2.0 * stats.t.sf(abs(slope) / error, freedom)) if error > 0.0 else float(slope == 0.0)
    length = float(np.ptp(depth))
    total = slope * length
    if tray is None:
        tray_change = np.zeros(0)
    else:
        group = _whole(tray, "tray", depth.shape)
        count = int(group.max()) + 1
        at = np.arange(depth.size)
        first, last = np.full(count, depth.size), np.full(count, -1)
        np.minimum.at(first, group, at)
        np.maximum.at(last, group, at)
        read = last >= 0
        tray_change = np.full(count, np.nan)
        tray_change[read] = unrolled[last[read]] - unrolled[first[read]]
    return LineDrift(
        slope_deg_per_m=slope, slope_low_deg_per_m=slope - reach, slope_high_deg_per_m=slope + reach, chance=chance,
        total_deg=total, length_m=length, turns=bool(abs(total) >= alert and chance <= limit),
        tray_change_deg=tray_change, tray_alert=np.abs(tray_change) > alert,
        step_change_deg=steps, step_alert=np.abs(steps) > alert,
    )  # fmt: skip


def signed_turn(angle_deg: Any) -> Any:
    """The same turn, from above -180 to 180."""
    turned = 180.0 - np.mod(180.0 - np.asarray(angle_deg, dtype=np.float64), 360.0)
    return np.where(turned == -180.0, 180.0, turned)


def _full_turn(angle_deg: Floats) -> Floats:
    """The angle from 0 up to, never at, 360."""
    turned = np.mod(angle_deg, 360.0)
    return np.where(turned == 360.0, 0.0, turned)


def _slope(x: Floats, y: Floats) -> tuple[float, float]:
    """Least-squares slope and its standard error; rounding left by a perfect line counts as no error."""
    away, up = x - x.mean(), y - y.mean()
    square = float((away * away).sum())
    slope = float((away * up).sum()) / square
    rest = up - slope * away
    left = float((rest * rest).sum())
    if left <= 1e-20 * x.size * max(1.0, float((up * up).max())):
        return (0.0 if abs(slope) * np.ptp(x) < 1e-9 else slope), 0.0
    return slope, float(np.sqrt(left / (x.size - 2) / square))


def _concentration(mean_cosine: float, count: int) -> float:
    """Von Mises concentration whose mean cosine is the given one, less what so few directions show by chance."""
    # For random directions the squared mean length is 1/n: that much is taken off.
    honest = np.sqrt(max(mean_cosine * abs(mean_cosine) - 1.0 / count, 0.0) / (1.0 - 1.0 / count)) if count > 1 else 0.0
    if honest <= 0.0:
        return 0.0
    low, high = 0.0, 1e4
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if i1e(middle) / i0e(middle) < honest else (low, middle)
    return 0.5 * (low + high)


def _whole(value: ArrayLike, name: str, shape: tuple[int, ...]) -> NDArray[np.int64]:
    array = np.asarray(value)
    if array.shape != shape or (array.size and (array.dtype.kind not in "iu" or array.min() < 0)):
        raise ImpossibleValue(
            "not one whole number of 0 or more for each entry", where=name, remedy="Number from 0, one for each entry"
        )
    return array.astype(np.int64)
