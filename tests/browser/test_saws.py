"""The saw and its card in a real browser: a failed card stops the bench, with and without network; a height changes the life."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from tests.browser.bench_server import PLACE, Server, all_sent, events_in_ledger, issue, start_tray
from tests.saw_floor import SawFloor
from web_yard import RULES

from trayside.app.bag_views import hole_bags

pytestmark = pytest.mark.browser

TABLET = {"width": 1024, "height": 768}
SHIFT = '[saws]\ncard_for = "shift"\nshift_h = 20\n'
"""Cards of a shift, so that a test at midnight is like any other."""


@pytest.fixture
def floor(yard):
    issue(yard)
    floor = SawFloor(yard, now=datetime.now(UTC))
    floor.rules(RULES + SHIFT)
    yard.make_id = floor.make_id
    return floor


@pytest.fixture
def server(floor, tmp_path):
    one = Server(floor.yard, tmp_path, clock=floor.clock)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def browsing(chromium, server):
    """Opens pages in contexts of their own; a script error fails the test."""
    made, faults = [], []

    def opening(path: str, *, viewport=TABLET):
        context = chromium.new_context(base_url=server.address, viewport=viewport)
        context.on("weberror", lambda error: faults.append(str(error.error)))
        made.append(context)
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto(path)
        return page

    yield opening
    for context in made:
        context.close()
    assert faults == []


def answer(office, saw: str, *, failed: str = "") -> None:
    """Everything is all right but one item, and the card is signed."""
    office.goto(f"/saws/{saw}/card")
    for item in office.locator(".card-item").all():
        worth = "failed" if item.get_attribute("data-item") == failed else "ok"
        item.locator(f"input[value={worth}]").check()
    office.locator("[name=signed_by]").fill("Demo operator")
    office.locator("#sign").click()
    office.wait_for_selector(".saw-state")


def stopped_for(page, words: str) -> None:
    page.wait_for_function(
        "(words) => document.querySelector('.saw-stop-list')?.textContent.toLowerCase().includes(words.toLowerCase())", arg=words
    )


def free_to_cut(page) -> None:
    page.wait_for_function(
        "() => !document.querySelector('.saw-stop') && document.getElementById('main')?.textContent === 'It is cut'"
    )


def choose(page, saw: str) -> None:
    page.locator("#main").click()
    page.locator(".saw-line", has_text=saw).click()


def test_an_unsigned_and_a_failed_card_stop_the_bench_until_it_is_put_right(floor, server, browsing):
    floor.fit()
    bench, office = browsing(PLACE), browsing("/saws", viewport={"width": 1280, "height": 900})
    start_tray(bench)
    stopped_for(bench, "is not one of the yard's saws")
    choose(bench, "A-1")
    bench.get_by_role("button", name="Washed").click()  # washing needs no blade
    stopped_for(bench, "No pre-start card was signed")
    assert bench.get_by_role("button", name="It is cut").count() == 0

    floor.later(minutes=1)
    answer(office, "A-1")
    assert "ready" in office.locator(".saw-state").inner_text()
    free_to_cut(bench)
    number = bench.locator("#number").inner_text()

    floor.later(minutes=1)
    answer(office, "A-1", failed="guard")
    assert "must not run" in office.locator(".saw-state").inner_text()
    stopped_for(bench, "tagged out by Demo operator")

    server.stop()  # the state that was known last counts, and says when it was known
    bench.wait_for_function("() => document.getElementById('saw-known')?.textContent.startsWith('No network')")
    bench.reload()
    stopped_for(bench, "tagged out by Demo operator")
    assert bench.get_by_role("button", name="It is cut").count() == 0
    server.start()

    floor.later(minutes=1)
    office.goto("/saws/A-1")
    office.locator("#release-reason").fill("guard bolted on again")
    office.locator("form[action$=release] [name=signed_by]").fill("Demo lead")
    office.get_by_role("button", name="Release it").click()
    office.wait_for_function("() => !document.getElementById('release-reason')")
    floor.later(minutes=1)
    answer(office, "A-1")
    free_to_cut(bench)
    bench.locator("#main").click()
    bench.wait_for_selector(".step-bag")
    all_sent(bench)
    (cut,) = [one.event for one in events_in_ledger(floor.yard) if one.event.kind == "cut"]
    assert (cut.object_id, cut.values["saw"]) == (number, "A-1")


def test_broken_core_is_not_cut_on_an_automatic_saw(floor, server, browsing):
    floor.rules(RULES.replace("[mass]", '[cut.method_by_condition]\nintact = "manual saw"\n[mass]') + SHIFT)
    from trayside.app.plan_samples import plan_samples

    plan_samples("SM-01", start_work=floor.yard.start_work, make_id=floor.yard.make_id)
    issue(floor.yard, version=floor.yard.sheet().version)
    floor.fit()
    floor.sign()
    floor.fit("M-1", "B-2")
    floor.sign("M-1")
    bench = browsing(PLACE)
    start_tray(bench)
    choose(bench, "A-1")
    bench.get_by_role("button", name="Washed").click()
    stopped_for(bench, "wedges a carriage")
    choose(bench, "M-1")
    free_to_cut(bench)


def test_a_new_height_changes_what_is_left_on_the_screen(floor, browsing):
    floor.fit()
    floor.sign()
    with floor.yard.start_work(writing=False) as work:
        rows = [bag.row for bag in hole_bags(work, "SM-01").bags if bag.row.kind == "sample"][:4]
    for row in rows:
        floor.cut(row, hole_id="SM-01")
    office = browsing("/saws/A-1", viewport={"width": 1280, "height": 900})
    before = office.locator(".saw-left").inner_text()
    assert office.locator("#changed").count() == 0
    office.get_by_text("Log a height", exact=True).click()
    office.locator("#heights").fill("9.7 9.6 9,8 9.7")
    office.locator("form[action$=height] [name=signed_by]").fill("Demo operator")
    office.get_by_role("button", name="Log it").first.click()
    office.wait_for_selector("#changed")
    after = office.locator(".saw-left").inner_text()
    assert after != before
    told = office.locator("#changed").inner_text()
    assert before.split(" m ")[0] in told
    assert after.split(" m ")[0] in told
    assert office.locator(".height-chart circle").count() == 1
