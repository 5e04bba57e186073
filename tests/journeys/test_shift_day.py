"""A shift on the demo yard: minutes learned from a day at the bench, a plan that beats first come, first served, a stop."""

from __future__ import annotations

import pytest
from floor import Yard

from trayside.app.maintain_saw import fit_blade, release, tag_out
from trayside.app.shift import Desk, make_plan
from trayside.app.shift_form import propose, standing
from trayside.app.shift_replan import plan_again
from trayside.app.shift_words import beats_text, clock_text
from trayside.cli.demo_crew import Crew
from trayside.model.shift import HoleWish, SawWish, ShiftRequest

HOLES = ("VR-O6", "VR-04")
SAWS = ("SAW-1", "SAW-2")


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    """Two holes issued, of one the first trays cut; the register's second saw has its blade."""
    yard = Yard(tmp_path_factory.mktemp("shift") / "yard.sqlite")
    for hole in HOLES:
        yard.issue(hole)
    for saw, blade, stamp in (("SAW-1", "D-11", 4365), ("SAW-2", "D-21", 3800)):
        fit_blade(saw, blade, stamp_rpm=stamp, desk=yard.desk("Demo operator"), start_work=yard.start_work)
    crew = Crew(yard, HOLES[0])
    crew.work_through(sorted(set(crew.tray.values()))[:6])
    return yard


@pytest.fixture(scope="module")
def desk(yard):
    return Desk("Demo lead", yard.start_work, lambda: yard.now, yard.make_id)


@pytest.fixture(scope="module")
def plan(yard, desk):
    asked = ShiftRequest(
        day=f"{yard.now:%Y-%m-%d}", start="07:00", hours=10.0, saws=tuple(SawWish(saw) for saw in SAWS),
        holes=tuple(HoleWish(hole, "normal") for hole in HOLES),
    )  # fmt: skip
    return make_plan(asked, desk=desk)


def test_minutes_per_metre_come_from_the_bench(plan):
    learned = [line for line in plan.times if line.cuts >= 5]
    assert learned
    for line in learned:
        assert line.low < line.minutes < line.high
        assert line.minutes == pytest.approx(line.cutting + line.handling, rel=1e-6)
    guessed = [line for line in plan.times if not line.cuts]
    assert max(line.high / line.low for line in learned) < min(line.high / line.low for line in guessed)


def test_the_plan_beats_first_come_first_served_by_a_figure(yard, plan):
    assert {line.hole for line in plan.lines} == set(HOLES)
    assert plan.saved > 0.02
    assert f"{100 * plan.saved:.1f} % better than first come, first served" in beats_text(plan)
    assert plan.figures.between_min < plan.first_come.between_min
    # Broken core stays off the carriage.
    manual = {one.piece for one in plan.trays if "manual" in one.needs}
    assert manual
    assert {line.saw for line in plan.lines if line.piece in manual} == {"SAW-1"}
    with yard.start_work(writing=False) as work:
        saws = {one.saw: one for one in propose(work, now=yard.now).saws}
    assert saws["SAW-1"].hole_id == HOLES[0]


def test_a_saw_that_is_tagged_out_is_named_beside_the_plan_and_left_out_of_the_next(yard, desk, plan):
    by = {"desk": yard.desk("Demo lead"), "start_work": yard.start_work}
    tag_out("SAW-2", reason="water hose split", **by)
    with yard.start_work(writing=False) as work:
        proposal = propose(work, now=yard.now, last=plan)
    (saw,) = standing(plan, proposal.saws)
    assert (saw.saw, "water hose split" in saw.why_not) == ("SAW-2", True)
    assert "SAW-2" not in proposal.chosen_saws
    again = make_plan(plan.request, desk=desk)
    assert {line.saw for line in again.lines} == {"SAW-1"}
    assert any(one.what == "SAW-2" and "water hose split" in one.why for one in again.left_out)
    release("SAW-2", reason="hose changed", **by)


def test_a_saw_stops_after_some_trays_were_cut(yard, desk, plan):
    plan = make_plan(plan.request, desk=desk)
    on_automatic = [line for line in plan.lines if line.saw == "SAW-2"]
    first = on_automatic[0]
    crew = Crew(yard, first.hole, seed=5, saw="SAW-2")
    crew.work_through([int(first.piece.rpartition("/")[2])])
    at = clock_text(plan, first.end_min)
    new = plan_again(plan.plan_id, stopped="SAW-2", at=at, desk=desk)
    assert new.change.by_ledger
    assert first.piece in {line.piece for line in new.change.done}
    assert first.piece not in {line.piece for line in new.lines}
    assert {line.saw for line in new.lines} == {"SAW-1"}
    left = {one.piece for one in plan.trays} - {line.piece for line in new.change.done}
    assert {line.piece for line in new.lines} == left
    with yard.start_work(writing=False) as work:
        assert work.shifts.newest() == new
