"""Which way to cut: the plane through the core axis that shares the veins fairly, what another plane costs.

A vein is shared evenly by the cut through both apexes of its ellipse, at beta. With veins at several betas there are
two simple measures of a cut at theta, both of one weight per vein:

    squares    sum of weight * sin^2(theta - beta)     best plane in closed form
    absolute   sum of weight * |sin(theta - beta)|     exact for thin veins; best plane is one of the betas

and the measure itself: the imbalance of every sample, from the exact shares of vein_shares. Cuts are angles round the
core from the orientation line, clockwise looking downhole; theta and theta + 180 are one cut.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.refusals import Floats, numbers, plain, refuse_where, together
from trayside.core.vein_shares import clipped_vein_imbalance
from trayside.errors import ImpossibleValue

__all__ = [
    "MEASURES", "AbsoluteCut", "CutCost", "CutVerdict", "SquaresCut", "absolute_cut", "best_cut_deg",
    "clipped_vein_imbalance", "cost_curve", "cost_of_cut", "cut_verdict", "direction_chance", "free_turn_deg",
    "squares_cut", "vein_weight",
]  # fmt: skip

MEASURES = ("squares", "absolute")

# A resultant smaller than this share of all weight is rounding: no direction is better than another.
NO_DIRECTION = 1e-12


@dataclass(frozen=True, slots=True)
class SquaresCut:
    """Best plane by squares. `cut_deg` is NaN where every plane costs the same. Costs in units of weight.

    `alignment` is 1 when all veins ask for one plane and 0 when none is better than another.
    """

    cut_deg: Any
    least_cost: Any
    largest_cost: Any
    alignment: Any
    total_weight: Any


@dataclass(frozen=True, slots=True)
class AbsoluteCut:
    """Best plane by absolute values; `tied_deg` lists every plane that costs the same, rising."""

    cut_deg: float
    least_cost: float
    tied_deg: Floats


@dataclass(frozen=True, slots=True)
class CutCost:
    """What a cut costs: as a share of the worst thinkable case, beside the best and the worst plane for these veins.

    `turn_deg` is the angle to the best plane, at most 90. `times_best` is the ratio of the root costs; infinite where
    the best plane costs nothing.
    """

    cost: float
    least_cost: float
    largest_cost: float
    turn_deg: float
    times_best: float


@dataclass(frozen=True, slots=True)
class CutVerdict:
    """Whether the direction matters, which case it is, the numbers, and a sentence.

    `case`: "too few veins", "no preferred plane", "halves alike anyway", "the line will do", "turn the core".
    """

    matters: bool
    case: str
    words: str
    cut_deg: float
    vein_count: int
    alignment: float
    chance: float
    free_turn_deg: float
    line_turn_deg: float


def best_cut_deg(*, beta_deg: ArrayLike, weight: ArrayLike) -> float:
    """Best cut plane by least squares, from the orientation line.

    theta = half of atan2(sum w sin 2 beta, sum w cos 2 beta): angles are doubled so that beta and beta + 180 count as
    one plane.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more; see vein_weight.

    Returns
    -------
    float [deg]
        From 0 up to 180; NaN where no plane is better than another.

    Raises
    ------
    ImpossibleValue
        When there is no vein, a weight is negative, or all weights are 0.

    Valid for: one orientation line over all the veins.
    Source: axial mean by doubled angles, Mardia and Jupp, Directional Statistics (from memory); derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_cut_plane.py,
        tests/properties/test_cut_plane_properties.py
    """
    return float(squares_cut(beta_deg=beta_deg, weight=weight).cut_deg)


def squares_cut(*, beta_deg: ArrayLike, weight: ArrayLike, group: ArrayLike | None = None) -> SquaresCut:
    """Best cut plane by least squares with its cost, for all veins or for each group (tray, domain).

    With W the sum of weights and R the length of the sum of doubled directions, the best plane costs (W - R) / 2, the
    worst, square to it, (W + R) / 2.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more.
    group : array (n,) of int or None
        Number of the group of each vein, 0 to k-1; every number must occur.

    Returns
    -------
    SquaresCut
        .cut_deg (k,) [deg] from 0 up to 180 or NaN; .least_cost, .largest_cost, .alignment, .total_weight (k,).
        Floats without groups.

    Raises
    ------
    ImpossibleValue
        As for best_cut_deg, in any group.

    Valid for: one orientation line over all the veins of a group.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_cut_plane.py,
        tests/properties/test_cut_plane_properties.py
    """
    beta, weight_of = _veins(beta_deg, weight)
    double = np.radians(2.0 * np.mod(beta, 180.0))
    parts = np.stack((weight_of, weight_of * np.cos(double), weight_of * np.sin(double)))
    if group is None:
        total, x, y = parts.sum(axis=1)
    else:
        index = np.asarray(group)
        if index.shape != beta.shape or index.dtype.kind not in "iu" or index.min() < 0:
            raise ImpossibleValue(
                "not one whole number of 0 or more per vein", where="group", remedy="Number the groups"
            )
        total, x, y = (np.bincount(index, weights=part) for part in parts)
    refuse_where(total <= 0.0, total, "weight", "in all: nothing to share", "Leave out groups without veins or weight")
    resultant = np.hypot(x, y)
    cut = np.mod(0.5 * np.degrees(np.arctan2(y, x)), 180.0)
    cut = np.where(cut == 180.0, 0.0, cut)
    alignment = np.minimum(resultant / total, 1.0)
    cut = np.where(alignment < NO_DIRECTION, np.nan, cut)
    return SquaresCut(
        cut_deg=plain(cut),
        least_cost=plain(0.5 * np.maximum(total - resultant, 0.0)),
        largest_cost=plain(0.5 * (total + resultant)),
        alignment=plain(alignment),
        total_weight=plain(np.asarray(total)),
    )


def absolute_cut(*, beta_deg: ArrayLike, weight: ArrayLike) -> AbsoluteCut:
    """Best cut plane by absolute values: the smallest sum of w |sin(theta - beta)|.

    Between two neighbouring betas the sum bends downward, so that the best plane is one of the betas. All of them are
    tried at once from running sums over the sorted betas.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more: grade * thickness / sin(alpha), times the chance of being clipped.

    Returns
    -------
    AbsoluteCut
        .cut_deg [deg] the smallest of the best planes, from 0 up to 180; .least_cost; .tied_deg (t,) [deg].

    Raises
    ------
    ImpossibleValue
        As for best_cut_deg.

    Valid for: one orientation line over all the veins; thin veins.
    Source: derived.
    Checked by: tests/published/test_cut_plane_published.py, tests/unit/core/test_cut_plane.py,
        tests/properties/test_cut_plane_properties.py
    """
    beta, weight_of = _veins(beta_deg, weight)
    used = weight_of > 0.0
    axis = np.mod(beta[used], 180.0)
    axis[axis == 180.0] = 0.0
    order = np.argsort(axis, kind="stable")
    axis, heavy = axis[order], weight_of[used][order]
    angle = np.radians(axis)
    sin, cos = np.sin(angle), np.cos(angle)
    # For veins below theta the sine is positive, for those above it is negative.
    x, y = np.cumsum(heavy * cos), np.cumsum(heavy * sin)
    cost = np.maximum(sin * (2.0 * x - x[-1]) - cos * (2.0 * y - y[-1]), 0.0)
    least = cost.min()
    tied = np.unique(axis[cost <= least + 1e-12 * heavy.sum()])
    return AbsoluteCut(cut_deg=float(tied[0]), least_cost=float(least), tied_deg=tied)


def cost_curve(*, beta_deg: ArrayLike, weight: ArrayLike, cut_deg: ArrayLike, measure: str = "squares") -> Any:
    """Cost of cutting at given angles, in units of weight.

    The sum of w sin^2(theta - beta), or of w |sin(theta - beta)|. Each angle takes one look-up, whatever the number of
    veins.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more.
    cut_deg : float or array (m,) [deg]
        Angles to try, any turn.
    measure : str
        "squares" or "absolute".

    Returns
    -------
    float or array (m,)

    Raises
    ------
    ImpossibleValue
        As for best_cut_deg, or when the measure is not known.

    Valid for: one orientation line over all the veins.
    Source: derived.
    Checked by: tests/unit/core/test_cut_plane.py, tests/properties/test_cut_plane_properties.py
    """
    if measure not in MEASURES:
        raise ImpossibleValue(f"{measure!r} is not known", where="measure", remedy=f"Use one of: {', '.join(MEASURES)}")
    beta, weight_of = _veins(beta_deg, weight)
    cut = np.mod(numbers(cut_deg, "cut_deg"), 180.0)
    theta = np.radians(cut)
    axis = np.mod(beta, 180.0)
    if measure == "squares":
        double = np.radians(2.0 * axis)
        x, y = (weight_of * np.cos(double)).sum(), (weight_of * np.sin(double)).sum()
        cost = 0.5 * (weight_of.sum() - x * np.cos(2.0 * theta) - y * np.sin(2.0 * theta))
    else:
        order = np.argsort(axis, kind="stable")
        angle = np.radians(axis[order])
        x = np.concatenate(([0.0], np.cumsum(weight_of[order] * np.cos(angle))))
        y = np.concatenate(([0.0], np.cumsum(weight_of[order] * np.sin(angle))))
        below = np.searchsorted(axis[order], cut, side="right")
        cost = np.sin(theta) * (2.0 * x[below] - x[-1]) - np.cos(theta) * (2.0 * y[below] - y[-1])
    return plain(np.maximum(cost, 0.0))


def cost_of_cut(*, beta_deg: ArrayLike, weight: ArrayLike, cut_deg: float = 0.0) -> CutCost:
    """What one cut costs beside the best plane, by squares; at 0 the cost of following the orientation line.

    A turn t away from the best plane adds R sin^2(t) to the least cost. Costs are shares of the total weight, which is
    the cost of cutting every vein square to its apexes.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more.
    cut_deg : float [deg]
        The cut that is asked about.

    Returns
    -------
    CutCost
        .cost, .least_cost, .largest_cost from 0 to 1; .turn_deg [deg], NaN where no plane is better; .times_best.

    Raises
    ------
    ImpossibleValue
        As for best_cut_deg.

    Valid for: one orientation line over all the veins.
    Source: derived.
    Checked by: tests/unit/core/test_cut_plane.py
    """
    best = squares_cut(beta_deg=beta_deg, weight=weight)
    cut = float(numbers(cut_deg, "cut_deg"))
    turn = abs(np.mod(cut - best.cut_deg + 90.0, 180.0) - 90.0)
    cost = float(cost_curve(beta_deg=beta_deg, weight=weight, cut_deg=cut)) / best.total_weight
    least = best.least_cost / best.total_weight
    ratio = np.sqrt(cost / least) if least > 1e-15 else (1.0 if cost <= 1e-15 else np.inf)
    return CutCost(
        cost=cost,
        least_cost=least,
        largest_cost=best.largest_cost / best.total_weight,
        turn_deg=float(turn),
        times_best=float(max(ratio, 1.0)),
    )


def free_turn_deg(*, alignment: ArrayLike, allowed_rise: ArrayLike = 0.03) -> Any:
    """How far the cut may be turned from the best plane, either way, before it costs more than the allowed rise.

    The rise by squares is alignment * sin^2(turn), as a share of the worst thinkable case. 0.03 is a turn of 10
    degrees for veins that all ask for one plane, and more the less they agree.

    Parameters
    ----------
    alignment : float or array (n,)
        Agreement of the veins, 0 to 1, as in SquaresCut.
    allowed_rise : float or array (n,)
        Rise in cost that is not worth a second look, 0 to 1.

    Returns
    -------
    float or array (n,) [deg]
        0 to 90; 90 where every plane is within the allowed rise.

    Raises
    ------
    ImpossibleValue
        When a share is not between 0 and 1.

    Valid for: cost by squares.
    Source: derived; the default: common practice, no source (a setting of the yard).
    Checked by: tests/unit/core/test_cut_plane.py
    """
    agreement, rise = together(
        alignment=numbers(alignment, "alignment", at_least=0.0, at_most=1.0),
        allowed_rise=numbers(allowed_rise, "allowed_rise", at_least=0.0, at_most=1.0),
    )
    free = agreement <= rise
    square = np.divide(rise, agreement, out=np.ones(agreement.shape), where=~free)
    return plain(np.where(free, 90.0, np.degrees(np.arcsin(np.sqrt(square)))))


def vein_weight(*, alpha_deg: ArrayLike, thickness_mm: ArrayLike, grade: ArrayLike = 1.0) -> Any:
    """Weight of a vein for the squares: (grade * thickness / sin(alpha))^2 * cot(alpha).

    The metal it carries through the sample, squared as in a mean square imbalance, times its chance to be clipped.

    Parameters
    ----------
    alpha_deg : float or array (n,) [deg]
        Angle between vein and core axis, above 0 to 90.
    thickness_mm : float or array (n,) [mm]
        True thickness.
    grade : float or array (n,)
        Grade in any one unit, 0 or more.

    Returns
    -------
    float or array (n,)

    Raises
    ------
    ImpossibleValue
        When alpha is out of range, a thickness not more than 0, or a grade negative.

    Valid for: comparing veins of one core size and one sample length.
    Source: derived.
    Checked by: tests/unit/core/test_cut_plane.py
    """
    alpha, thickness, grade_of = together(
        alpha_deg=numbers(alpha_deg, "alpha_deg", above=0.0, at_most=90.0),
        thickness_mm=numbers(thickness_mm, "thickness_mm", above=0.0),
        grade=numbers(grade, "grade", at_least=0.0),
    )
    metal = grade_of * thickness / np.sin(np.radians(alpha))
    return plain(metal * metal * np.tan(np.radians(90.0 - alpha)))


def direction_chance(*, beta_deg: ArrayLike, weight: ArrayLike) -> float:
    """Chance that veins without any common direction would look this much aligned: exp(-R^2 / sum w^2).

    For random directions R^2 has the mean sum w^2 and is close to exponential. One heavy vein among light ones never
    gives a small chance.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ImpossibleValue
        As for best_cut_deg.

    Valid for: a rough chance; good to a hundredth from about 10 veins of like weight.
    Source: Rayleigh test, first term, Mardia and Jupp, Directional Statistics (from memory); with weights: derived.
    Checked by: tests/unit/core/test_cut_plane.py
    """
    beta, weight_of = _veins(beta_deg, weight)
    best = squares_cut(beta_deg=beta, weight=weight_of)
    scaled = weight_of / best.total_weight
    return float(np.exp(-(best.alignment**2) / (scaled * scaled).sum()))


def cut_verdict(
    *,
    beta_deg: ArrayLike,
    weight: ArrayLike,
    best_imbalance: float,
    worst_imbalance: float,
    line_imbalance: float,
    ignorable_imbalance: float = 0.02,
    allowed_rise: float = 0.03,
    chance_limit: float = 0.05,
    fewest_veins: int = 5,
) -> CutVerdict:
    """Whether it matters which way this core is cut, in words and with the numbers.

    Asked in this order: are there enough veins; could their alignment be chance; would even the worst plane leave the
    halves alike; is the orientation line within the free turn. Only if all say no is the core to be turned.

    Parameters
    ----------
    beta_deg : array (n,) [deg]
        Beta of the veins, any turn.
    weight : float or array (n,)
        How much each vein counts, 0 or more.
    best_imbalance : float
        Root mean square imbalance of the samples at the best plane, 0 to 1; see sample_cut.best_sample_cut.
    worst_imbalance : float
        The same at the worst plane.
    line_imbalance : float
        The same along the orientation line.
    ignorable_imbalance : float
        What the worst plane may add before the direction matters.
    allowed_rise : float
        As in free_turn_deg.
    chance_limit : float
        Largest chance at which a common direction is believed.
    fewest_veins : int
        Fewest veins that can show a direction.

    Returns
    -------
    CutVerdict
        .matters, .case, .words, .cut_deg [deg], .vein_count, .alignment, .chance, .free_turn_deg [deg],
        .line_turn_deg [deg]

    Raises
    ------
    ImpossibleValue
        As for best_cut_deg, or when an imbalance or limit is not between 0 and 1.

    Valid for: one orientation line over all the veins.
    Source: derived; all limits: common practice, no source (settings of the yard).
    Checked by: tests/unit/core/test_cut_plane.py
    """
    beta, weight_of = _veins(beta_deg, weight)
    shares = {"best_imbalance": best_imbalance, "worst_imbalance": worst_imbalance, "line_imbalance": line_imbalance,
              "ignorable_imbalance": ignorable_imbalance, "chance_limit": chance_limit}  # fmt: skip
    low, high, along, ignorable, limit = (
        float(numbers(value, name, at_least=0.0, at_most=1.0)) for name, value in shares.items()
    )
    best = squares_cut(beta_deg=beta, weight=weight_of)
    chance = direction_chance(beta_deg=beta, weight=weight_of)
    free = float(free_turn_deg(alignment=best.alignment, allowed_rise=allowed_rise))
    turn = cost_of_cut(beta_deg=beta, weight=weight_of).turn_deg
    count = int((weight_of > 0.0).sum())
    sides = f"halves differ from their mean by {100 * low:.1f} % at the best plane and {100 * high:.1f} % at the worst"
    if count < fewest_veins:
        case, words = "too few veins", f"{count} veins measured, {fewest_veins} wanted to show a direction"
    elif chance > limit or np.isnan(best.cut_deg):
        case = "no preferred plane"
        words = f"the veins do not share a direction (alignment {best.alignment:.2f}, chance {chance:.2f})"
    elif high - low <= ignorable:
        case, words = "halves alike anyway", sides
    elif turn <= free:
        case = "the line will do"
        words = (
            f"the orientation line is {turn:.0f}° from the best plane, {free:.0f}° is free; "
            f"there the halves differ from their mean by {100 * along:.1f} %"
        )
    else:
        case = "turn the core"
        words = (
            f"cut at {best.cut_deg:.0f}°: {sides}, {100 * along:.1f} % along the orientation line "
            f"({turn:.0f}° off, {free:.0f}° is free)"
        )
    matters = case in ("the line will do", "turn the core")
    lead = "" if matters else "The direction of the cut does not matter here: "
    return CutVerdict(
        matters=matters, case=case, words=lead + words if lead else words[:1].upper() + words[1:],
        cut_deg=best.cut_deg, vein_count=count, alignment=best.alignment, chance=chance, free_turn_deg=free,
        line_turn_deg=turn,
    )  # fmt: skip


def _veins(beta_deg: ArrayLike, weight: ArrayLike) -> tuple[Floats, Floats]:
    beta, weight_of = together(
        beta_deg=numbers(np.atleast_1d(beta_deg), "beta_deg"), weight=numbers(weight, "weight", at_least=0.0)
    )
    if beta.ndim != 1 or beta.size == 0:
        raise ImpossibleValue("no veins to share", where="beta_deg", remedy="Measure beta on at least one vein")
    if not weight_of.any():
        raise ImpossibleValue("all are 0", where="weight", remedy="Give at least one vein a weight")
    return beta, weight_of
