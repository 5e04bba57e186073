"""The safety form in a real browser: typed, worked out without saving, saved, corrected; nothing wider than the window."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser


def fits(page) -> bool:
    return page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_a_shift_is_entered_tried_saved_and_corrected(open_page):
    page = open_page("/safety")
    page.get_by_label("Person").fill("Demo operator")
    page.get_by_role("button", name="Open").last.click()
    page.wait_for_url("**/edit")
    page.get_by_label("Noise 1, What").fill("sawing")
    page.get_by_label("Noise 1, Level, dBA").fill("97")
    page.get_by_label("Noise 1, Hours").fill("5")
    page.get_by_label("Noise 1, Hours").press("Enter")  # Enter works it out and stores nothing
    page.get_by_text("Not saved.").wait_for()
    assert page.get_by_label("Noise 1, Level, dBA").input_value() == "97"
    page.get_by_text("What trays and sacks weigh here").click()
    page.get_by_role("button", name="tray from the floor to the saw table").first.click()
    page.wait_for_function("document.querySelector('[name=\"lift.0.load\"]').value !== ''")
    page.get_by_label("Lifting 1, Lifts a minute").fill("0.2")
    page.get_by_label("Lifting on end for").fill("1")
    page.get_by_label("then lighter work for").fill("1")
    page.get_by_label("Your name").fill("Demo operator")
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/Demo%20operator")
    assert page.locator(".headline").inner_text().startswith("■ Above a limit: Noise")
    assert fits(page)
    page.get_by_role("link", name="Change or add").click()
    page.get_by_label("Noise 1, Level, dBA").fill("94")
    page.get_by_label("Your name").fill("Demo operator")
    page.get_by_role("button", name="Save", exact=True).click()
    page.get_by_text("no reason is given").wait_for()
    page.get_by_label("Why something said before is changed").fill("the meter was read again")
    page.get_by_role("button", name="Save", exact=True).click()
    page.wait_for_url("**/Demo%20operator")
    assert page.locator("table.changed s").inner_text() == "97"


def test_the_form_and_the_result_fit_a_small_tablet(open_page):
    page = open_page("/safety/2031-05-04/Demo%20operator/edit")
    page.set_viewport_size({"width": 768, "height": 1024})
    assert fits(page)
    for name, text in (("what", "sawing"), ("level", "97"), ("hours", "5")):
        page.locator(f'[name="noise.0.{name}"]').fill(text)
    page.get_by_role("button", name="Work it out").click()
    page.get_by_text("Not saved.").wait_for()
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
    assert fits(page)
