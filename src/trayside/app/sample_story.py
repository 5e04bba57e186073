"""One number's whole story: where the core lies, what the bag weighed, who held it, what the laboratory found.

    number -> row on the newest sheet that carries it -> tray, masses, sack, load, custody
           -> lines of certificates, superseded ones too -> results, laboratory order
           -> events of its bag, first values of corrections kept
"""

from __future__ import annotations

from dataclasses import dataclass

from trayside.app.bag_views import Bag, HoleBags, hole_bags
from trayside.app.custody import Custody, custody_of
from trayside.app.hole_view import HoleView, view_hole
from trayside.app.judge_batch import judge_yard
from trayside.app.load_view import LoadedSack, LoadView, loaded_sacks
from trayside.app.mass_witness import hear_masses
from trayside.app.ports import Ticket, Work
from trayside.app.yard_rules import rules_of
from trayside.errors import NotFound
from trayside.model.assay import Certificate
from trayside.model.bag_states import ObjectState, machine_of, state_in_ledger
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Event, Stored, tray_object
from trayside.model.finding import SEVERITIES, Finding
from trayside.model.load import ReceivedLine
from trayside.model.rules import Rules

NEIGHBOURS = 3


@dataclass(frozen=True, slots=True)
class ToldEvent:
    """An event as it is told: what its values were first, and what they are now."""

    event: Event
    stored_at: str
    standing: str
    why: str
    values: tuple[tuple[str, str, str], ...]
    """Name, first value, value that holds now; the same text twice when nothing was corrected."""
    corrections: tuple[Event, ...]
    counts: bool


@dataclass(frozen=True, slots=True)
class Photograph:
    sha256: str
    view: str
    of: str
    at: str


@dataclass(frozen=True, slots=True)
class ReportedResult:
    """One result as the laboratory wrote it and as it was read. `counts` is false when something better stands."""

    element: str
    method: str
    unit: str
    raw_text: str
    value: float | None
    censor: str
    value_ppm: float | None
    counts: bool


@dataclass(frozen=True, slots=True)
class LaboratoryNeighbour:
    """A line of the certificate near this one. `kind` is the row's on the sheet, or what the laboratory calls it."""

    place: int
    number: str
    kind: str
    material: str


@dataclass(frozen=True, slots=True)
class ReportedLine:
    """One line of a certificate that names this number, with its neighbours in the laboratory's order."""

    certificate: Certificate
    place: int
    line_kind: str
    rack: str
    mass_kg: float | None
    results: tuple[ReportedResult, ...]
    neighbours: tuple[LaboratoryNeighbour, ...]


@dataclass(frozen=True, slots=True)
class Masses:
    """What a bag should weigh and what it did. `expected_kg` is by its group's density; None where there is none."""

    planned_kg: float | None
    low_kg: float | None
    high_kg: float | None
    expected_kg: float | None
    weighed_kg: float | None
    received_kg: float | None
    certificate_kg: float | None


@dataclass(frozen=True, slots=True)
class SampleStory:
    """Everything that is known of one number. Parts are None or empty where nothing was recorded."""

    number: str
    rules: Rules
    ticket: Ticket | None
    row: SheetRow | None
    tray: int | None
    hole: HoleView | None
    rows: tuple[SheetRow, ...]
    stands: ObjectState | None
    masses: Masses
    sack: LoadedSack | None
    load: LoadView | None
    received: ReceivedLine | None
    custody: Custody | None
    lines: tuple[ReportedLine, ...]
    relatives: tuple[SheetRow, ...]
    photographs: tuple[Photograph, ...]
    events: tuple[ToldEvent, ...]
    findings: tuple[Finding, ...]

    @property
    def withdrawn(self) -> bool:
        return self.ticket is not None and self.ticket.revision != self.ticket.newest

    @property
    def before_on_saw(self) -> SheetRow | None:
        """The core cut before this one on its sheet."""
        return self._core_beside(-1)

    @property
    def after_on_saw(self) -> SheetRow | None:
        return self._core_beside(1)

    def _core_beside(self, step: int) -> SheetRow | None:
        at = next((place for place, row in enumerate(self.rows) if row.number == self.number), None)
        if at is None:
            return None
        beside = self.rows[at + 1 :] if step > 0 else self.rows[:at][::-1]
        return next((row for row in beside if row.is_core), None)


