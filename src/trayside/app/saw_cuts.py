"""What a saw cut: each cut that counts, joined to its row of the sheet; metres, square metres, and minutes where they show."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trayside.app.ports import Work
from trayside.core.cutting_time import sawn_area
from trayside.model.bag_states import state_in_ledger
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Event, moment
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.rules import Rules, SawRockClass
from trayside.model.saw import Need, need_of

from .saw_state import SawFacts, judged, period_start


@dataclass(frozen=True, slots=True)
class SawCut:
    """One cut: what was sawn, and how long it took. `minutes` is None where nothing tells it; `timed` when it was measured.

    A duplicate out of a half that is sawn already adds no core length, only the face of its own cut.
    """

    number: str
    hole_id: str
    tray: int | None
    at: str
    operator: str
    device: str
    rock_class: str
    core_diameter_mm: float
    metres: float
    area_m2: float
    minutes: float | None
    timed: bool = False


def class_of(rock: str | None, rules: Rules) -> SawRockClass:
    """The class of rocks that wear a blade as this one does."""
    return next((one for one in rules.saws.classes if rock in one.rocks), rules.saws.other_rock)


def saw_need(row: SheetRow, rules: Rules) -> Need:
    """Which saw a row of the sheet asks for; controls ask for none."""
    if not row.is_core:
        return ""
    return need_of(row.method, row.portion, kinds=rules.saws.method_saws, without_saw=rules.saws.methods_without_saw)


def sawn_of(row: SheetRow, *, core_diameter_mm: float, rules: Rules) -> tuple[float, float]:
    """Metres of core halved for a row, and square metres sawn; nothing where the row is not sawn."""
    if saw_need(row, rules) in ("", "splitter") or row.from_mm is None or row.to_mm is None:
        return 0.0, 0.0
    length_mm = row.to_mm - row.from_mm if row.recovered_mm is None else row.recovered_mm
    metres = max(0, length_mm) / 1000.0
    half = sawn_area(core_diameter_mm=core_diameter_mm, metres=metres)
    quarter = sawn_area(core_diameter_mm=core_diameter_mm, metres=metres, cut="quarter")
    if row.kind == "duplicate":
        return 0.0, quarter - half if row.duplicate_type == "half/quarter" else 0.0
    return metres, quarter if row.portion == "quarter" else half


def saw_cuts(work: Work, facts: SawFacts, *, rules: Rules, since: str = "") -> tuple[SawCut, ...]:
    """Every cut on a saw from this moment on that counts, in order of time."""
    numbers = tuple(dict.fromkeys(number for number, _ in work.saws.cut_numbers(facts.saw.saw, since=since)))
    histories = work.events_of_objects([("bag", number) for number in numbers])
    rows = rows_of(work, numbers)
    diameters = {name: size.core_diameter_mm for name, size in work.stock().core_sizes.items()}
    made: list[tuple[SheetRow, Event, dict[str, object]]] = []
    for number in numbers:
        cut = state_in_ledger(histories.get(("bag", number), ()), machine="bag").latest("cut")
        row = rows.get(number)
        if cut is None or row is None or cut.values.get("saw") != facts.saw.saw or cut.event.captured_at < since:
            continue
        made.append((row, cut.event, cut.values))
    trays = {(event.hole_id, event.tray) for _, event, _ in made if event.hole_id is not None and event.tray is not None}
    acts = _acts_by_device(work, trays)
    found_cuts = []
    for row, event, values in made:
        diameter = diameters.get(row.core_size or "")
        if diameter is None:
            continue
        metres, area = sawn_of(row, core_diameter_mm=diameter, rules=rules)
        minutes, timed = _minutes(event, values, acts, longest=rules.saws.longest_cut_min)
        found_cuts.append(
            SawCut(
                number=row.number,
                hole_id=event.hole_id or "",
                tray=event.tray,
                at=event.captured_at,
                operator=event.person,
                device=event.device,
                rock_class=class_of(row.rock, rules).name,
                core_diameter_mm=diameter,
                metres=metres,
                area_m2=area,
                minutes=minutes if area > 0.0 else None,
                timed=timed,
            )
        )
    return tuple(sorted(found_cuts, key=lambda cut: cut.at))


def rows_of(work: Work, numbers: Iterable[str]) -> dict[str, SheetRow]:
    """The row of each number on the newest revision that carries it."""
    tickets = work.tickets(numbers)
    sheets = {(ticket.hole_id, ticket.revision) for ticket in tickets.values()}
    found_rows: dict[str, SheetRow] = {}
    for hole_id, revision in sorted(sheets):
        for row in work.revision(hole_id, revision).rows:
            ticket = tickets.get(row.number)
            if ticket is not None and (ticket.hole_id, ticket.revision) == (hole_id, revision):
                found_rows[row.number] = row
    return found_rows


def _acts_by_device(work: Work, trays: Iterable[tuple[str, int]]) -> dict[str, list[str]]:
    """When each device recorded anything at these trays, in order."""
    seen: dict[str, set[str]] = {}
    for hole_id, tray in sorted(trays):
        for stored in work.events_of_tray(hole_id, tray):
            seen.setdefault(stored.event.device, set()).add(stored.event.captured_at)
    return {device: sorted(times) for device, times in seen.items()}


def _minutes(
    event: Event, values: dict[str, object], acts: dict[str, list[str]], *, longest: float
) -> tuple[float | None, bool]:
    """Minutes of one cut: as it was timed, else since the act before it on the same device, breaks left out."""
    lasted = values.get("lasted_s")
    if lasted:
        return float(lasted) / 60.0, True
    before = [at for at in acts.get(event.device, ()) if at < event.captured_at]
    if not before:
        return None, False
    minutes = (moment(event.captured_at) - moment(before[-1])).total_seconds() / 60.0
    return (minutes, False) if 0.0 < minutes <= longest else (None, False)


def cuts_while_blocked(facts: SawFacts, cuts: Iterable[SawCut], *, rules: Rules) -> tuple[Finding, ...]:
    """A finding for every cut made while its saw was not to run, by what is known of that moment now."""
    ordered = sorted(cuts, key=lambda cut: cut.at)
    cleaned = [fact.event.captured_at for fact in facts.acts if fact.event.kind == "cleaned_out"]
    findings = []
    for cut in ordered:
        at = moment(cut.at)
        known = facts.before(cut.at)
        start = period_start(known, rules=rules, now=at)
        earlier = max((one.at for one in ordered if one.at < start), default=None)
        if earlier is not None and any(earlier < clean <= cut.at for clean in cleaned):
            earlier = None
        stops = judged(known, rules=rules, now=at, last_cut=earlier).stops
        if stops:
            findings.append(
                found(
                    "saw.cut_while_blocked",
                    f"{cut.number} was cut on {facts.saw.saw}: {stops[0].what[:1].lower()}{stops[0].what[1:]}",
                    hole_id=cut.hole_id or None,
                    tray=cut.tray,
                    number=cut.number,
                    evidence={
                        "saw": facts.saw.saw,
                        "cut_at": cut.at,
                        "cut_by": cut.operator,
                        "stops": " ".join(stop.code for stop in stops),
                    },
                )
            )
    return tuple(findings)
