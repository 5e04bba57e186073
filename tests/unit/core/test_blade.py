"""The blade on the saw: no stamp no start, setting depth, water too little and too much."""

import numpy as np
import pytest

from trayside.core.blade import SPEED_WINDOWS, check_start, check_water, set_blade, surface_speed
from trayside.errors import ImpossibleValue

BLADE = dict(new_diameter_mm=350.0)


@pytest.mark.parametrize(
    ("spindle", "stamp", "may"),
    [
        (1425, 4365, True),
        (4365, 4365, True),
        (4366, 4365, False),
        (1425, None, False),
        (None, 4365, False),
        (None, None, False),
    ],
)
def test_start_needs_a_stamp_that_is_not_exceeded(spindle, stamp, may):
    found = check_start(spindle_rpm=spindle, stamped_rpm=stamp, **BLADE)
    assert found.may_start is may
    assert len(found.reasons) == (0 if may else (spindle is None) + (stamp is None) or 1)
    assert found.says.startswith("This blade may run" if may else "Do not start")


def test_wear_slows_the_edge_but_not_the_check():
    found = check_start(spindle_rpm=1425, stamped_rpm=4365, wear_mm=8.0, **BLADE)
    assert found.new_speed_m_s == pytest.approx(np.pi * 0.350 * 1425 / 60)
    assert found.working_speed_m_s == pytest.approx(np.pi * 0.334 * 1425 / 60)


def test_a_speed_outside_the_window_is_flagged_and_not_blocked():
    granite = SPEED_WINDOWS[0]
    fast = check_start(spindle_rpm=2850, stamped_rpm=4365, window=granite, **BLADE)
    slow = check_start(spindle_rpm=900, stamped_rpm=4365, window=granite, **BLADE)
    right = check_start(spindle_rpm=1600, stamped_rpm=4365, window=granite, **BLADE)
    assert all(one.may_start for one in (fast, slow, right))
    assert "above the 25 to 35 m/s" in fast.flags[0]
    assert "below the 25 to 35 m/s" in slow.flags[0]
    assert right.flags == ()


def test_a_stamp_that_cannot_be_is_flagged():
    found = check_start(spindle_rpm=1425, stamped_rpm=43650, **BLADE)
    assert any("read it again" in flag for flag in found.flags)


def test_windows_carry_their_sources():
    assert all("no law" in one.source.locator for one in SPEED_WINDOWS)


@pytest.mark.parametrize(("core", "fits"), [(47.6, True), (85.0, True), (117.0, True), (118.5, False)])
def test_a_core_fits_or_not(core, fits):
    found = set_blade(core_diameter_mm=core, flange_diameter_mm=100.0, below_cradle_mm=4.0, clearance_mm=3.0, **BLADE)
    assert found.fits is fits
    assert found.needed_mm == core + 7.0
    assert ("4 mm below the line" in found.says) is fits


def test_a_blade_set_level_with_the_cradle_leaves_a_bridge():
    found = set_blade(core_diameter_mm=47.6, flange_diameter_mm=100.0, below_cradle_mm=0.0, **BLADE)
    assert "bridge" in found.says


@pytest.mark.parametrize(
    ("seen", "state", "may"),
    [
        ({"litres_per_minute": 4.0}, "right", True),
        ({"litres_per_minute": 2.0}, "too little", True),
        ({"litres_per_minute": 8.0}, "too much", True),
        ({"litres_per_minute": 0.0}, "too little", False),
        ({"litres_per_minute": None}, "unknown", True),
        ({"litres_per_minute": 4.0, "dust_seen": True}, "too little", False),
        ({"litres_per_minute": 4.0, "mist_seen": True}, "too much", True),
        ({"litres_per_minute": 4.0, "fines_washed_off": True}, "too much", True),
        ({"litres_per_minute": 4.0, "gritty": True}, "right", False),
    ],
)
def test_water(seen, state, may):
    found = check_water(**seen)
    assert (found.state, found.may_cut) == (state, may)
    assert bool(found.because) is (seen != {"litres_per_minute": 4.0})


def test_hot_water_is_said():
    assert any("70 degC" in one for one in check_water(litres_per_minute=4.0, water_degc=70.0).because)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: surface_speed(blade_diameter_mm=0.0, spindle_rpm=1000), "more than 0"),
        (lambda: surface_speed(blade_diameter_mm=350.0, spindle_rpm=-1), "at least 0"),
        (lambda: check_start(spindle_rpm=1000, stamped_rpm=2000, wear_mm=175.0, **BLADE), "175 mm worn"),
        (lambda: check_start(spindle_rpm=1000, stamped_rpm=2000, flange_diameter_mm=350.0, **BLADE), "as large"),
        (lambda: set_blade(core_diameter_mm=47.6, flange_diameter_mm=340.0, wear_mm=8.0, **BLADE), "as large"),
        (lambda: check_water(litres_per_minute=-1.0), "at least 0"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ImpossibleValue, match=match):
        call()
