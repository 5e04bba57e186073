"""Silica: the divisor stays 8 h, adjustment only when asked for, limits with document and date."""

import pytest

from trayside.core.silica import (
    SILICA_LIMITS,
    adjusted_limit,
    eight_hour_mean,
    sample_verdict,
    sampled_concentration,
    sampled_shift,
    silica_day,
)
from trayside.errors import ImpossibleValue


def test_a_12_h_shift_is_still_divided_by_8():
    assert eight_hour_mean(hours=12, concentration=0.04) == pytest.approx(0.06)


def test_the_limit_is_brought_down_only_when_asked():
    day = dict(hours=[10.0], concentration_mg_m3=[0.032], shift_h=10.0)
    plain, adjusted = (silica_day(**day, way=way) for way in ("none", "brief_scala"))
    assert plain.mean_mg_m3 == adjusted.mean_mg_m3 == pytest.approx(0.04)
    osha = [
        [one for one in found.results if one.limit.jurisdiction == "United States, mines"][1]
        for found in (plain, adjusted)
    ]
    assert [one.used_mg_m3 for one in osha] == pytest.approx([0.05, 0.035])
    assert [one.reached for one in osha] == [False, True]
    assert adjusted.adjusted_by == "brief_scala"


def test_a_short_shift_keeps_the_limit():
    assert adjusted_limit(limit=0.05, shift_h=6.0, way="brief_scala") == 0.05


def test_every_limit_names_document_date_and_grade():
    for limit in SILICA_LIMITS:
        assert limit.source.document
        assert limit.date
        assert limit.date_grade in ("seen", "from memory")
    assert {one.jurisdiction for one in SILICA_LIMITS if not one.binding} == {"NIOSH", "ACGIH"}


def test_words_name_what_is_reached():
    assert "no limit reached" in silica_day(hours=[8], concentration_mg_m3=[0.001]).says
    assert "Great Britain" in silica_day(hours=[8], concentration_mg_m3=[0.11]).says


def test_unsampled_time_counts_as_clean():
    half = sampled_shift(mass_mg=[0.02], volume_l=[408.0], sampled_min=[240.0])
    assert half.mean_mg_m3 == pytest.approx(half.concentration_mg_m3 / 2.0)
    same = sampled_concentration(mass_mg=0.02, litres_per_minute=1.7, sampled_min=240.0)
    assert half.concentration_mg_m3 == pytest.approx(same)


@pytest.mark.parametrize(
    ("result", "verdict"), [(3.0, "not above the limit"), (5.5, "possibly above the limit"), (7.0, "above the limit")]
)
def test_verdicts_of_one_sample(result, verdict):
    assert sample_verdict(result=result, limit=5.0, error=0.2).verdict == verdict


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: eight_hour_mean(hours=[20, 5], concentration=[1, 1]), "25 h in one day"),
        (lambda: eight_hour_mean(hours=[1], concentration=[-1]), "at least 0"),
        (lambda: sampled_concentration(mass_mg=1, litres_per_minute=0, sampled_min=10), "more than 0"),
        (lambda: sampled_shift(mass_mg=[1], volume_l=[0], sampled_min=[10]), "more than 0"),
        (lambda: sampled_shift(mass_mg=[1, 1], volume_l=[9, 9], sampled_min=[800, 800]), "1600 min"),
        (lambda: adjusted_limit(limit=0.05, shift_h=12, way="osha"), "brief_scala"),
        (lambda: adjusted_limit(limit=0.05, shift_h=24, way="none"), "less than 24"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ImpossibleValue, match=match):
        call()
