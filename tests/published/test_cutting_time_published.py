"""Cutting time: worked examples, exact to the digits shown (derived by hand from the definitions; none is printed)."""

import pytest

from trayside.core.cutting_time import (
    TimeLog,
    TimeSettings,
    learn_times,
    metres_per_shift,
    minutes_per_metre,
    sawn_area,
    specific_energy,
    starting_times,
)

SIZES = (47.6, 63.5, 85.0)
# Core diameters NQ 47.6, HQ 63.5, PQ 85.0 mm: an exploration primer, p. 10 (seen).


@pytest.mark.parametrize(("diameter", "area"), [(47.6, 0.0476), (63.5, 0.0635), (85.0, 0.0850)])
def test_area_of_a_metre(diameter, area):
    assert sawn_area(core_diameter_mm=diameter) == pytest.approx(area, abs=1e-12)


def test_a_quarter_adds_half_a_diameter():
    extra = sawn_area(core_diameter_mm=47.6, cut="quarter") - sawn_area(core_diameter_mm=47.6)
    assert extra == pytest.approx(0.0238, abs=1e-12)


@pytest.fixture
def after_one_log():
    # 10 m NQ cut in 42.0 min: 0.680 m2/h. Sizes alike and an open mind, so that the log decides.
    settings = TimeSettings(area_rate_m2_h=1.0, rock_sd=1e4, size_sd=1e-6, log_sd=0.01)
    belief = starting_times(rocks=["granite"], core_diameter_mm=SIZES, settings=settings)
    log = TimeLog(rock="granite", core_diameter_mm=47.6, metres=10.0, cutting_min=42.0)
    return learn_times(belief=belief, logs=[log]).belief


@pytest.mark.parametrize(("diameter", "minutes"), [(47.6, 4.2), (63.5, 5.603), (85.0, 7.500)])
def test_one_log_of_nq_tells_hq_and_pq(after_one_log, diameter, minutes):
    found = minutes_per_metre(belief=after_one_log, rock="granite", core_diameter_mm=diameter)
    assert found.area_rate_m2_h == pytest.approx(0.680, abs=0.0005)
    assert found.cutting == pytest.approx(minutes, abs=0.0005)


@pytest.mark.parametrize(("diameter", "metres"), [(47.6, 66.7), (63.5, 52.9), (85.0, 41.4)])
def test_metres_of_a_shift(after_one_log, diameter, metres):
    # 1.2 min/m of handling, 360 productive minutes.
    found = minutes_per_metre(belief=after_one_log, rock="granite", core_diameter_mm=diameter)
    assert found.handling == pytest.approx(1.2)
    shift = metres_per_shift(productive_min=360, cutting=found.cutting, handling=found.handling)
    assert shift == pytest.approx(metres, abs=0.05)


def test_specific_energy_of_that_log():
    # 1,500 W at the blade, kerf 3 mm: 2.647 J/mm3.
    found = specific_energy(power_w=1500, area_rate_m2_h=0.68, kerf_mm=3.0)
    assert found == pytest.approx(2.647, abs=0.0005)


@pytest.mark.parametrize(
    ("energy", "cm2_min", "nq", "hq", "pq"),
    [(1, 300.0, 1.59, 2.12, 2.83), (2, 150.0, 3.17, 4.23, 5.67), (4, 75.0, 6.35, 8.47, 11.33),
     (7, 42.9, 11.11, 14.82, 19.83), (10, 30.0, 15.87, 21.17, 28.33)],
)  # fmt: skip
def test_table_of_specific_energies(energy, cm2_min, nq, hq, pq):
    # Worked from area rate = power / (energy x kerf), 1,500 W, kerf 3 mm.
    rate = 1500 / (energy * 3.0) * 60 / 100
    assert rate == pytest.approx(cm2_min, abs=0.05)
    assert specific_energy(power_w=1500, area_rate_m2_h=rate * 60 / 10_000, kerf_mm=3.0) == pytest.approx(energy)
    for diameter, minutes in zip(SIZES, (nq, hq, pq), strict=True):
        found = sawn_area(core_diameter_mm=diameter) / (rate / 10_000)
        assert found == pytest.approx(minutes, abs=0.005 + 1e-9)
