"""Shift plans on both databases: kept whole, newest first, and what waits before and behind the saw."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy.exc import IntegrityError

from trayside.core.shift_plan import Piece, Saw, plan_shift
from trayside.errors import NotFound, TraysideError
from trayside.model.shift import (
    Change,
    HoleWish,
    LeftOut,
    SavedPlan,
    SawWish,
    ShiftHours,
    ShiftRequest,
    TimesLine,
    TrayToCut,
)
from trayside.store.connection import open_store
from trayside.store.work import SqlWork

MADE = datetime(2031, 5, 4, 6, 0, 0, 123456, tzinfo=UTC)


def a_plan(plan_id="one", day="2031-05-04", **more):
    pieces = tuple(Piece(f"K-1/{at}", "K-1", 10.0 + at / 3, 1.1, grade=at % 3, due_min=60.0) for at in range(3))
    saws = (Saw("SAW-1", blade_left_m2=1.0, blade_new_m2=5.0), Saw("SAW-2"))
    plan = plan_shift(pieces=pieces, saws=saws)
    saved = SavedPlan(
        plan_id=plan_id, made_at=MADE, made_by="Demo lead",
        request=ShiftRequest(day, "07:00", 10.0, (SawWish("SAW-1", "Demo ‹operator›"),), (HoleWish("K-1", "normal", True),)),
        hours=ShiftHours(day, "07:00", 10.0, ((570, 20), (750, 40)), 20.0, 20.0, -180),
        trays=tuple(TrayToCut(one.name, "K-1", at, ("T1", "T2"), 1.1, one.minutes, "low", ("saw",))
                    for at, one in enumerate(pieces)),
        pieces=pieces, saws=saws, lines=plan.lines, figures=plan.figures, first_come=plan.first_come,
        bound_min=plan.bound_min, left_out=(LeftOut("SAW-3", "tagged out"),), says=plan.says, looked_s=0.5,
        times=(TimesLine("rock", 47.6, 5.4, 4.1, 7.2, 4.2, 1.2, 12, 11.5),),
    )  # fmt: skip
    return replace(saved, **more)


@pytest.fixture
def engine(empty_database_url):
    engine = open_store(empty_database_url)
    yield engine
    engine.dispose()


def keep(engine, *plans):
    for plan in plans:
        with SqlWork(engine) as work:
            work.shifts.add(plan)
            work.commit()


def test_a_plan_comes_back_as_it_was_kept(engine):
    plan = a_plan()
    change = Change("SAW-1", 90.0, None, False, plan.lines[:1], (), "K-1/2", ("K-1/2",), "SAW-1 stopped.")
    again = a_plan("two", replaces="one", change=change, figures=None, first_come=None, lines=())
    keep(engine, plan, again)
    with SqlWork(engine, writing=False) as work:
        assert work.shifts.plan("one") == plan
        assert work.shifts.plan("two") == again
        assert work.shifts.newest() == again
        assert work.shifts.newest("2031-05-05") is None
        assert work.shifts.made(count=1) == (("two", "2031-05-04", "Demo lead", "one"),)


def test_the_newest_is_the_one_kept_last_whatever_its_clock_says(engine):
    keep(engine, a_plan("one"), a_plan("two", made_at=MADE - timedelta(days=1)), a_plan("other", day="2031-05-06"))
    with SqlWork(engine, writing=False) as work:
        assert work.shifts.newest("2031-05-04").plan_id == "two"
        assert work.shifts.newest().plan_id == "other"
        assert [plan_id for plan_id, *_ in work.shifts.made(count=9)] == ["other", "two", "one"]


def test_an_id_is_given_once_and_a_plan_replaces_one_that_is_there(engine):
    keep(engine, a_plan("one"))
    for wrong in (a_plan("one"), a_plan("two", replaces="nothing")):
        with pytest.raises((IntegrityError, TraysideError)):
            keep(engine, wrong)
    with SqlWork(engine, writing=False) as work, pytest.raises(NotFound):
        work.shifts.plan("two")


def test_an_empty_yard_has_nothing_that_waits(engine):
    with SqlWork(engine, writing=False) as work:
        assert work.shifts.holes_to_cut() == ()
        assert work.shifts.bags_waiting() == {}
        assert work.shifts.drafted_metres() == {}
        assert work.shifts.newest() is None
