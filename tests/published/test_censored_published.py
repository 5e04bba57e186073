"""Results below limits against printed estimates. Tolerance: half the last printed place."""

import pytest

from trayside.core.censored import below_curve, lognormal_fit, order_fit

# Arsenic in stream water, Oahu, ug/L: Helsel 2005, as in the R package NADA, commit b3584c69 (data seen).
OAHU = [
    "<1", "<1", "1.7", "<1", "<1", "<2", "3.2", "<2", "<2", "2.8", "<2", "<2",
    "<2", "<2", "<2", "0.7", "0.9", "0.5", "0.5", "<0.9", "0.5", "0.7", "0.6", "1.5",
]  # fmt: skip
VALUES = [float(one.lstrip("<")) for one in OAHU]
CENSORED = [one.startswith("<") for one in OAHU]


def test_the_retyped_list_is_the_published_one():
    assert (len(OAHU), sum(CENSORED)) == (24, 13)


def test_lognormal_likelihood():
    # Helsel 2005 (from memory): mean 0.945, median 0.777, sd 0.656; six places derived beforehand.
    found = lognormal_fit(values=VALUES, censored=CENSORED)
    assert found.mean == pytest.approx(0.945, abs=5e-4)
    assert found.median == pytest.approx(0.777, abs=5e-4)
    assert found.sd == pytest.approx(0.656, abs=5e-4)
    assert (found.mean, found.median, found.sd) == pytest.approx((0.945259, 0.776601, 0.655926), abs=1e-6)
    assert (found.log_mean, found.log_sd) == pytest.approx((-0.252829, 0.626948), abs=1e-6)


def test_kaplan_meier_turned_round():
    # Helsel 2005 (from memory): mean 0.949, median 0.70; shares derived beforehand.
    found = below_curve(values=VALUES, censored=CENSORED)
    assert found.mean == pytest.approx(0.949, abs=5e-4)
    assert found.median == pytest.approx(0.70, abs=5e-3)
    assert found.mean == pytest.approx(0.948958, abs=5e-7)
    assert found.value.tolist() == [0.5, 0.6, 0.7, 0.9, 1.5, 1.7, 2.8, 3.2]
    assert found.share_at_or_below == pytest.approx(
        [0.3438, 0.4583, 0.6875, 0.7857, 0.8512, 0.9167, 0.9583, 1.0], abs=5.1e-5
    )


def test_regression_on_order():
    # Helsel 2005 (from memory): mean 0.972, median 0.70, sd 0.718; line derived beforehand.
    found = order_fit(values=VALUES, censored=CENSORED)
    assert found.mean == pytest.approx(0.972, abs=5e-4)
    assert found.median == pytest.approx(0.70, abs=5e-3)
    assert found.sd == pytest.approx(0.718, abs=5e-4)
    assert (found.log_intercept, found.log_slope) == pytest.approx((-0.229987, 0.646775), abs=5e-7)


def test_half_the_limit_gives_another_answer():
    # Derived beforehand: half the limit in place of the result gives 1.002083, far from all three.
    halves = [value / 2 if below else value for value, below in zip(VALUES, CENSORED, strict=True)]
    assert sum(halves) / 24 == pytest.approx(1.002083, abs=5e-7)
    for fit in (lognormal_fit, below_curve, order_fit):
        assert abs(fit(values=VALUES, censored=CENSORED).mean - 1.002083) > 0.02
