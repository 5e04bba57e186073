"""Sampling stretches: hand-worked cases."""

import numpy as np
import pytest

from trayside.core.interval_algebra import joined, pairs_um, whole_um, without
from trayside.core.stretches import sampling_stretches
from trayside.errors import ImpossibleValue


def stretches(intervals, *, shoulder_m=2.0, limits=(0.0, 100.0), forbidden=(), merge_gap_m=0.0, wanted=None, **more):
    """Short call: intervals and forbidden ground as pairs."""
    return sampling_stretches(
        interval_from_m=[a for a, _ in intervals],
        interval_to_m=[b for _, b in intervals],
        wanted=[True] * len(intervals) if wanted is None else wanted,
        shoulder_m=shoulder_m,
        limit_from_m=limits[0],
        limit_to_m=limits[1],
        forbidden_from_m=[a for a, _ in forbidden],
        forbidden_to_m=[b for _, b in forbidden],
        merge_gap_m=merge_gap_m,
        **more,
    )


def ends(result):
    return list(zip(result.from_m.tolist(), result.to_m.tolist(), strict=True))


def parts(result):
    return list(zip(result.part_from_m.tolist(), result.part_to_m.tolist(), result.part_kind.tolist(), strict=True))


def test_wanted_ground_gets_a_shoulder_on_each_side():
    result = stretches([(0, 10), (10, 14.5), (14.5, 40)], wanted=[False, True, False])
    assert ends(result) == [(8.0, 16.5)]
    assert parts(result) == [(8.0, 10.0, "shoulder"), (10.0, 14.5, "wanted"), (14.5, 16.5, "shoulder")]
    assert result.shoulder_from_m.tolist() == [8.0, 14.5]
    assert result.shoulder_to_m.tolist() == [10.0, 16.5]
    assert result.top_reason.tolist() == ["shoulder"]
    assert result.bottom_reason.tolist() == ["shoulder"]
    assert result.shortfall_top_m.tolist() == [0.0]
    assert result.shortfall_bottom_m.tolist() == [0.0]


def test_touching_and_overlapping_wanted_intervals_are_one_piece():
    result = stretches([(12, 15), (10, 12), (11, 13)])
    assert ends(result) == [(8.0, 17.0)]
    assert [kind for _, _, kind in parts(result)] == ["shoulder", "wanted", "shoulder"]


def test_shoulders_that_overlap_make_one_stretch_with_barren_ground_between():
    result = stretches([(10, 12), (15, 16)])
    assert ends(result) == [(8.0, 18.0)]
    assert parts(result)[2] == (12.0, 15.0, "shoulder")


def test_a_small_gap_is_filled_and_named():
    assert ends(stretches([(10, 12), (17, 18)], merge_gap_m=1.0)) == [(8.0, 14.0), (15.0, 20.0)]
    result = stretches([(10, 12), (17, 18)], merge_gap_m=1.001)
    assert ends(result) == [(8.0, 20.0)]
    assert (14.0, 15.0, "between") in parts(result)
    assert result.part_stretch.tolist() == [0] * 7


def test_shoulders_stop_at_the_cored_limits_and_say_what_they_lack():
    result = stretches([(1.25, 5), (97, 99.5)], limits=(0.5, 100.0))
    assert ends(result) == [(0.5, 7.0), (95.0, 100.0)]
    assert result.top_reason.tolist() == ["cored limit", "shoulder"]
    assert result.bottom_reason.tolist() == ["shoulder", "cored limit"]
    assert result.shortfall_top_m.tolist() == [1.25, 0.0]
    assert result.shortfall_bottom_m.tolist() == [0.0, 1.5]


def test_a_shoulder_that_just_fits_lacks_nothing():
    result = stretches([(2, 5)])
    assert result.top_reason.tolist() == ["shoulder"]
    assert result.shortfall_top_m.tolist() == [0.0]


def test_nothing_enters_unsampled_ground_or_merges_across_it():
    result = stretches([(10, 12), (13, 15)], forbidden=[(12.2, 12.5)], merge_gap_m=5.0)
    assert ends(result) == [(8.0, 12.2), (12.5, 17.0)]
    assert result.bottom_reason.tolist() == ["unsampled ground", "shoulder"]
    assert result.top_reason.tolist() == ["shoulder", "unsampled ground"]
    assert result.shortfall_bottom_m.tolist() == [1.8, 0.0]
    assert result.shortfall_top_m.tolist() == [0.0, 1.5]