def tell_sample(work: Work, number: str) -> SampleStory:
    """The story of a number; NotFound when neither a sheet nor a certificate knows it."""
    ticket = work.tickets([number]).get(number)
    lines = _reported_lines(work, number)
    if ticket is None and not lines:
        raise NotFound(
            "neither a sheet nor a certificate has this number",
            where=f"number {number[:40]}",
            remedy="Look for it on the cut sheet or on the list of batches",
        )
    view = view_hole(work, ticket.hole_id) if ticket else None
    rows = work.revision(ticket.hole_id, ticket.revision).rows if ticket else ()
    row = next((one for one in rows if one.number == number), None)
    sack, load, holes = _sack_and_load(work, number)
    bags = (holes.get(ticket.hole_id) or hole_bags(work, ticket.hole_id)) if ticket else None
    bag = next((one for one in bags.bags if one.number == number), None) if bags else None
    stored = work.events_of_objects([("bag", number)]).get(("bag", number), ())
    stands = bag.stands if bag else None
    if stands is None and row is not None:
        stands = state_in_ledger(stored, machine=machine_of("bag", row.kind))
    tray = bag.tray if bag else (row.from_place.tray if row and row.from_place else None)
    received = _received(load, number)
    expected_kg, mass_findings = _heard(work, bags, bag)
    return SampleStory(
        number=number,
        rules=rules_of(work),
        ticket=ticket,
        row=row,
        tray=tray,
        hole=view,
        rows=rows,
        stands=stands,
        masses=Masses(
            planned_kg=row.expected_kg if row else None,
            low_kg=row.low_kg if row else None,
            high_kg=row.high_kg if row else None,
            expected_kg=expected_kg,
            weighed_kg=bag.mass_g / 1000 if bag and bag.mass_g is not None else None,
            received_kg=received.mass_g / 1000 if received and received.mass_g is not None else None,
            certificate_kg=next((one.mass_kg for one in lines if one.mass_kg is not None), None),
        ),
        sack=sack,
        load=load,
        received=received,
        custody=custody_of(load) if load else None,
        lines=lines,
        relatives=_relatives(rows, row),
        photographs=_photographs(work, stored, ticket, tray, sack),
        events=_told(stored, stands),
        findings=_findings(number, view, mass_findings, load, lines, _judged(work, lines)),
    )


def _reported_lines(work: Work, number: str) -> tuple[ReportedLine, ...]:
    """Newest certificate first; superseded ones come after those that count."""
    frame = work.assays.results(numbers=[number], superseded=True)
    found = []
    for certificate_id in dict.fromkeys(frame["certificate_id"].to_list()):
        certificate = work.assays.certificate(certificate_id)
        order = work.assays.lines(certificate_id)
        kinds = work.tickets(_near(order, [line.place for line in order if line.number == number]))
        for line in order:
            if line.number == number:
                results = frame.filter((frame["certificate_id"] == certificate_id) & (frame["place"] == line.place))
                found.append(
                    ReportedLine(
                        certificate=certificate,
                        place=line.place,
                        line_kind=line.line_kind,
                        rack=line.rack,
                        mass_kg=line.mass_kg,
                        results=tuple(_result(one) for one in results.iter_rows(named=True)),
                        neighbours=tuple(
                            LaboratoryNeighbour(
                                one.place,
                                one.number or one.as_written,
                                kinds[one.number].row_kind
                                if one.line_kind == "sample" and one.number in kinds
                                else one.line_kind,
                                "",
                            )
                            for one in order
                            if abs(one.place - line.place) <= NEIGHBOURS
                        ),
                    )
                )
    return tuple(
        sorted(
            found,
            key=lambda one: (one.certificate.superseded_by is None, one.certificate.reported_at),
            reverse=True,
        )
    )


def _near(order: tuple, places: list[int]) -> list[str]:
    return [line.number for line in order if any(abs(line.place - place) <= NEIGHBOURS for place in places)]


def _result(row: dict) -> ReportedResult:
    return ReportedResult(
        element=row["element"],
        method=row["method"],
        unit=row["unit"],
        raw_text=row["raw_text"],
        value=row["value"],
        censor=row["censor"],
        value_ppm=row["value_ppm"],
        counts=bool(row["preferred"]),
    )


def _sack_and_load(
    work: Work, number: str
) -> tuple[LoadedSack | None, LoadView | None, dict[str, HoleBags]]:
    """The sack, its load without what only a whole load is judged by (masses, saws, seals elsewhere), and its holes."""
    sack_id = work.loads.sack_of([number]).get(number)
    if sack_id is None:
        return None, None, {}
    sack = work.loads.sack(sack_id)
    holes, loaded = loaded_sacks(work, [sack] if sack.load_id is None else work.loads.sacks(sack.load_id))
    own = next((one for one in loaded if one.sack_id == sack_id), None)
    if sack.load_id is None:
        return own, None, holes
    events = work.events_of_objects([("load", sack.load_id)]).get(("load", sack.load_id), ())
    load = LoadView(
        load=work.loads.load(sack.load_id),
        rules=rules_of(work),
        sacks=loaded,
        stands=state_in_ledger(events, machine="load"),
        holes=holes,
        witness={},
        receipts=work.loads.receipts(sack.load_id),
        head=work.ledger_head(),
        seals={},
    )
    return own, load, holes


