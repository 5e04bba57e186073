"""Two materials exchanged by one laboratory: real interlaboratory data. Tolerance: half the last place given."""

import numpy as np
import pytest

from trayside.core.mixups import exchanged_pairs
from trayside.core.robust import MAD_TO_SD, mad

# Chromium, control material and reference material at 28 laboratories, as in the R package metRology (data seen). Its
# page says that one laboratory probably exchanged or mislabelled the two, hard to see in univariate plots (seen).
# Laboratories 1 to 26, 28, 29.
CONTROL = [51.713333, 53.01, 51.543471, 46.805, 56.423333, 54.25, 56.496667, 53.193333, 47.976667, 63.733333, 53.133333]
CONTROL += [52.41, 55.566667, 52.56, 54.613333, 50.22, 55.233333, 54.97, 53.21, 57.093333, 56.395333, 56.926667]
CONTROL += [52.666667, 54.1, 51.443333, 61.15564, 48.713333, 49.63]
REFERENCE = [
    48.084,
    48.166,
    47.3729228,
    44.382,
    49.654,
    49.82,
    50.368,
    45.712,
    44.742,
    54.48,
    48.54,
    46.086,
    51.16,
    49.3,
]
REFERENCE += [48.96, 47.108, 50.52, 47.556, 47.182, 47.916, 51.5944, 52.684, 48.2, 47.74, 46.266, 55.46697357, 45.66]
REFERENCE += [55.033333]
LAB29 = 27


def test_medians_and_spreads_of_the_retyped_lists():
    # Worked out beforehand (derived).
    assert (len(CONTROL), len(REFERENCE)) == (28, 28)
    assert np.median(CONTROL) == pytest.approx(53.201667, abs=1e-6)
    assert mad(CONTROL, factor=MAD_TO_SD) == pytest.approx(2.816940, abs=1e-6)
    assert np.median(REFERENCE) == pytest.approx(48.183000, abs=1e-6)
    assert mad(REFERENCE, factor=MAD_TO_SD) == pytest.approx(2.634580, abs=1e-6)


def test_chromium_laboratory_29_exchanged_its_materials_and_no_other_did():
    # Diagnosis: metRology page on chromium (seen). Distances and scores worked out beforehand (derived).
    found = exchanged_pairs(first=CONTROL, second=REFERENCE)
    assert found.suspected == (LAB29,)
    assert found.labelled_distance[LAB29] == pytest.approx(8.3685, abs=5e-5)
    assert found.exchanged_distance[LAB29] == pytest.approx(0.7245, abs=5e-5)
    assert found.ratio_score[LAB29] == pytest.approx(-5.787, abs=5e-4)
    assert found.exchanged_ratio_score[LAB29] == pytest.approx(0.406, abs=5e-4)
    assert np.sort(np.abs(found.ratio_score))[-2] == pytest.approx(2.560, abs=5e-4)


def test_set_right_nobody_is_suspected():
    control, reference = list(CONTROL), list(REFERENCE)
    control[LAB29], reference[LAB29] = reference[LAB29], control[LAB29]
    assert exchanged_pairs(first=control, second=reference).suspected == ()


def test_potassium_of_the_same_laboratory():
    # metRology page on potassium (seen); laboratory 29: 5.255 and 7.790 (seen). Median ratio 1.547850 and spread of the
    # logarithm 0.0233220 of all 25 laboratories worked out beforehand (derived); scores -35.611 and -1.853 (derived).
    found = exchanged_pairs(first=[5.255], second=[7.790], ratio_centre=1.547850, ratio_log_sd=0.0233220)
    assert found.ratio_score[0] == pytest.approx(-35.611, abs=5e-4)
    assert found.exchanged_ratio_score[0] == pytest.approx(-1.853, abs=5e-4)
    assert found.suspected == (0,)
