"""Whatever breaks, the ledger stays whole: nothing that was stored is lost, nothing that was sent is doubled."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import textwrap
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Barrier

import pytest
from ledger_yard import BEGUN, act, event_id, issued_sheet, road, samples
from sqlalchemy import event as sql_event
from test_store_faults import Trap, contents, postgresql_driver, sqlite_driver

from trayside.app.record_events import record
from trayside.app.verify_ledger import verify_store
from trayside.errors import TraysideError
from trayside.model.bag_states import state_in_ledger
from trayside.model.event import event_fields
from trayside.store.connection import engine_for
from trayside.store.work import SqlWork

ON = {"hole_id": "K-1", "tray": 1}


def starter(engine):
    return lambda *, writing=True: SqlWork(engine, writing=writing)


def with_sheet(start, count: int):
    with start() as work:
        issued_sheet(work, "K-1", samples(count))
        work.commit()
    return start


def send(start, events):
    return record([event_fields(one) for one in events], start_work=start, clock=lambda: BEGUN)


def stored_ids(start) -> list[str]:
    with start(writing=False) as work:
        return [row.event.event_id for row in work.events_since(0, count=1_000_000)]


def whole(start) -> bool:
    report = verify_store(start_work=start)
    return report.whole


def test_whatever_statement_fails_the_events_are_stored_together_or_not_at_all(database_url, backend):
    trap = Trap()
    engine = engine_for(database_url)
    if backend == "sqlite":
        sql_event.listen(engine, "do_connect", lambda d, r, args, more: more.update(factory=sqlite_driver(trap)))
    else:
        connect = postgresql_driver(trap).connect
        sql_event.listen(engine, "do_connect", lambda d, r, args, more: connect(*args, **more))
    start = with_sheet(starter(engine), 3)
    first, other = road("A0001", 1, **ON), act("cut", "A0002", 1, **ON)
    batches = (first, [*first[:2], other, *road("A0003", 21, **ON), act("washed", "SAW-1", 30, object_type="saw")])
    for events in batches:
        before, nth = contents(engine), 0
        while True:
            nth += 1
            trap.left = nth
            try:
                send(start, events)
            except TraysideError as error:
                failure = str(error)
            else:
                break
            finally:
                unused, trap.left = trap.left, None
            assert unused <= 0, "only the trap may fail"
            assert "nothing was stored" in failure
            assert contents(engine) == before, nth
            assert whole(start)
        assert unused > 0
        assert nth > 8, "storing asks several things of the database"
        assert contents(engine) != before
    assert whole(start)
    assert len(stored_ids(start)) == 4 + 4 + 1
    engine.dispose()


KILLED = """
    import os, sys
    sys.path.insert(0, {folder!r})
    from ledger_yard import BEGUN, road
    from trayside.app.record_events import record
    from trayside.model.event import event_fields
    from trayside.store.connection import engine_for
    from trayside.store.work import SqlWork

    engine = engine_for({url!r})
    start = lambda *, writing=True: SqlWork(engine, writing=writing)
    for number in range({first}, {last}):
        events = road(f"A{{number:04d}}", 10 * number, hole_id="K-1", tray=1)
        record([event_fields(one) for one in events], start_work=start, clock=lambda: BEGUN)
        sys.stdout.write(f"{{number}}\\n")
        sys.stdout.flush()
