"""A full disk: said in words, nothing half stored, and everything goes in once there is room again."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import psycopg
import pytest
from ledger_yard import BEGUN, issued_sheet, road, samples
from sqlalchemy import event as sql_event
from test_store_faults import Trap

from trayside.app.record_events import record
from trayside.app.verify_ledger import verify_store
from trayside.errors import TraysideError
from trayside.model.event import event_fields
from trayside.store.connection import engine_for
from trayside.store.photo_files import PhotoFiles
from trayside.store.work import SqlWork

ON = {"hole_id": "K-1", "tray": 1}
BAGS = 300


def starter(engine):
    return lambda *, writing=True: SqlWork(engine, writing=writing)


def sheet_on(start) -> None:
    with start() as work:
        issued_sheet(work, "K-1", samples(BAGS))
        work.commit()


def bag_events(number: int) -> list[dict]:
    return [event_fields(one) for one in road(f"A{number:04d}", 10 * number, **ON)]


def send(start, number: int):
    return record(bag_events(number), start_work=start, clock=lambda: BEGUN)


def stored(start) -> list[str]:
    with start(writing=False) as work:
        return [row.event.event_id for row in work.events_since(0, count=100_000)]


def test_a_store_without_room_says_so_keeps_all_it_had_and_takes_the_rest_later(tmp_path, sqlite_template):
    import shutil

    path = shutil.copy(sqlite_template, tmp_path / "yard.sqlite")
    pages = {"most": None}

    def limit(connection, _record) -> None:
        if pages["most"] is not None:
            connection.execute(f"PRAGMA max_page_count = {pages['most']}")

    engine = engine_for(Path(path))
    sheet_on(starter(engine))
    with engine.connect() as connection:
        pages["most"] = connection.exec_driver_sql("PRAGMA page_count").scalar_one() + 30
    engine.dispose()
    small = engine_for(Path(path))
    sql_event.listen(small, "connect", limit)
    start, acknowledged = starter(small), []

    def work_on() -> None:
        for number in range(1, BAGS + 1):
            send(start, number)
            acknowledged.append(number)

    with pytest.raises(TraysideError, match="the disk is full, nothing was stored"):
        work_on()
    assert 2 < len(acknowledged) < BAGS
    with pytest.raises(TraysideError, match="the disk is full"):
        send(start, len(acknowledged) + 1)
    assert verify_store(start_work=start).whole
    assert len(stored(start)) == 4 * len(acknowledged)
    small.dispose()
    engine = engine_for(Path(path))
    start = starter(engine)
    answers = [one for number in range(1, BAGS + 1) for one in send(start, number)]  # the tablet sends all of it again
    assert sum(one.status == "stored" for one in answers) == 4 * (BAGS - len(acknowledged))
    ids = stored(start)
    assert len(ids) == len(set(ids)) == 4 * BAGS
    assert verify_store(start_work=start).whole
    engine.dispose()


FULL = """
    import resource, signal, sys
    sys.path.insert(0, {folder!r})
    from test_disk_full import send, starter
    from trayside.errors import TraysideError
    from trayside.store.connection import engine_for

    engine = engine_for({url!r})
    start = starter(engine)
    send(start, 1)
    sys.stdout.write("1\\n")
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # as on a full disk: the write fails, the program lives
    resource.setrlimit(resource.RLIMIT_FSIZE, ({most}, {most}))
    for number in range(2, 301):
        try:
            send(start, number)
        except TraysideError as error:
            sys.stdout.write(f"refused {{error}}\\n")
            break
        sys.stdout.write(f"{{number}}\\n")
        sys.stdout.flush()
"""


def test_a_file_that_may_grow_no_more_loses_nothing_that_was_said_to_be_stored(tmp_path, sqlite_template):
    """The limit is the machine's own: the file of the store, or its log, may not pass it."""
    import shutil

    path = Path(shutil.copy(sqlite_template, tmp_path / "yard.sqlite"))
    engine = engine_for(path)
    sheet_on(starter(engine))
    engine.dispose()
    most = path.stat().st_size + 60_000
    here = Path(__file__).parent
    program = f"import sys; sys.path[:0] = [{str(here.parent / 'store')!r}]\n" + textwrap.dedent(
        FULL.format(folder=str(here), url=str(path), most=most)
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=False)
    lines = done.stdout.splitlines()
    assert lines[-1].startswith("refused"), done.stderr[-2000:]
    assert "nothing was stored" in lines[-1]
    acknowledged = int(lines[-2])
    engine = engine_for(path)
    start = starter(engine)
    assert verify_store(start_work=start).whole
    ids = stored(start)
    assert len(ids) == len(set(ids)) == 4 * acknowledged
    assert {one.status for one in send(start, acknowledged + 1)} == {"stored"}
    engine.dispose()


def test_a_full_postgresql_is_told_in_the_same_words_and_nothing_is_half_stored(new_postgresql, postgresql_template):
    trap = Trap()
    engine = engine_for(new_postgresql(postgresql_template))

    class Cursor(psycopg.Cursor):
        def _check(self) -> None:
            if trap.springs():
                raise psycopg.errors.DiskFull("could not extend file: No space left on device")

        def execute(self, *args, **more):
            self._check()
            return super().execute(*args, **more)

        def executemany(self, *args, **more):
            self._check()
            return super().executemany(*args, **more)

        def copy(self, *args, **more):
            self._check()
            return super().copy(*args, **more)

    def full(connection, _record) -> None:
        connection.cursor_factory = Cursor

    sql_event.listen(engine, "connect", full)
    start = starter(engine)
    sheet_on(start)
    told: list[str] = []
    while not stored(start):
        trap.left = len(told) + 1
        try:
            send(start, 1)
        except TraysideError as error:
            told.append(str(error))
        finally:
            trap.left = None
    assert len(told) > 3
    assert all("the disk is full, nothing was stored" in one and "Make room" in one for one in told)
    assert len(stored(start)) == 4
    assert verify_store(start_work=start).whole
    engine.dispose()


def test_a_photograph_that_finds_no_room_is_refused_in_words_and_leaves_no_half_file(tmp_path):
    program = f"""
import resource, signal
from pathlib import Path
from trayside.errors import TraysideError
from trayside.store.photo_files import PhotoFiles
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
try:
    PhotoFiles(Path({str(tmp_path / "photos")!r})).keep(b"x" * 500_000)
except TraysideError as error:
    print(error)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60, check=True)
    assert "the photograph cannot be kept" in done.stdout
    assert "is it full" in done.stdout
    assert [path for path in (tmp_path / "photos").rglob("*") if path.is_file()] == []
    photos = PhotoFiles(tmp_path / "photos")
    assert photos.read(photos.keep(b"x" * 500_000)) == b"x" * 500_000


