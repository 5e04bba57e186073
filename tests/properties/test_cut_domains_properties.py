"""What holds for the domains of every hole."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trayside.core.cut_domains import cheapest_domains, cut_domains


@st.composite
def rows(draw):
    count = draw(st.integers(1, 60))
    chance = np.random.default_rng(draw(st.integers(0, 10_000)))
    plane = np.where(np.arange(count) < draw(st.integers(0, count)), draw(st.floats(0, 180)), draw(st.floats(0, 180)))
    return {
        "depth_m": np.round(chance.uniform(0, 100, count), 1),
        "beta_deg": plane + chance.normal(0, draw(st.floats(1, 60)), count),
        "weight": chance.exponential(1, count) + 0.01,
    }


@settings(deadline=None, max_examples=60)
@given(rows(), st.floats(0, 360))
def test_domains_cover_the_hole_and_do_not_depend_on_the_line(veins, turn):
    one = cut_domains(**veins, seed=3, shuffles=39)
    assert one.first_vein[0] == 0
    assert one.last_vein[-1] == veins["depth_m"].size - 1
    assert (one.first_vein[1:] == one.last_vein[:-1] + 1).all()
    assert one.cost <= one.one_plane_cost + 1e-9
    assert (np.diff(one.break_m) > 0).all()
    turned = cut_domains(**veins | {"beta_deg": veins["beta_deg"] + turn}, seed=3, shuffles=39)
    assert turned.cost == pytest.approx(one.cost, abs=1e-9)
    assert turned.break_m == pytest.approx(one.break_m)


@settings(deadline=None, max_examples=60)
@given(rows(), st.floats(0, 5), st.floats(0, 5))
def test_a_dearer_break_never_makes_more_domains(veins, one, other):
    low, high = sorted((one, other))
    may_start = np.ones(veins["beta_deg"].size, dtype=bool)
    many, few = (
        cheapest_domains(beta_deg=veins["beta_deg"], weight=veins["weight"], may_start=may_start, penalty=p)
        for p in (low, high)
    )
    # Exact optimum: the cost falls with every break that is bought.
    assert few.cost >= many.cost - 1e-9 * veins["weight"].sum()
    assert few.cost + high * few.first_vein.size <= many.cost + high * many.first_vein.size + 1e-9
