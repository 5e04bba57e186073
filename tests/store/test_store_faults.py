"""The n-th thing asked of the database fails, for every n: afterwards all is as before, or all is done."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import event, text
from store_yard import control, digests, finding, frame, hole_tables, load, revision_of, sample, save, sheet

from trayside.errors import TraysideError
from trayside.store.connection import engine_for
from trayside.store.schema import metadata
from trayside.store.work import SqlWork


class Trap:
    """Counts what is asked of the driver, commits included, and lets the n-th fail; bulk inserts fail half-way."""

    def __init__(self) -> None:
        self.left: int | None = None

    def springs(self) -> bool:
        if self.left is None:
            return False
        self.left -= 1
        return self.left == 0


def sqlite_driver(trap: Trap) -> type[sqlite3.Connection]:
    class Cursor(sqlite3.Cursor):
        def execute(self, statement, *values):
            if trap.springs():
                raise sqlite3.OperationalError("disk I/O error")
            return super().execute(statement, *values)

        def executemany(self, statement, rows):
            if trap.springs():
                super().executemany(statement, list(rows)[: len(rows) // 2])
                raise sqlite3.OperationalError("disk I/O error")
            return super().executemany(statement, rows)

    class Connection(sqlite3.Connection):
        def cursor(self, factory=Cursor):
            return super().cursor(factory)

        def commit(self):
            if trap.springs():
                raise sqlite3.OperationalError("disk I/O error")
            super().commit()

    return Connection


def postgresql_driver(trap: Trap) -> type[psycopg.Connection]:
    class Cursor(psycopg.Cursor):
        def execute(self, *args, **more):
            if trap.springs():
                raise psycopg.OperationalError("the line broke")
            return super().execute(*args, **more)

        def executemany(self, statement, rows, **more):
            if trap.springs():
                super().executemany(statement, list(rows)[: len(rows) // 2], **more)
                raise psycopg.OperationalError("the line broke")
            return super().executemany(statement, rows, **more)

        def copy(self, *args, **more):
            if trap.springs():
                raise psycopg.OperationalError("the line broke")
            return super().copy(*args, **more)

    class Connection(psycopg.Connection):
        def __init__(self, *args, **more):
            super().__init__(*args, **more)
            self.cursor_factory = Cursor

        def commit(self):
            if trap.springs():
                raise psycopg.OperationalError("the line broke")
            super().commit()

    return Connection


@pytest.fixture
def trap() -> Trap:
    return Trap()


@pytest.fixture
def trapped_engine(database_url, backend, trap):
    engine = engine_for(database_url)
    if backend == "sqlite":
        event.listen(engine, "do_connect", lambda d, r, args, more: more.update(factory=sqlite_driver(trap)))
    else:
        connect = postgresql_driver(trap).connect
        event.listen(engine, "do_connect", lambda d, r, args, more: connect(*args, **more))
    yield engine
    engine.dispose()


def contents(engine) -> dict[str, list]:
    with engine.connect() as connection:
        return {
            name: sorted(map(repr, map(tuple, connection.execute(text(f"SELECT * FROM {name}")))))
            for name in metadata.tables
        }


ROWS = (sample(1, 1), control(2, 2), sample(3, 3), sample(4, 4))


def first_load(work) -> None:
    load(work, "K-1", "K-2")
    tickets = [{"book": "1", "prefix": "A", "first": 1, "last": 99, "digits": 4}]
    work.replace_shared("tickets", frame("tickets", tickets), "one")
    work.set_rules("yard = 'x'")
    work.replace_findings("K-1", [finding("run.gap", "stop", "K-1"), finding("rock.gap", "warn", "K-1")])
    work.replace_findings(None, [finding("stock.low"), finding("number.short", "stop", "K-2")])


def second_load(work) -> None:
    work.replace_holes(hole_tables("K-1", "K-3", runs=2), digests("K-1", "K-3", of="second"))
    work.replace_findings("K-1", [])


def plan(work) -> None:
    save(work, sheet("K-1", ROWS))


def plan_two(work) -> None:
    save(work, replace(work.sheet("K-1"), rows=(*ROWS[:2], sample(3, 5))))
    save(work, sheet("K-2", (sample(1, 4), control(2, 6, "BL-1"))))


def issue(work) -> None:
    work.add_revision(revision_of(work.sheet("K-1"), 1))


def change_and_issue_again(work) -> None:
    saved = save(work, replace(work.sheet("K-1"), rows=(ROWS[0], sample(2, 7))))
    work.add_revision(revision_of(saved, 2, rows=saved.rows))


def done(engine, act) -> None:
    with SqlWork(engine) as work:
        act(work)
        work.commit()


def test_whatever_fails_nothing_is_half_stored(trapped_engine, trap):
    for act in (first_load, second_load, plan, plan_two, issue, change_and_issue_again):
        before = contents(trapped_engine)
        nth = 0
        while True:
            nth += 1
            trap.left = nth
            try:
                done(trapped_engine, act)
            except TraysideError as error:
                failure = str(error)
            else:
                break
            finally:
                unused, trap.left = trap.left, None
            assert unused <= 0, "only the trap may fail"
            assert "nothing was stored" in failure
            assert contents(trapped_engine) == before, (act.__name__, nth)
        assert unused > 0, "the act must have ended before the trap sprang"
        assert nth > 10, "every act asks several things of the database"
        assert contents(trapped_engine) != before


KILLED = """
    import os, signal, sys
    sys.path.insert(0, {folder!r})
    from sqlalchemy import event
    import test_store_faults as t
    from trayside.store.connection import engine_for

    engine = engine_for({url!r})
    left = {nth}
    def count(*_):
        global left
        left -= 1
        if not left:
            os.kill(os.getpid(), signal.SIGKILL)
    event.listen(engine, "before_cursor_execute", count)
    event.listen(engine, "commit", count)
    with t.SqlWork(engine) as work:
        t.plan_two(work)
        t.issue(work)
        work.commit()
"""


@pytest.mark.slow
@pytest.mark.parametrize("nth", [3, 9, 17, 26, 35])
def test_a_program_killed_in_the_middle_leaves_the_store_as_it_was(engine, database_url, nth):
    for act in (first_load, plan):
        done(engine, act)
    before = contents(engine)
    program = textwrap.dedent(KILLED).format(folder=str(Path(__file__).parent), url=database_url, nth=nth)
    ended = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=50, env=os.environ)
    assert ended.returncode == -signal.SIGKILL, ended.stderr
    assert contents(engine) == before
    for act in (plan_two, issue):
        done(engine, act)
    assert contents(engine) != before
