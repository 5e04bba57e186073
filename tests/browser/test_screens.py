"""The screens in a real browser: find a depth, read a picture, drag a boundary, save, be told, issue, print."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

pytestmark = pytest.mark.browser

SHEET = "/hole/SM-01/sheet"


def samples(yard):
    return [row for row in yard.sheet().rows if row.kind == "sample"]


def movable(yard) -> int:
    """A boundary two samples share, away from any contact."""
    rows = samples(yard)
    return next(a.to_mm for a, b in pairwise(rows)
                if a.to_mm == b.from_mm and a.bottom_reason == "whole metre" and b.to_mm - b.from_mm > 600)  # fmt: skip


def drag(page, at_mm: int, by_px: float) -> None:
    reach = page.locator(f'.edge[data-at-mm="{at_mm}"] .edge-reach')
    reach.scroll_into_view_if_needed()
    box = reach.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by_px / 2, y, steps=3)
    page.mouse.move(x + by_px, y, steps=3)
    page.mouse.up()


def test_a_depth_typed_is_found_and_marked(open_page):
    page = open_page("/hole/SM-01/trays")
    page.get_by_label("Depth").fill("7.25")
    page.get_by_role("button", name="Find").click()
    page.wait_for_url("**/trays?depth=7.25#found")
    assert "tray 2, row 3, 15 cm" in page.locator("#told").inner_text()
    spot = page.locator("#found .spot-line").bounding_box()
    assert 0 <= spot["y"] <= 900  # brought into view
    channel = page.locator("#found [data-row='3'] .tray-channel").bounding_box()
    assert (spot["x"] + spot["width"] / 2 - channel["x"]) / channel["width"] == pytest.approx(15 / 105, abs=0.01)


def test_a_click_on_a_picture_tells_the_depth(open_page):
    page = open_page("/hole/SM-01/trays")
    drawn = page.locator('[data-tray="3"] [data-row="2"] .tray-channel')
    drawn.scroll_into_view_if_needed()
    channel = drawn.bounding_box()
    page.mouse.click(channel["x"] + channel["width"] * 40 / 105, channel["y"] + channel["height"] / 2)
    told = page.locator("#told").inner_text()
    place = re.search(r"tray 3, row 2, (\d+) cm: ([\d.]+) m", told)
    assert int(place[1]) == pytest.approx(40, abs=1)
    assert float(place[2]) == pytest.approx(10 + 1.05 + 0.40, abs=0.01)  # 10 m at the tray's start, one full row


def test_a_click_on_the_depth_strip_opens_the_tray(open_page):
    page = open_page("/hole/SM-01")
    strip = page.locator(".depth-strip").bounding_box()
    scale = strip["width"] / 1212
    page.mouse.click(strip["x"] + (74 + 1126 * 0.5) * scale, strip["y"] + 75 * scale)  # half way down, on the rock
    page.wait_for_url("**/trays?depth=*")
    assert "15.0" in page.locator("#told").inner_text()


def test_a_boundary_dragged_shows_everything_downstream_before_it_is_saved(open_page, yard):
    at = movable(yard)
    page = open_page(SHEET)
    low = page.locator(f'#rows tr[data-to-mm="{at}"] td.n').last.inner_text()
    drag(page, at, 0.064 * 150)  # 15 cm
    page.wait_for_selector("#changes li")
    moved = int(page.locator("tr.news input[data-end=bottom]").first.get_attribute("data-at-mm"))
    assert abs(moved - at - 150) <= 20
    row = page.locator(f'#rows tr[data-to-mm="{moved}"]')
    assert row.locator("td.n").last.inner_text() != low  # its mass
    assert "by hand" in row.inner_text()
    assert yard.sheet().version == 1

    page.get_by_label("Your name").last.fill("Ada Vale")
    page.get_by_role("button", name="Save").click()
    page.wait_for_selector("text=last by Ada Vale")
    assert moved in {row.to_mm for row in samples(yard)}
    assert yard.sheet().version == 2


def test_a_boundary_moves_with_the_keyboard(open_page, yard):
    at = movable(yard)
    page = open_page(SHEET)
    page.locator(f'.edge[data-at-mm="{at}"]').focus()
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("ArrowLeft")
    page.wait_for_selector(f'.edge[data-at-mm="{at + 90}"]')
    assert page.evaluate("document.activeElement.dataset.atMm") == str(at + 90)
    assert page.evaluate("document.activeElement.getAttribute('aria-valuetext')") == f"{(at + 90) / 1000:.2f} m"


def test_typing_in_a_row_and_a_refusal_that_is_put_back(open_page, yard):
    at = movable(yard)
    page = open_page(SHEET)
    box = page.locator(f'input.depth[data-at-mm="{at}"][data-end=bottom]')
    box.fill(f"{(at + 100) / 1000} m")
    box.press("Enter")
    page.wait_for_selector(f'input.depth[data-at-mm="{at + 100}"]')
    again = page.locator(f'input.depth[data-at-mm="{at + 100}"][data-end=bottom]')
    again.fill("29")
    again.press("Enter")
    page.wait_for_selector("#problem:not([hidden])")
    assert "would vanish" in page.locator("#problem").inner_text()
    assert again.input_value() == f"{(at + 100) / 1000:.2f}"


def test_split_then_undo_leaves_nothing_to_save(open_page):
    page = open_page(SHEET)
    rows = page.locator("#rows tr").count()
    page.get_by_role("button", name="Split sample").first.click()
    page.wait_for_selector("#pending:not([hidden])")
    assert page.locator("#rows tr").count() > rows
    page.get_by_role("button", name="Undo the last").click()
    page.wait_for_selector("#pending", state="hidden")
    assert page.locator("#rows tr").count() == rows


def test_the_second_person_is_told_and_keeps_the_change(open_page, yard):
    at, last = movable(yard), samples(yard)[-1]
    first, second = open_page(SHEET), open_page(SHEET)
    second.get_by_role("button", name=f"Drop sample {last.number}").click()
    second.wait_for_selector("#changes li")

    drag(first, at, 0.064 * 150)
    first.wait_for_selector("#changes li")
    first.get_by_label("Your name").last.fill("Ada")
    first.get_by_role("button", name="Save").click()
    first.wait_for_selector("text=last by Ada")

    second.get_by_label("Your name").last.fill("Ben")
    second.get_by_role("button", name="Save").click()
    second.wait_for_selector("text=Somebody saved first")
    assert f"sample from {last.from_mm / 1000:.2f} m dropped" in second.locator("section").first.inner_text()
    assert "is new" in second.locator("section").last.inner_text()
    second.get_by_role("button", name="Make my changes on the newer plan").click()
    second.wait_for_selector("#changes li")
    second.get_by_role("button", name="Save").click()
    second.wait_for_selector("text=last by Ben")
    assert last.from_mm not in {row.from_mm for row in samples(yard)}
    assert at not in {row.to_mm for row in samples(yard)}


def test_a_preview_against_a_newer_plan_offers_to_see_both(open_page, yard):
    at = movable(yard)
    first, second = open_page(SHEET), open_page(SHEET)
    first.get_by_role("button", name="Split sample").first.click()
    first.wait_for_selector("#changes li")
    first.get_by_label("Your name").last.fill("Ada")
    first.get_by_role("button", name="Save").click()
    first.wait_for_selector("text=last by Ada")
    box = second.locator(f'input.depth[data-at-mm="{at}"][data-end=bottom]')
    box.fill(f"{(at + 100) / 1000}")
    box.press("Enter")
    second.get_by_role("button", name="See both").click()
    second.wait_for_selector("text=Somebody saved first")
    assert (
        f"boundary {at / 1000:.2f} m moved to {(at + 100) / 1000:.2f} m" in second.locator("section").first.inner_text()
    )


def test_a_sheet_is_issued_and_printed(open_page, yard):
    page = open_page(SHEET)
    page.locator("summary", has_text="Issue").click()
    page.locator("#issue-name").fill("Ada Vale")
    page.get_by_label("Statement").fill("every line looked at")
    page.get_by_role("button", name="Issue revision 1").click()
    page.wait_for_url(f"**{SHEET}/1")
    assert "Issued by Ada Vale" in page.locator("main").inner_text()
    page.goto(SHEET)
    page.locator("summary", has_text="Papers").click()
    for name in ("cut sheet, revision 1", "tray marking-up sheet", "labels 50 × 30 mm", "A4, 3 × 8"):
        link = page.get_by_role("link", name=name).get_attribute("href")
        paper = page.request.get(link)
        assert paper.status == 200
        assert paper.body().startswith(b"%PDF-")


def test_everything_works_by_typing_without_a_script(open_page, yard):
    at = movable(yard)
    page = open_page(SHEET, java_script_enabled=False)
    assert not page.locator(".acts").first.is_visible()
    page.locator("summary", has_text="Change by typing").click()
    page.get_by_label("Boundary at").fill(f"{at / 1000}")
    page.locator("#typed-move_to").fill(f"{at / 1000 + 0.1}")
    page.get_by_role("button", name="Move").click()
    page.wait_for_selector("#changes li")
    page.get_by_label("Your name").last.fill("Cid")
    page.get_by_role("button", name="Save").click()
    page.wait_for_selector("text=last by Cid")
    assert at + 100 in {row.to_mm for row in samples(yard)}


@pytest.mark.parametrize("width", [768, 1280])
@pytest.mark.parametrize(
    "path", ["/", "/hole/SM-01", "/hole/SM-01/trays?depth=7", SHEET, "/hole/SM-02/sheet", "/hole/none"]
)
def test_no_page_is_wider_than_the_window_and_every_control_has_a_name(open_page, path, width):
    page = open_page(path)
    page.set_viewport_size({"width": width, "height": 900})
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    unnamed = page.evaluate(
        """[...document.querySelectorAll('input:not([type=hidden]), textarea, button, [role=slider]')]
           .filter((e) => !(e.labels?.length || e.getAttribute('aria-label') || e.textContent.trim()))
           .map((e) => e.outerHTML)"""
    )
    assert unnamed == []
