"""Lifting trays and sacks: the revised NIOSH equation, one task or several, and when it does not hold.

    recommended limit = load constant x HM x VM x DM x AM x FM x CM          lifting index = load / recommended limit

The distances start at the middle between the ankles:  H out to the hands, V up to the hands, D how far up or down they
travel, A how far the body turns. The equation comes in centimetres and in inches; the two are not exact conversions of one
another, so the inch form is kept apart for holding our arithmetic against printed examples.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from trayside.core.lifting_tables import COUPLINGS, DURATIONS, FREQUENCIES, FREQUENCY_TABLE, MANUAL
from trayside.core.number_lists import one_number
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class _Form:
    """The constants of one unit system."""

    load: float
    reach: float
    farthest: float
    vertical_slope: float
    knuckle: float
    highest: float
    travel_share: float
    travel_part: float
    shortest_travel: float
    longest_travel: float


_METRIC = _Form(23.0, 25.0, 63.0, 0.003, 75.0, 175.0, 0.82, 4.5, 25.0, 175.0)
_INCHES = _Form(51.0, 10.0, 25.0, 0.0075, 30.0, 70.0, 0.82, 1.8, 10.0, 70.0)


@dataclass(frozen=True, slots=True)
class Multipliers:
    """The six factors, each 0 to 1."""

    horizontal: float
    vertical: float
    travel: float
    asymmetry: float
    frequency: float
    coupling: float


@dataclass(frozen=True, slots=True)
class LiftResult:
    """Recommended limit and index at full precision; the index is infinite where nothing may be lifted so."""

    limit_kg: float
    index: float
    multipliers: Multipliers
    flags: tuple[str, ...]
    says: str
    source: Source = MANUAL
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class LiftTask:
    """One kind of lift in a job of several."""

    name: str
    load_kg: float
    horizontal_cm: float
    vertical_cm: float
    travel_cm: float
    lifts_per_minute: float
    coupling: str
    asymmetry_deg: float = 0.0
    heaviest_kg: float | None = None  # None: as the load; the load is the mean one


@dataclass(frozen=True, slots=True)
class JobResult:
    """Composite index, and the single-task index of each task in the order of the sum (the hardest first)."""

    index: float
    tasks: tuple[tuple[str, float], ...]
    flags: tuple[str, ...]
    says: str
    source: Source = MANUAL
    caution: str = PLANNING_AID


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the equation takes for granted. None: not known, which is said."""

    hours_of_lifting: float | None = None
    one_hand: bool | None = None
    seated_or_kneeling: bool | None = None
    tight_space: bool | None = None
    load_shifts: bool | None = None
    carries_or_pushes: bool | None = None
    fast_or_jerky: bool | None = None
    floor_friction: float | None = None
    floor_wet: bool | None = None
    air_degc: float | None = None
    humidity: float | None = None  # fraction


def lift_limit(
    *,
    load_kg: float,
    horizontal_cm: float,
    vertical_cm: float,
    travel_cm: float,
    lifts_per_minute: float,
    duration: str,
    coupling: str,
    asymmetry_deg: float = 0.0,
    end_vertical_cm: float | None = None,
) -> LiftResult:
    """Recommended weight limit and lifting index of one lift.

    The product of the load constant (23 kg) and six multipliers. Nearer than 25 cm counts as 25 cm, a travel below 25 cm
    as 25 cm and fewer than 0.2 lifts a minute as 0.2, as the method says; out of its reach the limit is 0. When the load
    has to be set down with care, work out both ends and keep the lower limit: give the start as vertical_cm and the
    end as end_vertical_cm with the reach and turn at the end.

    Parameters
    ----------
    load_kg : float
        Mass lifted.
    horizontal_cm : float
        Ankles to hands, level.
    vertical_cm : float
        Floor to hands at the start of the lift.
    travel_cm : float
        Height difference of start and end.
    lifts_per_minute : float
        Mean over 15 minutes.
    duration : str
        short, moderate or long (see duration_class).
    coupling : str
        good, fair or poor (see tray_coupling).
    asymmetry_deg : float [deg]
        Turn of the body from straight ahead.
    end_vertical_cm : float or None
        Floor to hands at the end that is worked out; None works out the start.

    Returns
    -------
    LiftResult
        .limit_kg [kg], .index, .multipliers, .flags, .says, .source, .caution

    Raises
    ------
    ImpossibleValue
        When a number is negative, or a class is not known.

    Valid for: two hands, standing, free posture, steady load, up to 8 h, dry floor of good grip, 19 to 26 degC: see
        lift_warnings.
    Source: NIOSH 94-110, revised 9/2021, pp. 7-17 (seen in a public copy).
    Checked by: tests/published/test_lifting_published.py, tests/unit/core/test_lifting.py,
        tests/properties/test_lifting_properties.py
    """
    load = one_number(load_kg, "load_kg", at_least=0.0)
    factors = _multipliers(
        _METRIC, horizontal_cm, vertical_cm, travel_cm, asymmetry_deg, lifts_per_minute, duration, coupling,
        end_vertical_cm,
    )  # fmt: skip
    limit, index = _limit_and_index(_METRIC, factors, load)
    flags = _index_flags(index)
    says = f"Recommended at most {limit:.1f} kg for this lift; {load:.1f} kg is {_index_words(index)}."
    return LiftResult(limit, index, factors, flags, says)


