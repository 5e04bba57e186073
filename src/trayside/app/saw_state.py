"""Whether a saw may run now, and why not: read off what was done to it, its blade, and the day.

A stop says what is wrong and what to do. The same rules hold for a moment in the past, so that a cut that came in late
can be held against the state of its saw when it was made.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta

from trayside.app.ports import Work
from trayside.app.yard_rules import rules_of
from trayside.core.blade import SpeedWindow, StartCheck, WaterCheck, WaterSettings, check_start, check_water
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue, NotFound
from trayside.model.bag_states import Fact, state_in_ledger
from trayside.model.event import moment, moment_text
from trayside.model.prestart_items import card_items
from trayside.model.rules import Rules, SawRockClass
from trayside.model.saw import Blade, Saw

SAW_KINDS_READ = frozenset(
    {
        "blade_fitted", "blade_removed", "blade_dressed", "water_checked", "water_changed", "sump_cleaned", "cleaned_out",
        "prestart_signed", "tagged_out", "released",
    }
)  # fmt: skip
LOOKED_BACK = 30
"""So many cuts of earlier days are looked at for one that still counts."""
UM_PER_MM = 1000.0


@dataclass(frozen=True, slots=True)
class SawStop:
    """One reason why the saw does not run, and what to do about it."""

    code: str
    what: str
    do: str


@dataclass(frozen=True, slots=True)
class SawFacts:
    """One saw with its acts by the time they were done, the blades of the yard, and heights of the blades it carried."""

    saw: Saw
    acts: tuple[Fact, ...]
    blades: dict[str, Blade]
    heights: dict[str, tuple[Fact, ...]]

    def before(self, at: str) -> SawFacts:
        """What was known of it at an earlier moment."""
        heights = {blade: _until(facts, at) for blade, facts in self.heights.items()}
        return SawFacts(self.saw, _until(self.acts, at), self.blades, heights)

    def last(self, *kinds: str) -> Fact | None:
        return next((fact for fact in reversed(self.acts) if fact.event.kind in kinds), None)

    @property
    def blade_on(self) -> Fact | None:
        """The fitting of the blade that is on the saw now."""
        fact = self.last("blade_fitted", "blade_removed")
        return fact if fact is not None and fact.event.kind == "blade_fitted" else None

    @property
    def tagged(self) -> Fact | None:
        """The tag on the saw, when there is one."""
        fact = self.last("tagged_out", "released")
        return fact if fact is not None and fact.event.kind == "tagged_out" else None


@dataclass(frozen=True, slots=True)
class SawNow:
    """Where a saw stands. `valid_until` is the end of its card; `period_start` the start of its day or shift."""

    saw: Saw
    stops: tuple[SawStop, ...]
    cautions: tuple[str, ...] = ()
    card: Fact | None = None
    valid_until: str | None = None
    period_start: str = ""
    tagged: Fact | None = None
    fitted: Fact | None = None
    blade: Blade | None = None
    height_mm: float | None = None
    start: StartCheck | None = None
    water: WaterCheck | None = None
    water_fact: Fact | None = None
    facts: SawFacts | None = field(default=None, repr=False)

    @property
    def ready(self) -> bool:
        return not self.stops


def _until(facts: Iterable[Fact], at: str) -> tuple[Fact, ...]:
    return tuple(fact for fact in facts if fact.event.captured_at <= at)


def by_time(facts: Iterable[Fact]) -> tuple[Fact, ...]:
    return tuple(sorted(facts, key=lambda fact: fact.event.captured_at))


def read_saw(work: Work, saw: Saw, *, blades: dict[str, Blade] | None = None) -> SawFacts:
    """One saw with everything its state hangs on."""
    if blades is None:
        blades = {one.blade: one for one in work.saws.blades()}
    acts = by_time(state_in_ledger(work.saws.acts("saw", saw.saw, kinds=SAW_KINDS_READ), machine="saw").facts)
    carried = {fact.values["blade"] for fact in acts if fact.event.kind == "blade_fitted"}
    return SawFacts(saw, acts, blades, {blade: read_heights(work, blade) for blade in sorted(carried)})


def read_heights(work: Work, blade: str) -> tuple[Fact, ...]:
    return by_time(state_in_ledger(work.saws.acts("blade", blade, kinds={"height_measured"}), machine="blade").facts)


def saw_named(work: Work, name: str) -> Saw:
    """The saw of the register; NotFound when there is none of that name."""
    found = next((saw for saw in work.saws.saws() if saw.saw == name), None)
    if found is None:
        raise NotFound("no such saw in the register", where=name[:80], remedy="Add it to saws.csv and load it")
    return found


def saws_now(work: Work, *, now: datetime) -> tuple[SawNow, ...]:
    """Every saw of the register as it stands; empty in a yard without a register."""
    saws = work.saws.saws()
    if not saws:
        return ()
    rules, blades = rules_of(work), {one.blade: one for one in work.saws.blades()}
    return tuple(saw_now(work, read_saw(work, saw, blades=blades), rules=rules, now=now) for saw in saws)


def saw_now(work: Work, facts: SawFacts, *, rules: Rules, now: datetime) -> SawNow:
    """One saw as it stands; asks the store for its last cut before today."""
    known = facts.before(moment_text(now))
    start = period_start(known, rules=rules, now=now)
    return judged(known, rules=rules, now=now, last_cut=_last_cut(work, known, before=start))


def _last_cut(work: Work, facts: SawFacts, *, before: str) -> str | None:
    """When the last cut that counts was made before this moment, as far as no clean-out came after it."""
    rows = work.saws.cut_numbers(facts.saw.saw, before=before, newest=LOOKED_BACK)
    clean = facts.last("cleaned_out")
    since = clean.event.captured_at if clean is not None else ""
    open_rows = [row for row in rows if row[1] > since]
    if not open_rows:
        return None
    histories = work.events_of_objects([("bag", number) for number, _ in open_rows])
    made = []
    for number, _ in open_rows:
        cut = state_in_ledger(histories.get(("bag", number), ()), machine="bag").latest("cut")
        if cut is not None and cut.values.get("saw") == facts.saw.saw and since < cut.event.captured_at < before:
            made.append(cut.event.captured_at)
    return max(made, default=None)


def yard_offset_min(facts: SawFacts, rules: Rules) -> int:
    """What the yard's clocks add to UTC: the setting, else what the last act at this saw was signed with."""
    if rules.dispatch.utc_offset_min or not facts.acts:
        return rules.dispatch.utc_offset_min
    return facts.acts[-1].event.utc_offset_min


