"""What the controls would miss: exact counts against enumeration and Monte Carlo, and patterns that must be called guessable."""

import math

import numpy as np
import pytest

from trayside.core.qc_power import pattern_is_guessable, scheme_power, slip_run_length, swap_share
from trayside.errors import ImpossibleValue


def flags(text):
    return np.array([c == "x" for c in text])


def block_layout(n, blocks, seed, never_adjacent=True):
    """One control in each block of n, drawn evenly, not beside the one before."""
    rng = np.random.default_rng(seed)
    out = np.zeros(n * blocks, dtype=bool)
    before = -9
    for block in range(blocks):
        place = block * n + int(rng.integers(n))
        while never_adjacent and place - before == 1:
            place = block * n + int(rng.integers(n))
        out[place] = True
        before = place
    return out


def test_swap_share_counts_pairs_that_touch_a_control():
    assert swap_share(is_control=flags("..x..")).share == 2 / 4
    assert swap_share(is_control=flags("x....")).share == 1 / 4
    assert swap_share(is_control=flags("..xx.")).touching == 3
    assert swap_share(is_control=flags(".....")).share == 0


@pytest.mark.parametrize("seed", range(10))
def test_swap_share_agrees_with_trying_every_swap(seed):
    rng = np.random.default_rng(seed)
    control = rng.random(80) < 0.2
    names = np.arange(80)
    touched = 0
    for k in range(79):
        swapped = names.copy()
        swapped[[k, k + 1]] = swapped[[k + 1, k]]
        touched += bool((swapped != names)[control].any())
    assert swap_share(is_control=control).touching == touched


def test_a_sample_swapped_with_its_own_duplicate_shows_nothing():
    # sample, sample 7, its duplicate, sample, blank
    swaps = swap_share(is_control=flags("....x"), pair=np.array([-1, 7, 7, -1, -1]))
    assert (swaps.pairs, swaps.touching, swaps.parting) == (4, 1, 2)
    assert swaps.parting_share == 2 / 4
    # a swap that touches a blank is not counted again
    assert swap_share(is_control=flags(".x."), pair=np.array([7, -1, 7])).parting == 0
    # two pairs side by side: the swap between them parts both and counts once
    assert swap_share(is_control=flags("...."), pair=np.array([7, 7, 9, 9])).parting == 1


@pytest.mark.parametrize("seed", range(10))
def test_parted_pairs_agree_with_trying_every_swap(seed):
    rng = np.random.default_rng(seed)
    control = rng.random(60) < 0.15
    pair = np.full(60, -1)
    ordinary = rng.permutation(np.flatnonzero(~control))[:20]
    pair[ordinary] = np.repeat(np.arange(10), 2)
    parted = 0
    for k in range(59):
        bags = np.arange(60)
        bags[[k, k + 1]] = bags[[k + 1, k]]
        wrong = any({*bags[pair == one]} != {*np.flatnonzero(pair == one)} for one in range(10))
        parted += wrong and not (bags != np.arange(60))[control].any()
    assert swap_share(is_control=control, pair=pair).parting == parted


@pytest.mark.parametrize("pair", [[1, 1], [1.0, 1.0, -1.0]])
def test_pairs_that_do_not_fit_the_sequence_are_refused(pair):
    with pytest.raises(ImpossibleValue, match="duplicate pairs"):
        swap_share(is_control=flags("..."), pair=np.array(pair))


def test_never_adjacent_inner_controls_give_two_pairs_each():
    control = np.zeros(201, dtype=bool)
    control[np.arange(5, 195, 10)] = True
    assert swap_share(is_control=control).share == 2 * control.sum() / 200


@pytest.mark.parametrize("seed", range(10))
def test_slip_run_agrees_with_walking_from_every_start(seed):
    rng = np.random.default_rng(seed)
    control = rng.random(150) < 0.1
    control[-20] = True
    runs, unseen = [], 0
    for start in range(150):
        passed = 0
        while start + passed < 150 and not control[start + passed]:
            passed += 1
        if start + passed == 150:
            unseen += 1
        else:
            runs.append(passed)
    result = slip_run_length(is_control=control)
    assert result.mean == pytest.approx(np.mean(runs))
    assert result.p90 == sorted(runs)[math.ceil(0.9 * len(runs)) - 1]
    assert result.longest == max(runs)
    assert result.unseen_share == pytest.approx(unseen / 150)


def test_slip_run_of_a_sequence_read_by_eye():
    result = slip_run_length(is_control=flags("...x..x."))
    assert result.mean == pytest.approx((3 + 2 + 1 + 0 + 2 + 1 + 0) / 7)
    assert result.unseen_share == pytest.approx(1 / 8)


def test_without_controls_no_slip_is_ever_seen():
    result = slip_run_length(is_control=flags("....."))
    assert math.isnan(result.mean)
    assert result.unseen_share == 1


@pytest.mark.parametrize(
    ("n", "swaps_percent", "mean", "p90"),
    [(10, 20, 5, 11), (20, 10, 11, 23)],
)
def test_figures_of_the_needs_page(n, swaps_percent, mean, p90):
    """Own derivation (grade: derived), an earlier simulation rounded to whole samples: 1 in 10 and 1 in 20, never adjacent."""
    power = scheme_power(tickets_per_control=n)
    assert round(100 * power.swap_share) == swaps_percent
    assert round(power.mean_slip_run) == mean
    assert power.p90_slip_run == p90