def _received(load: LoadView | None, number: str) -> ReceivedLine | None:
    """The line of the laboratory's confirmed list that was taken as this number."""
    for receipt in load.receipts if load else ():
        if receipt.confirmed_at is not None:
            for line in receipt.lines:
                if receipt.taken_as.get(line.number, line.number) == number:
                    return line
    return None


def _heard(work: Work, bags: HoleBags | None, bag: Bag | None) -> tuple[float | None, tuple[Finding, ...]]:
    """What the masses of its tray say of this bag."""
    if bags is None or bag is None:
        return None, ()
    witness = hear_masses(bags.of_trays([bag.tray]), rules=rules_of(work), stock=work.stock())
    named = tuple(
        one
        for one in witness.findings
        if one.code != "mass.cannot_see"
        and (one.number == bag.number or bag.number in str(one.evidence.get("numbers", "")).split())
    )
    return witness.expected_kg.get(bag.number), named


def _relatives(rows: tuple[SheetRow, ...], row: SheetRow | None) -> tuple[SheetRow, ...]:
    """The original of a duplicate and all duplicates of the same core."""
    if row is None:
        return ()
    original = row.duplicate_of or row.number
    return tuple(
        one for one in rows if one.number != row.number and original in (one.number, one.duplicate_of)
    )


def _photographs(
    work: Work, stored: tuple[Stored, ...], ticket: Ticket | None, tray: int | None, sack: LoadedSack | None
) -> tuple[Photograph, ...]:
    """Of the bag, its tray and its sack, in the order they were taken."""
    named: list[tuple[str, tuple[Stored, ...]]] = [("bag", stored)]
    others = []
    if ticket is not None and tray is not None:
        others.append(("tray", tray_object(ticket.hole_id, tray)))
    if sack is not None:
        others.append(("sack", sack.sack_id))
    events = work.events_of_objects(others)
    named += [(kind, events.get((kind, name), ())) for kind, name in others]
    found = [
        Photograph(str(one.event.values["sha256"]), str(one.event.values["view"]), of, one.event.captured_at)
        for of, rows in named
        for one in rows
        if one.event.kind == "photo_attached"
    ]
    return tuple(sorted(found, key=lambda one: one.at))


def _told(stored: tuple[Stored, ...], stands: ObjectState | None) -> tuple[ToldEvent, ...]:
    """Every event of the bag but corrections, which are told with what they correct."""
    facts = {fact.event.event_id: fact for fact in stands.facts} if stands else {}
    corrections: dict[str, list[Event]] = {}
    for one in stored:
        if one.event.kind == "corrected" and one.event.corrects:
            corrections.setdefault(one.event.corrects, []).append(one.event)
    told = []
    for one in stored:
        event = one.event
        if event.kind == "corrected":
            continue
        fact = facts.get(event.event_id)
        now = fact.values if fact else event.values
        names = dict.fromkeys([*event.values, *now])
        told.append(
            ToldEvent(
                event=event,
                stored_at=one.stored_at,
                standing=one.standing,
                why=one.why,
                values=tuple((name, _plain(event.values.get(name)), _plain(now.get(name))) for name in names),
                corrections=tuple(corrections.get(event.event_id, ())),
                counts=fact is not None,
            )
        )
    return tuple(told)


def _plain(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ", ".join(str(one) for one in value) if isinstance(value, list | tuple) else str(value)


def _judged(work: Work, lines: tuple[ReportedLine, ...]) -> list[Finding]:
    """Findings of the batches that count and name this number."""
    batches = dict.fromkeys(
        line.certificate.certificate_id for line in lines if line.certificate.superseded_by is None
    )
    made = judge_yard(work) if batches else None
    return [
        finding for batch in batches for element in made.elements_of(batch) for finding in made.verdict(batch, element).findings
    ]


def _findings(
    number: str,
    view: HoleView | None,
    heard: tuple[Finding, ...],
    load: LoadView | None,
    lines: tuple[ReportedLine, ...],
    judged: list[Finding],
) -> tuple[Finding, ...]:
    """What any check says of this number, each once, gravest first."""
    sources = [
        *(view.findings if view else ()),
        *heard,
        *(load.load.findings if load else ()),
        *(finding for line in lines for finding in line.certificate.findings),
        *judged,
    ]
    named = {(one.code, one.message): one for one in sources if one.number == number or one in heard}
    return tuple(sorted(named.values(), key=lambda one: SEVERITIES.index(one.severity)))