def local_day(at: str | datetime, offset_min: int) -> date:
    return (_moment(at) + timedelta(minutes=offset_min)).date()


def _moment(at: str | datetime) -> datetime:
    return moment(at) if isinstance(at, str) else at.astimezone(UTC)


def _midnight(day: date, offset_min: int) -> datetime:
    return datetime.combine(day, time(), UTC) - timedelta(minutes=offset_min)


def period_start(facts: SawFacts, *, rules: Rules, now: datetime) -> str:
    """Start of the day, or of the shift whose card holds; cuts before it belong to a day that must be cleaned out."""
    offset = yard_offset_min(facts, rules)
    if rules.saws.card_for == "day":
        return moment_text(_midnight(local_day(now, offset), offset))
    card = facts.last("prestart_signed")
    if card is not None and now < _card_end(card, rules=rules, offset=offset):
        return card.event.captured_at
    return moment_text(now)


def _card_end(card: Fact, *, rules: Rules, offset: int) -> datetime:
    signed = moment(card.event.captured_at)
    if rules.saws.card_for == "shift":
        return signed + timedelta(hours=rules.saws.shift_h)
    return _midnight(local_day(signed, offset) + timedelta(days=1), offset)


def judged(facts: SawFacts, *, rules: Rules, now: datetime, last_cut: str | None) -> SawNow:
    """All stops and cautions by what is known; `last_cut` is the last cut before today that no clean-out followed."""
    stops: list[SawStop] = []
    cautions: list[str] = []
    saw, tagged, fitted = facts.saw, facts.tagged, facts.blade_on
    if tagged is not None:
        roles = " or ".join(rules.saws.release_roles)
        stops.append(
            SawStop(
                "tagged_out",
                f"It is tagged out by {tagged.event.person}: {tagged.event.reason}",
                f"Have it repaired; a {roles} releases it on the Saws screen. Until then use another saw",
            )
        )
    blade = facts.blades.get(fitted.values["blade"]) if fitted is not None else None
    height = height_mm(facts, blade)
    start = None
    if saw.has_blade:
        start, found = _blade_stops(facts, fitted, blade, height, cautions, rules=rules)
        stops += found
    water_fact, water = _water(facts, rules=rules, now=now)
    if water is not None and not water.may_cut:
        stops.append(SawStop("water", ". ".join(water.because), "Put the water right, then log it again on the Saws screen"))
    if saw.has_blade and rules.saws.clean_out_needed and last_cut is not None:
        day = local_day(last_cut, yard_offset_min(facts, rules))
        stops.append(
            SawStop(
                "clean_out",
                f"The clean-out after the last cut of {day:%Y-%m-%d} is not recorded",
                "Wash saw, cradle and floor, empty the sump, drain the water; then record the clean-out on the Saws screen",
            )
        )
    card = facts.last("prestart_signed")
    if tagged is None and rules.saws.card_needed:
        stops += _card_stops(facts, card, rules=rules, now=now)
    offset = yard_offset_min(facts, rules)
    return SawNow(
        saw=saw,
        stops=tuple(stops),
        cautions=tuple(cautions),
        card=card,
        valid_until=moment_text(_card_end(card, rules=rules, offset=offset)) if card is not None else None,
        period_start=period_start(facts, rules=rules, now=now),
        tagged=tagged,
        fitted=fitted,
        blade=blade,
        height_mm=height,
        start=start,
        water=water,
        water_fact=water_fact,
        facts=facts,
    )


