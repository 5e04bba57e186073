"""Which standard is it: distances to every card, levels, blanks, elements that are missing."""

import math

import pytest

from trayside.core.standard_identity import (
    ANOTHER,
    AS_LABELLED,
    NONE_FITS,
    NOTHING_TO_COMPARE,
    SEVERAL,
    StandardCard,
    exchanged_pairs,
    nearest_standard,
)
from trayside.errors import ImpossibleValue

nan = float("nan")
LOW = StandardCard("LOW", (1.0, 20.0, 300.0), (0.05, 1.0, 10.0))
HIGH = StandardCard("HIGH", (5.0, 80.0, 900.0), (0.20, 3.0, 30.0))
BLANK = StandardCard("BLANK", (0.002, 1.0, 5.0), (0.002, 0.5, 2.0))
CARDS = (LOW, HIGH, BLANK)


def test_a_good_result_is_as_labelled():
    found = nearest_standard(values=[1.04, 21.0, 305.0], cards=CARDS, label="LOW")
    assert found.verdict == AS_LABELLED
    assert found.own.distance == pytest.approx(0.64 + 1.0 + 0.25)
    assert found.own.elements == 3
    assert found.distances[0].code == "LOW"


def test_a_wrong_tag_is_not_a_laboratory_failure():
    found = nearest_standard(values=[5.1, 81.0, 890.0], cards=CARDS, label="LOW")
    assert found.verdict == ANOTHER
    assert found.nearest.code == "HIGH"
    assert found.fitting == ("HIGH",)
    assert found.log_likelihood_gain > 100.0


def test_a_laboratory_failure_fits_nothing():
    found = nearest_standard(values=[1.3, 26.0, 390.0], cards=CARDS, label="LOW")
    assert found.verdict == NONE_FITS
    assert found.fitting == ()


def test_a_blank_in_the_place_of_a_standard_by_its_limits():
    found = nearest_standard(values=[0.005, 1.2, 6.0], cards=CARDS, label="HIGH", censored=[True, False, False])
    assert found.verdict == ANOTHER
    assert found.nearest.code == "BLANK"


def test_a_result_below_a_limit_counts_by_its_chance():
    found = nearest_standard(values=[1.0, nan, nan], cards=CARDS, label="LOW", censored=[True, False, False])
    # "below 1.0" for a standard of 1.0: half a chance, distance 2 ln 2.
    assert found.own.distance == pytest.approx(2.0 * math.log(2.0))


def test_elements_that_either_lacks_are_left_out():
    partial = StandardCard("PART", (1.0, nan, nan), (0.05, nan, nan))
    found = nearest_standard(values=[5.0, 80.0, 900.0], cards=(LOW, partial), label="LOW")
    assert {one.code: one.elements for one in found.distances} == {"LOW": 3, "PART": 1}
    # One element of three is too little to be taken for it.
    assert nearest_standard(values=[1.0, 80.0, 900.0], cards=(HIGH, partial), label="HIGH").fitting == ()
    assert nearest_standard(
        values=[1.0, 80.0, 900.0], cards=(HIGH, partial), label="HIGH", least_elements=0.3
    ).fitting == ("PART",)


def test_two_cards_that_fit_are_both_named():
    twin = StandardCard("TWIN", (5.05, 80.0, 900.0), (0.20, 3.0, 30.0))
    found = nearest_standard(values=[5.0, 81.0, 890.0], cards=(*CARDS, twin), label="LOW")
    assert found.verdict == SEVERAL
    assert set(found.fitting) == {"HIGH", "TWIN"}


def test_an_unknown_label_is_looked_for():
    assert nearest_standard(values=[5.1, 81.0, 890.0], cards=CARDS, label=None).nearest.code == "HIGH"


def test_nothing_measured_compares_nothing():
    found = nearest_standard(values=[nan] * 3, cards=CARDS, label="LOW")
    assert found.verdict == NOTHING_TO_COMPARE
    assert math.isnan(found.log_likelihood_gain)


@pytest.mark.parametrize(
    "call",
    [
        lambda: nearest_standard(values=[1.0, 2.0], cards=CARDS, label="LOW"),
        lambda: nearest_standard(values=[1.0, 2.0, 3.0], cards=CARDS, label="MID"),
        lambda: nearest_standard(values=[1.0, 2.0, 3.0], cards=(LOW, LOW), label="LOW"),
        lambda: nearest_standard(values=[1.0], cards=(StandardCard("A", (1.0,), (0.0,)),), label="A"),
        lambda: nearest_standard(values=[1.0, 2.0, 3.0], cards=CARDS, label="LOW", censored=[0, 1, 0]),
        lambda: nearest_standard(values=[], cards=CARDS, label="LOW"),
        lambda: exchanged_pairs(first=[1.0, 2.0], second=[1.0]),
        lambda: exchanged_pairs(first=[1.0, 1.0, 1.0], second=[2.0, 2.0, 2.0]),
        lambda: exchanged_pairs(first=[0.0, 1.0, 2.0], second=[2.0, 3.0, 1.0]),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(ImpossibleValue):
        call()
