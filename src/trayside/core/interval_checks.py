"""Faults of a list of sample intervals, as after a geologist moved a boundary by hand."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from trayside.core.interval_algebra import UM_PER_M, joined, pairs_um, whole_um, without
from trayside.core.interval_costs import CostBook, cost_book
from trayside.core.interval_ground import Frame, Ground, IntervalRules, RuleSteps, frame_of, rule_steps


class IntervalFault(IntEnum):
    """What can be wrong with an interval list; the numbers are kept for good."""

    OVERLAP = 1
    GAP = 2
    CROSSES_HARD_CONTACT = 3
    CROSSES_CORE_LOSS = 4
    CROSSES_CORE_SIZE = 5
    TOO_SHORT = 6
    TOO_LONG = 7
    BAG_OVER_TIER = 8
    BAG_TOO_LIGHT = 9
    UNSAMPLED_GROUND = 10
    VEIN_NOT_ISOLATED = 11


@dataclass(frozen=True, slots=True)
class IntervalProblem:
    """One fault: the row it is in (-1 for a gap), the ground it concerns, and the numbers that prove it.

    from_m to to_m is the ground shared (overlap, core loss, unsampled ground, vein), missing (gap), or the whole
    interval (too short, too long, bags); for a crossed contact or core size both are its depth.
    """

    code: IntervalFault
    row: int
    from_m: float
    to_m: float
    other_row: int = -1
    found_m: float | None = None
    limit_m: float | None = None
    found_kg: float | None = None
    limit_kg: float | None = None


def check_intervals(*, from_m, to_m, ground: Ground, rules: IntervalRules) -> tuple[IntervalProblem, ...]:
    """Every fault of a list of sample intervals against the ground and the rules.

    Interval algebra in whole micrometres: overlaps, gaps inside the sampled stretches (isolated losses excepted),
    hard contacts, isolated losses and changes of core size inside an interval, lengths and bag masses outside their
    limits, ground outside the stretches, and veins mixed with their walls. An interval that is exactly a vein thick
    enough to be kept apart may be shorter than the minimum.

    Parameters
    ----------
    from_m : array (n,) [m]
        Tops of the intervals, in any order.
    to_m : array (n,) [m]
        Bottoms of the intervals.
    ground : Ground
        The hole, as given to the planner.
    rules : IntervalRules
        The rules, as given to the planner.

    Returns
    -------
    tuple of IntervalProblem
        .code an IntervalFault, .row of the given list (-1 for a gap), .other_row for an overlap, .from_m [m],
        .to_m [m], and .found_m, .limit_m [m] or .found_kg, .limit_kg [kg]; sorted by depth.

    Raises
    ------
    ImpossibleValue
        When an interval has no length, a depth cannot be, or the ground or the rules cannot be.

    Valid for: 0 to 20 000 m.
    Source: derived.
    Checked by: tests/unit/core/test_intervals.py, tests/properties/test_interval_plans.py
    """
    steps = rule_steps(rules)
    frame = frame_of(ground, rules, steps)
    book = cost_book(ground, rules, steps, frame)
    pairs = pairs_um(from_m=from_m, to_m=to_m, name="interval")
    row = np.lexsort((whole_um(depth_m=to_m), whole_um(depth_m=from_m)))
    problems = [
        *_overlaps(pairs, row),
        *_gaps(pairs, frame),
        *_crossings(pairs, row, frame),
        *_foreign_ground(pairs, row, frame),
        *_veins(pairs, row, frame, steps),
        *_lengths(pairs, row, frame, steps),
        *_bags(pairs, row, book, rules),
    ]
    return tuple(sorted(problems, key=lambda one: (one.from_m, one.to_m, one.code, one.row)))


def _overlaps(pairs: np.ndarray, row: np.ndarray) -> list[IntervalProblem]:
    """Each interval against those above it that reach into it."""
    found = []
    reach = np.maximum.accumulate(pairs[:, 1])
    for at in (np.flatnonzero(pairs[1:, 0] < reach[:-1]) + 1).tolist():
        a, b = pairs[at].tolist()
        for above in np.flatnonzero(pairs[:at, 1] > a).tolist():
            shared = min(b, int(pairs[above, 1]))
            found.append(
                _problem(IntervalFault.OVERLAP, row[at], a, shared, found=shared - a, limit=0, other=row[above])
            )
    return found


def _gaps(pairs: np.ndarray, frame: Frame) -> list[IntervalProblem]:
    missing = without(pairs=frame.core, holes=joined(pairs=pairs))
    return [_problem(IntervalFault.GAP, -1, a, b, found=b - a, limit=0) for a, b in missing.tolist()]


def _crossings(pairs: np.ndarray, row: np.ndarray, frame: Frame) -> list[IntervalProblem]:
    found = []
    for code, depths in (
        (IntervalFault.CROSSES_HARD_CONTACT, frame.hard),
        (IntervalFault.CROSSES_CORE_SIZE, frame.core_size),
    ):
        first = np.searchsorted(depths, pairs[:, 0], "right")
        last = np.searchsorted(depths, pairs[:, 1], "left")
        for at in np.flatnonzero(last > first).tolist():
            for depth in depths[first[at] : last[at]].tolist():
                nearest = min(depth - int(pairs[at, 0]), int(pairs[at, 1]) - depth)
                found.append(_problem(code, row[at], depth, depth, found=nearest, limit=0))
    return found


def _foreign_ground(pairs: np.ndarray, row: np.ndarray, frame: Frame) -> list[IntervalProblem]:
    """Parts of intervals in an isolated loss or outside every stretch."""
    found = []
    stretches = joined(pairs=frame.stretch)
    for at in range(len(pairs)):
        one = pairs[at : at + 1]
        for c, d in without(pairs=one, holes=stretches).tolist():
            found.append(_problem(IntervalFault.UNSAMPLED_GROUND, row[at], c, d, found=d - c, limit=0))
        a, b = one[0].tolist()
        first = int(np.searchsorted(frame.isolated_loss[:, 1], a, "right"))
        last = int(np.searchsorted(frame.isolated_loss[:, 0], b, "left"))
        for c, d in frame.isolated_loss[first:last].tolist():
            top, bottom = max(a, c), min(b, d)
            found.append(_problem(IntervalFault.CROSSES_CORE_LOSS, row[at], top, bottom, found=bottom - top, limit=0))
    return found


def _veins(pairs: np.ndarray, row: np.ndarray, frame: Frame, steps: RuleSteps) -> list[IntervalProblem]:
    """Intervals that hold vein and wall together, where the vein is thick enough to be apart."""
    found = []
    for vein in frame.vein:
        if not vein.thick:
            continue
        touching = (pairs[:, 0] < vein.bottom) & (pairs[:, 1] > vein.top)
        mixed = touching & ((pairs[:, 0] < vein.top) | (pairs[:, 1] > vein.bottom))
        for at in np.flatnonzero(mixed).tolist():
            a, b = pairs[at].tolist()
            wall = max(0, vein.top - a) + max(0, b - vein.bottom)
            top, bottom = max(a, vein.top), min(b, vein.bottom)
            found.append(_problem(IntervalFault.VEIN_NOT_ISOLATED, row[at], top, bottom, found=wall, limit=0))
    return found


def _lengths(pairs: np.ndarray, row: np.ndarray, frame: Frame, steps: RuleSteps) -> list[IntervalProblem]:
    length = pairs[:, 1] - pairs[:, 0]
    own_sample = {(one.top, one.bottom) for one in frame.vein if one.thick}
    found = []
    for code, limit, wrong in (
        (IntervalFault.TOO_SHORT, steps.minimum, length < steps.minimum),
        (IntervalFault.TOO_LONG, steps.maximum, length > steps.maximum),
    ):
        for at in np.flatnonzero(wrong).tolist():
            a, b = pairs[at].tolist()
            if code == IntervalFault.TOO_LONG or (a, b) not in own_sample:
                found.append(_problem(code, row[at], a, b, found=b - a, limit=limit))
    return found


def _bags(pairs: np.ndarray, row: np.ndarray, book: CostBook, rules: IntervalRules) -> list[IntervalProblem]:
    found = []
    mass = book.mass_above(pairs[:, 1]) - book.mass_above(pairs[:, 0])
    mass_kg = book.kilograms(pairs[:, 0], pairs[:, 1])
    for code, limit, compare, limit_kg in (
        (IntervalFault.BAG_OVER_TIER, book.tier_limit, np.greater, rules.tier_limit_kg),
        (IntervalFault.BAG_TOO_LIGHT, book.light_limit, np.less, rules.minimum_bag_kg),
    ):
        if limit is None:
            continue
        for at in np.flatnonzero(compare(mass, limit)).tolist():
            a, b = pairs[at] / UM_PER_M
            found.append(
                IntervalProblem(
                    code, int(row[at]), float(a), float(b), found_kg=float(mass_kg[at]), limit_kg=float(limit_kg)
                )
            )
    return found


def _problem(code: IntervalFault, row: int, a: int, b: int, *, found: int, limit: int, other: int = -1):
    return IntervalProblem(
        code, int(row), a / UM_PER_M, b / UM_PER_M, int(other), found_m=found / UM_PER_M, limit_m=limit / UM_PER_M
    )
