"""Learning density and offset: bag by bag as all at once, against plain least squares, with wrong bags among them."""

import numpy as np
import pytest

from trayside.core.bag_mass import predict_bag_mass
from trayside.core.cut_geometry import cut_pieces
from trayside.core.mass_learning import (
    LearningSettings,
    forget_offset,
    learn_from_bag,
    learn_from_bags,
    starting_belief,
)
from trayside.errors import ImpossibleValue

CORE = {"core_diameter_mm": 47.6, "kerf_mm": 2.4}


def start(**changes):
    case = {
        "rocks": ["granite", "skarn"], "density_t_m3": [2.70, 3.40], "density_sd_t_m3": [0.10, 0.25],
        "saws": ["A", "B"], "offset_mm": 3.0, "offset_sd_mm": 1.0,
    }  # fmt: skip
    return starting_belief(**case | changes)


def bags(count, *, seed=1, mass_sd=0.03, wander=0.4, tame=False, both_share=0.25):
    """Made-up bags: granite 2.78, skarn 3.25 t/m3, saw A at 2.2 and saw B at 3.8 mm."""
    chance = np.random.default_rng(seed)

    def scatter(size):
        return chance.uniform(-1.0, 1.0, size) if tame else chance.standard_normal(size)

    rock, saw = chance.choice(["granite", "skarn"], count), chance.choice(["A", "B"], count)
    length = chance.uniform(0.4, 1.4, count)
    offset = np.where(saw == "A", 2.2, 3.8) + wander * scatter(count)
    cut = cut_pieces(**CORE, offset_mm=offset)
    load = 1e-3 * np.where(rock == "granite", 2.78, 3.25) * length * np.exp(mass_sd * scatter(count))
    far = np.where(chance.random(count) < both_share, cut.far_mm2 * load, np.nan)
    return {
        "rock": rock.tolist(), "saw": saw.tolist(), "near_kg": cut.near_mm2 * load, "far_kg": far,
        "recovered_length_m": length,
    }  # fmt: skip


def one_by_one(belief, case, settings=None):
    scores = []
    for i in range(len(case["rock"])):
        step = learn_from_bag(
            belief=belief,
            rock=case["rock"][i],
            saw=case["saw"][i],
            near_kg=None if np.isnan(case["near_kg"][i]) else case["near_kg"][i],
            far_kg=None if np.isnan(case["far_kg"][i]) else case["far_kg"][i],
            recovered_length_m=case["recovered_length_m"][i],
            **CORE,
            **({"settings": settings} if settings else {}),
        )
        belief = step.belief
        scores.append(step.score[0])
    return belief, np.array(scores)


@pytest.mark.parametrize("seed", range(4))
def test_bag_by_bag_is_the_same_as_all_at_once(seed):
    case = bags(60, seed=seed, tame=True)
    together = learn_from_bags(belief=start(), **case, **CORE)
    single, _ = one_by_one(start(), case)
    assert (together.weight == 1.0).all()
    np.testing.assert_allclose(single.mean, together.belief.mean, rtol=1e-10)
    np.testing.assert_allclose(single.covariance, together.belief.covariance, rtol=1e-8, atol=1e-14)
    assert single.bags == together.belief.bags == 60


def test_the_order_of_the_bags_does_not_matter():
    case = bags(30, tame=True)
    back = {name: values[::-1] for name, values in case.items()}
    np.testing.assert_allclose(one_by_one(start(), case)[0].mean, one_by_one(start(), back)[0].mean, rtol=1e-10)


