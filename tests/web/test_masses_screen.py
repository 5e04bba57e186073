"""The page of masses: before any bag was weighed, after, and what a tablet asks before it closes a tray."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from test_loads import ADDRESS, FloorYard, LoadPapers

from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.cli.demo_crew import Crew
from trayside.web.services import Services
from trayside.web.site import build_site


@pytest.fixture
def floor(loaded_template, tmp_path):
    yard = FloorYard(Path(shutil.copy(loaded_template, tmp_path / "yard.sqlite")))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(floor):
    services = Services(floor.start_work, floor.clock, floor.make_id, LoadPapers())
    with TestClient(
        build_site(services), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


@pytest.fixture
def crew(browser, floor):
    browser.post("/hole/SM-01/sheet/plan")
    issue_cut_sheet("SM-01", version=floor.sheet().version, issued_by="Ada", start_work=floor.start_work, clock=floor.clock)
    return Crew(floor, "SM-01")


def test_a_hole_without_masses_says_so(browser, floor):
    page = browser.get("/hole/SM-01/masses")
    assert page.status_code == 200
    assert "No bag of this hole was weighed yet." in page.text


def test_every_weighed_bag_is_drawn_and_an_odd_one_has_a_shape_of_its_own(browser, crew):
    odd = next(row.number for row in crew.rows if row.kind == "sample")
    crew.mass_g[odd] *= 3
    crew.work_through()
    page = browser.get("/hole/SM-01/masses").text
    for row in crew.rows:
        assert f"<title>{row.number}: " in page
    drawn = page[page.index(f"<title>{odd}: ") - 120 : page.index(f"<title>{odd}: ")]
    assert "<path" in drawn.rpartition("</")[2], "a triangle, not a dot"
    assert f"{odd} " in page
    assert "Learned from the masses" in page


def test_a_tablet_hears_of_its_tray_what_the_masses_say_and_nothing_of_others(browser, crew):
    odd = next(row.number for row in crew.rows if row.kind == "sample")
    crew.mass_g[odd] *= 3
    crew.work_through()
    tray = crew.tray[odd]
    told = browser.get(f"/bench/masses.json?hole=SM-01&tray={tray}").json()["findings"]
    assert any(odd in one["what"] and one["severity"] == "warn" for one in told)
    other = next(at for at in sorted(set(crew.tray.values())) if at != tray)
    assert not any(odd in one["what"] for one in browser.get(f"/bench/masses.json?hole=SM-01&tray={other}").json()["findings"])


@pytest.mark.parametrize(
    ("query", "status"), [("hole=SM-01&tray=99", 404), ("hole=NO&tray=1", 404), ("hole=SM-01&tray=x", 422), ("", 422)]
)
def test_a_tray_that_is_not_there_is_told(browser, crew, query, status):
    assert browser.get(f"/bench/masses.json?{query}").status_code == status
