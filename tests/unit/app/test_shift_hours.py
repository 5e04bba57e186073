"""The clock of a shift: minutes of the plan are minutes in which something can be cut."""

from datetime import UTC, datetime

import pytest

from trayside.errors import ImpossibleValue
from trayside.model.shift import ShiftHours, minute_of_day

# 07:00 to 15:00; 20 min to start up, 30 min from 09:00, 15 min to clean out: cut 07:20-09:00 and 09:30-14:45.
DAY = ShiftHours("2031-05-04", "07:00", 8.0, ((9 * 60, 30),), 20.0, 15.0, 120)


def local(hours: ShiftHours, minute: float) -> str:
    return f"{hours.local(hours.at(minute)):%d %H:%M}"


def test_start_up_breaks_and_clean_out_are_left_out():
    assert DAY.stretches() == ((20.0, 120.0), (150.0, 465.0))
    assert DAY.productive_min == 415.0
    assert DAY.begins_at == datetime(2031, 5, 4, 5, 0, tzinfo=UTC)
    assert [local(DAY, minute) for minute in (0, 100, 101, 415)] == ["04 07:20", "04 09:00", "04 09:31", "04 14:45"]


def test_minutes_after_the_shift_fall_into_the_next_ones():
    assert [local(DAY, 415 + 1), local(DAY, 2 * 415)] == ["05 07:21", "05 14:45"]
    assert [DAY.shift_of(minute) for minute in (0, 415, 416, 830, 831)] == [0, 0, 1, 1, 2]


@pytest.mark.parametrize("minute", [0.0, 37.5, 99.0, 100.5, 300.0, 414.0])
def test_a_minute_and_its_moment_are_two_names_of_one_thing(minute):
    assert DAY.minute_at(DAY.at(minute)) == pytest.approx(minute)


def test_a_break_stops_the_minutes():
    during = datetime(2031, 5, 4, 7, 10, tzinfo=UTC)  # 09:10 by the yard's clock
    assert DAY.minute_at(during) == 100.0
    assert DAY.minute_at(DAY.begins_at) == 0.0
    assert DAY.minute_at(DAY.ends_at) == DAY.productive_min


def test_a_night_shift_goes_over_midnight():
    night = ShiftHours("2031-05-04", "22:00", 8.0, ((2 * 60, 30), (23 * 60, 10)), 0.0, 0.0, 0)
    assert night.stretches() == ((0.0, 60.0), (70.0, 240.0), (270.0, 480.0))
    assert local(night, 230.0) == "05 02:00"
    assert local(night, 231.0) == "05 02:31"


@pytest.mark.parametrize("typed", ["", "7", "24:00", "07:60", "7:5", "-1:00", "aa:bb"])
def test_what_is_no_time_of_day_is_refused(typed):
    with pytest.raises(ImpossibleValue, match="is no time of day"):
        minute_of_day(typed)
