from concurrent.futures import ThreadPoolExecutor

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import inspect, text
from store_yard import load

from trayside.errors import TraysideError
from trayside.store.connection import engine_for, open_store
from trayside.store.schema import metadata
from trayside.store.upgrade import MIGRATIONS, NEWEST, upgrade
from trayside.store.work import SqlWork


def anatomy(engine) -> dict:
    """All that the database says about its tables, in a form that can be compared."""
    look = inspect(engine)
    found = {}
    for table in sorted(set(look.get_table_names()) - {"alembic_version"}):
        columns = [
            (column["name"], repr(column["type"]), column["nullable"], column["default"])
            for column in look.get_columns(table)
        ]
        keys = [(key["constrained_columns"], key["referred_table"]) for key in look.get_foreign_keys(table)]
        indexes = [
            (
                index["name"],
                index["column_names"],
                index["unique"],
                {name: str(option) for name, option in index.get("dialect_options", {}).items()},
            )
            for index in look.get_indexes(table)
        ]
        found[table] = {
            "columns": columns,
            "primary key": look.get_pk_constraint(table)["constrained_columns"],
            "foreign keys": sorted(keys),
            "indexes": sorted(indexes, key=lambda index: index[0]),
            "unique": sorted(unique["column_names"] for unique in look.get_unique_constraints(table)),
            "checks": sorted((check["name"], check["sqltext"]) for check in look.get_check_constraints(table)),
        }
    return found


def without_rowid(engine) -> set[str]:
    with engine.connect() as connection:
        found = connection.execute(text("SELECT name FROM sqlite_master WHERE sql LIKE '%WITHOUT ROWID%'"))
        return set(found.scalars())


def test_migrations_make_exactly_the_tables_of_the_schema(empty_database_url, backend, tmp_path, request):
    migrated = open_store(empty_database_url)
    other = f"{tmp_path}/other.sqlite" if backend == "sqlite" else request.getfixturevalue("new_postgresql")()
    described = engine_for(other)
    with described.connect().execution_options(writing=True) as connection, connection.begin():
        metadata.create_all(connection)
    assert anatomy(migrated) == anatomy(described)
    assert set(anatomy(migrated)) == set(metadata.tables)
    if backend == "sqlite":
        assert without_rowid(migrated) == without_rowid(described) != set()
    migrated.dispose()
    described.dispose()


def test_the_comparison_sees_a_missing_index_a_wrong_type_and_a_lost_check(database_url):
    """The test above must be able to fail."""
    engine = engine_for(database_url)
    before = anatomy(engine)
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        connection.exec_driver_sql("DROP INDEX sample_numbers_released")
        connection.exec_driver_sql("ALTER TABLE yard_settings ADD COLUMN more INTEGER")
    after = anatomy(engine)
    assert {table for table in before if before[table] != after[table]} == {"sample_numbers", "yard_settings"}
    assert before["sheet_rows"]["checks"]
    engine.dispose()


def test_the_newest_migration_is_known_without_asking_alembic():
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    assert ScriptDirectory.from_config(config).get_current_head() == NEWEST


def test_opening_again_changes_nothing_and_waits_for_no_writer(database_url):
    first = open_store(database_url)
    with SqlWork(first) as work:
        load(work, "K-1")
        work.commit()
        work.set_rules("not committed: the writer's place is taken")
        second = open_store(database_url)
        with SqlWork(second, writing=False) as reader:
            assert reader.hole_ids() == ("K-1",)
        second.dispose()
    first.dispose()


def test_many_who_open_a_new_store_at_once_make_it_once(empty_database_url):
    with ThreadPoolExecutor(4) as people:
        engines = list(people.map(lambda _: open_store(empty_database_url), range(4)))
    for engine in engines:
        with engine.connect() as connection:
            assert connection.execute(text("SELECT version_num FROM alembic_version")).scalars().all() == [NEWEST]
        engine.dispose()


def test_a_store_of_a_newer_version_is_refused_untouched(database_url):
    engine = engine_for(database_url)
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(TraysideError, match="newer Trayside"):
        upgrade(engine)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == "9999"
    engine.dispose()
