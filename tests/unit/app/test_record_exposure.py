"""Recording a shift: the first word stays, a change wants a reason, and others' shifts are not everybody's."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from trayside.app.people import add_person
from trayside.app.record_exposure import (
    known_person,
    list_shifts,
    may_see,
    record_exposure,
    typed_day,
    view_shift,
    yard_today,
)
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule
from trayside.model.exposure_record import NoiseTask, ShiftExposure, VibrationTask
from trayside.model.person import Person
from trayside.model.rules import DispatchSettings, Rules
from trayside.store.secrets_argon2 import Argon2Secrets

DAY = date(2031, 5, 4)
SHIFT = ShiftExposure(DAY, "Demo operator", 8.0, noise=(NoiseTask("sawing", 97.0, 5.0),))


def record(yard, exposure=SHIFT, *, after: int = 0, by: str = "Demo operator", reason: str = ""):
    return record_exposure(exposure, after=after, by=by, reason=reason, start_work=yard.start_work, clock=yard.clock)


def view(yard, person: str = "Demo operator", day: date = DAY):
    with yard.start_work(writing=False) as work:
        return view_shift(work, person=person, day=day)


def add(yard, name: str, role: str = "lead") -> None:
    secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)
    add_person(name, role=role, pin="193746", start_work=yard.start_work, clock=yard.clock, make_id=yard.make_id,
               secrets=secrets)  # fmt: skip


def test_what_was_recorded_is_what_is_seen(yard):
    record(yard)
    seen = view(yard)
    assert seen.exposure == SHIFT
    assert (seen.recorded.revision, seen.recorded.recorded_by) == (1, "Demo operator")
    assert seen.safety.noise.hazard.grade == "above"
    assert seen.week is None


def test_a_change_wants_a_reason_and_names_what_would_change(yard):
    record(yard)
    louder = replace(SHIFT, noise=(NoiseTask("sawing", 99.0, 5.0),))
    with pytest.raises(RefusedByRule) as refusal:
        record(yard, louder, after=1)
    assert refusal.value.reasons == ("noise, sawing, level in dBA: 97 → 99",)
    with pytest.raises(RefusedByRule):
        record(yard, louder, after=1, reason="   ")
    record(yard, louder, after=1, by="Demo lead", reason="read  again")
    seen = view(yard)
    assert seen.exposure == louder
    assert [one.recorded.exposure for one in seen.history] == [SHIFT, louder]
    assert seen.history[1].changed == (("noise, sawing, level in dBA", "97", "99"),)
    assert seen.history[1].recorded.reason == "read again"


def test_what_is_only_added_needs_no_reason(yard):
    record(yard)
    more = replace(SHIFT, vibration=(VibrationTask("cutter", 4.0, 20.0),))
    record(yard, more, after=1)
    assert view(yard).history[1].changed == ()
    assert ("vibration, cutter, minutes", "20") in view(yard).history[1].added


def test_the_same_again_is_refused_and_stores_nothing(yard):
    record(yard)
    with pytest.raises(RefusedByRule, match="nothing was changed"):
        record(yard, after=1)
    assert view(yard).recorded.revision == 1


def test_somebody_who_was_faster_is_not_overwritten(yard):
    record(yard)
    with pytest.raises(ChangedMeanwhile):
        record(yard, replace(SHIFT, shift_h=9.0), after=0)
    with pytest.raises(ChangedMeanwhile):
        record(yard, replace(SHIFT, shift_h=9.0), after=2, reason="why not")
    assert view(yard).exposure == SHIFT


@pytest.mark.parametrize(
    ("exposure", "told"),
    [
        (replace(SHIFT, day=date(2031, 5, 5)), "has not come yet"),
        (replace(SHIFT, day=date(1999, 5, 5)), "before 2000"),
        (replace(SHIFT, noise=()), "nothing was entered"),
        (replace(SHIFT, noise=(NoiseTask("sawing", 300.0, 5.0),)), "300 dBA"),
        (replace(SHIFT, person="  "), "no name"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(yard, exposure, told):
    with pytest.raises(ImpossibleValue, match=told):
        record(yard, exposure)
    with yard.start_work(writing=False) as work:
        assert list_shifts(work, person=None) == ()


def test_the_day_is_the_yards_own():
    late = datetime(2031, 5, 4, 22, 30, tzinfo=UTC)
    assert yard_today(Rules(dispatch=DispatchSettings(utc_offset_min=120)), late) == date(2031, 5, 5)
    assert yard_today(Rules(dispatch=DispatchSettings(utc_offset_min=-480)), late) == date(2031, 5, 4)


def test_once_there_are_people_a_shift_belongs_to_one_of_them(yard):
    add(yard, "Demo lead")
    add(yard, "Demo operator", "operator")
    with pytest.raises(NotFound, match="nobody named"):
        record(yard, replace(SHIFT, person="Somebody else"))
    record(yard, replace(SHIFT, person="demo  OPERATOR"))
    assert view(yard, "DEMO operator").exposure.person == "Demo operator"
    with yard.start_work(writing=False) as work:
        assert known_person(work, "demo lead") == "Demo lead"


def test_everybody_sees_their_own_and_others_only_with_the_right():
    operator = Person("1", "Demo operator", "operator", True)
    assert may_see(operator, whose="demo operator", may_see_all=operator.may("exposures"))
    assert not may_see(operator, whose="Demo lead", may_see_all=operator.may("exposures"))
    for role in ("QC", "lead"):
        person = Person("2", "Demo other", role, True)
        assert may_see(person, whose="Demo operator", may_see_all=person.may("exposures"))
    for role in ("geologist", "viewer"):
        person = Person("2", "Demo other", role, True)
        assert not may_see(person, whose="Demo operator", may_see_all=person.may("exposures"))
    assert not may_see(None, whose="", may_see_all=False)
    gone = replace(operator, active=False)
    assert not may_see(gone, whose="Demo operator", may_see_all=gone.may("exposures"))


def test_a_list_holds_the_newest_word_of_each_shift(yard):
    record(yard, replace(SHIFT, day=date(2031, 5, 2)))
    record(yard)
    record(yard, replace(SHIFT, person="Demo lead"))
    record(yard, replace(SHIFT, shift_h=9.0), after=1, reason="stayed longer")
    with yard.start_work(writing=False) as work:
        everybody, own = list_shifts(work, person=None), list_shifts(work, person="demo operator")
    assert [(one.exposure.day.day, one.exposure.person, one.revision) for one, _ in everybody] == [
        (4, "Demo lead", 1), (4, "Demo operator", 2), (2, "Demo operator", 1),
    ]  # fmt: skip
    assert [one.exposure.day.day for one, _ in own] == [4, 2]
    assert own[0][0].exposure.shift_h == 9.0


def test_the_noise_of_a_week_is_the_sum_of_its_days(yard):
    # HSE weekly ready-reckoner, 2020 (seen): 88 dBA over 8 h is 200 points; 1000 points in a week are 88 dBA.
    for day in (28, 29, 30):  # Monday to Wednesday
        record(yard, replace(SHIFT, day=date(2031, 4, day), noise=(NoiseTask("sawing", 88.0, 8.0),)))
    record(yard, replace(SHIFT, day=date(2031, 4, 27), noise=(NoiseTask("sawing", 110.0, 8.0),)))  # Sunday before
    week = view(yard, day=date(2031, 4, 29)).week
    assert [day.day for day, _ in week.days] == [28, 29, 30]
    assert week.points == pytest.approx(600.0, rel=0.003)
    assert week.level_dba == pytest.approx(85.8, abs=0.05)


@pytest.mark.parametrize("text", ["", "04.05.2031", "2031-5-4", "2031-02-30", "20310504", "2031-05-04T08:00"])
def test_what_is_no_day_is_refused(text):
    with pytest.raises(ImpossibleValue, match=r"2031-05-04|day"):
        typed_day(text)


def test_nothing_recorded_is_told(yard):
    with pytest.raises(NotFound, match="nothing is recorded"):
        view(yard)
