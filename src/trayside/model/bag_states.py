"""What may follow what: the states of a bag, a control, a tray, a sack and a load, and the moves between them.

A state is never stored. It is read off the events of the object, in the order of the ledger, by `state_after`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache

from trayside.model.event import Event, Stored

CONTROL_ROWS = ("standard", "blank")


@dataclass(frozen=True, slots=True)
class Move:
    """An act that may happen in these states, and the state it leads to; None leaves the state as it is.

    In the states of `late_in` it still counts if none of its kind did before, and leaves the state as it is: an act that
    could be left out happened in time, and only its event comes late.
    """

    kind: str
    from_states: tuple[str, ...]
    to: str | None = None
    late_in: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Machine:
    """The states of one sort of object, first to last, and all moves it knows."""

    name: str
    object_type: str
    states: tuple[str, ...]
    moves: tuple[Move, ...]

    def move(self, kind: str) -> Move | None:
        return next((move for move in self.moves if move.kind == kind), None)


BAG_STATES = ("planned", "not cut", "cut", "bagged", "weighed", "sealed", "received", "void")
PAST_CUT = BAG_STATES[2:-1]
CONTROL_STATES = ("planned", "inserted", "weighed", "sealed", "received", "void")
TRAY_STATES = ("waiting", "staged", "closed", "racked")
SACK_STATES = ("open", "sealed", "loaded", "received")
SAW_ACTS = (
    "washed", "flush_cut", "blade_fitted", "blade_removed", "blade_dressed", "water_checked", "water_changed",
    "sump_cleaned", "cleaned_out", "prestart_signed", "tagged_out", "released", "photo_attached",
)  # fmt: skip
"""A saw has no road to go along: whether it may run is read off its acts and the day by `app.saw_state`."""
LOAD_STATES = ("open", "on the road", "received")

MACHINES: dict[str, Machine] = {
    machine.name: machine
    for machine in (
        Machine(
            "bag",
            "bag",
            BAG_STATES,
            (
                Move("could_not_cut", ("planned", "not cut"), "not cut", PAST_CUT),
                Move("cut", ("planned", "not cut"), "cut"),
                Move("bagged", ("cut",), "bagged"),
                Move("weighed", ("bagged",), "weighed", ("sealed", "received")),
                Move("sealed", ("bagged", "weighed"), "sealed"),
                Move("received", ("sealed",), "received"),
                Move("voided", ("planned", "not cut", "cut", "bagged", "weighed", "sealed"), "void"),
                Move("kept_half_returned", ("cut", "bagged", "weighed", "sealed", "received", "void")),
                Move("photo_attached", BAG_STATES),
            ),
        ),
        Machine(
            "control",
            "bag",
            CONTROL_STATES,
            (
                Move("inserted", ("planned",), "inserted"),
                Move("weighed", ("inserted",), "weighed", ("sealed", "received")),
                Move("sealed", ("inserted", "weighed"), "sealed"),
                Move("received", ("sealed",), "received"),
                Move("voided", ("planned", "inserted", "weighed", "sealed"), "void"),
                Move("photo_attached", CONTROL_STATES),
            ),
        ),
        Machine(
            "tray",
            "tray",
            TRAY_STATES,
            (
                Move("staged", ("waiting", "staged"), "staged"),
                Move("tray_closed", ("staged",), "closed"),
                Move("rack_placed", ("closed", "racked"), "racked"),
                Move("cut_line_read", TRAY_STATES),
                Move("photo_attached", TRAY_STATES),
            ),
        ),
        Machine(
            "sack",
            "sack",
            SACK_STATES,
            (
                Move("sack_sealed", ("open",), "sealed"),
                Move("loaded", ("sealed",), "loaded"),
                Move("received", ("loaded",), "received"),
                Move("weighed", ("open", "sealed", "loaded")),
                Move("photo_attached", SACK_STATES),
            ),
        ),
        Machine(
            "load",
            "load",
            LOAD_STATES,
            (
                Move("handed_over", ("open", "on the road"), "on the road"),
                Move("received", ("on the road",), "received"),
                Move("photo_attached", LOAD_STATES),
            ),
        ),
        Machine(
            "saw",
            "saw",
            ("in use",),
            tuple(Move(kind, ("in use",)) for kind in SAW_ACTS),
        ),
        Machine(
            "blade",
            "blade",
            ("in use",),
            (Move("height_measured", ("in use",)), Move("photo_attached", ("in use",))),
        ),
        Machine(
            "certificate",
            "certificate",
            ("reported",),
            (Move("verdict_signed", ("reported",)), Move("photo_attached", ("reported",))),
        ),
        Machine(
            "hole",
            "hole",
            ("kept",),
            (Move("piece_taken", ("kept",)), Move("cut_line_set", ("kept",)), Move("photo_attached", ("kept",))),
        ),
    )
}


@dataclass(frozen=True, slots=True)
class Fact:
    """An act that counts. `values` are those that hold now; what was first written stays in `event.values`."""

    event: Event
    values: dict[str, object]
    corrections: tuple[Event, ...] = ()


@dataclass(frozen=True, slots=True)
class Contradiction:
    """An act that contradicts the others and waits for a person: why in words, and against which event."""

    event: Event
    why: str
    against: str | None = None


@dataclass(frozen=True, slots=True)
class ObjectState:
    """Where an object stands. Every event handed in is in exactly one of the four lists, corrections aside."""

    machine: str
    state: str
    facts: tuple[Fact, ...] = ()
    waiting: tuple[Event, ...] = ()
    conflicts: tuple[Contradiction, ...] = ()
    set_aside: tuple[Event, ...] = ()

    def latest(self, kind: str) -> Fact | None:
        """The last act of this kind that counts."""
        return next((fact for fact in reversed(self.facts) if fact.event.kind == kind), None)


def machine_of(object_type: str, row_kind: str | None = None) -> str:
    """The machine of an object; a bag whose row on the sheet is a standard or a blank is a control."""
    return "control" if object_type == "bag" and row_kind in CONTROL_ROWS else object_type


def state_after(
    events: Iterable[Event], *, machine: str, disputed: Mapping[str, Contradiction] | None = None
) -> ObjectState:
    """Where the object stands after its events, given in the order of the ledger.

    An act whose forerunner is missing waits, and is tried again after each act that counts: two tablets may send in
    any order. An act that can no more be, or that is disputed, counts for nothing until a 'corrected' event says that
    it stands. Then it counts, but it never takes the object back to an earlier state.
    """
    known = tuple(events)
    corrections: dict[str, list[Event]] = {}
    for event in known:
        if event.kind == "corrected":
            corrections.setdefault(event.corrects, []).append(event)
    fold = _Fold(MACHINES[machine], corrections, disputed or {})
    for event in known:
        if event.kind != "corrected":
            fold.take(event)
    return ObjectState(
        machine,
        fold.state,
        tuple(fold.facts),
        tuple(fold.waiting),
        tuple(fold.conflicts),
        tuple(fold.set_aside),
    )


def state_in_ledger(stored: Iterable[Stored], *, machine: str) -> ObjectState:
    """Where the object stands by the ledger: what was stored as a conflict stays one until it is settled."""
    rows = tuple(stored)
    disputed = {
        row.event.event_id: Contradiction(row.event, row.why, row.against) for row in rows if row.standing == "conflict"
    }
    return state_after((row.event for row in rows), machine=machine, disputed=disputed)


@dataclass(slots=True)
class _Fold:
    machine: Machine
    corrections: dict[str, list[Event]]
    disputed: Mapping[str, Contradiction]
    state: str = ""
    facts: list[Fact] = field(default_factory=list)
    waiting: list[Event] = field(default_factory=list)
    conflicts: list[Contradiction] = field(default_factory=list)
    set_aside: list[Event] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.state = self.machine.states[0]

    def take(self, event: Event) -> None:
        verdict = _verdict(self.corrections.get(event.event_id, ()))
        move = self.machine.move(event.kind)
        if verdict == "set_aside":
            self.set_aside.append(event)
        elif verdict == "stands":
            self._count(event, move)
        elif event.event_id in self.disputed:
            self.conflicts.append(self.disputed[event.event_id])
        elif move is None:
            self.conflicts.append(Contradiction(event, f"a {self.machine.name} is never {_spoken(event.kind)}"))
        elif self.state in move.from_states or (self.state in move.late_in and not self._happened(event.kind)):
            self._count(event, move)
        elif _can_still(self.machine.name, self.state, event.kind):
            self.waiting.append(event)
        else:
            self.conflicts.append(self._contradiction(event, move))

    def _count(self, event: Event, move: Move | None) -> None:
        after = tuple(self.corrections.get(event.event_id, ()))
        values = dict(event.values)
        for correction in after:
            values |= {name: value for name, value in correction.values.items() if name != "verdict"}
        self.facts.append(Fact(event, values, after))
        in_time = move is not None and self.state not in move.late_in
        if in_time and move.to is not None and move.to in _ahead(self.machine.name, self.state):
            self.state = move.to
            waiting, self.waiting = self.waiting, []
            for earlier in waiting:
                self.take(earlier)

    def _happened(self, kind: str) -> bool:
        return any(fact.event.kind == kind for fact in self.facts)

    def _contradiction(self, event: Event, move: Move) -> Contradiction:
        moved = [fact.event for fact in self.facts if (self.machine.move(fact.event.kind) or move).to is not None]
        same = [fact.event for fact in self.facts if fact.event.kind == event.kind]
        against = (same or moved or [None])[-1]
        said = f"it is {self.state} already" if not same else f"it was {_spoken(event.kind)} before"
        if against is not None:
            said += f" (by {against.person} on {against.device}, {spoken_moment(against.captured_at)})"
        return Contradiction(event, said, against.event_id if against else None)


def _verdict(corrections: Iterable[Event]) -> str | None:
    """The last verdict on whether the act counts; restating a value says nothing about that."""
    verdicts = [one.values["verdict"] for one in corrections if one.values["verdict"] != "restated"]
    return verdicts[-1] if verdicts else None


def spoken_moment(text: str) -> str:
    """A moment of the ledger for people: to the minute, in UTC."""
    return f"{text[:10]} {text[11:16]} UTC"


def _spoken(kind: str) -> str:
    return kind.replace("_", " ")


@cache
def _ahead(machine: str, state: str) -> frozenset[str]:
    """The states that can be reached from this one, itself included."""
    reached, new = {state}, [state]
    while new:
        here = new.pop()
        for move in MACHINES[machine].moves:
            if move.to is not None and here in move.from_states and move.to not in reached:
                reached.add(move.to)
                new.append(move.to)
    return frozenset(reached)


@cache
def _can_still(machine: str, state: str, kind: str) -> bool:
    move = MACHINES[machine].move(kind)
    return move is not None and bool(_ahead(machine, state) & set(move.from_states))


def restated(fact: Fact) -> dict[str, tuple[object, object]]:
    """What was first written beside what holds now, for every value that was restated."""
    return {
        name: (fact.event.values.get(name), value)
        for name, value in fact.values.items()
        if fact.event.values.get(name) != value
    }
