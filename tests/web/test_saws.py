"""The Saws screens: a card a saw, the forms, the pre-start card, the register, the papers; and what the bench is told."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient
from tests.saw_floor import MORNING, SawFloor
from web_yard import RULES

from trayside.app.bag_views import hole_bags
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.plan_samples import plan_samples
from trayside.pages.papers import TypstPapers
from trayside.web.rights import NEEDS
from trayside.web.saw_routes import SAW_ROUTES
from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"
BY = {"signed_by": "Demo operator"}


@pytest.fixture
def floor(yard):
    plan_samples("SM-01", start_work=yard.start_work, make_id=yard.make_id)
    issue_cut_sheet("SM-01", version=1, issued_by="Demo geologist", start_work=yard.start_work, clock=yard.clock)
    return SawFloor(yard)


@pytest.fixture
def browser(floor):
    site = build_site(Services(floor.yard.start_work, floor.clock, floor.make_id, TypstPapers()))
    with TestClient(site, base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False) as client:
        yield client


def post(browser, floor, address: str, **fields):
    floor.later(minutes=1)
    return browser.post(address, data=BY | fields)


def plain(html: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def card_form(browser, saw: str, **answers: str) -> dict[str, str]:
    html = browser.get(f"/saws/{saw}/card").text
    keys = re.findall(r'data-item="([^"]+)"', html)
    mark = re.search(r'name="card" value="([0-9a-f]+)"', html)[1]
    return {"card": mark} | {f"item:{key}": answers.get(key, "ok") for key in keys}


def test_a_yard_without_a_register_is_told_how_to_begin_one(yard, tmp_path):
    site = build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers))
    with TestClient(site, base_url=ADDRESS) as client:
        assert "saws.csv" in client.get("/saws").text
        assert client.get("/blades").status_code == 200
        assert client.get("/saws/A-1").status_code == 404


def test_every_saw_has_its_card_with_why_not(browser):
    html = browser.get("/saws").text
    assert re.findall(r'data-saw="([^"]+)"', html) == ["A-1", "M-1", "S-1"]
    assert plain(html).count("must not run") == 3
    assert "No blade is recorded on it" in html
    assert "No pre-start card was signed for A-1 today" in html


def test_fitting_a_blade_and_signing_the_card_make_a_saw_ready(browser, floor):
    answer = post(browser, floor, "/saws/A-1/fit", blade="B-1", stamp_rpm="4365")
    assert answer.status_code == 200
    assert "B-1" in answer.text
    answer = post(browser, floor, "/saws/A-1/card", **card_form(browser, "A-1"))
    assert "● ready" in plain(answer.text)
    assert "passed, signed by Demo operator, 2031-05-04 06:02" in plain(answer.text)


def test_a_failed_card_tags_out_and_the_release_asks_for_a_new_card(browser, floor):
    post(browser, floor, "/saws/A-1/fit", blade="B-1")
    form = card_form(browser, "A-1", guard="failed") | {"remark:guard": "two bolts gone"}
    html = plain(post(browser, floor, "/saws/A-1/card", **form).text)
    assert "It is tagged out by Demo operator" in html
    assert "two bolts gone" in html
    html = plain(post(browser, floor, "/saws/A-1/release", reason="bolts replaced").text)
    assert "The pre-start card failed" in html
    assert floor.stops() == ["card_failed"]


def test_an_unanswered_card_is_refused_and_keeps_what_was_answered(browser, floor):
    form = card_form(browser, "S-1")
    del form["item:wedge"]
    answer = post(browser, floor, "/saws/S-1/card", **form)
    assert answer.status_code == 422
    assert "has no answer" in plain(answer.text) or "have no answer" in plain(answer.text)
    assert answer.text.count(" checked") == len(form) - 1
    assert floor.now_of("S-1").card is None


@pytest.mark.parametrize(
    ("act", "fields", "told"),
    [
        ("fit", {"blade": "B-1", "stamp_rpm": "many"}, "whole"),
        ("fit", {"blade": "B-9"}, "no such blade"),
        ("height", {"blade": "B-1", "heights": "abc"}, "is not a height"),
        ("height", {"blade": "B-9", "heights": "7.1"}, "no such blade"),
        ("remove", {"because": "worn"}, "no blade on it"),
        ("water", {"flow_l_min": "a lot"}, "is not a number"),
        ("water", {}, "nothing was said"),
        ("log", {"kind": "danced"}, "form"),
        ("tag-out", {"reason": "   "}, "no reason"),
        ("release", {"reason": "fine"}, "not tagged out"),
        ("dance", {}, ""),
    ],
)
def test_what_cannot_be_is_refused_on_the_saws_own_page(browser, floor, act, fields, told):
    answer = post(browser, floor, f"/saws/A-1/{act}", **fields)
    assert answer.status_code in (404, 422)
    assert 'class="refusal"' in answer.text
    assert floor.now_of().facts.acts == ()


def test_nobody_signs_nothing(browser, floor):
    answer = browser.post("/saws/A-1/fit", data={"blade": "B-1"})
    assert answer.status_code == 422
    assert floor.now_of().facts.acts == ()


def test_an_unknown_saw_is_not_found(browser, floor):
    assert browser.get("/saws/Z-9").status_code == 404
    assert browser.get("/saws/Z-9/card").status_code == 404
    assert post(browser, floor, "/saws/Z-9/tag-out", reason="x").status_code == 404


def test_a_height_is_shown_with_the_figure_before_and_after(browser, floor):
    floor.fit()
    floor.sign()
    with floor.yard.start_work(writing=False) as work:
        rows = [bag.row for bag in hole_bags(work, "SM-01").bags if bag.row.kind == "sample"][:3]
    for row in rows:
        floor.cut(row, hole_id="SM-01")
    html = post(browser, floor, "/saws/A-1/height", blade="B-1", heights="9.6 9,5; 9.7").text
    assert "The last height changed it" in html
    assert "9.60" in html
    assert "Height of B-1: 9.60 mm" in plain(html)


def test_cleaning_water_and_dressing_are_logged(browser, floor):
    floor.fit()
    for kind in ("washed", "sump_cleaned", "water_changed", "blade_dressed", "cleaned_out"):
        assert post(browser, floor, "/saws/A-1/log", kind=kind, remark="settling drum").status_code == 200
    html = plain(post(browser, floor, "/saws/A-1/water", flow_l_min="2,5", seen="mist").text)
    for words in ("Washed", "Sump emptied · slurry to settling drum", "Water changed", "Blade dressed", "Cleaned out for the day"):
        assert words in html
    assert "too little" in html
    assert "2.5 L/min" in html


def test_names_that_hold_markup_do_no_harm(browser, floor):
    post(browser, floor, "/saws/A-1/tag-out", reason="<script>alert(1)</script>")
    for address in ("/saws", "/saws/A-1", "/saws/A-1/card"):
        html = browser.get(address).text
        assert "<script>alert" not in html
        assert "&lt;script&gt;" in html


def test_the_papers_are_pdfs(browser, floor):
    floor.fit()
    floor.sign()
    for address in ("/saws/A-1/card.pdf", "/saws/M-1/card.pdf", "/blades.pdf"):
        answer = browser.get(address)
        assert answer.headers["content-type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF")
    assert "cannot be read" in browser.get("/blades").text


def test_every_address_of_the_saws_needs_a_right(browser):
    for route in SAW_ROUTES:
        for method in route.methods - {"HEAD"}:
            assert NEEDS[f"{method} {route.path}"] == ("look" if method == "GET" else "record")


def test_the_bench_is_told_of_the_saws_with_every_sheet_and_all_news(browser, floor):
    floor.fit()
    floor.sign()
    told = browser.get("/bench/SM-01/2.json").json()
    ready, manual, splitter = told["saws"]
    assert (ready["saw"], ready["stops"], ready["kinds"]) == ("A-1", [], ["saw", "automatic"])
    assert ready["until"] == "2031-05-05T00:00:00.000Z"
    assert [stop["code"] for stop in manual["stops"]] == ["no_blade", "no_card"]
    assert all(stop["what"] and stop["do"] for stop in manual["stops"])
    assert manual["until"] is None
    assert splitter["kinds"] == ["splitter"]
    assert {row["saw_need"] for row in told["rows"]} >= {"", "automatic"}
    floor.sign(guard="failed")
    news = browser.get("/bench/events", params={"hole": "SM-01", "tray": 2, "since": 0}).json()
    assert [stop["code"] for stop in news["saws"][0]["stops"]] == ["tagged_out"]


def test_a_yard_that_asks_for_no_card_is_not_held_up(browser, floor):
    floor.rules(RULES + "[saws]\ncard_needed = false\n")
    floor.fit()
    (ready, *_) = browser.get("/bench/SM-01/2.json").json()["saws"]
    assert (ready["stops"], ready["until"]) == ([], None)
    assert floor.now > MORNING
