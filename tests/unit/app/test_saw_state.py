"""When a saw may run and when not: card, tag, blade, water, clean-out; and cuts that came in all the same."""

import pytest
from tests.saw_floor import SAWS, SawFloor

from trayside.app.bag_views import hole_bags
from trayside.app.maintain_saw import check_water_at, fit_to_choose, measure_height, release, remove_blade, tag_out
from trayside.app.prestart import sign_card, view_card
from trayside.app.record_events import record
from trayside.app.saw_state import saws_now
from trayside.app.saw_views import blocked_cuts
from trayside.app.yard_rules import rules_of
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule
from trayside.model.event import Event, moment_text


@pytest.fixture
def floor(planned):
    planned.issue()
    return SawFloor(planned)


@pytest.fixture
def ready(floor):
    """A-1 with a blade and a passed card."""
    floor.fit()
    floor.sign()
    assert floor.stops() == []
    return floor


def samples(floor) -> list:
    with floor.yard.start_work(writing=False) as work:
        return [bag.row for bag in hole_bags(work, "A-1").bags if bag.row.kind == "sample"]


def blocked(floor) -> list:
    with floor.yard.start_work(writing=False) as work:
        return list(blocked_cuts(work, hole_bags(work, "A-1").bags, rules=rules_of(work)))


def test_a_yard_without_a_register_has_no_saws_to_stop(planned):
    floor = SawFloor(planned, register=False)
    with planned.start_work(writing=False) as work:
        assert saws_now(work, now=floor.now) == ()
    with pytest.raises(NotFound, match="register"):
        floor.now_of()


def test_a_new_saw_wants_a_blade_and_a_card_and_a_splitter_only_a_card(floor):
    assert floor.stops("A-1") == ["no_blade", "no_card"]
    assert floor.stops("S-1") == ["no_card"]
    floor.sign("S-1")
    assert floor.stops("S-1") == []
    floor.fit()
    assert floor.stops() == ["no_card"]
    floor.sign()
    assert floor.now_of().ready


def test_no_stamp_and_a_stamp_below_the_spindle_block_the_start(floor):
    """WAC 296-806-40512 (seen): spindle speed not above the operating speed of the wheel."""
    floor.fit(blade="B-3")
    assert "blade_rpm" in floor.stops()
    assert "not known" in floor.now_of().stops[0].what
    floor.fit("M-1", "B-4")  # 2,850 rpm on a blade stamped 2,600
    (stop, *_) = floor.now_of("M-1").stops
    assert stop.code == "blade_rpm"
    assert "2850" in stop.what
    assert "2600" in stop.what


def test_a_stamp_read_when_it_is_fitted_counts_when_it_is_lower(floor):
    floor.fit(blade="B-3", stamp_rpm=4365)
    floor.sign()
    assert floor.stops() == []
    floor.fit(blade="B-1", stamp_rpm=1400, because="worn")
    assert "blade_rpm" in floor.stops()
    assert any("lower counts" in caution for caution in floor.now_of().cautions)


def test_a_spindle_without_rpm_blocks(floor):
    floor.load(saws=SAWS.replace("A-1,automatic,1425", "A-1,automatic,"))
    floor.fit()
    assert "spindle" in floor.now_of().stops[0].what


def test_a_blade_too_large_for_the_guard_blocks(floor):
    floor.fit(blade="B-5")
    assert "blade_large" in floor.stops()


def test_a_failed_item_tags_the_saw_out_until_it_is_released_and_a_new_card_signed(ready):
    assert ready.sign(guard="failed", stop="failed") == ("guard", "stop")
    (stop,) = ready.now_of().stops
    assert stop.code == "tagged_out"
    assert "guard" in stop.what.lower()
    with pytest.raises(RefusedByRule, match="already"):
        tag_out("A-1", reason="again", desk=ready.desk(), start_work=ready.yard.start_work)
    ready.later(minutes=5)
    release("A-1", reason="guard bolted on again", desk=ready.desk("Demo lead"), start_work=ready.yard.start_work)
    assert ready.stops() == ["card_failed"]
    ready.sign()
    assert ready.stops() == []


