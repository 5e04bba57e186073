"""Minutes per metre, learned from the saw's log: cutting apart from handling, by rock class and core size.

    minutes = metres x (handling per metre)  +  sawn area / (area rate)          sawn area = metres x face per metre

The belief is normal over the logarithms of the area rate of every pair of rock and core size, and of the handling
minutes per metre of every core size. Sizes of one rock share most of what is believed of it: HQ learns from NQ until it
has a log of its own. A log that has cutting and handling apart teaches each exactly; a total teaches their sum.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from trayside.core.number_lists import exp_or_infinite, fraction, one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.refusals import Floats
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

CUTS = {"half": 1.0, "quarter": 1.5}  # faces sawn, in core diameters
MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class TimeSettings:
    """Starting choices of our own: replace them by the yard's logs."""

    area_rate_m2_h: float = 0.68  # before any log, any rock
    rock_sd: float = 0.8  # of its logarithm, from rock to rock
    size_sd: float = 0.15  # between core sizes of one rock
    handling_minutes: float = 1.2  # per metre
    handling_sd: float = 0.5  # of its logarithm
    log_sd: float = 0.15  # scatter of one log entry, as a share
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )


DEFAULT_TIMES = TimeSettings()


@dataclass(frozen=True, slots=True)
class TimeBelief:
    """What is believed: ln area rate [m2/h] of every rock and size, then ln handling [min/m] of every size."""

    rocks: tuple[str, ...]
    core_diameter_mm: tuple[float, ...]
    mean: Floats
    covariance: Floats
    log_sd: float
    logs: int = 0


@dataclass(frozen=True, slots=True)
class TimeLog:
    """One log entry. Give cutting and handling minutes, or the total alone."""

    rock: str
    core_diameter_mm: float
    metres: float
    cutting_min: float | None = None
    handling_min: float | None = None
    total_min: float | None = None
    cut: str = "half"


@dataclass(frozen=True, slots=True)
class LearnedTimes:
    """The belief after the logs; how far each stood off before it was learned, in standard deviations, slow positive."""

    belief: TimeBelief
    score: Floats


@dataclass(frozen=True, slots=True)
class MinutesPerMetre:
    """Minutes per metre with the range one metre-rate is believed in, split; area rate in m2/h."""

    minutes: float
    low: float
    high: float
    cutting: float
    handling: float
    area_rate_m2_h: float
    confidence: float
    caution: str = PLANNING_AID


def sawn_area(*, core_diameter_mm: float, metres: float = 1.0, cut: str = "half") -> float:
    """Area the blade saws through, in square metres.

    Halving saws one diameter wide; quartering adds half a diameter.

    Parameters
    ----------
    core_diameter_mm : float [mm]
        Diameter of the core.
    metres : float
        Length of core.
    cut : str
        half, or quarter (one half cut again).

    Returns
    -------
    float
        Square metres.

    Raises
    ------
    ImpossibleValue
        When the diameter is not more than 0, the length negative, or the cut not known.

    Valid for: cuts through the axis, kerf not counted.
    Source: area of a rectangle (derived).
    Checked by: tests/published/test_cutting_time_published.py
    """
    diameter = one_number(core_diameter_mm, "core_diameter_mm", above=0.0) / 1000.0
    if cut not in CUTS:
        raise ImpossibleValue(f"no cut {cut!r}", where="cut", remedy=f"Use one of: {', '.join(CUTS)}")
    return CUTS[cut] * diameter * one_number(metres, "metres", at_least=0.0)


def starting_times(
    *, rocks: Sequence[str], core_diameter_mm: Sequence[float], settings: TimeSettings = DEFAULT_TIMES
) -> TimeBelief:
    """Belief before any log.

    Every rock and size starts at the same rate; sizes of a rock are bound together by the small scatter between sizes.

    Parameters
    ----------
    rocks : sequence (r,) of str
        Rock classes, each once.
    core_diameter_mm : sequence (s,) [mm]
        Core diameters, each once.
    settings : TimeSettings
        Starting values.

    Returns
    -------
    TimeBelief
        .mean and .covariance over r x s area rates and s handling times, in logarithms.

    Raises
    ------
    ImpossibleValue
        When a name comes twice or a setting is not more than 0.

    Valid for: any saw; keep one belief a saw or one for all, as the yard likes.
    Source: derived; starting values are settings.
    Checked by: tests/unit/core/test_cutting_time.py
    """
    sizes = tuple(one_number(one, "core_diameter_mm", above=0.0) for one in core_diameter_mm)
    names = tuple(rocks)
    for what, where in ((names, "rocks"), (sizes, "core_diameter_mm")):
        if len(set(what)) != len(what) or not what:
            raise ImpossibleValue("a name comes twice, or none is given", where=where, remedy="Name each one once")
    for name in ("area_rate_m2_h", "rock_sd", "size_sd", "handling_minutes", "handling_sd", "log_sd"):
        one_number(getattr(settings, name), name, above=0.0)
    cells, count = len(names) * len(sizes), len(names) * len(sizes) + len(sizes)
    mean = np.full(count, math.log(settings.area_rate_m2_h))
    mean[cells:] = math.log(settings.handling_minutes)
    covariance = np.zeros((count, count))
    for rock in range(len(names)):
        block = slice(rock * len(sizes), (rock + 1) * len(sizes))
        covariance[block, block] = settings.rock_sd**2
    covariance[np.arange(cells), np.arange(cells)] += settings.size_sd**2
    covariance[np.arange(cells, count), np.arange(cells, count)] = settings.handling_sd**2
    return TimeBelief(names, sizes, mean, covariance, settings.log_sd)


