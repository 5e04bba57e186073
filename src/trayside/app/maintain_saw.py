"""What people do to a saw and its blade, each into the ledger: blade, heights, water, cleaning, tag and release."""

from __future__ import annotations

import re
from collections.abc import Iterable
from statistics import fmean

from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.app.saw_state import UM_PER_MM, SawFacts, read_saw, saw_named
from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule
from trayside.model.event import Event
from trayside.model.event_kinds import OFF_BECAUSE
from trayside.model.person import name_key
from trayside.model.saw import Blade

PLAIN_ACTS = ("washed", "sump_cleaned", "water_changed", "cleaned_out", "blade_dressed")
"""Acts that ask for nothing but that they were done."""
HEIGHT = re.compile(r"[0-9]{1,2}(?:[.,][0-9]{1,3})?")
MOST_READINGS = 12
TALLER_MM = 0.5
"""So much above the height when new is unevenness of the rim; more is another blade or a slip."""


def log_act(
    saw_name: str, kind: str, *, desk: Desk, start_work: StartWork, remark: str = "", drained: bool | None = None
) -> None:
    """A wash-down, the sump, fresh water, the end-of-day clean-out, or a dressing."""
    if kind not in PLAIN_ACTS:
        raise ImpossibleValue(f"no act {kind[:40]!r}", where=saw_name, remedy=f"One of: {', '.join(PLAIN_ACTS)}")
    with start_work() as work:
        facts = read_saw(work, saw_named(work, saw_name))
        values: dict[str, object] = {}
        said = " ".join(remark.split())
        if kind == "blade_dressed":
            if facts.blade_on is None:
                raise RefusedByRule("there is no blade on it", where=saw_name, remedy="Fit a blade first")
            values["blade"] = facts.blade_on.values["blade"]
        elif kind == "sump_cleaned" and said:
            values["where_to"] = said
        elif kind in ("water_changed", "cleaned_out"):
            values |= {"remark": said} if said else {}
            values |= {"drained": drained} if drained is not None and kind == "cleaned_out" else {}
        _store(work, [desk.act(kind, "saw", saw_name, values=values)], desk=desk, where=saw_name)


def check_water_at(
    saw_name: str,
    *,
    flow_l_min: float | None,
    water_degc: int | None = None,
    seen: Iterable[str] = (),
    desk: Desk,
    start_work: StartWork,
) -> None:
    """Flow at the blade and what was seen: dust, mist, fines, gritty."""
    marks = set(seen)
    if marks - {"dust", "mist", "fines", "gritty"}:
        raise ImpossibleValue("this is no state of the water", where=saw_name, remedy="Tick what the form offers")
    if flow_l_min is None and not marks and water_degc is None:
        raise ImpossibleValue("nothing was said about the water", where=saw_name, remedy="Give the flow, or tick what is seen")
    if flow_l_min is not None and not 0.0 <= flow_l_min <= 1000.0:
        raise ImpossibleValue(f"a flow of {flow_l_min:g} L/min", where=saw_name, remedy="Hold a can under the nozzle for a minute")
    values: dict[str, object] = {mark: True for mark in sorted(marks)}
    if flow_l_min is not None:
        values["flow_ml_min"] = round(flow_l_min * 1000.0)
    if water_degc is not None:
        values["water_degc"] = water_degc
    with start_work() as work:
        saw_named(work, saw_name)
        _store(work, [desk.act("water_checked", "saw", saw_name, values=values)], desk=desk, where=saw_name)


def fit_blade(
    saw_name: str,
    blade_name: str,
    *,
    stamp_rpm: int | None,
    because: str = "",
    scrapped: bool = False,
    desk: Desk,
    start_work: StartWork,
) -> None:
    """Put a blade on; the one that is on comes off for a reason. What is fitted is recorded even when it may not run."""
    with start_work() as work:
        facts = read_saw(work, saw_named(work, saw_name))
        if not facts.saw.has_blade:
            raise RefusedByRule("it is a splitter and has no blade", where=saw_name, remedy="Choose a saw")
        blade = _blade(work, blade_name)
        on = _where_on(work, blade.blade)
        if on is not None:
            raise RefusedByRule(f"blade {blade.blade} is on {on}", where=saw_name, remedy=f"Take it off {on} first")
        if blade.blade in _scrapped(work):
            raise RefusedByRule(f"blade {blade.blade} was scrapped", where=saw_name, remedy="Fit another blade")
        events = []
        if facts.blade_on is not None:
            events.append(_off(facts, because=because, scrapped=scrapped, desk=desk))
        values: dict[str, object] = {"blade": blade.blade}
        if stamp_rpm is not None:
            values["stamp_rpm"] = stamp_rpm
        events.append(desk.act("blade_fitted", "saw", saw_name, values=values))
        _store(work, events, desk=desk, where=saw_name)


def remove_blade(saw_name: str, *, because: str, scrapped: bool, desk: Desk, start_work: StartWork) -> None:
    """Take the blade off, with why, and whether it is ever fitted again."""
    with start_work() as work:
        facts = read_saw(work, saw_named(work, saw_name))
        if facts.blade_on is None:
            raise RefusedByRule("there is no blade on it", where=saw_name, remedy="Nothing is to be taken off")
        _store(work, [_off(facts, because=because, scrapped=scrapped, desk=desk)], desk=desk, where=saw_name)


