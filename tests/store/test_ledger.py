"""The ledger in the store: it only grows, nothing is in it twice, and whatever is touched behind its back is found."""

from __future__ import annotations

from dataclasses import replace

import pytest
from ledger_yard import BEGUN, act, entries, event_id, issued_sheet, road, samples
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from store_yard import control, revision_of, sample, save

from trayside.app.ports import LedgerEntry
from trayside.app.verify_ledger import export_ledger, verify_export, verify_store
from trayside.model.event import moment_text
from trayside.model.ledger_chain import GENESIS
from trayside.model.ledger_record import link
from trayside.store.work import SqlWork

NOW = moment_text(BEGUN)
LATER = "2031-05-04T09:00:00.000Z"


@pytest.fixture
def start(engine):
    return lambda *, writing=True: SqlWork(engine, writing=writing)


def append(start, events, stored_at=NOW):
    with start() as work:
        done = work.append_events(entries(events), stored_at=stored_at)
        work.commit()
    return done


def tampered(engine, *statements: str) -> None:
    """Somebody with all rights on the database, who takes the guards away first."""
    with engine.connect().execution_options(writing=True) as connection:
        if engine.dialect.name == "sqlite":
            names = connection.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'")).scalars().all()
            for name in names:
                connection.exec_driver_sql(f"DROP TRIGGER {name}")
        else:
            for table in ("events", "event_conflicts"):
                connection.exec_driver_sql(f"ALTER TABLE {table} DISABLE TRIGGER USER")
        for statement in statements:
            connection.exec_driver_sql(statement)
        connection.commit()


def whole(start, **more) -> bool:
    """Whether the ledger is whole; store and export must agree."""
    report = verify_store(start_work=start, **more)
    exported = verify_export([line.encode() for line in export_ledger(start_work=start)], **more)
    assert exported.records == report.events.records
    assert exported.whole == report.events.whole
    return report.whole


def test_events_are_chained_from_the_first_and_read_back_as_they_were(start):
    washed = act("washed", "SAW-1", 9, object_type="saw", person='Ada "é" 字')
    events = [*road("A0001", 1, hole_id="K-1", tray=1), washed]
    first = append(start, events[:2])
    rest = append(start, events[2:], LATER)
    stored = [one.stored for one in first + rest]
    assert [one.seq for one in stored] == [1, 2, 3, 4, 5]
    assert [one.event for one in stored] == events
    assert [one.prev_hash for one in stored] == [GENESIS, *(one.hash for one in stored[:-1])]
    with start(writing=False) as work:
        assert work.events_since(0, count=10) == tuple(stored)
        assert work.events_since(3, count=1) == (stored[3],)
        assert work.ledger_head().seq == 5
        assert work.ledger_head().hash == stored[-1].hash
        assert [one.stored_at for one in work.events_since(0, count=10)] == [NOW, NOW, LATER, LATER, LATER]
    assert whole(start, witness=stored[2].hash)


def test_an_empty_ledger_is_whole(start):
    with start(writing=False) as work:
        assert work.ledger_head().hash == GENESIS
        assert work.events_of_objects([("bag", "A1")]) == {}
    assert whole(start)


def test_events_are_found_by_object_tray_and_sheet(start):
    with start() as work:
        issued_sheet(work, "K-1", samples(2))
        sheet_id = work.sheet("K-1").sheet_id
        work.commit()
    one = road("A0001", 1, hole_id="K-1", tray=1, sheet_id=sheet_id, revision=1)
    two = road("A0002", 11, hole_id="K-1", tray=2, sheet_id=sheet_id, revision=1)
    other = road("A0001", 21, hole_id="K-2", tray=1)
    staged = [act("staged", "K-1/1", 31, object_type="tray", hole_id="K-1", tray=1)]
    append(start, [*one, *two, *other, *staged])
    with start(writing=False) as work:
        of = work.events_of_objects([("bag", "A0001"), ("tray", "K-1/1"), ("bag", "none")])
        assert [row.event for row in of["bag", "A0001"]] == one + other
        assert [row.event for row in of["tray", "K-1/1"]] == staged
        assert set(of) == {("bag", "A0001"), ("tray", "K-1/1")}
        assert [row.event for row in work.events_of_tray("K-1", 1)] == one + staged
        assert [row.event for row in work.events_of_sheet(sheet_id)] == one + two
        assert work.events_of_sheet("no such sheet") == ()
        assert work.events_by_id([event_id(2), event_id(99)]).keys() == {event_id(2)}


