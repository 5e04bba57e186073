"""Lifting: never more than the load constant, worse conditions never allow more, jobs are never below their worst task."""

import math

from hypothesis import given
from hypothesis import strategies as st

from trayside.core.lifting import LiftTask, composite_index, lift_limit

LIFT = st.fixed_dictionaries(
    {
        "load_kg": st.floats(0.5, 60.0),
        "horizontal_cm": st.floats(0.0, 70.0),
        "vertical_cm": st.floats(0.0, 180.0),
        "travel_cm": st.floats(0.0, 180.0),
        "lifts_per_minute": st.floats(0.0, 16.0),
        "coupling": st.sampled_from(["good", "fair", "poor"]),
        "asymmetry_deg": st.floats(0.0, 140.0),
    }
)
DURATION = st.sampled_from(["short", "moderate", "long"])


@given(LIFT, DURATION)
def test_limit_and_index_belong_together(lift, duration):
    found = lift_limit(**lift, duration=duration)
    assert 0.0 <= found.limit_kg <= 23.0 + 1e-9
    if found.limit_kg > 0.0:
        assert math.isclose(found.index * found.limit_kg, lift["load_kg"])
    else:
        assert math.isinf(found.index)


@given(LIFT, DURATION, st.floats(0.0, 20.0))
def test_farther_turned_or_oftener_never_allows_more(lift, duration, more):
    base = lift_limit(**lift, duration=duration).limit_kg
    for name in ("horizontal_cm", "travel_cm", "lifts_per_minute"):
        assert lift_limit(**{**lift, name: lift[name] + more}, duration=duration).limit_kg <= base + 1e-9
    assert (
        lift_limit(**{**lift, "asymmetry_deg": lift["asymmetry_deg"] + more}, duration=duration).limit_kg <= base + 1e-9
    )


@given(LIFT)
def test_longer_never_allows_more(lift):
    limits = [lift_limit(**lift, duration=one).limit_kg for one in ("short", "moderate", "long")]
    assert limits == sorted(limits, reverse=True)


@given(st.lists(LIFT, min_size=1, max_size=4), DURATION)
def test_a_job_is_never_below_its_worst_task(lifts, duration):
    tasks = [LiftTask(name=str(k), **lift) for k, lift in enumerate(lifts)]
    job = composite_index(tasks=tasks, duration=duration)
    worst = max(lift_limit(**lift, duration=duration).index for lift in lifts)
    assert job.index >= worst or math.isclose(job.index, worst)
    assert math.isclose(job.tasks[0][1], worst)
