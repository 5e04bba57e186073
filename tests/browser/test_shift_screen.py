"""Planning a shift in a real browser: plan it, stop a saw, see what changed; nothing is cut off."""

import re

import pytest
from tests.browser.bench_server import issue

pytestmark = pytest.mark.browser


@pytest.fixture
def page(yard, open_page):
    issue(yard)
    return open_page("/shift")


def test_plan_a_shift_then_a_saw_stops(page, yard):
    page.get_by_label("Lorry is loaded at").fill("15:00")
    page.get_by_label("On the lorry SM-01").check()
    page.get_by_label("Operator at SAW-1").fill("Demo operator")
    page.get_by_label("Your name").fill("Demo lead")
    page.get_by_role("button", name="Plan the shift").click()
    page.wait_for_url(re.compile(r"/shift/id-\d+$"))
    assert "% better than first come, first served" in page.locator(".beats").inner_text()
    with yard.start_work(writing=False) as work:
        plan = work.shifts.newest()
    drawn = page.locator(".shift-plan .tray-planned")
    assert drawn.count() == len(plan.lines) > 0
    box, frame = page.locator(".shift-plan").bounding_box(), page.locator(".strip-frame").bounding_box()
    assert frame["x"] <= box["x"]
    assert box["x"] + box["width"] <= frame["x"] + frame["width"] + 1
    assert page.locator(".saw-lane").count() == 2
    assert page.locator(".shift-lorry").count() == 1

    page.get_by_text("A saw stopped: plan again").click()
    stop = page.locator("#stop")
    stop.get_by_label("Saw").select_option("SAW-2")
    stop.get_by_label("Your name").fill("Demo lead")
    stop.get_by_role("button", name="Plan again").click()
    page.wait_for_url(re.compile(r"/shift/id-\d+#changed$"))
    assert "SAW-2 stopped at 07:30" in page.locator("#changed").inner_text()
    assert page.locator('.saw-lane[data-saw="SAW-2"] .tray-planned').count() == 0
    assert page.locator(".saw-stopped").count() == 1
    assert page.locator('.saw-lane[data-saw="SAW-1"] .tray-planned').count() > 0


def test_the_page_fits_a_tablet_and_works_by_keyboard(page):
    page.get_by_label("Your name").fill("Demo lead")
    page.get_by_label("Your name").press("Enter")
    page.wait_for_url(re.compile(r"/shift/id-\d+$"))
    page.set_viewport_size({"width": 800, "height": 1100})
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
