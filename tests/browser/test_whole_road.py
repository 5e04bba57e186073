"""One tray of the demo yard from the saw to the laboratory, through the real screens in Chromium, the network cut on the way.

Planned and issued on the Sheet screen; staged, cut, bagged, weighed, photographed and closed at the bench; packed, sealed,
sent and handed over on the Loads screens; its received list uploaded and confirmed; its kept core put into the rack.
"""

from __future__ import annotations

import io
import os
import sys
import time
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest
from PIL import Image, ImageDraw
from playwright.sync_api import Error as BrowserError
from tests.browser.bench_server import (
    Server,
    all_sent,
    choose_saw,
    do_next,
    events_in_ledger,
    rows_of,
    step_of,
    stored,
    tray_is_here,
)
from tests.saw_floor import make_ready

sys.path.insert(0, str(Path(__file__).parents[1] / "journeys"))  # for floor.py, the demo yard

from floor import FOLDER, Yard

from trayside.app.custody import custody_of
from trayside.app.identity import uuid7
from trayside.app.load_view import view_load
from trayside.app.load_yard import load_yard
from trayside.app.people import add_person
from trayside.app.retained_core import kept_core
from trayside.app.verify_ledger import verify_store
from trayside.files.yard_folder import read_yard_folder
from trayside.pages.papers import TypstPapers
from trayside.store.secrets_argon2 import Argon2Secrets

pytestmark = [pytest.mark.browser, pytest.mark.slow]

HOLE, TRAY = "VR-02", 14
PIN = "193746"
TABLET = {"width": 1024, "height": 768}
OFFICE = {"width": 1280, "height": 900}
PICTURES = os.environ.get("TRAYSIDE_PICTURES")
"""A folder for a picture of every step, for people who want to look at them."""


class DemoYard(Yard):
    """The demo yard by the clock on the wall, with papers."""

    papers = TypstPapers()

    def clock(self) -> datetime:
        return datetime.now(UTC)

    def make_id(self) -> str:
        return uuid7(milliseconds=time.time_ns() // 1_000_000, random_bytes=os.urandom(10))


@pytest.fixture
def demo(tmp_path):
    yard = DemoYard(tmp_path / "demo.sqlite")
    load_yard(FOLDER, read_folder=read_yard_folder, start_work=yard.start_work)
    secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)
    for name, role in (("Demo lead", "lead"), ("Demo geologist", "geologist"), ("Demo operator", "operator")):
        add_person(name, role=role, pin=PIN, start_work=yard.start_work, clock=yard.clock, make_id=yard.make_id,
                   secrets=secrets)  # fmt: skip
    make_ready(yard)
    server = Server(yard, tmp_path, secrets=secrets)
    server.start()
    yield yard, server
    server.stop()
    yard.engine.dispose()


def signed_in(context, name: str, path: str):
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"/sign-in?next={path}")
    page.locator("label.name", has_text=name).click()
    page.locator("#pin").fill(PIN)
    page.locator("button.go").click()
    page.wait_for_url(f"**{path}")
    return page


def look(page, name: str) -> None:
    if not PICTURES:
        return
    Path(PICTURES).mkdir(parents=True, exist_ok=True)
    size = page.viewport_size
    page.screenshot(path=f"{PICTURES}/{name}.png", full_page=True)
    page.set_viewport_size({"width": 768, "height": 1024})
    page.evaluate("document.documentElement.dataset.before = document.documentElement.dataset.look ?? ''")
    page.evaluate("if (document.getElementById('bench')) document.documentElement.dataset.look = 'night'")
    page.screenshot(path=f"{PICTURES}/{name}-768.png", full_page=True)
    page.evaluate("if (document.getElementById('bench')) document.documentElement.dataset.look = "
                  "document.documentElement.dataset.before")  # fmt: skip
    page.set_viewport_size(size)


