"""Played schemes against exact run lengths of charts.

A simulation cannot reach half the last printed place; the tolerance is that half place and four standard errors.
"""

import numpy as np
import pytest

from trayside.core.scheme_design import BIAS, ControlScheme, Fault, LaboratoryModel, SchemeRules, play_scheme

# One standard a batch and nothing else: tickets until it is seen are the run length.
ONE_BY_ONE = ControlScheme(tickets_per_batch=1, batches_per_month=1, months=150, rack_size=1, standard_rate=0.0)
UNIT = LaboratoryModel(standard_sd=1.0, batch_sd=0.0, chart_sd=1.0)


def mean_run(shift, rules, campaigns=8000, months=150):
    played = play_scheme(
        scheme=ControlScheme(tickets_per_batch=1, batches_per_month=1, months=months, rack_size=1, standard_rate=0.0),
        laboratory=UNIT,
        fault=Fault(BIAS, shift),
        rules=rules,
        campaigns=campaigns,
        seed=3,
        lead_batches=0,
    )
    return played


@pytest.mark.parametrize(
    ("shift", "printed", "sd"), [(1.0, 8.38, 5.0), (1.5, 4.75, 2.1), (2.0, 3.34, 1.2), (3.0, 2.19, 0.6)]
)
def test_two_sided_cusum(shift, printed, sd):
    # Lucas & Crosier 1982, Technometrics 24:199, Table 1, k = 0.5, h = 4, as printed in the R package spc, commit
    # 06b743da (seen). Sds of the run length: generous (derived).
    found = mean_run(shift, SchemeRules(beyond=None, two_beyond=None, cusum_k=0.5, cusum_h=4.0))
    assert found.mean_tickets == pytest.approx(printed, abs=5e-3 + 4 * sd / np.sqrt(8000))


@pytest.mark.parametrize(("shift", "printed"), [(2.0, 6.30), (3.0, 2.00)])
def test_single_scores_beyond_three(shift, printed):
    # Champ & Woodall 1987, Technometrics 29:393, Table 1, rule 1 (seen). The run length is geometric: sd near its mean.
    found = mean_run(shift, SchemeRules(beyond=3.0, two_beyond=None))
    assert found.mean_tickets == pytest.approx(printed, abs=5e-3 + 4 * printed / np.sqrt(8000))


@pytest.mark.parametrize(
    ("shift", "chances"),
    [
        (1.0, [0.1088, 0.2058, 0.3693, 0.4991]),
        (2.0, [0.5784, 0.8223, 0.9684, 0.9944]),
        (0.0, [0.0134, 0.0267, 0.0526, 0.0779]),
    ],
)
def test_at_least_one_of_so_many_beyond_three(shift, chances):
    # 1 - (1 - p)^n for n = 5, 10, 20, 30, worked out beforehand (derived).
    found = mean_run(shift, SchemeRules(beyond=3.0, two_beyond=None), campaigns=20_000, months=30)
    error = np.sqrt(np.array(chances) * (1 - np.array(chances)) / 20_000)
    assert (np.abs(found.by_batch[[4, 9, 19, 29]] - chances) <= 5e-5 + 4 * error).all()