"""


@pytest.mark.slow
def test_a_program_killed_again_and_again_loses_nothing_it_said_was_stored(database_url):
    """Each round starts where the last acknowledged bag ended, as a tablet would: the one in between is sent again."""
    engine = engine_for(database_url)
    count = 400
    start = with_sheet(starter(engine), count)
    chance = random.Random(7)
    acknowledged, rounds, killed = 0, 0, 0
    ends = time.monotonic() + 40
    while acknowledged < count and rounds < 8 and time.monotonic() < ends:
        rounds += 1
        program = textwrap.dedent(KILLED).format(
            folder=str(Path(__file__).parents[1] / "store"), url=database_url, first=acknowledged + 1, last=count + 1
        )
        with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, text=True) as child:
            for line in child.stdout:
                acknowledged = int(line)
                if chance.random() < 0.06:
                    time.sleep(chance.random() * 0.004)  # somewhere in the middle of the next one
                    child.send_signal(signal.SIGKILL)
                    killed += 1
                    break
            last_words = child.stdout.read().split()
        if last_words:
            acknowledged = int(last_words[-1])
        assert whole(start)
        ids = stored_ids(start)
        assert len(ids) == len(set(ids))
        said = {event_id(10 * number + place) for number in range(1, acknowledged + 1) for place in range(4)}
        assert said <= set(ids), "everything acknowledged is there"
        assert len(ids) - len(said) in (0, 4), "a bag is stored with all four events or with none"
    assert killed >= 3
    print(f"killed {killed} times, {4 * acknowledged} events acknowledged, lost 0, doubled 0")
    engine.dispose()


def test_duplicated_reordered_and_replayed_batches_end_in_the_same_ledger_states(engine):
    count = 12
    start = with_sheet(starter(engine), count)
    events = [one for number in range(1, count + 1) for one in road(f"A{number:04d}", 10 * number, **ON)]
    chance = random.Random(11)
    sent = [*events, *chance.sample(events, 20), *events[:8]]
    chance.shuffle(sent)
    answers = []
    while sent:
        size = chance.randint(1, 9)
        batch, sent = sent[:size], sent[size:]
        answers += send(start, batch)
        if chance.random() < 0.4:
            answers += send(start, batch)  # the answer got lost, so the tablet sends all of it again
    assert {one.status for one in answers} == {"stored", "already stored"}
    assert sum(one.status == "stored" for one in answers) == len(events)
    assert sorted(stored_ids(start)) == sorted(one.event_id for one in events)
    with start(writing=False) as work:
        for number in range(1, count + 1):
            name = ("bag", f"A{number:04d}")
            state = state_in_ledger(work.events_of_objects([name])[name], machine="bag")
            assert (state.state, state.waiting, state.conflicts) == ("sealed", (), ())
    assert whole(start)


TABLETS, EACH, AT_ONCE = 20, 500, 25


@pytest.mark.slow
def test_twenty_tablets_at_once_store_every_event_once(database_url, backend, capsys):
    """Each tablet sends its 500 events in small batches, every fourth batch twice, on a connection of its own."""
    engine = engine_for(database_url)
    bags = TABLETS * EACH // 4
    start = with_sheet(starter(engine), bags)
    gate = Barrier(TABLETS)

    def tablet(place: int) -> list:
        mine = engine_for(database_url)
        first = place * (EACH // 4) + 1
        events = [
            one
            for number in range(first, first + EACH // 4)
            for one in road(f"A{number:04d}", 10 * number, device=f"tablet {place}", **ON)
        ]
        gate.wait()
        answers = []
        for batch_number, begin in enumerate(range(0, EACH, AT_ONCE)):
            for _ in range(2 if batch_number % 4 == 0 else 1):
                answers += send(starter(mine), events[begin : begin + AT_ONCE])
        mine.dispose()
        return answers

    begun = time.perf_counter()
    with ThreadPoolExecutor(TABLETS) as tablets:
        answers = [one for answer in tablets.map(tablet, range(TABLETS)) for one in answer]
    took_s = time.perf_counter() - begun
    ids = stored_ids(start)
    expected = {event_id(10 * number + place) for number in range(1, bags + 1) for place in range(4)}
    lost, doubled = len(expected - set(ids)), len(ids) - len(set(ids))
    with capsys.disabled():
        print(
            f"\n{backend}: {len(answers)} events sent by {TABLETS} tablets in {took_s:.1f} s, {len(ids)} stored once, "
            f"lost {lost}, doubled {doubled}"
        )
    assert (lost, doubled, len(ids)) == (0, 0, TABLETS * EACH)
    assert sum(one.status == "stored" for one in answers) == TABLETS * EACH
    assert {one.status for one in answers} == {"stored", "already stored"}
    assert sorted({one.seq for one in answers}) == list(range(1, TABLETS * EACH + 1))
    assert whole(start)
    engine.dispose()
