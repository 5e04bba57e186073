"""The saws in a yard with people: who may sign, tag out and release."""

from __future__ import annotations

import pytest
from people_yard import PeopleYard
from tests.saw_floor import SawFloor


@pytest.fixture
def people(yard):
    floor = SawFloor(yard)
    yard.make_id = floor.make_id
    people = PeopleYard(yard)
    people.add_people()
    people.now = floor.now
    return people


def test_a_viewer_looks_and_changes_nothing_and_an_operator_cannot_release(people, yard):
    viewer = people.browser().signed_in("Vic")
    page = viewer.get("/saws/A-1")
    assert page.status_code == 200
    assert "/tag-out" not in page.text
    assert "/saws/A-1/card" in page.text
    assert 'action="/saws/A-1/card"' not in viewer.get("/saws/A-1/card").text

    operator = people.browser().signed_in("Otto")
    operator.send("/saws/A-1/tag-out", page="/saws/A-1", reason="it hums")
    people.later(minutes=1)
    answer = operator.send("/saws/A-1/release", page="/saws/A-1", reason="fine again")
    assert answer.status_code == 422
    assert "may not release" in answer.text

    lead = people.browser().signed_in("Lea")
    people.later(minutes=1)
    lead.send("/saws/A-1/release", page="/saws/A-1", reason="bearing changed")
    with yard.start_work(writing=False) as work:
        kinds = [(one.event.kind, one.event.person) for one in work.saws.acts("saw", "A-1", kinds={"tagged_out", "released"})]
    assert kinds == [("tagged_out", "Otto"), ("released", "Lea")]