def lift_limit_inches(
    *,
    load_lb: float,
    horizontal_in: float,
    vertical_in: float,
    travel_in: float,
    lifts_per_minute: float,
    duration: str,
    coupling: str,
    asymmetry_deg: float = 0.0,
    end_vertical_in: float | None = None,
) -> tuple[float, float, Multipliers]:
    """The same equation in its inch and pound form, for printed examples.

    Load constant 51 lb, reach 10 in, height 30 in. Not an exact conversion of the metric form.

    Parameters
    ----------
    load_lb : float [lb]
        Weight lifted.
    horizontal_in : float
        Ankles to hands, level, inches.
    vertical_in : float
        Floor to hands at the start, inches.
    travel_in : float
        Height difference, inches.
    lifts_per_minute : float
        Mean over 15 minutes.
    duration : str
        short, moderate or long.
    coupling : str
        good, fair or poor.
    asymmetry_deg : float [deg]
        Turn of the body.
    end_vertical_in : float or None
        Floor to hands at the end that is worked out, inches; None works out the start.

    Returns
    -------
    tuple of (float, float, Multipliers)
        Recommended limit in pounds, index, multipliers.

    Raises
    ------
    ImpossibleValue
        As for lift_limit.

    Valid for: as lift_limit.
    Source: NIOSH 94-110, revised 9/2021, pp. 7-17 (seen in a public copy).
    Checked by: tests/published/test_lifting_published.py
    """
    load = one_number(load_lb, "load_lb", at_least=0.0)
    factors = _multipliers(
        _INCHES, horizontal_in, vertical_in, travel_in, asymmetry_deg, lifts_per_minute, duration, coupling,
        end_vertical_in,
    )  # fmt: skip
    return (*_limit_and_index(_INCHES, factors, load), factors)


def frequency_multiplier(*, lifts_per_minute: float, duration: str, low_start: bool) -> float:
    """Factor for how often is lifted.

    The printed table, straight lines between its rows; 0 above 15 lifts a minute.

    Parameters
    ----------
    lifts_per_minute : float
        Mean over 15 minutes.
    duration : str
        short, moderate or long.
    low_start : bool
        Whether the hands start below 75 cm (30 in).

    Returns
    -------
    float

    Raises
    ------
    ImpossibleValue
        When the frequency is negative or the duration not known.

    Valid for: as lift_limit.
    Source: NIOSH 94-110, revised 9/2021, Table 5 p. 15 (seen in a public copy); interpolation p. 7 (seen).
    Checked by: tests/published/test_lifting_published.py, tests/unit/core/test_lifting.py
    """
    rate = max(one_number(lifts_per_minute, "lifts_per_minute", at_least=0.0), FREQUENCIES[0])
    _known(duration, "duration", DURATIONS)
    if rate > FREQUENCIES[-1]:
        return 0.0
    column = FREQUENCY_TABLE[duration, "low" if low_start else "high"]
    upper = next(place for place, row in enumerate(FREQUENCIES) if rate <= row)
    if rate == FREQUENCIES[upper]:
        return column[upper]
    share = (rate - FREQUENCIES[upper - 1]) / (FREQUENCIES[upper] - FREQUENCIES[upper - 1])
    return column[upper - 1] + share * (column[upper] - column[upper - 1])


