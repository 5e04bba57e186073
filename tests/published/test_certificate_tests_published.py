"""Results against a certificate: printed and derived examples. Tolerance: half the last printed place."""

import pytest

from trayside.core.certificate_tests import (
    ZETA_ACTION,
    en_number,
    guide_33_test,
    power_of_standards,
    standards_needed,
    student_test,
    zeta_score,
)

# Abzalov 2016, Applied Mining Geology, Exercise 10.1.1.a, originally ISO Guide 33: iron ore, certified 60.73 % Fe,
# within-laboratory sd 0.09, between-laboratory sd 0.20. First eight results seen, the last two from memory.
IRON_ORE = [60.94, 60.99, 61.04, 61.06, 61.06, 61.09, 61.10, 61.14, 61.21, 61.24]


def test_iron_ore_passes_both_tests():
    # All numbers derived beforehand from the ten results.
    found = guide_33_test(IRON_ORE, certified=60.73, within_sd=0.09, between_sd=0.20)
    assert found.mean == pytest.approx(61.087, abs=1e-9)
    assert found.within_sd == pytest.approx(0.0920205, abs=5e-8)
    assert found.precision_ratio == pytest.approx(1.045405, abs=5e-7)
    assert found.precision_limit == pytest.approx(1.879886, abs=5e-7)
    assert found.precision_passes
    assert found.deviation == pytest.approx(0.357, abs=1e-9)
    assert found.trueness_limit == pytest.approx(0.404212, abs=5e-7)
    assert found.trueness_passes


def test_iron_ore_would_be_rejected_without_the_scatter_between_laboratories():
    assert student_test(IRON_ORE, certified=60.73).t == pytest.approx(12.27, abs=5e-3)  # derived
    found = guide_33_test(IRON_ORE, certified=60.73, within_sd=0.09, between_sd=0.0)
    assert not found.trueness_passes


# CCQM-K30, lead in wine: Hearn et al. 2008, Metrologia 45:08001, as in metRology; reference 2.99 mg/kg, U 0.06 (k = 2)
# (values and uncertainties seen; scores derived). Formulas: ISO 13528:2015 9.6 and 9.7 (from memory).
@pytest.mark.parametrize(
    ("laboratory", "value", "u", "expanded", "zeta", "en"),
    [
        ("INMETRO", 1.620, 0.0440, 0.088, -25.7257, -12.8629),
        ("KRISS", 2.893, 0.020657, 0.044, -2.6631, -1.3037),
        ("NMIJ", 2.936, 0.0125, 0.025, -1.6615, -0.8308),
        ("LGC", 3.000, 0.0500, 0.100, 0.1715, 0.0857),
        ("LNE", 3.130, 0.0600, 0.120, 2.0870, 1.0435),
        ("INM", 7.710, 0.9900, 1.980, 4.7655, 2.3827),
    ],
)
def test_lead_in_wine(laboratory, value, u, expanded, zeta, en):
    found = zeta_score(value=value, value_u=u, certified=2.99, certified_u=0.03)
    assert found == pytest.approx(zeta, abs=5e-5)
    assert (abs(found) > ZETA_ACTION) == (laboratory in ("INMETRO", "INM"))
    number = en_number(value=value, value_expanded=expanded, certified=2.99, certified_expanded=0.06)
    assert number == pytest.approx(en, abs=5e-5)


@pytest.mark.parametrize(
    ("bias", "counts"),
    [
        (0.25, (126, 169, 208)),
        (0.5, (32, 43, 52)),
        (0.75, (14, 19, 24)),
        (1.0, (8, 11, 13)),
        (1.5, (4, 5, 6)),
        (2.0, (2, 3, 4)),
        (3.0, (1, 2, 2)),
    ],
)
def test_standards_needed_to_see_a_bias(bias, counts):
    # Derived: level 0.05 two-sided, power 0.80, 0.90, 0.95.
    assert tuple(standards_needed(bias_in_sd=bias, power=power) for power in (0.80, 0.90, 0.95)) == counts
    assert power_of_standards(results=counts[0], bias_in_sd=bias) >= 0.80
