"""Noise at the ear over a shift, under a named rule, and behind a protector, under a named method.

    rule     full dose                     doubles every   action value, limit
    osha     8 h at 90 dBA                 5 dB            85, 90 dBA as 8 h mean
    niosh    8 h at 85 dBA                 3 dB            85 dBA, a recommendation
    L_EX,8h  energy mean over 8 h (ISO)    3 dB            80, 85 dBA in the EU and Great Britain

The same day gives different answers under different rules: `noise_day` shows them side by side. Silica is in `silica`,
hand-arm vibration in `vibration`, lifting in `lifting`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.noise_tables import G16A_HOURS, G16A_SOURCE, NOISE_LIMITS
from trayside.core.number_lists import one_number, paired
from trayside.core.planning_aid import PLANNING_AID, Limit
from trayside.core.refusals import Floats, refuse_where
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

LOUDEST_DBA = 194.0  # a sound wave in air cannot swing wider than the air pressure itself
LONGEST_DAY_H = 24.0


@dataclass(frozen=True, slots=True)
class NoiseRule:
    """Level of a full dose over 8 h, decibels that halve the time, and the factor of its printed mean-level formula."""

    name: str
    full_dose_dba: float
    halving_db: float
    per_decade_db: float
    source: Source


RULES = {
    "osha": NoiseRule("osha", 90.0, 5.0, 16.61, Source("29 CFR 1910.95", "Appendix A, I", "seen")),
    "niosh": NoiseRule(
        "niosh", 85.0, 3.0, 10.0, Source("NIOSH 98-126, criteria document (1998)", "1.1.2 and footnotes", "seen")
    ),
}


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One day under one rule: dose (None where the rule has none), mean level over 8 h, limits reached, in words."""

    rule: str
    dose: float | None
    level_dba: float
    reached: tuple[Limit, ...]
    says: str


@dataclass(frozen=True, slots=True)
class NoiseDay:
    """The same day under every rule."""

    results: tuple[RuleResult, ...]
    points: float  # 100 a day is 85 dBA over 8 h
    hours: float
    caution: str = PLANNING_AID


def noise_dose(
    *, hours: ArrayLike, level_dba: ArrayLike, rule: str, way: str = "formula", threshold_dba: float | None = None
) -> float:
    """Noise dose of a day: 1.0 is a full dose, 100 %.

    Sum of the hours at each level over the hours allowed at it. Hours not listed count as quiet. Print has the allowed
    hours as a formula and as a table rounded from it; the two differ by up to a few percent, so say which was used.

    Parameters
    ----------
    hours : float or array (n,)
        Hours at each level, together 24 or less.
    level_dba : float or array (n,) [dba]
        Level at the ear.
    rule : str
        osha or niosh.
    way : str
        formula, or table (osha only: Table G-16a, whole decibels from 80 to 130).
    threshold_dba : float or None [dba]
        Leave out levels below this one; None counts all, which is on the safe side. OSHA integrates from 80 dBA for
        the action level.

    Returns
    -------
    float
        Fraction of a full dose, may exceed 1.

    Raises
    ------
    ImpossibleValue
        When the rule or way is not known, hours are negative or more than 24 together, or a level is impossible.

    Valid for: steady levels within each stretch of hours.
    Source: 29 CFR 1910.95 Appendix A and Table G-16a (seen); NIOSH 98-126 (seen); thresholds of 1910.95(d)(2)(i) (from
        memory).
    Checked by: tests/published/test_exposure_published.py, tests/unit/core/test_exposure.py,
        tests/properties/test_exposure_properties.py
    """
    time, level = _day(hours, level_dba)
    allowed = allowed_hours(level_dba=level, rule=rule, way=way)
    if threshold_dba is not None:
        time = np.where(level >= one_number(threshold_dba, "threshold_dba"), time, 0.0)
    return float(np.sum(time / allowed))


