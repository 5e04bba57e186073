"""Planning: refused while something must be settled, the same seed gives the same plan, other holes go on."""

from __future__ import annotations

import pytest

from trayside.app.plan_samples import PlannedHole, plan_yard, seed_for
from trayside.errors import NotFound, RefusedByRule


def plan_all(yard, hole_ids=None):
    return plan_yard(start_work=yard.start_work, make_id=yard.make_id, hole_ids=hole_ids)


def controls(sheet) -> list[tuple]:
    return [(row.seq, row.kind, row.material) for row in sheet.rows if row.kind != "sample"]


def test_a_plan_is_refused_while_a_finding_says_stop(yard):
    yard.rows("rock", "A-1")[1]["to_m"] = 20.5
    yard.load()
    with pytest.raises(RefusedByRule, match="1 finding must be settled") as refused:
        yard.plan()
    (reason,) = refused.value.reasons
    assert "A-1, 20.00–20.50 m" in reason
    assert yard.sheet() is None


def test_a_plan_is_refused_where_nothing_is_to_be_sampled(yard):
    yard.rows("rock", "A-1")[1]["grade_class"] = "barren"
    yard.load()
    with pytest.raises(RefusedByRule, match="nothing of this hole is to be sampled"):
        yard.plan()


def test_findings_that_stop_only_the_old_plan_do_not_stop_a_new_one(planned, codes):
    planned.rows("rock", "A-1")[1]["to_m"] = 19.5
    planned.rows("rock", "A-1")[2]["from_m"] = 19.5
    planned.load()
    assert codes(planned.view().findings)[0] == "plan.stale"
    planned.plan()
    assert {row.to_mm for row in planned.sheet().rows} >= {19_500, 21_500}


def test_one_hole_that_cannot_be_planned_does_not_hold_up_the_others(yard):
    yard.rows("rock", "A-1")[1]["to_m"] = 20.5
    yard.load()
    planned = plan_all(yard)
    assert isinstance(planned["A-1"], RefusedByRule)
    assert isinstance(planned["C-7"], PlannedHole)


def test_a_saw_too_thick_for_one_core_does_not_hold_up_the_others(yard):
    yard.tables["core_sizes"] = [
        {"core_size": "NQ", "core_diameter_mm": 47.6},
        {"core_size": "tiny", "core_diameter_mm": 5},
    ]
    for run in yard.rows("runs", "A-1"):
        run["core_size"] = "tiny"
    yard.load()
    planned = plan_all(yard)
    assert isinstance(planned["A-1"], RefusedByRule)
    assert str(planned["A-1"]).startswith("A-1")
    assert isinstance(planned["C-7"], PlannedHole)


def test_a_hole_that_is_not_there_is_refused_before_anything_is_planned(yard):
    yard.load()
    with pytest.raises(NotFound, match="Z-9"):
        plan_all(yard, ("A-1", "Z-9"))
    assert yard.sheet() is None


def test_the_same_seed_gives_the_same_plan_in_another_store(planned, tmp_path, empty_store):
    import shutil

    from trayside.store.connection import engine_for

    engine = engine_for(shutil.copy(empty_store, tmp_path / "other.sqlite"))
    other = type(planned)(tmp_path / "other", engine)
    other.load()
    other.plan()
    assert other.sheet().rows == planned.sheet().rows
    assert other.sheet().seed == planned.sheet().seed == seed_for(1, "A-1")
    engine.dispose()


def test_another_seed_in_the_rules_gives_other_places_with_the_next_plan(planned):
    before = planned.sheet()
    planned.rules = planned.rules.replace("[controls]", "[controls]\nseed = 2")
    planned.load()
    after = planned.plan().sheet
    assert after.seed == seed_for(2, "A-1") != before.seed
    assert controls(after) != controls(before)


def test_holes_of_one_yard_have_seeds_of_their_own():
    assert len({seed_for(1, "A-1"), seed_for(1, "C-7"), seed_for(2, "A-1")}) == 3
    assert all(0 <= seed_for(seed, "A-1") < 2**48 for seed in range(20))


def test_materials_spoken_for_by_one_hole_are_not_promised_to_another(yard, codes):
    for material in yard.tables["materials"]:
        material["in_stock"] = 2
    yard.load()
    planned = plan_all(yard)
    used = [row.material for result in planned.values() for row in result.sheet.rows if row.material]
    assert max(used.count(material) for material in set(used)) <= 2
    assert "control.shortfall" in codes(planned["C-7"].findings)


def test_an_empty_shelf_still_gives_a_plan_that_says_so(yard, codes):
    yard.tables["materials"] = []
    yard.load()
    planned = yard.plan()
    assert {row.kind for row in planned.sheet.rows} == {"sample", "duplicate"}
    assert "control.shortfall" in codes(planned.findings)


def test_shoulders_cut_short_and_low_recovery_are_found(yard, codes):
    rock = yard.rows("rock", "A-1")
    rock[0]["to_m"] = rock[1]["from_m"] = 1.5
    runs = yard.rows("runs", "A-1")
    runs[4]["recovered_m"] = 1.0
    yard.tables["losses"] = [{"hole_id": "A-1", "from_m": 12.5, "lost_m": 2.0, "position": "seen"}]
    yard.load()
    found = yard.plan().findings
    at_end = next(finding for finding in found if finding.code == "plan.shoulder_at_end")
    assert (at_end.severity, at_end.from_mm, at_end.evidence["short_m"]) == ("note", 0, pytest.approx(0.5))
    assert "plan.shoulder_short" not in codes(found)
    rock[0]["sampling"] = "never"
    yard.load()
    short = next(finding for finding in yard.plan().findings if finding.code == "plan.shoulder_short")
    assert (short.severity, short.from_mm, short.evidence["short_m"]) == ("warn", 1500, pytest.approx(2.0))


def test_a_core_loss_bounds_the_samples_beside_it(yard):
    yard.rows("runs", "A-1")[4]["recovered_m"] = 2.4
    yard.tables["losses"] = [{"hole_id": "A-1", "from_m": 13.2, "lost_m": 0.6, "position": "seen"}]
    yard.load()
    samples = [row for row in yard.plan().sheet.rows if row.kind == "sample"]
    assert {13_200, 13_800} <= {depth for row in samples for depth in (row.from_mm, row.to_mm)}
    assert not [row for row in samples if row.from_mm < 13_800 and row.to_mm > 13_200]
