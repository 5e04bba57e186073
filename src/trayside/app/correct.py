"""Correct what the ledger holds: settle acts that contradict each other, restate a value, set an act aside, void a number.

Nothing is changed: every correction is a new event with a reason, and what was written first stays in sight.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule
from trayside.model.bag_states import MACHINES, Contradiction, Fact, ObjectState, machine_of, state_in_ledger
from trayside.model.event import Stored
from trayside.model.event_kinds import BY_NAME, OBJECT_TYPES, VERDICTS, Value

RESTATED = ("whole", "text", "code", "choice")
"""Kinds of value that can be typed anew in a form."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """An act that counts for nothing yet, and the act it contradicts, as far as that has a name."""

    stored: Stored
    against: Stored | None


@dataclass(frozen=True, slots=True)
class Act:
    """One act in the history of an object: how it stands now, its values now, and what was said to it."""

    stored: Stored
    standing: str
    """'counts', 'conflict', 'waits' or 'set aside'."""
    why: str
    values: dict[str, object]
    corrections: tuple[Stored, ...]

    @property
    def first_values(self) -> dict[str, object]:
        """What was written first, where something else holds now."""
        written = self.stored.event.values
        return {name: written.get(name) for name, value in self.values.items() if written.get(name) != value}


@dataclass(frozen=True, slots=True)
class History:
    """Everything the ledger holds of one object, in its order."""

    object_type: str
    object_id: str
    state: str
    acts: tuple[Act, ...]
    may_be_voided: bool


def open_conflicts(work: Work) -> tuple[Conflict, ...]:
    """Acts that were stored as contradictions and that nobody settled, oldest first."""
    disputed = work.standing_conflicts()
    objects = {(one.event.object_type, one.event.object_id) for one in disputed}
    histories = work.events_of_objects(objects)
    settled = {
        one.event.corrects
        for events in histories.values()
        for one in events
        if one.event.kind == "corrected" and one.event.values["verdict"] != "restated"
    }
    waiting = [one for one in disputed if one.event.event_id not in settled]
    against = work.events_by_id(one.against for one in waiting if one.against)
    return tuple(Conflict(one, against.get(one.against or "")) for one in waiting)


def object_history(work: Work, object_type: str, object_id: str) -> History:
    """The acts of one object; NotFound when the ledger knows nothing of it."""
    if object_type not in OBJECT_TYPES:
        raise NotFound("the ledger knows no such sort of thing", where=object_type[:20], remedy="Look at the bag or the tray")
    events = work.events_of_objects([(object_type, object_id)]).get((object_type, object_id), ())
    ticket = work.tickets([object_id]).get(object_id) if object_type == "bag" else None
    if not events and ticket is None:
        raise NotFound("the ledger holds nothing of it", where=object_id[:40], remedy="Look at its name again")
    stands = state_in_ledger(events, machine=machine_of(object_type, ticket.row_kind if ticket else None))
    voiding = MACHINES[stands.machine].move("voided")
    return History(
        object_type,
        object_id,
        stands.state,
        _acts(events, stands),
        voiding is not None and stands.state in voiding.from_states,
    )


def _acts(events: tuple[Stored, ...], stands: ObjectState) -> tuple[Act, ...]:
    facts: dict[str, Fact] = {fact.event.event_id: fact for fact in stands.facts}
    disputed: dict[str, Contradiction] = {one.event.event_id: one for one in stands.conflicts}
    waiting = {event.event_id for event in stands.waiting}
    said: dict[str, list[Stored]] = {}
    for one in events:
        if one.event.kind == "corrected":
            said.setdefault(one.event.corrects, []).append(one)
    acts = []
    for one in events:
        event_id = one.event.event_id
        if one.event.kind == "corrected":
            continue
        fact, conflict = facts.get(event_id), disputed.get(event_id)
        standing = "counts" if fact else "conflict" if conflict else "waits" if event_id in waiting else "set aside"
        acts.append(
            Act(
                one,
                standing,
                conflict.why if conflict else one.why if standing == "waits" else "",
                fact.values if fact else dict(one.event.values),
                tuple(said.get(event_id, ())),
            )
        )
    return tuple(acts)


def correct(
    event_id: str,
    *,
    verdict: str,
    reason: str,
    typed: Mapping[str, str] | None = None,
    desk: Desk,
    start_work: StartWork,
) -> Stored:
    """Say what becomes of an act: it stands, it is set aside, or values of it were others. Gives the act's own record.

    `typed` holds new values as they were typed; what is the same as before or empty is left as it is.
    """
    if verdict not in VERDICTS:
        raise ImpossibleValue(f"no verdict {verdict[:20]!r}", where="correction", remedy=f"One of: {', '.join(VERDICTS)}")
    why = " ".join(reason.split())
    if not why:
        raise RefusedByRule("a correction needs a reason", where="correction", remedy="Say why, in a few words")
    with start_work() as work:
        stored = work.events_by_id([event_id]).get(event_id)
        if stored is None:
            raise NotFound("there is no such act in the ledger", where="correction", remedy="Look at the list again")
        event = stored.event
        values: dict[str, object] = {"verdict": verdict}
        if verdict == "restated":
            history = object_history(work, event.object_type, event.object_id)
            now = next((act.values for act in history.acts if act.stored.event.event_id == event_id), event.values)
            changed = _changed(event.kind, now, typed or {})
            if not changed:
                raise RefusedByRule("no value was changed", where=event.kind, remedy="Type the value that is right")
            values |= changed
        correction = desk.act(
            "corrected",
            event.object_type,
            event.object_id,
            values=values,
            reason=why,
            corrects=event_id,
            hole_id=event.hole_id,
            tray=event.tray,
            sheet_id=event.sheet_id,
            revision=event.revision,
        )
        record_all(work, [correction], clock=desk.clock, where=event.object_id)
        work.commit()
    return stored


def values_to_restate(kind: str) -> tuple[Value, ...]:
    """The values of this kind of act that can be typed anew."""
    return tuple(value for value in BY_NAME[kind].values if value.kind in RESTATED)


def _changed(kind: str, now: Mapping[str, object], typed: Mapping[str, str]) -> dict[str, object]:
    changed: dict[str, object] = {}
    for value in values_to_restate(kind):
        text = " ".join(typed.get(value.name, "").split())
        if not text:
            continue
        if value.kind == "whole":
            if not text.isdecimal() or len(text) > 9:
                raise ImpossibleValue(
                    f"{text[:20]!r} is not a whole number", where=value.name, remedy="Type grams or a count, without point"
                )
            new: object = int(text)
        else:
            new = text
        if now.get(value.name) != new:
            changed[value.name] = new
    return changed


def void_number(number: str, *, reason: str, desk: Desk, start_work: StartWork) -> None:
    """The number is used for nothing any more."""
    why = " ".join(reason.split())
    if not why:
        raise RefusedByRule("a voided number needs a reason", where=number, remedy="Say why, in a few words")
    with start_work() as work:
        ticket = work.tickets([number]).get(number)
        if ticket is None:
            raise NotFound("this number stands on no issued sheet", where=number[:40], remedy="Look at the number again")
        event = desk.act("voided", "bag", number, reason=why, hole_id=ticket.hole_id, sheet_id=ticket.sheet_id)
        record_all(work, [event], clock=desk.clock, where=number)
        work.commit()
