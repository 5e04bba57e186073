"""What a saw cut, found by its name: written with the ledger, found in older ledgers, and read in order of time."""

import json

import pytest
from ledger_yard import act, entries
from test_store_migrations import fill, store_at

from trayside.store.saw_rows import SqlSaws
from trayside.store.upgrade import upgrade
from trayside.store.work import SqlWork

AT = "2031-05-04T08:00:00.000Z"


@pytest.fixture
def work(engine):
    with SqlWork(engine) as work:
        yield work


def cut(number: str, at: int, saw: str | None = "A-1"):
    return act("cut", number, at, values={"method": "manual saw"} | ({"saw": saw} if saw else {}))


def test_only_cuts_that_name_a_saw_are_noted_and_once(work):
    events = [cut("B1", 3), cut("B2", 1), cut("B3", 2, None), cut("B4", 4, "M-1"), act("weighed", "B1", 5)]
    for _ in range(2):  # sent again: nothing is written twice
        work.append_events(entries(events), stored_at=AT)
    assert [number for number, _ in work.saws.cut_numbers("A-1")] == ["B2", "B1"]  # by time, not by the order they came
    assert work.saws.saws_named() == ("A-1", "M-1")
    assert work.saws.cut_numbers("Z-9") == ()


def test_a_correction_that_names_another_saw_is_found_under_it(work):
    first = cut("B1", 1)
    work.append_events(entries([first]), stored_at=AT)
    said = {"verdict": "restated", "saw": "M-1"}
    restated = act("corrected", "B1", 2, values=said, reason="wrong saw on the tablet", corrects=first.event_id)
    work.append_events(entries([restated]), stored_at=AT)
    assert [number for number, _ in work.saws.cut_numbers("M-1")] == ["B1"]


def test_a_stretch_of_time_and_the_newest_few(work):
    events = [cut(f"B{number}", number) for number in range(1, 7)]
    work.append_events(entries(events), stored_at=AT)
    at = {event.object_id: event.captured_at for event in events}
    numbers = lambda **asked: [number for number, _ in work.saws.cut_numbers("A-1", **asked)]  # noqa: E731
    assert numbers(since=at["B3"]) == ["B3", "B4", "B5", "B6"]
    assert numbers(before=at["B3"]) == ["B1", "B2"]
    assert numbers(newest=2) == ["B5", "B6"]
    assert numbers(before=at["B5"], newest=2) == ["B3", "B4"]


def test_acts_of_one_saw_of_some_kinds_with_their_corrections(work):
    washed = act("washed", "A-1", 1, object_type="saw")
    fitted = act("blade_fitted", "A-1", 2, object_type="saw", values={"blade": "D-1"})
    other = act("blade_fitted", "M-1", 3, object_type="saw", values={"blade": "D-2"})
    undone = act("corrected", "A-1", 4, object_type="saw", values={"verdict": "set_aside"}, reason="x", corrects=fitted.event_id)
    work.append_events(entries([washed, fitted, other, undone]), stored_at=AT)
    found = work.saws.acts("saw", "A-1", kinds={"blade_fitted"})
    assert [one.event.kind for one in found] == ["blade_fitted", "corrected"]


def test_cuts_of_an_older_ledger_are_found_when_it_is_brought_up(empty_database_url):
    engine = store_at(empty_database_url, "0006")
    rows = []
    for seq, saw in enumerate(("A-1", None, "M-1"), start=1):
        record = json.dumps({"captured_at": moment_text_of(seq), "object_id": f"B{seq}", "values": {"saw": saw} if saw else {}})
        before = "0" * 64 if seq == 1 else f"{seq - 1:064x}"
        rows.append(
            "INSERT INTO events (seq, event_id, kind, object_type, object_id, standing, record, prev_hash, hash) VALUES"
            f" ({seq}, 'e{seq}', 'cut', 'bag', 'B{seq}', 'stands', '{record}', '{before}', '{seq:064x}')"
        )
    fill(engine, *rows)
    upgrade(engine)
    with engine.connect() as connection:
        saws = SqlSaws(connection)
        assert saws.saws_named() == ("A-1", "M-1")
        assert saws.cut_numbers("A-1") == (("B1", moment_text_of(1)),)
    engine.dispose()


def moment_text_of(seconds: int) -> str:
    return act("cut", "B", seconds).captured_at


def test_an_empty_register_is_no_register(work):
    assert work.saws.saws() == ()
    assert work.saws.blades() == ()