def test_the_belief_is_that_of_plain_weighted_least_squares():
    # Independent reference: rows written out by hand with slopes by finite difference, solved by lstsq with the prior
    # as two more rows.
    case = bags(12, tame=True, both_share=0.0)
    case["rock"], case["saw"] = ["granite"] * 12, ["A"] * 12
    belief = start(rocks=["granite"], density_t_m3=2.7, density_sd_t_m3=0.1, saws=["A"])
    step = 1e-5
    area, up, down = (cut_pieces(**CORE, offset_mm=3.0 + d).near_mm2 for d in (0.0, step, -step))
    slope = (np.log(up) - np.log(down)) / (2 * step)
    sd = np.hypot(0.04, slope * 0.5)
    rows = np.vstack([np.tile([1.0, slope], (12, 1)) / sd, [[27.0, 0.0], [0.0, 1.0]]])
    said = np.log(1e3 * case["near_kg"] / case["recovered_length_m"] / area) + slope * 3.0
    right = np.concatenate([said / sd, [27.0 * np.log(2.7), 3.0]])
    expected = np.linalg.lstsq(rows, right, rcond=None)[0]
    every_bag_in_full = LearningSettings(full_weight_sd=1e9)
    learned = learn_from_bags(belief=belief, **case, **CORE, settings=every_bag_in_full).belief
    np.testing.assert_allclose(learned.mean, expected, rtol=1e-7)
    np.testing.assert_allclose(learned.covariance, np.linalg.inv(rows.T @ rows), rtol=1e-6)


def test_the_truth_is_found_within_what_the_belief_says_of_itself():
    misses = []
    for seed in range(40):
        belief = learn_from_bags(
            belief=start(), **bags(200, seed=seed), **CORE, settings=LearningSettings(bag_sd=0.03, wander_sd_mm=0.4)
        ).belief
        misses.append((belief.density_t_m3 - [2.78, 3.25]) / belief.density_sd_t_m3)
        misses.append((belief.offset_mm - [2.2, 3.8]) / belief.offset_sd_mm)
    # 160 values that should be near standard normal: their root mean square within 25 % above 1.
    assert np.sqrt(np.mean(np.square(misses))) < 1.25
    assert np.max(np.abs(misses)) < 4.5
    assert (belief.offset_sd_mm < 0.1).all()


def test_one_half_alone_leaves_density_and_offset_tied():
    case = bags(100, both_share=0.0)
    case["rock"], case["saw"] = ["granite"] * 100, ["A"] * 100
    belief = learn_from_bags(belief=start(), **case, **CORE).belief
    tie = belief.covariance[0, 2] / np.sqrt(belief.covariance[0, 0] * belief.covariance[2, 2])
    # Heavier rock or a blade farther into the bagged half: the mass cannot say which.
    assert tie > 0.9
    assert belief.offset_sd_mm[0] > 0.3


def test_both_halves_settle_the_offset():
    case = bags(100, both_share=1.0)
    belief = learn_from_bags(belief=start(), **case, **CORE).belief
    assert (belief.offset_sd_mm < 0.1).all()
    np.testing.assert_allclose(belief.offset_mm, [2.2, 3.8], atol=0.25)


def test_a_far_half_alone_teaches_as_well():
    case = bags(80, both_share=1.0)
    case["near_kg"] = np.full(80, np.nan)
    belief = learn_from_bags(belief=start(offset_sd_mm=0.05, offset_mm=[2.2, 3.8]), **case, **CORE).belief
    np.testing.assert_allclose(belief.density_t_m3, [2.78, 3.25], rtol=0.02)


@pytest.mark.parametrize("way", ["one by one", "all at once"])
def test_a_wrong_bag_does_little_harm(way):
    case = bags(40, tame=True)
    wrong = {name: list(values) for name, values in case.items()}
    wrong["near_kg"][20] *= 0.4
    wrong["far_kg"][20] = np.nan
    clean = {name: np.delete(np.array(values), 20).tolist() for name, values in case.items()}
    if way == "one by one":
        with_it, without = one_by_one(start(), wrong)[0], one_by_one(start(), clean)[0]
    else:
        learned = learn_from_bags(belief=start(), **wrong, **CORE)
        assert np.argmin(learned.weight) == 20
        assert learned.weight[20] < 0.1
        with_it, without = learned.belief, learn_from_bags(belief=start(), **clean, **CORE).belief
    moved = np.abs(with_it.mean - without.mean) / np.sqrt(np.diag(without.covariance))
    assert moved.max() < 0.35
    # A plain average would have been dragged along.
    plain = learn_from_bags(belief=start(), **wrong, **CORE, settings=LearningSettings(full_weight_sd=1e9)).belief
    dragged = np.abs(plain.mean - without.mean) / np.sqrt(np.diag(without.covariance))
    assert dragged.max() > 3 * moved.max()