def test_after_a_release_the_card_from_before_counts_no_more(ready):
    tag_out("A-1", reason="it hums", desk=ready.desk(), start_work=ready.yard.start_work)
    assert ready.stops() == ["tagged_out"]
    ready.later(minutes=5)
    release("A-1", reason="bearing changed", desk=ready.desk("Demo lead"), start_work=ready.yard.start_work)
    assert ready.stops() == ["card_before_release"]


def test_an_absent_part_fails_unless_the_saw_may_do_without(floor):
    floor.fit()
    assert floor.sign(latch="absent") == ()
    assert floor.sign(guard="absent") == ("guard",)


def test_every_item_needs_an_answer_and_the_card_must_be_the_one_on_the_screen(floor):
    with floor.yard.start_work(writing=False) as work:
        card = view_card(work, "A-1", now=floor.now)
    answers = {item.key: "ok" for item in card.items}
    settings = {"remarks": {}, "desk": floor.desk(), "start_work": floor.yard.start_work}
    with pytest.raises(ImpossibleValue, match="1 of 19 items have no answer"):
        sign_card("A-1", answers | {"guard": ""}, card=card.print, **settings)
    with pytest.raises(ImpossibleValue, match="changed meanwhile"):
        sign_card("A-1", answers, card="0" * 16, **settings)
    assert floor.now_of().card is None


def test_a_card_holds_for_the_day_or_for_the_shift(ready):
    ready.now = ready.now.replace(hour=23, minute=59)
    assert ready.stops() == []
    ready.later(minutes=1)
    assert ready.stops() == ["card_old"]
    ready.rules('yard = "Test yard"\n[saws]\ncard_for = "shift"\nshift_h = 19\n')
    assert ready.stops() == []
    ready.later(hours=1, minutes=10)
    assert ready.stops() == ["card_old"]


def test_the_day_is_that_of_the_yard(ready):
    """06:02 UTC on 4 May is 16:02 of that day at +10:00: the card ends at 14:00 UTC."""
    ready.rules('yard = "Test yard"\n[dispatch]\nutc_offset_min = 600\n')
    ready.now = ready.now.replace(hour=13, minute=59)
    assert ready.stops() == []
    ready.later(minutes=1)
    assert ready.stops() == ["card_old"]


def test_another_blade_wants_another_card_unless_the_yard_says_otherwise(ready):
    ready.fit(blade="B-2", because="other rock")
    assert ready.stops() == ["card_before_blade"]
    ready.rules('yard = "Test yard"\n[saws]\ncard_after_blade_change = false\n')
    assert ready.stops() == []


def test_without_the_clean_out_of_yesterday_nothing_starts(ready):
    first, second = samples(ready)[:2]
    ready.cut(first, hole_id="A-1")
    ready.log("cleaned_out", drained=True)
    ready.cut(second, hole_id="A-1")  # one more after it
    assert ready.stops() == []
    ready.later(days=1)
    ready.sign()
    (stop,) = ready.now_of().stops
    assert stop.code == "clean_out"
    assert "2031-05-04" in stop.what
    ready.log("cleaned_out")
    assert ready.stops() == []


def test_a_cut_that_was_set_aside_asks_for_no_clean_out(ready):
    cut = ready.cut(samples(ready)[0], hole_id="A-1")
    ready.later(days=1)
    ready.sign()
    assert ready.stops() == ["clean_out"]
    wrong = Event(
        event_id=ready.make_id(), kind="corrected", object_type="bag", object_id=cut.object_id, person="Demo operator",
        device="tablet 1", captured_at=moment_text(ready.now), utc_offset_min=0, software="test", hole_id="A-1",
        values={"verdict": "set_aside"}, reason="tapped by mistake", corrects=cut.event_id,
    )  # fmt: skip
    record([wrong], start_work=ready.yard.start_work, clock=ready.clock)
    assert ready.stops() == []


def test_water_that_is_wrong_blocks_and_fresh_water_asks_for_a_new_look(ready):
    def look(**seen):
        ready.later(minutes=1)
        check_water_at("A-1", desk=ready.desk(), start_work=ready.yard.start_work, **seen)

    look(flow_l_min=4.0)
    assert ready.now_of().water.state == "right"
    look(flow_l_min=1.5)
    assert ready.now_of().water.state == "too little"
    assert ready.stops() == []
    look(flow_l_min=9.0)
    assert ready.now_of().water.state == "too much"
    look(flow_l_min=4.0, seen=["gritty"])
    assert ready.stops() == ["water"]
    ready.log("water_changed")
    assert ready.stops() == []
    assert ready.now_of().water.state == "unknown"
    look(flow_l_min=4.0, seen=["dust"])
    assert ready.stops() == ["water"]
    with pytest.raises(ImpossibleValue, match="nothing was said"):
        look(flow_l_min=None)


