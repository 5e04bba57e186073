"""A shift worked out: published examples come through unchanged, and the words say how it stands under whose limits."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest

from trayside.app.exposure_limits import GRADES
from trayside.app.shift_safety import assess_shift
from trayside.core.planning_aid import PLANNING_AID
from trayside.model.exposure_record import (
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    ShiftExposure,
    Surroundings,
    VibrationTask,
)
from trayside.model.safety_settings import OwnLimit, SafetySettings

SETTINGS = SafetySettings()
EMPTY = ShiftExposure(date(2031, 5, 4), "Demo operator", 8.0)
DRY = Surroundings(one_hand=False, seated_or_kneeling=False, tight_space=False, load_shifts=False,
                   carries_or_pushes=False, fast_or_jerky=False, floor_friction=0.6, air_degc=22.0, humidity=0.4)  # fmt: skip


def noise(*tasks: tuple[float, float], worn: bool = False, **more):
    named = tuple(NoiseTask(f"task {place}", level, hours, worn) for place, (level, hours) in enumerate(tasks))
    return assess_shift(replace(EMPTY, noise=named, **more), SETTINGS)


def air(*stretches: tuple[float, float], **more):
    named = tuple(AirTask(f"air {place}", hours * 60, concentration_mg_m3=c) for place, (c, hours) in enumerate(stretches))
    return assess_shift(replace(EMPTY, air=named, **more), SETTINGS)


def line(safety, rule: str):
    return next(one for one in safety.noise.lines if one.rule == rule)


def grades(hazard) -> dict[str, str]:
    return {one.whose: one.grade for one in hazard.verdicts}


# noise


def test_the_printed_osha_day_gives_its_dose_and_mean():
    # 4 h at 90, 2 h at 95, 2 h at 85 dBA: 112.5 %, 90.85 dBA. soundtrace.com on 1910.95 (seen).
    safety = noise((90.0, 4.0), (95.0, 2.0), (85.0, 2.0))
    assert line(safety, "osha").dose == pytest.approx(1.125, abs=0.0005)
    assert line(safety, "osha").level_dba == pytest.approx(90.85, abs=0.005)
    assert safety.noise.hazard.grade == "above"
    assert "above the limit of 90 dBA under United States (OSHA)" in safety.noise.hazard.says[0]


def test_rules_stand_side_by_side_and_do_not_agree():
    # 98 dBA for 2 h: L_EX,8h 91.98 (derived); NIOSH 98-126 doubles every 3 dB.
    safety = noise((98.0, 2.0))
    assert line(safety, "lex8").level_dba == pytest.approx(91.98, abs=0.005)
    assert line(safety, "lex8").dose is None
    assert line(safety, "osha").dose == pytest.approx(2.0 / (8.0 / 2 ** (8 / 5)))
    assert line(safety, "niosh").dose == pytest.approx(2.0 / (8.0 / 2 ** (13 / 3)))
    assert grades(safety.noise.hazard)["United States (OSHA)"] == "action"
    assert grades(safety.noise.hazard)["Australia"] == "above"


def test_a_day_that_meets_the_action_level_exactly_is_at_it_and_a_limit_met_exactly_is_not_broken():
    # 8 h at 85 dBA is half a dose and 85 dBA: 29 CFR 1910.95(c) (seen). 8 h at 90 dBA is a full dose, not above it.
    assert grades(noise((85.0, 8.0)).noise.hazard)["United States (OSHA)"] == "action"
    assert grades(noise((84.9, 8.0)).noise.hazard)["United States (OSHA)"] == "below"
    assert grades(noise((90.0, 8.0)).noise.hazard)["United States (OSHA)"] == "action"
    assert grades(noise((90.1, 8.0)).noise.hazard)["United States (OSHA)"] == "above"


def test_a_quiet_day_is_below_everything_in_words():
    safety = noise((70.0, 8.0))
    assert safety.noise.hazard.grade == "below"
    assert "below the action level of 85 dBA under United States (OSHA)" in safety.noise.hazard.says[0]


def test_a_protector_counts_only_where_it_was_worn():
    # 100 dBA, NRR 25: 82 by Appendix B, 91 by half of it (quoted from OSHA, seen).
    for method, behind in (("osha_app_b", 82.0), ("osha_half", 91.0)):
        worn = noise((100.0, 8.0), worn=True, protector=Protector(25.0, "muff", method))
        assert line(worn, "osha").protected_dba == pytest.approx(behind, abs=0.005)
        assert line(worn, "osha").level_dba == pytest.approx(100.0, abs=0.005)
    tasks = (NoiseTask("with", 100.0, 7.0, True), NoiseTask("without", 100.0, 1.0))
    partly = assess_shift(replace(EMPTY, noise=tasks, protector=Protector(25.0, "muff", "osha_app_b")), SETTINGS)
    # Dose behind: 7 h at 82 and 1 h at 100 dBA.
    assert line(partly, "osha").protected_dose == pytest.approx(7 / (8 / 2 ** (-8 / 5)) + 1 / (8 / 2**2))
    assert any(says.startswith("It was off for 1 h: 9") for says in partly.noise.hazard.says)
    nobody = noise((100.0, 8.0), protector=Protector(25.0, "muff", "osha_app_b"))
    assert line(nobody, "osha").protected_dba is None
    assert "A protector is described, and no task says that it was worn." in nobody.noise.hazard.says


def test_every_method_is_shown_and_the_named_one_judges():
    # 100 dBA: muff 26 by NIOSH 87.5; by CSA 84.8 (derived from the described methods).
    safety = noise((100.0, 8.0), worn=True, protector=Protector(26.0, "muff", "niosh"))
    by = {ear.method: ear.level_dba for ear in safety.noise.ears}
    assert by["niosh"] == pytest.approx(87.5)
    assert by["csa"] == pytest.approx(84.8)
    assert line(safety, "osha").protected_dba == pytest.approx(87.5, abs=0.005)
    assert any("not above the 90 dBA to be reached" in says for says in safety.noise.hazard.says)
    strict = assess_shift(safety.exposure, SafetySettings(protector_target_dba=85.0))
    assert any("ABOVE the 85 dBA to be reached" in says for says in strict.noise.hazard.says)


def test_two_protectors_at_once_are_judged_only_by_a_method_that_knows_them():
    safety = noise((105.0, 8.0), worn=True, protector=Protector(29.0, "muff", "osha_half", dual=True))
    assert {ear.method for ear in safety.noise.ears} == {"osha_app_b", "osha_half"}


def test_a_protector_better_than_the_noise_is_loud_leaves_silence_not_an_error():
    safety = noise((20.0, 8.0), worn=True, protector=Protector(33.0, "muff", "osha_app_b"))
    assert line(safety, "osha").protected_dba < line(safety, "osha").level_dba


def test_odd_noise_is_flagged_and_kept():
    safety = noise((120.0, 0.2), (20.0, 9.0))
    assert [flag.split(":")[0] for flag in safety.noise.hazard.flags] == ["task 0", "task 1", "9.2 h of noise in a shift of 8 h"]
    short = noise((90.0, 4.0))
    assert short.noise.hazard.flags == ("4.0 h of the shift have no level and count as quiet: the result may be too low",)


def test_the_action_level_of_a_long_shift_is_that_of_its_length():
    # 10 h: 83.4, 12 h: 82.1 dBA (workplace-hygiene.com, seen; printed 83 and 82).
    assert noise((90.0, 8.0), shift_h=10.0).noise.shift_action_dba == pytest.approx(83.4, abs=0.05)
    assert noise((90.0, 8.0), shift_h=12.0).noise.shift_action_dba == pytest.approx(82.1, abs=0.05)


# silica


def test_the_mean_has_the_fixed_divisor_and_the_action_level_is_at_or_above():
    # 3 h at 60, 2 h at 20, 3 h at 5 ug/m3: 29.375 (derived): at the action level of 25, not above 50.
    safety = air((0.060, 3.0), (0.020, 2.0), (0.005, 3.0))
    assert safety.silica.mean_mg_m3 == pytest.approx(0.029375)
    found = grades(safety.silica.hazard)
    assert found["United States (general industry)"] == "action"
    assert found["Australia"] == "below"
    assert found["ACGIH"] == "advised"
    ten = air((0.040, 10.0), shift_h=10.0)
    assert ten.silica.mean_mg_m3 == pytest.approx(0.050)  # divided by 8, not by 10
    assert grades(ten.silica.hazard)["United States (mines)"] == "action"  # 0.05 itself is not above it


def test_a_filter_gives_its_concentration():
    # OSHA ID-142: 480 min at 1.7 L/min are 816 L; 20.6 ug are 25.2 ug/m3 (seen, withdrawn January 2020).
    task = AirTask("full shift", 480.0, mass_ug=20.6, flow_l_min=1.7)
    safety = assess_shift(replace(EMPTY, air=(task,)), SETTINGS)
    assert safety.silica.lines[0].litres == pytest.approx(816.0)
    assert safety.silica.mean_mg_m3 * 1000 == pytest.approx(25.2, abs=0.05)
    assert grades(safety.silica.hazard)["United States (construction)"] == "action"


def test_a_long_shift_brings_limits_down_only_by_choice():
    # Brief and Scala: 10 h 0.70, 12 h 0.50 (three pages, seen).
    plain = air((0.030, 10.0), shift_h=10.0)
    assert plain.silica.adjusted_by == "none"
    assert "Brief and Scala would bring them down to 0.70" in plain.silica.hazard.says[1]
    chosen = air((0.030, 10.0), shift_h=10.0, long_shift="brief_scala")
    used = {(one.whose, one.name): one.used for verdict in chosen.silica.hazard.verdicts for one in verdict.held}
    assert used["Australia", "exposure standard"] == pytest.approx(0.035)
    assert grades(plain.silica.hazard)["Australia"] == "below"
    assert grades(chosen.silica.hazard)["Australia"] == "above"
    assert grades(air((0.030, 8.0), long_shift="brief_scala").silica.hazard)["Australia"] == "below"


def test_what_was_not_sampled_or_not_seen_is_said():
    task = AirTask("morning", 240.0, concentration_mg_m3=0.01, below=True, basis="typical")
    flags = assess_shift(replace(EMPTY, air=(task,)), SETTINGS).silica.hazard.flags
    assert any("less than the laboratory can see" in flag for flag in flags)
    assert any("4.0 h of the shift were not sampled" in flag for flag in flags)
    assert any("a typical value, not measured" in flag for flag in flags)
    assert any("they must not overlap" in flag for flag in air((0.01, 5.0), (0.01, 5.0)).silica.hazard.flags)
    assert any("look at the units" in flag for flag in air((50.0, 8.0)).silica.hazard.flags)


# lifting


def lifting(*lifts: Lift, work_h: float = 0.75, recovery_h: float = 1.0, place: Surroundings = DRY):
    return assess_shift(replace(EMPTY, lifting=Lifting(lifts, work_h, recovery_h, place)), SETTINGS).lifting


def test_the_printed_metric_lift_gives_its_limit():
    # 12 kg, H 25, V 55, D 95, 3 a minute, 45 min, fair: 15.7 kg, index 0.76 (homework page, seen).
    day = lifting(Lift("box", 12.0, 25.0, 55.0, 150.0, 3.0, "fair"))
    assert day.lines[0].result.limit_kg == pytest.approx(15.7, abs=0.05)
    # The page divides by its rounded limit.
    assert 12.0 / round(day.lines[0].result.limit_kg, 1) == pytest.approx(0.76, abs=0.005)
    assert day.job.index == pytest.approx(12.0 / day.lines[0].result.limit_kg)
    assert day.hazard.grade == "below"
    assert day.duration == "short"
    assert day.warnings == ()


def test_a_tray_from_the_floor_is_highly_stressful():
    # 27.02 kg, H 40, V 20, D 80, now and then, 2 to 8 h, fair: at most 8.49 kg, index 3.1 with rounded factors (derived).
    day = lifting(Lift("tray", 27.02, 40.0, 20.0, 100.0, 0.2, "fair"), work_h=4.0)
    assert day.lines[0].result.limit_kg == pytest.approx(8.49, abs=0.005)
    assert day.hazard.grade == "above"
    assert "highly stressful" in day.hazard.says[0]


def test_several_lifts_are_worse_than_the_hardest_alone():
    tray = Lift("tray", 20.0, 30.0, 75.0, 100.0, 0.5, "fair")
    sack = Lift("sack", 15.0, 35.0, 30.0, 60.0, 1.0, "poor")
    both = lifting(tray, sack)
    assert both.job.index > max(line.result.index for line in both.lines)
    assert "The hardest is" in both.hazard.says[1]


def test_a_load_set_down_with_care_is_judged_at_its_worse_end():
    easy = Lift("tray", 15.0, 25.0, 75.0, 100.0, 0.2, "good")
    far = replace(easy, end_reach_cm=60.0)
    assert not lifting(easy).lines[0].at_end
    assert lifting(far).lines[0].at_end
    assert lifting(far).job.index == pytest.approx(lifting(far).lines[0].result.index)
    assert lifting(far).job.index > 2 * lifting(easy).job.index


def test_the_wet_floor_and_what_was_not_said_are_told():
    wet = lifting(Lift("tray", 10.0, 30.0, 75.0, 100.0, 0.2, "fair"), place=Surroundings(floor_wet=True))
    assert any("The floor is wet" in one for one in wet.warnings)
    assert any(one.startswith("Not said") for one in wet.warnings)
    assert "The equation does not hold here as it stands: take less than it says." in wet.hazard.says


def test_more_than_eight_hours_of_lifting_are_worked_out_and_said_not_to_hold():
    day = lifting(Lift("tray", 10.0, 30.0, 75.0, 100.0, 0.2, "fair"), work_h=9.0, recovery_h=0.0)
    assert day.duration == "long"
    assert any("More than 8 h of lifting" in one for one in day.warnings)


def test_a_good_grip_in_gloves_is_odd():
    lift = Lift("tray", 10.0, 30.0, 75.0, 100.0, 0.2, "good")
    flag = "tray: a good grip, although trays and sacks are handled in gloves here: fair at best"
    exposure = replace(EMPTY, lifting=Lifting((lift,), 0.75, 1.0, DRY))
    assert flag in assess_shift(exposure, SETTINGS).lifting.hazard.flags
    assert assess_shift(exposure, SafetySettings(gloves=False)).lifting.hazard.flags == ()


def test_what_is_out_of_reach_may_not_be_lifted():
    day = lifting(Lift("tray", 10.0, 64.0, 75.0, 100.0, 0.2, "fair"))
    assert math.isinf(day.job.index)
    assert day.hazard.grade == "above"
    assert day.hazard.figure == "nothing may be lifted this way"


# vibration


def test_the_printed_vibration_day_gives_its_points():
    # 4.5 m/s2 for 2 h and 3 m/s2 for 4 h: A(8) 3.0923, 153 points (Directive 2002/44/EC, seen; points as in HSE practice).
    tasks = (VibrationTask("cutter", 4.5, 120.0), VibrationTask("drill", 3.0, 240.0))
    safety = assess_shift(replace(EMPTY, vibration=tasks), SETTINGS).vibration
    assert safety.a8_m_s2 == pytest.approx(3.0923, abs=0.00005)
    assert safety.points == pytest.approx(153.0)
    assert safety.hazard.grade == "action"
    assert safety.lines[0].hours_to_action == pytest.approx(8 * (2.5 / 4.5) ** 2)


def test_a_machine_that_does_not_shake_never_reaches_a_limit():
    safety = assess_shift(replace(EMPTY, vibration=(VibrationTask("saw", 0.0, 60.0),)), SETTINGS)
    assert math.isinf(safety.vibration.lines[0].hours_to_limit)
    assert safety.vibration.hazard.grade == "below"


# all together


def test_nothing_entered_is_nothing_known():
    safety = assess_shift(EMPTY, SETTINGS)
    assert [one.grade for one in safety.hazards] == ["none"] * 4
    assert safety.grade == "none"


def test_the_gravest_part_decides_and_the_cautions_are_always_there():
    safety = assess_shift(
        replace(EMPTY, noise=(NoiseTask("saw", 100.0, 8.0),), vibration=(VibrationTask("saw", 0.5, 60.0),)), SETTINGS
    )
    assert safety.grade == "above"
    assert safety.cautions[0] == PLANNING_AID


def test_only_the_limits_a_yard_chose_are_held_against():
    settings = SafetySettings(
        noise_rules=("lex8",), noise_jurisdictions=("Australia",), silica_jurisdictions=(), vibration_jurisdictions=()
    )
    exposure = replace(
        EMPTY, noise=(NoiseTask("saw", 96.0, 4.0, True),), protector=Protector(24.0, "muff", "osha_half"),
        air=(AirTask("saw", 480.0, concentration_mg_m3=0.3),), vibration=(VibrationTask("saw", 9.0, 480.0),),
    )  # fmt: skip
    safety = assess_shift(exposure, settings)
    assert grades(safety.noise.hazard) == {"Australia": "above"}
    assert [one.rule for one in safety.noise.lines] == ["lex8"]
    assert not any("87" in says for says in safety.noise.hazard.says)
    assert safety.silica.hazard.grade == "none"
    assert safety.silica.hazard.says[0] == "No limits of silica are chosen in the rules."
    assert safety.vibration.hazard.grade == "none"


def test_a_yard_may_add_limits_of_its_own():
    own = (
        OwnLimit(quantity="noise lex8", name="limit", jurisdiction="Permit", value=82, document="permit 7", date="2030"),
        OwnLimit(quantity="silica", name="action level", jurisdiction="Permit", value=0.01, reached="at or above",
                 document="permit 7", date="2030"),
        OwnLimit(quantity="vibration", name="aim", jurisdiction="Permit", value=1.0, binding=False, document="permit 7",
                 date="2030"),
    )  # fmt: skip
    exposure = replace(
        EMPTY, noise=(NoiseTask("saw", 83.0, 8.0),), air=(AirTask("saw", 480.0, concentration_mg_m3=0.01),),
        vibration=(VibrationTask("saw", 2.0, 480.0),),
    )  # fmt: skip
    safety = assess_shift(exposure, SafetySettings(own_limits=own))
    assert grades(safety.noise.hazard)["Permit"] == "above"
    assert grades(safety.silica.hazard)["Permit"] == "action"
    assert grades(safety.vibration.hazard)["Permit"] == "advised"
    held = [one for verdict in safety.noise.hazard.verdicts for one in verdict.held if one.whose == "Permit"]
    assert held[0].limit.source.document == "permit 7"
    assert held[0].limit.date == "2030"


def test_every_limit_it_was_held_against_has_a_document_a_date_and_grades_of_both():
    safety = assess_shift(
        replace(EMPTY, noise=(NoiseTask("saw", 90.0, 8.0),), air=(AirTask("saw", 480.0, concentration_mg_m3=0.03),),
                vibration=(VibrationTask("saw", 2.0, 60.0),)), SETTINGS,
    )  # fmt: skip
    held = [one for hazard in safety.hazards for verdict in hazard.verdicts for one in verdict.held]
    assert len(held) == 6 + 11 + 2
    for one in held:
        assert one.limit.source.document
        assert one.limit.date
        assert one.limit.date_grade
        assert one.whose
    assert all(verdict.grade in GRADES for hazard in safety.hazards for verdict in hazard.verdicts)
