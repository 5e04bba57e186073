"""Detection limits against printed factors. Tolerance: half the last printed place."""

import math

import pytest

from trayside.core.detection_limits import (
    limits_estimated_sd,
    limits_known_sd,
    limits_of_counts,
    method_detection_limit,
    pooled_detection_limit,
    sd_interval_factors,
    t_factor,
)


def test_currie_factors_of_a_known_sd():
    # Currie 1968, Anal. Chem. 40:586, Table I (from memory): 1.645, 3.29, 10 sigma_0.
    found = limits_known_sd(blank_sd=1.0)
    assert found.critical == pytest.approx(1.645, abs=5e-4)
    assert found.detection == pytest.approx(3.29, abs=5e-3)
    assert found.quantification == pytest.approx(10.0, abs=1e-12)


def test_currie_factors_of_paired_blanks():
    # The same, paired observations (from memory): 2.33 and 4.65 sigma_B; four places derived.
    found = limits_known_sd(blank_sd=1.0, paired=True)
    assert found.critical == pytest.approx(2.33, abs=5e-3)
    assert found.detection == pytest.approx(4.65, abs=5e-3)
    assert (found.critical, found.detection) == pytest.approx((2.326174, 4.652349), abs=5e-7)


@pytest.mark.parametrize(
    ("counts", "critical", "detection", "quantification"),
    [
        # Currie 1968, working expressions (from memory), worked by hand for 100 and 0 counts (derived).
        (100.0, 23.3, 49.21, 200.0),
        (0.0, 0.0, 2.71, 100.0),
    ],
)
def test_currie_working_expressions(counts, critical, detection, quantification):
    found = limits_of_counts(blank_counts=counts)
    assert found.critical == pytest.approx(critical, abs=5e-3)
    assert found.detection == pytest.approx(detection, abs=5e-3)
    assert found.quantification == pytest.approx(quantification, abs=5e-3)


@pytest.mark.parametrize(
    ("replicates", "printed"),
    [
        # Wis. Adm. Code NR 252.0365, table of Student's t at the 99 % level (seen).
        (7, 3.143),
        (8, 2.998),
        (9, 2.896),
        (10, 2.821),
        (11, 2.764),
        (16, 2.602),
        (21, 2.528),
        (26, 2.485),
        (31, 2.457),
        (61, 2.390),
        (math.inf, 2.326),
    ],
)
def test_factor_of_the_method_detection_limit(replicates, printed):
    assert t_factor(degrees_of_freedom=replicates - 1) == pytest.approx(printed, abs=5e-4)


def test_factor_of_two_pooled_runs_of_seven():
    # Same place (seen): 12 degrees of freedom, 2.681.
    found = pooled_detection_limit(standard_deviations=[3.0, 4.0], degrees_of_freedom=[6, 6])
    assert found.factor == pytest.approx(2.681, abs=5e-4)
    assert found.sd == pytest.approx(math.sqrt(12.5), abs=1e-12)


def test_interval_factors_printed_as_95_percent_are_of_two_kinds():
    # Same place (seen) prints 0.69 and 1.92 for 6 degrees of freedom and 0.72 and 1.65 for 12, both as 95 %. The second
    # pair is; the first is the 90 % pair (derived). The misprint is kept here, and ours must not agree with it.
    assert sd_interval_factors(degrees_of_freedom=12) == pytest.approx((0.72, 1.65), abs=5e-3)
    assert sd_interval_factors(degrees_of_freedom=6, confidence=0.90) == pytest.approx((0.69, 1.92), abs=5e-3)
    low, high = sd_interval_factors(degrees_of_freedom=6)
    assert abs(low - 0.69) > 0.005
    assert abs(high - 1.92) > 0.005
    # 40 CFR 136 Appendix B gives 0.64 and 2.20 for seven replicates (from memory).
    assert (low, high) == pytest.approx((0.64, 2.20), abs=5e-3)


def test_seven_replicates_give_t_times_sd():
    # Replicates 1 to 7: sd 2.160247 (derived), times 3.143 of the table (seen).
    found = method_detection_limit(spiked=[1, 2, 3, 4, 5, 6, 7])
    assert found.sd == pytest.approx(2.160247, abs=5e-7)
    assert found.limit == pytest.approx(3.143 * 2.160247, abs=5e-4 * 2.160247)
    assert found.low / found.limit == pytest.approx(0.64, abs=5e-3)


def test_detection_limit_with_few_blanks_is_near_twice_t():
    # Currie 1995, Pure Appl. Chem. 67:1699 (from memory): delta is about 2 t for alpha = beta = 0.05; 4 df: about 4.07.
    found = limits_estimated_sd(blank_sd=1.0, degrees_of_freedom=4)
    assert found.critical == pytest.approx(2.132, abs=5e-4)
    assert found.detection == pytest.approx(4.07, abs=5e-3)
