"""A server for the bench tests that can be stopped and started again at the same address, and an operator with gloves on."""

from __future__ import annotations

import json
import socket
import threading
import time
from datetime import UTC, datetime

import uvicorn

from trayside.app.edit_sheet import Edit, save_edit
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.files.photo_check import check_photo
from trayside.files.received_list import read_received
from trayside.store.photo_files import PhotoFiles
from trayside.web.services import Services
from trayside.web.site import build_site

PLACE = "/bench/SM-01/2"


def issue(yard, *, version: int = 1) -> None:
    issue_cut_sheet(
        "SM-01", version=version, issued_by="Ada Vale", statement="", start_work=yard.start_work, clock=yard.clock
    )


def revise(yard) -> None:
    """Split the first sample of tray 2 and issue that as the next revision."""
    sheet = yard.sheet()
    row = next(row for row in sheet.rows if row.kind == "sample" and row.from_place.tray == 2)
    at_mm = (row.from_mm + row.to_mm) // 20 * 10
    save_edit(
        "SM-01", edits=(Edit("split", at_mm),), base_version=sheet.version, start_work=yard.start_work,
        make_id=yard.make_id, edited_by="Ada Vale",
    )  # fmt: skip
    issue(yard, version=yard.sheet().version)


def _now() -> datetime:
    return datetime.now(UTC)


class Server:
    """Serves the yard on one port of this machine, whenever it is up."""

    def __init__(self, yard, folder, *, scale=None, clock=None, secrets=None) -> None:
        self.site = build_site(
            Services(
                yard.start_work, clock or _now, yard.make_id, yard.papers, photos=PhotoFiles(folder / "photos"),
                check_photo=check_photo, scale=scale, secrets=secrets, read_received=read_received,
            )
        )  # fmt: skip
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port = free.getsockname()[1]
        self._server = self._thread = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        listening = socket.socket()
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(("127.0.0.1", self.port))
        listening.listen(64)
        config = uvicorn.Config(self.site, log_level="error", ws="none", lifespan="off", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]})
        self._thread.start()
        until = time.monotonic() + 20
        while not self._server.started and time.monotonic() < until:
            time.sleep(0.01)

    def stop(self) -> None:
        if self._server is not None:
            self._server.should_exit = True
            self._thread.join(timeout=20)
            self._server = None


def scan(page, code: str) -> None:
    """What a hand scanner does: keys within milliseconds of each other, then Enter."""
    page.evaluate(
        """(code) => { for (const key of [...code, "Enter"])
             document.body.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true})); }""",
        code,
    )


def start_tray(page, *, name: str = "Ben Ash") -> None:
    """Say who works here and that the tray is on the saw."""
    page.locator("#text").fill(name)
    page.locator("#main").click()
    tray_is_here(page)


def tray_is_here(page) -> None:
    page.get_by_role("button", name="This tray is here").click()
    page.wait_for_selector(".now:not(.step-stage)")


def choose_saw(page, saw: str) -> None:
    """Say at which saw of the register this tablet stands."""
    page.locator("#menu").click()
    page.locator("#saw").click()
    page.locator(".saw-line", has_text=saw).click()
    page.wait_for_selector(".now")


def step_of(page) -> str:
    page.wait_for_function("() => document.querySelector('.now, .closing, .closed') !== null")
    return page.evaluate(
        "(document.querySelector('.now') ?? document.querySelector('.closing, .closed')).className.replace('now ', '')"
    )


def type_mass(page, grams: int) -> None:
    for sign in f"{grams / 1000:.3f}":
        page.locator(".pad .key", has_text=sign).first.click()


def do_next(page, rows: dict[str, dict], *, grams: dict[str, int] | None = None) -> str:
    """One act of a careful operator; returns the step that was done."""
    step = step_of(page)
    number = page.locator("#number").inner_text()
    if step in ("step-bag", "step-insert"):
        scan(page, number)
    elif step == "step-weigh":
        type_mass(page, (grams or {}).get(number, rows[number]["expected_g"]))
        page.locator("#main").click()
    else:
        page.locator("#main").click()
    page.wait_for_function(
        """([step, number]) => { const now = document.querySelector('.now');
             return document.getElementById('signal').classList.contains('signal-stop') || !now
               || now.className !== 'now ' + step || document.getElementById('number').textContent !== number; }""",
        arg=[step, number],
    )
    return step


def another_number(page, number: str) -> None:
    """Wait until the screen is about another bag."""
    page.wait_for_function(
        """(number) => document.querySelector(".now")
             && document.getElementById("number").textContent !== number""",
        arg=number,
    )


def work_through(page, rows: dict[str, dict], **more) -> list[tuple[str, str]]:
    """Do everything up to closing; each (number, step) in order."""
    done = []
    while step_of(page).startswith("step-"):
        done.append((page.locator("#number").inner_text(), do_next(page, rows, **more)))
    return done


def rows_of(page) -> dict[str, dict]:
    """The rows of the sheet as they lie on the tablet."""
    sheet = stored(page, "sheets")[0]["paper"]
    return {row["number"]: row for row in sheet["rows"]}


def stored(page, store: str) -> list[dict]:
    """Everything in one of the tablet's stores, read past the page's own code."""
    text = page.evaluate(
        """(store) => new Promise((resolve, reject) => {
             const asking = indexedDB.open("trayside-bench");
             asking.onerror = () => reject(asking.error);
             asking.onsuccess = () => {
               const all = asking.result.transaction(store).objectStore(store).getAll();
               all.onsuccess = () => { asking.result.close();
                 resolve(JSON.stringify(all.result, (name, value) => (name === "blob" ? undefined : value))); };
             };
           })""",
        store,
    )
    return json.loads(text)


def all_sent(page, *, timeout_s: float = 30.0) -> None:
    """Wait until nothing waits on the tablet, and the screen says so."""
    until = time.monotonic() + timeout_s
    while any(one["state"] == "waiting" for name in ("acts", "photos") for one in stored(page, name)):
        assert time.monotonic() < until, page.locator("#status").inner_text()
        page.wait_for_timeout(50)
    page.wait_for_function("() => document.querySelector('#status .mark-ring') !== null")


def events_in_ledger(yard) -> list:
    with yard.start_work(writing=False) as work:
        return list(work.events_since(0, count=10_000))
