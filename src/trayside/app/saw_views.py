"""Everything the Saws screen shows of each saw: ready or why not, blade and what it will still cut, water, cautions, log."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from trayside.app.bag_views import Bag, hole_bags
from trayside.app.blade_state import (
    BladeLife,
    Mount,
    OrderAdvice,
    blade_life,
    cuts_of_blade,
    mounts_of,
    order_advice,
)
from trayside.app.maintain_saw import fit_to_choose
from trayside.app.ports import Work
from trayside.app.saw_cuts import SawCut, class_of, cuts_while_blocked, saw_cuts, saw_need, sawn_of
from trayside.app.saw_state import (
    SawFacts,
    SawNow,
    local_day,
    read_heights,
    read_saw,
    saw_now,
    window_of,
    yard_offset_min,
)
from trayside.app.yard_rules import rules_of
from trayside.core.blade import check_start
from trayside.core.planning_aid import PLANNING_AID
from trayside.errors import ImpossibleValue, NotFound
from trayside.model.bag_states import Fact, state_in_ledger
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.rules import Rules
from trayside.model.saw import Blade, fits_need

HOLES_LOOKED_AT = 12
LOG_LINES = 40
LOOKED_BACK = 30


@dataclass(frozen=True, slots=True)
class ComingRock:
    """The core that waits for a saw: which hole, metres, square metres by class, and the size most of it has."""

    hole_id: str
    metres: float
    mix: dict[str, float]
    core_diameter_mm: float
    main_class: str


@dataclass(frozen=True, slots=True)
class SawView:
    """One card of the Saws screen."""

    now: SawNow
    life: BladeLife | None
    coming: ComingRock | None
    order: OrderAdvice | None
    metres_today: float
    metres_on_water: float
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
    log: tuple[Fact, ...]
    caution: str = PLANNING_AID

    @property
    def name(self) -> str:
        return self.now.saw.saw


@dataclass(frozen=True, slots=True)
class BladeLine:
    """One blade of the register: where it is and what it did."""

    blade: Blade
    where: str
    scrapped: bool
    life: BladeLife


@dataclass(frozen=True, slots=True)
class SawYard:
    """All saws of the yard with the blades of the register."""

    saws: tuple[SawView, ...]
    blades: tuple[BladeLine, ...]
    free: tuple[Blade, ...]
    findings: tuple[Finding, ...]
    rules: Rules
    today: date


def view_saws(work: Work, *, now: datetime, log: bool = False) -> SawYard:
    """Read all saws; with `log` also the wash-downs and flush cuts of their logs."""
    rules, register = rules_of(work), work.saws.saws()
    blades = {one.blade: one for one in work.saws.blades()}
    files = {saw.saw: read_saw(work, saw, blades=blades) for saw in register}
    mounts = mounts_of(files.values())
    since = min((mount.since for mount in mounts), default="")
    cuts = {name: saw_cuts(work, facts, rules=rules, since=_earlier(work, name, since)) for name, facts in files.items()}
    states = {name: saw_now(work, facts, rules=rules, now=now) for name, facts in files.items()}
    waiting = _Waiting(work, rules)
    coming = {name: waiting.of(facts, cuts[name]) for name, facts in files.items()}
    lives = _lives(work, blades, files, mounts, cuts, coming, rules=rules)
    offset = max((yard_offset_min(facts, rules) for facts in files.values()), key=abs, default=rules.dispatch.utc_offset_min)
    today = local_day(now, offset)
    free = fit_to_choose(work)
    on = {state.blade.blade for state in states.values() if state.blade is not None}
    orders = _orders(lives, on, free, rules=rules, today=today)
    views = tuple(
        _view(work, states[saw.saw], files[saw.saw], cuts[saw.saw], coming[saw.saw], lives, orders, rules=rules, log=log)
        for saw in register
    )
    where = {state.blade.blade: name for name, state in states.items() if state.blade is not None}
    scrapped = {mount.blade for mount in mounts if mount.scrapped}
    lines = tuple(
        BladeLine(blade, where.get(name, ""), name in scrapped, lives[name]) for name, blade in blades.items()
    )
    return SawYard(views, lines, free, _unknown_saws(work, {saw.saw for saw in register}), rules, today)


def saw_view(work: Work, name: str, *, now: datetime) -> tuple[SawYard, SawView]:
    """One saw with its whole log; NotFound when the register has none of that name."""
    yard = view_saws(work, now=now, log=True)
    view = next((view for view in yard.saws if view.name == name), None)
    if view is None:
        raise NotFound("no such saw in the register", where=name[:80], remedy="Add it to saws.csv and load it")
    return yard, view


def _earlier(work: Work, saw: str, since: str) -> str:
    """Some cuts before the first blade was fitted too, so that a missing clean-out shows."""
    if not since:
        return ""
    rows = work.saws.cut_numbers(saw, before=since, newest=LOOKED_BACK)
    return min((at for _, at in rows), default=since)


def _lives(
    work: Work,
    blades: Mapping[str, Blade],
    files: Mapping[str, SawFacts],
    mounts: Sequence[Mount],
    cuts: Mapping[str, Sequence[SawCut]],
    coming: Mapping[str, ComingRock | None],
    *,
    rules: Rules,
) -> dict[str, BladeLife]:
    """The life of every blade, in the order they were first fitted, each learning from the one of its type before."""
    first = {}
    for mount in mounts:
        first.setdefault(mount.blade, mount.since)
    taught: dict[str, BladeLife] = {}
    lives = {}
    for name in sorted(blades, key=lambda name: (first.get(name, "~"), name)):
        blade = blades[name]
        last = next((mount for mount in reversed(mounts) if mount.blade == name), None)
        rock = coming.get(last.saw) if last is not None else None
        rock = rock or next((one for one in coming.values() if one is not None), None)
        saw = files[last.saw].saw if last is not None else None
        own = cuts_of_blade(name, mounts, cuts)
        before = taught.get(blade.blade_type)
        heights = files[last.saw].heights.get(name, ()) if last is not None else read_heights(work, name)
        lives[name] = blade_life(
            blade,
            cuts=own,
            heights=heights,
            rules=rules,
            mix=rock.mix if rock is not None else {},
            core_diameter_mm=_diameter(rock, own),
            flange_diameter_mm=saw.flange_diameter_mm if saw is not None else None,
            prior=before.belief if before is not None else None,
        )
        if lives[name].worn and own:
            taught[blade.blade_type] = lives[name]
    return lives


NQ_MM = 47.6


def _diameter(rock: ComingRock | None, cuts: Sequence[SawCut]) -> float:
    if rock is not None:
        return rock.core_diameter_mm
    return cuts[-1].core_diameter_mm if cuts else NQ_MM


def _orders(
    lives: Mapping[str, BladeLife], on: set[str], free: Sequence[Blade], *, rules: Rules, today: date
) -> dict[str, OrderAdvice]:
    types = {lives[name].blade.blade_type for name in on}
    found_orders = {}
    for blade_type in sorted(types):
        own = [lives[name] for name in sorted(on) if lives[name].blade.blade_type == blade_type]
        spares = [blade for blade in free if blade.blade_type == blade_type and blade.stamped_rpm and not lives[blade.blade].cuts]
        advice = order_advice(blade_type, lives=own, spares=spares, rules=rules, today=today)
        if advice is not None:
            found_orders[blade_type] = advice
    return found_orders


def _view(
    work: Work,
    state: SawNow,
    facts: SawFacts,
    cuts: Sequence[SawCut],
    coming: ComingRock | None,
    lives: Mapping[str, BladeLife],
    orders: Mapping[str, OrderAdvice],
    *,
    rules: Rules,
    log: bool,
) -> SawView:
    life = lives.get(state.blade.blade) if state.blade is not None else None
    water = facts.last("water_changed", "cleaned_out")
    on_water = sum(cut.metres for cut in cuts if water is None or cut.at > water.event.captured_at)
    first = facts.acts[0].event.captured_at if facts.acts else ""
    return SawView(
        now=state,
        life=life,
        coming=coming,
        order=orders.get(state.blade.blade_type) if state.blade is not None else None,
        metres_today=sum(cut.metres for cut in cuts if cut.at >= state.period_start),
        metres_on_water=on_water,
        cautions=(*state.cautions, *_cautions(state, facts, cuts, coming, life, on_water, rules=rules)),
        findings=cuts_while_blocked(facts, (cut for cut in cuts if cut.at >= first), rules=rules),
        log=_log(work, facts, with_washing=log),
    )


def _cautions(
    state: SawNow,
    facts: SawFacts,
    cuts: Sequence[SawCut],
    coming: ComingRock | None,
    life: BladeLife | None,
    on_water: float,
    *,
    rules: Rules,
) -> list[str]:
    said = []
    if coming is not None and life is not None and state.saw.spindle_rpm is not None:
        rock = next(one for one in (*rules.saws.classes, rules.saws.other_rock) if one.name == coming.main_class)
        window = window_of(rock)
        if window is not None:
            said += _speed_flags(state, life, window)
    if state.saw.water == "recirculated" and on_water > rules.saws.water_change_m:
        said.append(f"{on_water:.0f} m were cut since the water was changed: change it after {rules.saws.water_change_m:g} m")
    sump = facts.last("sump_cleaned", "cleaned_out")
    holes = {cut.hole_id for cut in cuts if sump is None or cut.at > sump.event.captured_at}
    if len(holes) > 1:
        said.append(f"Core of {', '.join(sorted(holes))} was cut since the sump was emptied: empty it between holes")
    if life is not None:
        said += life.flags
        said += life.left.flags if life.left is not None else ()
        if life.setting is not None and not life.setting.fits:
            said.append(life.setting.says)
    return list(dict.fromkeys(said))


def _speed_flags(state: SawNow, life: BladeLife, window) -> tuple[str, ...]:
    try:
        check = check_start(
            spindle_rpm=state.saw.spindle_rpm,
            stamped_rpm=None,
            new_diameter_mm=life.blade.diameter_mm,
            wear_mm=max(0.0, life.blade.segment_height_mm - life.height_mm),
            window=window,
        )
    except ImpossibleValue:
        return ()
    return check.flags


def _log(work: Work, facts: SawFacts, *, with_washing: bool) -> tuple[Fact, ...]:
    """The newest acts at a saw and on the blade it carries, newest first."""
    lines = list(facts.acts) + [fact for heights in facts.heights.values() for fact in heights]
    if with_washing:
        washed = work.saws.acts("saw", facts.saw.saw, kinds={"washed", "flush_cut"})
        lines += state_in_ledger(washed, machine="saw").facts
    return tuple(sorted(lines, key=lambda fact: fact.event.captured_at, reverse=True)[:LOG_LINES])


def _unknown_saws(work: Work, known: set[str]) -> tuple[Finding, ...]:
    if not known:
        return ()
    others = [name for name in work.saws.saws_named() if name not in known]
    return tuple(
        found("saw.not_in_register", f"Cuts name {name}, which is not in the register", evidence={"saw": name})
        for name in others
    )


class _Waiting:
    """Finds the core that waits for each saw; a hole is read once for all of them."""

    def __init__(self, work: Work, rules: Rules) -> None:
        self.work, self.rules = work, rules
        self.issued = [sheet.hole_id for sheet in work.issued_sheets()]
        self.diameters = {name: size.core_diameter_mm for name, size in work.stock().core_sizes.items()}
        self.bags: dict[str, tuple[Bag, ...]] = {}

    def of(self, facts: SawFacts, cuts: Sequence[SawCut]) -> ComingRock | None:
        """The rest of the hole that was cut last on this saw; without one the first hole with something for it."""
        order = [*([cuts[-1].hole_id] if cuts else []), *self.issued]
        for hole_id in list(dict.fromkeys(order))[:HOLES_LOOKED_AT]:
            coming = self._in_hole(hole_id, facts)
            if coming is not None:
                return coming
        return None

    def _in_hole(self, hole_id: str, facts: SawFacts) -> ComingRock | None:
        if hole_id not in self.bags:
            hole = hole_bags(self.work, hole_id)
            self.bags[hole_id] = hole.bags if hole is not None else ()
        metres, mix, sizes = 0.0, {}, {}
        for bag in self.bags[hole_id]:
            need = saw_need(bag.row, self.rules)
            if bag.state != "planned" or not need or not fits_need(facts.saw.kind, need):
                continue
            diameter = self.diameters.get(bag.row.core_size or "")
            if diameter is None:
                continue
            length, area = sawn_of(bag.row, core_diameter_mm=diameter, rules=self.rules)
            rock = class_of(bag.row.rock, self.rules).name
            metres, mix[rock] = metres + length, mix.get(rock, 0.0) + area
            sizes[diameter] = sizes.get(diameter, 0.0) + area
        if not any(mix.values()):
            return None
        return ComingRock(hole_id, metres, mix, max(sizes, key=sizes.get), max(mix, key=mix.get))


def blocked_cuts(work: Work, bags: Iterable[Bag], *, rules: Rules) -> tuple[Finding, ...]:
    """Findings on those of the bags that were cut while their saw was not to run.

    Cuts from before the first act recorded at a saw are not judged: its register was not kept yet.
    """
    register = {saw.saw: saw for saw in work.saws.saws()}
    if not register:
        return ()
    made: dict[str, dict[str, str]] = {}
    for bag in bags:
        cut = bag.stands.latest("cut")
        if cut is not None and cut.values.get("saw") in register:
            made.setdefault(cut.values["saw"], {})[bag.number] = cut.event.captured_at
    findings = []
    for name, numbers in sorted(made.items()):
        facts = read_saw(work, register[name])
        first = facts.acts[0].event.captured_at if facts.acts else ""
        since = _earlier(work, name, min(numbers.values()))
        cuts = [cut for cut in saw_cuts(work, facts, rules=rules, since=since) if cut.at >= first]
        findings += [one for one in cuts_while_blocked(facts, cuts, rules=rules) if one.number in numbers]
    return tuple(findings)
