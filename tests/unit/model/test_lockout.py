"""How long wrong tries cost, with the clock handed in."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from trayside.errors import ImpossibleValue
from trayside.model.access_settings import AccessSettings, checked_settings
from trayside.model.lockout import (
    OPEN,
    Limits,
    Lock,
    Tries,
    counted_try,
    given_back,
    lock_after,
    refused,
    wait_in_words,
)

NOW = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
LIMITS = Limits(free=3, first_wait_s=30, longest_wait_s=600, most=10)


def later(seconds: float) -> datetime:
    return NOW + timedelta(seconds=seconds)


@pytest.mark.parametrize("failures", [0, 1, 2])
def test_the_first_tries_are_free(failures):
    assert lock_after(Tries(failures, NOW), LIMITS, now=NOW) == OPEN


@pytest.mark.parametrize(("failures", "wait_s"), [(3, 30), (4, 60), (5, 120), (6, 240), (7, 480), (8, 600), (9, 600)])
def test_each_wrong_try_doubles_the_wait_up_to_the_longest(failures, wait_s):
    tries = Tries(failures, NOW)
    assert lock_after(tries, LIMITS, now=NOW) == Lock(wait_s)
    assert lock_after(tries, LIMITS, now=later(wait_s - 0.5)) == Lock(1)
    assert lock_after(tries, LIMITS, now=later(wait_s)) == OPEN


def test_after_the_most_tries_waiting_does_not_help():
    lock = lock_after(Tries(10, NOW), LIMITS, now=later(10**8))
    assert lock.shut
    assert lock.holds


def test_a_count_that_can_be_forgotten_is_forgotten_after_its_time_and_not_before():
    limits = Limits(3, 30, 600, forgotten_after_s=1000)
    tries = Tries(9, NOW)
    assert counted_try(tries, limits, now=later(999)).failures == 10
    assert counted_try(tries, limits, now=later(1000)) == Tries(1, later(1000))


def test_a_clock_set_back_makes_nobody_wait_longer_than_the_wait():
    assert lock_after(Tries(3, NOW), LIMITS, now=NOW - timedelta(hours=9)) == Lock(30)


def test_a_very_long_row_of_wrong_tries_does_not_overflow():
    limits = Limits(3, 30, 600)
    assert lock_after(Tries(10**6, NOW), limits, now=NOW) == Lock(600)


def test_a_right_try_is_given_back_and_never_below_none():
    assert given_back(Tries(4, NOW)) == Tries(3, NOW)
    assert given_back(Tries()) == Tries()


def test_one_who_guesses_all_the_time_gets_few_tries_a_day():
    """The waits bound the guesses: counted by playing a day second by second."""
    limits, tries, asked, at = AccessSettings().name_limits, Tries(), 0, 0
    while at < 24 * 3600:
        lock = lock_after(tries, limits, now=later(at))
        if lock.holds:
            at += lock.wait_s
            continue
        tries, asked = counted_try(tries, limits, now=later(at)), asked + 1
    # 5 free; waits 30, 60 ... 1920 s (7 of them, 3810 s in all); then one an hour for the rest of 86 400 s.
    assert asked == 5 + 7 + (86_400 - 3810 - 1) // 3600


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(1, "1 second"), (40, "40 seconds"), (119, "119 seconds"), (120, "2 minutes"), (121, "3 minutes"),
     (7200, "2 hours"), (7201, "3 hours")],
)  # fmt: skip
def test_a_wait_is_told_in_words_and_never_too_short(seconds, told):
    assert wait_in_words(seconds) == told


def test_a_lockout_says_whose_it_is_how_long_and_what_to_do():
    told = refused(Lock(90), whose="this name", remedy="ask a lead")
    assert str(told) == "this name: too many wrong tries. Wait 90 seconds, then try once more, or ask a lead."
    assert told.wait_s == 90
    shut = refused(Lock(0, shut=True), whose="this name")
    assert "Ask a lead for a new PIN" in str(shut)
    assert shut.shut


@pytest.mark.parametrize(
    "wrong", [{"session_h": 0}, {"session_h": True}, {"free_tries": 10**6}, {"first_wait_s": 1.5}, {"colour": 1}]
)
def test_settings_out_of_bounds_are_refused(wrong):
    with pytest.raises(ImpossibleValue):
        checked_settings(wrong)


def test_settings_that_are_not_given_are_the_defaults():
    assert checked_settings({"idle_min": 5}) == AccessSettings(idle_min=5)
