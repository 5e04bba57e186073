"""Blade speeds against printed rows. Tolerance: half the last printed place."""

import pytest

from trayside.core.blade import check_start, rpm_for_speed, set_blade, surface_speed, water_volume

INCH_MM, FOOT_M = 25.4, 0.3048
# Masonry Magazine, November 2004, p. 26, "Diamond blade operating speeds", limits credited there to ANSI B7.1 and B7.5
# (seen): inches, operating rpm, highest safe rpm. Speeds beside them are worked out (derived).
ROWS = [
    (4, 9072, 48.26, 15000, 79.80),
    (4.5, 8063, 48.25, 13300, 79.60),
    (5, 7257, 48.26, 12000, 79.80),
    (6, 6048, 48.26, 10000, 79.80),
    (7, 5184, 48.26, 8500, 79.13),
    (8, 4536, 48.26, 7500, 79.80),
    (9, 4032, 48.26, 6800, 81.39),
]


@pytest.mark.parametrize(("inches", "rpm", "speed", "highest", "highest_speed"), ROWS)
def test_printed_operating_rows_are_9500_feet_a_minute(inches, rpm, speed, highest, highest_speed):
    found = surface_speed(blade_diameter_mm=inches * INCH_MM, spindle_rpm=rpm)
    assert found == pytest.approx(speed, abs=0.0051)
    assert found * 60 / FOOT_M == pytest.approx(9500, abs=1.5)
    assert surface_speed(blade_diameter_mm=inches * INCH_MM, spindle_rpm=highest) == pytest.approx(
        highest_speed, abs=0.0051
    )
    back = rpm_for_speed(blade_diameter_mm=inches * INCH_MM, speed_m_s=9500 * FOOT_M / 60)
    assert back == pytest.approx(rpm, abs=1.0)


def test_the_highest_rpm_is_never_worked_out():
    # The printed limits are rounded: 80 m/s would forbid the 9 in row and allow more than the 7 in row.
    limits = [rpm_for_speed(blade_diameter_mm=inches * INCH_MM, speed_m_s=80.0) for inches, *_ in ROWS]
    printed = [row[3] for row in ROWS]
    assert any(limit < stamp for limit, stamp in zip(limits, printed, strict=True))
    assert any(limit > stamp for limit, stamp in zip(limits, printed, strict=True))
    # 7 in at 8,550 rpm is below 80 m/s and above its printed limit: the stamp decides.
    assert not check_start(spindle_rpm=8550, stamped_rpm=8500, new_diameter_mm=7 * INCH_MM).may_start


def test_a_wet_masonry_saw():
    # CPWR Construction Solutions no. 53 (rpm and diameter seen; speed derived): 10 in, 3,450 rpm.
    found = surface_speed(blade_diameter_mm=254.0, spindle_rpm=3450)
    assert found == pytest.approx(45.88, abs=0.005)
    assert found * 60 / FOOT_M == pytest.approx(9032, abs=0.5)


def test_best_speed_for_concrete():
    # concreteconstruction.net, "Diamond blade troubleshooting" (seen): about 10,000 feet a minute, 50.80 m/s.
    assert pytest.approx(50.80, abs=0.005) == 10000 * FOOT_M / 60
    rpm = rpm_for_speed(blade_diameter_mm=350.0, speed_m_s=50.80)
    assert surface_speed(blade_diameter_mm=350.0, spindle_rpm=rpm) == pytest.approx(50.80)


@pytest.mark.parametrize(("km_h", "m_s"), [(288, 80), (360, 100)])
def test_speeds_of_fragments(km_h, m_s):
    # abrasivessafety.com (FEPA, seen): 288 and 360 km/h are 80 and 100 m/s.
    rpm = rpm_for_speed(blade_diameter_mm=300.0, speed_m_s=km_h / 3.6)
    assert surface_speed(blade_diameter_mm=300.0, spindle_rpm=rpm) == pytest.approx(m_s)


@pytest.mark.parametrize(("rpm", "speed"), [(1425, 26.11), (2850, 52.23)])
def test_a_350_mm_blade(rpm, speed):
    # Worked from the formula (derived).
    assert surface_speed(blade_diameter_mm=350.0, spindle_rpm=rpm) == pytest.approx(speed, abs=0.005)


@pytest.mark.parametrize(("speed", "rpm"), [(25, 1364), (35, 1910), (80, 4365)])
def test_rpm_of_a_350_mm_blade(speed, rpm):
    # Worked from the formula (derived).
    assert rpm_for_speed(blade_diameter_mm=350.0, speed_m_s=speed) == pytest.approx(rpm, abs=0.5)


def test_reach_of_a_new_and_a_worn_blade():
    # Worked from the formula (derived): 350 mm with 100 mm flange 125 mm; after 8 mm of wear 117 mm.
    new = set_blade(core_diameter_mm=85.0, new_diameter_mm=350.0, flange_diameter_mm=100.0)
    worn = set_blade(core_diameter_mm=85.0, new_diameter_mm=350.0, flange_diameter_mm=100.0, wear_mm=8.0)
    assert (new.reach_mm, worn.reach_mm) == (125.0, 117.0)
    assert (new.lowered_by_mm, worn.lowered_by_mm) == (0.0, 8.0)
    assert new.fits
    assert worn.fits


def test_a_third_of_350_mm_is_116_7_mm():
    # WAC 296-307-19012 (seen): flanges at least a third of an abrasive wheel; only flagged here.
    small = check_start(spindle_rpm=1400, stamped_rpm=4365, new_diameter_mm=350.0, flange_diameter_mm=116.6)
    large = check_start(spindle_rpm=1400, stamped_rpm=4365, new_diameter_mm=350.0, flange_diameter_mm=116.7)
    assert small.may_start
    assert any("116.7" in flag for flag in small.flags)
    assert large.flags == ()


def test_9_or_12_inch_is_not_205_to_230_mm():
    # HSE CIS54 (seen) prints "9 or 12 inch (205-230 mm)": 12 in is 304.8 mm. Speed goes with the true diameter.
    nine, twelve = (surface_speed(blade_diameter_mm=inches * INCH_MM, spindle_rpm=5000) for inches in (9, 12))
    low, high = (surface_speed(blade_diameter_mm=mm, spindle_rpm=5000) for mm in (205, 230))
    assert low < nine < high
    assert twelve > 1.3 * high


def test_water_of_a_day():
    # Worked (derived) from 3 to 5 L/min (bladediamondpro.com, seen) over 7 h: 1.26 to 2.10 m3.
    found = [water_volume(litres_per_minute=flow, cutting_min=420) for flow in (3, 5)]
    assert found == pytest.approx([1.26, 2.10])