def measure_height(blade_name: str, typed: str, *, desk: Desk, start_work: StartWork) -> None:
    """Heights of the marked segments in millimetres, as typed: '7.30 7.25 7.35 7.30'. Their mean is what counts."""
    readings = typed_heights(typed, where=blade_name)
    mean = fmean(readings)
    with start_work() as work:
        blade = _blade(work, blade_name)
        if mean > blade.segment_height_mm + TALLER_MM:
            raise ImpossibleValue(
                f"{mean:.2f} mm is more than the {blade.segment_height_mm:g} mm of its segments when new",
                where=blade.blade,
                remedy="Measure the segment alone, without the core of the blade; or correct blades.csv",
            )
        values: dict[str, object] = {
            "height_um": round(mean * UM_PER_MM), "readings": [f"{reading:g}" for reading in readings],
        }  # fmt: skip
        on = _where_on(work, blade.blade)
        if on is not None:
            values["saw"] = on
        _store(work, [desk.act("height_measured", "blade", blade.blade, values=values)], desk=desk, where=blade.blade)


def typed_heights(typed: str, *, where: str) -> list[float]:
    """The numbers in what was typed, between spaces or semicolons."""
    parts = [part for part in re.split(r"[;\s]+", typed.strip()) if part]
    wrong = [part for part in parts if not HEIGHT.fullmatch(part)]
    if not parts or wrong or len(parts) > MOST_READINGS:
        said = f"{wrong[0][:20]!r} is not a height" if wrong else "one to twelve heights are needed"
        raise ImpossibleValue(said, where=where, remedy="Type millimetres between spaces, like 7.30 7.25 7.35 7.30")
    return [float(part.replace(",", ".")) for part in parts]


def tag_out(saw_name: str, *, reason: str, desk: Desk, start_work: StartWork) -> None:
    """Take a saw out of use; anybody who may record may do it."""
    with start_work() as work:
        facts = read_saw(work, saw_named(work, saw_name))
        if facts.tagged is not None:
            raise RefusedByRule("it is tagged out already", where=saw_name, remedy="A second tag is not needed")
        event = desk.act("tagged_out", "saw", saw_name, reason=_reason(reason, saw_name, "why it is out of use"))
        _store(work, [event], desk=desk, where=saw_name)


def release(saw_name: str, *, reason: str, desk: Desk, start_work: StartWork) -> None:
    """Give a saw back, by somebody whose role may; a new card is signed after that."""
    with start_work() as work:
        facts = read_saw(work, saw_named(work, saw_name))
        roles = rules_of(work).saws.release_roles
        if facts.tagged is None:
            raise RefusedByRule("it is not tagged out", where=saw_name, remedy="Nothing is to be released")
        person = next(
            (one for one in work.people.people() if name_key(one.name) == name_key(desk.signer.person) and one.active), None
        )
        if work.people.any_people() and (person is None or person.role not in roles):
            raise RefusedByRule(
                f"{desk.signer.person} may not release a saw", where=saw_name, remedy=f"Ask a {' or '.join(roles)} of this yard"
            )
        event = desk.act("released", "saw", saw_name, reason=_reason(reason, saw_name, "what was put right"))
        _store(work, [event], desk=desk, where=saw_name)


def fit_to_choose(work: Work) -> tuple[Blade, ...]:
    """Blades of the register that are on no saw and not scrapped."""
    taken = {fact.values["blade"] for fact in _on_saws(work)} | _scrapped(work)
    return tuple(blade for blade in work.saws.blades() if blade.blade not in taken)


def _reason(typed: str, where: str, what: str) -> str:
    said = " ".join(typed.split())
    if not said:
        raise ImpossibleValue("no reason was given", where=where, remedy=f"Say in a few words {what}")
    return said


def _off(facts: SawFacts, *, because: str, scrapped: bool, desk: Desk) -> Event:
    if because not in OFF_BECAUSE:
        raise ImpossibleValue(
            f"blade {facts.blade_on.values['blade']} comes off for no reason",
            where=facts.saw.saw,
            remedy=f"Say why: {', '.join(OFF_BECAUSE)}",
        )
    values = {"blade": facts.blade_on.values["blade"], "because": because, "scrapped": scrapped}
    return desk.act("blade_removed", "saw", facts.saw.saw, values=values)


def _blade(work: Work, name: str) -> Blade:
    found = next((blade for blade in work.saws.blades() if blade.blade == name), None)
    if found is None:
        raise NotFound("no such blade in the register", where=name[:80], remedy="Add it to blades.csv and load it")
    return found


def _on_saws(work: Work):
    for saw in work.saws.saws():
        fact = read_saw(work, saw, blades={}).blade_on
        if fact is not None:
            yield fact


def _where_on(work: Work, blade: str) -> str | None:
    return next((fact.event.object_id for fact in _on_saws(work) if fact.values["blade"] == blade), None)


def _scrapped(work: Work) -> set[str]:
    acts = [fact for saw in work.saws.saws() for fact in read_saw(work, saw, blades={}).acts]
    return {fact.values["blade"] for fact in acts if fact.event.kind == "blade_removed" and fact.values.get("scrapped")}


def _store(work: Work, events: list[Event], *, desk: Desk, where: str) -> None:
    record_all(work, events, clock=desk.clock, where=where)
    work.commit()
