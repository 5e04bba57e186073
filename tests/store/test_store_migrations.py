from concurrent.futures import ThreadPoolExecutor

import pytest
from alembic import command
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


def store_at(url: str, revision: str):
    """A store as an earlier version left it."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    engine = engine_for(url)
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
    return engine


HOLE = """INSERT INTO holes (hole_id, east_m, north_m, elevation_m, azimuth_deg, dip_deg, total_depth_mm,
          total_depth_entered, row_order) VALUES ('K-1', 0, 0, 0, 0, -90, 9000, '9 m', 0)"""
RUN = """INSERT INTO runs (hole_id, row_order, run, from_mm, from_entered, to_mm, to_entered, recovered_mm,
         recovered_entered, core_size) VALUES ('K-1', {run}, {run}, {top}, '', {bottom}, '', 0, '', 'NQ')"""
SHEET = """INSERT INTO sheets (sheet_id, hole_id, version, seed, hole_digest, revision, edited_by, by_hand)
           VALUES ('S', 'K-1', 1, 0, '', 0, '', '[]')"""
NUMBER = "INSERT INTO sample_numbers (number, prefix, serial, state, hole_id, sheet_id) VALUES ('{}', 'T', {}, '{}', {})"
NOBODY, SOMEBODY = "NULL, NULL", "'K-1', 'S'"


def fill(engine, *statements: str) -> None:
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        for statement in statements:
            connection.exec_driver_sql(statement)


def test_metres_of_core_are_counted_from_the_runs_of_an_older_store(empty_database_url):
    engine = store_at(empty_database_url, "0004")
    state = "INSERT INTO hole_states VALUES ('K-1', 'd', 'to plan', 9000, 0, 2, 0, 0, 0, 0, 0, 0)"
    runs = [RUN.format(run=1, top=3000, bottom=6000), RUN.format(run=2, top=8000, bottom=7000)]
    fill(engine, HOLE, *runs, state, "INSERT INTO station_totals VALUES ('to plan', 1, 9000)")
    upgrade(engine)
    with SqlWork(engine) as work:
        page = work.station_page(first=0, count=9)
        assert page.stations == {"to plan": (1, 3000)}
        assert (page.rows[0].total_depth_mm, page.rows[0].runs) == (9000, 2)
    engine.dispose()


def test_of_a_ticket_that_was_given_back_and_printed_anew_one_row_stays(empty_database_url):
    engine = store_at(empty_database_url, "0004")
    numbers = [
        NUMBER.format("T000201", 201, "released", NOBODY),
        NUMBER.format("T0002019", 201, "issued", SOMEBODY),
        NUMBER.format("T000202", 202, "released", NOBODY),
        NUMBER.format("T0002028", 202, "released", NOBODY),
        NUMBER.format("T000203", 203, "released", NOBODY),
    ]
    fill(engine, HOLE, SHEET, *numbers)
    upgrade(engine)
    with engine.connect() as connection:
        held = connection.exec_driver_sql("SELECT number, state FROM sample_numbers ORDER BY number").all()
    assert list(map(tuple, held)) == [("T0002019", "issued"), ("T000202", "released"), ("T000203", "released")]
    engine.dispose()


def test_a_store_with_one_ticket_on_two_bags_is_left_as_it_is_and_says_which(empty_database_url):
    engine = store_at(empty_database_url, "0004")
    numbers = [NUMBER.format(number, 201, "issued", SOMEBODY) for number in ("T000201", "T0002019")]
    fill(engine, HOLE, SHEET, *numbers)
    with pytest.raises(TraysideError, match="1 ticket stands on two bags: T000201 of hole K-1 is T0002019 of hole K-1"):
        upgrade(engine)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == "0004"
    engine.dispose()
