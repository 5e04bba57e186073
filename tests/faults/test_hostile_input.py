"""Script, paths and nonsense in every field of every form: never believed, never a fault of ours, never run on a page.

The forms are taken from the pages themselves, so a form that is added later is walked as well.
"""

from __future__ import annotations

from html.parser import HTMLParser
from urllib.parse import quote

import pytest
from road_yard import HOLE, RoadYard
from starlette.testclient import TestClient

from trayside.app.bag_views import hole_bags
from trayside.app.dispatch import make_load, send_load
from trayside.app.pack_sacks import pack, seal_sack, trays_to_pack
from trayside.app.people import add_person
from trayside.app.verify_ledger import verify_store
from trayside.files.photo_check import check_photo
from trayside.files.received_list import read_received
from trayside.model.load import Request
from trayside.store.connection import open_store
from trayside.store.photo_files import PhotoFiles
from trayside.store.secrets_argon2 import Argon2Secrets
from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"
SCRIPT = "<script>alert('yard')</script>"
IMAGE = "\"><img src=x onerror=alert(1)>"
HOSTILE = {
    "script": SCRIPT,
    "image": IMAGE,
    "path": "../../../../../../etc/passwd",
    "template": "{{ 7*191 }}${7*191}<%= 7*191 %>",
    "sql": "x'; DROP TABLE events; --",
    "unprintable": "a\x00b\r\nSet-Cookie: x=1\u202e",
    "long": "9" * 6000,
    "wide": "１２\u00a0𝟛 \U0001f4a3",
}
RAW = ("<script>alert", "<img src=x", "root:x:0", "1337", "Traceback")
"""What no page may ever hold. 1337 is 7 times 191: it would mean that a text was run as a template."""
TEXT_TYPES = {"", "text", "search", "number", "password", "tel", "email"}


