"""Protectors: no credit is said, not hidden; targets; refusals in words."""

import pytest

from trayside.core.hearing_protectors import METHODS, protected_level
from trayside.errors import ImpossibleValue

EAR = dict(level_db=100.0, weighting="A", nrr_db=25.0, method="osha_app_b")


def test_methods_do_not_agree_and_say_which_they_are():
    found = {one: protected_level(**{**EAR, "method": one}, kind="foam plug") for one in METHODS}
    assert len({round(one.level_dba, 6) for one in found.values()}) == 4
    for name, one in found.items():
        assert name in one.says
        assert one.source == METHODS[name]


def test_a_rating_too_low_for_the_method_is_flagged_and_not_clipped():
    found = protected_level(**{**EAR, "nrr_db": 5.0})
    assert found.level_dba == 102.0
    assert any("no credit" in flag for flag in found.flags)


@pytest.mark.parametrize(("target", "enough"), [(90.0, True), (85.0, True), (82.0, True), (81.9, False)])
def test_enough_means_not_above_the_target(target, enough):
    assert protected_level(**EAR, target_dba=target).enough is enough


def test_odd_ratings_and_too_quiet_ears_are_flagged():
    found = protected_level(**{**EAR, "nrr_db": 40.0})
    assert any("unusually high" in flag for flag in found.flags)
    assert any("warnings" in flag for flag in found.flags)


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        ({"method": "half"}, "osha_app_b"),
        ({"weighting": "Z"}, "A or C"),
        ({"method": "niosh"}, "muff"),
        ({"method": "csa", "kind": "muff", "dual": True}, "two protectors"),
        ({"nrr_db": -1.0}, "at least 0"),
        ({"level_db": 300.0}, "at most 194"),
    ],
)
def test_refusals(wrong, match):
    with pytest.raises(ImpossibleValue, match=match):
        protected_level(**{**EAR, **wrong})
