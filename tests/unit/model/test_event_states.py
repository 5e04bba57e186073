"""States are read off the events: allowed moves, late and contradicting acts, corrections with the first value kept."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trayside.model.bag_states import (
    MACHINES,
    Contradiction,
    machine_of,
    restated,
    state_after,
    state_in_ledger,
)
from trayside.model.event import Event, Stored
from trayside.model.event_kinds import BY_NAME, KINDS, OBJECT_TYPES

ROADS = {
    "bag": ("could_not_cut", "cut", "bagged", "weighed", "sealed", "received"),
    "control": ("inserted", "weighed", "sealed", "received"),
    "tray": ("staged", "tray_closed", "rack_placed"),
    "sack": ("sack_sealed", "loaded", "received"),
    "load": ("handed_over", "handed_over", "received"),
}


def act(kind: str, number: int, *, device: str = "tablet 1", **more) -> Event:
    fields = {"values": {"mass_g": 2000 + number} if kind == "weighed" else {}, **more}
    return Event(
        f"id {number}", kind, "bag", "A1", "Ada", device, f"2031-05-04T07:30:{number:02}.000Z", 0, "0", **fields
    )


def acts(*kinds: str) -> list[Event]:
    return [act(kind, number) for number, kind in enumerate(kinds, 1)]


def settle(number: int, corrects: Event, verdict: str, **values) -> Event:
    said = {"verdict": verdict, **values}
    return act("corrected", number, values=said, reason="looked again", corrects=corrects.event_id)


@pytest.mark.parametrize("machine", ROADS)
def test_the_usual_road_is_gone_to_its_end(machine):
    state = state_after(acts(*ROADS[machine]), machine=machine)
    assert (
        state.state
        == MACHINES[machine].states[len(MACHINES[machine].states) - (2 if machine in ("bag", "control") else 1)]
    )
    assert [fact.event.kind for fact in state.facts] == list(ROADS[machine])
    assert not state.waiting
    assert not state.conflicts


@pytest.mark.parametrize("machine", MACHINES)
def test_nothing_happened_is_the_first_state(machine):
    assert state_after([], machine=machine).state == MACHINES[machine].states[0]


@pytest.mark.parametrize(
    ("machine", "kinds"),
    [("bag", ROADS["bag"]), ("control", ROADS["control"]), ("tray", ROADS["tray"]), ("sack", ROADS["sack"])],
)
def test_in_whatever_order_the_acts_arrive_the_end_is_the_same(machine, kinds):
    in_order = state_after(acts(*kinds), machine=machine)
    for order in permutations(acts(*kinds)):
        state = state_after(order, machine=machine)
        assert (state.state, state.waiting, state.conflicts) == (in_order.state, (), ())
        assert {fact.event.event_id for fact in state.facts} == {fact.event.event_id for fact in in_order.facts}


def test_an_act_whose_forerunner_is_missing_waits_for_it():
    bagged, weighed, cut = act("bagged", 2), act("weighed", 3), act("cut", 1)
    early = state_after([bagged, weighed], machine="bag")
    assert (early.state, early.waiting, early.conflicts) == ("planned", (bagged, weighed), ())
    assert state_after([bagged, weighed, cut], machine="bag").state == "weighed"


def test_a_weighing_that_could_be_left_out_counts_late_but_only_once():
    steps = acts("cut", "bagged", "sealed")
    late, again = act("weighed", 8, device="tablet 2"), act("weighed", 9)
    state = state_after([*steps, late], machine="bag")
    assert (state.state, state.latest("weighed").event, state.conflicts) == ("sealed", late, ())
    twice = state_after([*steps, late, again], machine="bag")
    assert (twice.state, [one.event for one in twice.conflicts]) == ("sealed", [again])
    attempt = act("could_not_cut", 8, reason="clay")
    assert state_after([*steps, attempt], machine="bag").latest("could_not_cut").event == attempt


def test_a_second_cut_contradicts_the_first_and_both_are_shown():
    first, second = act("cut", 1), act("cut", 2, device="tablet 2")
    state = state_after([first, second], machine="bag")
    assert state.state == "cut"
    assert [fact.event for fact in state.facts] == [first]
    assert state.conflicts == (Contradiction(second, state.conflicts[0].why, first.event_id),)
    assert "tablet 1" in state.conflicts[0].why


@pytest.mark.parametrize("kind", ["cut", "bagged", "weighed", "sealed", "received", "could_not_cut"])
def test_nothing_more_happens_to_a_void_number(kind):
    state = state_after([act("voided", 1), act(kind, 2)], machine="bag")
    assert state.state == "void"
    assert [one.event.kind for one in state.conflicts] == [kind]


def test_a_control_is_never_cut_and_a_sample_never_inserted():
    for machine, kind in (("control", "cut"), ("bag", "inserted"), ("sack", "cut"), ("tray", "weighed")):
        state = state_after([act(kind, 1)], machine=machine)
        assert state.state == MACHINES[machine].states[0]
        assert f"a {machine} is never {kind}" in state.conflicts[0].why


def test_a_restated_mass_shows_the_first_one_beside_it():
    weighed = act("weighed", 3, values={"mass_g": 2315, "read": "typed"})
    steps = [*acts("cut", "bagged"), weighed, settle(4, weighed, "restated", mass_g=2135)]
    fact = state_after(steps, machine="bag").latest("weighed")
    assert fact.values == {"mass_g": 2135, "read": "typed"}
    assert fact.event.values == {"mass_g": 2315, "read": "typed"}
    assert restated(fact) == {"mass_g": (2315, 2135)}
    again = state_after([*steps, settle(5, weighed, "restated", mass_g=2136)], machine="bag").latest("weighed")
    assert again.values["mass_g"] == 2136
    assert [one.event_id for one in again.corrections] == ["id 4", "id 5"]


def test_what_is_set_aside_counts_no_more_and_what_leaned_on_it_waits():
    cut, bagged, weighed = acts("cut", "bagged", "weighed")
    state = state_after([cut, bagged, weighed, settle(4, bagged, "set_aside")], machine="bag")
    assert (state.state, state.set_aside, state.waiting) == ("cut", (bagged,), (weighed,))


def test_a_conflict_counts_once_a_person_says_it_stands():
    one, two = act("cut", 1), act("cut", 2, device="tablet 2", values={"method": "knife"})
    both = [one, two, settle(3, one, "set_aside"), settle(4, two, "stands")]
    state = state_after(both, machine="bag", disputed={two.event_id: Contradiction(two, "cut before", one.event_id)})
    assert (state.state, state.set_aside, state.conflicts) == ("cut", (one,), ())
    assert state.latest("cut").event == two
    undone = state_after([*both, settle(5, two, "set_aside")], machine="bag")
    assert (undone.state, undone.set_aside) == ("planned", (one, two))


def test_what_stands_never_takes_a_bag_back():
    steps = acts("cut", "bagged", "weighed", "sealed")
    late = act("bagged", 9, device="tablet 2")
    state = state_after([*steps, late, settle(10, late, "stands")], machine="bag")
    assert state.state == "sealed"
    assert [fact.event.kind for fact in state.facts] == ["cut", "bagged", "weighed", "sealed", "bagged"]


def test_what_was_stored_as_a_conflict_counts_for_nothing_until_it_is_settled():
    cut, bagged = acts("cut", "bagged")
    wrong_tag = Stored(bagged, 2, "", "", "", "conflict", "the tag says A2", None)
    rows = [Stored(cut, 1, "", "", ""), wrong_tag]
    assert state_in_ledger(rows, machine="bag").state == "cut"
    assert state_in_ledger(rows, machine="bag").conflicts[0].why == "the tag says A2"
    rows.append(Stored(settle(3, bagged, "stands"), 3, "", "", ""))
    assert state_in_ledger(rows, machine="bag").state == "bagged"


def test_a_bag_whose_row_is_a_control_moves_as_one():
    assert machine_of("bag", "standard") == machine_of("bag", "blank") == "control"
    assert machine_of("bag", "sample") == machine_of("bag", "duplicate") == machine_of("bag") == "bag"
    assert machine_of("tray") == "tray"


BAG_KINDS = [kind.name for kind in KINDS if "bag" in kind.object_types and kind.name != "corrected"]


@given(
    st.lists(
        st.tuples(st.sampled_from(BAG_KINDS), st.sampled_from([None, "stands", "set_aside", "restated"])), max_size=9
    ),
    st.sampled_from(["bag", "control"]),
)
def test_every_event_ends_in_exactly_one_list_and_the_state_is_a_state(drawn, machine):
    events = acts(*(kind for kind, _ in drawn))
    settled = [settle(20 + place, events[place], verdict) for place, (_, verdict) in enumerate(drawn) if verdict]
    state = state_after([*events, *settled], machine=machine)
    ended = [fact.event for fact in state.facts] + [*state.waiting, *state.set_aside]
    ended += [one.event for one in state.conflicts]
    assert sorted(event.event_id for event in ended) == sorted(event.event_id for event in events)
    assert state.state in MACHINES[machine].states


@given(st.lists(st.sampled_from(BAG_KINDS), max_size=8))
def test_the_same_events_give_the_same_state_and_more_events_never_unmake_a_fact(kinds):
    events = acts(*kinds)
    before = state_after(events[:-1], machine="bag")
    after = state_after(events, machine="bag")
    assert after == state_after(list(events), machine="bag")
    assert after.facts[: len(before.facts)] == before.facts


def test_the_tables_agree_with_the_kinds_of_event():
    assert {machine.object_type for machine in MACHINES.values()} == set(OBJECT_TYPES)
    used = set()
    for machine in MACHINES.values():
        kinds = [move.kind for move in machine.moves]
        assert len(kinds) == len(set(kinds)), "one move a kind"
        for move in machine.moves:
            used.add((move.kind, machine.object_type))
            assert machine.object_type in BY_NAME[move.kind].object_types
            assert set(move.from_states) <= set(machine.states)
            assert move.to is None or move.to in machine.states
    known = {(kind.name, object_type) for kind in KINDS for object_type in kind.object_types}
    assert used == {pair for pair in known if pair[0] != "corrected"}


def test_no_machine_can_go_round_in_a_circle():
    """Else the end would hang on the order in which two tablets happen to send."""
    for machine in MACHINES.values():
        ahead = {state: set() for state in machine.states}
        for move in machine.moves:
            for state in move.from_states:
                if move.to not in (None, state):
                    ahead[state].add(move.to)
        for start in machine.states:
            seen, new = set(), set(ahead[start])
            while new:
                seen |= new
                new = {there for state in new for there in ahead[state]} - seen
            assert start not in seen, f"{machine.name}: {start}"


def test_a_correction_of_an_event_that_is_not_here_changes_nothing():
    cut = act("cut", 1)
    stray = settle(2, replace(cut, event_id="elsewhere"), "set_aside")
    assert state_after([cut, stray], machine="bag").state == "cut"
