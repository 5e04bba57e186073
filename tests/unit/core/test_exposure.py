"""Noise: rules side by side, the table of hours, thresholds, limits reached, refusals in words."""

import pytest

from trayside.core.exposure import RULES, allowed_hours, daily_level, mean_level, noise_day, noise_dose, noise_points
from trayside.core.noise_tables import NOISE_LIMITS
from trayside.core.planning_aid import PLANNING_AID
from trayside.errors import ImpossibleValue

SAW_DAY = dict(hours=[3.0, 2.0, 3.0], level_dba=[96.0, 88.0, 75.0])


@pytest.mark.parametrize(("rule", "level"), [("osha", 90.0), ("niosh", 85.0)])
def test_8_h_at_the_level_of_the_rule_is_a_full_dose(rule, level):
    assert noise_dose(hours=8.0, level_dba=level, rule=rule) == 1.0
    assert mean_level(dose=1.0, rule=rule) == level


@pytest.mark.parametrize(("rule", "step"), [("osha", 5.0), ("niosh", 3.0)])
def test_a_step_more_doubles_the_dose(rule, step):
    base = noise_dose(hours=4.0, level_dba=92.0, rule=rule)
    assert noise_dose(hours=4.0, level_dba=92.0 + step, rule=rule) == pytest.approx(2.0 * base)


def test_quiet_stretches_count_unless_a_threshold_leaves_them_out():
    everything = noise_dose(**SAW_DAY, rule="osha")
    from_80 = noise_dose(**SAW_DAY, rule="osha", threshold_dba=80.0)
    from_90 = noise_dose(**SAW_DAY, rule="osha", threshold_dba=90.0)
    assert everything - from_80 == pytest.approx(3.0 / 64.0)
    assert from_80 - from_90 == pytest.approx(2.0 / (8.0 * 2.0**0.4))
    assert from_90 == pytest.approx(3.0 / (8.0 / 2.0**1.2))


def test_the_same_day_stands_beside_itself_under_every_rule():
    day = noise_day(**SAW_DAY)
    by_rule = {one.rule: one for one in day.results}
    assert set(by_rule) == {*RULES, "lex8"}
    assert by_rule["osha"].dose == pytest.approx(noise_dose(**SAW_DAY, rule="osha"))
    assert by_rule["lex8"].level_dba == pytest.approx(daily_level(**SAW_DAY))
    assert by_rule["lex8"].dose is None
    # By hand: 3 h at 96 and 2 h at 88 are 1.651e9 in energy over 8 h: 92.18 dBA. OSHA: 0.861 + 0.330 + 0.047, above 1.
    assert by_rule["lex8"].level_dba == pytest.approx(92.18, abs=0.05)
    assert [one.name for one in by_rule["osha"].reached] == ["osha action level", "osha limit"]
    assert {one.name for one in by_rule["lex8"].reached} == {
        "lex8 lower action value", "lex8 upper action value", "lex8 standard"
    }  # fmt: skip
    assert day.caution == PLANNING_AID
    assert day.hours == 8.0


@pytest.mark.parametrize(("level", "names"), [(85.0, ["osha action level"]), (84.9, []), (90.0, ["osha action level"])])
def test_the_action_level_is_reached_at_85_and_the_limit_only_above_90(level, names):
    osha = noise_day(hours=8.0, level_dba=level).results[0]
    assert [one.name for one in osha.reached] == names


def test_points_of_stretches_add_up():
    parts = [noise_points(hours=time, level_dba=level) for time, level in zip(*SAW_DAY.values(), strict=True)]
    assert sum(parts) == pytest.approx(noise_points(**SAW_DAY))


def test_every_limit_names_document_and_date():
    for limit in NOISE_LIMITS:
        assert limit.source.document
        assert limit.date


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        (dict(hours=8, level_dba=90, rule="acme"), "osha, niosh"),
        (dict(hours=25, level_dba=90, rule="osha"), "25 h in one day"),
        (dict(hours=[-1], level_dba=[90], rule="osha"), "at least 0"),
        (dict(hours=[1, 2], level_dba=[90, 91, 92], rule="osha"), "2 and 3"),
        (dict(hours=1, level_dba=200, rule="osha"), "194"),
        (dict(hours=1, level_dba=float("nan"), rule="osha"), "missing"),
        (dict(hours=1, level_dba=90.5, rule="osha", way="table"), "G-16a"),
        (dict(hours=1, level_dba=79, rule="osha", way="table"), "G-16a"),
        (dict(hours=1, level_dba=90, rule="niosh", way="table"), "formula"),
    ],
)
def test_refusals(wrong, match):
    with pytest.raises(ImpossibleValue, match=match):
        noise_dose(**wrong)


def test_a_day_without_noise_has_no_level():
    for function in (noise_day, daily_level):
        with pytest.raises(ImpossibleValue, match="no hours"):
            function(hours=0.0, level_dba=90.0)


def test_allowed_hours_take_one_level_or_many():
    assert allowed_hours(level_dba=[90, 95, 100], rule="osha").tolist() == [8.0, 4.0, 2.0]
    assert allowed_hours(level_dba=100, rule="osha", way="table").tolist() == [2.0]
