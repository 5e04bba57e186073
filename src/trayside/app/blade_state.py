"""A blade on its saw: metres and square metres by class of rock, what it will still cut, glazing, setting, re-order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import ceil

import numpy as np

from trayside.core.blade import BladeSetting, set_blade
from trayside.core.blade_life import (
    BladeLeft,
    LearnedWear,
    WearBelief,
    blade_left,
    cut_since,
    learn_wear,
    next_blade,
    starting_wear,
)
from trayside.core.blade_watch import BladeState, Reorder, reorder, tell_glazing
from trayside.core.cutting_time import TimeLog, learn_times, sawn_area, starting_times
from trayside.core.refusals import Floats
from trayside.errors import ImpossibleValue
from trayside.model.bag_states import Fact
from trayside.model.rules import Rules, SawRockClass
from trayside.model.saw import Blade

from .saw_cuts import SawCut
from .saw_state import UM_PER_MM, SawFacts


@dataclass(frozen=True, slots=True)
class Mount:
    """A blade on a saw from one moment to another; `to` is None while it is on."""

    blade: str
    saw: str
    since: str
    to: str | None
    scrapped: bool = False

    def held(self, at: str) -> bool:
        return self.since <= at and (self.to is None or at < self.to)


@dataclass(frozen=True, slots=True)
class Worn:
    """One reading of the segments with the square metres cut in each class until then."""

    at: str
    height_mm: float
    readings: tuple[str, ...]
    by: str
    area_m2: float


@dataclass(frozen=True, slots=True)
class ClassLine:
    """What a blade cut of one class of rock, and how fast that class wears it now."""

    rock: str
    metres: float
    area_m2: float
    wear_mm_per_m2: float
    wear_sd_mm_per_m2: float
    left: BladeLeft | None


@dataclass(frozen=True, slots=True)
class BladeLife:
    """Everything a person asks of a blade. `left` is for the coming mix of rock; `before` is the same without the last height."""

    blade: Blade
    belief: WearBelief
    left: BladeLeft | None
    before: BladeLeft | None
    mix: tuple[tuple[str, float], ...]
    core_diameter_mm: float
    lines: tuple[ClassLine, ...]
    worn: tuple[Worn, ...]
    metres: float
    area_m2: float
    hours: float
    hours_of: int
    cuts: int
    days: int
    watch: BladeState | None
    setting: BladeSetting | None
    setting_fault: str = ""
    flags: tuple[str, ...] = ()

    @property
    def height_mm(self) -> float:
        return self.belief.height_now_mm

    @property
    def per_day_m2(self) -> float:
        """Square metres of a day on which it cut."""
        return self.area_m2 / self.days if self.days else 0.0


def mounts_of(saws: Iterable[SawFacts]) -> tuple[Mount, ...]:
    """Every time a blade was on a saw, in order of time."""
    found: list[Mount] = []
    for facts in saws:
        on: Mount | None = None
        for fact in facts.acts:
            if fact.event.kind not in ("blade_fitted", "blade_removed"):
                continue
            at = fact.event.captured_at
            if on is not None:
                scrapped = fact.event.kind == "blade_removed" and bool(fact.values.get("scrapped"))
                found.append(replace(on, to=at, scrapped=scrapped))
                on = None
            if fact.event.kind == "blade_fitted":
                on = Mount(fact.values["blade"], facts.saw.saw, at, None)
        if on is not None:
            found.append(on)
    return tuple(sorted(found, key=lambda mount: mount.since))


def cuts_of_blade(blade: str, mounts: Iterable[Mount], cuts: Mapping[str, Sequence[SawCut]]) -> tuple[SawCut, ...]:
    """The cuts made while this blade was on; `cuts` by saw."""
    own = [mount for mount in mounts if mount.blade == blade]
    made = [cut for mount in own for cut in cuts.get(mount.saw, ()) if mount.held(cut.at)]
    return tuple(sorted(made, key=lambda cut: cut.at))


def rock_classes(rules: Rules) -> tuple[SawRockClass, ...]:
    return (*rules.saws.classes, rules.saws.other_rock)


def blade_life(
    blade: Blade,
    *,
    cuts: Sequence[SawCut],
    heights: Sequence[Fact],
    rules: Rules,
    mix: Mapping[str, float],
    core_diameter_mm: float,
    flange_diameter_mm: float | None = None,
    prior: WearBelief | None = None,
) -> BladeLife:
    """The life of one blade. `mix` holds square metres of the coming rock by class; `prior` what blades of its type taught."""
    settings, classes = rules.saws, rock_classes(rules)
    names = [one.name for one in classes]
    belief = first_belief(blade, rules=rules, prior=prior)
    shares = np.array([mix.get(name, 0.0) for name in names])
    if not shares.any():
        shares = _areas(cuts, names) if cuts else np.ones(len(names))
    if not shares.any():
        shares = np.ones(len(names))
    worn, areas = _readings(cuts, heights, names)
    total = _areas(cuts, names)
    learned = _learned(belief, worn, areas)
    now = _carried_to(learned.belief, total)
    before = None
    if worn:
        earlier = _learned(belief, worn[:-1], areas[:-1]).belief
        before = _left(_carried_to(earlier, total), shares, core_diameter_mm, rules=rules)
    setting, fault = _setting(blade, now, core_diameter_mm, flange_diameter_mm, rules=rules)
    flags = [*now.flags, *_uneven(worn, settings.uneven_mm), *_grown(worn, settings.height_scatter_mm)]
    timed = [cut for cut in cuts if cut.minutes is not None]
    return BladeLife(
        blade=blade,
        belief=now,
        left=_left(now, shares, core_diameter_mm, rules=rules),
        before=before,
        mix=tuple((name, share) for name, share in zip(names, (shares / shares.sum()).tolist(), strict=True) if share > 0),
        core_diameter_mm=core_diameter_mm,
        lines=_lines(cuts, now, names, core_diameter_mm, rules=rules),
        worn=tuple(worn),
        metres=sum(cut.metres for cut in cuts),
        area_m2=float(total.sum()),
        hours=sum(cut.minutes for cut in timed) / 60.0,
        hours_of=len(timed),
        cuts=len(cuts),
        days=len({cut.at[:10] for cut in cuts}),
        watch=_watch(timed, learned.score, names) if timed and worn else None,
        setting=setting,
        setting_fault=fault,
        flags=tuple(dict.fromkeys(flags)),
    )


def first_belief(blade: Blade, *, rules: Rules, prior: WearBelief | None) -> WearBelief:
    """Belief about a blade before any reading: from blades of its type before, else from the rules."""
    settings, classes = rules.saws, rock_classes(rules)
    names = tuple(one.name for one in classes)
    if prior is not None and prior.rocks == names:
        return next_blade(
            belief=prior,
            new_height_mm=blade.segment_height_mm,
            new_height_sd_mm=settings.new_height_sd_mm,
            between_blades=settings.between_blades,
        )
    return starting_wear(
        rocks=names,
        new_height_mm=blade.segment_height_mm,
        new_height_sd_mm=settings.new_height_sd_mm,
        wear=[one.wear_mm_per_m2 for one in classes],
        wear_sd=[one.wear_sd_mm_per_m2 for one in classes],
        scatter_mm=settings.height_scatter_mm,
    )


def _areas(cuts: Iterable[SawCut], names: Sequence[str]) -> Floats:
    areas = dict.fromkeys(names, 0.0)
    for cut in cuts:
        areas[cut.rock_class] += cut.area_m2
    return np.array([areas[name] for name in names])


def _readings(
    cuts: Sequence[SawCut], heights: Sequence[Fact], names: Sequence[str]
) -> tuple[list[Worn], Floats]:
    worn, areas = [], []
    for fact in heights:
        until = _areas((cut for cut in cuts if cut.at <= fact.event.captured_at), names)
        height = fact.values["height_um"] / UM_PER_MM
        said = tuple(fact.values.get("readings") or ())
        worn.append(Worn(fact.event.captured_at, height, said, fact.event.person, float(until.sum())))
        areas.append(until)
    return worn, np.array(areas).reshape(len(worn), len(names))


def _learned(belief: WearBelief, worn: Sequence[Worn], areas: Floats) -> LearnedWear:
    if not worn:
        return LearnedWear(belief, np.array([]))
    return learn_wear(belief=belief, height_mm=[one.height_mm for one in worn], cut_m2=areas)


def _carried_to(belief: WearBelief, total: Floats) -> WearBelief:
    """The belief with everything that was cut since its last reading."""
    return cut_since(belief=belief, area_m2=np.maximum(total - belief.cut_m2, 0.0))


def _left(belief: WearBelief, shares: Floats, core_diameter_mm: float, *, rules: Rules) -> BladeLeft | None:
    try:
        return blade_left(
            belief=belief,
            lowest_height_mm=rules.saws.lowest_height_mm,
            mix=shares,
            core_diameter_mm=core_diameter_mm,
            confidence=rules.saws.interval,
        )
    except ImpossibleValue:  # the readings say that the rock adds height; the belief's flags tell it
        return None


def _lines(
    cuts: Sequence[SawCut], belief: WearBelief, names: Sequence[str], core_diameter_mm: float, *, rules: Rules
) -> tuple[ClassLine, ...]:
    lines = []
    for at, name in enumerate(names):
        own = [cut for cut in cuts if cut.rock_class == name]
        alone = np.zeros(len(names))
        alone[at] = 1.0
        lines.append(
            ClassLine(
                name,
                sum(cut.metres for cut in own),
                sum(cut.area_m2 for cut in own),
                float(belief.mean[at + 1]),
                float(np.sqrt(belief.covariance[at + 1, at + 1])),
                _left(belief, alone, core_diameter_mm, rules=rules),
            )
        )
    return tuple(lines)


def _watch(timed: Sequence[SawCut], wear_score: Floats, names: Sequence[str]) -> BladeState:
    """Glazing or over-wear, from the minutes of each cut and the heights together."""
    sizes = sorted({cut.core_diameter_mm for cut in timed})
    logs = []
    for cut in timed:
        # What a metre of whole core would have taken: the log's area is that of one halving.
        metres = cut.area_m2 / sawn_area(core_diameter_mm=cut.core_diameter_mm)
        logs.append(TimeLog(cut.rock_class, cut.core_diameter_mm, metres, cutting_min=cut.minutes))
    learned = learn_times(belief=starting_times(rocks=names, core_diameter_mm=sizes), logs=logs)
    return tell_glazing(minutes_score=learned.score, wear_score=wear_score)


def _setting(
    blade: Blade, belief: WearBelief, core_diameter_mm: float, flange_mm: float | None, *, rules: Rules
) -> tuple[BladeSetting | None, str]:
    if flange_mm is None:
        return None, "The diameter of the flanges is not in saws.csv"
    try:
        setting = set_blade(
            core_diameter_mm=core_diameter_mm,
            new_diameter_mm=blade.diameter_mm,
            flange_diameter_mm=flange_mm,
            wear_mm=round(max(0.0, blade.segment_height_mm - belief.height_now_mm), 1),
            below_cradle_mm=rules.saws.below_cradle_mm,
            clearance_mm=rules.saws.clearance_mm,
        )
    except ImpossibleValue as error:
        return None, error.what
    return setting, ""


def _uneven(worn: Sequence[Worn], limit_mm: float) -> list[str]:
    """Segments of different height tell of the shaft: halves of its wear, quarters of its bearings (trade page, seen)."""
    if not worn or len(worn[-1].readings) < 2:
        return []
    heights = [float(reading) for reading in worn[-1].readings]
    apart = max(heights) - min(heights)
    if apart <= limit_mm:
        return []
    return [
        f"The segments differ by {apart:.1f} mm: half of them high and half low is a worn shaft, "
        "high and low by quarters worn bearings. Have the saw looked at"
    ]


def _grown(worn: Sequence[Worn], scatter_mm: float) -> list[str]:
    if len(worn) < 2 or worn[-1].height_mm <= worn[-2].height_mm + 3.0 * scatter_mm:
        return []
    return [
        f"The last height ({worn[-1].height_mm:.2f} mm) is above the one before ({worn[-2].height_mm:.2f} mm): "
        "measure the same marked segments again"
    ]


@dataclass(frozen=True, slots=True)
class OrderAdvice:
    """When to order blades of one type. `by` is the day the order must be out."""

    blade_type: str
    spares: tuple[str, ...]
    advice: Reorder
    by: date
    lead_days: float


def order_advice(
    blade_type: str,
    *,
    lives: Sequence[BladeLife],
    spares: Sequence[Blade],
    rules: Rules,
    today: date,
) -> OrderAdvice | None:
    """For all saws that carry this type; None while nothing was sawn with it or what is left cannot be told."""
    settings = rules.saws
    daily = sum(life.per_day_m2 for life in lives)
    known = [life for life in lives if life.left is not None]
    if daily <= 0.0 or not known:
        return None
    fresh = first_belief(known[0].blade, rules=rules, prior=known[0].belief)
    shares = np.array([dict(known[0].mix).get(name, 0.0) for name in fresh.rocks])
    new = _left(fresh, shares, known[0].core_diameter_mm, rules=rules)
    if new is None or new.area_m2 <= 0.0:
        return None
    leads = [blade.lead_days for blade in (*spares, *(life.blade for life in lives)) if blade.lead_days is not None]
    lead = max(leads, default=settings.lead_days)
    low = sum(max(0.0, life.left.low_m2) for life in known)
    advice = reorder(
        left_low_m2=low,
        spare_blades=len(spares),
        spare_blade_m2=max(new.low_m2, new.area_m2 / 10.0),
        per_day_m2=daily,
        lead_days=lead,
        margin_days=settings.margin_days,
    )
    days = max(0, ceil(advice.order_in_days * 7.0 / settings.work_days_a_week)) if advice.order_in_days > 0 else 0
    return OrderAdvice(blade_type, tuple(blade.blade for blade in spares), advice, today + timedelta(days=days), lead)