class Forms(HTMLParser):
    """Every form of a page that posts: (address, whether it takes files, fields as (name, type, value))."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[tuple[str, bool, list[tuple[str, str, str]]]] = []
        self._open = False
        self._select = ""

    def handle_starttag(self, tag: str, attrs) -> None:
        held = {name: value or "" for name, value in attrs}
        if tag == "form":
            self._open = held.get("method", "").casefold() == "post"
            if self._open:
                self.found.append((held.get("action", ""), "multipart" in held.get("enctype", ""), []))
        elif self._open and held.get("name") and tag in ("input", "textarea", "button", "select"):
            kind = "textarea" if tag == "textarea" else "select" if tag == "select" else held.get("type", "")
            kind = "button" if tag == "button" else kind
            if tag == "select":
                self._select = held["name"]
            self.found[-1][2].append((held["name"], kind, held.get("value", "")))
        elif tag == "option" and self._open and self._select:
            name, self._select = self._select, ""
            fields = self.found[-1][2]
            fields[:] = [(n, k, held.get("value", "") if n == name and k == "select" else v) for n, k, v in fields]

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = False


def forms_of(page: str) -> list[tuple[str, bool, list[tuple[str, str, str]]]]:
    reader = Forms()
    reader.feed(page)
    return reader.found


@pytest.fixture
def yard(tmp_path):
    """SM-01 worked through; one sack still open, one load sent, one not; kept core; no people."""
    (tmp_path / "store").mkdir()
    engine = open_store(tmp_path / "store" / "yard.sqlite")
    yard = RoadYard(engine)
    yard.issue(tmp_path / "yard").work_through()
    how = {"desk": yard.desk(), "start_work": yard.start_work}
    with yard.start_work(writing=False) as work:
        trays = [(HOLE, one.tray) for one in trays_to_pack(hole_bags(work, HOLE)) if one.ready]
    first, second, *_ = [pack([tray], **how)[0] for tray in trays[:3]]
    for place, sack in enumerate((first, second)):
        seal_sack(sack.sack_id, seal=f"Z-{place}", counted=len(sack.numbers), **how)
    request = Request("An invented laboratory", ("fire assay 50 g",))
    make_load(request, [first.sack_id], **how)
    send_load("LD-0001", version=1, statement="looked at each", **how)
    make_load(request, [second.sack_id], **how)
    yield yard
    engine.dispose()


@pytest.fixture
def browser(yard, tmp_path):
    services = Services(
        yard.start_work, yard.clock, yard.make_id, NoPapers(), read_received=read_received,
        photos=PhotoFiles(tmp_path / "store" / "photos"), check_photo=check_photo,
        secrets=Argon2Secrets(passes=1, memory_kib=8, lanes=1),
    )  # fmt: skip
    with TestClient(
        build_site(services), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


class NoPapers:
    """No paper is asked for here."""


def pages(yard) -> list[str]:
    with yard.start_work(writing=False) as work:
        bags = hole_bags(work, HOLE).bags
        sacks = [sack.sack_id for sack in work.loads.sacks()]
    return [
        "/", f"/hole/{HOLE}", f"/hole/{HOLE}/trays", f"/hole/{HOLE}/sheet", f"/hole/{HOLE}/kept", f"/hole/{HOLE}/masses",
        "/loads", "/loads/LD-0001", "/loads/LD-0002", *(f"/sacks/{sack}" for sack in sacks), "/to-settle",
        f"/ledger/bag/{bags[0].number}", f"/ledger/tray/{HOLE}~1", "/people/first", "/pair",
    ]  # fmt: skip


def post(browser, address: str, multipart: bool, fields: dict[str, str], hostile: str):
    if multipart:
        return browser.post(address, data=fields, files={"file": (hostile[:200], hostile.encode(), "text/csv")})
    return browser.post(address, data=fields)


def clean(answer, about: str) -> None:
    assert answer.status_code < 500, f"{about}: {answer.status_code} {answer.text[:300]}"
    for raw in RAW:
        assert raw not in answer.text, f"{about}: {raw}"


@pytest.mark.slow
@pytest.mark.parametrize("name", HOSTILE)
def test_every_form_takes_it_as_text_or_refuses_it_in_words(browser, yard, tmp_path, name):
    hostile, before = HOSTILE[name], {path for path in tmp_path.rglob("*") if "store" not in path.parts}
    walked = set()
    for page in pages(yard):
        shown = browser.get(page)
        clean(shown, page)
        for address, multipart, fields in forms_of(shown.text):
            kept = {field: value for field, kind, value in fields if kind in ("hidden", "radio", "checkbox", "select")}
            texts = {field: hostile for field, kind, _ in fields if kind in TEXT_TYPES | {"textarea"}}
            buttons = {field: value for field, kind, value in fields if kind == "button"}
            clean(post(browser, address or page, multipart, kept | buttons | texts, hostile), f"{page} -> {address}")
            every = dict.fromkeys((field for field, _, _ in fields), hostile)
            clean(post(browser, address or page, multipart, every, hostile), f"{page} -> {address}, every field")
            walked.add(address)
    assert len(walked) > 15, walked
    for page in pages(yard):
        clean(browser.get(page), f"{page} afterwards")
    assert {path for path in tmp_path.rglob("*") if "store" not in path.parts} == before, "no file was written elsewhere"
    assert verify_store(start_work=yard.start_work).whole


@pytest.mark.parametrize("name", HOSTILE)
@pytest.mark.parametrize(
    "address",
    ["/hole/{}", "/hole/{}/kept", "/loads/{}", "/sacks/{}", "/photos/{}", "/ledger/bag/{}", "/static/{}", "/bench/{}/1",
     "/bench/masses.json?hole={}&tray=1", "/find?hole={}", "/loads/LD-0001/received/{}", "/ledger/find?number={}"],
)  # fmt: skip
def test_an_address_made_of_it_finds_nothing_and_tells_no_more(browser, address, name):
    answer = browser.get(address.format(quote(HOSTILE[name], safe="")))
    clean(answer, address)


def test_events_full_of_it_are_refused_or_kept_as_text(browser, yard):
    with yard.start_work(writing=False) as work:
        bag = hole_bags(work, HOLE).bags[0]
    for hostile in HOSTILE.values():
        good = {
            "event_id": yard.make_id(), "kind": "cut", "object_type": "bag", "object_id": bag.number, "person": "Ada",
            "device": "tablet", "captured_at": "2031-05-04T09:00:00.000Z", "utc_offset_min": 0, "software": "x",
            "values": {"method": "manual saw"}, "hole_id": HOLE, "reason": None, "corrects": None,
        }  # fmt: skip
        events = [good | {field: hostile} for field in good] + [good | {"values": {"method": hostile, hostile: 1}}]
        answer = browser.post("/bench/events", json={"events": [*events, hostile, None, 7, [hostile]]},
                              headers={"accept": "application/json"})  # fmt: skip
        assert answer.status_code < 500
        if answer.status_code == 200:
            assert {one["status"] for one in answer.json()["answers"]} <= {"refused", "stored", "conflict", "already stored"}
    for body in (b"[" * 100_000, b'{"events": [' + b"9" * 6000 + b"]}", b"\xff\xfe", b"NaN", b'{"events": {"a": 1}}'):
        headers = {"content-type": "application/json", "accept": "application/json"}
        clean(browser.post("/bench/events", content=body, headers=headers), str(body[:20]))
    clean(browser.get(f"/ledger/bag/{bag.number}"), "history")
    clean(browser.get("/to-settle"), "to settle")
    assert verify_store(start_work=yard.start_work).whole


def test_a_photograph_of_50_mb_is_refused_in_words_before_it_is_read(browser, tmp_path):
    answer = browser.post("/photos", content=b"\xff\xd8\xff" + bytes(50_000_000), headers={"content-type": "image/jpeg"})
    assert answer.status_code == 413
    assert "nothing was changed" in answer.text

    def slowly():
        for _ in range(50):
            yield bytes(1_000_000)

    answer = browser.post("/photos", content=slowly(), headers={"content-type": "image/jpeg"})  # says no length
    assert answer.status_code == 413
    assert not (tmp_path / "store" / "photos").exists()


@pytest.mark.parametrize(
    ("content", "said"), [(b"%PDF-1.7\n1 0 obj", "it is a PDF"), (b"MZ\x90\x00" + bytes(500), "neither JPEG nor PNG nor WebP"),
                          (b"<svg onload=alert(1)>", "an SVG drawing"), (b"\xff\xd8\xff\xe0" + bytes(90), "cut short or damaged")]
)  # fmt: skip
def test_what_is_no_photograph_is_refused_whatever_it_is_called(browser, tmp_path, content, said):
    headers = {"content-type": "image/jpeg", "content-disposition": 'attachment; filename="../../tray.jpg"'}
    answer = browser.post("/photos", content=content, headers=headers)
    assert answer.status_code == 422
    assert said in answer.text
    assert not (tmp_path / "store" / "photos").exists()


def test_names_with_script_in_them_stand_as_text_everywhere(browser, yard):
    add_person(f"Lea {IMAGE}", role="lead", pin="193746", start_work=yard.start_work, clock=yard.clock,
               make_id=yard.make_id, secrets=Argon2Secrets(passes=1, memory_kib=8, lanes=1))  # fmt: skip
    page = browser.get("/sign-in")
    clean(page, "sign in")
    assert "&lt;img" in page.text
