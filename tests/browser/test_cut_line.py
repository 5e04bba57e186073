"""The cut line in a real browser: set by a geologist with the keyboard alone, and told to the tablet at the saw at once."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from tests.browser.bench_server import PLACE, Server, do_next, issue, rows_of, start_tray, stored

from trayside.app.cut_register import CutLine, set_cut_line
from trayside.app.office_acts import Desk, Signer

pytestmark = pytest.mark.browser


def uuid7(number: int) -> str:
    return f"01890000-0000-7000-8000-{number:012x}"


@pytest.fixture
def signed(yard):
    """The yard with ids that the ledger takes."""
    yard.make_id = lambda: uuid7(next(yard.ids))
    return yard


def set_half_turned(yard) -> None:
    desk = Desk(Signer("Ada Vale", "desk"), lambda: datetime.now(UTC), yard.make_id)
    line = CutLine(0, 30_000, 30.0, 30.0, "right", "vein apex", "")
    set_cut_line("SM-01", lines=[line], reason="vein runs along the line", desk=desk, start_work=yard.start_work)


def test_a_cut_line_set_meanwhile_stops_the_saw_and_brings_the_new_order(chromium, signed, tmp_path):
    issue(signed)
    server = Server(signed, tmp_path)
    server.start()
    context = chromium.new_context(base_url=server.address, viewport={"width": 1024, "height": 768})
    try:
        page = context.new_page()
        page.set_default_timeout(20_000)
        page.goto(PLACE)
        start_tray(page)
        set_half_turned(signed)
        page.wait_for_selector(".signal-stop")
        assert "set the cut line of SM-01 anew" in page.locator(".stop-what").inner_text()
        page.get_by_role("button", name="Load it again").click()
        page.wait_for_selector(".signal-stop", state="detached")
        assert do_next(page, rows_of(page)) == "step-wash"
        page.locator(".blade").get_by_text("Cut line: 12 mm clockwise of the orientation line").wait_for()
        blades = [row["blade"] for row in stored(page, "sheets")[0]["paper"]["rows"] if row["kind"] == "sample"]
        assert any(one.startswith("Cut line: 12 mm clockwise") for one in blades)
    finally:
        context.close()
        server.stop()


def test_a_geologist_sets_a_stretch_by_keyboard_and_reads_it_back(signed, open_page):
    page = open_page("/hole/SM-01/cut")
    page.locator("#register > summary").focus()
    page.keyboard.press("Enter")
    for label, typed in (("From", "5"), ("to", "16"), ("Cut line at its top", "12 mm"), ("Reason", "fault gouge")):
        page.locator("#register").get_by_label(label, exact=True).fill(typed)
    page.locator("#set-name").fill("Ada Vale")
    page.locator("#register").get_by_role("button", name="Set", exact=True).focus()
    page.keyboard.press("Enter")
    page.get_by_text("Draw the cut line 12 mm clockwise of the orientation line.").first.wait_for()
    assert page.locator("table.orders").first.get_by_text("fault gouge").is_visible()
    unlabelled = page.locator("main input:visible, main select:visible").evaluate_all(
        "all => all.filter(one => !one.labels || !one.labels.length).map(one => one.name)"
    )
    assert unlabelled == []


def test_no_part_of_the_screen_is_wider_than_a_small_window(signed, open_page):
    page = open_page("/hole/SM-01/cut")
    page.set_viewport_size({"width": 700, "height": 900})
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    wide, seen = page.evaluate("[document.documentElement.scrollWidth, document.documentElement.clientWidth]")
    assert wide <= seen
