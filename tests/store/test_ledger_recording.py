"""Recording through the use case: what is stored, what waits, what contradicts, what is refused, and how it is settled."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from ledger_yard import BEGUN, act, event_id, issued_sheet, road, samples
from store_yard import control, load, revision_of, save

from trayside.app.record_events import MOST_EVENTS, record
from trayside.app.verify_ledger import verify_store
from trayside.errors import RefusedByRule
from trayside.model.bag_states import restated, state_in_ledger
from trayside.model.event import event_fields
from trayside.store.work import SqlWork

ON = {"hole_id": "K-1", "tray": 1}


@pytest.fixture
def yard(engine):
    """Hole K-1 with samples A0001 to A0006 and the standard A0007 on an issued sheet; K-2 with nothing."""

    def start(*, writing=True):
        return SqlWork(engine, writing=writing)

    with start() as work:
        load(work, "K-2")
        issued_sheet(work, "K-1", (*samples(6), control(7, 7)))
        work.commit()
    yield start
    assert verify_store(start_work=start).whole


def send(yard, *events, minutes: int = 60):
    sent = [event_fields(event) if not isinstance(event, dict) else event for event in events]
    return record(sent, start_work=yard, clock=lambda: BEGUN + timedelta(minutes=minutes))


def bag(yard, number: str, machine: str = "bag"):
    with yard(writing=False) as work:
        return state_in_ledger(work.events_of_objects([("bag", number)]).get(("bag", number), ()), machine=machine)


def correction(number: int, corrects, verdict: str, **values):
    return act(
        "corrected",
        corrects.object_id,
        number,
        object_type=corrects.object_type,
        values={"verdict": verdict, **values},
        reason="looked again",
        corrects=corrects.event_id,
        **ON,
    )


def test_a_bag_goes_its_road_and_each_answer_names_its_place_in_the_chain(yard):
    answers = send(yard, *road("A0001", 1, **ON))
    assert [(one.status, one.standing, one.seq) for one in answers] == [("stored", "stands", n) for n in (1, 2, 3, 4)]
    assert bag(yard, "A0001").state == "sealed"
    with yard(writing=False) as work:
        assert work.ledger_head().hash == answers[-1].hash


def test_sending_again_changes_nothing(yard):
    events = road("A0001", 1, **ON)
    first = send(yard, *events)
    again = send(yard, *events, *events)
    assert {one.status for one in again} == {"already stored"}
    assert [one.seq for one in again] == [one.seq for one in first] * 2
    both = send(yard, *road("A0002", 11, **ON), *road("A0002", 11, **ON))
    assert [one.status for one in both] == ["stored"] * 4 + ["already stored"] * 4


def test_two_tablets_on_one_sheet_merge_in_whatever_order_they_send(yard):
    one = [act("cut", "A0001", 1, device="tablet 1", **ON), act("weighed", "A0001", 3, device="tablet 1", **ON)]
    two = [act("bagged", "A0001", 2, device="tablet 2", **ON), act("sealed", "A0001", 4, device="tablet 2", **ON)]
    late = send(yard, *two)
    assert [(answer.status, answer.standing) for answer in late] == [("stored", "waits")] * 2
    assert all("not here yet" in answer.why for answer in late)
    assert bag(yard, "A0001").state == "planned"
    assert {answer.status for answer in send(yard, *one)} == {"stored"}
    state = bag(yard, "A0001")
    assert (state.state, state.waiting, state.conflicts) == ("sealed", (), ())


def test_two_tablets_that_did_the_same_are_shown_to_a_person_and_neither_is_lost(yard):
    one, two = (act("cut", "A0001", number, device=f"tablet {number}", **ON) for number in (1, 2))
    send(yard, one)
    (answer,) = send(yard, two)
    assert (answer.status, answer.against) == ("conflict", one.event_id)
    assert "tablet 1" in answer.why
    assert answer.remedy
    send(yard, act("bagged", "A0001", 3, **ON))
    state = bag(yard, "A0001")
    assert state.state == "bagged"
    assert [one.event for one in state.conflicts] == [two]
    with yard(writing=False) as work:
        assert [row.event for row in work.standing_conflicts()] == [two]
    assert {one.status for one in send(yard, correction(4, one, "set_aside"), correction(5, two, "stands"))} == {
        "stored"
    }
    settled = bag(yard, "A0001")
    assert (settled.state, settled.conflicts, settled.set_aside) == ("bagged", (), (one,))
    assert settled.latest("cut").event == two


def test_a_conflict_sent_again_is_already_stored_and_still_told(yard):
    send(yard, act("cut", "A0001", 1, **ON))
    twice = act("cut", "A0001", 2, **ON)
    send(yard, twice)
    (answer,) = send(yard, twice)
    assert (answer.status, answer.standing) == ("already stored", "conflict")
    assert answer.why


def test_another_event_under_a_taken_id_is_kept(yard):
    first = act("cut", "A0001", 1, **ON)
    other = act("cut", "A0002", 1, **ON)
    send(yard, first)
    (answer,) = send(yard, other)
    assert (answer.status, answer.against) == ("conflict", first.event_id)
    with yard(writing=False) as work:
        assert [row.event for row in work.id_conflicts()] == [other]
    assert bag(yard, "A0002").state == "planned"
    assert send(yard, act("cut", "A0002", 2, **ON))[0].status == "stored"


def test_a_wrong_mass_is_restated_and_the_first_one_stays(yard):
    steps = road("A0001", 1, **ON)
    send(yard, *steps)
    assert send(yard, correction(9, steps[2], "restated", mass_g=2135))[0].status == "stored"
    fact = bag(yard, "A0001").latest("weighed")
    assert restated(fact) == {"mass_g": (2315, 2135)}
    assert [one.reason for one in fact.corrections] == ["looked again"]


@pytest.mark.parametrize(
    "make",
    [
        lambda steps: correction(9, steps[2], "restated", mass_g=0),
        lambda steps: correction(9, steps[2], "restated", tag="A1"),
        lambda steps: correction(9, steps[2], "restated"),
        lambda steps: correction(9, replace(steps[2], object_id="A0002"), "set_aside"),
        lambda steps: correction(9, replace(steps[2], event_id=event_id(77)), "set_aside"),
        lambda steps: replace(correction(9, steps[2], "set_aside"), reason=None),
    ],
)
def test_a_correction_that_fits_nothing_is_refused_in_words(yard, make):
    steps = road("A0001", 1, **ON)
    send(yard, *steps)
    (answer,) = send(yard, make(steps))
    assert (answer.status, answer.seq) == ("refused", None)
    assert answer.why
    assert answer.remedy
    with yard(writing=False) as work:
        assert work.ledger_head().seq == 4


PAPER = {
    "another hole": (act("cut", "A0001", 1, hole_id="K-2", tray=1), "belongs to hole K-1"),
    "no such hole": (act("cut", "A0001", 1, hole_id="K-9", tray=1), "no hole K-9"),
    "no such number": (act("cut", "A0099", 1, **ON), "on no issued sheet"),
    "wrong tag": (act("bagged", "A0001", 1, values={"tag": "A0002"}, **ON), "the tag says A0002"),
    "a control is cut": (act("cut", "A0007", 1, **ON), "never cut"),
    "a sample is inserted": (act("inserted", "A0001", 1, values={"material": "STD-1"}, **ON), "never inserted"),
}


@pytest.mark.parametrize("name", PAPER)
def test_what_the_sheets_contradict_is_kept_and_counts_for_nothing(yard, name):
    event, said = PAPER[name]
    (answer,) = send(yard, event)
    assert answer.status == "conflict"
    assert said in answer.why
    state = bag(yard, event.object_id, "control" if event.object_id == "A0007" else "bag")
    assert (state.state, len(state.conflicts)) == ("planned", 1)


def test_a_number_the_newest_revision_has_no_more_is_told(yard):
    with yard() as work:
        saved = save(work, replace(work.sheet("K-1"), rows=(*samples(5), control(6, 7))))
        work.add_revision(revision_of(saved, 2))
        work.commit()
    (old,) = send(yard, act("cut", "A0006", 1, revision=1, sheet_id="sheet of K-1", **ON))
    assert old.status == "conflict"
    assert "revision 2" in old.why
    assert send(yard, act("voided", "A0006", 2, reason="withdrawn", **ON))[0].status == "stored"
    kept = send(yard, act("cut", "A0005", 3, revision=1, sheet_id="sheet of K-1", **ON))
    assert kept[0].status == "stored", "an older sheet is no harm where nothing changed"


def test_a_control_is_inserted_weighed_and_sealed(yard):
    inserted = act("inserted", "A0007", 1, values={"material": "STD-1"}, **ON)
    steps = [inserted, act("weighed", "A0007", 2, **ON), act("sealed", "A0007", 3, **ON)]
    assert {one.status for one in send(yard, *steps)} == {"stored"}
    assert bag(yard, "A0007", "control").state == "sealed"


def test_what_cannot_be_read_is_refused_and_the_rest_is_stored(yard):
    good = act("cut", "A0001", 1, **ON)
    broken = event_fields(act("cut", "A0002", 2, **ON)) | {"captured_at": "yesterday"}
    answers = record([broken, event_fields(good), None, 5, {}, {"event_id": 7}], start_work=yard, clock=lambda: BEGUN)
    assert [one.status for one in answers] == ["refused", "stored", "refused", "refused", "refused", "refused"]
    assert answers[0].event_id == event_id(2)
    assert all(one.why and one.remedy for one in answers if one.status == "refused")


def test_an_event_made_in_python_is_checked_as_well(yard):
    (answer,) = record([act("cut", "A0001", 1, person="")], start_work=yard, clock=lambda: BEGUN)
    assert answer.status == "refused"


def test_nothing_at_all_and_too_much_at_once(yard):
    assert record([], start_work=yard, clock=lambda: BEGUN) == ()
    with pytest.raises(RefusedByRule, match="at once"):
        record([{}] * (MOST_EVENTS + 1), start_work=yard, clock=lambda: BEGUN)


def test_a_device_whose_clock_is_wrong_by_hours_is_taken_at_its_word_and_told_when_ahead(yard):
    behind = act("cut", "A0001", 1, captured_at="1970-01-01T00:00:07.000Z", **ON)
    ahead = act("bagged", "A0001", 2, captured_at="2031-05-04T20:00:00.000Z", **ON)
    first, second = send(yard, behind, ahead)
    assert (first.status, first.why) == ("stored", "")
    assert (second.status, second.standing) == ("stored", "stands")
    assert "ahead" in second.why
    assert bag(yard, "A0001").state == "bagged", "the ledger's order counts, not the clocks"


def test_saws_trays_sacks_and_loads_are_recorded_too(yard):
    tray = {"object_type": "tray", **ON}
    steps = [
        act("staged", "K-1/1", 1, **tray),
        act("washed", "SAW-1", 2, object_type="saw"),
        act("tray_closed", "K-1/1", 3, values={"bags": 3, "tickets": 3}, **tray),
        act("sack_sealed", "S-1", 4, object_type="sack"),
        act("loaded", "S-1", 5, object_type="sack", values={"load": "L-1"}),
        act("handed_over", "L-1", 6, object_type="load", values={"from_person": "Ada", "to_person": "Bo"}),
        act("received", "L-1", 7, object_type="load"),
        act("rack_placed", "K-1/1", 8, values={"rack": "R-1"}, **tray),
    ]
    assert {(one.status, one.standing) for one in send(yard, *steps)} == {("stored", "stands")}
    again = send(yard, act("sack_sealed", "S-1", 14, object_type="sack"))
    assert again[0].status == "conflict"


def test_a_failing_clock_stores_nothing(yard):
    def broken():
        raise OSError("no clock")

    with pytest.raises(OSError, match="no clock"):
        record([event_fields(act("cut", "A0001", 1, **ON))], start_work=yard, clock=broken)
    with yard(writing=False) as work:
        assert work.ledger_head().seq == 0


def test_a_sample_that_could_not_be_cut_is_cut_by_another_way(yard):
    steps = [act("could_not_cut", "A0001", 1, reason="falls apart", **ON), act("cut", "A0001", 2, **ON)]
    assert {one.status for one in send(yard, *steps)} == {"stored"}
    assert bag(yard, "A0001").state == "cut"


def number_state(engine, number: str) -> str:
    with engine.connect() as connection:
        return connection.exec_driver_sql(f"SELECT state FROM sample_numbers WHERE number = '{number}'").scalar_one()


def test_a_number_is_void_in_the_yard_once_the_ledger_says_so_and_back_when_that_is_set_aside(yard, engine):
    voided = act("voided", "A0002", 1, reason="ticket torn", **ON)
    (stored,) = send(yard, voided)
    assert stored.status == "stored"
    assert number_state(engine, "A0002") == "void"
    assert number_state(engine, "A0003") == "issued"
    send(yard, correction(2, voided, "set_aside"))
    assert number_state(engine, "A0002") == "issued"
    assert bag(yard, "A0002").state == "planned"


def test_a_voiding_that_contradicts_the_ledger_leaves_the_number_in_use_until_it_stands(yard, engine):
    first = road("A0003", 1, **ON)
    send(yard, *first, act("received", "A0003", 9, **ON))
    late = act("voided", "A0003", 10, reason="too late", **ON)
    (answer,) = send(yard, late)
    assert answer.standing == "conflict"
    assert number_state(engine, "A0003") == "issued"
    send(yard, correction(11, late, "stands"))
    assert number_state(engine, "A0003") == ("void" if bag(yard, "A0003").state == "void" else "issued")


def test_a_cut_that_comes_after_the_number_was_voided_is_kept_and_waits_for_a_person(yard, engine):
    voided = act("voided", "A0004", 5, reason="two tickets of one number", **ON)
    late = act("cut", "A0004", 4, **ON)
    send(yard, voided)
    (answer,) = send(yard, late)
    assert answer.status == "conflict"
    assert answer.against == voided.event_id
    assert "void already" in answer.why
    after = bag(yard, "A0004")
    assert (after.state, [one.event.event_id for one in after.conflicts]) == ("void", [late.event_id])
    send(yard, correction(6, late, "stands"))
    after = bag(yard, "A0004")
    assert after.state == "void"
    assert after.latest("cut") is not None, "the core was cut: the kept core has to know"
    assert number_state(engine, "A0004") == "void"


def test_no_bag_goes_into_a_sack_that_was_closed_before(yard):
    one, other = road("A0001", 1, **ON), road("A0005", 11, **ON)
    shut = act("sack_sealed", "S-1", 8, object_type="sack")
    assert {answer.standing for answer in send(yard, *one, shut)} == {"stands"}
    answers = send(yard, *other)
    assert [answer.standing for answer in answers] == ["stands", "stands", "stands", "conflict"]
    assert answers[-1].against == shut.event_id
    assert "sack S-1 was closed before" in answers[-1].why
    assert bag(yard, "A0005").state == "weighed"
    again = act("sack_sealed", "S-1", 20, object_type="sack", values={"seal": "Z-78", "bags": 12})
    (answer,) = send(yard, again)
    assert (answer.standing, answer.against) == ("conflict", shut.event_id)


def test_bags_put_into_a_sack_before_it_is_closed_in_one_sending_stand(yard):
    acts = [*road("A0001", 1, **ON), *road("A0005", 11, **ON), act("sack_sealed", "S-1", 30, object_type="sack")]
    assert {answer.standing for answer in send(yard, *acts)} == {"stands"}


def test_a_tray_whose_own_counts_differ_is_not_closed_until_somebody_looks(yard):
    tray = {"object_type": "tray", **ON}
    send(yard, act("staged", "K-1/1", 1, **tray))
    closed = act("tray_closed", "K-1/1", 2, values={"bags": 5, "tickets": 6}, **tray)
    (answer,) = send(yard, closed)
    assert answer.standing == "conflict"
    assert "5 bags and 6 tickets were counted" in answer.why
    with yard(writing=False) as work:
        events = work.events_of_objects([("tray", "K-1/1")])[("tray", "K-1/1")]
    assert state_in_ledger(events, machine="tray").state == "staged"
    again = act("tray_closed", "K-1/1", 3, values={"bags": 6, "tickets": 6}, **tray)
    (answer,) = send(yard, again)
    assert answer.standing == "stands"
