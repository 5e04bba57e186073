"""Invented events for the ledger tests: bags of a sheet, trays, sacks, each with an id of its own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from store_yard import load, revision_of, sample, save, sheet

from trayside.app.identity import uuid7
from trayside.app.ports import LedgerEntry
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Event, moment_text

BEGUN = datetime(2031, 5, 4, 7, 30, 15, 123000, tzinfo=UTC)
VALUES = {
    "cut": {"method": "automatic saw", "side": "right"},
    "weighed": {"mass_g": 2315, "read": "scale"},
    "sealed": {"sack": "S-1"},
    "staged": {},
    "sack_sealed": {"seal": "Z-77", "bags": 12},
    "washed": {},
    "could_not_cut": {},
    "voided": {},
    "received": {"by": "laboratory desk"},
}
ROAD = ("cut", "bagged", "weighed", "sealed")
"""What happens to a bag of core that nothing goes wrong with."""


def event_id(number: int) -> str:
    milliseconds = int(BEGUN.timestamp() * 1000) + number
    return uuid7(milliseconds=milliseconds, random_bytes=number.to_bytes(10))


def act(kind: str, object_id: str, number: int, *, object_type: str = "bag", **more) -> Event:
    """One event; `number` makes its id and the moment it was captured."""
    values = VALUES.get(kind, {"tag": object_id} if kind == "bagged" else {})
    fields = {
        "event_id": event_id(number),
        "kind": kind,
        "object_type": object_type,
        "object_id": object_id,
        "person": "Ada",
        "device": "tablet 1",
        "captured_at": moment_text(BEGUN + timedelta(seconds=number)),
        "utc_offset_min": -240,
        "software": "trayside 0.1.0",
        "values": dict(values),
    }
    return Event(**(fields | more))


def road(object_id: str, start: int, **more) -> list[Event]:
    return [act(kind, object_id, start + place, **more) for place, kind in enumerate(ROAD)]


def entries(events) -> list[LedgerEntry]:
    return [LedgerEntry(event) for event in events]


def issued_sheet(work, hole_id: str, rows: tuple[SheetRow, ...]) -> None:
    """A hole with these rows on an issued sheet."""
    load(work, hole_id)
    saved = save(work, sheet(hole_id, rows))
    work.add_revision(revision_of(saved))


def samples(count: int, *, first: int = 1) -> tuple[SheetRow, ...]:
    return tuple(sample(seq, first + seq - 1) for seq in range(1, count + 1))