def test_one_in_five_still_misses_sixty_percent_of_swaps():
    """Derived, as above."""
    assert scheme_power(tickets_per_control=5).swap_share == pytest.approx(0.40)


@pytest.mark.parametrize("n", [4, 10, 20])
def test_block_scheme_agrees_with_monte_carlo(n):
    control = block_layout(n, 30_000, seed=n)
    run = slip_run_length(is_control=control)
    power = scheme_power(tickets_per_control=n)
    assert run.mean == pytest.approx(power.mean_slip_run, rel=0.01)
    assert abs(run.p90 - power.p90_slip_run) <= 1
    assert swap_share(is_control=control).share == pytest.approx(power.swap_share, rel=0.001)


def test_closed_form_without_the_never_adjacent_clause():
    n = 12
    control = block_layout(n, 60_000, seed=3, never_adjacent=False)
    assert slip_run_length(is_control=control).mean == pytest.approx((7 * n + 1) * (n - 1) / (12 * n), rel=0.01)


@pytest.mark.parametrize("n", [3, 10, 25])
def test_fixed_and_anywhere_have_their_closed_forms(n):
    fixed = np.zeros(n * 50, dtype=bool)
    fixed[n - 1 :: n] = True
    power = scheme_power(tickets_per_control=n, layout="fixed")
    assert power.mean_slip_run == (n - 1) / 2 == slip_run_length(is_control=fixed).mean
    assert power.p90_slip_run == slip_run_length(is_control=fixed).p90
    assert scheme_power(tickets_per_control=n, layout="anywhere").mean_slip_run == pytest.approx((n - 1) ** 2 / n)


def test_anywhere_agrees_with_monte_carlo():
    rng = np.random.default_rng(1)
    tickets, controls = 400_000, 40_000
    control = np.zeros(tickets, dtype=bool)
    control[np.sort(rng.choice(tickets - controls + 1, controls, replace=False)) + np.arange(controls)] = True
    run = slip_run_length(is_control=control)
    power = scheme_power(tickets_per_control=10, layout="anywhere")
    assert run.mean == pytest.approx(power.mean_slip_run, rel=0.02)
    assert abs(run.p90 - power.p90_slip_run) <= 1


@pytest.mark.parametrize(("every", "first"), [(20, 19), (20, 3), (10, 0), (7, 6), (3, 1)])
def test_a_fixed_spacing_is_guessable(every, first):
    control = np.zeros(every * 12, dtype=bool)
    control[first::every] = True
    result = pattern_is_guessable(is_control=control)
    assert result.guessable
    assert result.common_gap == every
    assert result.common_gap_share == 1
    assert result.gap_entropy_bits == 0


def test_a_cycle_of_places_is_guessable():
    control = np.zeros(300, dtype=bool)
    for place in (3, 7, 16):
        control[place::25] = True
    result = pattern_is_guessable(is_control=control)
    assert result.guessable
    assert result.cycle_gaps == 3
    assert result.cycle_share == 1
    assert any("repeat the gap 3 before" in why for why in result.why)


def test_the_same_place_of_every_rack_is_guessable_even_when_racks_are_left_out():
    rng = np.random.default_rng(4)
    racks = np.sort(rng.choice(200, 60, replace=False))
    control = np.zeros(200 * 50, dtype=bool)
    control[racks * 50 + 17] = True
    result = pattern_is_guessable(is_control=control)
    assert result.guessable
    assert any("place 18 of every" in why or "place" in why for why in result.why)
    assert result.step in (5, 10, 25, 50)


def test_a_nearly_fixed_spacing_is_guessable():
    rng = np.random.default_rng(5)
    control = np.zeros(1200, dtype=bool)
    control[np.arange(10, 1190, 20) + rng.integers(-1, 2, 59)] = True
    assert pattern_is_guessable(is_control=control).guessable


def test_chance_layouts_are_almost_never_called_guessable():
    called = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        control = rng.random(int(rng.integers(60, 500))) < 0.12
        called += pattern_is_guessable(is_control=control, layouts=99).guessable
    assert called <= 1


def test_few_controls_claim_nothing():
    control = np.zeros(80, dtype=bool)
    control[19::20] = True
    result = pattern_is_guessable(is_control=control)
    assert not result.enough
    assert not result.guessable


def test_the_guess_test_is_repeatable():
    control = block_layout(10, 30, seed=1)
    assert pattern_is_guessable(is_control=control, seed=2) == pattern_is_guessable(is_control=control, seed=2)


def test_impossible_sequences_are_refused():
    with pytest.raises(ImpossibleValue):
        swap_share(is_control=flags("x"))
    with pytest.raises(ImpossibleValue):
        slip_run_length(is_control=np.array([0, 1]))
    with pytest.raises(ImpossibleValue):
        slip_run_length(is_control=np.zeros(0, dtype=bool))
    with pytest.raises(ImpossibleValue):
        pattern_is_guessable(is_control=np.zeros((2, 2), dtype=bool))
    with pytest.raises(ImpossibleValue):
        pattern_is_guessable(is_control=flags("..x..x"), layouts=20)
    with pytest.raises(ImpossibleValue):
        scheme_power(tickets_per_control=2)
    with pytest.raises(ImpossibleValue):
        scheme_power(tickets_per_control=10, layout="by feel")
