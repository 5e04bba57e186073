"""The ledger through its pages: contradictions settled, values restated, numbers voided; the first value stays in sight."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_loads import ADDRESS, ME, FloorYard, LoadPapers

from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.record_events import record
from trayside.cli.demo_crew import Crew
from trayside.files.received_list import read_received
from trayside.web.services import Services
from trayside.web.site import build_site


@pytest.fixture
def floor(loaded_template, tmp_path):
    yard = FloorYard(Path(shutil.copy(loaded_template, tmp_path / "yard.sqlite")))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(floor):
    services = Services(floor.start_work, floor.clock, floor.make_id, LoadPapers(), read_received=read_received)
    with TestClient(
        build_site(services), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


@pytest.fixture
def crew(browser, floor):
    browser.post("/hole/SM-01/sheet/plan")
    issue_cut_sheet("SM-01", version=floor.sheet().version, issued_by="Ada", start_work=floor.start_work, clock=floor.clock)
    crew = Crew(floor, "SM-01")
    crew.work_through()
    return crew


def events_of(floor, number: str):
    with floor.start_work(writing=False) as work:
        return work.events_of_objects([("bag", number)])[("bag", number)]


def core_number(crew) -> str:
    return next(row.number for row in crew.rows if row.is_core)


def test_the_history_of_a_bag_tells_every_act_with_who_when_and_what(browser, crew, floor):
    number = core_number(crew)
    page = browser.get(f"/ledger/bag/{number}").text
    for word in ("cut", "bagged", "weighed", f"mass {crew.mass_g[number]} g", "Demo operator", "tablet 1"):
        assert word in page
    assert browser.get(f"/ledger/find?number={number}").url.path == f"/ledger/bag/{number}"


def test_a_mass_is_restated_with_a_reason_and_the_first_stays_in_sight(browser, crew, floor):
    number = core_number(crew)
    weighed = next(one for one in events_of(floor, number) if one.event.kind == "weighed")
    form = {"event": weighed.event.event_id, "verdict": "restated", "value:mass_g": "1234", **ME}
    assert browser.post(f"/ledger/bag/{number}", data=form).status_code == 422, "no reason was given"
    page = browser.post(f"/ledger/bag/{number}", data=form | {"reason": "read off the wrong line"}).text
    assert "mass 1234 g" in page
    assert f"first written: mass {crew.mass_g[number]} g" in page
    assert "read off the wrong line" in page
    again = browser.post(f"/ledger/bag/{number}", data=form | {"reason": "x"})
    assert "No value was changed" in again.text


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"value:mass_g": "1.5 kg"}, "is not a whole number"),
        ({"value:mass_g": "0"}, "is not between"),
        ({"verdict": "gone"}, "No verdict"),
        ({"event": "nothing"}, "There is no such act in the ledger"),
        ({"value:read": "guessed"}, "is not known"),
    ],
)
def test_a_correction_that_cannot_be_is_refused_in_words_and_nothing_is_stored(browser, crew, floor, change, told):
    number = core_number(crew)
    before = events_of(floor, number)
    weighed = next(one for one in before if one.event.kind == "weighed")
    form = {"event": weighed.event.event_id, "verdict": "restated", "value:mass_g": "1234", "reason": "why", **ME} | change
    answer = browser.post(f"/ledger/bag/{number}", data=form)
    assert answer.status_code in (404, 422)
    assert told in answer.text
    assert events_of(floor, number) == before


def test_a_contradiction_is_shown_with_both_sides_and_settled_once(browser, crew, floor):
    number = core_number(crew)
    again = crew._act("cut", "bag", number, "Demo second operator", crew.tray[number], {"method": "manual saw"})
    (answer,) = record([again], start_work=floor.start_work, clock=floor.clock)
    assert answer.standing == "conflict"
    page = browser.get("/to-settle").text
    assert "Demo second operator" in page
    assert "Demo operator" in page, "the act it contradicts is shown beside it"
    assert "it was cut before" in page
    form = {"event": again.event_id, "verdict": "set_aside", "reason": "a tap on the wrong tablet", **ME}
    assert "Nothing contradicts" in browser.post("/to-settle", data=form).text
    assert "set aside" in browser.get(f"/ledger/bag/{number}").text


def test_a_voided_number_is_void_and_its_core_gets_another_when_planned_again(browser, crew, floor):
    number = core_number(crew)
    assert browser.post(f"/void/{number}", data={"reason": " ", **ME}).status_code == 422
    page = browser.post(f"/void/{number}", data={"reason": "bag burst on the floor", **ME}).text
    assert "bag burst on the floor" in page
    assert "Void this number" not in page
    twice = browser.post(f"/void/{number}", data={"reason": "again", **ME})
    assert twice.status_code == 422
    version = floor.sheet().version
    browser.post("/hole/SM-01/sheet/plan", data={"base_version": str(version), "sure": "yes", "edited_by": "Ada"})
    rows = floor.sheet().rows
    assert number not in {row.number for row in rows}
    before = next(row for row in crew.rows if row.number == number)
    assert any(row.is_core and row.from_mm == before.from_mm and row.to_mm == before.to_mm for row in rows)


@pytest.mark.parametrize("path", ["/ledger/bag/NONE", "/ledger/thing/T1", "/ledger/tray/SM-01~99"])
def test_what_the_ledger_does_not_know_is_told(browser, floor, path):
    assert browser.get(path).status_code == 404