def test_wanted_ground_that_may_not_be_sampled_is_reported():
    result = stretches([(10, 14), (98, 105)], forbidden=[(11, 12)])
    assert ends(result) == [(8.0, 11.0), (12.0, 16.0), (96.0, 100.0)]
    refused = list(zip(result.refused_from_m.tolist(), result.refused_to_m.tolist(), strict=True))
    assert refused == [(11.0, 12.0), (100.0, 105.0)]
    assert result.refused_reason.tolist() == ["unsampled ground", "cored limit"]
    assert result.shortfall_bottom_m.tolist() == [2.0, 0.0, 2.0]


def test_no_shoulder_ends_exactly_at_the_wanted_ground():
    result = stretches([(10.003, 12.007)], shoulder_m=0.0)
    assert ends(result) == [(10.003, 12.007)]
    assert result.top_reason.tolist() == ["edge of wanted ground"]
    assert [kind for _, _, kind in parts(result)] == ["wanted"]


def test_shoulder_ends_are_rounded_outward_to_the_step():
    assert ends(stretches([(10.003, 12.007)])) == [(8.0, 14.01)]
    feet = stretches([(30.48, 33.528)], shoulder_m=1.0, step_m=0.03048)
    assert ends(feet) == [(pytest.approx(967 * 0.03048), pytest.approx(1133 * 0.03048))]


def test_nothing_wanted_gives_nothing():
    result = stretches([(10, 12)], wanted=[False])
    assert ends(result) == []
    assert parts(result) == []
    assert result.top_reason.shape == (0,)


def test_no_sampled_ground_is_ever_outside_limits_or_forbidden_and_no_wanted_ground_is_lost():
    rng = np.random.default_rng(7)
    for _ in range(300):
        tops = np.round(rng.uniform(0, 100, 6), 2)
        intervals = [(a, a + n) for a, n in zip(tops, np.round(rng.uniform(0.1, 9, 6), 2), strict=True)]
        forbidden = [(a, a + 1.5) for a in np.round(rng.uniform(0, 100, 3), 2)]
        result = stretches(intervals, limits=(3.0, 95.0), forbidden=forbidden, merge_gap_m=2.0)
        centres = np.arange(0.005, 110, 0.01)

        def inside(pairs, centres=centres):
            return np.logical_or.reduce([(centres > a) & (centres < b) for a, b in pairs] or [centres < 0])

        sampled, free = inside(ends(result)), ~inside(forbidden) & (centres > 3) & (centres < 95)
        assert not (sampled & ~free).any()
        assert not (inside(intervals) & free & ~sampled).any()
        refused = inside(list(zip(result.refused_from_m, result.refused_to_m, strict=True)))
        np.testing.assert_array_equal(refused, inside(intervals) & ~free)
        wanted_parts = [(a, b) for a, b, kind in parts(result) if kind == "wanted"]
        np.testing.assert_array_equal(inside(wanted_parts), inside(intervals) & free)
        np.testing.assert_array_equal(inside([(a, b) for a, b, _ in parts(result)]), sampled)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"intervals": [(12, 10)]}, "no length"),
        ({"intervals": [(-1, 10)]}, "-1"),
        ({"intervals": [(1, float("nan"))]}, "logged interval"),
        ({"intervals": [(1, 2)], "limits": (5, 5)}, "cored ground"),
        ({"intervals": [(1, 2)], "wanted": [True, False]}, "marks"),
        ({"intervals": [(1, 2)], "step_m": 0.0}, "step_m"),
        ({"intervals": [(1, 2)], "shoulder_m": -2}, "shoulder_m"),
        ({"intervals": [(1, 2)], "forbidden": [(5, 4)]}, "unsampled ground"),
    ],
)
def test_impossible_input_is_refused_in_words(change, word):
    with pytest.raises(ImpossibleValue, match=word):
        stretches(**change)


def test_interval_algebra_joins_and_cuts_exactly():
    pairs = pairs_um(from_m=[3, 1, 2, 7], to_m=[4, 2, 3.5, 8], name="x")
    whole = joined(pairs=pairs)
    assert (whole / 1e6).tolist() == [[1, 4], [7, 8]]
    holes = pairs_um(from_m=[0.5, 1.5, 3.9], to_m=[1, 2, 7.5], name="x")
    assert (without(pairs=whole, holes=holes) / 1e6).tolist() == [[1, 1.5], [2, 3.9], [7.5, 8]]
    assert without(pairs=whole, holes=whole).shape == (0, 2)
    assert whole_um(depth_m=0.1 + 0.2)[0] == 300_000
    with pytest.raises(ImpossibleValue, match="one list"):
        whole_um(depth_m=[[1.0], [2.0]])
    with pytest.raises(ImpossibleValue, match="2 from depths and 1 to"):
        pairs_um(from_m=[1, 2], to_m=[3], name="x")
