"""A sample's whole story on one page: place, masses, results with superseded ones, order, custody, events, findings."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from results_yard import add_certificate, issued, write_results_yard
from starlette.testclient import TestClient
from test_loads import FloorYard
from test_results import ADDRESS, ME, text_of

from trayside.app.correct import correct
from trayside.app.office_acts import Desk, Signer
from trayside.cli.demo_crew import Crew
from trayside.web.services import Services
from trayside.web.site import build_site


@pytest.fixture(scope="session")
def worked_template(tmp_path_factory) -> Path:
    """The yard with results, its bags cut, weighed, and one sack of them sealed."""
    folder = tmp_path_factory.mktemp("story")
    write_results_yard(folder)
    yard = FloorYard(folder / "yard.sqlite")
    Crew(yard, "SM-01").work_through()
    with TestClient(site_of(yard), base_url=ADDRESS, headers={"origin": ADDRESS}) as client:
        trays = re.findall(r'name="tray" value="([^"]+)"', client.get("/loads").text)
        answer = client.post("/loads/pack", data={"tray": trays, "what": "pack", **ME})
        for sack in dict.fromkeys(re.findall(r"SK-\d{5}", answer.text)):
            with yard.start_work(writing=False) as work:
                count = len(work.loads.sack(sack).numbers)
            assert client.post(f"/sacks/{sack}/seal", data={"seal": f"Z-{sack}", "counted": count, **ME}).status_code == 200
    yard.engine.dispose()
    return folder / "yard.sqlite"


def site_of(yard):
    return build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers))


@pytest.fixture
def yard(worked_template, tmp_path):
    yard = FloorYard(Path(shutil.copy(worked_template, tmp_path / "yard.sqlite")))
    yard.made = 10**6
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(yard):
    with TestClient(
        site_of(yard), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


def a_sample(yard, place: int = 0):
    return [row for row in issued(yard) if row.kind == "sample"][place]


def test_the_story_of_a_sample_from_tray_to_result(browser, yard):
    row = a_sample(yard)
    page = browser.get(f"/sample/{row.number}").text
    told = text_of(page)
    assert f"tray {row.from_place.tray}, row {row.from_place.row}" in told
    assert 'class="spot-line"' in page  # the place is marked in the picture
    assert "weighed at the yard" in told
    assert "on the certificate 2.50" in told
    assert "Sack SK-" in told
    assert "Demo laboratory A, J-1" in told
    assert 'href="/results/CT-00002"' in page
    for kind in ("cut", "bagged", "weighed"):
        assert re.search(rf'<th scope="row">{kind}', page), kind


def test_a_superseded_result_stays_visible_and_says_so(browser, yard):
    told = text_of(browser.get(f"/sample/{a_sample(yard).number}").text)
    assert "superseded by CT-00002" in told
    assert told.index("2031-06-03") < told.index("2031-06-01")  # what counts comes first


def test_the_first_value_of_a_correction_is_never_hidden(browser, yard):
    number = a_sample(yard).number
    with yard.start_work(writing=False) as work:
        stored = work.events_of_objects([("bag", number)])[("bag", number)]
    weighed = next(one.event for one in stored if one.event.kind == "weighed")
    desk = Desk(Signer("Demo QC", "office"), yard.clock, yard.make_id)
    correct(
        weighed.event_id, verdict="restated", reason="read upside down", typed={"mass_g": "1999"}, desk=desk,
        start_work=yard.start_work,
    )  # fmt: skip
    told = text_of(browser.get(f"/sample/{number}").text)
    assert f"mass g: first {weighed.values['mass_g']}, now 1999" in told
    assert "Corrected by Demo QC" in told
    assert "read upside down" in told


def test_the_neighbours_in_the_laboratory_and_on_the_saw_are_named(browser, yard):
    rows = issued(yard)
    cores = [row for row in rows if row.is_core]
    row = cores[2]
    page = browser.get(f"/sample/{row.number}").text
    order = re.search(r'<table class="order-table">(.+?)</table>', page, re.DOTALL)[1]
    at = rows.index(row)
    beside = [one.number for one in rows[max(0, at - 3) : at + 4]]
    assert [one for one in re.findall(r'href="/sample/(T\d+)"', order) if one in beside]
    assert 'aria-current="true"' in order
    told = text_of(page)
    assert f"before it: {cores[1].number}" in told
    assert f"after it: {cores[3].number}" in told


def test_a_duplicate_and_its_original_name_each_other(browser, yard):
    rows = issued(yard)
    duplicate = next(row for row in rows if row.kind == "duplicate")
    original = next(row for row in rows if row.number == duplicate.duplicate_of)
    assert f'href="/sample/{original.number}"' in browser.get(f"/sample/{duplicate.number}").text
    page = browser.get(f"/sample/{original.number}").text
    assert "Same core" in page
    assert f'href="/sample/{duplicate.number}"' in page


def test_a_control_says_its_material_and_why_it_is_there(browser, yard):
    row = next(row for row in issued(yard) if row.material == "BLK")
    told = text_of(browser.get(f"/sample/{row.number}").text)
    assert "Material BLK" in told
    assert row.reason in told.replace("&#39;", "'").replace("&gt;", ">")
    assert "Where the core lies" not in told


def test_a_number_no_sheet_carries_tells_what_the_laboratory_wrote(browser):
    told = text_of(browser.get("/sample/X-9").text)
    assert "No issued sheet carries this number" in told
    assert "1.11" in told


def test_a_number_with_a_slash_has_a_page(browser, yard):
    rows = issued(yard)
    add_certificate(yard, rows[:2], job="J-9", day=22, all_rows=rows, extra=("A/7",))
    assert browser.get("/sample/A%2F7").status_code == 200
    assert 'href="/sample/A%2F7"' in browser.get("/results/CT-00004").text


def test_a_number_nobody_knows_is_told(browser):
    answer = browser.get("/sample/NOPE")
    assert answer.status_code == 404
    assert "neither a sheet nor a certificate" in answer.text.casefold()


def test_what_the_batch_found_about_a_control_stands_in_its_story(browser):
    told = text_of(browser.get("/sample/T1018").text)
    assert "BLK as T1018 reads 0.310 g/t" in told
    assert "BLK as T1018" not in text_of(browser.get("/sample/T1003").text)