def height_mm(facts: SawFacts, blade: Blade | None) -> float | None:
    """The last height measured of this blade."""
    heights = facts.heights.get(blade.blade, ()) if blade is not None else ()
    return heights[-1].values["height_um"] / UM_PER_MM if heights else None


def _blade_stops(
    facts: SawFacts, fitted: Fact | None, blade: Blade | None, height: float | None, cautions: list[str], *, rules: Rules
) -> tuple[StartCheck | None, list[SawStop]]:
    saw = facts.saw
    if fitted is None:
        return None, [SawStop("no_blade", "No blade is recorded on it, so its highest rpm is not known",
                              "Fit a blade and record it on the Saws screen")]  # fmt: skip
    name = fitted.values["blade"]
    if blade is None:
        return None, [SawStop("blade_unknown", f"Blade {name} is not in the register, so its highest rpm is not known",
                              "Add it to blades.csv and load it, or fit another blade")]  # fmt: skip
    stamps = [rpm for rpm in (blade.stamped_rpm, fitted.values.get("stamp_rpm")) if rpm is not None]
    if len(set(stamps)) > 1:
        cautions.append(
            f"The register says {stamps[0]:g} rpm for {name}, {stamps[1]:g} was read on it: the lower counts until one is corrected"
        )
    stops = []
    worn = max(0.0, blade.segment_height_mm - height) if height is not None else 0.0
    try:
        start = check_start(
            spindle_rpm=saw.spindle_rpm,
            stamped_rpm=min(stamps, default=None),
            new_diameter_mm=blade.diameter_mm,
            wear_mm=worn,
            flange_diameter_mm=saw.flange_diameter_mm,
        )
    except ImpossibleValue as error:
        return None, [SawStop("blade_numbers", f"Saw and blade cannot be so: {error.what}", error.remedy)]
    for reason in start.reasons:
        what, _, do = reason.partition(": ")
        stops.append(SawStop("blade_rpm", what, do[:1].upper() + do[1:]))
    cautions += start.flags
    if saw.largest_blade_mm is not None and blade.diameter_mm > saw.largest_blade_mm:
        said = f"Blade {name} has {blade.diameter_mm:g} mm, the guard takes {saw.largest_blade_mm:g} mm"
        stops.append(SawStop("blade_large", said, "Fit a smaller blade"))
    if height is not None and height <= rules.saws.lowest_height_mm:
        lowest = rules.saws.lowest_height_mm
        said = f"The segments of {name} were measured at {height:g} mm, the lowest is {lowest:g} mm"
        stops.append(SawStop("blade_low", said, "Take the blade off; do not finish the tray with it"))
    return start, stops


