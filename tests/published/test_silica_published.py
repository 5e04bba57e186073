"""Silica against printed examples. Tolerance: half the last printed place."""

import pytest

from trayside.core.silica import (
    SILICA_LIMITS,
    adjusted_limit,
    eight_hour_mean,
    mixture_sum,
    sample_verdict,
    sampled_concentration,
    sampled_shift,
    silica_day,
)


def test_mean_over_8_h_of_the_regulation():
    # 29 CFR 1910.1000(d)(1)(ii) (seen): 2 h at 150, 2 h at 75, 4 h at 50 ppm: 81.25 ppm, below 100.
    assert eight_hour_mean(hours=[2, 2, 4], concentration=[150, 75, 50]) == pytest.approx(81.25, abs=0.005)


def test_mixture_of_the_regulation():
    # 29 CFR 1910.1000(d)(2) (inputs seen, printed total from memory): 0.500 + 0.225 + 0.200 = 0.925.
    found = mixture_sum(concentration=[500, 45, 40], limit=[1000, 200, 200])
    assert found == pytest.approx(0.925, abs=0.0005)


def test_osha_silica_mixture_page():
    # OSHA silica page, mixture example (seen): 1.474 mg in 731 L: 2.0 mg/m3 of dust; its limit formula is withdrawn.
    dust = sampled_shift(mass_mg=[0.855, 0.619], volume_l=[405, 326], sampled_min=[238, 192])
    assert dust.mass_mg == pytest.approx(1.474, abs=0.0005)
    assert dust.concentration_mg_m3 == pytest.approx(2.0, abs=0.05)
    # The same samples by today's rule (derived): quartz and cristobalite 0.10436 mg, 0.14276 mg/m3, mean 0.1279.
    silica = sampled_shift(
        mass_mg=[0.855 * (0.052 + 0.023), 0.619 * (0.048 + 0.017)], volume_l=[405, 326], sampled_min=[238, 192]
    )
    assert silica.mass_mg == pytest.approx(0.10436, abs=5e-6)
    assert silica.concentration_mg_m3 == pytest.approx(0.14276, abs=5e-6)
    assert silica.mean_mg_m3 == pytest.approx(0.1279, abs=5e-5)


@pytest.mark.parametrize(("mass_ug", "printed"), [(9.76, 12.0), (20.6, 25.2)])
def test_method_id_142_volumes(mass_ug, printed):
    # OSHA ID-142 (seen, withdrawn January 2020): 480 min at 1.7 L/min, 816 L; 9.76 ug is 12.0 ug/m3, 20.6 ug 25.2.
    found = sampled_concentration(mass_mg=mass_ug / 1000, litres_per_minute=1.7, sampled_min=480)
    assert found * 1000 == pytest.approx(printed, abs=0.05)
    assert pytest.approx(816) == 1.7 * 480


def test_one_sample_and_its_error():
    # Textbook copy of OSHA's method (seen): 6.07 against 5.0, error 0.23: Y 1.21, 0.98 to 1.44, possible overexposure.
    found = sample_verdict(result=6.07, limit=5.0, error=0.23)
    assert found.severity == pytest.approx(1.21, abs=0.005)
    assert found.low == pytest.approx(0.98, abs=0.005)
    assert found.high == pytest.approx(1.44, abs=0.005)
    assert found.verdict == "possibly above the limit"


@pytest.mark.parametrize(("hours", "factor"), [(10, 0.70), (12, 0.50)])
def test_brief_and_scala(hours, factor):
    # Three pages (seen): 0.70 for 10 h, 0.50 for 12 h; 0.05 becomes 0.035 and 0.025 mg/m3.
    found = adjusted_limit(limit=0.05, shift_h=hours, way="brief_scala")
    assert found == pytest.approx(0.05 * factor, abs=1e-12)
    # ohshub (seen) prints the formula as "8 x h": with that the factor would be far from its own result.
    assert abs(8 * hours * (24 - hours) / 16 - factor) > 1


def test_a_saw_shift_between_action_level_and_limit():
    # Worked from the definition (derived): 3 h at 60, 2 h at 20, 3 h at 5 ug/m3: 29.375 ug/m3.
    day = silica_day(hours=[3, 2, 3], concentration_mg_m3=[0.060, 0.020, 0.005])
    assert day.mean_mg_m3 == pytest.approx(0.029375, abs=1e-12)
    mines = {one.limit.name: one.reached for one in day.results if one.limit.jurisdiction == "United States, mines"}
    assert mines == {"action level": True, "limit": False}


@pytest.mark.parametrize(
    ("level", "action", "limit"),
    [(0.0249, False, False), (0.025, True, False), (0.05, True, False), (0.0501, True, True)],
)
def test_exactly_50_is_no_breach_and_exactly_25_is_the_action_level(level, action, limit):
    # 29 CFR 1910.1053 (summary seen): "in excess of" 50 ug/m3; action level "at or above" 25.
    day = silica_day(hours=[8], concentration_mg_m3=[level])
    osha = {one.limit.name: one.reached for one in day.results if "general industry" in one.limit.jurisdiction}
    assert osha == {"action level": action, "limit": limit}


@pytest.mark.parametrize(
    ("jurisdiction", "name", "value"),
    [
        ("United States, general industry", "limit", 0.05),  # OSHA memo 25 June 2018 (seen)
        ("United States, construction", "limit", 0.05),  # the same (seen)
        ("United States, mines", "limit", 0.05),  # MSHA FAQ 28 June 2024 (seen)
        ("United States, mines", "action level", 0.025),  # the same (seen)
        ("Australia", "exposure standard", 0.05),  # SafeWork SA (seen)
        ("European Union", "limit value", 0.1),  # NEPSI guide to Directive (EU) 2017/2398 (seen)
        ("Great Britain", "workplace exposure limit", 0.1),  # HSE page on cutting kerbs (seen)
    ],
)
def test_limits_as_printed(jurisdiction, name, value):
    assert [one.value for one in SILICA_LIMITS if (one.jurisdiction, one.name) == (jurisdiction, name)] == [value]
