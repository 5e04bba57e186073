"""Components of variance: against loops, against simulation, and what is refused."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.variance import (
    balanced_nested,
    between_within,
    components_from_pairs,
    nested_components,
    other_core_share,
    pooled_pair_variance,
    what_dominates,
)
from trayside.errors import ImpossibleValue


def drawn(seed, sds, shape):
    rng = np.random.default_rng(seed)
    values = np.zeros(shape)
    for level, sd in enumerate(sds):
        size = [*shape[: level + 1], *[1] * (len(shape) - level - 1)]
        values = values + rng.normal(0.0, sd, size)
    return values


def test_sums_of_squares_by_plain_loops():
    x = drawn(1, (3, 2, 1), (5, 3, 4)) + 100
    found = nested_components(x)
    ss_t = sum(12 * (x[i].mean() - x.mean()) ** 2 for i in range(5))
    ss_s = sum(4 * (x[i, j].mean() - x[i].mean()) ** 2 for i in range(5) for j in range(3))
    ss_a = sum((x[i, j, k] - x[i, j].mean()) ** 2 for i in range(5) for j in range(3) for k in range(4))
    assert found.table.sums_of_squares == pytest.approx((ss_t, ss_s, ss_a), rel=1e-10)
    ms_t, ms_s, ms_a = ss_t / 4, ss_s / 10, ss_a / 45
    assert found.target == pytest.approx((ms_t - ms_s) / 12)
    assert found.sampling == pytest.approx((ms_s - ms_a) / 4)
    assert found.analysis == pytest.approx(ms_a)
    assert found.table.results_per_group == (12, 4, 1)


def test_components_are_unbiased():
    found = [nested_components(drawn(seed, (2.0, 1.0, 0.5), (8, 2, 2))) for seed in range(1500)]
    assert np.mean([one.target for one in found]) == pytest.approx(4.0, rel=0.08)
    assert np.mean([one.sampling for one in found]) == pytest.approx(1.0, rel=0.08)
    assert np.mean([one.analysis for one in found]) == pytest.approx(0.25, rel=0.03)


def test_two_levels_are_the_f_test_of_scipy():
    x = drawn(2, (1, 1), (6, 5))
    table = balanced_nested(x)
    assert table.mean_squares[0] / table.mean_squares[1] == pytest.approx(stats.f_oneway(*x).statistic)


def test_four_levels_recover_what_was_put_in():
    found = [balanced_nested(drawn(seed, (3, 2, 1, 0.5), (6, 2, 2, 2))).variances for seed in range(800)]
    assert np.mean(found, axis=0) == pytest.approx([9, 4, 1, 0.25], rel=0.12)


def test_a_high_level_of_the_results_costs_no_digits():
    x = np.round(drawn(3, (3, 2, 1), (6, 2, 2)) * 64) / 64  # exact in binary, so adding a level loses nothing
    plain, lifted = nested_components(x), nested_components(x + 2.0**40)
    assert lifted.analysis == pytest.approx(plain.analysis, rel=1e-9)
    assert lifted.target == pytest.approx(plain.target, rel=1e-6)


def test_negative_components_stay_negative_and_are_named():
    x = np.array([[[1.0, 1.2], [3.0, 3.1]], [[3.0, 2.9], [1.0, 1.1]], [[1.1, 1.0], [3.2, 3.1]]])
    found = nested_components(x)
    assert found.target < 0
    assert found.negative == ("target",)
    assert found.total == pytest.approx(found.target + found.sampling + found.analysis)


def test_between_and_within_with_batches_of_many_sizes():
    rng = np.random.default_rng(5)
    between, within = [], []
    for _ in range(1500):
        sizes = rng.integers(1, 7, 12)
        values = np.concatenate([rng.normal(rng.normal(0, 2), 1, size) for size in sizes])
        found = between_within(values, np.repeat(np.arange(12), sizes))
        between.append(found.between)
        within.append(found.within)
    assert np.mean(between) == pytest.approx(4.0, rel=0.06)
    assert np.mean(within) == pytest.approx(1.0, rel=0.03)


def test_batch_labels_may_be_words_in_any_order():
    values = [1.0, 5.0, 1.2, 5.3, 0.9]
    found = between_within(values, ["a", "b", "a", "b", "a"])
    groups = stats.f_oneway([1.0, 1.2, 0.9], [5.0, 5.3])
    assert found.mean_squares[0] / found.mean_squares[1] == pytest.approx(groups.statistic)


def test_three_kinds_of_pair_may_give_a_negative_component():
    found = components_from_pairs(field_variance=0.09, preparation_variance=0.01, analysis_variance=0.02)
    assert found.sampling == pytest.approx(0.08)
    assert found.preparation == pytest.approx(-0.01)
    assert found.negative == ("preparation",)


def test_the_sentence_names_what_dominates():
    found = what_dominates(sampling=0.08, preparation=0.01, analysis=0.01)
    assert (found.largest, found.clear) == ("sampling", True)
    assert found.sentence == "Sampling dominates (sampling 80%, preparation 10%, analysis 10%)."
    even = what_dominates(sampling=0.04, preparation=0.03, analysis=0.03)
    assert not even.clear
    assert even.sentence.startswith("No source dominates; the largest is sampling")
    bare = what_dominates(sampling=0.08, preparation=-0.01, analysis=0.02)
    assert bare.sentence.endswith("preparation cannot be told from nothing.")
    assert bare.shares["preparation"] == 0.0
    assert set(what_dominates(sampling=1.0, analysis=3.0).shares) == {"sampling", "analysis"}


def test_quarter_doubles_and_whole_core_halves_the_variance_of_half_pairs():
    settings = {"sampling_variance": 0.04, "other_variance": 0.0, "first_share": 0.5, "second_share": 0.5}
    quarter = other_core_share(**settings, present_share=0.5, other_share=0.25)
    whole = other_core_share(**settings, present_share=0.5, other_share=1.0)
    assert quarter.sampling == pytest.approx(0.08)
    assert whole.sampling == pytest.approx(0.02)
    assert quarter.about_own_core == pytest.approx(3 * 0.02)  # half about its own core: 1 unit of 0.02
    assert whole.about_own_core == 0.0
    assert quarter.sd_ratio == pytest.approx(2**0.5)


def test_pairs_of_another_kind_give_the_same_core_the_same_unit():
    # In units of the whole core: half/half pairs 2, half/quarter 3, quarter/quarter 4.
    kinds = {(0.5, 0.5): 2.0, (0.5, 0.25): 3.0, (0.25, 0.25): 4.0}
    for (first, second), units in kinds.items():
        found = other_core_share(
            sampling_variance=units,
            other_variance=0.5,
            first_share=first,
            second_share=second,
            present_share=0.5,
            other_share=1.0,
        )
        assert found.sampling == pytest.approx(1.0)
        assert found.total == pytest.approx(1.5)
        assert found.sd_ratio == pytest.approx((1.5 / 2.5) ** 0.5)


def test_the_law_of_mass_by_drawing_grains():
    # Grains thrown on a core: Poisson counts in portions have variance proportional to one over their share.
    rng = np.random.default_rng(8)
    eighths = rng.poisson(5.0, (200_000, 8))
    half, other = eighths[:, :4].sum(1) / 0.5, eighths[:, 4:].sum(1) / 0.5
    seen = pooled_pair_variance(half, other)
    found = other_core_share(
        sampling_variance=seen,
        other_variance=0.0,
        first_share=0.5,
        second_share=0.5,
        present_share=0.5,
        other_share=0.25,
    )
    assert found.sampling == pytest.approx((eighths[:, :2].sum(1) / 0.25).var(), rel=0.02)
    assert found.about_own_core == pytest.approx((eighths[:, :2].sum(1) / 0.25 - eighths.sum(1)).var(), rel=0.02)


@pytest.mark.parametrize(
    "call",
    [
        lambda: nested_components(np.ones((3, 2))),
        lambda: nested_components(np.ones((3, 1, 2))),
        lambda: nested_components(np.full((3, 2, 2), np.nan)),
        lambda: balanced_nested(5.0),
        lambda: between_within([1.0, 2.0, 3.0], [1, 1, 1]),
        lambda: between_within([1.0, 2.0, 3.0], [1, 2, 3]),
        lambda: between_within([1.0, 2.0, 3.0], [1, 2]),
        lambda: components_from_pairs(field_variance=-1.0, preparation_variance=0.0, analysis_variance=0.0),
        lambda: what_dominates(sampling=-1.0, analysis=0.0),
        lambda: pooled_pair_variance([1.0], [1.0, 2.0]),
        lambda: other_core_share(
            sampling_variance=-0.1,
            other_variance=0.1,
            first_share=0.5,
            second_share=0.5,
            present_share=0.5,
            other_share=1.0,
        ),
        lambda: other_core_share(
            sampling_variance=0.1,
            other_variance=0.1,
            first_share=0.75,
            second_share=0.5,
            present_share=0.5,
            other_share=1.0,
        ),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
