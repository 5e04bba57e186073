"""Record what happened on the floor: each event into the ledger once, whatever came before, with what became of it.

Only what cannot be read is refused. An act that contradicts the ledger happened all the same, so it is stored, marked
as a conflict with both sides named, and counts for nothing until a person settles it with a 'corrected' event.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from trayside.app.ports import Appended, Clock, LedgerEntry, StartWork, Ticket, Work
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.bag_states import Contradiction, machine_of, spoken_moment, state_after
from trayside.model.event import Event, Stored, check_correction, checked_event, event_fields, moment, moment_text

MOST_EVENTS = 5_000
CLOCK_AHEAD = timedelta(minutes=5)
WITHOUT_STATES = ("saw", "blade", "hole")
"""Nothing that happens to these depends on what happened before; their long histories are not read."""

Status = Literal["stored", "already stored", "refused", "conflict"]
SETTLE = "Look at both, then settle it with a correction: it stands, or it is set aside"


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of one event, in the order they were sent.

    'stored' and 'already stored' are safe in the ledger. 'conflict' is kept too, but waits for a person. 'refused' is
    not kept: the device holds on to it and shows `why` and `remedy`. `seq` and `hash` tell its place in the chain.
    """

    event_id: str | None
    status: Status
    seq: int | None = None
    hash: str | None = None
    standing: str | None = None
    why: str = ""
    remedy: str = ""
    against: str | None = None


def record(events: Iterable[object], *, start_work: StartWork, clock: Clock) -> tuple[Recorded, ...]:
    """Store the events of one device in one transaction; each is an `Event` or the JSON object of one."""
    answers, fit = _read(list(events))
    if fit:
        with start_work() as work:
            _store(work, fit, answers, now=clock())
            work.commit()
    return tuple(answers)


def record_in(work: Work, events: Iterable[object], *, clock: Clock) -> tuple[Recorded, ...]:
    """The same inside a transaction that stores more than events; the caller commits."""
    answers, fit = _read(list(events))
    if fit:
        _store(work, fit, answers, now=clock())
    return tuple(answers)


def _read(sent: list[object]) -> tuple[list[Recorded | None], list[tuple[int, Event]]]:
    """An answer for each that cannot be read, and those that can with their place among the sent."""
    if len(sent) > MOST_EVENTS:
        raise RefusedByRule(
            f"{len(sent)} events at once", where="ledger", remedy=f"Send at most {MOST_EVENTS}, then the next"
        )
    answers: list[Recorded | None] = [None] * len(sent)
    fit: list[tuple[int, Event]] = []
    for place, raw in enumerate(sent):
        try:
            fit.append((place, checked_event(event_fields(raw) if isinstance(raw, Event) else raw)))
        except (ImpossibleValue, RefusedByRule) as error:
            answers[place] = _refused(_id_of(raw), error)
    return answers, fit


def _store(work: Work, fit: list[tuple[int, Event]], answers: list[Recorded | None], *, now: datetime) -> None:
    floor = _Floor.of(work, [event for _, event in fit])
    places, entries = [], []
    for place, event in fit:
        try:
            entries.append(floor.entry(event))
            places.append(place)
        except (ImpossibleValue, RefusedByRule) as error:
            answers[place] = _refused(event.event_id, error)
    done = work.append_events(entries, stored_at=moment_text(now), known=floor.in_ledger)
    _turn_numbers(work, floor, [appended.stored for appended in done if appended.status == "stored"])
    for place, appended in zip(places, done, strict=True):
        answers[place] = _answer(appended, now)


def _turn_numbers(work: Work, floor: _Floor, stored: Sequence[Stored]) -> None:
    """Numbers of the yard follow the ledger: void once an act says so, back when that act is set aside."""
    new: dict[str, list[Event]] = {}
    for one in stored:
        if one.event.object_type == "bag" and one.event.kind in ("voided", "corrected"):
            new.setdefault(one.event.object_id, []).append(one.event)
    voided, restored = set(), set()
    for number, acts in new.items():
        history = floor.histories[("bag", number)]
        voidings = {event.event_id for event in history if event.kind == "voided"}
        if not any(voidings & {act.event_id, act.corrects} for act in acts):
            continue
        ticket = floor.tickets.get(number)
        machine = machine_of("bag", ticket.row_kind if ticket else None)
        if state_after(history, machine=machine, disputed=floor.disputed).state == "void":
            voided.add(number)
        elif ticket is not None and ticket.revision == ticket.newest:
            restored.add(number)
    work.void_numbers(sorted(voided))
    work.restore_numbers(sorted(restored))


