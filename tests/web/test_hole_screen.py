"""Hole: facts, run table with findings beside the row, depth strip."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from web_yard import MARKUP


def strip_of(text: str) -> ElementTree.Element:
    found = re.search(r'<svg class="depth-strip".*?</svg>', text, re.DOTALL)
    return ElementTree.fromstring(found[0])


def test_the_run_table_shows_loss_recovery_rqd_and_fractures(browser):
    text = browser.get("/hole/SM-01").text
    row = re.search(r'<tr id="run-5".*?</tr>', text, re.DOTALL)[0]
    cells = [cell.strip() for cell in re.findall(r"<td[^>]*>([^<]*)", row)]
    # advance 3, recovered 2.5, loss 0.5, no gain, 83 %, closure -0.5, RQD 2.4/3, 9 fractures on 2.5 m
    assert cells[2:12] == ["3.00", "2.50", "0.50", "–", "83", "83", "-0.50", "80", "good", "3.6"]


def test_a_finding_stands_beside_its_run(browser):
    text = browser.get("/hole/SM-02").text
    row = re.search(r'<tr id="run-2".*?</tr>', text, re.DOTALL)[0]
    assert "■</span> stop" in row
    assert "Compare both blocks" in row


def test_a_run_that_cannot_be_right_has_no_figures(browser):
    text = browser.get("/hole/SM-02").text
    assert "no figures until this run is settled" in text


def test_the_depth_strip_draws_to_scale(browser):
    strip = strip_of(browser.get("/hole/SM-01").text)
    left, wide, band = (float(strip.get(f"data-{name}")) for name in ("left-px", "plot-px", "band-mm"))
    loss = next(e for e in strip.iter("g") if e.get("class") == "lost").find("rect")
    assert float(loss.get("x")) == round(left + 13_200 / band * wide, 1)
    assert float(loss.get("width")) == round(500 / band * wide, 1)


def test_the_depth_strip_leads_to_every_tray(browser):
    strip = strip_of(browser.get("/hole/SM-01").text)
    links = [link.get("href") for link in strip.iter("a")]
    assert len(links) == 6
    assert links[2] == "/hole/SM-01/trays?depth=10.00+m#found"
    assert "tray 3, row 1, 0 cm" in browser.get(links[2]).text


def test_the_strip_shows_samples_and_controls_once_planned(planned, yard):
    strip = strip_of(planned.get("/hole/SM-01").text)
    shapes = [e.get("class") for e in strip.iter("g") if (e.get("class") or "").startswith("control ")]
    rows = yard.sheet().rows
    assert len(shapes) == sum(row.kind != "sample" for row in rows)
    titles = {e.text for e in strip.iter("title")}
    assert all(any(row.number in title for title in titles) for row in rows if row.kind == "sample")


def test_the_line_is_drawn_solid_and_dashed_as_marked(browser):
    strip = strip_of(browser.get("/hole/SM-01").text)
    lines = {e.find("title").text: e for e in strip.iter("path") if e.find("title") is not None}
    assert lines["line solid from 3.00 m"].get("stroke-dasharray") is None
    assert lines["line dashed from 9.00 m"].get("stroke-dasharray") is not None


def test_markup_in_names_stays_text(browser):
    for address in ("/", "/hole/SM-01", "/hole/SM-01/trays"):
        text = browser.get(address).text
        assert MARKUP not in text
        assert "Yard <script>" not in text
        assert "Yard &lt;script&gt;" in text
    assert "&lt;script&gt;alert(" in browser.get("/hole/SM-01").text


def test_a_hole_with_a_slash_in_its_name_is_reached(browser):
    assert "/hole/SM~03" in browser.get("/").text
    assert browser.get("/hole/SM~03").status_code == 200
    assert browser.get("/hole/SM~03/trays").status_code == 200


def test_an_unknown_hole_is_answered_in_words(browser):
    for address in ("/hole/SM-99", "/hole/SM-99/trays", "/hole/SM-99/sheet", "/hole/SM-99/paper/tray-sheet.pdf"):
        answer = browser.get(address)
        assert answer.status_code == 404
        assert "SM-99" in answer.text
        assert "What to do" in answer.text


def test_a_yard_in_feet_shows_feet(browser, yard):
    yard.set_rules('[paper]\nlength_unit = "ft"\nmass_unit = "lb"\n')
    text = browser.get("/hole/SM-01").text
    assert "98.43 ft" in text  # 30 m / 0.3048
    assert "Lengths and depths in ft" in text
