"""Trays: pictures a page at a time, and every depth gets an answer."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

SVG = "{http://www.w3.org/2000/svg}"


def answer_to(browser, typed: str) -> str:
    text = browser.get("/hole/SM-01/trays", params={"depth": typed}).text
    return re.search(r'<p class="(?:answer|refusal)[^>]*>(.*?)</p>', text, re.DOTALL)[1]


@pytest.mark.parametrize("typed", ["7.25", "7.25 m", "7,25", " 7.25m ", "23.786 ft", "23.786 feet"])
def test_a_depth_typed_is_found(browser, typed):
    assert answer_to(browser, typed).startswith("7.25 m: tray 2, row 3, 15 cm")  # 7.25 - 5 - two rows of 1.05


def test_the_place_is_marked_in_the_picture(browser):
    text = browser.get("/hole/SM-01/trays", params={"depth": "7.25"}).text
    figure = re.search(r'<figure class="tray" id="found">(.*?)</figure>', text, re.DOTALL)[1]
    picture = ElementTree.fromstring(figure)
    assert picture.get("data-tray") == "2"
    channel = picture.find(f".//{SVG}g[@data-row='3']/{SVG}rect[@class='tray-channel']")
    line = picture.find(f".//{SVG}path[@class='spot-line']").get("d")
    marked_px = float(re.match(r"M([\d.]+),", line)[1])
    expected_px = float(channel.get("x")) + 150 * float(picture.get("data-px-per-mm"))
    assert marked_px == pytest.approx(expected_px, abs=0.11)


def test_a_loss_is_answered_with_its_depths(browser):
    said = answer_to(browser, "13.5")
    assert "no core here, it is in the loss 13.20–13.70 m of run 5" in said


def test_depths_outside_the_hole_are_answered(browser):
    assert "lies below the last run, which ends at 30.00 m" in answer_to(browser, "45")


def test_the_sample_at_a_depth_is_named(planned, yard):
    row = next(row for row in yard.sheet().rows if row.kind == "sample")
    assert f"Sample {row.number}" in answer_to(planned, f"{(row.from_mm + 10) / 1000}")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("deep", "is not a depth"),
        ("-3", "is not a depth"),
        ("nan", "is not a depth"),
        ("1e309", "is not a depth"),
        ("99999", "deeper than any hole"),
        ("12 fathoms", "unit that is not known"),
        ("1,234", "can be read in two ways"),
        ("<script>", "is not a depth"),
    ],
)
def test_what_is_no_depth_is_refused_in_words(browser, typed, said):
    answer = browser.get("/hole/SM-01/trays", params={"depth": typed})
    assert answer.status_code == 422
    assert said in answer.text
    assert "<script>&#39;" not in answer.text
    assert "Type" in answer.text


def test_a_page_of_trays_that_is_not_there_is_said_so(browser):
    assert browser.get("/hole/SM-01/trays?page=2").status_code == 404
    assert browser.get("/hole/SM-01/trays?page=x").status_code == 404


def test_only_a_page_of_trays_is_drawn(browser, monkeypatch):
    monkeypatch.setattr("trayside.web.trays_screen.TRAYS_A_PAGE", 4)
    first, second = browser.get("/hole/SM-01/trays").text, browser.get("/hole/SM-01/trays?page=2").text
    assert first.count('class="tray-picture"') == 4
    assert second.count('class="tray-picture"') == 2
    assert 'id="found"' in browser.get("/hole/SM-01/trays?depth=27.5").text  # the page with the depth comes by itself


def test_no_inline_style_or_script_is_needed(planned):
    for address in ("/", "/hole/SM-01", "/hole/SM-01/trays?depth=7.25", "/hole/SM-01/sheet"):
        text = planned.get(address).text
        assert not re.search(r"<[^>]+\sstyle=", text)
        assert not re.search(r"<[^>]+\son[a-z]+=", text)
        assert not re.search(r"<script(?![^>]*\bsrc=)", text)
        assert "<style" not in text
