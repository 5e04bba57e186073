"""Blanks against exact binomial figures and independent code. Tolerance: half the last printed place."""

import numpy as np
import pytest
from scipy import stats

from trayside.core.blanks import blanks_for_claim, carry_over, failure_rate


@pytest.mark.parametrize(
    ("failures", "blanks", "low_percent", "high_percent", "half_low", "half_high"),
    [
        # Clopper-Pearson 95 % intervals, worked beforehand with scipy's beta distribution (derived).
        (1, 20, 0.1265, 24.87, 5e-5, 5e-3),
        (2, 50, 0.488, 13.71, 5e-4, 5e-3),
        (5, 100, 1.643, 11.283, 5e-4, 5e-4),
        (10, 100, 4.900, 17.622, 5e-4, 5e-4),
    ],
)
def test_exact_intervals(failures, blanks, low_percent, high_percent, half_low, half_high):
    found = failure_rate(failures=failures, blanks=blanks)
    assert 100 * found.low == pytest.approx(low_percent, abs=half_low)
    assert 100 * found.high == pytest.approx(high_percent, abs=half_high)
    # Independent code: scipy's exact interval.
    other = stats.binomtest(failures, blanks).proportion_ci(method="exact")
    assert (found.low, found.high) == pytest.approx((other.low, other.high))


@pytest.mark.parametrize(
    ("failures", "blanks", "chance"),
    [(10, 100, 0.02819), (5, 100, 0.56402), (1, 20, 0.64151)],
)
def test_chance_of_so_many_failures_at_five_percent(failures, blanks, chance):
    # Binomial tails (derived beforehand).
    assert failure_rate(failures=failures, blanks=blanks).p_value == pytest.approx(chance, abs=5e-6)


def test_no_failure_in_59_and_299():
    # One-sided 95 % upper limits (derived beforehand): 4.951 % and 0.997 %.
    assert 100 * failure_rate(failures=0, blanks=59).upper == pytest.approx(4.951, abs=5e-4)
    assert 100 * failure_rate(failures=0, blanks=299).upper == pytest.approx(0.997, abs=5e-4)
    assert blanks_for_claim(rate=0.05) == 59
    assert blanks_for_claim(rate=0.01) == 299


def test_carry_over_is_the_line_other_code_draws():
    # Independent code: scipy's linregress and spearmanr.
    rng = np.random.default_rng(11)
    before = rng.lognormal(0.0, 1.5, 25)
    blank = 0.01 + 0.006 * before + rng.normal(0.0, 0.01, 25)
    found = carry_over(blank=blank, previous=before)
    line = stats.linregress(before, blank, alternative="greater")
    assert found.rate == pytest.approx(line.slope)
    assert found.standard_error == pytest.approx(line.stderr)
    assert found.p_value == pytest.approx(line.pvalue)
    assert found.background == pytest.approx(line.intercept)
    reach = stats.t.ppf(0.975, 23) * line.intercept_stderr
    assert found.background_high - found.background == pytest.approx(reach)
    ranks = stats.spearmanr(blank, before, alternative="greater")
    assert (found.rank_correlation, found.rank_p_value) == pytest.approx((ranks.statistic, ranks.pvalue))
