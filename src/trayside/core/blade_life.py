"""How much rock a blade will still cut, learned from the height of its segments.

    height after reading k  =  height when new  -  sum over rock classes of  wear per m2 x m2 cut in that class  +  scatter

Heights are regressed, not their differences: two differences share a reading. The belief over the first height and the
wear of every class is normal, and stays so. What is left until the lowest height allowed is a ratio of two normal
values; its interval is exact (the share of belief in which the blade is still above the lowest height, area by area).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gammaincinv, ndtri

from trayside.core.cutting_time import sawn_area
from trayside.core.number_lists import fraction, number_list, one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.refusals import Floats, numbers
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class WearBelief:
    """First height [mm], then wear [mm/m2] of every rock class: mean and covariance; area cut so far by class."""

    rocks: tuple[str, ...]
    mean: Floats
    covariance: Floats
    scatter_mm: float
    cut_m2: Floats
    readings: int = 0
    flags: tuple[str, ...] = ()

    @property
    def height_now_mm(self) -> float:
        """Height believed today."""
        return float(self.mean[0] - self.mean[1:] @ self.cut_m2)


@dataclass(frozen=True, slots=True)
class LearnedWear:
    """The belief after the readings; how far each height stood off, in standard deviations, worn too fast positive."""

    belief: WearBelief
    score: Floats


@dataclass(frozen=True, slots=True)
class BladeLeft:
    """Area and metres still to cut: at the mean belief, spread, and the interval (infinite when not yet known)."""

    area_m2: float
    low_m2: float
    high_m2: float
    area_sd_m2: float  # first-order
    metres: float
    low_metres: float
    high_metres: float
    confidence: float
    flags: tuple[str, ...]
    says: str
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class GammaWear:
    """Wear per m2 under the gamma model: mean and interval, and the belief to carry on with."""

    mean: float
    low: float
    high: float
    shape: float
    rate: float


def starting_wear(
    *,
    rocks: Sequence[str],
    new_height_mm: float,
    new_height_sd_mm: float,
    wear: ArrayLike,
    wear_sd: ArrayLike,
    scatter_mm: float,
) -> WearBelief:
    """Belief about a new blade before any reading.

    First height and wear of every class are independent and normal.

    Parameters
    ----------
    rocks : sequence (c,) of str
        Rock classes, each once.
    new_height_mm : float [mm]
        Height of the segments when new.
    new_height_sd_mm : float [mm]
        How far it may be off.
    wear : float or array (c,)
        Wear in mm per m2 expected of each class: from blades before, or a guess.
    wear_sd : float or array (c,)
        How far each may be off.
    scatter_mm : float [mm]
        Scatter of one reading: caliper and unevenness of the rim.

    Returns
    -------
    WearBelief
        .mean (c + 1,), .covariance, .cut_m2 (c,), .height_now_mm [mm]

    Raises
    ------
    ImpossibleValue
        When a class comes twice, or a value is not more than 0.

    Valid for: mean of the same marked segments, blade cold, saw isolated.
    Source: normal linear regression (derived); starting values are the yard's (site rule).
    Checked by: tests/published/test_blade_life_published.py, tests/unit/core/test_blade_life.py
    """
    names = tuple(rocks)
    if not names or len(set(names)) != len(names):
        raise ImpossibleValue("no class, or one that comes twice", where="rocks", remedy="Name each class once")
    mean = _one_each(wear, names, "wear")
    sd = _one_each(wear_sd, names, "wear_sd")
    height = one_number(new_height_mm, "new_height_mm", above=0.0)
    height_sd = one_number(new_height_sd_mm, "new_height_sd_mm", above=0.0)
    return WearBelief(
        names,
        np.concatenate(([height], mean)),
        np.diag(np.concatenate(([height_sd], sd)) ** 2),
        one_number(scatter_mm, "scatter_mm", above=0.0),
        np.zeros(len(names)),
    )


def learn_wear(*, belief: WearBelief, height_mm: ArrayLike, cut_m2: ArrayLike) -> LearnedWear:
    """Belief after some readings of the segment height.

    One normal update a reading; the order does not matter for the belief, only for the scores.

    Parameters
    ----------
    belief : WearBelief
        What is believed before.
    height_mm : float or array (n,) [mm]
        Mean height of the marked segments.
    cut_m2 : array (n, c), or (n,) with one class
        Area cut in each class since the blade was new, at each reading.

    Returns
    -------
    LearnedWear
        .belief, .score (n,)

    Raises
    ------
    ImpossibleValue
        When a height or area is negative, an area falls from one reading to the next, or the shapes do not fit.

    Valid for: one blade; wear in proportion to the area.
    Source: Bayesian normal linear regression (derived).
    Checked by: tests/published/test_blade_life_published.py, tests/unit/core/test_blade_life.py,
        tests/properties/test_blade_life_properties.py
    """
    heights = number_list(np.atleast_1d(height_mm), "height_mm", at_least=0.0)
    areas = numbers(cut_m2, "cut_m2", at_least=0.0)
    if areas.ndim <= 1 and len(belief.rocks) == 1:
        areas = np.atleast_1d(areas)[:, None]
    if areas.shape != (len(heights), len(belief.rocks)):
        raise ImpossibleValue(
            f"{areas.shape} areas for {len(heights)} readings of {len(belief.rocks)} classes",
            where="cut_m2",
            remedy="Give one row a reading and one column a class",
        )
    if np.any(np.diff(np.vstack((belief.cut_m2, areas)), axis=0) < -1e-9):
        raise ImpossibleValue(
            "the area cut falls from one reading to the next",
            where="cut_m2",
            remedy="Give areas since the blade was new",
        )
    mean, covariance, scores = belief.mean, belief.covariance, []
    for height, area in zip(heights, areas, strict=True):
        row = np.concatenate(([1.0], -area))
        spread = covariance @ row
        variance = float(row @ spread) + belief.scatter_mm**2
        off = float(height - row @ mean)
        scores.append(-off / math.sqrt(variance))
        mean = mean + spread * off / variance
        covariance = covariance - np.outer(spread, spread) / variance
        covariance = (covariance + covariance.T) / 2.0
    flags = tuple(
        f"The readings say that {rock} adds height: other segments were measured, or the areas are wrong"
        for rock, slope in zip(belief.rocks, mean[1:], strict=True)
        if slope <= 0.0
    )
    last = areas[-1] if len(areas) else belief.cut_m2
    learned = replace(
        belief, mean=mean, covariance=covariance, cut_m2=last, readings=belief.readings + len(heights), flags=flags
    )
    return LearnedWear(learned, np.array(scores))


def cut_since(*, belief: WearBelief, area_m2: ArrayLike) -> WearBelief:
    """The belief after more rock without a reading: only the area moves.

    Parameters
    ----------
    belief : WearBelief
        What is believed.
    area_m2 : float or array (c,)
        Area cut since, by class.

    Returns
    -------
    WearBelief
        .cut_m2 (c,), .height_now_mm [mm]

    Raises
    ------
    ImpossibleValue
        When an area is negative or there is not one a class.

    Valid for: the same blade.
    Source: derived.
    Checked by: tests/unit/core/test_blade_life.py
    """
    return replace(belief, cut_m2=belief.cut_m2 + _one_each(area_m2, belief.rocks, "area_m2", zero_ok=True))


def next_blade(
    *, belief: WearBelief, new_height_mm: float, new_height_sd_mm: float, between_blades: float = 0.1
) -> WearBelief:
    """Belief about the next blade of the same type.

    The wear learned is kept and widened; height and areas start anew.

    Parameters
    ----------
    belief : WearBelief
        Learned from the blade before.
    new_height_mm : float [mm]
        Height of the new segments.
    new_height_sd_mm : float [mm]
        How far it may be off.
    between_blades : float
        Difference from blade to blade of one type, as a share of the wear: a setting.

    Returns
    -------
    WearBelief
        .mean (c + 1,), .covariance, .cut_m2 (c,), .height_now_mm [mm]

    Raises
    ------
    ImpossibleValue
        When a height is not more than 0 or the share negative.

    Valid for: blades of one type and bond.
    Source: derived; the share is a starting choice (common practice, no source).
    Checked by: tests/unit/core/test_blade_life.py
    """
    share = one_number(between_blades, "between_blades", at_least=0.0)
    covariance = belief.covariance.copy()
    covariance[0, :] = covariance[:, 0] = 0.0
    covariance[0, 0] = one_number(new_height_sd_mm, "new_height_sd_mm", above=0.0) ** 2
    inner = np.arange(1, len(covariance))
    covariance[inner, inner] += (share * belief.mean[1:]) ** 2
    mean = belief.mean.copy()
    mean[0] = one_number(new_height_mm, "new_height_mm", above=0.0)
    return replace(belief, mean=mean, covariance=covariance, cut_m2=np.zeros(len(belief.rocks)), readings=0, flags=())


def blade_left(
    *,
    belief: WearBelief,
    lowest_height_mm: float,
    mix: ArrayLike = 1.0,
    core_diameter_mm: float,
    cut: str = "half",
    confidence: float = 0.9,
) -> BladeLeft:
    """Area and metres until the segments reach their lowest height.

    Height left over the wear of the coming mix of rock. The interval holds the middle share of belief: an area is its
    lower end when the belief that the blade is already at its lowest height there is (1 - confidence) / 2.

    Parameters
    ----------
    belief : WearBelief
        What is believed, with the area cut so far.
    lowest_height_mm : float [mm]
        Height at which the blade comes off: never down to the core.
    mix : float or array (c,)
        Shares of the coming rock by class; made to sum to 1.
    core_diameter_mm : float [mm]
        Core size of the coming metres.
    cut : str
        half or quarter.
    confidence : float
        Share of belief inside the interval.

    Returns
    -------
    BladeLeft
        .area_m2, .low_m2, .high_m2, .area_sd_m2, .metres, .low_metres, .high_metres, .confidence, .flags, .says,
        .caution

    Raises
    ------
    ImpossibleValue
        When the lowest height is negative, the mix is negative or all 0, or the belief says that this rock adds height.

    Valid for: wear in proportion to the area down to the lowest height.
    Source: ratio of normal values, exact interval after Fieller (derived).
    Checked by: tests/published/test_blade_life_published.py, tests/unit/core/test_blade_life.py,
        tests/properties/test_blade_life_properties.py
    """
    lowest = one_number(lowest_height_mm, "lowest_height_mm", at_least=0.0)
    level = fraction(confidence, "confidence")
    shares = _one_each(mix, belief.rocks, "mix", zero_ok=True)
    if shares.sum() <= 0.0:
        raise ImpossibleValue("the shares are all 0", where="mix", remedy="Give the share of each class to come")
    shares = shares / shares.sum()
    base = np.concatenate(([1.0], -belief.cut_m2))
    slope = np.concatenate(([0.0], shares))
    spare, wear = float(base @ belief.mean) - lowest, float(slope @ belief.mean)
    if wear <= 0.0:
        raise ImpossibleValue(
            "the belief says that this rock adds height to the segments",
            where="blade",
            remedy="Measure the same segments again, and check the areas",
        )
    # height - lowest after r more m2 is normal: mean spare - wear r, variance q0 - 2 q1 r + q2 r^2
    q0, q1, q2 = (float(a @ belief.covariance @ b) for a, b in ((base, base), (base, slope), (slope, slope)))
    area = spare / wear
    sd = math.sqrt(max(0.0, q0 - 2.0 * q1 * area + q2 * area * area)) / wear
    width = float(ndtri(0.5 + level / 2.0))
    low, high = _crossings(spare, wear, q0, q1, q2, width)
    face = sawn_area(core_diameter_mm=core_diameter_mm, cut=cut)
    flags = list(belief.flags)
    if area <= 0.0:
        flags.append("The segments are at their lowest height: take the blade off, do not finish the tray")
    elif low <= 0.0:
        flags.append("The blade may be at its lowest height already: measure before the next tray")
    if math.isinf(high):
        flags.append("The wear is not known well enough for an upper figure: more readings are needed")
    says = f"About {area / face:.0f} m of core left" if area > 0.0 else "Nothing left"
    ends = ["not known" if math.isinf(end) else f"{end / face:.0f} m" for end in (low, high)]
    says += f" ({100.0 * level:.0f} % interval: {ends[0]} to {ends[1]})."
    return BladeLeft(area, low, high, sd, area / face, low / face, high / face, level, tuple(flags), says)


def life_from_volume(
    *,
    segments: int,
    length_mm: float,
    width_mm: float,
    height_mm: float,
    leave_mm: float,
    volume_wear: float,
) -> tuple[float, float]:
    """Life of a new blade from the volume of its segments, and its wear per m2.

    Usable volume over volume worn per m2; the wear on the height is that volume over the area of all segments.

    Parameters
    ----------
    segments : int
        Count of segments.
    length_mm : float [mm]
        Length of one along the rim.
    width_mm : float [mm]
        Its width.
    height_mm : float [mm]
        Its height when new.
    leave_mm : float [mm]
        Height at which the blade comes off.
    volume_wear : float
        Cubic millimetres worn per m2 sawn: from the yard's own blades, nothing printed can be trusted.

    Returns
    -------
    tuple of (float, float)
        Life in m2, and wear in mm per m2.

    Raises
    ------
    ImpossibleValue
        When a size is not more than 0, or the height left is not less than the height.

    Valid for: straight segments that wear evenly.
    Source: volume over rate (derived).
    Checked by: tests/published/test_blade_life_published.py
    """
    count = one_number(segments, "segments", at_least=1.0)
    foot = one_number(length_mm, "length_mm", above=0.0) * one_number(width_mm, "width_mm", above=0.0)
    height, leave = one_number(height_mm, "height_mm", above=0.0), one_number(leave_mm, "leave_mm", at_least=0.0)
    if leave >= height:
        raise ImpossibleValue(
            f"{leave:g} mm to leave of {height:g} mm", where="leave_mm", remedy="Leave less than the height when new"
        )
    per_m2 = one_number(volume_wear, "volume_wear", above=0.0)
    return count * foot * (height - leave) / per_m2, per_m2 / (count * foot)


def gamma_wear(
    *,
    shape_per_m2: float,
    prior_shape: float,
    prior_rate: float,
    area_m2: float,
    worn_mm: float,
    confidence: float = 0.9,
) -> GammaWear:
    """Wear per m2 when it can only grow: a gamma process in place of the straight line.

    Wear over X m2 is gamma with shape c X; its rate is gamma (a, b) before and (a + c X, b + wear) after. The mean wear per
    m2 is c b / (a - 1).

    Parameters
    ----------
    shape_per_m2 : float
        How steady the wear is: large is steady.
    prior_shape : float
        a.
    prior_rate : float
        b.
    area_m2 : float
        Area cut.
    worn_mm : float [mm]
        Height worn off meanwhile.
    confidence : float
        Share of belief between low and high.

    Returns
    -------
    GammaWear
        .mean, .low, .high in mm per m2; .shape, .rate

    Raises
    ------
    ImpossibleValue
        When a number is negative, or the shape after is not more than 1.

    Valid for: one rock class; readings with little scatter of their own.
    Source: conjugate gamma model (derived).
    Checked by: tests/published/test_blade_life_published.py, tests/unit/core/test_blade_life.py
    """
    steady = one_number(shape_per_m2, "shape_per_m2", above=0.0)
    shape = one_number(prior_shape, "prior_shape", above=0.0) + steady * one_number(area_m2, "area_m2", at_least=0.0)
    rate = one_number(prior_rate, "prior_rate", above=0.0) + one_number(worn_mm, "worn_mm", at_least=0.0)
    level = fraction(confidence, "confidence")
    if shape <= 1.0:
        raise ImpossibleValue("too little is known for a mean", where="prior_shape", remedy="Start with more than 1")
    # The rate is gamma distributed; wear per m2 is c over it, so its low end belongs to the high rate.
    low, high = (steady * rate / float(gammaincinv(shape, 0.5 + side * level / 2.0)) for side in (1.0, -1.0))
    return GammaWear(steady * rate / (shape - 1.0), low, high, shape, rate)


def _crossings(spare: float, wear: float, q0: float, q1: float, q2: float, width: float) -> tuple[float, float]:
    """Areas at which the lowest height lies `width` standard deviations off: the two ends of the interval."""
    # (spare - wear r)^2 = width^2 (q0 - 2 q1 r + q2 r^2), as a r^2 - 2 b r + c = 0
    a = wear * wear - width * width * q2
    b = spare * wear - width * width * q1
    c = spare * spare - width * width * q0
    root = math.sqrt(max(0.0, b * b - a * c))
    if a > 0.0:
        return (b - root) / a, (b + root) / a
    # The wear itself may be nothing: no upper end, and a lower one only while the blade is surely above its lowest.
    return (c / (b + root) if c > 0.0 and spare > 0.0 else -math.inf), math.inf


def _one_each(values: ArrayLike, names: Sequence[str], where: str, *, zero_ok: bool = False) -> Floats:
    limits = {"at_least": 0.0} if zero_ok else {"above": 0.0}
    array = numbers(values, where, **limits)
    if array.ndim == 0:
        return np.full(len(names), float(array))
    if array.shape != (len(names),):
        raise ImpossibleValue(
            f"{array.size} values for {len(names)} classes", where=where, remedy="Give one value a class"
        )
    return array
