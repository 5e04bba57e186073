"""Charts in a real browser under the site's own policy: drawn, linked, usable by keyboard; each point opens its sample."""

from __future__ import annotations

import re
import shutil
import time
from pathlib import Path

import pytest
from playwright.sync_api import expect
from results_yard import write_results_yard
from tests.browser.bench_server import Server
from web_yard import Yard

from trayside.pages.chart_scripts import InstalledChartScripts
from trayside.web.services import Services
from trayside.web.site import build_site

pytestmark = pytest.mark.browser
DRAWN = 30_000
WIDTHS = "points => points.map((one) => one.getBoundingClientRect().width)"
SCRIPTS = InstalledChartScripts()


@pytest.fixture(scope="module")
def results_template(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("results")
    write_results_yard(folder)
    return folder / "yard.sqlite"


@pytest.fixture
def server(results_template, tmp_path):
    yard = Yard(Path(shutil.copy(results_template, tmp_path / "yard.sqlite")))
    server = Server(yard, tmp_path)
    server.site = build_site(
        Services(yard.start_work, yard.clock, yard.make_id, yard.papers, chart_scripts=SCRIPTS)
    )
    server.start()
    yield server
    server.stop()
    yard.engine.dispose()


@pytest.fixture
def open_page(chromium, server):
    """Opens a page; nothing may be written to its console, least of all that the policy forbade something."""
    contexts, said = [], []

    def opening(path: str, **settings):
        context = chromium.new_context(
            base_url=server.address, viewport={"width": 1280, "height": 900}, reduced_motion="reduce", **settings
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(DRAWN)
        page.on("pageerror", lambda error: said.append(str(error)))
        page.on("console", lambda line: said.append(line.text) if line.type in ("error", "warning") else None)
        page.goto(path)
        return page

    yield opening
    for context in contexts:
        context.close()
    assert said == []


def figure(page, name: str):
    found = page.locator(f"#figure-{name}")
    found.scroll_into_view_if_needed()
    expect(found).to_have_attribute("data-drawn", "yes", timeout=DRAWN)
    return found


def widths_when(page, points, holds) -> None:
    """Waits until the widths of these points are as they should be: a choice is drawn a moment after it is made."""
    until = time.monotonic() + 20
    while not holds(widths := points.evaluate_all(WIDTHS)):
        assert time.monotonic() < until, widths
        page.wait_for_timeout(50)


def test_every_chart_of_an_element_is_drawn_when_it_comes_into_view(open_page):
    page = open_page("/results/element/Au")
    figures = page.locator("figure[data-chart]")
    count = figures.count()
    assert count >= 8
    for place in range(count):
        one = figures.nth(place)
        one.scroll_into_view_if_needed()
        expect(one).to_have_attribute("data-drawn", "yes", timeout=DRAWN)
        assert one.locator(".chart svg").count() == 1
    points = page.locator("#figure-blanks-blk .chart svg path[aria-roledescription=point]")
    expect(points).to_have_count(3)


def test_a_point_is_told_and_chosen_in_every_chart_and_opens_its_sample(open_page):
    page = open_page("/results/element/Au")
    blanks, carried = figure(page, "blanks-blk"), figure(page, "carry-over-laboratory")
    point = blanks.locator("path[aria-roledescription=point]").last
    point.click()
    link = blanks.locator(".chart-told a")
    expect(link).to_have_text("T1018")
    expect(blanks.locator(".chart-told")).to_contain_text("behind T1017")
    # Linked: the same number stands out in the other chart and in the tables.
    others = carried.locator("path[aria-roledescription=point]")
    widths_when(page, others, lambda widths: max(widths) > 1.5 * min(widths))
    assert page.locator("#figure-blanks-blk tr[data-number=T1018].picked").count() == 1
    link.click()
    page.wait_for_url("**/sample/T1018")
    expect(page.locator("h1")).to_have_text("Sample T1018")


def test_charts_are_walked_by_keyboard_and_let_go(open_page):
    page = open_page("/results/element/Au")
    blanks = figure(page, "blanks-blk")
    chart = blanks.locator(".chart")
    chart.focus()
    told = blanks.locator(".chart-told")
    page.keyboard.press("End")
    expect(told).to_contain_text("T1018")
    page.keyboard.press("ArrowLeft")
    expect(told).not_to_contain_text("T1018:")
    page.keyboard.press("Escape")
    expect(told).to_contain_text("arrow keys")
    page.keyboard.press("End")
    page.keyboard.press("Enter")
    page.wait_for_url("**/sample/T1018")


def test_a_batch_chosen_is_marked_and_the_batch_page_leads_there(open_page):
    page = open_page("/results/CT-00003")
    page.get_by_role("link", name="Charts of Au").click()
    expect(page.locator("#pick-batch")).to_have_value("CT-00003")
    blanks = figure(page, "blanks-blk")
    points = blanks.locator("path[aria-roledescription=point]")
    expect(points).to_have_count(3)  # the first two are of the other batch
    widths_when(page, points, lambda widths: widths[2] > 1.5 * max(widths[:2]))
    page.locator("#pick-batch").select_option("CT-00002")
    widths_when(page, points, lambda widths: min(widths[:2]) > 1.5 * widths[2])


def test_every_chart_says_what_it_shows_to_those_who_do_not_see_it(open_page):
    page = open_page("/results/element/Au")
    for chart in page.locator("figure[data-chart] .chart").all():
        assert chart.get_attribute("aria-label")
        described = page.locator(f"#{chart.get_attribute('aria-describedby')}")
        assert described.inner_text().endswith(".")
        assert chart.get_attribute("tabindex") == "0"
    table = page.locator("#figure-blanks-blk details.as-table")
    table.locator("summary").focus()
    page.keyboard.press("Enter")
    table.get_by_role("link", name="T1018").click()
    page.wait_for_url("**/sample/T1018")


def test_the_verdict_is_signed_on_its_page(open_page):
    page = open_page("/results")
    page.get_by_role("link", name="J-2").click()
    expect(page.locator("h1")).to_have_text("Batch J-2")
    page.get_by_text("Sign the verdict").click()
    expect(page.locator("#sign-word")).to_have_value("re-assay")
    expect(page.locator("#sign-element option")).to_have_count(2)


def test_a_design_is_played_and_drawn(open_page):
    page = open_page("/results/design?size=5&campaigns=500")
    for name in ("design-curve", "design-rates"):
        drawn = figure(page, name)
        assert drawn.locator(".chart svg path[aria-roledescription='line mark']").count() >= 2
    expect(page.locator(".recommended")).to_contain_text("within a month")


@pytest.mark.parametrize("width", [1280, 768])
@pytest.mark.parametrize(
    "address", ["/results", "/results/CT-00003", "/results/element/Au", "/results/design?size=5", "/sample/T1018",
     "/hole/SM-01/assays"]
)
def test_no_screen_runs_out_of_its_window(open_page, address, width):
    page = open_page(address)
    page.set_viewport_size({"width": width, "height": 900})
    if "element" in address:
        figure(page, "control-std-l")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert not re.search(r"undefined|\bNone\b(?! was taken)|\{\{", page.locator("main").inner_text())
