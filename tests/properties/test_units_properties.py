"""Millimetres at rest survive every trip."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from trayside.core.units import UNITS, grade_factor, metres_from_mm, whole_mm

GRADE_UNITS = [*(code for code, unit in UNITS.items() if unit.measures == "fraction"), "g/t", "[oz_tr]/t", "mg/kg"]


@given(st.integers(-20_000_000, 20_000_000))
def test_whole_millimetres_come_back(depth_mm):
    assert whole_mm(depth_m=metres_from_mm(depth_mm=depth_mm)) == depth_mm


@given(st.decimals(0, 20_000, places=5))
def test_whole_mm_rounds_like_decimal_arithmetic(depth_m):
    assert whole_mm(depth_m=float(depth_m)) == int((depth_m * 1000).quantize(Decimal(1), rounding="ROUND_HALF_EVEN"))


@given(st.sampled_from(GRADE_UNITS), st.sampled_from(GRADE_UNITS), st.sampled_from(GRADE_UNITS))
def test_grade_factors_chain_exactly(a, b, c):
    direct = grade_factor(from_unit=a, to_unit=c)
    assert grade_factor(from_unit=a, to_unit=b) * grade_factor(from_unit=b, to_unit=c) == direct