def test_the_same_event_again_comes_back_as_it_was_stored(start):
    events = road("A0001", 1)
    first = append(start, events)
    again = append(start, [*reversed(events), events[0]], LATER)
    assert {one.status for one in first} == {"stored"}
    assert {one.status for one in again} == {"already stored"}
    assert [one.stored for one in again] == [one.stored for one in [*reversed(first), first[0]]]
    assert append(start, [act("cut", "A0009", 50)] * 3)[2].status == "already stored"
    with start(writing=False) as work:
        assert work.ledger_head().seq == 5
        assert work.id_conflicts() == ()


def test_another_event_under_the_same_id_is_kept_once_and_never_replaces_the_first(start):
    first = act("weighed", "A0001", 1)
    other = act("weighed", "A0001", 1, values={"mass_g": 1, "read": "typed"})
    third = act("weighed", "A0002", 1)
    append(start, [first])
    for _ in range(3):
        done = append(start, [other, third, first, other], LATER)
        assert [one.status for one in done] == ["conflict", "conflict", "already stored", "conflict"]
        assert done[0].stored.event == first
        assert done[0].kept.event == other
    with start(writing=False) as work:
        assert work.ledger_head().seq == 1
        kept = work.id_conflicts()
        assert [one.event for one in kept] == [other, third]
        assert {one.against for one in kept} == {first.event_id}
    assert verify_store(start_work=start).conflicts.records == 2
    assert whole(start)


def test_conflicts_of_state_are_listed(start):
    with start() as work:
        marked = LedgerEntry(act("cut", "A0001", 2), "conflict", "it was cut before", event_id(1))
        work.append_events([LedgerEntry(act("cut", "A0001", 1)), marked], stored_at=NOW)
        work.commit()
    with start(writing=False) as work:
        (found,) = work.standing_conflicts()
        assert (found.event.event_id, found.why, found.against) == (event_id(2), "it was cut before", event_id(1))


GUARDED = {
    "update": "UPDATE {} SET record = record",
    "update one": "UPDATE {} SET object_id = 'A9' WHERE seq = 1",
    "delete": "DELETE FROM {}",
    "delete one": "DELETE FROM {} WHERE seq = 2",
}


@pytest.mark.parametrize("table", ["events", "event_conflicts"])
@pytest.mark.parametrize("statement", GUARDED)
def test_the_database_refuses_to_change_or_remove(engine, start, table, statement):
    append(start, road("A0001", 1))
    append(start, [act("cut", f"A000{n}", 1) for n in (2, 3)])
    with engine.connect().execution_options(writing=True) as connection:
        with pytest.raises(DBAPIError, match="only grows"):
            connection.exec_driver_sql(GUARDED[statement].format(table))
        connection.rollback()
    assert whole(start)


@pytest.mark.parametrize("table", ["events", "event_conflicts"])
def test_the_database_refuses_to_empty_or_replace(engine, backend, start, table):
    append(start, road("A0001", 1))
    append(start, [act("cut", f"A000{n}", 1) for n in (2, 3)])
    columns = "seq, event_id, kind, object_type, object_id, hole_id, tray, standing, record, prev_hash, hash"
    copied = f"SELECT {columns} FROM {table} WHERE seq = 2"
    fresh = f"SELECT {columns.replace('seq', '9', 1).replace('event_id', repr('new'), 1)} FROM {table} WHERE seq = 2"
    statements = [f"INSERT INTO {table} ({columns}) {fresh}"]
    if backend == "sqlite":
        statements += [
            f"REPLACE INTO {table} ({columns}) {copied}",
            f"INSERT OR REPLACE INTO {table} ({columns}) {copied}",
        ]
        statements += [f"UPDATE OR REPLACE {table} SET seq = 1 WHERE seq = 2"]
    else:
        update = "ON CONFLICT (seq) DO UPDATE SET object_id = 'A9'"
        statements += [f"TRUNCATE {table}", f"INSERT INTO {table} ({columns}) {copied} {update}"]
    for recursive in ("ON", "OFF") if backend == "sqlite" else ("",):
        for statement in statements:
            with engine.connect().execution_options(writing=True) as connection:
                connection.rollback()
                if recursive:
                    connection.connection.driver_connection.execute(f"PRAGMA recursive_triggers = {recursive}")
                with pytest.raises(DBAPIError, match="only grows"):
                    connection.exec_driver_sql(statement)
                connection.rollback()
                if recursive:
                    connection.connection.driver_connection.execute("PRAGMA recursive_triggers = ON")
    assert whole(start)


