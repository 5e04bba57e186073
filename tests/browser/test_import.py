"""A certificate brought in with mouse and keyboard in a real browser, under the site's own content policy."""

from __future__ import annotations

import socket
import threading
import time

import pytest
import uvicorn
from playwright.sync_api import expect

from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.files.certificate_reader import open_file
from trayside.pages.papers import TypstPapers
from trayside.web.services import Services
from trayside.web.site import build_site

HEAD = "Laboratory: Demo laboratory A\nJob: J1\nReported: 2031-05-02\nSample,Type,Au,Cu ppm\n"


@pytest.fixture
def address(yard):
    """The site with the reader of certificates."""
    services = Services(yard.start_work, yard.clock, yard.make_id, TypstPapers(), open_certificate=open_file)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(64)
        server = uvicorn.Server(uvicorn.Config(build_site(services), log_level="error", ws="none", lifespan="off"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        until = time.monotonic() + 20
        while not server.started and time.monotonic() < until:
            time.sleep(0.01)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        server.should_exit = True
        thread.join(20)


@pytest.fixture
def certificate(yard, tmp_path):
    issue_cut_sheet("SM-01", version=yard.sheet().version, issued_by="Ada", start_work=yard.start_work, clock=yard.clock)
    numbers = [row.number for row in yard.sheet().rows]
    path = tmp_path / "c.csv"
    gold = ["<5", *map(str, range(401, 400 + len(numbers)))]
    lines = [f"{number},SMP,{ppb},30\n" for number, ppb in zip(numbers, gold, strict=True)]
    path.write_text(HEAD + "".join(lines), encoding="utf-8")
    return path


def test_a_certificate_is_looked_at_settled_and_brought_in(open_page, certificate, yard):
    page = open_page("/results/import")
    page.set_input_files("#import-file", certificate)
    page.get_by_role("button", name="Look at it").click()
    expect(page.get_by_role("group", name="Au: no unit is written; which is it?")).to_be_visible(timeout=20_000)
    page.get_by_label("[ppb], parts per billion").check()
    page.get_by_role("button", name="Settle and look again").click()
    expect(page.locator("table.preview")).to_contain_text("below 5 ppb", timeout=20_000)
    page.get_by_label("Lower limit: Au").fill("5")
    page.get_by_role("button", name="Look again", exact=True).click()
    expect(page.get_by_label("Lower limit: Au")).to_have_value("5", timeout=20_000)
    page.get_by_label("Your name").fill("Demo QC")
    page.get_by_label("Your name").press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("CT-00001 came in", timeout=30_000)
    with yard.start_work(writing=False) as work:
        gold = work.assays.certificate("CT-00001").analytes[0]
    assert (gold.unit, gold.lower_limit) == ("[ppb]", 5.0)
