"""What so many pairs could show: figures derived beforehand, and the sign limits of a printed rule."""

import pytest
from scipy import stats

from trayside.core.pair_power import log_ratio_sd, pairs_needed, sign_limit, sign_limit_short_form, smallest_bias


@pytest.mark.parametrize(
    ("pair_cv", "for_ten_percent", "for_twenty_percent"), [(0.30, 149, 41), (0.60, 532, 146), (1.00, 1198, 328)]
)
def test_pairs_needed_at_80_percent(pair_cv, for_ten_percent, for_twenty_percent):
    # Derived: 80 % power, 5 % two-sided, log ratio of lognormal results, scatter known.
    assert pairs_needed(pair_cv=pair_cv, bias=0.10, sd_known=True) == for_ten_percent
    assert pairs_needed(pair_cv=pair_cv, bias=0.20, sd_known=True) == for_twenty_percent


def test_smallest_bias_in_coarse_gold():
    # Derived: pair CV 100 %, 30 pairs show a bias of about 83 %, 475 pairs about 16 %.
    assert 100 * smallest_bias(pairs=30, pair_cv=1.0, sd_known=True) == pytest.approx(83, abs=0.5)
    assert 100 * smallest_bias(pairs=475, pair_cv=1.0, sd_known=True) == pytest.approx(16, abs=0.5)


def test_scatter_of_the_log_ratio():
    assert log_ratio_sd(pair_cv=1.0) ** 2 == pytest.approx(1.3862944, abs=5e-8)  # 2 ln 2 (derived)


def test_sign_limits_by_the_printed_formula_equal_the_exact_ones():
    # INT((n - 1)/2 - 0.98 sqrt(n + 1)), ten pairs or more, teaching slides on recovery and grade (seen); the values
    # for these counts were derived from it and from the binomial.
    for pairs, limit in ((10, 1), (20, 5), (30, 9), (50, 17), (100, 39), (200, 85), (475, 215)):
        assert sign_limit_short_form(pairs=pairs) == limit
        assert sign_limit(pairs=pairs).count == limit


def test_thirty_nine_of_a_hundred_is_already_significant():
    # The slide says "below 39" (seen). Exactly 39 has a chance of 0.035 and 40 of 0.057 (derived): read "39 or fewer".
    found = sign_limit(pairs=100)
    assert found.count == 39
    assert found.p_value == pytest.approx(0.035, abs=5e-4)
    assert found.next_p_value == pytest.approx(0.057, abs=5e-4)
    assert found.p_value == pytest.approx(stats.binomtest(39, 100).pvalue, rel=1e-12)
