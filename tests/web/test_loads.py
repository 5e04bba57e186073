"""Loads through the real pages: sacks listed and sealed, a load sent and handed over, the laboratory's list confirmed."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from web_yard import NOW, Yard

from trayside.app.identity import uuid7
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_view import view_load
from trayside.app.retained_core import kept_core
from trayside.cli.demo_crew import Crew
from trayside.files.received_list import read_received
from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"
ME = {"signed_by": "Ada"}
LAB = {"laboratory": "An invented laboratory", "methods": "fire assay 50 g\nmulti-element"}


class FloorYard(Yard):
    """A clock that runs and ids as the ledger wants them."""

    now = NOW
    made = 0

    def clock(self):
        self.now += timedelta(seconds=20)
        return self.now

    def make_id(self) -> str:
        self.made += 1
        return uuid7(milliseconds=int(self.now.timestamp() * 1000), random_bytes=self.made.to_bytes(10))


class LoadPapers:
    def dispatch_note(self, view) -> bytes:
        return f"%PDF note {view.load.load_id}".encode()

    def laboratory_copy(self, view) -> bytes:
        return f"%PDF list {view.load.load_id}".encode()


@pytest.fixture
def floor(loaded_template, tmp_path):
    import shutil

    yard = FloorYard(Path(shutil.copy(loaded_template, tmp_path / "yard.sqlite")))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(floor):
    services = Services(floor.start_work, floor.clock, floor.make_id, LoadPapers(), read_received=read_received)
    with TestClient(
        build_site(services), base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False
    ) as client:
        yield client


@pytest.fixture
def crew(browser, floor):
    """SM-01 issued, cut, bagged, weighed and closed."""
    assert browser.post("/hole/SM-01/sheet/plan").status_code == 200
    version = floor.sheet().version
    issue_cut_sheet("SM-01", version=version, issued_by="Ada", start_work=floor.start_work, clock=floor.clock)
    crew = Crew(floor, "SM-01")
    crew.work_through()
    return crew


def trays(page: str) -> list[str]:
    return re.findall(r'name="tray" value="([^"]+)"', page)


def sack_ids(page: str) -> list[str]:
    return list(dict.fromkeys(re.findall(r"SK-\d{5}", page)))


def pack(browser) -> list[str]:
    answer = browser.post("/loads/pack", data={"tray": trays(browser.get("/loads").text), "what": "pack", **ME})
    assert answer.status_code == 200, answer.text
    return sack_ids(answer.text)


def numbers_of(floor, sack_id: str) -> tuple[str, ...]:
    with floor.start_work(writing=False) as work:
        return work.loads.sack(sack_id).numbers


def seal_all(browser, floor, ids: list[str]) -> None:
    for place, sack_id in enumerate(ids):
        data = {"seal": f"Z-{place}", "counted": str(len(numbers_of(floor, sack_id))), **ME}
        assert browser.post(f"/sacks/{sack_id}/seal", data=data).status_code == 200


def version_of(floor, load_id: str) -> str:
    with floor.start_work(writing=False) as work:
        return str(work.loads.load(load_id).version)


def state_of(floor, load_id: str = "LD-0001") -> str:
    with floor.start_work(writing=False) as work:
        return view_load(work, load_id).stands.state


def local(floor) -> str:
    return f"{floor.clock():%Y-%m-%d %H:%M}"


@pytest.fixture
def sent(browser, floor, crew):
    """A load of all of SM-01 on its way: (browser, floor, numbers in ticket order)."""
    ids = pack(browser)
    seal_all(browser, floor, ids)
    assert browser.post("/loads", data={"sack": ids, **LAB, **ME}).url.path == "/loads/LD-0001"
    data = {"version": version_of(floor, "LD-0001"), "statement": "Looked at each.", **ME}
    answer = browser.post("/loads/LD-0001/send", data=data)
    assert "Sent by Ada" in answer.text
    give = {"from_person": "Ada", "to_person": "Laboratory desk", "place": "laboratory", "seals": "whole", "offset": "+00:00"}
    assert browser.post("/loads/LD-0001/hand-over", data=give | {"at": local(floor)} | ME).status_code == 200
    return [number for sack_id in ids for number in numbers_of(floor, sack_id)]


def test_bags_wait_are_packed_and_the_ways_are_compared(browser, floor, crew):
    page = browser.get("/loads").text
    assert "Bags that wait for a sack" in page
    wanted = trays(page)
    assert len(wanted) == len(set(crew.tray.values()))
    compared = browser.post("/loads/pack", data={"tray": wanted, "what": "compare"}).text
    assert "no way in ticket order needs fewer" in compared
    assert "the count of bags says nothing about what is in them" in compared
    ids = pack(browser)
    listed = [number for sack_id in ids for number in numbers_of(floor, sack_id)]
    assert listed == sorted(row.number for row in crew.rows)
    assert "No weighed bag waits for a sack." in browser.get("/loads").text


def test_a_tray_with_an_open_bag_is_shown_with_what_is_missing_and_cannot_be_packed(browser, floor):
    browser.post("/hole/SM-01/sheet/plan")
    issue_cut_sheet(
        "SM-01", version=floor.sheet().version, issued_by="Ada", start_work=floor.start_work, clock=floor.clock
    )
    crew = Crew(floor, "SM-01")
    left = crew.rows[1].number
    crew.unfinished.add(left)
    crew.work_through()
    page = browser.get("/loads").text
    tray = crew.tray[left]
    assert f"SM-01/{tray}" not in trays(page)
    assert f"{left} is planned" in page
    answer = browser.post("/loads/pack", data={"tray": [f"SM-01/{tray}"], "what": "pack", **ME})
    assert answer.status_code == 422
    assert f"{left} is planned" in answer.text
    with floor.start_work(writing=False) as work:
        assert work.loads.sacks() == ()


def test_a_sack_is_not_sealed_with_a_wrong_count_or_a_seal_in_use(browser, floor, crew):
    first, second, *_ = pack(browser)
    count = len(numbers_of(floor, first))
    wrong = browser.post(f"/sacks/{first}/seal", data={"seal": "Z-1", "counted": str(count - 1), **ME})
    assert wrong.status_code == 422
    assert f"{count - 1} bags were counted, {count} are on the list" in wrong.text
    assert browser.post(f"/sacks/{first}/seal", data={"seal": "Z-1", "counted": str(count), **ME}).status_code == 200
    other = {"seal": "Z-1", "counted": str(len(numbers_of(floor, second))), **ME}
    assert f"Seal Z-1 is on sack {first} already" in browser.post(f"/sacks/{second}/seal", data=other).text


def test_a_misread_seal_is_corrected_with_a_reason_and_the_first_stays_visible(browser, floor, crew):
    (sack_id, *_) = pack(browser)
    seal_all(browser, floor, [sack_id])
    assert browser.post(f"/sacks/{sack_id}/another-seal", data={"seal": "Z-9", "reason": "", **ME}).status_code == 422
    page = browser.post(f"/sacks/{sack_id}/another-seal", data={"seal": "Z-9", "reason": "read wrongly", **ME}).text
    assert "Sealed with Z-9" in page
    assert "The first seal entered was Z-0" in page


def test_the_list_of_a_sack_is_taken_back_only_while_nothing_was_done(browser, floor, crew):
    ids = pack(browser)
    assert browser.post(f"/sacks/{ids[-1]}/undo", data=ME).url.path == "/loads"
    seal_all(browser, floor, ids[:1])
    assert browser.post(f"/sacks/{ids[0]}/undo", data=ME).status_code == 422
    assert pack(browser)[-1] > ids[-1], "the name of a sack is never given twice"


def test_a_load_with_an_unsealed_sack_is_not_sent(browser, floor, crew):
    ids = pack(browser)
    seal_all(browser, floor, ids[1:])
    page = browser.post("/loads", data={"sack": ids, **LAB, **ME}).text
    assert "A sack without a seal" not in page
    assert f"sack {ids[0]} is open, no seal was entered" in page
    data = {"version": version_of(floor, "LD-0001"), "statement": "all well", **ME}
    refused = browser.post("/loads/LD-0001/send", data=data)
    assert refused.status_code == 422
    assert "must be settled before this load can be sent" in refused.text
    with floor.start_work(writing=False) as work:
        assert work.loads.load("LD-0001").sent_at is None


def test_a_load_somebody_changed_meanwhile_is_not_sent(browser, floor, crew):
    ids = pack(browser)
    seal_all(browser, floor, ids)
    browser.post("/loads", data={"sack": ids, **LAB, **ME})
    old = version_of(floor, "LD-0001")
    browser.post("/loads/LD-0001", data={"sack": ids, "version": old, **LAB, "carrier": "A carrier"})
    refused = browser.post("/loads/LD-0001/send", data={"version": old, "statement": "x", **ME})
    assert refused.status_code == 409


def test_a_sent_load_is_frozen(browser, floor, sent):
    answer = browser.post("/loads/LD-0001", data={"version": version_of(floor, "LD-0001"), **LAB, "carrier": "another"})
    assert answer.status_code == 422
    assert "its lists are frozen" in answer.text


def test_the_papers_of_a_load(browser, sent):
    assert browser.get("/loads/LD-0001/dispatch-note.pdf").content == b"%PDF note LD-0001"
    assert browser.get("/loads/LD-0001/sample-list.pdf").content == b"%PDF list LD-0001"
    table = browser.get("/loads/LD-0001/sample-list.csv").text.splitlines()
    assert table[0] == "line,number,sack,seal"
    assert [line.split(",")[1] for line in table[1:]] == sent


def test_the_page_of_a_load_shows_holders_and_a_gap(browser, floor, sent):
    give = {"from_person": "A stranger", "to_person": "Night desk", "place": "depot", "seals": "unsaid", "offset": "+02:00"}
    at = f"{floor.clock() + timedelta(hours=2):%Y-%m-%d %H:%M}"
    page = browser.post("/loads/LD-0001/hand-over", data=give | {"at": at} | ME).text
    assert "gap before" in page
    assert "A stranger gave LD-0001" in page
    assert "but Laboratory desk took it before" in page


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"at": "yesterday"}, "is not a time"),
        ({"at": "2031-13-04 09:00"}, "there is no such time"),
        ({"offset": "+2500"}, "is no offset from UTC"),
        ({"at": "2099-01-01 09:00"}, "this time has not come yet"),
        ({"place": " "}, "no place was named"),
        ({"to_person": "ada"}, "both names are the same"),
        ({"signed_by": ""}, "no name was given"),
    ],
)
def test_a_hand_over_that_cannot_be_is_refused_in_words(browser, floor, sent, change, told):
    give = {"from_person": "Ada", "to_person": "Driver", "place": "gate", "seals": "whole", "offset": "+00:00"}
    data = give | {"at": local(floor)} | ME | change
    answer = browser.post("/loads/LD-0001/hand-over", data=data)
    assert answer.status_code == 422
    assert told.casefold() in answer.text.casefold()


def receive(browser, floor, text: str, *, name: str = "received.csv"):
    form = {"received_by": "Laboratory desk", "at": local(floor), "offset": "+00:00", "seals": "whole", "unit": "kg", **ME}
    return browser.post("/loads/LD-0001/received", data=form, files={"file": (name, text.encode(), "text/csv")})


def test_a_received_list_is_compared_settled_and_confirmed(browser, floor, crew, sent):
    missing = sent[4]
    misread = missing[:-1] + ("8" if missing[-1] != "8" else "B")
    misread = misread if misread not in sent else missing + "1"
    mass = crew.mass_g
    rows = [f"{misread if number == missing else number},{mass[number] * 0.98 / 1000:.3f}" for number in sent]
    page = receive(browser, floor, "number,mass_kg\n" + "\n".join(rows) + "\n")
    assert page.status_code == 200
    assert f"it is probably {missing}" in page.text
    assert "1 missing, 1 not sent" in page.text
    assert state_of(floor) == "on the road", "nothing is acted on before it is confirmed"
    compared = browser.post(page.url.path, data={f"take:{misread}": missing, "what": "compare"})
    assert "Every number agrees." in compared.text
    done = browser.post(page.url.path, data={f"take:{misread}": missing, "what": "confirm", **ME})
    assert done.status_code == 200
    assert "Confirmed by Ada" in done.text
    assert state_of(floor) == "received"
    bags = {bag.number: bag for bag in _bags(floor)}
    assert {bag.state for bag in bags.values()} == {"received"}
    fact = bags[missing].stands.latest("received")
    assert fact.event.reason == f"the laboratory's list says {misread}"
    again = browser.post(page.url.path, data={"what": "confirm", **ME})
    assert again.status_code == 409


def _bags(floor):
    from trayside.app.bag_views import hole_bags

    with floor.start_work(writing=False) as work:
        return hole_bags(work, "SM-01").bags


def test_a_list_with_faults_names_every_one_and_is_not_stored(browser, floor, sent):
    answer = receive(browser, floor, "number,mass_kg\nT1000,heavy\n?!,1.2\n")
    assert answer.status_code == 422
    assert "row 2 column mass: this is no mass of a bag" in answer.text
    assert "row 3 column number: this cannot be a number" in answer.text
    with floor.start_work(writing=False) as work:
        assert work.loads.receipts("LD-0001") == ()


def test_a_list_may_be_typed(browser, floor, sent):
    form = {"received_by": "Laboratory desk", "at": local(floor), "offset": "+00:00", "seals": "whole", "unit": "g", **ME}
    page = browser.post("/loads/LD-0001/received", data=form | {"lines": "\n".join(sent[:-1]) + "\nX99 12 damaged"})
    assert "1 missing, 1 not sent" in page.text
    assert f"{sent[-1]} is not on the laboratory&#39;s list" in page.text
    assert "X99 was not sent" in page.text


def test_an_empty_list_is_refused(browser, floor, sent):
    assert "no list was sent" in receive(browser, floor, "").text.casefold()


def test_kept_core_is_told_taken_and_placed(browser, floor, crew):
    page = browser.get("/hole/SM-01/kept").text
    assert "1/2 half" in page
    with floor.start_work(writing=False) as work:
        half = next(one for one in kept_core(work, "SM-01").stretches if one.word == "half" and one.to_mm - one.from_mm > 200)
    depths = {"from": f"{half.from_mm / 1000:.2f}", "to": f"{half.to_mm / 1000:.2f}"}
    ask = depths | {"take": "quarter", "asked_by": "metallurgy", "purpose": "bottle roll"} | ME
    assert "1/4 quarter" in browser.post("/hole/SM-01/kept/take", data=ask).text
    last = browser.post("/hole/SM-01/kept/take", data=ask)
    assert last.status_code == 422
    assert "take the last piece" in last.text
    asked = browser.post("/hole/SM-01/kept/take", data=ask | {"last": "yes", "reason": "the owner said so"})
    assert "0 nothing" in asked.text
    gone = browser.post("/hole/SM-01/kept/take", data=ask | {"last": "yes", "reason": "more"})
    assert "none is left, quarter was asked for" in gone.text
    place = {"tray": "1", "rack": "A", "shelf": "2", "position": "3"} | ME
    assert "A · 2 · 3" in browser.post("/hole/SM-01/kept/place", data=place).text
    twice = browser.post("/hole/SM-01/kept/place", data=place | {"tray": "2"})
    assert "SM-01/1 lies at A · 2 · 3" in twice.text


@pytest.mark.parametrize("path", ["/loads/LD-9", "/sacks/SK-9", "/loads/LD-0001/received/x", "/hole/NO/kept"])
def test_what_is_not_there_is_said(browser, sent, path):
    assert browser.get(path).status_code == 404


def test_markup_in_what_people_type_stays_text(browser, floor, crew):
    ids = pack(browser)
    data = {"sack": ids, "laboratory": "<script>alert(1)</script>", "methods": "<b>x</b>", "hazard": "a & b"} | ME
    page = browser.post("/loads", data=data).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page
