"""Unit factors against UCUM and the notice that ended the US survey foot."""

from decimal import Decimal
from fractions import Fraction

import pytest

from trayside.core.units import (
    SHORT_TON_G,
    TROY_OUNCE_G,
    UNITS,
    feet_from_metres,
    grade_factor,
    grade_in,
    kg_from_lb,
    metres_from_feet,
)

# UCUM 2.2 (17 June 2024), ucum-essence.xml, commit d060c6d3 (seen): sizes as defined there.
UCUM_SIZES = [
    ("[ft_i]", Fraction("0.3048")),  # 12 [in_i] of 2.54 cm
    ("[in_i]", Fraction("0.0254")),
    ("[ft_us]", Fraction(1200, 3937)),
    ("[gr]", Fraction("0.06479891")),
    ("[lb_av]", Fraction("453.59237")),  # 7000 [gr]
    ("[oz_tr]", Fraction("31.1034768")),  # 20 [pwt_tr] of 24 [gr]
    ("[ston_av]", Fraction("907184.74")),  # 20 x 100 [lb_av]
    ("t", Fraction(1_000_000)),
    ("%", Fraction(1, 10**2)),
    ("[ppth]", Fraction(1, 10**3)),
    ("[ppm]", Fraction(1, 10**6)),
    ("[ppb]", Fraction(1, 10**9)),
    ("[pptr]", Fraction(1, 10**12)),
]

# Derived from the UCUM sizes above.
GRADE_FACTORS = [
    ("%", "[ppm]", Fraction(10_000)),
    ("[ppm]", "[ppb]", Fraction(1000)),
    ("[ppm]", "g/t", Fraction(1)),
    ("[oz_tr]/t", "g/t", Fraction("31.1034768")),
    ("[oz_tr]/[ston_av]", "g/t", Fraction(240, 7)),  # 34.285714...
    ("g/t", "%", Fraction(1, 10_000)),
]


@pytest.mark.parametrize(("code", "size"), UCUM_SIZES)
def test_unit_has_its_ucum_size_exactly(code, size):
    assert UNITS[code].size == size


@pytest.mark.parametrize(("from_unit", "to_unit", "factor"), GRADE_FACTORS)
def test_grade_factor_is_exact_both_ways(from_unit, to_unit, factor):
    assert grade_factor(from_unit=from_unit, to_unit=to_unit) == factor
    assert grade_factor(from_unit=to_unit, to_unit=from_unit) == 1 / factor


def test_ounce_a_short_ton_prints_as_published():
    # 34.285714 g/t to the places given (derived from UCUM, six places).
    factor = float(TROY_OUNCE_G / SHORT_TON_G * 1_000_000)
    assert factor == pytest.approx(34.285714, abs=0.5e-6)


def test_ppb_to_ppm_divides_by_a_thousand_not_by_ten_thousand():
    # Misprint: the notebook 1_SARIG_chem_load_clean.ipynb and its method note (GeologicalSurveySouthAustralia,
    # SA-geochemical-maps, commit d0ba2bf7; seen) divide ppb by 10 000. UCUM (seen) gives 1 000.
    right = grade_in(grade=Decimal("250"), from_unit="[ppb]", to_unit="[ppm]")
    assert right == Decimal("0.25")
    assert right != Decimal("250") / 10_000
    assert grade_factor(from_unit="[ppb]", to_unit="[ppm]") != Fraction(1, 10_000)


def test_foot_is_the_international_foot():
    # 85 FR 62698, 5 October 2020 (seen): foot = 0.3048 m exactly.
    assert metres_from_feet(depth_ft=1.0) == 0.3048
    assert metres_from_feet(depth_ft=10.0) == 3.048
    assert feet_from_metres(depth_m=0.3048) == 1.0


def test_survey_foot_would_differ_by_the_amount_that_notice_implies():
    # 2 parts in a million: 0.61 mm in 1,000 ft (derived, two places).
    difference_mm = float((UNITS["[ft_us]"].size - UNITS["[ft_i]"].size) * 1000 * 1000)
    assert difference_mm == pytest.approx(0.61, abs=0.005)


def test_pound_is_7000_grains():
    # UCUM (seen): [lb_av] = 7000 [gr] of 64.79891 mg.
    assert kg_from_lb(mass_lb=1.0) == 0.45359237