def duration_class(*, work_h: float, recovery_h: float) -> str:
    """Class of a stretch of lifting by its length and the light work after it.

    Short: up to 1 h, then as long again. Moderate: up to 2 h, then at least 0.3 of it. Long: up to 8 h.

    Parameters
    ----------
    work_h : float
        Hours of lifting on end.
    recovery_h : float
        Hours of light work or rest after it.

    Returns
    -------
    str
        short, moderate or long.

    Raises
    ------
    ImpossibleValue
        When the lifting is longer than 8 h, for which the equation has no value.

    Valid for: one stretch; without enough recovery, stretches are to be taken together.
    Source: NIOSH 94-110, revised 9/2021, pp. 13-14 (seen in a public copy).
    Checked by: tests/unit/core/test_lifting.py
    """
    work = one_number(work_h, "work_h", above=0.0)
    rest = one_number(recovery_h, "recovery_h", at_least=0.0)
    if work > 8.0:
        raise ImpossibleValue(
            f"{work:g} h of lifting", where="work_h", remedy="The equation ends at 8 h: share the lifting out"
        )
    if work <= 1.0 and rest >= work - 1e-9:
        return "short"
    return "moderate" if work <= 2.0 and rest >= 0.3 * work - 1e-9 else "long"


def mean_frequency(*, lifts_per_minute: float, minutes_in_fifteen: float) -> float:
    """Lifts a minute to use when lifting stops and starts within 15 minutes.

    Rate while lifting, times the minutes of lifting, over 15.

    Parameters
    ----------
    lifts_per_minute : float
        While lifting.
    minutes_in_fifteen : float
        Minutes of lifting in each 15.

    Returns
    -------
    float

    Raises
    ------
    ImpossibleValue
        When a number is negative or more than 15 minutes are given.

    Valid for: light work in the rest of the 15 minutes.
    Source: NIOSH 94-110, revised 9/2021, p. 16 (seen in a public copy).
    Checked by: tests/published/test_lifting_published.py
    """
    rate = one_number(lifts_per_minute, "lifts_per_minute", at_least=0.0)
    return rate * one_number(minutes_in_fifteen, "minutes_in_fifteen", at_least=0.0, at_most=15.0) / 15.0


def composite_index(*, tasks: Sequence[LiftTask], duration: str) -> JobResult:
    """Lifting index of a job made of several kinds of lift.

    Each task alone first, the hardest leads; every further task adds its index without frequency, times how much the
    frequency factor worsens when its lifts come on top of those before it.

    Parameters
    ----------
    tasks : sequence (n,) of LiftTask
        The kinds of lift.
    duration : str
        short, moderate or long, of the whole job.

    Returns
    -------
    JobResult
        .index, .tasks, .flags, .says, .source, .caution

    Raises
    ------
    ImpossibleValue
        When there is no task, or a task is impossible.

    Valid for: as lift_limit. The column of the table is that of the task that is added (our reading).
    Source: NIOSH 94-110, revised 9/2021, p. 28 (seen in a public copy).
    Checked by: tests/published/test_lifting_published.py, tests/unit/core/test_lifting.py,
        tests/properties/test_lifting_properties.py
    """
    if not tasks:
        raise ImpossibleValue("no task", where="tasks", remedy="Give at least one kind of lift")
    _known(duration, "duration", DURATIONS)
    rows = []
    for task in tasks:
        load = one_number(task.load_kg, f"{task.name}, load_kg", at_least=0.0)
        most = load if task.heaviest_kg is None else one_number(task.heaviest_kg, f"{task.name}, heaviest_kg")
        if most < load:
            raise ImpossibleValue(
                f"heaviest {most:g} kg, mean {load:g} kg",
                where=task.name,
                remedy="Give the heaviest load, or leave it out",
            )
        once = _once(task)
        rows.append((task.name, load, most, once, float(task.lifts_per_minute), task.vertical_cm < _METRIC.knuckle))
    singles, index = index_of_rows(rows, duration)
    flags = _index_flags(index)
    return JobResult(index, singles, flags, f"All lifts together are {_index_words(index)}.")


