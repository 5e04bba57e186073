"""What the interval planner is told: stretches, contacts, losses, sizes, veins, mass by depth."""

from __future__ import annotations

import numpy as np
import pytest

from trayside.app.plan_samples import prepare
from trayside.app.sampling_ground import interval_rules
from trayside.core.cut_geometry import cut_pieces, whole_area
from trayside.core.intervals import IntervalRules
from trayside.model.rules import Rules, SamplingRules

NQ_MM, KERF_MM, OFFSET_MM = 47.6, 2.5, 3.0


def ground_of(yard, hole_id: str = "A-1"):
    yard.load()
    return prepare(yard.view(hole_id))


def spans(from_m, to_m) -> list[tuple[float, float]]:
    return [tuple(pair) for pair in np.round(np.column_stack((from_m, to_m)), 6).tolist()]


def test_wanted_classes_with_their_shoulders_are_sampled(yard):
    ground = ground_of(yard).ground
    assert spans(ground.stretch_from_m, ground.stretch_to_m) == [(8, 22)]
    assert spans(ground.shoulder_from_m, ground.shoulder_to_m) == [(8, 10), (20, 22)]


def test_never_beats_class_and_shoulder_and_always_beats_class(yard):
    rock = yard.rows("rock", "A-1")
    rock[0]["sampling"] = "never"
    rock[2]["sampling"] = "always"
    ground = ground_of(yard).ground
    assert spans(ground.stretch_from_m, ground.stretch_to_m) == [(10, 30)]


def test_all_classes_and_no_class(yard):
    yard.rules += '[sampling]\nsample_classes = "all"\n'
    ground = ground_of(yard).ground
    assert spans(ground.stretch_from_m, ground.stretch_to_m) == [(0, 30)]
    yard.rules = yard.rules.replace('"all"', '["visible"]')
    assert ground_of(yard) is None


def test_a_hole_without_a_log_or_without_core_has_no_ground(yard):
    yard.tables["rock"] = yard.rows("rock", "C-7")
    assert ground_of(yard) is None
    yard.tables["runs"] = yard.rows("runs", "A-1")
    assert ground_of(yard, "C-7") is None


def test_contacts_veins_and_size_changes_are_handed_on(yard):
    rock, runs = yard.rows("rock", "A-1"), yard.rows("runs", "A-1")
    rock[2]["contact"] = "soft"
    rock[1]["vein"] = "yes"
    for run in runs[5:]:
        run["core_size"] = "BQ"
    ground = ground_of(yard).ground
    assert (list(ground.hard_contact_m), list(ground.soft_contact_m)) == ([10], [20])
    assert spans(ground.vein_from_m, ground.vein_to_m) == [(10, 20)]
    assert list(ground.core_size_change_m) == [15]


def test_a_loss_stands_where_it_was_seen_or_at_the_end_of_its_run(yard):
    runs = yard.rows("runs", "A-1")
    runs[3]["recovered_m"], runs[5]["recovered_m"] = 2.6, 2.5
    yard.tables["losses"] = [{"hole_id": "A-1", "from_m": 9.5, "lost_m": 0.4, "position": "seen"}]
    ground = ground_of(yard).ground
    assert spans(ground.loss_from_m, ground.loss_to_m) == [(9.5, 9.9), (17.5, 18.0)]


def kg_per_m_at(ground, depth_m: float) -> float:
    return ground.mass_kg_per_m[np.searchsorted(ground.mass_break_m, depth_m, side="right") - 1]


def test_mass_by_depth_is_area_times_density_times_recovery(yard):
    rock = yard.rows("rock", "A-1")
    rock[2] |= {"rock": "QZV", "condition": "rubble"}
    yard.rows("runs", "A-1")[1]["recovered_m"] = 2.9
    yard.tables["losses"] = [{"hole_id": "A-1", "from_m": 4.0, "lost_m": 0.1, "position": "seen"}]
    yard.rules += '[cut]\nwhole_rocks = ["XXX"]\n'
    ground = ground_of(yard).ground
    near = cut_pieces(core_diameter_mm=NQ_MM, kerf_mm=KERF_MM, offset_mm=OFFSET_MM).near_mm2
    assert kg_per_m_at(ground, 1.0) == pytest.approx(near * 2.7 / 1000)
    assert kg_per_m_at(ground, 4.05) == pytest.approx(0.0)
    assert kg_per_m_at(ground, 15.0) == pytest.approx(near * 2.6 / 1000)
    assert kg_per_m_at(ground, 25.0) == pytest.approx(np.pi * NQ_MM**2 / 4 / 2 * 2.6 / 1000)


def test_core_sent_whole_weighs_whole(yard):
    yard.rules += '[cut]\nwhole_rocks = ["QZV"]\n'
    ground = ground_of(yard).ground
    assert kg_per_m_at(ground, 15.0) == pytest.approx(whole_area(core_diameter_mm=NQ_MM) * 2.6 / 1000)


def test_a_tenth_of_a_foot_grid_is_handed_on_and_plans_without_false_findings(yard, codes):
    yard.rules += '[sampling]\ngrid = "0.1 ft"\nnominal_m = 1.524\nmaximum_m = 1.524\nminimum_m = 0.3048\n'
    yard.rules += "round_to_m = 1.524\n"
    assert ground_of(yard).rules.step_m == pytest.approx(0.03048)
    found = codes(yard.plan().findings)
    assert [code for code in found if code not in ("control.power", "control.guessable", "control.shortfall")] == []


def test_every_cost_of_the_planner_is_a_setting_with_its_default():
    costs = {name for name in IntervalRules.__slots__ if name.endswith("_cost")}
    handed_on = {
        name.replace("soft_contact", "soft_crossing") for name in SamplingRules.model_fields if "_cost" in name
    }
    assert handed_on == costs
    shipped, planner = interval_rules(Rules()), IntervalRules()
    assert {name: getattr(shipped, name) for name in costs} == {name: getattr(planner, name) for name in costs}


@pytest.mark.parametrize("name", [name for name in SamplingRules.model_fields if name.endswith("_cost")])
def test_a_cost_set_in_the_rules_reaches_the_planner(name):
    rules = Rules.model_validate({"sampling": {name: 0.375}})
    assert getattr(interval_rules(rules), name.replace("soft_contact", "soft_crossing")) == 0.375