def test_with_wrong_bags_both_ways_still_come_out_close():
    case = bags(80)
    for k in (10, 33, 60):
        case["near_kg"][k] *= 1.5
        case["far_kg"][k] = np.nan
    together = learn_from_bags(belief=start(), **case, **CORE).belief
    single, scores = one_by_one(start(), case)
    apart = np.abs(single.mean - together.mean) / np.sqrt(np.diag(together.covariance))
    assert apart.max() < 0.5
    assert set(np.argsort(scores)[-3:]) == {10, 33, 60}


def test_a_wrong_belief_gives_way_to_bag_after_bag():
    case = bags(120, both_share=1.0)
    belief, _ = one_by_one(start(density_t_m3=[2.2, 2.6], density_sd_t_m3=0.02), case)
    assert abs(belief.density_t_m3[0] - 2.78) < 0.5 * (2.78 - 2.2)


def test_a_saw_set_up_again_is_as_unknown_as_at_first_and_rocks_stay():
    belief = learn_from_bags(belief=start(), **bags(60), **CORE).belief
    fresh = forget_offset(belief=belief, saw="B")
    assert fresh.offset_mm[1] == 3.0
    assert fresh.offset_sd_mm[1] == 1.0
    assert fresh.offset_mm[0] == belief.offset_mm[0]
    np.testing.assert_array_equal(fresh.density_sd_t_m3, belief.density_sd_t_m3)
    assert (fresh.covariance[3, :3] == 0.0).all()


def test_what_was_learned_predicts_the_next_bag():
    belief = learn_from_bags(belief=start(), **bags(300, both_share=1.0), **CORE).belief
    guess = predict_bag_mass(
        recovered_length_m=1.0, density_t_m3=belief.density_t_m3[0], offset_mm=belief.offset_mm[0], **CORE
    ).expected_kg
    truth = predict_bag_mass(recovered_length_m=1.0, density_t_m3=2.78, offset_mm=2.2, **CORE).expected_kg
    assert guess == pytest.approx(truth, rel=0.015)


BAG = {"rock": "granite", "saw": "A", "near_kg": 2.0, "recovered_length_m": 1.0} | CORE


@pytest.mark.parametrize(
    "change",
    [
        {"near_kg": None},
        {"near_kg": 0.0},
        {"far_kg": -1.0},
        {"rock": "basalt"},
        {"saw": "C"},
        {"recovered_length_m": 0.0},
        {"kerf_mm": 50.0},
        {"settings": LearningSettings(bag_sd=0.0)},
        {"settings": LearningSettings(full_weight_sd=0.0)},
    ],
)
def test_impossible_bags_are_refused(change):
    with pytest.raises(ImpossibleValue):
        learn_from_bag(belief=start(), **BAG | change)


@pytest.mark.parametrize(
    "change",
    [
        {"rocks": ["granite", "granite"]},
        {"density_t_m3": [2.7, 0.0]},
        {"density_t_m3": [2700.0, 2.7]},
        {"density_sd_t_m3": 0.0},
        {"offset_sd_mm": 0.0},
        {"offset_mm": [1.0, 2.0, 3.0]},
    ],
)
def test_impossible_beliefs_are_refused(change):
    with pytest.raises(ImpossibleValue):
        start(**change)


def test_lists_of_different_length_are_refused():
    case = bags(5)
    case["saw"] = case["saw"][:4]
    with pytest.raises(ImpossibleValue):
        learn_from_bags(belief=start(), **case, **CORE)


def test_no_bags_change_nothing():
    empty = learn_from_bags(belief=start(), rock=[], saw=[], near_kg=[], far_kg=[], recovered_length_m=[], **CORE)
    np.testing.assert_allclose(empty.belief.mean, start().mean)
    assert empty.score.shape == (0,)
