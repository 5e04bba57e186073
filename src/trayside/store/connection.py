"""Opening a store: where it lies, how transactions begin on it, and what a failing database means in words.

One writer at a time, on both databases: two people planning at once then never choose the same numbers, and no two
transactions can wait for each other. Readers never wait and see one moment of the yard.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import psycopg
from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import URL, Connection, make_url
from sqlalchemy.exc import ArgumentError, DataError, DBAPIError, IntegrityError, ProgrammingError

from trayside.errors import TraysideError

from .upgrade import upgrade

LONGEST_WAIT_S = 30
WRITERS_LOCK = 0x7261_7953  # any number will do, as long as every Trayside uses the same


def open_store(url: str | Path) -> Engine:
    """The store at a SQLite path or a postgresql:// address, made or brought up to date where needed."""
    engine = engine_for(url)
    try:
        upgrade(engine)
    except (DBAPIError, sqlite3.Error) as error:
        engine.dispose()
        raise in_words(error, where=engine.url.render_as_string(hide_password=True)) from error
    return engine


def engine_for(url: str | Path) -> Engine:
    """The engine alone, without touching the database."""
    address = _address(url)
    if address.get_backend_name() == "sqlite":
        engine = create_engine(address, connect_args={"timeout": LONGEST_WAIT_S})
        event.listen(engine, "connect", _set_up_sqlite)
        event.listen(engine, "begin", _begin_sqlite)
    else:
        engine = create_engine(address, connect_args={"application_name": "trayside"}, pool_pre_ping=True)
        event.listen(engine, "begin", _begin_postgresql)
    return engine


def _address(url: str | Path) -> URL:
    shown = str(url)
    remedy = "Give a file path for SQLite, or postgresql://user@host/database"
    if isinstance(url, Path) or "://" not in shown:
        address = URL.create("sqlite", database=shown)
    else:
        try:
            address = make_url(shown)
        except ArgumentError:
            raise TraysideError("this is not the address of a store", where=shown, remedy=remedy) from None
    if address.get_backend_name() == "sqlite":
        if not address.database or address.database == ":memory:":
            raise TraysideError("a store in memory would be lost", where=shown, remedy="Give a file path")
        return address
    if address.drivername in ("postgresql", "postgresql+psycopg"):
        return address.set(drivername="postgresql+psycopg")
    raise TraysideError(f"{address.drivername} is not supported", where="the store's address", remedy=remedy)


def _set_up_sqlite(connection, _record) -> None:
    connection.isolation_level = None  # the driver would begin on its own, too late and without the writer's lock
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {LONGEST_WAIT_S * 1000}")
    cursor.execute("PRAGMA journal_mode = WAL")
    # FULL: with WAL, NORMAL may forget the last commits when the power fails; a printed sheet must not be forgotten.
    cursor.execute("PRAGMA synchronous = FULL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute("PRAGMA recursive_triggers = ON")  # else REPLACE would get round the triggers that guard revisions
    cursor.execute("PRAGMA cache_size = -65536")
    cursor.execute("PRAGMA journal_size_limit = 67108864")
    cursor.close()


def _writes(connection: Connection) -> bool:
    return connection.get_execution_options().get("writing", False)


def _begin_sqlite(connection: Connection) -> None:
    # A transaction that reads first and writes later fails when another wrote in between; IMMEDIATE waits at the start.
    connection.exec_driver_sql("PRAGMA query_only = 0" if _writes(connection) else "PRAGMA query_only = 1")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if _writes(connection) else "BEGIN")


def _begin_postgresql(connection: Connection) -> None:
    if _writes(connection):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{LONGEST_WAIT_S}s'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITERS_LOCK})")
    else:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


def failed_outside(error: BaseException | None) -> bool:
    """Whether the disk, the server, the line or another writer failed, and not Trayside itself."""
    ours = (IntegrityError, ProgrammingError, DataError)
    return isinstance(error, DBAPIError | psycopg.OperationalError) and not isinstance(error, ours)


def in_words(error: DBAPIError | psycopg.Error | sqlite3.Error, *, where: str = "the store") -> TraysideError:
    """What a failure of the database means to the person who meets it. Nothing was stored in any of these cases."""
    cause = error.orig if isinstance(error, DBAPIError) else error  # COPY does not go through SQLAlchemy
    said = (str(cause).strip() or type(cause).__name__).splitlines()[0]
    sqlstate = getattr(cause, "sqlstate", None)
    if "database is locked" in said or sqlstate == "55P03":
        what = f"somebody else has been writing for more than {LONGEST_WAIT_S} s, nothing was stored"
        remedy = "Wait for the long load or plan to end and do it again"
    elif "readonly" in said or sqlstate in ("25006", "42501"):
        what, remedy = f"it can only be read ({said})", "Check who may write to the store"
    elif "not a database" in said or "malformed" in said:
        what, remedy = f"this is not a sound store ({said})", "Use the newest sound copy of it"
    elif "is full" in said or sqlstate == "53100":
        what, remedy = "the disk is full, nothing was stored", "Make room and do it again"
    elif "unable to open" in said:
        what, remedy = "cannot open it", "Check that the folder exists and may be written to"
    else:
        what = f"the database failed, nothing was stored ({said})"
        remedy = "Check that the database runs and can be reached, and do it again"
    return TraysideError(what, where=where, remedy=remedy)
