"""The server is killed again and again while tablets send, some things twice, some out of order: stored once, lost nothing."""

from __future__ import annotations

import json
import random
import socket
import subprocess
import sys
import textwrap
import threading
import time
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException

import pytest
from ledger_yard import BEGUN, act, event_id, issued_sheet, road, samples

from trayside.app.record_events import record
from trayside.app.verify_ledger import verify_store
from trayside.model.event import event_fields
from trayside.store.work import SqlWork

TABLETS, EACH, AT_ONCE, KILLS = 4, 60, 8, 4
"""Tablets, bags of each, events in one sending, and how often the server is killed on the way."""
SERVER = """
    import socket, sys
    import uvicorn
    from trayside.bootstrap import clock, make_id
    from trayside.store.connection import engine_for
    from trayside.store.work import SqlWork
    from trayside.web.services import Services
    from trayside.web.site import build_site

    engine = engine_for({url!r})
    site = build_site(Services(lambda *, writing=True: SqlWork(engine, writing=writing), clock, make_id, None))
    listening = socket.socket()
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listening.bind(("127.0.0.1", {port}))
    listening.listen(64)
    uvicorn.Server(uvicorn.Config(site, log_level="critical", ws="none", lifespan="off")).run(sockets=[listening])
"""


def at_the_bench(number: str, begins: int, **more) -> list:
    """Cut, bagged, weighed, and the kept half put back."""
    return [*road(number, begins, **more)[:3], act("kept_half_returned", number, begins + 3, **more)]


class Killed:
    """A server in a program of its own that is killed without a word and started again."""

    def __init__(self, url: str) -> None:
        self.url, self.kills = url, 0
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self.process: subprocess.Popen | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        program = textwrap.dedent(SERVER).format(url=self.url, port=self.port)
        self.process = subprocess.Popen([sys.executable, "-c", program], stderr=subprocess.DEVNULL)
        until = time.monotonic() + 30
        while time.monotonic() < until:
            try:
                urllib.request.urlopen(f"{self.address}/bench/who.json", timeout=2).close()
                return
            except (OSError, HTTPException):
                time.sleep(0.05)
        raise AssertionError("the server did not start")

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()
        self.kills += 1


def sending(server: Killed, events: list[dict]) -> list[dict] | None:
    """The yard's answers; None when the line broke, whatever became of the events."""
    request = urllib.request.Request(
        f"{server.address}/bench/events",
        data=json.dumps({"events": events}).encode(),
        headers={"Content-Type": "application/json", "Accept": "application/json", "Origin": server.address},
    )
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return json.load(answer)["answers"]
    except (OSError, HTTPException, ValueError):  # killed before, while or after it answered
        return None


class Tablet(threading.Thread):
    """Holds its events until the yard has answered for each; now and then it sends some twice, or in another order."""

    def __init__(self, place: int, server: Killed, over: threading.Event) -> None:
        super().__init__()
        self.server, self.over, self.chance = server, over, random.Random(place)
        first = place * EACH + 1
        self.waiting = [
            event_fields(one)
            for number in range(first, first + EACH)
            for one in at_the_bench(f"A{number:04d}", 10 * number, device=f"tablet {place}", hole_id="K-1", tray=1)
        ]
        self.sent, self.done = 0, []
        self.answered: dict[str, str] = {}

    def run(self) -> None:
        while self.waiting and not self.over.is_set():
            batch = self.waiting[:AT_ONCE]
            if self.chance.random() < 0.2:
                self.chance.shuffle(batch)
            if self.chance.random() < 0.2:
                batch = batch + self.old()
            self.sent += len(batch)
            answers = sending(self.server, batch)
            if answers is None or self.chance.random() < 0.1:  # the answer was lost on the way back
                time.sleep(0.03)
                continue
            for one in answers:
                assert one["status"] in ("stored", "already stored"), one
                self.answered[one["event_id"]] = one["status"]
            self.done += [one for one in self.waiting if one["event_id"] in self.answered]
            self.waiting = [one for one in self.waiting if one["event_id"] not in self.answered]

    def old(self) -> list[dict]:
        """Some events of long ago once more, as a tablet whose store was copied back would send them."""
        return self.chance.sample(self.done, min(5, len(self.done)))


@pytest.mark.slow
def test_a_server_killed_while_tablets_send_stores_every_event_once(engine, database_url, backend, capsys):
    start = lambda *, writing=True: SqlWork(engine, writing=writing)  # noqa: E731
    with start() as work:
        issued_sheet(work, "K-1", samples(TABLETS * EACH))
        work.commit()
    server, over, chance = Killed(database_url), threading.Event(), random.Random(5)
    tablets = [Tablet(place, server, over) for place in range(TABLETS)]
    server.start()
    try:
        for tablet in tablets:
            tablet.start()
        until = time.monotonic() + 50
        while any(tablet.is_alive() for tablet in tablets) and time.monotonic() < until:
            time.sleep(0.003)
            answered = sum(len(tablet.answered) for tablet in tablets)
            if server.kills < KILLS and answered >= (server.kills + 1) * TABLETS * EACH * 4 // (KILLS + 1):
                time.sleep(chance.random() * 0.02)  # somewhere in the middle of what comes next
                server.kill()
                server.start()
        for tablet in tablets:
            tablet.join(timeout=20)
    finally:
        over.set()
        server.process.kill()
        server.process.wait()
        for tablet in tablets:
            tablet.join(timeout=15)
    assert not any(tablet.waiting for tablet in tablets), "every tablet got its answers in time"
    with start(writing=False) as work:
        ids = [row.event.event_id for row in work.events_since(0, count=100_000)]
    expected = {event_id(10 * number + place) for number in range(1, TABLETS * EACH + 1) for place in range(4)}
    lost, doubled = len(expected - set(ids)), len(ids) - len(set(ids))
    with capsys.disabled():
        print(
            f"\n{backend}: {sum(tablet.sent for tablet in tablets)} events sent by {TABLETS} tablets, server killed"
            f" {server.kills} times, {len(set(ids))} stored once, lost {lost}, doubled {doubled}"
        )
    assert (lost, doubled, set(ids)) == (0, 0, expected)
    assert server.kills == KILLS
    report = verify_store(start_work=start)
    assert report.whole


def test_the_same_request_many_times_at_once_is_stored_once(engine):
    """Eight tablets that were made from one copy send the same at the same moment."""
    start = lambda *, writing=True: SqlWork(engine, writing=writing)  # noqa: E731
    with start() as work:
        issued_sheet(work, "K-1", samples(3))
        work.commit()
    acts = (*road("A0001", 1, hole_id="K-1", tray=1), act("washed", "SAW-1", 30, object_type="saw"))
    events = [event_fields(one) for one in acts]
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(lambda _: record(events, start_work=start, clock=lambda: BEGUN), range(8)))
    flat = [one for answer in answers for one in answer]
    assert sum(one.status == "stored" for one in flat) == len(events)
    assert {one.status for one in flat} == {"stored", "already stored"}
    assert verify_store(start_work=start).whole
