"""Run lengths by other routes: Markov chains, closed forms and simulation of the real charts."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.control_chart import cusum
from trayside.core.control_rules import NELSON, SHEWHART, WESTERN_ELECTRIC, WESTGARD, Rule
from trayside.core.run_length import (
    cusum_arl,
    ewma_arl,
    runs_rules_arl,
    shewhart_arl,
    simulated_arl,
)
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

OURS = Source("hand-made", "", "derived")


def chain_of_ewma(weight, limit, shift, cells):
    """Brook & Evans: the interval cut into cells, each held at its middle."""
    reach = limit * (weight / (2 - weight)) ** 0.5
    width = 2 * reach / cells
    middle = -reach + width * (np.arange(cells) + 0.5)
    low = (middle[None, :] - width / 2 - (1 - weight) * middle[:, None]) / weight - shift
    high = (middle[None, :] + width / 2 - (1 - weight) * middle[:, None]) / weight - shift
    moves = stats.norm.cdf(high) - stats.norm.cdf(low)
    return np.linalg.solve(np.eye(cells) - moves, np.ones(cells))[cells // 2]


@pytest.mark.parametrize(("weight", "limit", "shift"), [(0.25, 2.998, 0.5), (0.1, 2.814, 0.75), (0.05, 2.615, 0.25)])
def test_ewma_is_the_limit_of_a_markov_chain(weight, limit, shift):
    # The error of the chain falls with the square of the cell: two chains give the limit.
    coarse, fine = (chain_of_ewma(weight, limit, shift, cells) for cells in (201, 603))
    assert ewma_arl(weight=weight, limit=limit, shift=shift) == pytest.approx(fine + (fine - coarse) / 8, rel=2e-5)


def chain_of_cusum(k, h, shift, cells):
    width = 2 * h / (2 * cells - 1)
    state = width * np.arange(cells)
    edges = np.concatenate(([-np.inf], state + width / 2))
    moves = np.diff(stats.norm.cdf(edges[None, :] - state[:, None] + k - shift), axis=1)
    return np.linalg.solve(np.eye(cells) - moves, np.ones(cells))[0]


@pytest.mark.parametrize(("k", "h", "shift"), [(0.5, 4.0, 0.0), (0.25, 8.0, 0.5), (1.0, 2.5, 1.0), (0.0, 5.0, 0.0)])
def test_cusum_is_the_limit_of_a_markov_chain(k, h, shift):
    coarse, fine = (chain_of_cusum(k, h, shift, cells) for cells in (150, 450))
    found = cusum_arl(k=k, h=h, shift=shift, sides=1)
    assert found == pytest.approx(fine + (fine - coarse) / 8, rel=1e-4)


@pytest.mark.parametrize(("shift", "head_start"), [(0.0, 0.0), (0.5, 0.0), (0.0, 2.0), (1.0, 2.0)])
def test_two_sided_cusum_is_what_the_chart_does(shift, head_start):
    rng = np.random.default_rng(31)
    lengths = []
    for _ in range(700):
        first = None
        while first is None:
            first = cusum(rng.normal(shift, 1, 3000), target=0.0, k=0.5, h=4.0, head_start=head_start).first_signal
        lengths.append(first + 1)
    found = cusum_arl(k=0.5, h=4.0, shift=shift, head_start=head_start)
    assert found == pytest.approx(np.mean(lengths), abs=4 * np.std(lengths) / 700**0.5)


def test_shift_up_and_down_are_alike():
    for shift in (0.3, 2.0):
        assert cusum_arl(k=0.5, h=4.0, shift=-shift) == pytest.approx(cusum_arl(k=0.5, h=4.0, shift=shift), rel=1e-9)
        assert ewma_arl(weight=0.2, limit=2.9, shift=-shift) == pytest.approx(
            ewma_arl(weight=0.2, limit=2.9, shift=shift), rel=1e-9
        )


def test_a_huge_shift_signals_at_once():
    assert cusum_arl(k=0.5, h=5.0, shift=30.0) == pytest.approx(1.0)
    assert ewma_arl(weight=0.2, limit=3.0, shift=60.0) == pytest.approx(1.0)


def test_very_long_run_lengths_stay_right():
    # One-sided, from zero, with k = 1 and no shift the run length grows by exp(2) for each unit of h.
    long = [cusum_arl(k=1.0, h=h, shift=0.0, sides=1) for h in (18.0, 19.0, 20.0)]
    assert long[0] > 1e15
    assert long[1] / long[0] == pytest.approx(np.exp(2.0), rel=1e-3)
    assert long[2] / long[1] == pytest.approx(np.exp(2.0), rel=1e-3)


def test_run_length_falls_with_the_shift_and_grows_with_the_limit():
    shifts = np.linspace(0, 4, 17)
    for lengths in (cusum_arl(k=0.5, h=4.5, shift=shifts), ewma_arl(weight=0.15, limit=2.8, shift=shifts)):
        assert (np.diff(lengths) < 0).all()
    assert cusum_arl(k=0.5, h=4.1, shift=0.0) > cusum_arl(k=0.5, h=4.0, shift=0.0)


def test_one_shift_gives_one_number_and_a_list_a_list():
    assert isinstance(cusum_arl(k=0.5, h=4.0, shift=0), float)
    assert cusum_arl(k=0.5, h=4.0, shift=[[0.0, 1.0]]).shape == (1, 2)
    assert isinstance(ewma_arl(weight=0.2, limit=3.0, shift=1), float)


def test_ewma_that_starts_near_a_limit_signals_sooner():
    assert ewma_arl(weight=0.2, limit=2.9, shift=0.0, start=0.8) < ewma_arl(weight=0.2, limit=2.9, shift=0.0)


def test_runs_of_one_kind_have_a_closed_form():
    # r in a row with chance p each: (1 - p^r)/(p^r (1 - p)); two sides without the zero zone: p = 1/2 each, a switch
    # starts a run of 1, so the mean is 2^r - 1.
    for r in (4, 8):
        rule = (Rule("side", "same side", r, r, 0.0, OURS),)
        assert runs_rules_arl(rules=rule, shift=0.0) == pytest.approx(2.0**r - 1, rel=1e-9)
    p = 2 * stats.norm.sf(1.0)
    rule = (Rule("both", "either side", 5, 5, 1.0, OURS),)
    assert runs_rules_arl(rules=rule, shift=0.0) == pytest.approx((1 - p**5) / (p**5 * (1 - p)), rel=1e-9)
    q = 1 - p
    rule = (Rule("within", "within", 6, 6, 1.0, OURS),)
    assert runs_rules_arl(rules=rule, shift=0.0) == pytest.approx((1 - q**6) / (q**6 * (1 - q)), rel=1e-9)


def test_zone_rules_without_a_pattern_are_the_shewhart_chart():
    assert runs_rules_arl(rules=SHEWHART, shift=[0.0, 1.0]) == pytest.approx(shewhart_arl(limit=3.0, shift=[0.0, 1.0]))


@pytest.mark.parametrize("shift", [0.0, 0.8])
def test_markov_chain_and_simulation_of_the_rules_agree(shift):
    zone = tuple(rule for rule in NELSON if rule.kind in ("same side", "either side", "within"))
    for rules in (WESTERN_ELECTRIC, zone):
        found = simulated_arl(rules=rules, shift=shift, seed=5, series=3000)
        assert found.cut_off == 0
        assert runs_rules_arl(rules=rules, shift=shift) == pytest.approx(found.mean, abs=4 * found.standard_error)


def test_simulation_is_seeded_and_says_what_was_cut_off():
    one, two = (simulated_arl(rules=NELSON, shift=0.5, seed=9, series=200) for _ in range(2))
    assert one == two
    cut = simulated_arl(rules=SHEWHART, shift=0.0, seed=9, series=200, longest=50)
    assert cut.cut_off > 100
    assert cut.mean < 51


def test_warnings_do_not_end_a_run():
    rules = tuple(rule for rule in WESTGARD if rule.kind != "opposite")
    hard = tuple(rule for rule in rules if not rule.warning)
    assert runs_rules_arl(rules=rules, shift=0.0) == runs_rules_arl(rules=hard, shift=0.0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: shewhart_arl(limit=0.0, shift=0.0),
        lambda: cusum_arl(k=-0.1, h=4.0, shift=0.0),
        lambda: cusum_arl(k=0.5, h=0.0, shift=0.0),
        lambda: cusum_arl(k=0.5, h=101.0, shift=0.0),
        lambda: cusum_arl(k=0.5, h=4.0, shift=0.0, head_start=2.1),
        lambda: cusum_arl(k=0.5, h=4.0, shift=0.0, sides=3),
        lambda: cusum_arl(k=0.5, h=4.0, shift=float("nan")),
        lambda: ewma_arl(weight=0.0, limit=3.0, shift=0.0),
        lambda: ewma_arl(weight=1.5, limit=3.0, shift=0.0),
        lambda: ewma_arl(weight=0.2, limit=0.0, shift=0.0),
        lambda: ewma_arl(weight=0.2, limit=3.0, shift=0.0, start=2.0),
        lambda: runs_rules_arl(rules=NELSON, shift=0.0),
        lambda: runs_rules_arl(rules=WESTGARD[:1], shift=0.0),
        lambda: simulated_arl(rules=(), shift=0.0, seed=1),
        lambda: simulated_arl(rules=NELSON, shift=0.0, seed=1, series=1),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
