"""Lifting: edges of the equation, classes, several tasks, and when it does not hold."""

import math
from dataclasses import replace

import pytest

from trayside.core.lifting import (
    LiftTask,
    Surroundings,
    composite_index,
    duration_class,
    frequency_multiplier,
    lift_limit,
    lift_warnings,
    tray_coupling,
)
from trayside.errors import ImpossibleValue

BEST = dict(
    load_kg=23.0, horizontal_cm=25.0, vertical_cm=75.0, travel_cm=25.0, lifts_per_minute=0.2, duration="short",
    coupling="good",
)  # fmt: skip


def limit(**changed):
    return lift_limit(**{**BEST, **changed})


def test_the_best_lift_allows_the_load_constant():
    found = limit()
    assert found.limit_kg == pytest.approx(23.0)
    assert found.index == pytest.approx(1.0)
    assert found.flags == ()


@pytest.mark.parametrize("changed", [{"horizontal_cm": 10.0}, {"travel_cm": 0.0}, {"lifts_per_minute": 0.0}])
def test_what_is_below_the_reach_of_the_equation_counts_as_its_edge(changed):
    assert limit(**changed).limit_kg == pytest.approx(23.0)


@pytest.mark.parametrize(
    ("edge", "beyond"),
    [
        ({"horizontal_cm": 63.0}, {"horizontal_cm": 63.1}),
        ({"vertical_cm": 175.0}, {"vertical_cm": 175.1}),
        ({"travel_cm": 175.0}, {"travel_cm": 175.1}),
        ({"asymmetry_deg": 135.0}, {"asymmetry_deg": 135.1}),
        ({"lifts_per_minute": 15.0}, {"lifts_per_minute": 15.1}),
    ],
)
def test_beyond_its_edges_nothing_may_be_lifted(edge, beyond):
    assert limit(**edge).limit_kg > 0.0
    found = limit(**beyond)
    assert found.limit_kg == 0.0
    assert math.isinf(found.index)
    assert any("nothing should be lifted" in flag for flag in found.flags)


def test_frequency_goes_by_the_start_and_grip_by_the_end():
    low_start = dict(vertical_cm=20.0, lifts_per_minute=13.0)
    assert limit(**low_start).limit_kg == 0.0
    assert limit(**low_start, end_vertical_cm=100.0).limit_kg == 0.0  # frequency: start below 75 cm
    fair = limit(vertical_cm=20.0, coupling="fair"), limit(vertical_cm=20.0, coupling="fair", end_vertical_cm=100.0)
    assert [one.multipliers.coupling for one in fair] == [0.95, 1.00]


def test_frequencies_between_rows_lie_on_a_straight_line():
    rows = [frequency_multiplier(lifts_per_minute=f, duration="long", low_start=True) for f in (1.0, 1.25, 2.0)]
    assert rows == pytest.approx([0.75, 0.725, 0.65])


@pytest.mark.parametrize(
    ("work", "rest", "found"),
    [(1.0, 1.0, "short"), (1.0, 0.9, "moderate"), (0.5, 0.1, "long"), (2.0, 0.6, "moderate"), (2.0, 0.5, "long"),
     (2.1, 5.0, "long"), (8.0, 0.0, "long")],
)  # fmt: skip
def test_duration_classes(work, rest, found):
    assert duration_class(work_h=work, recovery_h=rest) == found


TRAY = LiftTask(
    name="trays",
    load_kg=20.0,
    horizontal_cm=35.0,
    vertical_cm=60.0,
    travel_cm=40.0,
    lifts_per_minute=0.5,
    coupling="fair",
)
SACK = LiftTask(
    name="sacks",
    load_kg=12.0,
    horizontal_cm=30.0,
    vertical_cm=90.0,
    travel_cm=60.0,
    lifts_per_minute=1.0,
    coupling="poor",
)


def test_the_hardest_task_leads_and_others_only_add():
    job = composite_index(tasks=[SACK, TRAY], duration="moderate")
    assert [name for name, _ in job.tasks] == ["trays", "sacks"]
    assert job.index >= job.tasks[0][1] >= job.tasks[1][1]


def test_the_mean_load_leads_and_the_heaviest_adds():
    heavier = replace(SACK, heaviest_kg=18.0)
    plain, more = (composite_index(tasks=[TRAY, one], duration="moderate") for one in (SACK, heavier))
    assert more.tasks == plain.tasks
    added = [job.index - job.tasks[0][1] for job in (plain, more)]
    assert added[1] == pytest.approx(added[0] * 18.0 / 12.0)


def test_too_many_lifts_together_are_no_longer_a_number():
    often = [replace(TRAY, name=f"t{k}", lifts_per_minute=6.0) for k in range(3)]
    job = composite_index(tasks=often, duration="short")
    assert math.isinf(job.index)
    assert job.flags


@pytest.mark.parametrize(
    ("changed", "grip"),
    [
        ({}, "good"),
        ({"gloves": True}, "fair"),
        ({"length_cm": 105.0}, "fair"),
        ({"handles": False}, "fair"),
        ({"handles": False, "gloves": True}, "poor"),
        ({"contents_shift": True, "wet_sharp_or_rough": True}, "fair"),
        ({"height_cm": 31.0, "handles": False}, "poor"),
    ],
)
def test_grip_on_a_tray(changed, grip):
    base = dict(length_cm=40.0, height_cm=30.0, handles=True, gloves=False, wet_sharp_or_rough=False)
    found, reasons = tray_coupling(**{**base, **changed})
    assert found == grip
    assert len(reasons) == sum(key != "handles" for key in changed)


KNOWN = Surroundings(
    hours_of_lifting=2.0, one_hand=False, seated_or_kneeling=False, tight_space=False, load_shifts=False,
    carries_or_pushes=False, fast_or_jerky=False, floor_friction=0.6, floor_wet=False, air_degc=22.0, humidity=0.45,
)  # fmt: skip


def test_nothing_to_warn_of():
    assert lift_warnings(surroundings=KNOWN) == ()


@pytest.mark.parametrize(
    ("changed", "word"),
    [
        ({"hours_of_lifting": 9.0}, "More than 8 h"),
        ({"one_hand": True}, "one hand"),
        ({"floor_friction": 0.39}, "less grip"),
        ({"floor_friction": None, "floor_wet": True}, "wet"),
        ({"air_degc": 34.0}, "34 degC"),
        ({"humidity": 0.8}, "80 %"),
        ({"load_shifts": True}, "shifts"),
    ],
)
def test_each_broken_limit_is_one_warning(changed, word):
    warnings = lift_warnings(surroundings=replace(KNOWN, **changed))
    assert len(warnings) == 1
    assert word in warnings[0]
    assert "does not hold" in warnings[0]


def test_what_was_not_said_is_listed():
    (warning,) = lift_warnings(surroundings=Surroundings())
    assert warning.startswith("Not said: hours of lifting, one hand")


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: limit(coupling="ok"), "good, fair, poor"),
        (lambda: limit(duration="all day"), "short, moderate, long"),
        (lambda: limit(load_kg=-1.0), "at least 0"),
        (lambda: limit(asymmetry_deg=200.0), "at most 180"),
        (lambda: duration_class(work_h=9.0, recovery_h=1.0), "ends at 8 h"),
        (lambda: composite_index(tasks=[], duration="long"), "no task"),
        (lambda: composite_index(tasks=[replace(SACK, heaviest_kg=5.0)], duration="long"), "heaviest 5"),
    ],
)
def test_refusals(call, match):
    with pytest.raises(ImpossibleValue, match=match):
        call()
