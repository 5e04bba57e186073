"""The bench in a real Chromium: from the tap to the act on the tablet's disk, and until the next screen stands.

Measured from inside the page, over a whole tray, once with the yard answering and once without network.
"""

from __future__ import annotations

import shutil
import socket
import tempfile
import threading
import time
from pathlib import Path
from statistics import median, quantiles

import uvicorn

from benchmarks.figures import Figure
from benchmarks.stores import DEMO_YARD, planned_store
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.bootstrap import clock, site

GOAL_MS = 100.0
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run"]
WATCH = """() => {
  const add = IDBObjectStore.prototype.add;
  window.taps = [];
  IDBObjectStore.prototype.add = function (...all) {
    const asked = add.apply(this, all);
    if (this.name === "acts") asked.transaction.addEventListener("complete", () => { window.savedAt = performance.now(); });
    return asked;
  };
}"""
ACT = """async ([step, number, kg]) => {
  const key = (name) => document.body.dispatchEvent(new KeyboardEvent("keydown", {key: name, bubbles: true, cancelable: true}));
  const now = () => document.querySelector(".now")?.className + document.getElementById("number")?.textContent;
  if (step === "step-weigh") for (const sign of kg) {
    [...document.querySelectorAll(".pad .key")].find((one) => one.textContent === sign).click();
  }
  const before = now();
  window.savedAt = null;
  const tapped = performance.now();
  if (step === "step-bag" || step === "step-insert") for (const sign of [...number, "Enter"]) key(sign);
  else document.getElementById("main").click();
  const changed = () => window.savedAt !== null && now() !== before;
  while (!changed() && performance.now() - tapped < 10000) await new Promise((done) => setTimeout(done, 1));
  return [window.savedAt - tapped, performance.now() - tapped];
}"""


def measure(*, small: bool) -> list[Figure]:
    found = shutil.which("chromium")
    if found is None:
        return [Figure("bench_tap", "tap to saved", None, "ms", GOAL_MS, "Chromium is not installed")]
    with tempfile.TemporaryDirectory() as room:
        # Without a register of saws the bench asks for no card: what is measured is the tap.
        yard = shutil.copytree(DEMO_YARD, Path(room) / "yard", ignore=shutil.ignore_patterns("saws.csv", "blades.csv"))
        start_work, hole_ids = planned_store(yard, Path(room) / "store.sqlite")
        hole_id, trays = _issued(start_work, hole_ids)
        with Served(site(start_work)) as address:
            online, offline = _taps(found, address, hole_id, trays, few=small)
    return [
        *_figures("yard answering", online),
        *_figures("no network", offline),
    ]


def _figures(name: str, taps: list[tuple[float, float]]) -> list[Figure]:
    saved, shown = ([tap[at] for tap in taps] for at in (0, 1))
    worst = quantiles(saved, n=20)[-1]
    note = f"{len(taps)} taps; 1 in 20 takes longer than {worst:.0f} ms; next screen after {median(shown):.0f} ms"
    return [Figure("bench_tap", f"tap to saved on the tablet, {name}", median(saved), "ms", GOAL_MS, note)]


def _issued(start_work, hole_ids) -> tuple[str, list[int]]:
    """The first hole that can be issued, and its trays with most bags."""
    for hole_id in hole_ids:
        with start_work(writing=False) as work:
            sheet, stops = work.sheet(hole_id), [one for one in work.findings(hole_id) if one.severity == "stop"]
        if sheet is not None and sheet.rows and not stops:
            issue_cut_sheet(hole_id, version=sheet.version, issued_by="Bench", start_work=start_work, clock=clock)
            with start_work(writing=False) as work:
                trays = sorted(work.issued_sheets()[0].trays, key=lambda one: -one[1])
            return hole_id, [tray for tray, _ in trays[:2]]
    raise RuntimeError("no hole of the demo yard can be issued")


def _taps(found: str, address: str, hole_id: str, trays: list[int], *, few: bool):
    from playwright.sync_api import sync_playwright

    answers = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=FLAGS)
        context = browser.new_context(base_url=address, viewport={"width": 1024, "height": 768})
        page = context.new_page()
        for offline, tray in zip((False, True), trays, strict=True):
            page.goto(f"/bench/{hole_id}/{tray}")
            page.evaluate("navigator.serviceWorker.ready.then(() => true)")
            page.wait_for_selector("#text, .step-stage")
            if page.locator("#text").count():
                page.locator("#text").fill("Bench")
                page.locator("#main").click()
            page.wait_for_selector(".step-stage")
            page.locator("#main").click()
            page.wait_for_selector(".now:not(.step-stage)")
            context.set_offline(offline)
            page.evaluate(WATCH)
            answers.append(_work(page, few=few))
            context.set_offline(False)
        browser.close()
    return answers


def _work(page, *, few: bool) -> list[tuple[float, float]]:
    taps = []
    while page.locator(".now").count() and not (few and len(taps) >= 12):
        step = page.locator(".now").get_attribute("class").removeprefix("now ")
        number = page.locator("#number").inner_text()
        if step == "step-look":
            raise RuntimeError("a mass typed as expected was odd")
        taps.append(tuple(page.evaluate(ACT, [step, number, _expected(page)])))
    return taps


def _expected(page) -> str:
    """The middle of the range that the screen shows, to be typed."""
    told = page.locator(".range")
    if not told.count():
        return ""
    low, high = (float(part) for part in told.first.inner_text().split()[2].split("–"))
    return f"{(low + high) / 2:.3f}"


class Served:
    """The site on a free port for as long as the block lasts."""

    def __init__(self, made) -> None:
        self._server = uvicorn.Server(uvicorn.Config(made, log_level="error", ws="none", lifespan="off"))

    def __enter__(self) -> str:
        listening = socket.create_server(("127.0.0.1", 0))
        self._thread = threading.Thread(target=self._server.run, kwargs={"sockets": [listening]})
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)
        return f"http://127.0.0.1:{listening.getsockname()[1]}"

    def __exit__(self, *_) -> None:
        self._server.should_exit = True
        self._thread.join()
