"""A real Chromium against a real server on a free port, with a small yard on disk and the real papers."""

from __future__ import annotations

import shutil
import socket
import sys
import threading
import time
from pathlib import Path

import pytest
import uvicorn

sys.path.insert(0, str(Path(__file__).parents[1] / "web"))  # for web_yard.py, the yard of the screen tests

from web_yard import Yard, load_into, write_folder

from trayside.app.plan_samples import plan_samples
from trayside.pages.papers import TypstPapers
from trayside.web.services import Services
from trayside.web.site import build_site

CHROMIUM = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip


@pytest.fixture(scope="session")
def planned_template(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("browser")
    load_into(folder / "yard.sqlite", write_folder(folder / "yard"))
    yard = Yard(folder / "yard.sqlite")
    plan_samples("SM-01", start_work=yard.start_work, make_id=yard.make_id)
    yard.engine.dispose()
    return folder / "yard.sqlite"


@pytest.fixture
def yard(planned_template, tmp_path):
    yard = Yard(Path(shutil.copy(planned_template, tmp_path / "yard.sqlite")))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def address(yard):
    """Where the site of this test is served."""
    site = build_site(Services(yard.start_work, yard.clock, yard.make_id, TypstPapers()))
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(64)
        server = uvicorn.Server(uvicorn.Config(site, log_level="error", ws="none", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        until = time.monotonic() + 20
        while not server.started and time.monotonic() < until:
            time.sleep(0.01)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.should_exit = True
        thread.join(timeout=20)


@pytest.fixture(scope="session")
def chromium():
    from playwright.sync_api import sync_playwright

    found = shutil.which("chromium")
    assert found, "Chromium is missing: install Debian's package chromium"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=CHROMIUM)
        yield browser
        browser.close()


@pytest.fixture
def open_page(chromium, address):
    """Opens a page in a browser of its own; nothing may be written to its console as an error."""
    contexts, faults = [], []

    def opening(path: str, **settings):
        context = chromium.new_context(
            base_url=address, viewport={"width": 1280, "height": 900}, reduced_motion="reduce", **settings
        )
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: faults.append(str(error)))
        # An answer that refuses is told on the page; the console's own line about its status is no fault of the page.
        page.on("console", lambda line: faults.append(line.text) if line.type == "error"
                and "status of 4" not in line.text else None)  # fmt: skip
        page.goto(path)
        return page

    yield opening
    for context in contexts:
        context.close()
    assert faults == []