def test_the_database_refuses_a_row_that_does_not_follow_the_newest(engine, start):
    """A second writer with an old picture of the ledger cannot fork the chain."""
    (first,) = append(start, [act("cut", "A0001", 1)])
    columns = "seq, event_id, kind, object_type, object_id, standing, record, prev_hash, hash"
    for seq, prev_hash in ((2, GENESIS), (3, first.stored.hash), (1, GENESIS), (2, "f" * 64)):
        stored, record = link(act("cut", "A0002", 2), seq=seq, stored_at=NOW, prev_hash=prev_hash)
        values = (seq, stored.event.event_id, "cut", "bag", "A0002", "stands", record, prev_hash, stored.hash)
        places = ", ".join("?" * 9 if engine.dialect.name == "sqlite" else ["%s"] * 9)
        with engine.connect().execution_options(writing=True) as connection:
            with pytest.raises(DBAPIError):
                connection.exec_driver_sql(f"INSERT INTO events ({columns}) VALUES ({places})", values)
            connection.rollback()
    append(start, [act("cut", "A0002", 2)])
    assert whole(start)


def filled(start, count: int = 3):
    events = [one for number in range(count) for one in road(f"A{number:04d}", 10 * number + 1, hole_id="K-1", tray=1)]
    return [one.stored for one in append(start, events)]


TOUCHED = {
    "changed row": [
        "UPDATE events SET record = replace(record, '\"Ada\"', '\"Eve\"') WHERE seq = 5",
        "UPDATE events SET record = replace(record, '2031-05-04T07:30:15.123Z', '2031-05-04T07:30:15.124Z') WHERE seq = 5",
        "UPDATE events SET hash = prev_hash WHERE seq = 5",
        "UPDATE events SET prev_hash = hash WHERE seq = 5",
        "UPDATE events SET event_id = 'other' WHERE seq = 5",
        "UPDATE events SET kind = 'bagged' WHERE seq = 5",
        "UPDATE events SET object_type = 'tray' WHERE seq = 5",
        "UPDATE events SET object_id = 'A0009' WHERE seq = 5",
        "UPDATE events SET hole_id = 'K-2' WHERE seq = 5",
        "UPDATE events SET hole_id = NULL WHERE seq = 5",
        "UPDATE events SET tray = 2 WHERE seq = 5",
        "UPDATE events SET tray = NULL WHERE seq = 5",
        "UPDATE events SET standing = 'conflict' WHERE seq = 5",
    ],
    "missing row": ["DELETE FROM events WHERE seq = 5"],
}


@pytest.mark.parametrize(("kind", "statement"), [(kind, one) for kind, all_ in TOUCHED.items() for one in all_])
def test_a_touched_row_is_found_and_named(engine, start, kind, statement):
    filled(start)
    tampered(engine, statement)
    report = verify_store(start_work=start)
    assert (report.events.fault.kind, report.events.fault.seq, report.events.records) == (kind, 5, 4)


def test_a_deleted_end_is_found_by_a_hash_kept_elsewhere(engine, start):
    stored = filled(start)
    tampered(engine, "DELETE FROM events WHERE seq > 10")
    assert whole(start)
    assert not whole(start, witness=stored[-1].hash)


def test_exchanged_rows_are_found(engine, start):
    filled(start)
    swap = ("UPDATE events SET seq = {} WHERE seq = {}".format(*pair) for pair in ((99, 5), (5, 8), (8, 99)))
    tampered(engine, *swap)
    fault = verify_store(start_work=start).events.fault
    assert (fault.kind, fault.seq) == ("reordered", 5)
    assert not whole(start)