def index_of_rows(
    rows: Sequence[tuple[str, float, float, float, float, bool]], duration: str
) -> tuple[tuple[tuple[str, float], ...], float]:
    """Single indices (hardest first) and composite of rows: name, mean load, heaviest, limit without frequency,
    lifts a minute, whether the start is low. Loads and limits in any one unit."""

    def factor(rate: float, low: bool) -> float:
        return frequency_multiplier(lifts_per_minute=rate, duration=duration, low_start=low)

    def over(top: float, bottom: float) -> float:
        return top / bottom if bottom > 0.0 else math.inf if top > 0.0 else 0.0

    singles = [(over(load, once * factor(rate, low)), name, most, once, rate, low)
               for name, load, most, once, rate, low in rows]  # fmt: skip
    singles.sort(key=lambda row: -row[0])
    index, summed = singles[0][0], singles[0][4]
    for _, _, most, once, rate, low in singles[1:]:
        before, after = factor(summed, low), factor(summed + rate, low)
        if most > 0.0 and after < before:
            index = math.inf if after <= 0.0 else index + over(most, once) * (1.0 / after - 1.0 / before)
        summed += rate
    return tuple((row[1], row[0]) for row in singles), index


def tray_coupling(
    *,
    length_cm: float,
    height_cm: float,
    handles: bool,
    gloves: bool,
    wet_sharp_or_rough: bool,
    contents_shift: bool = False,
) -> tuple[str, tuple[str, ...]]:
    """How good the grip on a tray or sack is, and why not better.

    A container with handles and nothing against it is good; with handles and something against it fair; without handles
    fair at best. Longer than 40 cm, higher than 30 cm, rough, slippery, sharp, shifting, or gloves: less than good.

    Parameters
    ----------
    length_cm : float
        Along the front.
    height_cm : float
        Height of the load.
    handles : bool
        Handles or cut-outs that the hand closes round.
    gloves : bool
        Whether it is handled in gloves.
    wet_sharp_or_rough : bool
        Slippery, sharp or rough to hold.
    contents_shift : bool
        Whether the contents move.

    Returns
    -------
    tuple of (str, tuple of str)
        good, fair or poor, and the reasons.

    Raises
    ------
    ImpossibleValue
        When a size is not more than 0.

    Valid for: core trays and sacks; a long tray in gloves is fair at best.
    Source: NIOSH 94-110, revised 9/2021, p. 17 (seen in a public copy); fair against poor by handles: site rule.
    Checked by: tests/unit/core/test_lifting.py
    """
    reasons = []
    if one_number(length_cm, "length_cm", above=0.0) > 40.0:
        reasons.append("longer than 40 cm")
    if one_number(height_cm, "height_cm", above=0.0) > 30.0:
        reasons.append("higher than 30 cm")
    if gloves:
        reasons.append("handled in gloves")
    if wet_sharp_or_rough:
        reasons.append("wet, sharp or rough")
    if contents_shift:
        reasons.append("contents shift")
    if not reasons:
        return ("good" if handles else "fair"), ()
    return ("fair" if handles else "poor"), tuple(reasons)


