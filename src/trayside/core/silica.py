"""Respirable crystalline silica over a shift: mean over a fixed 8 h, samples to concentrations, limits by jurisdiction.

The divisor stays 8 h on a longer shift. Whether the limit itself is brought down for a longer shift is a choice that some
regulators ask for and others do not: it is made by name, never silently.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.number_lists import one_number, paired
from trayside.core.planning_aid import PLANNING_AID, Limit
from trayside.core.refusals import Floats, numbers, plain, together
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

_MEMORY = "from memory"
# All in mg/m3 as mean over 8 h. Check each for changes before relying on it.
SILICA_LIMITS = (
    Limit(
        "action level", "United States, general industry", 0.025, "at or above", True,
        Source("29 CFR 1910.1053", "OSHA memo of 25 June 2018", "seen"), "25 March 2016 (81 FR 16286)", _MEMORY,
    ),
    Limit(
        "limit", "United States, general industry", 0.05, "above", True,
        Source("29 CFR 1910.1053", "OSHA memo of 25 June 2018", "seen"), "25 March 2016 (81 FR 16286)", _MEMORY,
    ),
    Limit(
        "action level", "United States, construction", 0.025, "at or above", True,
        Source("29 CFR 1926.1153", "OSHA memo of 25 June 2018", "seen"), "25 March 2016 (81 FR 16286)", _MEMORY,
    ),
    Limit(
        "limit", "United States, construction", 0.05, "above", True,
        Source("29 CFR 1926.1153", "OSHA memo of 25 June 2018", "seen"), "25 March 2016 (81 FR 16286)", _MEMORY,
        "Table 1 of this rule is for construction only",
    ),
    Limit(
        "action level", "United States, mines", 0.025, "at or above", True,
        Source("30 CFR Part 60, 89 FR 28218", "MSHA FAQ of 28 June 2024", "seen"), "18 April 2024", "seen",
        "compliance date for metal and non-metal mines printed as 8 April 2026: check for later stays",
    ),
    Limit(
        "limit", "United States, mines", 0.05, "above", True,
        Source("30 CFR Part 60, 89 FR 28218", "MSHA FAQ of 28 June 2024", "seen"), "18 April 2024", "seen",
        "full shift, calculated as a mean over 8 h; compliance date printed as 8 April 2026: check for later stays",
    ),
    Limit(
        "exposure standard", "Australia", 0.05, "above", True,
        Source("Safe Work Australia, workplace exposure standard", "SafeWork SA and SWA pages", "seen"),
        "1 July 2020", _MEMORY, "lower values were proposed: check the current list",
    ),
    Limit(
        "limit value", "European Union", 0.1, "above", True,
        Source("Directive (EU) 2017/2398", "Annex III, as in the NEPSI guide", "seen"), "12 December 2017", _MEMORY,
    ),
    Limit(
        "workplace exposure limit", "Great Britain", 0.1, "above", True,
        Source("HSE EH40 workplace exposure limits", "HSE page on cutting kerbs", "seen"), "2020 (4th ed.)", _MEMORY,
    ),
    Limit(
        "recommended limit", "NIOSH", 0.05, "above", False,
        Source("NIOSH recommended exposure limit", "up to 10 h a day, 40 h a week", _MEMORY), "1974", _MEMORY,
        "a recommendation",
    ),
    Limit(
        "threshold limit value", "ACGIH", 0.025, "above", False,
        Source("ACGIH TLV", "as cited in journal text", "seen"), "2010", _MEMORY, "a recommendation",
    ),
)  # fmt: skip
SHIFT_WAYS = {
    "none": Source("29 CFR 1910.1053", "limit not reduced: OSHA letter of 10 November 1999, as quoted", "seen"),
    "brief_scala": Source("Brief and Scala model", "(8 / h) ((24 - h) / 16), three pages agree", "seen"),
}


@dataclass(frozen=True, slots=True)
class SilicaResult:
    """One limit as used today, and whether it is reached."""

    limit: Limit
    used_mg_m3: float
    reached: bool


@dataclass(frozen=True, slots=True)
class SilicaDay:
    """Mean over 8 h and every limit it was held against."""

    mean_mg_m3: float
    results: tuple[SilicaResult, ...]
    adjusted_by: str
    says: str
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class SampledShift:
    """Concentration while the pump ran, and the mean over 8 h with nothing outside the samples."""

    mass_mg: float
    volume_m3: float
    sampled_min: float
    concentration_mg_m3: float
    mean_mg_m3: float


@dataclass(frozen=True, slots=True)
class SampleVerdict:
    """Severity (result over limit) with its one-sided confidence limits."""

    severity: float
    low: float
    high: float
    verdict: str


def eight_hour_mean(*, hours: ArrayLike, concentration: ArrayLike) -> float:
    """Mean over 8 h of concentrations met one after another.

    Sum of concentration times hours, divided by 8, however long the shift.

    Parameters
    ----------
    hours : float or array (n,)
        Hours at each concentration, together 24 or less.
    concentration : float or array (n,)
        In any one unit; the answer is in the same.

    Returns
    -------
    float
        In the unit of the concentration.

    Raises
    ------
    ImpossibleValue
        When hours or concentrations are negative, or hours are more than 24 together.

    Valid for: any airborne substance with a mean over 8 h.
    Source: 29 CFR 1910.1000(d)(1) (seen).
    Checked by: tests/published/test_silica_published.py, tests/unit/core/test_silica.py,
        tests/properties/test_exposure_properties.py
    """
    time, level = paired(
        np.atleast_1d(hours), np.atleast_1d(concentration), names=("hours", "concentration"), at_least=0.0
    )
    if time.sum() > 24.0 + 1e-9:
        raise ImpossibleValue(f"{time.sum():g} h in one day", where="hours", remedy="Give the hours of one day")
    return float(np.sum(time * level)) / 8.0


def mixture_sum(*, concentration: ArrayLike, limit: ArrayLike) -> float:
    """Substances together: the sum of each over its own limit; more than 1 is above.

    Parameters
    ----------
    concentration : float or array (n,)
        Mean of each substance.
    limit : float or array (n,)
        Limit of each, in the same unit.

    Returns
    -------
    float

    Raises
    ------
    ImpossibleValue
        When a concentration is negative or a limit not more than 0.

    Valid for: substances that act on the same organ.
    Source: 29 CFR 1910.1000(d)(2) (seen).
    Checked by: tests/published/test_silica_published.py
    """
    level, allowed = together(
        concentration=numbers(concentration, "concentration", at_least=0.0), limit=numbers(limit, "limit", above=0.0)
    )
    return float(np.sum(level / allowed))


def sampled_concentration(
    *, mass_mg: ArrayLike, litres_per_minute: ArrayLike, sampled_min: ArrayLike
) -> float | Floats:
    """Concentration from the mass on a filter.

    Mass over volume of air drawn: flow times minutes.

    Parameters
    ----------
    mass_mg : float or array (n,)
        Mass of silica on the filter.
    litres_per_minute : float or array (n,)
        Flow of the pump.
    sampled_min : float or array (n,) [min]
        Minutes the pump ran.

    Returns
    -------
    float or array (n,) [mg_m3]

    Raises
    ------
    ImpossibleValue
        When a mass is negative, or a flow or time not more than 0.

    Valid for: size-selective samplers at their own flow.
    Source: mass over volume (derived); volumes as in OSHA method ID-142 (seen, withdrawn January 2020).
    Checked by: tests/published/test_silica_published.py
    """
    mass, flow, time = together(
        mass_mg=numbers(mass_mg, "mass_mg", at_least=0.0),
        litres_per_minute=numbers(litres_per_minute, "litres_per_minute", above=0.0),
        sampled_min=numbers(sampled_min, "sampled_min", above=0.0),
    )
    return plain(mass / (flow * time / 1000.0))


def sampled_shift(*, mass_mg: ArrayLike, volume_l: ArrayLike, sampled_min: ArrayLike) -> SampledShift:
    """Samples taken one after another over a shift, as one concentration and as mean over 8 h.

    Sum of masses over sum of volumes; the time that was not sampled counts as free of silica, which may be too low.

    Parameters
    ----------
    mass_mg : float or array (n,)
        Silica (quartz and cristobalite) on each filter.
    volume_l : float or array (n,)
        Air drawn through each.
    sampled_min : float or array (n,) [min]
        Minutes of each.

    Returns
    -------
    SampledShift
        .mass_mg, .volume_m3, .sampled_min [min], .concentration_mg_m3 [mg_m3], .mean_mg_m3 [mg_m3]

    Raises
    ------
    ImpossibleValue
        When a mass is negative, a volume or time is not more than 0, or the lists differ in length.

    Valid for: samples that do not overlap.
    Source: 29 CFR 1910.1000(d)(1) (seen) applied to samples (derived).
    Checked by: tests/published/test_silica_published.py, tests/unit/core/test_silica.py
    """
    mass, volume = paired(np.atleast_1d(mass_mg), np.atleast_1d(volume_l), names=("mass_mg", "volume_l"), at_least=0.0)
    time, _ = paired(np.atleast_1d(sampled_min), mass, names=("sampled_min", "mass_mg"), at_least=0.0)
    numbers(volume, "volume_l", above=0.0)
    numbers(time, "sampled_min", above=0.0)
    if time.sum() > 24.0 * 60.0:
        raise ImpossibleValue(
            f"{time.sum():g} min in one day", where="sampled_min", remedy="Give the samples of one day"
        )
    total, air = float(mass.sum()), float(volume.sum()) / 1000.0
    mean = float(np.sum(mass / volume * 1000.0 * time)) / 480.0
    return SampledShift(total, air, float(time.sum()), total / air, mean)


def adjusted_limit(*, limit: float, shift_h: float, way: str) -> float:
    """A limit brought down for a long shift, by the named way.

    Brief and Scala: times (8 / h) ((24 - h) / 16), for longer exposure and shorter rest. A shift of 8 h or less keeps
    the limit.

    Parameters
    ----------
    limit : float
        Limit for 8 h.
    shift_h : float
        Hours of the shift, less than 24.
    way : str
        none or brief_scala.

    Returns
    -------
    float
        In the unit of the limit.

    Raises
    ------
    ImpossibleValue
        When the way is not known, the limit is not more than 0, or the shift is not between 0 and 24 h.

    Valid for: limits that are means over 8 h; some regulators have tables of their own, which come first.
    Source: Brief and Scala model (seen on three pages).
    Checked by: tests/published/test_silica_published.py, tests/unit/core/test_silica.py
    """
    value = one_number(limit, "limit", above=0.0)
    hours = one_number(shift_h, "shift_h", above=0.0, below=24.0)
    if way not in SHIFT_WAYS:
        raise ImpossibleValue(f"no way {way!r}", where="way", remedy=f"Use one of: {', '.join(SHIFT_WAYS)}")
    if way == "none" or hours <= 8.0:
        return value
    return value * (8.0 / hours) * ((24.0 - hours) / 16.0)


def silica_day(
    *,
    hours: ArrayLike,
    concentration_mg_m3: ArrayLike,
    shift_h: float = 8.0,
    way: str = "none",
    limits: tuple[Limit, ...] = SILICA_LIMITS,
) -> SilicaDay:
    """A day's silica as mean over 8 h, held against every limit.

    The mean has the fixed divisor of 8 h; the limits are brought down only by the way asked for.

    Parameters
    ----------
    hours : float or array (n,)
        Hours at each concentration.
    concentration_mg_m3 : float or array (n,) [mg_m3]
        Respirable crystalline silica in the air breathed.
    shift_h : float
        Hours of the shift, for the adjustment.
    way : str
        none or brief_scala.
    limits : tuple of Limit
        Limits in mg/m3.

    Returns
    -------
    SilicaDay
        .mean_mg_m3 [mg_m3], .results with .limit, .used_mg_m3 [mg_m3], .reached; .adjusted_by, .says, .caution

    Raises
    ------
    ImpossibleValue
        As for eight_hour_mean and adjusted_limit.

    Valid for: air breathed, without counting a respirator.
    Source: 29 CFR 1910.1000(d)(1) (seen); limits as listed with each.
    Checked by: tests/published/test_silica_published.py, tests/unit/core/test_silica.py
    """
    mean = eight_hour_mean(hours=hours, concentration=concentration_mg_m3)
    results = []
    for limit in limits:
        used = adjusted_limit(limit=limit.value, shift_h=shift_h, way=way)
        slack = 1e-9 * used
        reached = mean >= used - slack if limit.reached == "at or above" else mean > used + slack
        results.append(SilicaResult(limit, used, reached))
    hit = [f"{one.limit.jurisdiction}, {one.limit.name} {one.used_mg_m3:g}" for one in results if one.reached]
    says = f"{mean:.3f} mg/m3 as mean over 8 h: " + ("reached: " + "; ".join(hit) if hit else "no limit reached")
    return SilicaDay(mean, tuple(results), way, says + ".")


def sample_verdict(*, result: float, limit: float, error: float) -> SampleVerdict:
    """What one full-period sample can say about a limit, given the error of sampling and analysis.

    Severity is result over limit; its one-sided 95 % limits are severity less and plus the error. Above when even the
    lower limit is above 1, below when even the upper one is not, otherwise undecided.

    Parameters
    ----------
    result : float
        Concentration found.
    limit : float
        Limit in the same unit.
    error : float
        Sampling and analytical error, as a fraction of the limit.

    Returns
    -------
    SampleVerdict
        .severity, .low, .high, .verdict

    Raises
    ------
    ImpossibleValue
        When a number is negative or the limit is not more than 0.

    Valid for: one full-period sample.
    Source: OSHA method for a full-period sample, textbook copy (seen).
    Checked by: tests/published/test_silica_published.py
    """
    allowed, off = one_number(limit, "limit", above=0.0), one_number(error, "error", at_least=0.0)
    severity = one_number(result, "result", at_least=0.0) / allowed
    low, high = severity - off, severity + off
    verdict = "above the limit" if low > 1.0 else "not above the limit" if high <= 1.0 else "possibly above the limit"
    return SampleVerdict(severity, low, high, verdict)
