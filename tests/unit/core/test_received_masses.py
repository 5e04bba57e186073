"""Masses at the laboratory: a load that dried, a bag that lost, two exchanged, and what one bag cannot tell."""

import numpy as np
import pytest

from trayside.core.mass_residuals import HEAVY, INSIDE, LIGHT
from trayside.core.received_masses import (
    GAINED,
    MUCH_DRIED,
    NOT_RECEIVED,
    PLAIN,
    TOO_FEW,
    DryingSettings,
    compare_received,
)
from trayside.errors import ImpossibleValue


def load(count=40, *, drying=0.06, seed=1, sd=0.008):
    chance = np.random.default_rng(seed)
    yard = chance.uniform(1.0, 5.0, count)
    return yard, yard * (1.0 - drying) * np.exp(sd * chance.standard_normal(count))


def test_a_whole_load_that_came_in_six_percent_light_has_dried():
    yard, laboratory = load()
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    assert set(received.verdict) == {INSIDE}
    assert received.lost == ()
    assert received.groups[0].verdict == PLAIN
    assert received.groups[0].drying == pytest.approx(0.06, abs=0.005)
    np.testing.assert_allclose(received.drying, 0.06, atol=0.006)


def test_one_bag_twenty_percent_light_has_lost_rock():
    yard, laboratory = load()
    laboratory[11] *= 0.8
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    assert received.lost == (11,)
    assert [verdict for k, verdict in enumerate(received.verdict) if k != 11] == [INSIDE] * 39
    assert received.difference_kg[11] == pytest.approx(-0.2 * 0.94 * yard[11], rel=0.1)


def test_each_load_has_its_own_drying():
    wet_yard, wet = load(30, drying=0.08)
    dry_yard, dry = load(30, drying=0.005, seed=2)
    wet[3] *= 0.9  # lost 10 %; in the dry load with 8 % allowed for all, that would pass
    group = ["wet"] * 30 + ["dry"] * 30
    received = compare_received(yard_kg=np.append(wet_yard, dry_yard), laboratory_kg=np.append(wet, dry), group=group)
    assert received.lost == (3,)
    assert [one.group for one in received.groups] == ["wet", "dry"]
    assert [one.drying for one in received.groups] == pytest.approx([0.08, 0.005], abs=0.006)


def test_exchanged_bags_are_found_and_not_called_lost():
    yard, laboratory = load()
    yard[20:22] = 1.5, 3.0
    laboratory[20:22] = 0.94 * 3.0, 0.94 * 1.5
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    assert [(one.kind, one.first) for one in received.identity.found] == [("exchange", 20)]
    assert received.verdict[20:22] == (HEAVY, LIGHT)
    assert received.lost == ()


def test_uneven_drying_widens_the_range_instead_of_crying_loss():
    yard, laboratory = load(60, drying=0.3, sd=0.06)
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    assert received.lost == ()
    assert received.groups[0].verdict == MUCH_DRIED
    assert (received.relative_sd > 0.03).all()


def test_a_load_heavier_at_the_laboratory_is_said():
    yard, laboratory = load(drying=-0.03)
    assert compare_received(yard_kg=yard, laboratory_kg=laboratory).groups[0].verdict == GAINED


def test_one_bag_alone_is_judged_by_the_usual_drying_and_the_group_claims_nothing():
    received = compare_received(yard_kg=[2.0, 2.0], laboratory_kg=[1.9, 1.0], group=["a", "b"])
    assert received.verdict == (INSIDE, LIGHT)
    assert [one.verdict for one in received.groups] == [TOO_FEW, TOO_FEW]
    np.testing.assert_allclose(received.drying, 0.02)


def test_a_bag_does_not_judge_itself():
    yard, laboratory = load(5)
    changed = laboratory.copy()
    changed[2] = 0.3
    one, other = (compare_received(yard_kg=yard, laboratory_kg=masses) for masses in (laboratory, changed))
    assert one.expected_kg[2] == other.expected_kg[2]
    assert one.relative_sd[2] == other.relative_sd[2]
    assert other.verdict[2] == LIGHT


@pytest.mark.parametrize("count", [2, 3, 4, 6])
def test_in_a_small_load_one_loss_does_not_make_the_others_odd(count):
    laboratory = np.full(count, 2.0 * 0.97)
    laboratory[0] *= 0.8
    received = compare_received(yard_kg=np.full(count, 2.0), laboratory_kg=laboratory)
    assert received.verdict == (LIGHT,) + (INSIDE,) * (count - 1)


def test_a_bag_that_never_came_is_named_and_the_rest_still_judged():
    yard, laboratory = load(10)
    laboratory[4] = np.nan
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    assert received.verdict[4] == NOT_RECEIVED
    assert np.isnan(received.score[4])
    assert received.groups[0].bags == 9
    assert received.expected_kg[4] == pytest.approx(0.94 * yard[4], rel=0.02)
    nothing = compare_received(yard_kg=yard, laboratory_kg=np.full(10, np.nan))
    assert set(nothing.verdict) == {NOT_RECEIVED}
    assert nothing.groups[0].bags == 0


@pytest.mark.parametrize("count", [3, 4, 7, 20])
def test_each_bag_is_judged_by_two_beliefs_about_drying_put_together(count):
    yard, laboratory = load(count, sd=0.03)
    received = compare_received(yard_kg=yard, laboratory_kg=laboratory)
    logs = np.log(laboratory / yard)
    for i in range(count):
        others = np.delete(logs, i)
        scales = np.hypot(0.01, 0.02 / yard[i])
        mad = 1.4826 * np.median(np.abs(others - np.median(others)))
        bag = max(mad, scales)
        error = np.pi / 2 * bag**2 / len(others)
        precision = 1 / 0.03**2 + 1 / error
        middle = (np.log(0.98) / 0.03**2 + np.median(others) / error) / precision
        assert np.log(1 - received.drying[i]) == pytest.approx(middle)
        assert received.relative_sd[i] == pytest.approx(np.sqrt(bag**2 + 1 / precision))


def test_few_bags_lean_on_the_usual_drying_many_do_not():
    def drying_of(count):
        return compare_received(yard_kg=np.full(count, 2.0), laboratory_kg=np.full(count, 1.6)).drying[0]

    assert drying_of(2) == pytest.approx(0.02)
    assert 0.02 < drying_of(3) < drying_of(5) < drying_of(50) < 0.2
    assert drying_of(50) == pytest.approx(0.2, abs=0.002)


def test_small_bags_are_allowed_the_step_of_the_scale():
    received = compare_received(yard_kg=[0.1, 4.0], laboratory_kg=[0.08, 3.2], group=["a", "b"])
    assert received.verdict == (INSIDE, LIGHT)


@pytest.mark.parametrize(
    "change",
    [
        {"yard_kg": [0.0, 1.0]},
        {"yard_kg": [np.nan, 1.0]},
        {"laboratory_kg": [1.0]},
        {"laboratory_kg": [-1.0, 1.0]},
        {"laboratory_kg": [np.inf, 1.0]},
        {"group": ["a"]},
        {"settings": DryingSettings(usual_drying=1.0)},
        {"settings": DryingSettings(scale_sd=0.0)},
        {"settings": DryingSettings(usual_drying_sd=0.0)},
    ],
)
def test_impossible_masses_are_refused(change):
    with pytest.raises(ImpossibleValue):
        compare_received(**{"yard_kg": [1.0, 2.0], "laboratory_kg": [1.0, 2.0]} | change)
