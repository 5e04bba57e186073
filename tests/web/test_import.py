"""A certificate through the real pages: sent, asked about, corrected, confirmed, stopped, given up."""

from __future__ import annotations

import html
import re
import threading

import pytest
from starlette.testclient import TestClient

from trayside.app import import_certificate
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.files.certificate_reader import open_file
from trayside.web import import_shelf
from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"
HEAD = "Laboratory: Demo laboratory A\nJob: {job}\nReported: 2031-05-02\nSample,Type,Au{unit},Cu ppm\n"


@pytest.fixture
def browser(yard):
    services = Services(yard.start_work, yard.clock, yard.make_id, yard.papers, open_certificate=open_file)
    with TestClient(
        build_site(services), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


@pytest.fixture
def numbers(browser, yard):
    """SM-01 issued: its numbers."""
    browser.post("/hole/SM-01/sheet/plan")
    issue_cut_sheet("SM-01", version=yard.sheet().version, issued_by="Ada", start_work=yard.start_work, clock=yard.clock)
    return [row.number for row in yard.sheet().rows]


def certificate(numbers, *, job="J1", unit=" ppm", first="0.50") -> str:
    lines = [f"{number},SMP,{first if not place else 0.6 + place / 10},{30 + place}" for place, number in enumerate(numbers)]
    return HEAD.format(job=job, unit=unit) + "\n".join(lines) + "\n"


def send(browser, raw: str | bytes, **said):
    content = raw.encode() if isinstance(raw, str) else raw
    return browser.post("/results/import", files={"file": ("c <1>.csv", content, "text/csv")}, data=said)


def text_of(answer) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def stored(yard) -> list[str]:
    with yard.start_work(writing=False) as work:
        return [one.certificate_id for one in work.assays.certificates()]


def test_a_file_is_shown_as_written_beside_how_it_is_read_then_confirmed(browser, numbers, yard):
    assert "Import a certificate" in browser.get("/results/import").text
    look = send(browser, certificate(numbers, first="<0.01"))
    assert look.status_code == 200
    assert look.url.path.startswith("/results/import/")
    assert "Nobody has confirmed a mapping" in text_of(look)
    assert f"{numbers[0]} <0.01 below 0.01 ppm" in text_of(look)
    assert "c &lt;1&gt;.csv" in look.text
    assert stored(yard) == []
    done = browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    assert "CT-00001 came in" in text_of(done)
    assert f"{2 * len(numbers)} results on {len(numbers)} lines" in text_of(done)
    assert '<a href="/results/CT-00001">' in done.text
    assert stored(yard) == ["CT-00001"]
    again = send(browser, certificate(numbers, first="<0.01"))
    assert "is CT-00001 already" in text_of(again)
    assert 'value="confirm"' not in again.text


def test_a_remembered_mapping_is_said_and_a_changed_header_is_asked_again(browser, numbers, yard):
    first = send(browser, certificate(numbers[:4]))
    browser.post(first.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    assert "The mapping that was confirmed for Demo laboratory A fits" in text_of(send(browser, certificate(numbers[4:], job="J2")))
    changed = text_of(send(browser, certificate(numbers[4:], job="J3", unit=" ppb")))
    assert "column 3 was 'Au ppm', is 'Au ppb'" in changed


def test_a_question_is_asked_and_answered_before_anything_can_be_confirmed(browser, numbers, yard):
    look = send(browser, certificate(numbers, unit=" oz/t").replace("Job: J1\n", ""))
    assert "which ton" in text_of(look)
    assert 'value="confirm"' not in look.text
    blocked = browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    assert "To settle first" in text_of(blocked)
    assert stored(yard) == []
    answered = browser.post(look.url.path, data={"what": "look", "set:job": "J9", "set:unit:3": "[oz_tr]/t"})
    assert 'value="confirm"' in answered.text
    assert "oz_tr" in answered.text
    browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    with yard.start_work(writing=False) as work:
        made = work.assays.certificate("CT-00001")
    assert (made.job, made.analytes[0].unit) == ("J9", "[oz_tr]/t")


def test_what_the_page_says_can_be_corrected(browser, numbers, yard):
    look = send(browser, certificate(numbers))
    data = {"set:unit:3": "g/t", "set:method:3": "FA50", "set:lower:3": "0.01", "set:use:4": "no", "set:unit:4": "[ppm]"}
    browser.post(look.url.path, data=data | {"what": "look"})
    browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    with yard.start_work(writing=False) as work:
        analytes = work.assays.certificate("CT-00001").analytes
    assert [(a.element, a.unit, a.method, a.lower_limit) for a in analytes] == [("Au", "g/t", "FA50", 0.01)]


def test_a_misread_number_is_offered_and_taken(browser, numbers, yard):
    written = numbers[2][:-2] + numbers[2][-1] + numbers[2][-2]
    look = send(browser, certificate([*numbers[:2], written, *numbers[3:]]))
    assert f'name="set:take:{written}"' in look.text
    assert f"{numbers[2]} (likely)" in text_of(look)
    browser.post(look.url.path, data={"what": "look", f"set:take:{written}": numbers[2]})
    browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    with yard.start_work(writing=False) as work:
        assert numbers[2] in {line.number for line in work.assays.lines("CT-00001")}


def test_a_reissue_shows_every_difference_before_and_after(browser, numbers, yard):
    first = send(browser, certificate(numbers))
    browser.post(first.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    look = send(browser, certificate(numbers, first="0.75").replace("2031-05-02", "2031-05-03"))
    assert "It supersedes CT-00001: 1 of" in text_of(look)
    assert f"{numbers[0]} Au 0.50 ppm 0.75 ppm × 1.5" in text_of(look)
    done = browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    assert f"{numbers[0]} Au 0.50 ppm 0.75 ppm × 1.5" in text_of(done)
    assert stored(yard) == ["CT-00002"]


def test_a_bad_file_is_refused_with_its_faults_in_a_table(browser, numbers):
    answer = send(browser, certificate(numbers) + ",SMP,1,2\n")
    assert answer.status_code == 422
    assert "results stand on a line without a sample number" in text_of(answer)
    assert send(browser, b"").status_code == 422
    assert send(browser, b"PK\x03\x04 no workbook").status_code == 422
    assert send(browser, b"a,b\n1,2\n").status_code == 422


def test_nobody_signs_nothing_happens(browser, numbers, yard):
    look = send(browser, certificate(numbers))
    answer = browser.post(look.url.path, data={"what": "confirm", "signed_by": " "})
    assert answer.status_code == 422
    assert stored(yard) == []


def test_a_file_given_up_is_forgotten(browser, numbers, yard):
    look = send(browser, certificate(numbers))
    assert browser.post(look.url.path, data={"what": "give up"}).url.path == "/results/import"
    gone = browser.get(look.url.path)
    assert gone.status_code == 404
    assert "no longer waiting" in text_of(gone)
    assert stored(yard) == []


def test_a_long_import_shows_its_progress_and_can_be_stopped_without_residue(browser, numbers, yard, monkeypatch):
    reached, go_on = threading.Event(), threading.Event()

    def slow(*given, progress, cancelled, **more):
        def waiting(done, total, what):
            progress(done, total, what)
            if what == "storing":
                reached.set()
                assert go_on.wait(20)

        return import_certificate.bring_in(*given, progress=waiting, cancelled=cancelled, **more)

    monkeypatch.setattr(import_shelf, "bring_in", slow)
    monkeypatch.setattr(import_shelf, "SOON_S", 0.05)
    look = send(browser, certificate(numbers))
    page = browser.post(look.url.path, data={"what": "confirm", "signed_by": "Demo QC"})
    assert reached.wait(20)
    page = browser.get(look.url.path)
    assert "Importing" in page.text
    assert "100 %" in text_of(page)
    browser.post(look.url.path, data={"what": "stop"})
    go_on.set()
    upload = browser.app.state.import_shelf.get(look.url.path.rpartition("/")[2])
    upload.thread.join(20)
    after = browser.get(look.url.path)
    assert "the import was stopped, nothing was stored" in text_of(after).lower()
    assert stored(yard) == []


def test_the_shelf_keeps_the_newest_few_files(browser, numbers):
    first = send(browser, certificate(numbers))
    for number in range(import_shelf.MOST_FILES):
        send(browser, certificate(numbers, job=f"J{number}"))
    assert browser.get(first.url.path).status_code == 404
