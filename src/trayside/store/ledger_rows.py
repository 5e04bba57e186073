"""The ledger: events put at the end of one chain, and read back by object, by place or in order.

Only a writing transaction appends, and there is one writer at a time, so the chain cannot fork. What comes under an id
that another event has already is kept in a chain of its own: nothing that was sent is lost.
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass

from sqlalchemy import Connection, Table, select

from trayside.app.ports import Appended, LedgerEntry, LedgerHead, Ticket
from trayside.model.event import Event, Stored
from trayside.model.ledger_chain import GENESIS, Link
from trayside.model.ledger_record import link, stored_event

from .bulk import insert_rows
from .saw_rows import note_cuts
from .schema import EVENT_CONFLICTS, EVENTS, SHEETS

LOOKED_UP_BY = ("event_id", "kind", "object_type", "object_id", "hole_id", "tray")
COLUMNS = ("seq", *LOOKED_UP_BY, "standing", "record", "prev_hash", "hash")
SAME_ID = "another event has this id"


def append_events(
    connection: Connection,
    entries: Sequence[LedgerEntry],
    *,
    stored_at: str,
    known: Mapping[str, Stored] | None = None,
) -> tuple[Appended, ...]:
    """Put events at the end of the chain, in this order, and say of each what became of it.

    An event that is there already comes back as it was stored. Another event under the same id is kept as a conflict
    beside the chain, once however often it is sent. `known` is what `events_by_id` said of all these ids earlier in the
    same transaction, to spare asking again.
    """
    if not entries:
        return ()
    with connection.begin_nested():
        asked = (entry.event.event_id for entry in entries)
        known = dict(known) if known is not None else events_by_id(connection, asked)
        ledger = _Pen(connection, EVENTS, stored_at)
        cuts: list[tuple[int, Event]] = []
        beside: _Pen | None = None
        kept: dict[str, list[Stored]] = {}
        answers = []
        for entry in entries:
            event = entry.event
            stored = known.get(event.event_id)
            if stored is None:
                stored = known[event.event_id] = ledger.write(entry)
                if event.kind in ("cut", "corrected"):
                    cuts.append((stored.seq, event))
                answers.append(Appended("stored", stored))
            elif stored.event == event:
                answers.append(Appended("already stored", stored))
            else:
                if event.event_id not in kept:
                    kept[event.event_id] = conflicts_of(connection, event.event_id)
                copy = next((one for one in kept[event.event_id] if one.event == event), None)
                if copy is None:
                    beside = beside or _Pen(connection, EVENT_CONFLICTS, stored_at)
                    copy = beside.write(LedgerEntry(event, "conflict", SAME_ID, event.event_id))
                    kept[event.event_id].append(copy)
                answers.append(Appended("conflict", stored, copy))
        for pen in (ledger, beside):
            if pen is not None:
                pen.put_down()
        note_cuts(connection, cuts)
    return tuple(answers)


def events_by_id(connection: Connection, event_ids: Iterable[str]) -> dict[str, Stored]:
    """Those of the ids that are in the ledger."""
    found = _named(connection, f"SELECT record, prev_hash, hash FROM {EVENTS.name} WHERE event_id {{names}}", event_ids)
    stored = (stored_event(record, prev_hash=prev_hash, own_hash=own_hash) for record, prev_hash, own_hash in found)
    return {one.event.event_id: one for one in stored}


def events_of_objects(
    connection: Connection, objects: Iterable[tuple[str, str]]
) -> dict[tuple[str, str], tuple[Stored, ...]]:
    """The events of each (object_type, object_id), in the order of the ledger; objects without any are left out."""
    wanted: dict[str, set[str]] = {}
    for object_type, object_id in objects:
        wanted.setdefault(object_type, set()).add(object_id)
    found: dict[tuple[str, str], list[Stored]] = {}
    for object_type, names in sorted(wanted.items()):
        asked = (
            f"SELECT object_id, record, prev_hash, hash FROM {EVENTS.name}"
            " WHERE object_type = {first} AND object_id {names} ORDER BY seq"
        )
        for object_id, record, prev_hash, own_hash in _named(connection, asked, names, object_type):
            stored = stored_event(record, prev_hash=prev_hash, own_hash=own_hash)
            found.setdefault((object_type, object_id), []).append(stored)
    return {name: tuple(events) for name, events in found.items()}


def events_of_tray(connection: Connection, hole_id: str, tray: int) -> tuple[Stored, ...]:
    """Everything that happened to the tray and to the bags out of it."""
    return tuple(_stored(connection, EVENTS, (EVENTS.c.hole_id == hole_id) & (EVENTS.c.tray == tray)))


def events_of_sheet(connection: Connection, sheet_id: str) -> tuple[Stored, ...]:
    """Everything that was done from this cut sheet, whatever its revision."""
    hole_id = select(SHEETS.c.hole_id).where(SHEETS.c.sheet_id == sheet_id).scalar_subquery()
    of_hole = _stored(connection, EVENTS, EVENTS.c.hole_id == hole_id)
    return tuple(stored for stored in of_hole if stored.event.sheet_id == sheet_id)


def events_since(connection: Connection, seq: int, *, count: int) -> tuple[Stored, ...]:
    """Up to `count` events that were stored after this one."""
    return tuple(_stored(connection, EVENTS, EVENTS.c.seq > seq, count=count))


def standing_conflicts(connection: Connection) -> tuple[Stored, ...]:
    """Every event that contradicted the ledger when it came, settled since or not."""
    return tuple(_stored(connection, EVENTS, EVENTS.c.standing == "conflict"))


def conflicts_of(connection: Connection, event_id: str | None = None) -> list[Stored]:
    """What was sent under an id that another event has: of one id, or all."""
    condition = EVENT_CONFLICTS.c.seq > 0 if event_id is None else EVENT_CONFLICTS.c.event_id == event_id
    return list(_stored(connection, EVENT_CONFLICTS, condition))


def ledger_head(connection: Connection, *, table: Table = EVENTS) -> LedgerHead:
    """How many events there are, and the newest hash."""
    newest = connection.exec_driver_sql(f"SELECT seq, hash FROM {table.name} ORDER BY seq DESC LIMIT 1").one_or_none()
    return LedgerHead(0, GENESIS) if newest is None else LedgerHead(newest.seq, newest.hash)


def chain_links(connection: Connection, chain: str) -> Generator[Link]:
    """The chain 'events' or 'event_conflicts' from its start. Nothing else may be asked until it is read or dropped."""
    table = {"events": EVENTS, "event_conflicts": EVENT_CONFLICTS}[chain]
    columns = ", ".join(("seq", "prev_hash", "hash", "record", *LOOKED_UP_BY, "standing"))
    wanted = f"SELECT {columns} FROM {table.name} ORDER BY seq"
    rows = _read_on_sqlite if connection.dialect.name == "sqlite" else _read_on_postgresql
    if not connection.in_transaction():
        connection.begin()
    with closing(rows(connection, wanted)) as found:
        for row in found:
            yield row[0], row[1], row[2], row[3], _fits(row), None  # a Link, without the cost of making one


def _read_on_sqlite(connection: Connection, wanted: str) -> Generator[Sequence]:
    cursor = connection.connection.cursor()
    try:
        yield from cursor.execute(wanted)
    finally:
        cursor.close()


def _read_on_postgresql(connection: Connection, wanted: str) -> Generator[Sequence]:
    """By COPY, which takes half the time of a cursor. A record holds no raw tab or line end: JSON escapes them."""
    with connection.connection.cursor() as cursor, cursor.copy(f"COPY ({wanted}) TO STDOUT") as copy:
        try:
            for line in copy:
                written = bytes(line).decode()
                row = written[:-1].split("\t")
                if "\\" in written:
                    row = [None if value == "\\N" else value.replace("\\\\", "\\") for value in row]
                row[0] = int(row[0])
                yield row
        finally:
            for _ in copy:  # whoever stops early leaves a connection that can be used
                pass


def tickets(connection: Connection, numbers: Iterable[str]) -> dict[str, Ticket]:
    """What the newest revision that carries each number says it is; numbers that were never issued are left out."""
    asked = (
        "SELECT r.number, r.kind, s.hole_id, s.sheet_id, r.revision, s.revision FROM sample_numbers n"
        " JOIN sheets s ON s.sheet_id = n.sheet_id"
        " JOIN sheet_rows r ON r.sheet_id = n.sheet_id AND r.number = n.number AND r.revision > 0"
        " WHERE n.number {names} ORDER BY r.revision"
    )
    return {row[0]: Ticket(*row) for row in _named(connection, asked, numbers)}


def known_holes(connection: Connection, hole_ids: Iterable[str]) -> set[str]:
    """Those of the names that are holes of the yard."""
    return {row[0] for row in _named(connection, "SELECT hole_id FROM holes WHERE hole_id {names}", hole_ids)}


def _named(connection: Connection, asked: str, names: Iterable[str], *first: str) -> Sequence:
    """Rows for many names in one parameter: a tap waits for these questions, and long IN (...) lists are slow to read."""
    names = sorted(set(names))
    if not names:
        return ()
    if connection.dialect.name == "sqlite":
        asked = asked.format(first="?", names="IN (SELECT value FROM json_each(?))")
        return connection.exec_driver_sql(asked, (*first, json.dumps(names))).fetchall()
    return connection.exec_driver_sql(asked.format(first="%s", names="= ANY(%s)"), (*first, names)).fetchall()


def _stored(connection: Connection, table: Table, condition, *, count: int | None = None) -> Iterator[Stored]:
    wanted = select(table.c.record, table.c.prev_hash, table.c.hash).where(condition).order_by(table.c.seq)
    for row in connection.execute(wanted if count is None else wanted.limit(count)):
        yield stored_event(row.record, prev_hash=row.prev_hash, own_hash=row.hash)


def _fits(row: Sequence) -> bool:
    """Whether the columns that are looked up by say what the record says.

    Keys stand in alphabetical order in the record, and a quotation mark inside a text is escaped there, so each of
    these stretches can only be found where it belongs.
    """
    _, _, _, record, event_id, kind, object_type, object_id, hole_id, tray, standing = row
    hole = "null" if hole_id is None else f'"{hole_id}"'
    return (
        f'"event_id":"{event_id}","hole_id":{hole},"kind":"{kind}","object_id":"{object_id}","object_type":"{object_type}"'
        in record
        and f'"standing":"{standing}","stored' in record
        and f'"tray":{"null" if tray is None else tray},"utc' in record
    )


@dataclass(slots=True)
class _Pen:
    """Writes at the end of one chain."""

    connection: Connection
    table: Table
    stored_at: str
    head: LedgerHead | None = None
    rows: list[tuple] | None = None

    def write(self, entry: LedgerEntry) -> Stored:
        if self.head is None:
            self.head, self.rows = ledger_head(self.connection, table=self.table), []
        stored, record = link(
            entry.event,
            seq=self.head.seq + 1,
            stored_at=self.stored_at,
            prev_hash=self.head.hash,
            standing=entry.standing,
            why=entry.why,
            against=entry.against,
        )
        self.head = LedgerHead(stored.seq, stored.hash)
        self.rows.append(
            (stored.seq, *_looked_up_by(entry.event), entry.standing, record, stored.prev_hash, stored.hash)
        )
        return stored

    def put_down(self) -> None:
        if self.rows:
            insert_rows(self.connection, self.table, COLUMNS, self.rows)


def _looked_up_by(event: Event) -> tuple:
    return (
        event.event_id,
        event.kind,
        event.object_type,
        event.object_id,
        event.hole_id,
        event.tray,
    )