def photograph() -> dict:
    picture = Image.new("RGB", (1600, 900), (196, 186, 170))
    pen = ImageDraw.Draw(picture)
    for row in range(5):
        pen.rectangle((60, 60 + row * 165, 1540, 190 + row * 165), fill=(142, 138, 130), outline=(60, 55, 48), width=4)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=92)
    return {"name": "VR-02 tray 14.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def count(page, name: str, number: int) -> None:
    page.locator(f"#{name}").click()
    for digit in str(number):
        page.locator(".pad .key", has_text=digit).first.click()
    page.locator("#main").click()


def local_time() -> str:
    return f"{datetime.now(UTC):%Y-%m-%d %H:%M}"


def plan_and_issue(office) -> None:
    office.goto(f"/hole/{HOLE}/sheet")
    office.get_by_role("button", name="Plan", exact=False).first.click()
    office.locator("#issue > summary").click()
    look(office, "01-sheet")
    office.locator("#issue-statement").fill("Looked at every finding; the tray may be cut.")
    office.locator("form.issuing button").click()
    office.wait_for_selector("text=/revision 1/i")
    look(office, "02-issued")


def cut_tray(context, server, yard) -> dict[str, dict]:
    """The tray at the bench, the network really gone twice: while cutting, and while the tray is closed."""
    page = signed_in(context, "Demo operator", f"/bench/{HOLE}/{TRAY}")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    look(page, "03-stage")
    tray_is_here(page)
    choose_saw(page, "SAW-1")
    all_sent(page)
    rows = rows_of(page)
    seen = set()

    def one_act() -> None:
        step = step_of(page)
        if step not in seen:
            seen.add(step)
            look(page, f"04-{step}")
        do_next(page, rows)

    for _ in range(6):
        one_act()
    all_sent(page)
    before = len(events_in_ledger(yard))

    context.set_offline(True)  # first cut: the tablet is out of reach and the yard's machine is off as well
    server.stop()
    for _ in range(8):
        one_act()
    look(page, "05-offline")
    assert "no network" in page.locator("#status").inner_text()
    page.close()
    page = context.new_page()
    page.set_default_timeout(30_000)
    page.goto(f"/bench/{HOLE}/{TRAY}")  # drawn from what the tablet holds
    one_act()
    assert len(events_in_ledger(yard)) == before
    server.start()
    context.set_offline(False)
    all_sent(page)
    assert len(events_in_ledger(yard)) == before + 9

    while step_of(page).startswith("step-"):
        one_act()
    all_sent(page)
    page.wait_for_selector(".masses")  # asked from the yard as soon as everything is sent
    assert "cannot be seen by mass" in page.locator(".masses").inner_text()
    look(page, "06-closing")
    server.stop()  # second cut: the yard's machine goes off while the tray is closed
    count(page, "bags", len(rows))
    count(page, "tickets", len(rows))
    page.locator("#photo").set_input_files(photograph())
    page.wait_for_function("() => !document.getElementById('main').disabled")
    look(page, "07-ready-to-close")
    page.locator("#main").click()
    page.wait_for_selector(".closed")
    assert [photo["state"] for photo in stored(page, "photos")] == ["waiting"]
    look(page, "08-closed-offline")
    server.start()
    all_sent(page)
    look(page, "09-closed")
    sent = [act["event"]["event_id"] for act in stored(page, "acts")]
    done = [one.event.event_id for one in events_in_ledger(yard) if one.event.object_type != "saw" or one.event.hole_id]
    assert done == sent  # everything once, in the order it was done; blade and card of the saw came before
    assert {one.standing for one in events_in_ledger(yard)} == {"stands"}
    assert stored(page, "photos") == []
    return rows


def pack_and_seal(office, server, bags: int) -> list[str]:
    office.goto("/loads")
    look(office, "10-waiting")
    assert office.locator("input[name=tray]").count() == 1  # the other trays have open bags
    office.get_by_role("button", name="Compare the ways").click()
    office.wait_for_selector("text=/tells? (the laboratory )?nothing/")
    look(office, "11-compared")
    office.get_by_role("button", name="List the sacks").click()
    office.wait_for_url("**/loads#sacks")
    look(office, "12-sacks")
    names = office.locator("table.sacks th[scope=row] a").all_inner_texts()
    listed = 0
    for place, name in enumerate(names):
        office.goto(f"/sacks/{name}")
        here = office.locator(".sack-numbers li").count()
        listed += here
        office.locator("#counted").fill(str(here))
        office.locator("#seal").fill(f"DS-{1000 + place}")
        office.locator("#gross").fill("15.40")
        look(office, f"13-sack-{place}")
        if place == 0:  # the network goes just as the form is sent, and the person sends it again
            server.stop()
            with pytest.raises(BrowserError):
                seal_into_the_void(office)
            server.start()
            office.goto(f"/sacks/{name}")
            office.locator("#counted").fill(str(here))
            office.locator("#seal").fill(f"DS-{1000 + place}")
            office.locator("#gross").fill("15.40")
        office.locator("form[action$='/seal'] button").click()
        office.wait_for_selector("text=/Sealed with/")
        look(office, f"14-sealed-{place}")
    assert listed == bags
    return names


def send(office) -> None:
    office.goto("/loads")
    office.locator("summary", has_text="New load").click()
    for field, text in (
        ("laboratory", "An invented laboratory"), ("methods", "fire assay 50 g\nfour-acid, 48 elements"),
        ("order_number", "PO-0815"), ("carrier", "A carrier"), ("hazard", "Quartz dust when the bags are opened."),
        ("returns", "Keep rejects and pulps 90 days, then ask."), ("instructions", "Tell us of any bag that came open."),
    ):  # fmt: skip
        office.locator(f"#request-{field}").fill(text)
    look(office, "15-new-load")
    office.get_by_role("button", name="Make the load").click()
    office.wait_for_url("**/loads/LD-0001")
    look(office, "16-load")
    office.locator("#statement").fill("Each warning was looked at; the bags were opened and are right.")
    office.get_by_role("button", name="Send the load").click()
    office.wait_for_selector("text=/Sent by Demo lead/")
    look(office, "17-sent")
    for name in ("dispatch-note", "sample-list"):
        paper = office.request.get(f"/loads/LD-0001/{name}.pdf")
        assert paper.body().startswith(b"%PDF")
        if PICTURES:
            Path(PICTURES, f"{name}.pdf").write_bytes(paper.body())


def hand_over(office, giver: str, taker: str, place: str) -> None:
    office.locator("summary", has_text="Enter a hand-over").click()
    assert office.locator("#custody-from_person").input_value() == giver
    office.locator("#custody-to_person").fill(taker)
    office.locator("#custody-place").fill(place)
    office.locator("#custody-at").fill(local_time())
    office.locator("#custody-offset").fill("+00:00")
    office.locator("form[action$='/hand-over'] input[name=seals][value=whole]").check()
    look(office, f"18-hand-over-{place.replace(' ', '-')}")
    office.get_by_role("button", name="Enter it").click()
    office.wait_for_selector(f"table.custody th:has-text('{taker}')")
    look(office, f"19-handed-over-{place.replace(' ', '-')}")


def receive(office, numbers: list[str], weighed_g: dict[str, int]) -> tuple[str, str]:
    """The laboratory's list with one number misread and one bag opened; the number as read, and as it was."""
    right = numbers[2]
    misread = right[:-1] + {"8": "B", "0": "O", "1": "I", "5": "S"}.get(right[-1], str((int(right[-1]) + 5) % 10))
    lines = ["number,mass_kg,condition"]
    for number in numbers:
        shown = misread if number == right else number
        lines.append(f"{shown},{weighed_g[number] * 0.985 / 1000:.3f},{'opened' if number == numbers[0] else ''}")
    office.locator("summary", has_text="The laboratory's received list").click()
    office.locator("#receipt-file").set_input_files(
        {"name": "received.csv", "mimeType": "text/csv", "buffer": "\n".join(lines).encode()}
    )
    office.locator("#receipt-job").fill("JOB-77")
    office.locator("#receipt-at").fill(local_time())
    office.locator("#receipt-offset").fill("+00:00")
    office.locator("form[action$='/received'] input[name=seals][value=whole]").check()
    look(office, "20-list")
    office.get_by_role("button", name="Compare", exact=True).click()
    office.wait_for_url("**/received/*")
    look(office, "21-compared")
    assert f"it is probably {right}" in office.locator("main").inner_text()
    office.locator(f"select[name='take:{misread}']").select_option(right)
    office.get_by_role("button", name="Compare with these").click()
    office.wait_for_selector("text=/0 missing, 0 not sent/")
    look(office, "22-settled")
    office.get_by_role("button", name="Confirm: this is what was received").click()
    office.wait_for_selector("text=/Confirmed by Demo lead/")
    look(office, "23-confirmed")
    return misread, right


def rack(office) -> None:
    office.goto(f"/hole/{HOLE}/kept")
    office.locator("summary", has_text="Place a tray in the rack").click()
    office.locator("#rack-tray").select_option(str(TRAY))
    for field, text in (("rack", "A"), ("shelf", "3"), ("position", "12")):
        office.locator(f"#rack-{field}").fill(text)
    look(office, "24-rack")
    office.get_by_role("button", name="It lies there").click()
    office.wait_for_selector("text=/A · 3 · 12/")
    look(office, "25-kept")


def seal_into_the_void(office) -> None:
    """Send the seal to a yard that does not answer."""
    office.locator("form[action$='/seal'] button").click()
    office.wait_for_url("**/never", timeout=2_000)


def test_a_tray_of_the_demo_yard_goes_from_the_saw_to_the_laboratory_and_everything_stands_once(chromium, demo):
    yard, server = demo
    faults: list[str] = []
    tablet = chromium.new_context(base_url=server.address, viewport=TABLET, has_touch=True)
    desk = chromium.new_context(base_url=server.address, viewport=OFFICE)
    for context in (tablet, desk):
        context.on("weberror", lambda error: faults.append(str(error.error)))
    try:
        plan_and_issue(signed_in(desk, "Demo geologist", f"/hole/{HOLE}/sheet"))
        rows = cut_tray(tablet, server, yard)
        desk.clear_cookies(name="trayside-session")
        office = signed_in(desk, "Demo lead", "/loads")
        sacks = pack_and_seal(office, server, len(rows))
        send(office)
        hand_over(office, "Demo lead", "Demo driver", "yard gate")
        hand_over(office, "Demo driver", "Laboratory desk", "laboratory door")
        weighed = {one.event.object_id: one.event.values["mass_g"] for one in events_in_ledger(yard)
                   if one.event.kind in ("weighed", "inserted") and one.event.object_type == "bag"
                   and "mass_g" in one.event.values}  # fmt: skip
        _, right = receive(office, sorted(rows), weighed)
        rack(office)
    finally:
        tablet.close()
        desk.close()
    assert faults == []

    ledger = events_in_ledger(yard)
    assert {one.standing for one in ledger} == {"stands"}
    kinds = Counter(one.event.kind for one in ledger)
    cores = [row for row in rows.values() if row["kind"] in ("sample", "duplicate")]
    assert kinds["staged"] == kinds["tray_closed"] == kinds["photo_attached"] == kinds["rack_placed"] == 1
    assert kinds["cut"] == kinds["bagged"] == len(cores)
    assert kinds["inserted"] == len(rows) - len(cores)
    assert kinds["sealed"] == len(rows)
    assert kinds["sack_sealed"] == kinds["loaded"] == len(sacks)
    assert kinds["handed_over"] == 2
    assert kinds["received"] == len(rows) + len(sacks) + 1
    assert len({one.event.event_id for one in ledger}) == len(ledger)
    assert verify_store(start_work=yard.start_work).whole
    with yard.start_work(writing=False) as work:
        view = view_load(work, "LD-0001")
        kept = kept_core(work, HOLE)
    assert {bag.state for bag in view.bags} == {"received"}
    assert custody_of(view).unbroken
    assert right in view.receipts[0].taken_as.values()
    assert str(kept.places[TRAY]) == "A · 3 · 12"
