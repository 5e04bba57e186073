"""What a bag can say at best, against hand arithmetic and the published factors."""

from __future__ import annotations

import pytest

from trayside.app.bag_limits import bag_limits, class_limits
from trayside.model.rules import Rules


def test_a_quarter_scatters_root_three_times_as_much_as_a_half():
    """(1/Ms - 1/ML): half core 1, quarter 3 in units of 1/ML (derived); the whole core has no portion error."""
    limits = class_limits("low", 0.5, 10, 4.8, Rules())
    assert limits.portion_sd["quarter"] / limits.portion_sd["half"] == pytest.approx(3**0.5)
    assert limits.portion_sd["whole"] == 0


def test_grains_go_with_mass_and_grade():
    """20 grains of 0.2 mm pure gold at 1 g/t weigh in 1.6169 kg of sample (derived, Poisson table after Clifton)."""
    limits = class_limits("one gram", 1.0, 1, 2 * 1.6169, Rules())
    assert limits.grains["half"] == pytest.approx(20, rel=1e-4)
    assert limits.grain_sd["half"] == pytest.approx(0.2236, abs=5e-5)


def test_a_laboratory_cannot_split_off_more_than_it_was_sent():
    limits = class_limits("low", 0.5, 1, 0.2, Rules())
    assert limits.stages[0].mass_g == pytest.approx(100)
    assert limits.stages[0].relative_sd == 0
    assert limits.stages[1].mass_g == 50


def test_a_planned_hole_shows_its_classes_and_its_offset_bias(planned):
    limits = bag_limits(planned.view())
    assert limits.classes
    assert sum(one.bags for one in limits.classes) <= sum(row.kind == "sample" for row in planned.sheet().rows)
    for bias in limits.offset_bias.values():
        assert bias.bagged_share < bias.kept_share
        assert bias.bagged_share + bias.kept_share + bias.slot_share == pytest.approx(1)
    assert limits.cautions


def test_an_unplanned_hole_has_no_classes(yard):
    yard.load()
    assert bag_limits(yard.view()).classes == ()