def learn_times(*, belief: TimeBelief, logs: Sequence[TimeLog]) -> LearnedTimes:
    """Belief after some log entries, one after another.

    Split entries are exact normal updates in the logarithm. A total is made straight at its own best point (iterated
    Gauss-Newton steps), because the logarithm of a sum is not straight.

    Parameters
    ----------
    belief : TimeBelief
        What is believed before.
    logs : sequence (n,) of TimeLog
        In order of time.

    Returns
    -------
    LearnedTimes
        .belief, .score (n,)

    Raises
    ------
    ImpossibleValue
        When a rock or size is not in the belief, a length or time is not more than 0, or an entry has no minutes, or
        cutting without handling beside a total.

    Valid for: entries of some metres; a scatter that is a share of the time.
    Source: normal regression in logarithms (derived).
    Checked by: tests/published/test_cutting_time_published.py, tests/unit/core/test_cutting_time.py,
        tests/properties/test_cutting_time_properties.py
    """
    scores = []
    for number, log in enumerate(logs):
        rate, handling = _places(belief, log.rock, log.core_diameter_mm, f"log {number}")
        where = f"log {number} ({log.rock}, {log.metres:g} m)"
        metres = one_number(log.metres, f"{where}, metres", above=0.0)
        area = sawn_area(core_diameter_mm=log.core_diameter_mm, metres=metres, cut=log.cut)
        split = log.cutting_min is not None or log.handling_min is not None
        if split == (log.total_min is not None):
            raise ImpossibleValue(
                "needs cutting or handling minutes, or the total, not both", where=where, remedy="Give one or the other"
            )
        before = []
        if log.cutting_min is not None:
            minutes = one_number(log.cutting_min, f"{where}, cutting_min", above=0.0)
            direction = np.zeros(len(belief.mean))
            direction[rate] = -1.0
            belief, score = _straight(belief, direction, math.log(minutes / 60.0 / area))
            before.append(score)
        if log.handling_min is not None:
            minutes = one_number(log.handling_min, f"{where}, handling_min", above=0.0)
            direction = np.zeros(len(belief.mean))
            direction[handling] = 1.0
            belief, score = _straight(belief, direction, math.log(minutes / metres))
            before.append(score)
        if log.total_min is not None:
            minutes = one_number(log.total_min, f"{where}, total_min", above=0.0)
            belief, score = _total(belief, rate, handling, area / metres, math.log(minutes / metres))
            before.append(score)
        belief = replace(belief, logs=belief.logs + 1)
        scores.append(before[0])  # the cutting, or the total, tells of the blade
    return LearnedTimes(belief, np.array(scores))


def minutes_per_metre(
    *, belief: TimeBelief, rock: str, core_diameter_mm: float, cut: str = "half", confidence: float = 0.9
) -> MinutesPerMetre:
    """Minutes a metre of this rock and size takes, cutting and handling.

    Middle values of the belief; the range is that of the long-run rate, straight in the logarithm, without the scatter of
    single entries.

    Parameters
    ----------
    belief : TimeBelief
        What is believed.
    rock : str
        Rock class.
    core_diameter_mm : float [mm]
        Core diameter, one of the belief's.
    cut : str
        half or quarter.
    confidence : float
        Share of belief between low and high.

    Returns
    -------
    MinutesPerMetre
        .minutes, .low, .high, .cutting, .handling, .area_rate_m2_h, .confidence, .caution

    Raises
    ------
    ImpossibleValue
        When the rock or size is not in the belief.

    Valid for: the saw and crew the logs come from.
    Source: time = handling + area / rate (derived).
    Checked by: tests/published/test_cutting_time_published.py, tests/unit/core/test_cutting_time.py
    """
    level = fraction(confidence, "confidence")
    rate, handling = _places(belief, rock, core_diameter_mm, "rock")
    area = sawn_area(core_diameter_mm=core_diameter_mm, cut=cut)
    middle, direction = _sum_of(belief.mean, rate, handling, area)
    width = float(ndtri(0.5 + level / 2.0)) * math.sqrt(float(direction @ belief.covariance @ direction))
    per_hour = math.exp(belief.mean[rate])
    return MinutesPerMetre(
        minutes=math.exp(middle),
        low=math.exp(middle - width),
        high=exp_or_infinite(middle + width),
        cutting=60.0 * area / per_hour,
        handling=math.exp(belief.mean[handling]),
        area_rate_m2_h=per_hour,
        confidence=level,
    )