def test_a_renumbered_chain_with_a_gap_closed_is_found(engine, start):
    filled(start)
    close = [f"UPDATE events SET seq = {seq - 1} WHERE seq = {seq}" for seq in range(6, 13)]
    tampered(engine, "DELETE FROM events WHERE seq = 5", *close)
    fault = verify_store(start_work=start).events.fault
    assert (fault.kind, fault.seq) == ("reordered", 5)


def test_a_row_written_anew_with_its_hash_breaks_the_link_after_it(engine, start):
    stored = filled(start)
    one = stored[4]
    forged, record = link(act("cut", "A0001", 99), seq=5, stored_at=NOW, prev_hash=one.prev_hash)
    quoted = record.replace("'", "''")
    tampered(
        engine,
        "DELETE FROM events WHERE seq = 5",
        "INSERT INTO events (seq, event_id, kind, object_type, object_id, standing, record, prev_hash, hash) VALUES"
        f" (5, '{forged.event.event_id}', 'cut', 'bag', 'A0001', 'stands', '{quoted}', '{one.prev_hash}', '{forged.hash}')",
    )
    fault = verify_store(start_work=start).events.fault
    assert (fault.kind, fault.seq) == ("broken link", 6)


def test_a_touched_conflict_is_found_too(engine, start):
    append(start, [act("cut", "A0001", 1)])
    append(start, [act("cut", f"A000{n}", 1) for n in (2, 3)])
    tampered(engine, "DELETE FROM event_conflicts WHERE seq = 1")
    report = verify_store(start_work=start)
    assert report.events.whole
    assert not report.whole
    assert report.conflicts.fault.kind == "missing row"


def test_reading_can_go_on_after_a_fault_was_found(engine, start):
    """The check stops at the first fault; the connection must not be left in the middle of an answer."""
    filled(start, 40)
    tampered(engine, "UPDATE events SET object_id = 'A9' WHERE seq = 2")
    with start(writing=False) as work:
        links = work.chain_links("events")
        next(links)
        with pytest.raises(RuntimeError, match="still being read"):
            work.ledger_head()
        links.close()
        assert work.ledger_head().seq == 160
        assert len(list(work.chain_links("events"))) == 160
    with start(writing=False) as work:
        half_read = work.chain_links("events")
        next(half_read)
    with start(writing=False) as work:
        assert work.ledger_head().seq == 160


def test_texts_of_every_sort_survive_store_and_export(start):
    texts = [
        '"',
        "\\",
        "\\N",
        "\\t",
        "a\tb".replace("\t", "\\\\t"),
        "字 é 😀",
        "'; DROP TABLE events; --",
        "<script>",
        "%s ? :x",
    ]
    events = [
        act("could_not_cut", "A0001", number, reason=text_, person=text_, hole_id="K-1", tray=number)
        for number, text_ in enumerate(texts, 1)
    ]
    append(start, events)
    with start(writing=False) as work:
        assert [row.event for row in work.events_since(0, count=100)] == events
    assert whole(start)


def test_a_ticket_says_what_the_newest_sheet_that_carries_it_says(start):
    with start() as work:
        issued_sheet(work, "K-1", samples(3))
        work.commit()
        saved = work.sheet("K-1")
        saved = save(work, replace(saved, rows=(sample(1, 1), control(2, 7), sample(3, 3))))
        work.add_revision(revision_of(saved, 2))
        save(work, replace(work.sheet("K-1"), rows=(sample(1, 1), control(2, 7), sample(3, 8))))
        work.commit()
    with start(writing=False) as work:
        # A0008 stands on the draft alone.
        found = work.tickets(["A0001", "A0002", "A0003", "A0007", "A0008", "nothing"])
    assert {name: (one.row_kind, one.revision, one.newest) for name, one in found.items()} == {
        "A0001": ("sample", 2, 2),
        "A0002": ("sample", 1, 2),
        "A0003": ("sample", 2, 2),
        "A0007": ("standard", 2, 2),
    }
    assert {one.hole_id for one in found.values()} == {"K-1"}