def allowed_hours(*, level_dba: ArrayLike, rule: str, way: str = "formula") -> Floats:
    """Hours at a level that make a full dose.

    8 h at the level of the rule, half of it for every 5 dB (osha) or 3 dB (niosh) more.

    Parameters
    ----------
    level_dba : float or array (n,) [dba]
        Level at the ear.
    rule : str
        osha or niosh.
    way : str
        formula, or table (osha only).

    Returns
    -------
    array (n,)
        Hours.

    Raises
    ------
    ImpossibleValue
        When the rule or way is not known, the level is impossible, or the table has no such level.

    Valid for: levels at the ear, A-weighted.
    Source: 29 CFR 1910.95 Appendix A and Table G-16a (seen); NIOSH 98-126 (seen).
    Checked by: tests/published/test_exposure_published.py, tests/unit/core/test_exposure.py
    """
    known = _rule(rule)
    level = np.atleast_1d(np.asarray(_levels(level_dba, "level_dba")))
    if way == "formula":
        return 8.0 / 2.0 ** ((level - known.full_dose_dba) / known.halving_db)
    if way != "table" or rule != "osha":
        raise ImpossibleValue(
            f"no {way!r} of allowed hours for {rule}", where="way", remedy="Use formula, or table with osha"
        )
    missing = np.array([float(one) not in G16A_HOURS for one in level])
    refuse_where(missing, level, "level_dba", f"is not in {G16A_SOURCE}", "Give whole decibels, or use the formula")
    return np.array([G16A_HOURS[float(one)] for one in level])


def mean_level(*, dose: float, rule: str) -> float:
    """The steady level over 8 h that gives this dose (TWA).

    The formula as printed: 16.61 log10(dose) + 90 for osha, 10 log10(dose) + 85 for niosh. The printed factors are
    rounded: doubling the niosh dose gives 3.01 dB.

    Parameters
    ----------
    dose : float
        Fraction of a full dose, above 0.
    rule : str
        osha or niosh.

    Returns
    -------
    float [dba]

    Raises
    ------
    ImpossibleValue
        When the dose is not more than 0 or the rule is not known.

    Valid for: any length of shift; the divisor stays 8 h.
    Source: 29 CFR 1910.95 Appendix A, II (seen); NIOSH 98-126, criteria footnotes (seen).
    Checked by: tests/published/test_exposure_published.py, tests/unit/core/test_exposure.py
    """
    known = _rule(rule)
    return known.full_dose_dba + known.per_decade_db * math.log10(one_number(dose, "dose", above=0.0))


def action_level(*, shift_h: float) -> float:
    """Level over a whole long shift at which the OSHA action level (half a dose) is reached.

    90 + 16.61 log10(50 / (12.5 hours)).

    Parameters
    ----------
    shift_h : float
        Hours of the shift.

    Returns
    -------
    float [dba]

    Raises
    ------
    ImpossibleValue
        When the shift is not more than 0 or longer than 24 h.

    Valid for: one level all through the shift.
    Source: 29 CFR 1910.95, formula for extended shifts as on workplace-hygiene.com (seen).
    Checked by: tests/published/test_exposure_published.py
    """
    return 90.0 + 16.61 * math.log10(50.0 / (12.5 * one_number(shift_h, "shift_h", above=0.0, at_most=LONGEST_DAY_H)))


def daily_level(*, hours: ArrayLike, level_dba: ArrayLike) -> float:
    """Daily noise exposure level L_EX,8h.

    Energy of all stretches spread over 8 h: 10 log10 of the sum of T / 8 times 10^(L / 10).

    Parameters
    ----------
    hours : float or array (n,)
        Hours at each level, together 24 or less, not all 0.
    level_dba : float or array (n,) [dba]
        Level at the ear.

    Returns
    -------
    float [dba]

    Raises
    ------
    ImpossibleValue
        When hours are negative, all 0, or more than 24 together, or a level is impossible.

    Valid for: steady levels within each stretch of hours.
    Source: ISO 9612, L_EX,8h (from memory); Directive 2003/10/EC uses the same quantity (from memory).
    Checked by: tests/published/test_exposure_published.py, tests/unit/core/test_exposure.py
    """
    points = noise_points(hours=hours, level_dba=level_dba)
    if points <= 0.0:
        raise ImpossibleValue("no hours of noise", where="hours", remedy="Give the hours at each level")
    return 85.0 + 10.0 * math.log10(points / 100.0)


def noise_points(*, hours: ArrayLike, level_dba: ArrayLike) -> float:
    """Noise points of a day: 100 is 85 dBA over 8 h. Points of stretches and of days add up.

    100 T / 8 times 10^((L - 85) / 10), summed.

    Parameters
    ----------
    hours : float or array (n,)
        Hours at each level, together 24 or less.
    level_dba : float or array (n,) [dba]
        Level at the ear.

    Returns
    -------
    float

    Raises
    ------
    ImpossibleValue
        When hours are negative or more than 24 together, or a level is impossible.

    Valid for: steady levels within each stretch of hours.
    Source: HSE weekly ready-reckoner, 2020 (seen, rounded to preferred numbers).
    Checked by: tests/published/test_exposure_published.py, tests/unit/core/test_exposure.py
    """
    time, level = _day(hours, level_dba)
    return float(np.sum(100.0 * time / 8.0 * 10.0 ** ((level - 85.0) / 10.0)))


