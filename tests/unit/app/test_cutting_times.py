"""Minutes per metre from the ledger's cuts: timed ones, untimed ones, breaks, quarters, and the rules' starting choices."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from trayside.app.cutting_times import bag_minutes, times_from
from trayside.app.saw_cuts import SawCut
from trayside.core.cutting_time import sawn_area
from trayside.model.event import moment_text
from trayside.model.rules import Rules

START = datetime(2031, 5, 4, 7, 0, tzinfo=UTC)
NQ, HQ = 47.6, 63.5
RULES = Rules.model_validate({"saws": {"classes": [{"name": "hard", "rocks": ["QZV"]}, {"name": "soft", "rocks": ["SLT"]}]}})


def made(at_min, *, rock="hard", size=NQ, metres=1.0, minutes=None, face=1.0, device="tablet 1"):
    return SawCut(
        number=f"K{at_min}", hole_id="A-1", tray=1, at=moment_text(START + timedelta(minutes=at_min)),
        operator="Demo operator", device=device, rock_class=rock, core_diameter_mm=size, metres=metres,
        area_m2=face * metres * size / 1000, minutes=minutes, timed=minutes is not None,
    )  # fmt: skip


def line(times, rock="hard", size=NQ):
    return next(one for one in times.lines if (one.rock_class, one.core_diameter_mm) == (rock, size))


def test_without_a_cut_the_starting_choices_of_the_rules_hold():
    times = times_from((), [NQ], rules=RULES)
    assert times.cuts == 0
    for rock in ("hard", "soft", RULES.saws.other_rock.name):
        one = line(times, rock)
        assert one.handling == pytest.approx(RULES.shift.handling_minutes)
        assert one.cutting == pytest.approx(60 * sawn_area(core_diameter_mm=NQ) / RULES.shift.area_rate_m2_h)
        assert one.low < one.minutes < one.high
        assert one.cuts == 0


def test_timed_cuts_teach_cutting_and_the_time_between_them_handling():
    # A metre every 9 minutes, 6 of them cutting: 3 are handling.
    times = times_from([[made(9 * at, minutes=6.0) for at in range(60)]], [NQ], rules=RULES)
    one = line(times)
    assert one.cutting == pytest.approx(6.0, rel=0.02)
    assert one.handling == pytest.approx(3.0, rel=0.02)
    assert one.minutes == pytest.approx(9.0, rel=0.02)
    assert (one.cuts, one.metres, times.timed) == (60, 60.0, 60)
    assert (one.high - one.low) / one.minutes < 0.15


def test_rocks_are_told_apart_and_a_size_learns_from_another():
    hard = [made(10 * at, minutes=8.0) for at in range(40)]
    soft = [made(400 + 10 * at, rock="soft", minutes=4.0) for at in range(40)]
    times = times_from([[*hard, *soft]], [NQ, HQ], rules=RULES)
    assert line(times, "hard").cutting == pytest.approx(8.0, rel=0.03)
    assert line(times, "soft").cutting == pytest.approx(4.0, rel=0.03)
    # Nobody cut HQ: it is believed to follow NQ by its sawn face, less surely.
    unseen, seen = line(times, "hard", HQ), line(times, "hard")
    assert unseen.cutting == pytest.approx(8.0 * HQ / NQ, rel=0.1)
    assert unseen.cuts == 0
    assert np.log(unseen.high / unseen.low) > np.log(seen.high / seen.low)


def test_untimed_cuts_teach_the_sum():
    times = times_from([[made(7 * at) for at in range(60)]], [NQ], rules=RULES)
    assert line(times).minutes == pytest.approx(7.0, rel=0.02)
    assert (times.cuts, times.timed) == (59, 0)  # the first follows nothing


def test_a_break_another_tablet_and_another_saw_are_no_handling():
    long_break = [made(0), made(RULES.saws.longest_cut_min + 1)]
    other_tablet = [made(200), made(205, device="tablet 2")]
    assert times_from([long_break], [NQ], rules=RULES).cuts == 0
    assert times_from([other_tablet], [NQ], rules=RULES).cuts == 0
    assert times_from([[made(0)], [made(5)]], [NQ], rules=RULES).cuts == 0
    assert times_from([[made(0), made(5)]], [NQ], rules=RULES).cuts == 1


def test_a_quarter_saws_half_as_much_again():
    quarters = [made(12 * at, minutes=9.0, face=1.5) for at in range(60)]
    times = times_from([quarters], [NQ], rules=RULES)
    assert line(times).cutting == pytest.approx(6.0, rel=0.02)  # a half takes two thirds of that
    whole = bag_minutes(times.lines, "hard", core_diameter_mm=NQ, metres=2.0, area_m2=1.5 * 2.0 * NQ / 1000)
    assert whole == pytest.approx(2.0 * line(times).handling + 18.0, rel=0.02)
    assert bag_minutes(times.lines, "hard", core_diameter_mm=NQ, metres=1.0, area_m2=0.0) == line(times).handling


def test_the_interval_holds_the_truth_about_as_often_as_it_says():
    chance, inside, tries = np.random.default_rng(7), 0, 200
    for _ in range(tries):
        truth = 4.2 * np.exp(chance.normal(0, 0.5))
        cuts = [made(20 * at, minutes=float(truth * np.exp(chance.normal(0, 0.15)))) for at in range(6)]
        cuts = [made(20 * at, minutes=one.minutes, device=f"tablet {at}") for at, one in enumerate(cuts)]
        one = line(times_from([cuts], [NQ], rules=RULES))
        handling = one.handling
        inside += one.low <= truth + handling <= one.high
    # Handling was never learned: its own doubt makes the range wider, never narrower, than what is tested.
    assert inside >= 0.9 * tries