def test_a_blade_at_its_lowest_height_comes_off(ready):
    ready.later(minutes=1)
    measure_height("B-1", "2.0 1.9 2.1 2.0", desk=ready.desk(), start_work=ready.yard.start_work)
    assert ready.stops() == ["blade_low"]
    remove_blade("A-1", because="worn", scrapped=True, desk=ready.desk(), start_work=ready.yard.start_work)
    with ready.yard.start_work(writing=False) as work:
        assert "B-1" not in [blade.blade for blade in fit_to_choose(work)]
    with pytest.raises(RefusedByRule, match="scrapped"):
        ready.fit()


@pytest.mark.parametrize("typed", ["", "seven", "7.3 x", "7,3,2", "-1", "123.4", "7.3 " * 13])
def test_heights_that_cannot_be_read_are_refused(ready, typed):
    with pytest.raises(ImpossibleValue, match="height"):
        measure_height("B-1", typed, desk=ready.desk(), start_work=ready.yard.start_work)


def test_a_height_above_the_new_one_is_refused(ready):
    with pytest.raises(ImpossibleValue, match="when new"):
        measure_height("B-1", "11.2", desk=ready.desk(), start_work=ready.yard.start_work)


def test_one_blade_is_on_one_saw_and_comes_off_for_a_reason(ready):
    with pytest.raises(RefusedByRule, match="is on A-1"):
        ready.fit("M-1", "B-1")
    with pytest.raises(ImpossibleValue, match="for no reason"):
        ready.fit(blade="B-2")
    with pytest.raises(RefusedByRule, match="splitter"):
        ready.fit("S-1", "B-2")
    with pytest.raises(NotFound, match="no such blade"):
        ready.fit(blade="B-9", because="worn")


def test_a_cut_on_a_blocked_saw_is_kept_and_found(ready):
    rows = samples(ready)
    ready.cut(rows[0], hole_id="A-1")
    assert blocked(ready) == []
    ready.sign(guard="failed")
    ready.cut(rows[1], hole_id="A-1")
    (finding,) = blocked(ready)
    assert (finding.code, finding.number, finding.evidence["stops"]) == ("saw.cut_while_blocked", rows[1].number, "tagged_out")
    ready.later(days=1)
    ready.cut(rows[2], hole_id="A-1")
    assert [one.number for one in blocked(ready)] == [rows[1].number, rows[2].number]
    assert "clean_out" in blocked(ready)[1].evidence["stops"]
    assert [one.number for one in ready.view().findings] == [rows[1].number, rows[2].number]


def test_cuts_from_before_the_register_was_kept_are_not_judged(floor):
    rows = samples(floor)
    floor.cut(rows[0], hole_id="A-1")
    assert len(blocked(floor)) == 1  # nobody ever signed anything
    floor.fit()
    floor.sign()
    assert blocked(floor) == []


def test_only_named_roles_release_once_the_yard_has_people(ready):
    class Secrets:
        def hash_pin(self, pin):
            return pin

    from trayside.app.people import add_first_lead, add_person

    settings = {"start_work": ready.yard.start_work, "clock": ready.clock, "make_id": ready.make_id, "secrets": Secrets()}
    add_first_lead("Demo lead", pin="482913", **settings)
    add_person("Demo operator", role="operator", pin="591724", **settings)
    tag_out("A-1", reason="it hums", desk=ready.desk(), start_work=ready.yard.start_work)
    ready.later(minutes=1)
    for nobody in ("Demo operator", "Somebody else"):
        with pytest.raises(RefusedByRule, match="may not release"):
            release("A-1", reason="works again", desk=ready.desk(nobody), start_work=ready.yard.start_work)
    release("A-1", reason="works again", desk=ready.desk("Demo lead"), start_work=ready.yard.start_work)
    assert ready.now_of().tagged is None
