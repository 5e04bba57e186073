"""Conversions at the edges, whole millimetres, and refusals."""

from decimal import Decimal

import numpy as np
import pytest

from trayside.core.units import (
    UNITS,
    feet_from_metres,
    grade_factor,
    grade_in,
    kg_from_lb,
    lb_from_kg,
    metres_from_feet,
    metres_from_mm,
    whole_mm,
)
from trayside.errors import ImpossibleValue


def test_whole_mm_rounds_to_nearest():
    assert whole_mm(depth_m=[0.0, 12.3454, 12.3456, 300.0]).tolist() == [0, 12345, 12346, 300_000]


@pytest.mark.parametrize(("depth_m", "mm"), [(0.0005, 0), (0.0015, 2), (1.0005, 1000), (0.5015, 502), (2.6745, 2674)])
def test_whole_mm_puts_a_decimal_half_on_the_even_millimetre(depth_m, mm):
    assert whole_mm(depth_m=depth_m) == mm


def test_whole_mm_gives_integers():
    assert isinstance(whole_mm(depth_m=1.5), int)
    assert whole_mm(depth_m=np.array([1.5])).dtype == np.int64


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), 20_000.5, -20_000.5, 1e309])
def test_whole_mm_refuses_what_is_no_depth(bad):
    with pytest.raises(ImpossibleValue, match="depth_m"):
        whole_mm(depth_m=bad)


def test_metres_from_mm_is_the_nearest_float():
    assert metres_from_mm(depth_mm=[1, 2_345]).tolist() == [0.001, 2.345]


def test_feet_and_pounds_go_back():
    assert feet_from_metres(depth_m=metres_from_feet(depth_ft=787.0)) == pytest.approx(787.0, rel=1e-15)
    assert lb_from_kg(mass_kg=kg_from_lb(mass_lb=52.5)) == pytest.approx(52.5, rel=1e-15)


def test_negative_mass_is_refused():
    with pytest.raises(ImpossibleValue, match="mass_lb"):
        kg_from_lb(mass_lb=-1.0)


@pytest.mark.parametrize("code", ["oz/t", "oz/ton", "opt"])
def test_ounces_a_ton_are_refused_with_both_readings(code):
    with pytest.raises(ImpossibleValue) as refusal:
        grade_factor(from_unit=code, to_unit="g/t")
    text = str(refusal.value)
    assert "[oz_tr]/t" in text
    assert "31.1035" in text
    assert "[oz_tr]/[ston_av]" in text
    assert "34.2857" in text


@pytest.mark.parametrize(("code", "meant"), [("ppm", "[ppm]"), ("g/T", "g/t"), ("pct", "%")])
def test_near_miss_names_the_ucum_code(code, meant):
    with pytest.raises(ImpossibleValue, match="Did you mean") as refusal:
        grade_factor(from_unit=code, to_unit="g/t")
    assert meant in refusal.value.remedy


@pytest.mark.parametrize("code", ["cps", "kg", "m", "", "g/m", "[ft_i]", "/t", "g/"])
def test_what_is_no_grade_unit_is_refused(code):
    with pytest.raises(ImpossibleValue, match="no grade unit"):
        grade_factor(from_unit="g/t", to_unit=code)


def test_decimal_grades_stay_decimal_and_floats_stay_floats():
    assert grade_in(grade=Decimal("0.1"), from_unit="%", to_unit="[ppm]") == Decimal("1000")
    assert isinstance(grade_in(grade=Decimal("0.1"), from_unit="%", to_unit="[ppm]"), Decimal)
    assert grade_in(grade=0.1, from_unit="%", to_unit="[ppm]") == pytest.approx(1000.0)
    missing = grade_in(grade=[1.0, np.nan], from_unit="g/t", to_unit="[ppb]")
    assert missing[0] == 1000.0
    assert np.isnan(missing[1])


def test_composed_units_share_the_mass_table():
    assert grade_factor(from_unit="mg/kg", to_unit="[ppm]") == 1
    assert grade_factor(from_unit="ug/kg", to_unit="[ppb]") == 1
    assert grade_factor(from_unit="kg/t", to_unit="[ppth]") == 1


def test_every_unit_names_its_document():
    assert all(unit.source.document and unit.code == code for code, unit in UNITS.items())
