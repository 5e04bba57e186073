"""Planning a shift on the small yard: what is planned, what is left out and why, and again when a saw stops."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest

from trayside.app.bag_views import hole_bags
from trayside.app.identity import uuid7
from trayside.app.record_events import record
from trayside.app.shift import Desk, make_plan, read_waiting
from trayside.app.shift_form import propose
from trayside.app.shift_replan import plan_again
from trayside.app.shift_stations import stations_ahead
from trayside.app.shift_svg import shift_svg
from trayside.app.shift_words import beats_text, bound_text, changed_text, compared
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule
from trayside.model.event import Event, moment_text
from trayside.model.rules import Rules
from trayside.model.saw import Saw
from trayside.model.shift import HoleWish, SawWish, ShiftRequest, TrayToCut

MORNING = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)
ASKED = ShiftRequest(
    day="2031-05-04",
    start="07:00",
    hours=10.0,
    saws=(SawWish("SAW-1", "Demo operator"), SawWish("SAW-2")),
    holes=(HoleWish("A-1", "normal"), HoleWish("C-7", "normal")),
)
GRADES = [one.name for one in Rules().grade_classes]
SAWS = [
    {"saw": "SAW-A", "kind": "automatic", "spindle_rpm": 1900},
    {"saw": "SAW-M", "kind": "manual", "spindle_rpm": 1900},
]


@pytest.fixture
def issued(yard):
    """Both holes planned and issued, A-1 first."""
    yard.load()
    for hole in ("A-1", "C-7"):
        yard.plan(hole)
        yard.issue(hole)
    return yard


@pytest.fixture
def desk(issued):
    return desk_of(issued)


def desk_of(yard):
    return Desk("Demo lead", yard.start_work, lambda: MORNING, yard.make_id)


def rows(yard, hole):
    with yard.start_work(writing=False) as work:
        return [(bag.row, bag.tray) for bag in hole_bags(work, hole).bags]


def cut(yard, hole, tray, *, saw="SAW-1", at=MORNING, count=None, minutes=6.0, lasted_s=None):
    """Cut the first bags of a tray, one after another."""
    here = [row for row, its_tray in rows(yard, hole) if row.is_core and its_tray == tray][:count]
    events = []
    for step, row in enumerate(here, start=1):
        captured = at + timedelta(minutes=minutes * step)
        values = {"method": row.method, "saw": saw} | ({"lasted_s": lasted_s} if lasted_s else {})
        events.append(
            Event(
                event_id=uuid7(milliseconds=int(captured.timestamp() * 1000), random_bytes=bytes([step, tray] + [7] * 8)),
                kind="cut", object_type="bag", object_id=row.number, person="Demo operator", device="tablet 1",
                captured_at=moment_text(captured), utc_offset_min=0, software="test", hole_id=hole, tray=tray,
                values=values,
            )
        )  # fmt: skip
    answers = record(events, start_work=yard.start_work, clock=lambda: at + timedelta(hours=12))
    assert [one.standing for one in answers] == ["stands"] * len(events)
    return [row.number for row in here]


def test_every_tray_with_core_to_cut_is_in_the_plan_once(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    trays = {f"{hole}/{tray}" for hole in ("A-1", "C-7") for row, tray in rows(issued, hole) if row.is_core}
    assert sorted(line.piece for line in plan.lines) == sorted(trays)
    for saw in ("SAW-1", "SAW-2"):
        own = [line for line in plan.lines if line.saw == saw]
        assert own
        assert all(one.end_min <= other.begin_min + 1e-9 for one, other in pairwise(own))
    bags = {row.number for hole in ("A-1", "C-7") for row, _ in rows(issued, hole) if row.is_core}
    assert {number for tray in plan.trays for number in tray.bags} == bags
    assert plan.left_out == ()
    assert (plan.made_by, plan.made_at, plan.operator_of("SAW-1")) == ("Demo lead", MORNING, "Demo operator")


def test_a_plan_is_kept_as_it_was_made(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    with issued.start_work(writing=False) as work:
        assert work.shifts.plan(plan.plan_id) == plan
        assert work.shifts.newest("2031-05-04") == plan
        assert work.shifts.newest("2031-05-05") is None
        assert work.shifts.made(count=5) == ((plan.plan_id, "2031-05-04", "Demo lead", None),)
        with pytest.raises(NotFound, match="no such shift plan"):
            work.shifts.plan("other")


def test_minutes_of_a_tray_are_handling_by_metres_and_cutting_by_area(issued, desk):
    with issued.start_work(writing=False) as work:
        waiting = read_waiting(work, ASKED, now=MORNING)
        diameter = work.stock().core_sizes["NQ"].core_diameter_mm
    # C-7 tray 2 has whole samples in half core: no cut was logged, so the rules' starting choices hold.
    tray = next(one for one in waiting.trays if one.tray.piece == "C-7/2")
    samples = [row for row, its in rows(issued, "C-7") if its == 2 and row.kind == "sample"]
    assert {row.portion for row, its in rows(issued, "C-7") if its == 2 and row.is_core} <= {"half", "quarter"}
    metres = sum(row.recovered_mm for row in samples) / 1000
    face = sum(
        row.recovered_mm / 1000 * diameter / 1000 * (1.5 if row.portion == "quarter" else 1.0) for row in samples
    )
    shift = Rules().shift
    assert tray.tray.metres == pytest.approx(metres)
    assert tray.area_m2 == pytest.approx(face)
    assert tray.tray.minutes == pytest.approx(shift.handling_minutes * metres + 60 * face / shift.area_rate_m2_h)


def test_what_was_cut_is_not_planned_again(issued, desk):
    before = {one.piece: one for one in make_plan(ASKED, desk=desk).trays}
    done = cut(issued, "A-1", 2)
    some = cut(issued, "A-1", 3, count=1)
    after = {one.piece: one for one in make_plan(ASKED, desk=desk).trays}
    assert set(before) - set(after) == {"A-1/2"}
    assert set(before["A-1/2"].bags) == set(done)
    assert set(before["A-1/3"].bags) - set(after["A-1/3"].bags) == set(some)
    assert after["A-1/3"].metres < before["A-1/3"].metres


def test_the_lorry_and_the_priority_move_a_hole_to_the_front(issued, desk):
    one_saw = replace(ASKED, saws=(SawWish("SAW-1"),))
    urgent = replace(one_saw, holes=(HoleWish("A-1", "normal"), HoleWish("C-7", "first")))
    assert make_plan(urgent, desk=desk).lines[0].hole == "C-7"
    lorry = replace(one_saw, holes=(HoleWish("A-1", "normal", lorry=True), HoleWish("C-7", "normal")), lorry_at="09:00")
    plan = make_plan(lorry, desk=desk)
    assert plan.lines[0].hole == "A-1"
    assert {piece.due_min for piece in plan.pieces if piece.hole == "A-1"} == {100.0}  # 07:20 to 09:00
    assert {piece.due_min for piece in plan.pieces if piece.hole == "C-7"} == {None}
    assert any(row.name == "late for the lorry" for row in compared(plan))


def test_a_plan_in_the_middle_of_a_shift_begins_there(issued, desk):
    plan = make_plan(replace(ASKED, from_at="10:00"), desk=desk)
    first = min(line.begin_min for line in plan.lines)
    assert f"{plan.hours.local(plan.hours.at(first)):%H:%M}" == "10:00"
    with pytest.raises(ImpossibleValue, match="the shift is over"):
        make_plan(replace(ASKED, from_at="18:00"), desk=desk)


def test_the_plan_beats_first_come_first_served_and_says_by_how_much(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    assert plan.figures.cost_min < plan.first_come.cost_min
    assert f"{100 * (1 - plan.figures.cost_min / plan.first_come.cost_min):.1f} % better" in beats_text(plan)
    assert bound_text(plan) == "No plan is better: every one was tried."  # seven trays


def test_yards_without_a_register_use_the_saws_of_the_rules_and_of_the_ledger(issued, desk):
    with issued.start_work(writing=False) as work:
        assert [one.saw for one in propose(work, now=MORNING).saws] == ["SAW-1", "SAW-2"]
    cut(issued, "A-1", 2, saw="old saw")
    with issued.start_work(writing=False) as work:
        *_, saw = propose(work, now=MORNING).saws
    assert (saw.saw, saw.hole_id, saw.may_run) == ("old saw", "A-1", True)


def test_a_saw_that_may_not_run_is_left_out_with_the_reason(yard):
    yard.tables["saws"] = SAWS
    yard.load()
    yard.plan("A-1")
    yard.issue("A-1")
    desk = desk_of(yard)
    asked = replace(ASKED, saws=(SawWish("SAW-A"), SawWish("SAW-M")), holes=(HoleWish("A-1", "normal"),))
    with pytest.raises(RefusedByRule, match="no saw that was chosen may run") as refused:
        make_plan(asked, desk=desk)
    assert any("SAW-A" in reason and "blade" in reason for reason in refused.value.reasons)
    with yard.start_work(writing=False) as work:
        proposal = propose(work, now=MORNING)
    assert proposal.request.saws == ()
    assert all("No blade is recorded" in saw.why_not for saw in proposal.saws)
    # The card and the clean-out are settled every morning: they keep no saw out.
    assert all("pre-start" in " ".join(saw.first) for saw in proposal.saws)


def test_broken_core_waits_for_a_manual_saw():
    from trayside.app.shift_trays import saws_for

    def tray(*needs):
        return TrayToCut("A-1/1", "A-1", 1, ("K1",), 1.0, 5.0, "low", needs)

    kinds = {"auto": "automatic", "hand": "manual", "any": None, "jaw": "splitter"}
    assert saws_for(tray("automatic"), kinds) == ("auto", "hand", "any")
    assert saws_for(tray("automatic", "manual"), kinds) == ("hand", "any")
    assert saws_for(tray("splitter"), kinds) == ("any", "jaw")
    assert saws_for(tray(), kinds) == tuple(kinds)
    assert Saw("hand", "manual").has_blade


def test_trays_beyond_the_limit_are_said_to_be_left_out(issued, desk):
    with issued.start_work() as work:
        work.set_rules("[shift]\nmost_trays = 2\n")
        work.commit()
    plan = make_plan(ASKED, desk=desk)
    assert [one.piece for one in plan.trays] == ["A-1/2", "A-1/3"]  # issued first comes first
    assert [(one.what, one.metres > 0) for one in plan.left_out] == [("A-1, 1 trays", True), ("C-7, 2 trays", True)]


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        ({"day": "4 May"}, "is no day"),
        ({"start": "7"}, "is no time of day"),
        ({"hours": 0.0}, "a shift of 0 hours"),
        ({"hours": 0.5}, "leave no time to cut"),
        ({"saws": ()}, "no saw is chosen"),
        ({"saws": (SawWish("SAW-9"),)}, "no saw is called SAW-9"),
        ({"holes": ()}, "no hole is chosen"),
        ({"holes": (HoleWish("A-1", "urgent"),)}, "no priority is called"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_kept(issued, desk, wrong, match):
    with pytest.raises(ImpossibleValue, match=match):
        make_plan(replace(ASKED, **wrong), desk=desk)
    with issued.start_work(writing=False) as work:
        assert work.shifts.newest() is None


def test_a_hole_with_nothing_to_cut_is_refused(issued, desk):
    with pytest.raises(RefusedByRule, match="no tray of these holes"):
        make_plan(replace(ASKED, holes=(HoleWish("nowhere", "normal"),)), desk=desk)


def test_a_stopped_saw_gives_its_trays_to_the_others(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    at = plan.hours.local(plan.hours.at(min(line.end_min for line in plan.lines if line.saw == "SAW-2") - 1))
    new = plan_again(plan.plan_id, stopped="SAW-2", at=f"{at:%H:%M}", desk=desk)
    assert {line.saw for line in new.lines} == {"SAW-1"}
    assert new.replaces == plan.plan_id
    assert not new.change.by_ledger
    assert {line.piece for line in (*new.change.done, *new.lines)} == {line.piece for line in plan.lines}
    assert new.change.cut_off == next(line.piece for line in plan.lines if line.saw == "SAW-2")
    words = changed_text(new)
    assert f"SAW-2 stopped at {at:%H:%M}" in words
    assert "lay under its blade" in words
    with pytest.raises(ChangedMeanwhile, match="newer plan"):
        plan_again(plan.plan_id, stopped="SAW-2", desk=desk)


def test_a_stop_looks_at_what_the_ledger_says_was_cut(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    done = cut(issued, "A-1", 2)
    cut(issued, "C-7", 1, saw="SAW-2", count=1)
    with issued.start_work(writing=False) as work:
        still = {row.number for hole in ("A-1", "C-7") for row, _ in rows(issued, hole) if row.is_core}
        still -= {bag.number for hole in ("A-1", "C-7") for bag in hole_bags(work, hole).bags if bag.state == "cut"}
    new = plan_again(plan.plan_id, stopped="SAW-2", at="09:00", back="13:20", desk=desk)
    assert new.change.by_ledger
    assert {line.piece for line in new.change.done} == {"A-1/2"}
    assert {number for tray in new.trays for number in tray.bags} == still
    assert not still & set(done)
    back = new.hours.minute_at(datetime(2031, 5, 4, 13, 20, tzinfo=UTC))
    assert all(line.begin_min >= back - 1e-9 for line in new.lines if line.saw == "SAW-2")
    assert all(line.begin_min >= 100.0 - 1e-9 for line in new.lines)


def test_a_saw_that_is_not_in_the_plan_cannot_stop(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    with pytest.raises(ImpossibleValue, match="no saw of this plan"):
        plan_again(plan.plan_id, stopped="SAW-7", desk=desk)
    with pytest.raises(ImpossibleValue, match="back before it stops"):
        plan_again(plan.plan_id, stopped="SAW-1", at="10:00", back="09:00", desk=desk)


def test_the_only_saw_stops_for_good(issued, desk):
    plan = make_plan(replace(ASKED, saws=(SawWish("SAW-1"),)), desk=desk)
    new = plan_again(plan.plan_id, stopped="SAW-1", at="07:00", desk=desk)
    assert (new.lines, new.figures, new.gap, new.saved) == ((), None, None, None)
    stuck = {one.what for one in new.left_out if "than SAW-1 may cut it" in one.why}
    assert stuck == {f"{one.hole_id}, tray {one.tray}" for one in plan.trays}
    with pytest.raises(RefusedByRule, match="nothing left to cut"):
        plan_again(new.plan_id, stopped="SAW-1", desk=desk)


def test_what_waits_at_each_station_and_when_it_is_done(issued, desk):
    plan = make_plan(ASKED, desk=desk)
    cut(issued, "A-1", 2, count=2)
    with issued.start_work(writing=False) as work:
        found = {one.station: one for one in stations_ahead(work, plan, now=MORNING)}
        without = {one.station: one for one in stations_ahead(work, None, now=MORNING)}
        cut_metres = sum(_metres(row) for row, tray in rows(issued, "A-1")[:] if tray == 2 and row.kind == "sample")
    assert found["to bag"].bags == 2
    assert found["to cut"].metres == pytest.approx(sum(one.metres for one in plan.trays) - found["to bag"].metres)
    assert 0.0 < found["to bag"].metres <= cut_metres
    assert found["to cut"].done_at == plan.hours.at(plan.figures.finish_min)
    begins = max(MORNING, plan.hours.begins_at)
    assert found["to bag"].done_at == begins + timedelta(minutes=2 * Rules().shift.bag_minutes)
    assert without["to cut"].done_at is None


def _metres(row):
    return row.recovered_mm / 1000


def test_holes_that_come_later_are_counted_from_their_drafts(planned):
    planned.plan("C-7")
    planned.issue("C-7")
    desk = desk_of(planned)
    plan = make_plan(replace(ASKED, holes=(HoleWish("C-7", "normal"),)), desk=desk)
    with planned.start_work(writing=False) as work:
        found = {one.station: one for one in stations_ahead(work, plan, now=MORNING)}
        drafted = sum(row.recovered_mm for row in work.sheet("A-1").rows if row.kind == "sample") / 1000
    assert found["to issue"].metres == pytest.approx(drafted)
    assert found["to issue"].done_at > found["to cut"].done_at
    assert not found["to issue"].about


def test_the_picture_holds_every_tray_of_the_shift_and_no_script(issued, desk):
    plan = make_plan(replace(ASKED, saws=(SawWish("SAW-1", "<b>Demo</b>"), SawWish("SAW-2"))), desk=desk)
    drawn = shift_svg(plan, grades=GRADES, now=plan.hours.at(30.0))
    for line in plan.lines:
        assert f'data-piece="{line.piece}"' in drawn
    assert "<b>" not in drawn
    assert 'class="shift-now"' in drawn
    assert 'class="shift-lorry"' not in drawn
    assert 'class="hole-change"' in drawn


def test_the_form_proposes_the_coming_shift_and_the_last_wishes(issued, desk):
    asked = replace(ASKED, holes=(HoleWish("A-1", "soon", lorry=True), HoleWish("C-7", "normal")), lorry_at="15:00")
    plan = make_plan(asked, desk=desk)
    with issued.start_work(writing=False) as work:
        early = propose(work, now=MORNING, last=plan).request
        during = propose(work, now=MORNING.replace(hour=9, minute=2), last=plan).request
        over = propose(work, now=MORNING.replace(hour=18), last=plan).request
    assert (early.day, early.from_at) == ("2031-05-04", "")
    assert (during.day, during.from_at) == ("2031-05-04", "09:05")
    assert (over.day, over.from_at) == ("2031-05-05", "")
    assert early.holes[0] == HoleWish("A-1", "soon", lorry=True)
    assert early.saws == asked.saws
    assert (early.lorry_at, over.lorry_at) == ("15:00", "")


def test_the_lorry_comes_on_its_days(issued):
    with issued.start_work() as work:
        work.set_rules('[shift]\nlorry_days = ["Sunday"]\nlorry_at = "13:30"\n')
        work.commit()
    with issued.start_work(writing=False) as work:
        assert propose(work, now=MORNING).request.lorry_at == "13:30"  # 2031-05-04 is a Sunday
        assert propose(work, now=MORNING + timedelta(days=1)).request.lorry_at == ""
