"""What must hold of failed ranges in any batch."""

from hypothesis import given
from hypothesis import strategies as st

from trayside.core.failed_range import failed_ranges

PLACES = st.one_of(
    st.just((None, None)),
    st.tuples(st.sampled_from(["standard", "blank"]), st.sampled_from(["pass", "fail", "not judged"])),
)


@given(st.lists(PLACES, max_size=60))
def test_ranges_cover_every_failure_once_and_end_at_passes(batch):
    kind, verdict = [k for k, _ in batch], [v for _, v in batch]
    found = failed_ranges(kind=kind, verdict=verdict)
    failures = [i for i, one in enumerate(verdict) if one == "fail"]
    assert [i for one in found.ranges for i in one.failed] == failures
    for one, following in zip(found.ranges, found.ranges[1:], strict=False):
        assert one.last + 1 < following.first
    for one in found.ranges:
        assert one.samples == tuple(i for i in range(one.first, one.last + 1) if kind[i] is None)
        assert one.first == (0 if one.pass_before is None else one.pass_before + 1)
        assert one.last == (len(batch) - 1 if one.pass_after is None else one.pass_after - 1)
        for end in (one.pass_before, one.pass_after):
            assert end is None or verdict[end] == "pass"
        # A failure's own kind has no pass between it and a sample of its range that no other failure asks for.
        for place in one.failed:
            inside = [i for i in range(one.first, one.last + 1) if kind[i] == kind[place] and verdict[i] == "pass"]
            assert len(one.failed) > 1 or not inside


@given(st.lists(PLACES, max_size=40))
def test_the_batch_read_backward_fails_in_the_same_places(batch):
    ahead = failed_ranges(kind=[k for k, _ in batch], verdict=[v for _, v in batch])
    back = failed_ranges(kind=[k for k, _ in batch[::-1]], verdict=[v for _, v in batch[::-1]])
    last = len(batch) - 1
    assert [(one.first, one.last) for one in ahead.ranges] == [
        (last - one.last, last - one.first) for one in back.ranges[::-1]
    ]
