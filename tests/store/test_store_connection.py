import inspect as python

import pytest
from sqlalchemy import event
from store_yard import load

from trayside.app.ports import Work
from trayside.errors import NotFound, TraysideError
from trayside.store.connection import engine_for, open_store
from trayside.store.work import SqlWork


def test_sql_work_answers_every_question_of_the_port():
    for name, asked in python.getmembers(Work, python.isfunction):
        if name.startswith("_") and name not in ("__enter__", "__exit__"):
            continue
        answer = getattr(SqlWork, name)
        if name != "__exit__":
            assert python.signature(answer) == python.signature(asked), name


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("mysql://root@nowhere/yard", "not supported"),
        ("postgresql+pg8000://nowhere/yard", "not supported"),
        ("sqlite://", "memory"),
        (":memory:", "memory"),
        ("://", "not the address"),
    ],
)
def test_an_address_that_cannot_be_a_store_is_refused(address, said):
    with pytest.raises(TraysideError, match=said):
        engine_for(address)


def test_a_path_an_address_and_postgres_without_driver_are_understood(tmp_path):
    for address in (tmp_path / "a.sqlite", str(tmp_path / "a.sqlite"), f"sqlite:///{tmp_path}/a.sqlite"):
        assert engine_for(address).url.database == str(tmp_path / "a.sqlite")
    assert engine_for("postgresql://ada@shed/yard").url.drivername == "postgresql+psycopg"


def test_a_file_that_is_no_store_is_refused_and_left_alone(tmp_path):
    path = tmp_path / "letter.txt"
    path.write_text("Dear shed lead, " * 200)
    with pytest.raises(TraysideError, match="not a sound store"):
        open_store(path)
    assert path.read_text() == "Dear shed lead, " * 200


def test_a_folder_that_is_not_there_is_said_so(tmp_path):
    with pytest.raises(TraysideError, match="cannot open it"):
        open_store(tmp_path / "no" / "yard.sqlite")


def test_a_server_that_is_not_there_is_said_so_without_the_password(tmp_path):
    with pytest.raises(TraysideError, match="database failed") as failed:
        open_store(f"postgresql://ada:secret@/yard?host={tmp_path}")
    assert "secret" not in str(failed.value)


def test_sqlite_is_set_up_to_survive_and_to_check(tmp_path):
    engine = open_store(tmp_path / "yard.sqlite")
    with engine.connect() as connection:
        settings = {name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in
                    ("journal_mode", "synchronous", "foreign_keys", "busy_timeout", "recursive_triggers")}  # fmt: skip
    assert settings == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "busy_timeout": 30_000,
        "recursive_triggers": 1,
    }
    engine.dispose()


def test_a_reading_work_sees_one_moment_and_cannot_write(engine):
    with SqlWork(engine) as writer:
        load(writer, "K-1")
        writer.commit()
    with SqlWork(engine, writing=False) as reader:
        assert reader.hole_ids() == ("K-1",)
        with SqlWork(engine) as writer:
            load(writer, "K-2")
            writer.commit()
        assert reader.hole_ids() == ("K-1",), "what others commit meanwhile is not seen"
    with SqlWork(engine, writing=False) as reader:
        assert reader.hole_ids() == ("K-1", "K-2")
    with pytest.raises(TraysideError, match="only be read"), SqlWork(engine, writing=False) as reader:
        reader.set_rules("yard = 'x'")
    with SqlWork(engine) as writer:
        writer.set_rules("yard = 'y'")
        writer.commit()
        assert writer.rules_text() == "yard = 'y'"


def load_and_fail(work) -> None:
    load(work, "K-2")
    work.hole_core("K-9")


def test_without_commit_nothing_is_stored_and_after_it_the_work_goes_on(start_work):
    with start_work() as work:
        load(work, "K-1")
        work.commit()
        load(work, "K-2")
    with start_work() as work:
        assert work.hole_ids() == ("K-1",)
    work = start_work()
    with pytest.raises(NotFound), work:
        load_and_fail(work)
    with start_work() as work:
        assert work.hole_ids() == ("K-1",)
        assert work.station_page(first=0, count=9).stations == {"to plan": (1, 9000)}


def test_a_work_outside_its_block_is_a_mistake_that_shows(start_work):
    with pytest.raises(RuntimeError, match="with"):
        start_work().hole_ids()


def test_a_writer_who_waits_too_long_is_told_to_wait_and_try_again(engine, monkeypatch, backend):
    if backend == "sqlite":
        with SqlWork(engine) as first:
            first.set_rules("held")
            engine.dispose()
            event.listen(engine, "connect", lambda c, _: c.execute("PRAGMA busy_timeout = 20"))
            with pytest.raises(TraysideError, match="somebody else has been writing"), SqlWork(engine) as second:
                second.set_rules("late")
        return
    monkeypatch.setattr("trayside.store.connection.LONGEST_WAIT_S", 0.02)
    with SqlWork(engine) as first:
        first.set_rules("held")
        with pytest.raises(TraysideError, match="somebody else has been writing"), SqlWork(engine) as second:
            second.set_rules("late")
