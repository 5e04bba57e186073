"""What must hold of averages over length, whatever the samples."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.core.composite import composites, even_stretches, intercepts

ROWS = st.lists(st.tuples(st.integers(1, 30), st.floats(0.0, 50.0), st.floats(1.5, 5.0)), min_size=1, max_size=20)


def hole(rows):
    edges = np.concatenate([[0.0], np.cumsum([length for length, _, _ in rows]) / 10])
    return edges[:-1], edges[1:], np.array([g for _, g, _ in rows]), np.array([d for _, _, d in rows])


@given(ROWS)
def test_averages_lie_between_the_extremes_and_metal_is_kept(rows):
    top, bottom, grade, dense = hole(rows)
    starts, ends = even_stretches(from_m=0.0, to_m=float(bottom[-1]), length_m=1.0)
    found = composites(
        from_m=top, to_m=bottom, grade=grade, density_t_m3=dense, stretch_from_m=starts, stretch_to_m=ends
    )
    assert all(why == "" for why in found.why)
    for average in (found.grade, found.grade_by_mass):
        assert (average >= grade.min() - 1e-9).all()
        assert (average <= grade.max() + 1e-9).all()
    length = ends - starts
    assert (length * found.grade).sum() == pytest.approx(((bottom - top) * grade).sum(), abs=1e-6)
    metal = (length * found.density_t_m3 * found.grade_by_mass).sum()
    assert metal == pytest.approx(((bottom - top) * dense * grade).sum(), abs=1e-6)


@given(ROWS)
def test_one_density_for_all_makes_both_averages_one(rows):
    top, bottom, grade, _ = hole(rows)
    found = composites(
        from_m=top, to_m=bottom, grade=grade, density_t_m3=np.full(len(top), 2.7), stretch_from_m=[0.0],
        stretch_to_m=[bottom[-1]],
    )  # fmt: skip
    assert found.grade_by_mass[0] == pytest.approx(found.grade[0])


@given(ROWS)
def test_splitting_a_sample_changes_nothing(rows):
    top, bottom, grade, dense = hole(rows)
    middle = (top + bottom) / 2
    more = {"stretch_from_m": [0.0], "stretch_to_m": [bottom[-1]]}
    whole = composites(from_m=top, to_m=bottom, grade=grade, density_t_m3=dense, **more)
    halves = composites(
        from_m=np.concatenate([top, middle]), to_m=np.concatenate([middle, bottom]), grade=np.tile(grade, 2),
        density_t_m3=np.tile(dense, 2), **more,
    )  # fmt: skip
    assert halves.grade[0] == pytest.approx(whole.grade[0])
    assert halves.grade_by_mass[0] == pytest.approx(whole.grade_by_mass[0])


@given(ROWS, st.floats(0.5, 20.0), st.floats(0.0, 3.0))
def test_every_sample_at_the_cutoff_is_in_one_intercept_and_each_averages_it(rows, cutoff, waste):
    top, bottom, grade, _ = hole(rows)
    found = intercepts(from_m=top, to_m=bottom, grade=grade, cutoff=cutoff, longest_waste_m=waste)
    inside = [row for one in found for row in one.samples]
    assert len(inside) == len(set(inside))
    assert set(np.flatnonzero(grade >= cutoff).tolist()) <= set(inside)
    for one in found:
        assert one.grade >= cutoff - 1e-9
        assert 0.0 < one.top_metal_share <= 1.0
        if not np.isnan(one.grade_without_top):
            back = one.grade_without_top * one.length_m * (1 - one.top_length_share)
            assert back == pytest.approx(one.grade * one.length_m * (1 - one.top_metal_share), abs=1e-6)
