"""What weighed bags teach about the density of each rock and the offset of each saw.

The belief is a normal one over the logarithm of every density and the offset of every saw, together, because one bag
alone cannot tell heavy rock from a blade off the line; bags of several rocks on one saw can, and both halves can at once:

    one half:     ln(mass / length / area at the starting offset) = ln density + slope x (offset - start)
    both halves:  the same for their sum, which hardly depends on the offset; and the offset itself from their ratio

A bag that stands far from what is believed counts less, never nothing: one wrong bag does little, and a belief that
is wrong gives way when bag after bag says so. When a saw is set up again, forget its offset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.bag_mass import HEAVIEST_ROCK_T_M3
from trayside.core.cut_geometry import cut_faces, cut_pieces, offset_from_masses
from trayside.core.number_lists import one_number
from trayside.core.refusals import Floats, checked_cut, numbers, refuse_where, together
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

MOST_ROUNDS = 200


@dataclass(frozen=True, slots=True)
class LearningSettings:
    """Scatter of single bags, and how far a bag may stand off and still count in full: starting choices of our own."""

    bag_sd: float = 0.04  # of a mass, as a share of it: length, diameter, rock from bag to bag
    wander_sd_mm: float = 0.5  # of the offset from bag to bag on one saw
    full_weight_sd: float = 2.5  # beyond this many standard deviations a bag counts less
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )


DEFAULT_LEARNING = LearningSettings()


@dataclass(frozen=True, slots=True)
class MassBelief:
    """What is believed of densities (by rock) and offsets (by saw), with their joint covariance.

    `mean` and `covariance` run over ln density of each rock, then offset of each saw. `start_offset_mm` is where the
    cut area is made linear, and what `forget_offset` goes back to.
    """

    rocks: tuple[str, ...]
    saws: tuple[str, ...]
    mean: Floats
    covariance: Floats
    start_offset_mm: Floats
    start_offset_sd_mm: Floats
    bags: int = 0

    @property
    def density_t_m3(self) -> Floats:
        """Density of each rock: the middle of the belief."""
        return np.exp(self.mean[: len(self.rocks)])

    @property
    def density_sd_t_m3(self) -> Floats:
        """Standard deviation of each density."""
        return self.density_t_m3 * np.sqrt(np.diag(self.covariance)[: len(self.rocks)])

    @property
    def offset_mm(self) -> Floats:
        """Offset of each saw, positive toward the near half."""
        return self.mean[len(self.rocks) :]

    @property
    def offset_sd_mm(self) -> Floats:
        """Standard deviation of each offset."""
        return np.sqrt(np.diag(self.covariance)[len(self.rocks) :])


@dataclass(frozen=True, slots=True)
class LearnedBags:
    """The belief after some bags, and how far each bag stood off and what weight it got, 1 for full."""

    belief: MassBelief
    score: Floats  # (n,) the larger of its sayings, in standard deviations
    weight: Floats  # (n,) the smaller of its sayings


@dataclass(frozen=True, slots=True)
class _Sayings:
    """What bags say, one row each: direction @ mean = value, with its variance; `bag` is where it comes from."""

    direction: Floats
    value: Floats
    variance: Floats
    bag: Any


def starting_belief(
    *,
    rocks: Sequence[str],
    density_t_m3: ArrayLike,
    density_sd_t_m3: ArrayLike,
    saws: Sequence[str],
    offset_mm: ArrayLike,
    offset_sd_mm: ArrayLike,
) -> MassBelief:
    """Belief before any bag is weighed.

    Densities and offsets are independent and normal, densities in the logarithm.

    Parameters
    ----------
    rocks : sequence (r,) of str
        Rock codes, each once.
    density_t_m3 : float or array (r,) [t_m3]
        Density expected of each rock.
    density_sd_t_m3 : float or array (r,) [t_m3]
        How far it may be off.
    saws : sequence (s,) of str
        Saws, each once.
    offset_mm : float or array (s,) [mm]
        Offset each saw is set to, positive toward the near half.
    offset_sd_mm : float or array (s,) [mm]
        How far it may be off.

    Returns
    -------
    MassBelief
        .density_t_m3 (r,) [t_m3], .density_sd_t_m3 (r,) [t_m3], .offset_mm (s,) [mm], .offset_sd_mm (s,) [mm]

    Raises
    ------
    ImpossibleValue
        When a name comes twice, or a density or standard deviation is not more than 0.

    Valid for: standard deviations small against the densities.
    Source: derived; the starting values are the yard's (site rule).
    Checked by: tests/unit/core/test_mass_learning.py, tests/properties/test_mass_learning_properties.py
    """
    for names, where in ((rocks, "rocks"), (saws, "saws")):
        if len(set(names)) != len(names):
            raise ImpossibleValue("a name comes twice", where=where, remedy="Name each one once")
    density = _one_each(
        numbers(density_t_m3, "density_t_m3", above=0.0, at_most=HEAVIEST_ROCK_T_M3), rocks, "density_t_m3"
    )
    density_sd = _one_each(numbers(density_sd_t_m3, "density_sd_t_m3", above=0.0), rocks, "density_sd_t_m3")
    offset = _one_each(numbers(offset_mm, "offset_mm"), saws, "offset_mm")
    offset_sd = _one_each(numbers(offset_sd_mm, "offset_sd_mm", above=0.0), saws, "offset_sd_mm")
    return MassBelief(
        rocks=tuple(rocks),
        saws=tuple(saws),
        mean=np.concatenate([np.log(density), offset]),
        covariance=np.diag(np.concatenate([(density_sd / density) ** 2, offset_sd**2])),
        start_offset_mm=offset,
        start_offset_sd_mm=offset_sd,
    )


def learn_from_bag(
    *,
    belief: MassBelief,
    rock: str,
    saw: str,
    near_kg: float | None = None,
    far_kg: float | None = None,
    recovered_length_m: float,
    core_diameter_mm: float,
    kerf_mm: float,
    settings: LearningSettings = DEFAULT_LEARNING,
) -> LearnedBags:
    """Belief after one more bag.

    One Kalman step for each thing the bag says. A saying more than full_weight_sd off has its variance raised by
    (off / full_weight_sd) squared.

    Parameters
    ----------
    belief : MassBelief
        What was believed before.
    rock : str
        Rock in the bag.
    saw : str
        Saw it was cut on.
    near_kg : float or None [kg]
        Mass of the half on the side that positive offsets point to.
    far_kg : float or None [kg]
        Mass of the other half.
    recovered_length_m : float [m]
        Length of core that was cut.
    core_diameter_mm : float [mm]
        Diameter of the core.
    kerf_mm : float [mm]
        Width of the slot.
    settings : LearningSettings
        Scatter of single bags; a setting.

    Returns
    -------
    LearnedBags
        .belief, .score (1,) [1], .weight (1,) [1]

    Raises
    ------
    ImpossibleValue
        When neither half was weighed, a rock or saw is not in the belief, or a mass, length or cut is impossible.

    Valid for: bags of one rock; offsets within about 2 mm of the start, where the area is near enough linear.
    Source: Kalman filter with weights (derived).
    Checked by: tests/unit/core/test_mass_learning.py, tests/properties/test_mass_learning_properties.py
    """
    sayings = _sayings(
        belief,
        [rock],
        [saw],
        np.nan if near_kg is None else near_kg,
        np.nan if far_kg is None else far_kg,
        recovered_length_m,
        core_diameter_mm,
        kerf_mm,
        settings,
    )
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    score, weight = 0.0, 1.0
    for direction, value, variance in zip(sayings.direction, sayings.value, sayings.variance, strict=True):
        toward = covariance @ direction
        miss = value - direction @ mean
        off = abs(miss) / np.sqrt(direction @ toward + variance)
        counts = float(_weight(off, settings.full_weight_sd))
        gain = toward / (direction @ toward + variance / counts)
        mean = mean + gain * miss
        covariance = covariance - np.outer(gain, toward)
        covariance = (covariance + covariance.T) / 2.0
        score, weight = max(score, float(off)), min(weight, counts)
    after = replace(belief, mean=mean, covariance=covariance, bags=belief.bags + 1)
    return LearnedBags(belief=after, score=np.array([score]), weight=np.array([weight]))


def learn_from_bags(
    *,
    belief: MassBelief,
    rock: Sequence[str],
    saw: Sequence[str],
    near_kg: ArrayLike = np.nan,
    far_kg: ArrayLike = np.nan,
    recovered_length_m: ArrayLike,
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    settings: LearningSettings = DEFAULT_LEARNING,
) -> LearnedBags:
    """Belief after many bags at once.

    All sayings are solved together, by weighted least squares with the belief as prior. Weights follow from how far
    each saying stands from what all the others and the prior make of it, found in rounds. When every bag counts in
    full the result is that of learn_from_bag bag by bag, in any order. With odd bags it is a little better: it may
    look back.

    Parameters
    ----------
    belief : MassBelief
        What was believed before.
    rock : sequence (n,) of str
        Rock in each bag.
    saw : sequence (n,) of str
        Saw of each bag.
    near_kg : float or array (n,) [kg]
        Mass of the near half; NaN where it was not weighed.
    far_kg : float or array (n,) [kg]
        Mass of the far half; NaN where it was not weighed.
    recovered_length_m : float or array (n,) [m]
        Length of core that was cut.
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.
    settings : LearningSettings
        Scatter of single bags; a setting.

    Returns
    -------
    LearnedBags
        .belief, .score (n,) [1], .weight (n,) [1]

    Raises
    ------
    ImpossibleValue
        As for learn_from_bag.

    Valid for: as learn_from_bag.
    Source: linear normal model in information form with iterated weights (derived).
    Checked by: tests/unit/core/test_mass_learning.py, tests/properties/test_mass_learning_properties.py
    """
    sayings = _sayings(belief, rock, saw, near_kg, far_kg, recovered_length_m, core_diameter_mm, kerf_mm, settings)
    prior = np.linalg.inv(belief.covariance)
    pull = prior @ belief.mean
    rows, value, variance = sayings.direction, sayings.value, sayings.variance
    counts = np.ones(len(value))
    off = np.zeros(len(value))
    for round_ in range(MOST_ROUNDS):
        sure = counts / variance
        covariance = np.linalg.inv(prior + rows.T @ (sure[:, None] * rows))
        mean = covariance @ (pull + rows.T @ (sure * value))
        # Its own share in the belief is taken out again: a saying is judged by all the others.
        reach = np.einsum("ij,jk,ik->i", rows, covariance, rows)
        own = np.minimum(sure * reach, 1.0 - 1e-12)
        miss = np.abs(value - rows @ mean) / (1.0 - own)
        off = miss / np.sqrt(variance + reach / (1.0 - own))
        better = _weight(off, settings.full_weight_sd)
        if np.max(np.abs(better - counts), initial=0.0) < 1e-12:
            break
        # Weights that hop to and fro late in the search are damped.
        counts = better if round_ < MOST_ROUNDS // 2 else (better + counts) / 2.0
    bags = len(rock)
    score, weight = np.zeros(bags), np.ones(bags)
    np.maximum.at(score, sayings.bag, off)
    np.minimum.at(weight, sayings.bag, counts)
    after = replace(belief, mean=mean, covariance=(covariance + covariance.T) / 2.0, bags=belief.bags + bags)
    return LearnedBags(belief=after, score=score, weight=weight)


def forget_offset(*, belief: MassBelief, saw: str) -> MassBelief:
    """Belief after a saw was set up again: its offset is as unknown as at the start, what is known of rocks stays.

    The offset goes back to its starting value and standard deviation, without ties to anything else.

    Parameters
    ----------
    belief : MassBelief
        What was believed before.
    saw : str
        The saw that was set up again.

    Returns
    -------
    MassBelief

    Raises
    ------
    ImpossibleValue
        When the saw is not in the belief.

    Valid for: a saw set to its starting offset again.
    Source: derived.
    Checked by: tests/unit/core/test_mass_learning.py
    """
    which = _places([saw], belief.saws, "saw")[0]
    place = len(belief.rocks) + which
    mean, covariance = belief.mean.copy(), belief.covariance.copy()
    mean[place] = belief.start_offset_mm[which]
    covariance[place, :] = covariance[:, place] = 0.0
    covariance[place, place] = belief.start_offset_sd_mm[which] ** 2
    return replace(belief, mean=mean, covariance=covariance)


def _sayings(
    belief: MassBelief,
    rock: Sequence[str],
    saw: Sequence[str],
    near_kg: ArrayLike,
    far_kg: ArrayLike,
    recovered_length_m: ArrayLike,
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    settings: LearningSettings,
) -> _Sayings:
    """Masses as linear statements on ln density and offset."""
    bag_sd = one_number(settings.bag_sd, "bag_sd", above=0.0)
    wander = one_number(settings.wander_sd_mm, "wander_sd_mm", above=0.0)
    one_number(settings.full_weight_sd, "full_weight_sd", above=0.0)
    rocks, saws = _places(rock, belief.rocks, "rock"), _places(saw, belief.saws, "saw")
    start = belief.start_offset_mm[saws]
    radius, kerf, start = checked_cut(core_diameter_mm, kerf_mm, start)
    near, far, length, radius, kerf, start, _ = together(
        near_kg=_weighed(near_kg, "near_kg"),
        far_kg=_weighed(far_kg, "far_kg"),
        recovered_length_m=numbers(recovered_length_m, "recovered_length_m", above=0.0),
        core_diameter_mm=radius,
        kerf_mm=kerf,
        offset_mm=start,
        rock=rocks.astype(np.float64),
    )
    if len(saws) != len(rocks) or near.shape != rocks.shape:
        raise ImpossibleValue(
            f"{len(rocks)} rocks, {len(saws)} saws, {near.size} bags",
            where="rock",
            remedy="Give one of each for every bag",
        )
    has_near, has_far = ~np.isnan(near), ~np.isnan(far)
    refuse_where(
        ~(has_near | has_far), rocks, "near_kg", "neither half was weighed", "Weigh one half, or leave the bag out"
    )
    cut = {"core_diameter_mm": 2.0 * radius, "kerf_mm": kerf, "offset_mm": start}
    areas, faces = cut_pieces(**cut), cut_faces(**cut)
    # A blade moved by dx toward the near half takes face x dx from it and gives the far face's to the other.
    area = np.where(has_near, areas.near_mm2, 0.0) + np.where(has_far, areas.far_mm2, 0.0)
    change = np.where(has_far, faces.far_face_mm, 0.0) - np.where(has_near, faces.near_face_mm, 0.0)
    refuse_where(area <= 0.0, start, "offset_mm", "leaves nothing of the half that was weighed", "Check the offset")
    slope = change / area
    mass = np.where(has_near, near, 0.0) + np.where(has_far, far, 0.0)
    count, wide = len(rocks), len(belief.mean)
    by_mass = np.zeros((count, wide))
    by_mass[np.arange(count), rocks] = 1.0
    by_mass[np.arange(count), len(belief.rocks) + saws] = slope
    value = np.log(1e3 * mass / (length * area)) + slope * start
    variance = bag_sd**2 + (slope * wander) ** 2
    both = np.flatnonzero(has_near & has_far)
    by_ratio = np.zeros((len(both), wide))
    by_ratio[np.arange(len(both)), len(belief.rocks) + saws[both]] = 1.0
    seen = np.zeros(0)
    if len(both):
        seen = offset_from_masses(
            near_kg=near[both], far_kg=far[both], core_diameter_mm=2.0 * radius[both], kerf_mm=kerf[both]
        )
    return _Sayings(
        direction=np.vstack([by_mass, by_ratio]),
        value=np.concatenate([value, seen]),
        variance=np.concatenate([variance, np.full(len(both), wander**2)]),
        bag=np.concatenate([np.arange(count), both]),
    )


def _weight(off: Any, full: float) -> Any:
    """1 up to the limit, then (limit / off)^2: the pull on the belief falls again the farther off a bag is."""
    return np.minimum(1.0, (full / np.maximum(off, full)) ** 2)


def _weighed(value: ArrayLike, name: str) -> Floats:
    """Masses, NaN where not weighed."""
    array = np.asarray(value, dtype=np.float64)
    refuse_where(~np.isnan(array) & ~(array > 0.0), array, name, "must be more than 0", "Give NaN for not weighed")
    refuse_where(np.isinf(array), array, name, "infinite", "Give a finite number")
    return array


def _places(names: Sequence[str], known: tuple[str, ...], where: str) -> Any:
    place = {name: k for k, name in enumerate(known)}
    for name in names:
        if name not in place:
            raise ImpossibleValue(
                f"nothing is believed of {name!r}", where=where, remedy="Start the belief with it, or check the name"
            )
    return np.array([place[name] for name in names], dtype=np.int64)


def _one_each(values: Floats, names: Sequence[str], where: str) -> Floats:
    try:
        return np.array(np.broadcast_to(values, (len(names),)))
    except ValueError:
        raise ImpossibleValue(
            f"{values.size} values for {len(names)} names", where=where, remedy="Give one for each, or one for all"
        ) from None
