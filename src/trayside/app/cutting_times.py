"""Minutes per metre, learned from the ledger: cutting apart from handling, by class of rock and core size.

A cut that was timed teaches its cutting; the rest of the time since the cut before it on the same saw teaches the
handling. A cut that nobody timed teaches both together. A longer time than the rules allow is a break and teaches nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from trayside.app.blade_state import rock_classes
from trayside.app.ports import Work
from trayside.app.saw_cuts import SawCut, saw_cuts
from trayside.app.saw_state import SawFacts, read_saw
from trayside.core.cutting_time import (
    DEFAULT_TIMES,
    TimeBelief,
    TimeLog,
    learn_times,
    minutes_per_metre,
    sawn_area,
    starting_times,
)
from trayside.model.event import moment
from trayside.model.rules import Rules
from trayside.model.saw import Saw
from trayside.model.shift import TimesLine


@dataclass(frozen=True, slots=True)
class CuttingTimes:
    """What is believed of minutes per metre, and the cuts it was learned from."""

    belief: TimeBelief
    lines: tuple[TimesLine, ...]
    cuts: int
    timed: int


def bag_minutes(
    lines: Iterable[TimesLine], rock_class: str, *, core_diameter_mm: float, metres: float, area_m2: float
) -> float:
    """Minutes a bag takes at the saw: handling by its metres, cutting by its sawn area."""
    line = next(one for one in lines if (one.rock_class, one.core_diameter_mm) == (rock_class, core_diameter_mm))
    return line.handling * metres + line.cutting * area_m2 / sawn_area(core_diameter_mm=core_diameter_mm)


def learned_times(work: Work, *, rules: Rules, core_diameters_mm: Iterable[float] = ()) -> CuttingTimes:
    """Minutes per metre of every class of rock, for these core sizes and every size that was cut."""
    cuts = tuple(newest_cuts(work, saw, rules=rules) for saw in saws_that_cut(work))
    sizes = sorted({*core_diameters_mm, *(cut.core_diameter_mm for of_saw in cuts for cut in of_saw)})
    return times_from(cuts, sizes, rules=rules)


def saws_that_cut(work: Work) -> tuple[Saw, ...]:
    """The saws of the register, and others that the ledger names."""
    known = work.saws.saws()
    names = {saw.saw for saw in known}
    return (*known, *(Saw(name, "manual") for name in work.saws.saws_named() if name not in names))


def newest_cuts(work: Work, saw: Saw, *, rules: Rules) -> tuple[SawCut, ...]:
    newest = work.saws.cut_numbers(saw.saw, newest=rules.shift.learn_from_cuts) if rules.shift.learn_from_cuts else ()
    if not newest:
        return ()
    registered = any(one.saw == saw.saw for one in work.saws.saws())
    facts = read_saw(work, saw) if registered else SawFacts(saw, (), {}, {})
    return saw_cuts(work, facts, rules=rules, since=newest[0][1])


def times_from(cuts: Sequence[Sequence[SawCut]], sizes: Sequence[float], *, rules: Rules) -> CuttingTimes:
    """What the cuts of each saw, in order of time, teach."""
    names = tuple(one.name for one in rock_classes(rules))
    settings = replace(
        DEFAULT_TIMES,
        area_rate_m2_h=rules.shift.area_rate_m2_h,
        handling_minutes=rules.shift.handling_minutes,
    )
    if not sizes:
        return CuttingTimes(starting_times(rocks=names, core_diameter_mm=(1.0,), settings=settings), (), 0, 0)
    logs = [log for of_saw in cuts for log in _logs(of_saw, longest_min=rules.saws.longest_cut_min)]
    logs.sort(key=lambda one: one[0])
    belief = starting_times(rocks=names, core_diameter_mm=sizes, settings=settings)
    belief = learn_times(belief=belief, logs=[log for _, log in logs]).belief
    learned_from: dict[tuple[str, float], list[TimeLog]] = {}
    for _, log in logs:
        learned_from.setdefault((log.rock, log.core_diameter_mm), []).append(log)
    lines = []
    for name in names:
        for size in sizes:
            one = minutes_per_metre(
                belief=belief, rock=name, core_diameter_mm=size, confidence=rules.shift.confidence
            )
            of_cell = learned_from.get((name, size), [])
            metres = sum(log.metres for log in of_cell)
            lines.append(
                TimesLine(name, size, one.minutes, one.low, one.high, one.cutting, one.handling, len(of_cell), metres)
            )
    timed = sum(log.cutting_min is not None for _, log in logs)
    return CuttingTimes(belief, tuple(lines), len(logs), timed)


def _logs(cuts: Sequence[SawCut], *, longest_min: float) -> list[tuple[str, TimeLog]]:
    """What each cut of one saw teaches, with its moment. Cuts of quarters count by the area they sawed."""
    logs = []
    for before, cut in pairwise((None, *cuts)):
        if cut.metres <= 0.0 or cut.area_m2 <= 0.0:
            continue
        since = None
        if before is not None and before.device == cut.device:
            since = (moment(cut.at) - moment(before.at)).total_seconds() / 60.0
            if not 0.0 < since <= longest_min:
                since = None
        # The logs know halves and quarters; a duplicate's own face shows only in the area.
        shape = "quarter" if cut.area_m2 > 1.01 * cut.metres * cut.core_diameter_mm / 1000.0 else "half"
        common = {
            "rock": cut.rock_class,
            "core_diameter_mm": cut.core_diameter_mm,
            "metres": cut.metres,
            "cut": shape,
        }
        if cut.timed and cut.minutes:
            handling = None if since is None or since <= cut.minutes else since - cut.minutes
            logs.append((cut.at, TimeLog(**common, cutting_min=cut.minutes, handling_min=handling)))
        elif since is not None:
            logs.append((cut.at, TimeLog(**common, total_min=since)))
    return logs