def metres_per_shift(
    *,
    productive_min: float,
    cutting: float,
    handling: float,
    washing: float = 0.0,
    blade_change_min: float = 0.0,
    blade_metres: float | None = None,
) -> float:
    """Metres one saw cuts in a shift.

    Productive minutes over minutes per metre: cutting, handling, washing, and the share of a blade change.

    Parameters
    ----------
    productive_min : float [min]
        Minutes of the shift left for sawing.
    cutting : float
        Minutes per metre.
    handling : float
        Minutes per metre.
    washing : float
        Minutes per metre.
    blade_change_min : float [min]
        Minutes of one blade change.
    blade_metres : float or None
        Metres a blade lasts; None leaves blade changes out.

    Returns
    -------
    float

    Raises
    ------
    ImpossibleValue
        When a number is negative, or a metre takes no time.

    Valid for: one rock and core size.
    Source: derived.
    Checked by: tests/published/test_cutting_time_published.py
    """
    each = one_number(cutting, "cutting", above=0.0)
    each += one_number(handling, "handling", at_least=0.0) + one_number(washing, "washing", at_least=0.0)
    if blade_metres is not None:
        change = one_number(blade_change_min, "blade_change_min", at_least=0.0)
        each += change / one_number(blade_metres, "blade_metres", above=0.0)
    return one_number(productive_min, "productive_min", at_least=0.0) / each


def specific_energy(*, power_w: float, area_rate_m2_h: float, kerf_mm: float) -> float:
    """Energy to saw away a volume of rock, found back from the pace, in J/mm3.

    Power at the blade over area rate times kerf.

    Parameters
    ----------
    power_w : float
        At the blade, watts.
    area_rate_m2_h : float
        Square metres an hour.
    kerf_mm : float [mm]
        Width of the slot.

    Returns
    -------
    float
        Joules per cubic millimetre.

    Raises
    ------
    ImpossibleValue
        When a number is not more than 0.

    Valid for: comparing days of one saw; power at the blade is less than on the plate.
    Source: definition of specific energy, power over removal rate (derived).
    Checked by: tests/published/test_cutting_time_published.py
    """
    rate = one_number(area_rate_m2_h, "area_rate_m2_h", above=0.0) * 1e6 / 3600.0
    return one_number(power_w, "power_w", above=0.0) / (rate * one_number(kerf_mm, "kerf_mm", above=0.0))


def _places(belief: TimeBelief, rock: str, diameter_mm: float, where: str) -> tuple[int, int]:
    if rock not in belief.rocks:
        raise ImpossibleValue(f"no rock {rock!r}", where=where, remedy=f"Use one of: {', '.join(belief.rocks)}")
    if diameter_mm not in belief.core_diameter_mm:
        raise ImpossibleValue(
            f"no core diameter {diameter_mm!r}",
            where=where,
            remedy="Use one of: " + ", ".join(f"{one:g}" for one in belief.core_diameter_mm),
        )
    size, sizes = belief.core_diameter_mm.index(diameter_mm), len(belief.core_diameter_mm)
    return belief.rocks.index(rock) * sizes + size, len(belief.rocks) * sizes + size


def _straight(belief: TimeBelief, direction: Floats, value: float) -> tuple[TimeBelief, float]:
    """One normal update: direction @ mean = value, with the scatter of an entry."""
    off = value - float(direction @ belief.mean)
    spread = belief.covariance @ direction
    variance = float(direction @ spread) + belief.log_sd**2
    mean = belief.mean + spread * off / variance
    covariance = belief.covariance - np.outer(spread, spread) / variance
    return replace(belief, mean=mean, covariance=(covariance + covariance.T) / 2.0), off / math.sqrt(variance)


def _sum_of(mean: Floats, rate: int, handling: int, area: float) -> tuple[float, Floats]:
    """ln minutes per metre at these logarithms, and how it changes with each."""
    hold, saw = math.exp(mean[handling]), 60.0 * area / math.exp(mean[rate])
    direction = np.zeros(len(mean))
    direction[handling], direction[rate] = hold / (hold + saw), -saw / (hold + saw)
    return math.log(hold + saw), direction


def _total(belief: TimeBelief, rate: int, handling: int, area: float, value: float) -> tuple[TimeBelief, float]:
    """One update with the logarithm of the total: the straight update at the point it leads to."""
    point, score, found = belief.mean, 0.0, belief
    for step in range(MOST_STEPS):
        at_point, direction = _sum_of(point, rate, handling, area)
        # The straight line through the point, as if it had been measured directly.
        seen = value - at_point + float(direction @ point)
        found, here = _straight(belief, direction, seen)
        score = here if step == 0 else score
        if np.max(np.abs(found.mean - point)) < 1e-12:
            break
        point = (point + found.mean) / 2.0 if step > 20 else found.mean
    return found, score