def window_of(rock: SawRockClass) -> SpeedWindow | None:
    """The surface speeds this yard's rules name for a class of rock."""
    if rock.low_m_s is None:
        return None
    source = Source("this yard's rules", f"saws.classes, {rock.name}; no law gives it", "common practice, no source")
    return SpeedWindow(rock.name, rock.low_m_s, rock.high_m_s, source)


def water_settings(saw: Saw, rules: Rules) -> WaterSettings:
    """The maker's flows where saws.csv has them, else the yard's setting."""
    low, high = saw.water_low_l_min, saw.water_high_l_min
    own = rules.saws
    if low is None and high is None:
        return WaterSettings(own.water_low_l_min, own.water_high_l_min, own.water_hottest_degc)
    low = own.water_low_l_min if low is None else low
    high = max(own.water_high_l_min, low) if high is None else high
    source = Source("saws.csv of this yard", "the maker's flows as entered there", "common practice, no source")
    return WaterSettings(min(low, high), high, own.water_hottest_degc, source)


def _water(facts: SawFacts, *, rules: Rules, now: datetime) -> tuple[Fact | None, WaterCheck | None]:
    """The last look at the water of this day or shift; one before a change of water counts no more."""
    if not facts.saw.has_blade:
        return None, None
    fact = facts.last("water_checked", "water_changed")
    if fact is None or fact.event.kind == "water_changed" or fact.event.captured_at < period_start(facts, rules=rules, now=now):
        return None, check_water(litres_per_minute=None, settings=water_settings(facts.saw, rules))
    said, flow = fact.values, fact.values.get("flow_ml_min")
    return fact, check_water(
        litres_per_minute=None if flow is None else flow / 1000.0,
        dust_seen=bool(said.get("dust")),
        mist_seen=bool(said.get("mist")),
        fines_washed_off=bool(said.get("fines")),
        gritty=bool(said.get("gritty")),
        water_degc=said.get("water_degc"),
        settings=water_settings(facts.saw, rules),
    )


def _card_stops(facts: SawFacts, card: Fact | None, *, rules: Rules, now: datetime) -> list[SawStop]:
    name, do = facts.saw.saw, "Answer and sign the pre-start card on the Saws screen before the first cut"
    period = "today" if rules.saws.card_for == "day" else "this shift"
    if card is None:
        return [SawStop("no_card", f"No pre-start card was signed for {name} {period}", do)]
    signed = card.event.captured_at
    if now >= _card_end(card, rules=rules, offset=yard_offset_min(facts, rules)):
        return [SawStop("card_old", f"The last pre-start card for {name} is not of {period}", do)]
    if not card.values["passed"]:
        items = {item.key: item.words for item in card_items(facts.saw.kind, rules.saws)}
        failed = "; ".join(items.get(key, key) for key in card.values.get("failed") or ())
        return [SawStop("card_failed", f"The pre-start card failed: {failed}", "Put it right, then sign a new card")]
    released = facts.last("released")
    if released is not None and released.event.captured_at > signed:
        return [SawStop("card_before_release", "The card was signed before the saw was released", do)]
    fitted = facts.blade_on
    if rules.saws.card_after_blade_change and fitted is not None and fitted.event.captured_at > signed:
        return [SawStop("card_before_blade", "The blade was changed after the card was signed", do)]
    return []
