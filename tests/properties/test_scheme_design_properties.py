"""What must hold of any scheme that is played."""

from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.scheme_design import DURATIONS, FAULT_KINDS, ControlScheme, Fault, LaboratoryModel, play_scheme

SCHEMES = st.builds(
    ControlScheme,
    tickets_per_batch=st.integers(1, 60),
    batches_per_month=st.integers(1, 3),
    months=st.integers(1, 3),
    rack_size=st.integers(1, 40),
    standard_rate=st.floats(0.0, 0.5),
    blank_rate=st.floats(0.0, 0.5),
    standard_in_every_rack=st.booleans(),
    blank_in_every_rack=st.booleans(),
    blank_behind_best=st.floats(0.0, 1.0),
)


@settings(deadline=None, max_examples=60)
@given(SCHEMES, st.sampled_from(FAULT_KINDS), st.floats(0.0, 0.5), st.sampled_from(DURATIONS), st.integers(0, 99))
def test_a_fault_is_never_seen_less_often_when_the_window_is_longer(scheme, kind, size, lasts, seed):
    found = play_scheme(
        scheme=scheme, laboratory=LaboratoryModel(), fault=Fault(kind, size, lasts), campaigns=50, seed=seed
    )
    for chance in (found.seen, found.alarm):
        assert 0.0 <= chance["batch"].value <= chance["month"].value <= chance["campaign"].value <= 1.0
    assert found.median_tickets >= 1.0
    assert len(found.by_batch) == scheme.batches


@settings(deadline=None, max_examples=40)
@given(SCHEMES, st.floats(0.0, 0.4), st.floats(0.0, 0.4), st.integers(0, 99))
def test_more_carry_over_is_seen_at_least_as_often(scheme, size, more, seed):
    one, other = (
        play_scheme(
            scheme=scheme, laboratory=LaboratoryModel(), fault=Fault("contamination", each), campaigns=50, seed=seed
        )
        for each in (size, size + more)
    )
    for window in ("batch", "month", "campaign"):
        assert other.seen[window].value >= one.seen[window].value
        assert other.alarm == one.alarm