def weekly_level(*, points: ArrayLike) -> float:
    """Weekly noise exposure level from the points of each day.

    85 + 10 log10(sum of points / 500): five days of 100 points are 85 dBA.

    Parameters
    ----------
    points : float or array (n,)
        Points of each day of the week, at most seven.

    Returns
    -------
    float [dba]

    Raises
    ------
    ImpossibleValue
        When a day is negative, all are 0, or there are more than seven.

    Valid for: a week as five working days of 8 h, where the rule allows weekly means.
    Source: HSE weekly ready-reckoner, 2020 (seen).
    Checked by: tests/published/test_exposure_published.py
    """
    days, _ = paired(np.atleast_1d(points), np.atleast_1d(points), names=("points", "points"), at_least=0.0)
    if len(days) > 7 or days.sum() <= 0.0:
        raise ImpossibleValue(
            f"{len(days)} days with {days.sum():g} points", where="points", remedy="Give one to seven days"
        )
    return 85.0 + 10.0 * math.log10(float(days.sum()) / 500.0)


def noise_day(*, hours: ArrayLike, level_dba: ArrayLike, limits: tuple[Limit, ...] = NOISE_LIMITS) -> NoiseDay:
    """The same day under OSHA, NIOSH and L_EX,8h, with the limits each reaches.

    Dose and mean level by formula, all levels counted.

    Parameters
    ----------
    hours : float or array (n,)
        Hours at each level, together 24 or less, not all 0.
    level_dba : float or array (n,) [dba]
        Level at the ear, without protectors.
    limits : tuple of Limit
        Limits to hold it against.

    Returns
    -------
    NoiseDay
        .results by rule with .dose, .level_dba [dba], .reached, .says; .points; .hours; .caution

    Raises
    ------
    ImpossibleValue
        As for noise_dose and daily_level.

    Valid for: steady levels within each stretch of hours.
    Source: as noise_dose and daily_level.
    Checked by: tests/unit/core/test_exposure.py
    """
    results = []
    for rule in (*RULES, "lex8"):
        if rule == "lex8":
            dose, level = None, daily_level(hours=hours, level_dba=level_dba)
        else:
            dose = noise_dose(hours=hours, level_dba=level_dba, rule=rule)
            if dose <= 0.0:
                raise ImpossibleValue("no hours of noise", where="hours", remedy="Give the hours at each level")
            level = mean_level(dose=dose, rule=rule)
        # Means from the rounded printed factors may miss a limit that the dose meets exactly, by a few 1e-5 dB.
        reached = tuple(one for one in limits if one.name.startswith(rule) and one.is_reached_by(round(level, 3)))
        says = f"{level:.1f} dBA over 8 h" + ("" if dose is None else f", dose {100.0 * dose:.0f} %")
        says += "; reached: " + ", ".join(one.source.document for one in reached) if reached else "; no limit reached"
        results.append(RuleResult(rule, dose, level, reached, says))
    time, _ = _day(hours, level_dba)
    return NoiseDay(tuple(results), noise_points(hours=hours, level_dba=level_dba), float(time.sum()))


def _rule(rule: str) -> NoiseRule:
    if rule not in RULES:
        raise ImpossibleValue(f"no rule {rule!r}", where="rule", remedy=f"Use one of: {', '.join(RULES)}")
    return RULES[rule]


def _levels(level_dba: ArrayLike, name: str) -> Floats:
    level, _ = paired(np.atleast_1d(level_dba), np.atleast_1d(level_dba), names=(name, name), at_least=0.0)
    refuse_where(
        level > LOUDEST_DBA, level, name, f"is above {LOUDEST_DBA:g} dB", "Check the entry: no sound in air is louder"
    )
    return level


def _day(hours: ArrayLike, level_dba: ArrayLike) -> tuple[Floats, Floats]:
    """Hours and levels of one length; a day has 24 h."""
    time, level = np.atleast_1d(hours), np.atleast_1d(level_dba)
    if len(level) == 1 and len(time) > 1:
        level = np.full(len(time), level[0])
    time, _ = paired(time, level, names=("hours", "level_dba"), at_least=0.0)
    level = _levels(level, "level_dba")
    if time.sum() > LONGEST_DAY_H + 1e-9:
        raise ImpossibleValue(f"{time.sum():g} h in one day", where="hours", remedy="Give the hours of one day")
    return time, level