def lift_warnings(*, surroundings: Surroundings) -> tuple[str, ...]:
    """What makes the equation not hold here, or is not known.

    Its limits of validity, one sentence for each that is broken, and one that lists what was not said.

    Parameters
    ----------
    surroundings : Surroundings
        The place and the way of working.

    Returns
    -------
    tuple of str

    Raises
    ------
    ImpossibleValue
        When a number is impossible.

    Valid for: lifts judged by lift_limit or composite_index.
    Source: NIOSH 94-110, revised 9/2021, p. 6 (seen in a public copy); a wet floor as a sign of poor grip: site rule.
    Checked by: tests/unit/core/test_lifting.py
    """
    here, found = surroundings, []
    if here.hours_of_lifting is not None and one_number(here.hours_of_lifting, "hours_of_lifting", at_least=0.0) > 8.0:
        found.append("More than 8 h of lifting")
    for broken, words in (
        (here.one_hand, "Lifted with one hand"),
        (here.seated_or_kneeling, "Lifted seated or kneeling"),
        (here.tight_space, "Not enough room to stand and move freely"),
        (here.load_shifts, "The load shifts while it is lifted"),
        (here.carries_or_pushes, "Carrying, pushing or pulling is a good part of the work"),
        (here.fast_or_jerky, "Lifted fast or with a jerk"),
    ):
        if broken:
            found.append(words)
    if here.floor_friction is not None and one_number(here.floor_friction, "floor_friction", at_least=0.0) < 0.4:
        found.append("The floor has less grip than 0.4")
    elif here.floor_wet and here.floor_friction is None:
        found.append("The floor is wet and its grip was not measured")
    if here.air_degc is not None and not 19.0 <= one_number(here.air_degc, "air_degc") <= 26.0:
        found.append(f"{here.air_degc:g} degC is outside 19 to 26")
    if (
        here.humidity is not None
        and not 0.35 <= one_number(here.humidity, "humidity", at_least=0.0, at_most=1.0) <= 0.5
    ):
        found.append(f"{100.0 * here.humidity:.0f} % humidity is outside 35 to 50")
    unsaid = [name for name in Surroundings.__slots__ if getattr(here, name) is None and name != "floor_wet"]
    if here.floor_wet is not None and "floor_friction" in unsaid:
        unsaid.remove("floor_friction")
    warnings = [f"{words}: the equation does not hold, take less than it says" for words in found]
    if unsaid:
        warnings.append("Not said: " + ", ".join(name.replace("_", " ") for name in unsaid))
    return tuple(warnings)


def _multipliers(
    form: _Form, out: float, up: float, travel: float, turn: float, rate: float, duration: str, coupling: str,
    end_up: float | None,
) -> Multipliers:  # fmt: skip
    out = one_number(out, "horizontal", at_least=0.0)
    up = one_number(up, "vertical", at_least=0.0)
    travel = one_number(travel, "travel", at_least=0.0)
    turn = one_number(turn, "asymmetry_deg", at_least=0.0, at_most=180.0)
    height = up if end_up is None else one_number(end_up, "end_vertical", at_least=0.0)
    _known(coupling, "coupling", COUPLINGS)
    return Multipliers(
        horizontal=0.0 if out > form.farthest else form.reach / max(out, form.reach),
        vertical=0.0 if height > form.highest else 1.0 - form.vertical_slope * abs(height - form.knuckle),
        travel=0.0
        if travel > form.longest_travel
        else form.travel_share + form.travel_part / max(travel, form.shortest_travel),
        asymmetry=0.0 if turn > 135.0 else 1.0 - 0.0032 * turn,
        # The frequency table goes by the height at the start, the grip by the end that is worked out.
        frequency=frequency_multiplier(lifts_per_minute=rate, duration=duration, low_start=up < form.knuckle),
        coupling=COUPLINGS[coupling][0 if height < form.knuckle else 1],
    )


def _product(factors: Multipliers) -> float:
    return math.prod(getattr(factors, name) for name in Multipliers.__slots__)


def _once(task: LiftTask) -> float:
    """Limit of one lift now and then: the product without the frequency factor (which is 1 here)."""
    factors = _multipliers(
        _METRIC, task.horizontal_cm, task.vertical_cm, task.travel_cm, task.asymmetry_deg, 0.0, "short", task.coupling,
        None,
    )  # fmt: skip
    return _METRIC.load * _product(factors)


def _limit_and_index(form: _Form, factors: Multipliers, load: float) -> tuple[float, float]:
    limit = form.load * _product(factors)
    return limit, load / limit if limit > 0.0 else math.inf if load > 0.0 else 0.0


def _index_flags(index: float) -> tuple[str, ...]:
    if math.isinf(index):
        return ("Out of reach or too often: nothing should be lifted this way",)
    if index > 3.0:
        return ("Index above 3: highly stressful for nearly everybody, change the lift",)
    return ("Index above 1: raised risk for part of the people, share or lighten the load",) if index > 1.0 else ()


def _index_words(index: float) -> str:
    if math.isinf(index):
        return "more than may be lifted this way at all"
    words = "no raised risk" if index <= 1.0 else "a raised risk" if index <= 3.0 else "highly stressful"
    return f"lifting index {index:.1f}, {words}"


def _known(value: str, where: str, known: Sequence[str]) -> None:
    if value not in known:
        raise ImpossibleValue(f"no {where} {value!r}", where=where, remedy=f"Use one of: {', '.join(known)}")
