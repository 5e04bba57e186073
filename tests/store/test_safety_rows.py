"""Shifts on both databases: every figure comes back as it was, and nothing recorded can be changed or removed."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from trayside.errors import ChangedMeanwhile, TraysideError
from trayside.model.exposure_record import (
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    RecordedShift,
    ShiftExposure,
    Surroundings,
    VibrationTask,
)

AT = datetime(2031, 5, 4, 17, 30, 15, 123456, tzinfo=UTC)
FULL = ShiftExposure(
    date(2031, 5, 4),
    "Demo 操作 <operator>",
    10.1,
    noise=(NoiseTask("sawing", 97.3, 0.1 + 0.2, True, "typical"), NoiseTask("packing", 71.0, 3.0)),
    protector=Protector(24.0, "foam plug", "niosh", False),
    air=(AirTask("saw", 240.0, mass_ug=1 / 3, flow_l_min=1.7, below=True), AirTask("rest", 60.0, 0.005, basis="maker")),
    long_shift="brief_scala",
    lifting=Lifting(
        (Lift("tray", 27.0, 40.0, 20.0, 100.0, 0.2, "fair", 30.0, 29.0, 50.0),),
        1.5,
        0.5,
        Surroundings(floor_wet=True, one_hand=False, air_degc=-3.5, humidity=0.9),
    ),
    vibration=(VibrationTask("cutter", 4.0, 20.0, "maker"),),
    remark="ein „Satz“\nmehr",
)
EMPTY = ShiftExposure(date(2031, 5, 3), "Demo lead", 8.0)


def recorded(exposure=FULL, revision: int = 1, **more) -> RecordedShift:
    return RecordedShift(exposure, revision, AT, "Demo lead", **more)


def add(start_work, one: RecordedShift, key: str = "op") -> None:
    with start_work() as work:
        work.safety.add(one, person_key=key)
        work.commit()


def test_a_shift_comes_back_as_it_was(start_work):
    add(start_work, recorded())
    add(start_work, recorded(EMPTY), key="lead")
    with start_work() as work:
        assert work.safety.revisions("op", FULL.day) == (recorded(),)
        assert work.safety.revisions("lead", EMPTY.day) == (recorded(EMPTY),)
        assert work.safety.revisions("op", EMPTY.day) == ()


def test_revisions_follow_one_another(start_work):
    add(start_work, recorded())
    for wrong in (1, 3):
        with start_work() as work, pytest.raises(ChangedMeanwhile):
            work.safety.add(recorded(revision=wrong), person_key="op")
    second = recorded(replace(FULL, shift_h=11.0), 2, reason="stayed on")
    add(start_work, second)
    with start_work() as work:
        assert work.safety.revisions("op", FULL.day) == (recorded(), second)
        assert work.safety.newest(count=5) == (second,)


def test_the_newest_of_each_shift_by_day_and_person(start_work):
    for day in (1, 2, 3):
        add(start_work, recorded(replace(FULL, day=date(2031, 5, day))))
    add(start_work, recorded(replace(FULL, day=date(2031, 5, 2), shift_h=9.0), 2, reason="again"))
    add(start_work, recorded(replace(EMPTY, day=date(2031, 5, 2))), key="lead")
    with start_work() as work:
        told = [(one.exposure.day.day, one.revision) for one in work.safety.newest(count=2)]
        assert told == [(3, 1), (2, 1)]
        own = work.safety.newest(count=9, person_key="op")
        assert [(one.exposure.day.day, one.revision) for one in own] == [(3, 1), (2, 2), (1, 1)]
        between = work.safety.between("op", date(2031, 5, 1), date(2031, 5, 2))
        assert [(one.exposure.day.day, one.revision) for one in between] == [(2, 2), (1, 1)]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE shift_exposures SET content = '{}'",
        "UPDATE shift_exposures SET day = 'x'",
        "DELETE FROM shift_exposures",
    ],
)
def test_the_database_itself_refuses_a_change(engine, start_work, statement):
    add(start_work, recorded())
    with engine.connect().execution_options(writing=True) as connection, pytest.raises(DBAPIError, match="stays"):
        connection.execute(text(statement))
    with start_work() as work:
        assert work.safety.revisions("op", FULL.day) == (recorded(),)


def test_the_table_cannot_be_emptied(engine, start_work, backend):
    add(start_work, recorded())
    statement = "TRUNCATE shift_exposures" if backend == "postgresql" else "DELETE FROM shift_exposures WHERE revision = 1"
    with engine.connect().execution_options(writing=True) as connection, pytest.raises(DBAPIError, match="stays"):
        connection.execute(text(statement))
    with start_work() as work:
        assert len(work.safety.newest(count=2)) == 1


def test_what_is_not_committed_is_not_there(start_work):
    with start_work() as work:
        work.safety.add(recorded(), person_key="op")
    with start_work() as work:
        assert work.safety.newest(count=2) == ()


def test_a_reader_cannot_add(engine):
    from trayside.store.work import SqlWork

    with pytest.raises(TraysideError), SqlWork(engine, writing=False) as work:
        work.safety.add(recorded(), person_key="op")
