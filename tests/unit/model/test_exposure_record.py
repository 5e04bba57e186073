"""What a shift may say: impossible entries are refused by name, and every change of what was said is found."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from trayside.errors import ImpossibleValue
from trayside.model.exposure_record import (
    MOST_ENTRIES,
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    ShiftExposure,
    Surroundings,
    VibrationTask,
    additions,
    changes,
    check_exposure,
)

SAWING = NoiseTask("sawing", 97.0, 5.0, worn=True)
SHIFT = ShiftExposure(
    date(2031, 5, 4),
    "Demo operator",
    8.0,
    noise=(SAWING,),
    protector=Protector(24.0, "muff", "osha_half"),
    air=(AirTask("sawing", 240.0, concentration_mg_m3=0.03),),
    lifting=Lifting((Lift("tray", 27.0, 40.0, 20.0, 100.0, 0.2, "fair"),), 1.0, 1.0),
    vibration=(VibrationTask("cutter", 4.0, 30.0),),
)
NAN, INF = float("nan"), float("inf")


def with_noise(**values) -> ShiftExposure:
    return replace(SHIFT, noise=(replace(SAWING, **values),))


def with_air(**values) -> ShiftExposure:
    return replace(SHIFT, air=(replace(SHIFT.air[0], **values),))


def with_lift(**values) -> ShiftExposure:
    return replace(SHIFT, lifting=replace(SHIFT.lifting, lifts=(replace(SHIFT.lifting.lifts[0], **values),)))


def with_lifting(**values) -> ShiftExposure:
    return replace(SHIFT, lifting=replace(SHIFT.lifting, **values))


def with_vibration(**values) -> ShiftExposure:
    return replace(SHIFT, vibration=(replace(SHIFT.vibration[0], **values),))


def test_a_shift_that_can_be_is_taken():
    check_exposure(SHIFT)
    check_exposure(ShiftExposure(date(2031, 5, 4), "Demo operator", 8.0))


@pytest.mark.parametrize(
    ("exposure", "where"),
    [
        (replace(SHIFT, shift_h=0.0), "length of the shift"),
        (replace(SHIFT, shift_h=24.0), "length of the shift"),
        (with_noise(level_dba=-1.0), "noise, sawing, level"),
        (with_noise(level_dba=194.5), "noise, sawing, level"),
        (with_noise(level_dba=NAN), "noise, sawing, level"),
        (with_noise(hours=0.0), "noise, sawing, hours"),
        (with_noise(hours=INF), "noise, sawing, hours"),
        (with_noise(what=" "), "noise"),
        (with_noise(what="x" * 81), "noise"),
        (replace(SHIFT, noise=(SAWING, SAWING)), "noise"),
        (replace(SHIFT, noise=(replace(SAWING, hours=20.0), NoiseTask("more", 80.0, 4.1))), "noise"),
        (replace(SHIFT, noise=tuple(NoiseTask(f"{n}", 80.0, 0.1) for n in range(MOST_ENTRIES + 1))), "noise"),
        (replace(SHIFT, protector=None), "hearing protector"),
        (replace(SHIFT, protector=Protector(61.0, "muff", "osha_half")), "hearing protector, rating"),
        (with_air(concentration_mg_m3=None), "silica, sawing"),
        (with_air(mass_ug=10.0, flow_l_min=1.7), "silica, sawing"),
        (with_air(concentration_mg_m3=None, mass_ug=10.0), "silica, sawing"),
        (with_air(concentration_mg_m3=None, mass_ug=10.0, flow_l_min=0.0), "silica, sawing, flow"),
        (with_air(concentration_mg_m3=None, mass_ug=-1.0, flow_l_min=1.7), "silica, sawing, mass on the filter"),
        (with_air(concentration_mg_m3=-0.01), "silica, sawing, concentration"),
        (with_air(minutes=0.0), "silica, sawing, minutes"),
        (with_air(minutes=1441.0), "silica, sawing, minutes"),
        (with_lift(load_kg=0.0), "lifting, tray, load"),
        (with_lift(reach_cm=-1.0), "lifting, tray, reach"),
        (with_lift(end_height_cm=301.0), "lifting, tray, end height"),
        (with_lift(turn_deg=181.0), "lifting, tray, turn"),
        (with_lift(heaviest_kg=20.0), "lifting, tray, heaviest"),
        (with_lifting(work_h=None), "lifting"),
        (with_lifting(recovery_h=None), "lifting"),
        (with_lifting(work_h=0.0), "lifting, hours on end"),
        (with_lifting(place=Surroundings(humidity=1.5)), "lifting, humidity"),
        (with_lifting(place=Surroundings(floor_friction=-0.1)), "lifting, grip of the floor"),
        (with_vibration(acceleration_m_s2=-1.0), "vibration, cutter, acceleration"),
        (with_vibration(minutes=0.0), "vibration, cutter, minutes"),
        (replace(SHIFT, remark="x" * 501), "remark"),
    ],
)
def test_what_cannot_be_is_refused_by_name(exposure, where):
    with pytest.raises(ImpossibleValue) as refusal:
        check_exposure(exposure)
    assert refusal.value.where == where
    assert refusal.value.remedy


def test_what_is_only_added_is_no_change():
    more = replace(
        SHIFT,
        noise=(SAWING, NoiseTask("packing", 70.0, 3.0)),
        remark="late",
        lifting=replace(SHIFT.lifting, place=Surroundings(floor_wet=True)),
    )
    assert changes(SHIFT, more) == ()
    assert ("noise, packing, level in dBA", "70") in additions(SHIFT, more)
    assert {name for name, _ in additions(SHIFT, more)} >= {"remark", "lifting, floor wet"}


@pytest.mark.parametrize(
    ("after", "told"),
    [
        (with_noise(level_dba=95.5), ("noise, sawing, level in dBA", "97", "95.5")),
        (with_noise(worn=False), ("noise, sawing, protector worn", "yes", "no")),
        (with_air(below=True), ("silica, sawing, less than the laboratory sees", "no", "yes")),
        (replace(SHIFT, protector=replace(SHIFT.protector, method="niosh")), ("hearing protector, method", "osha_half", "niosh")),
        (replace(SHIFT, long_shift="brief_scala"), ("limits for a long shift", "none", "brief_scala")),
        (with_lifting(work_h=2.0), ("lifting, hours on end", "1", "2")),
        (replace(SHIFT, shift_h=10.0), ("length of the shift", "8 h", "10 h")),
    ],
)
def test_a_change_says_what_was_before_and_what_is_now(after, told):
    assert changes(SHIFT, after) == (told,)


def test_a_task_left_out_or_renamed_is_a_change():
    assert {name for name, _, now in changes(SHIFT, replace(SHIFT, vibration=())) if now == "–"} == {
        "vibration, cutter, vibration in m/s²",
        "vibration, cutter, minutes",
        "vibration, cutter, known from",
    }
    assert len(changes(SHIFT, with_noise(what="cutting"))) == 4


def test_every_field_of_a_shift_is_watched():
    """A field that nobody compares could be changed without a reason."""
    other = {str: "another", float: 3.5, bool: True, int: 3}
    for build, entry in ((with_noise, SAWING), (with_air, SHIFT.air[0]), (with_lift, SHIFT.lifting.lifts[0]),
                         (with_vibration, SHIFT.vibration[0])):  # fmt: skip
        for name in entry.__slots__:
            before = getattr(entry, name)
            value = not before if isinstance(before, bool) else other[type(before) if before is not None else float]
            after = build(**{name: value})
            assert changes(SHIFT, after) or additions(SHIFT, after), name
    for name in Surroundings.__slots__:
        after = with_lifting(place=Surroundings(**{name: 0.5}))
        assert additions(SHIFT, after), name
