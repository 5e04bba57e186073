"""The search for mix-ups: each kind planted and found, nothing found where nothing is, what settles it."""

import numpy as np
import pytest

from trayside.core.mixups import (
    EXCHANGE,
    EXCHANGED_CONTROLS,
    OUTSIDE,
    SLIP,
    TURNED_RACK,
    Expectations,
    MixUpSettings,
    Reports,
    log_expectation,
    search_mix_ups,
)
from trayside.errors import ImpossibleValue

COUNT = 80
RACK = [i // 20 for i in range(COUNT)]
CONTROLS = {9: "LOW", 28: "HIGH", 47: "LOW", 66: "BLANK"}
CODES = [CONTROLS.get(i) for i in range(COUNT)]
MEANS = {"LOW": (1.0, 50.0), "HIGH": (5.0, 500.0), "BLANK": (0.003, 2.0)}
CLASSES = np.array([(0.05, 20.0), (0.8, 80.0), (8.0, 300.0)])


def batch(seed=1):
    """Expectations of a batch, and reports of it as labelled."""
    rng = np.random.default_rng(seed)
    log_mean = np.log(CLASSES[rng.integers(0, 3, COUNT)])
    log_sd = np.tile([0.8, 0.5], (COUNT, 1))
    mass = rng.uniform(1.5, 4.0, COUNT)
    for place, code in CONTROLS.items():
        log_mean[place], log_sd[place] = np.log(MEANS[code]), (0.5, 0.3) if code == "BLANK" else (0.03, 0.03)
        mass[place] = 2.5 if code == "BLANK" else 0.1
    value = np.exp(log_mean + log_sd * rng.standard_normal((COUNT, 2)))
    return Expectations(log_mean, log_sd, mass, 0.05), value, mass * np.exp(0.05 * rng.standard_normal(COUNT))


def search(holds, seed=1, **more):
    expected, value, mass = batch(seed)
    return search_mix_ups(
        reports=Reports(value[holds], None, mass[holds]), expected=expected, control=CODES, rack=RACK, **more
    )


def test_batches_in_order_stay_in_order():
    found = sum(len(search(np.arange(COUNT), seed).found) for seed in range(100))
    assert found == 0


def test_exchanged_neighbours_are_found_by_assay_class_and_mass():
    holds = np.arange(COUNT)
    holds[[31, 32]] = [32, 31]
    result = search(holds)
    (one,) = result.found
    assert (one.kind, one.numbers, one.holds) == (EXCHANGE, (31, 32), (32, 31))
    assert one.odds >= 100.0
    assert one.log_gain == pytest.approx(one.gain_by_mass + one.gain_by_controls + one.gain_by_samples)
    assert (result.sample_of_number == holds).all()
    assert one.says.startswith("numbers 31 and 32 exchanged")


def test_most_exchanges_the_search_calls_visible_are_found():
    hits = tries = 0
    for seed in range(60):
        place = 10 + seed % 8
        holds = np.arange(COUNT)
        holds[[place, place + 1]] = [place + 1, place]
        result = search(holds, seed)
        if place not in result.hidden_pairs:
            tries += 1
            hits += (result.sample_of_number == holds).all()
    assert tries >= 20
    assert hits / tries >= 0.7


def test_two_exchanged_standards_are_found_anywhere_in_the_batch():
    holds = np.arange(COUNT)
    holds[[9, 28]] = [28, 9]
    (one,) = search(holds).found
    assert (one.kind, one.numbers) == (EXCHANGED_CONTROLS, (9, 28))
    assert one.gain_by_controls > 10.0
    assert not one.settlement.settles
    assert "tags" in one.settlement.says


@pytest.mark.parametrize("lag", [1, -1])
def test_a_slip_of_one_number_is_found_with_its_ends(lag):
    holds = np.arange(COUNT)
    holds[40:60] += lag
    result = search(holds)
    (one,) = result.found
    assert (one.kind, one.lag) == (SLIP, lag)
    assert abs(one.numbers[0] - 40) <= 2
    assert abs(one.numbers[-1] - 59) <= 2


def test_a_slip_to_the_end_runs_out_of_samples():
    expected, value, mass = batch()
    holds = np.append(np.arange(COUNT)[:60], np.arange(61, COUNT + 1))
    rows = np.minimum(holds, COUNT - 1)
    result = search_mix_ups(reports=Reports(value[rows], None, mass[rows]), expected=expected, control=CODES)
    (one,) = result.found
    assert one.kind == SLIP
    assert one.lag == 1
    assert one.numbers[-1] >= COUNT - 2
    assert OUTSIDE in one.holds or one.numbers[-1] == COUNT - 2


def test_a_rack_turned_end_for_end():
    holds = np.arange(COUNT)
    holds[20:40] = holds[20:40][::-1]
    result = search(holds)
    assert [one.kind for one in result.found] == [TURNED_RACK]
    assert (result.sample_of_number == holds).all()


def test_two_mix_ups_in_one_batch_are_both_told():
    holds = np.arange(COUNT)
    holds[[9, 28]] = [28, 9]
    holds[60:80] = holds[60:80][::-1]
    result = search(holds)
    assert {one.kind for one in result.found} == {EXCHANGED_CONTROLS, TURNED_RACK}
    assert result.found[0].log_odds >= result.found[1].log_odds


def test_far_exchanges_are_looked_for_when_asked():
    holds = np.arange(COUNT)
    expected, _, _ = batch()
    apart = int(np.argmax(np.abs(expected.log_mean[1:8, 0] - expected.log_mean[0, 0]))) + 1
    holds[[0, apart]] = [apart, 0]
    (one,) = search(holds, settings=MixUpSettings(farthest_exchange=8)).found
    assert one.numbers == (0, apart)


def test_one_nugget_is_no_mix_up():
    expected, value, mass = batch()
    value[33, 0] *= 10_000.0
    found = search_mix_ups(reports=Reports(value, None, mass), expected=expected, control=CODES, rack=RACK)
    assert found.found == ()


def test_standards_alone_are_enough_without_masses_or_classes():
    expected, value, _ = batch()
    plain = [i for i in range(COUNT) if CODES[i] is None]
    expected.log_mean[plain] = np.nan
    value[[9, 28]] = value[[28, 9]]
    (one,) = search_mix_ups(
        reports=Reports(value), expected=Expectations(expected.log_mean, expected.log_sd), control=CODES
    ).found
    assert one.numbers == (9, 28)
    assert one.gain_by_mass == 0.0


def test_a_blank_below_the_limit_in_a_standards_place():
    expected, value, mass = batch()
    censored = np.zeros(value.shape, dtype=bool)
    value[[28, 66]], mass[[28, 66]] = value[[66, 28]], mass[[66, 28]]
    value[28, 0], censored[28, 0] = 0.005, True
    (one,) = search_mix_ups(reports=Reports(value, censored, mass), expected=expected, control=CODES).found
    assert one.numbers == (28, 66)


def test_nothing_expected_and_nothing_reported_finds_nothing():
    nothing = np.full((5, 2), np.nan)
    found = search_mix_ups(reports=Reports(nothing), expected=Expectations(nothing, nothing))
    assert found.found == ()
    assert found.share_visible == 0.0
    assert found.hidden_pairs == (0, 1, 2, 3)


def settling(apart, reassay_log_sd=0.2):
    """An exchange known by mass, the two results this far apart on the logarithm."""
    value = np.exp([[0.0], [apart]])
    return search_mix_ups(
        reports=Reports(value, None, np.array([3.0, 1.0])),
        expected=Expectations(np.full((2, 1), np.nan), np.full((2, 1), np.nan), np.array([1.0, 3.0]), 0.05),
        settings=MixUpSettings(reassay_log_sd=reassay_log_sd),
    ).found[0]


def test_one_reassay_settles_results_far_apart_two_those_nearer_none_those_alike():
    # Needed by hand: d = z + sqrt(z^2 + 2 ln 100) = 5.097 sds, d^2 = 25.98; each place gives (apart/0.2)^2.
    assert settling(1.03).settlement.places == (0,)
    assert settling(1.01).settlement.places == (0, 1)
    assert settling(0.73).settlement.places == (0, 1)
    assert settling(0.70).settlement.places == ()
    assert "too much alike" in settling(0.70).settlement.says


def test_the_reassay_settles_as_often_as_it_promises():
    one = settling(1.03)
    rng = np.random.default_rng(5)
    distance = 1.03 / 0.2
    gain = distance * (distance / 2.0 + rng.standard_normal(20_000))
    assert one.settlement.settles
    assert np.mean(gain >= np.log(100.0)) == pytest.approx(0.95, abs=0.01)


def test_a_mean_and_sd_on_the_logarithm():
    mean, sd = log_expectation(mean=[5.0], sd=[1.0])
    assert np.exp(mean + sd**2 / 2) == pytest.approx([5.0])
    assert 5.0 * np.sqrt(np.expm1(sd**2)) == pytest.approx([1.0])


@pytest.mark.parametrize(
    "call",
    [
        lambda e, v, m: search_mix_ups(reports=Reports(-v), expected=e),
        lambda e, v, m: search_mix_ups(reports=Reports(v[:-1]), expected=e),
        lambda e, v, m: search_mix_ups(reports=Reports(v[:, 0]), expected=e),
        lambda e, v, m: search_mix_ups(reports=Reports(v, None, -m), expected=e),
        lambda e, v, m: search_mix_ups(reports=Reports(v, None, m[:-1]), expected=e),
        lambda e, v, m: search_mix_ups(reports=Reports(v), expected=e, control=["A"]),
        lambda e, v, m: search_mix_ups(reports=Reports(v), expected=e, rack=[1]),
        lambda e, v, m: search_mix_ups(reports=Reports(v), expected=Expectations(e.log_mean, 0.0 * e.log_sd)),
        lambda e, v, m: MixUpSettings(exchange_chance=0.0),
        lambda e, v, m: MixUpSettings(odds_to_speak=1.0),
        lambda e, v, m: log_expectation(mean=0.0, sd=1.0),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call(*batch())