@dataclass(slots=True)
class _Floor:
    """What the ledger and the sheets say of the objects these events are about, kept up as the events are taken."""

    in_ledger: dict[str, Stored]
    known: dict[str, Event]
    histories: dict[tuple[str, str], list[Event]]
    disputed: dict[str, Contradiction]
    tickets: dict[str, Ticket]
    holes: set[str]

    @classmethod
    def of(cls, work: Work, events: Sequence[Event]) -> _Floor:
        objects = {(one.object_type, one.object_id) for one in events if one.object_type not in WITHOUT_STATES}
        objects |= {("sack", sack) for one in events if (sack := _sack_of(one)) is not None}
        histories = work.events_of_objects(objects)
        ids = {one.event_id for one in events} | {one.corrects for one in events if one.corrects is not None}
        in_ledger = work.events_by_id(ids)
        stored = [row for rows in histories.values() for row in rows]
        tickets = work.tickets(one.object_id for one in events if one.object_type == "bag")
        holes = {ticket.hole_id for ticket in tickets.values()}
        unsure = {one.hole_id for one in events if one.hole_id is not None} - holes
        return cls(
            in_ledger=in_ledger,
            known={name: row.event for name, row in in_ledger.items()},
            histories={name: [row.event for row in rows] for name, rows in histories.items()},
            disputed={
                row.event.event_id: Contradiction(row.event, row.why, row.against)
                for row in stored
                if row.standing == "conflict"
            },
            tickets=tickets,
            holes=holes | work.known_holes(unsure),
        )

    def entry(self, event: Event) -> LedgerEntry:
        """How the event stands against everything before it; an error only for a correction that fits nothing."""
        if event.event_id in self.known:
            return LedgerEntry(event)  # sent before: the ledger compares it with what it holds
        name = (event.object_type, event.object_id)
        if event.kind == "corrected":
            self._check_correction(event)
            entry = LedgerEntry(event)
        elif against_paper := self._against_paper(event):
            entry = LedgerEntry(event, "conflict", against_paper)
        elif shut := self._against_sack(event):
            entry = shut
        elif event.object_type in WITHOUT_STATES:
            entry = LedgerEntry(event)
        else:
            entry = self._by_state(event, name)
        if entry.standing == "conflict":
            self.disputed[event.event_id] = Contradiction(event, entry.why, entry.against)
        self.known[event.event_id] = event
        self.histories.setdefault(name, []).append(event)
        return entry

    def _by_state(self, event: Event, name: tuple[str, str]) -> LedgerEntry:
        ticket = self.tickets.get(event.object_id) if event.object_type == "bag" else None
        machine = machine_of(event.object_type, ticket.row_kind if ticket else None)
        history = self.histories.get(name, [])
        after = state_after([*history, event], machine=machine, disputed=self.disputed)
        if after.conflicts and after.conflicts[-1].event is event:
            found = after.conflicts[-1]
            return LedgerEntry(event, "conflict", found.why, found.against)
        if any(one is event for one in after.waiting):
            return LedgerEntry(event, "waits", f"it is {after.state}: an act before this one is not here yet")
        return LedgerEntry(event)

    def _against_sack(self, event: Event) -> LedgerEntry | None:
        """No bag goes into a sack that was closed before."""
        sack = _sack_of(event)
        if sack is None:
            return None
        state = state_after(self.histories.get(("sack", sack), ()), machine="sack", disputed=self.disputed)
        if state.state == "open":
            return None
        closed = state.latest("sack_sealed")
        said = f"sack {sack} was closed before"
        if closed is None:
            return LedgerEntry(event, "conflict", said)
        by = f" (by {closed.event.person} on {closed.event.device}, {spoken_moment(closed.event.captured_at)})"
        return LedgerEntry(event, "conflict", said + by, closed.event.event_id)

    def _check_correction(self, event: Event) -> None:
        corrected = self.known.get(event.corrects)
        if corrected is None:
            raise RefusedByRule(
                "the event it corrects is not in the ledger",
                where=f"event {event.event_id}",
                remedy="Send that event first, then its correction",
            )
        check_correction(event, corrected)

    def _against_paper(self, event: Event) -> str:
        """What the issued sheets and the yard say against the event, in words; '' when nothing."""
        if event.hole_id is not None and event.hole_id not in self.holes:
            return f"there is no hole {event.hole_id} in the yard"
        if event.kind == "tray_closed" and event.values["bags"] != event.values["tickets"]:
            return f"{event.values['bags']} bags and {event.values['tickets']} tickets were counted"
        if event.object_type != "bag":
            return ""
        ticket = self.tickets.get(event.object_id)
        if ticket is None:
            return f"number {event.object_id} stands on no issued sheet"
        if event.hole_id not in (None, ticket.hole_id):
            return f"number {event.object_id} belongs to hole {ticket.hole_id}, not to {event.hole_id}"
        if ticket.revision != ticket.newest and event.kind != "voided":
            return (
                f"number {event.object_id} was withdrawn: revision {ticket.newest} of {ticket.hole_id} has it no more"
            )
        if event.kind == "bagged" and event.values["tag"] != event.object_id:
            return f"the tag says {event.values['tag']}, the bag is {event.object_id}"
        return ""


def _sack_of(event: Event) -> str | None:
    """The sack a bag is put into."""
    sack = event.values.get("sack") if event.kind == "sealed" else None
    return sack if isinstance(sack, str) else None


def _answer(appended: Appended, now: datetime) -> Recorded:
    stored = appended.stored
    place = {"event_id": stored.event.event_id, "seq": stored.seq, "hash": stored.hash, "standing": stored.standing}
    if appended.status == "conflict":
        why = f"another event has this id ({stored.event.kind} of {stored.event.object_type} {stored.event.object_id})"
        remedy = "Both are kept. Tell the person in charge: a device makes ids that are not its own"
        return Recorded(**place | {"standing": "conflict"}, status="conflict", why=why, remedy=remedy,
                        against=stored.event.event_id)  # fmt: skip
    if stored.standing == "conflict":
        status = "conflict" if appended.status == "stored" else appended.status
        return Recorded(**place, status=status, why=stored.why, remedy=SETTLE, against=stored.against)
    if stored.standing == "waits":
        return Recorded(**place, status=appended.status, why=stored.why, remedy="Send what other devices still hold")
    if moment(stored.event.captured_at) - now > CLOCK_AHEAD:
        why = f"the clock of {stored.event.device} is ahead of the server's"
        return Recorded(**place, status=appended.status, why=why, remedy="Set the clock of the device")
    return Recorded(**place, status=appended.status)


def _refused(event_id: str | None, error: TraysideError) -> Recorded:
    return Recorded(event_id, "refused", why=f"{error.where}: {error.what}", remedy=error.remedy)


def _id_of(raw: object) -> str | None:
    given = raw.event_id if isinstance(raw, Event) else raw.get("event_id") if isinstance(raw, dict) else None
    return given[:40] if isinstance(given, str) else None
