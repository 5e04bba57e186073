"""Yard: one line a hole, what waits, planning, paging, finding a hole."""

from __future__ import annotations

import re
import shutil

import pytest
from starlette.testclient import TestClient
from web_yard import Yard, load_into, write_folder

from trayside.web.services import Services
from trayside.web.site import build_site
from trayside.web.yard_screen import HOLES_A_PAGE


def test_every_hole_stands_at_its_station_with_what_waits(browser):
    text = browser.get("/").text
    assert "6 trays to plan" in text
    assert re.search(r"[2-9] findings to settle before it can be planned", text)
    assert text.count('<tr><th scope="row">') == 3


def test_stations_carry_a_word_and_a_shape(browser):
    text = browser.get("/").text
    assert '<span aria-hidden="true">■</span> to settle' in text
    assert '<span aria-hidden="true">□</span> to plan' in text


def test_one_station_shows_only_its_holes(browser):
    text = browser.get("/?station=to+settle").text
    assert "/hole/SM-02" in text
    assert "/hole/SM-01" not in text


def test_an_unknown_station_is_refused_in_words(browser):
    answer = browser.get("/?station=lunch")
    assert answer.status_code == 404
    assert "Stations are to settle, to plan" in answer.text


def test_planning_one_hole_leads_to_its_sheet(browser, yard):
    answer = browser.post("/plan", data={"hole_id": "SM-01"})
    assert answer.url.path == "/hole/SM-01/sheet"
    assert yard.sheet().version == 1


def test_planning_the_page_says_what_came_of_each_hole(browser, yard):
    answer = browser.post("/plan", data={"on_page": ["SM-01", "SM-02", "SM/03"], "all": "yes"})
    assert answer.status_code == 200
    assert "SM-01: " in answer.text
    assert "nothing of this hole is to be sampled" in answer.text
    assert "must be settled before it can be planned" in answer.text
    assert yard.sheet("SM-01") is not None
    assert yard.sheet("SM-02") is None


def test_after_planning_the_counts_move(planned):
    text = planned.get("/").text
    assert "bags to look at and issue" in text
    assert '<span aria-hidden="true">▲</span> to issue' in text


@pytest.mark.parametrize("typed", ["SM-01", "sm-01", "  SM-01 "])
def test_the_search_box_opens_a_hole(browser, typed):
    answer = browser.get("/find", params={"hole": typed})
    assert answer.url.path == "/hole/SM-01"


def test_a_hole_that_is_not_there_is_said_so(browser):
    answer = browser.get("/find", params={"hole": "<b>nobody"})
    assert answer.status_code == 404
    assert "No hole of that name is loaded" in answer.text
    assert "&lt;b&gt;nobody" in answer.text
    assert "<b>nobody" not in answer.text


@pytest.fixture
def many(tmp_path):
    """A yard of 3 + 60 holes."""
    load_into(tmp_path / "many.sqlite", write_folder(tmp_path / "yard", more_holes=60))
    yard = Yard(tmp_path / "many.sqlite")
    with TestClient(
        build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers)), base_url="http://localhost"
    ) as client:
        yield client
    yard.engine.dispose()
    shutil.rmtree(tmp_path / "yard")


def test_a_long_yard_comes_in_pages(many):
    first, second = many.get("/").text, many.get("/?page=2").text
    assert first.count('<tr><th scope="row">') == HOLES_A_PAGE
    assert second.count('<tr><th scope="row">') == 63 - HOLES_A_PAGE
    assert f"1–{HOLES_A_PAGE} of 63" in first
    assert f"{HOLES_A_PAGE + 1}–63 of 63" in second
    assert 'rel="next"' in first
    assert 'rel="next"' not in second


@pytest.mark.parametrize("page", ["3", "0", "-1", "one", "9" * 30, "²"])
def test_a_page_that_is_not_there_is_said_so(many, page):
    assert many.get("/", params={"page": page}).status_code == 404


@pytest.mark.parametrize("hole_id", ["ZZ-000", "ZZ-001"])
@pytest.mark.parametrize("part", ["", "/trays", "/trays?depth=2.5", "/sheet"])
def test_a_hole_without_runs_or_log_has_its_screens(many, hole_id, part):
    answer = many.get(f"/hole/{hole_id}{part}")
    assert answer.status_code == 200
    if "depth" in part:
        assert "no run and no tray holds this depth" in answer.text
