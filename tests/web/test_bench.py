"""The bench over the wire: the sheet as JSON, acts once however often they are sent, who may sign, photographs, scale."""

from __future__ import annotations

import hashlib
import io
import json
import re
from dataclasses import replace

import pytest
from people_yard import PeopleYard
from PIL import Image
from starlette.testclient import TestClient
from web_yard import NOW, RULES

from trayside.app.identity import uuid7
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.plan_samples import plan_samples
from trayside.app.scale_port import ScaleNow
from trayside.files.photo_check import check_photo
from trayside.model.bag_states import MACHINES
from trayside.model.event import moment_text
from trayside.store.photo_files import PhotoFiles
from trayside.web.services import Services
from trayside.web.site import STATIC, build_site
from trayside.web.words_bench import BENCH_WORDS

ADDRESS = "http://127.0.0.1:8000"
SHEET = "/bench/SM-01/2.json"
EVENTS = "/bench/events"


@pytest.fixture
def issued(yard):
    plan_samples("SM-01", start_work=yard.start_work, make_id=yard.make_id)
    issue_cut_sheet(
        "SM-01", version=1, issued_by="Ada Vale", statement="", start_work=yard.start_work, clock=yard.clock
    )
    return yard


class ShownScale:
    shown = ScaleNow("scale", "stable", 2315, 1)

    def now(self) -> ScaleNow:
        return self.shown


@pytest.fixture
def bench(issued, tmp_path):
    services = Services(
        issued.start_work, issued.clock, issued.make_id, issued.papers,
        photos=PhotoFiles(tmp_path / "photos"), check_photo=check_photo, scale=ShownScale(),
    )  # fmt: skip
    headers = {"origin": ADDRESS, "accept": "application/json"}
    with TestClient(
        build_site(services), base_url=ADDRESS, headers=headers, raise_server_exceptions=False
    ) as client:
        yield client


def act(sheet: dict, number: int, kind: str, object_id: str, **more) -> dict:
    event = {
        "event_id": uuid7(milliseconds=1_900_000_000_000 + number, random_bytes=number.to_bytes(10)), "kind": kind,
        "object_type": "bag", "object_id": object_id, "person": "Otto", "device": "tablet 1",
        "captured_at": moment_text(NOW), "utc_offset_min": -240, "software": "trayside 0", "hole_id": "SM-01",
        "tray": 2, "sheet_id": sheet["sheet_id"], "revision": sheet["revision"], "values": {},
    }  # fmt: skip
    return event | more


def first_sample(sheet: dict) -> dict:
    return next(row for row in sheet["rows"] if row["kind"] == "sample")


def road(sheet: dict, start: int = 1) -> list[dict]:
    row = first_sample(sheet)
    number = row["number"]
    return [
        act(sheet, start, "cut", number, values={"method": row["method"], "side": "right"}),
        act(sheet, start + 1, "bagged", number, values={"tag": number}),
        act(sheet, start + 2, "weighed", number, values={"mass_g": row["expected_g"], "read": "typed"}),
    ]


def send(client, events, **more) -> list[dict]:
    answer = client.post(EVENTS, json={"events": events}, **more)
    assert answer.status_code == 200, answer.text
    return answer.json()["answers"]


def in_ledger(yard) -> list[str]:
    with yard.start_work(writing=False) as work:
        return [stored.event.event_id for stored in work.events_since(0, count=1000)]


def test_the_sheet_holds_what_a_tablet_needs_without_network(bench):
    sheet = bench.get(SHEET).json()
    assert (sheet["hole_id"], sheet["tray"], sheet["revision"]) == ("SM-01", 2, 1)
    row = first_sample(sheet)
    assert row["place"].startswith("tray 2 · row 1 · 0 cm")
    assert row["low_g"] < row["expected_g"] < row["high_g"]
    assert row["causes"][-1][0] is None
    assert "the left half?" in json.dumps(row["causes"])  # the right one is bagged
    assert set(sheet["numbers"]) >= {one["number"] for one in sheet["rows"]}
    assert sheet["now"] == moment_text(NOW)


def test_the_table_of_moves_on_the_tablet_is_the_servers(bench):
    told = bench.get(SHEET).json()["machines"]
    assert set(told) == set(MACHINES)
    for name, machine in MACHINES.items():
        assert told[name]["states"] == list(machine.states)
        moves = {(m["kind"], tuple(m["from_states"]), m["to"], tuple(m["late_in"])) for m in told[name]["moves"]}
        assert moves == {(m.kind, m.from_states, m.to, m.late_in) for m in machine.moves}


def test_a_tray_without_bags_and_a_hole_without_a_sheet_are_told_apart(bench):
    assert "tray 6" in bench.get("/bench/SM-01/6.json").json()["what"]
    assert "issued" in bench.get("/bench/SM-02/1.json").json()["what"]
    assert bench.get("/bench/NO/1.json").status_code == 404


def test_the_list_names_issued_holes_their_trays_and_ranges(bench):
    (hole,) = bench.get("/bench/sheets.json").json()["holes"]
    assert hole["hole_id"] == "SM-01"
    assert [tray for tray, _ in hole["trays"]] == [1, 2, 3, 4]
    assert hole["ranges"] == [["T1000", "T1018"]]


def test_the_shell_is_the_same_for_every_tray_and_holds_nothing_of_the_yard(bench):
    shells = {bench.get(path).text for path in ("/bench", "/bench/shell", "/bench/SM-01/2", "/bench/anything/9")}
    assert len(shells) == 1
    assert "Yard &lt;script&gt;" not in shells.pop()


def test_the_service_worker_rules_only_the_bench_and_names_files_that_are_there(bench):
    answer = bench.get("/bench/worker.js")
    assert answer.headers["service-worker-allowed"] == "/bench"
    kept = json.loads(answer.text.split("const KEPT = ")[1].split(";\n")[0])
    for address in kept:
        assert bench.get(address).status_code == 200, address
    assert {f"/static/bench/{name}.js" for name in ("bench", "queue", "sync", "state", "scan", "signals")} <= set(kept)


def test_acts_are_stored_in_order_and_answered_by_id(bench, issued):
    events = road(bench.get(SHEET).json())
    answers = send(bench, events)
    assert [one["event_id"] for one in answers] == [one["event_id"] for one in events]
    assert {(one["status"], one["standing"]) for one in answers} == {("stored", "stands")}
    assert in_ledger(issued) == [one["event_id"] for one in events]


def test_an_answer_that_got_lost_is_asked_for_again_and_stores_nothing_twice(bench, issued):
    events = road(bench.get(SHEET).json())
    send(bench, events[:2])
    answers = send(bench, events)
    assert [one["status"] for one in answers] == ["already stored", "already stored", "stored"]
    assert len(in_ledger(issued)) == 3


def test_one_bad_act_does_not_keep_the_others_out(bench, issued):
    good = road(bench.get(SHEET).json())
    bad = replace_values(good[2], 9, mass_g=-1)
    answers = send(bench, [good[0], bad, good[1], {"event_id": 7}, 5])
    assert [one["status"] for one in answers] == ["stored", "refused", "stored", "refused", "refused"]
    assert answers[1]["remedy"]
    assert len(in_ledger(issued)) == 2


def replace_values(event: dict, number: int, **values) -> dict:
    other = uuid7(milliseconds=1_900_000_000_000 + number, random_bytes=number.to_bytes(10))
    return event | {"event_id": other, "values": event["values"] | values}


def test_two_tablets_that_cut_the_same_bag_are_both_kept_and_told(bench, issued):
    sheet = bench.get(SHEET).json()
    send(bench, road(sheet))
    other = act(sheet, 50, "cut", first_sample(sheet)["number"], device="tablet 2", person="Ben",
                values={"method": "manual saw"})  # fmt: skip
    (answer,) = send(bench, [other])
    assert answer["status"] == "conflict"
    assert "Otto" in answer["why"]
    assert len(in_ledger(issued)) == 4
    news = bench.get(f"{EVENTS}?hole=SM-01&tray=2&since=3").json()
    assert [one["standing"] for one in news["events"]] == ["conflict"]


def test_news_are_of_one_tray_and_since_an_event(bench):
    sheet = bench.get(SHEET).json()
    send(bench, road(sheet))
    far = act(sheet, 70, "cut", "T1011", tray=3, values={"method": "automatic saw"})
    send(bench, [far])
    news = bench.get(f"{EVENTS}?hole=SM-01&tray=2&since=1").json()
    assert [one["event"]["kind"] for one in news["events"]] == ["bagged", "weighed"]
    assert (news["seq"], news["newest"]["revision"]) == (3, 1)
    assert bench.get(f"{EVENTS}?hole=SM-01&tray=2&since={news['seq']}").json()["events"] == []


@pytest.mark.parametrize("query", ["", "?hole=SM-01&tray=x", "?hole=SM-01&tray=2&since=-1", "?hole=%00&tray=1",
                                   "?hole=SM-02&tray=1"])  # fmt: skip
def test_news_of_nothing_are_refused(bench, query):
    assert bench.get(EVENTS + query).status_code in (404, 422)


@pytest.mark.parametrize("body", [b"", b"[]", b'{"events": 3}', b"{" * 10_000, b'{"events": [' + b"1," * 600 + b"1]}"])
def test_what_is_no_list_of_acts_is_refused(bench, issued, body):
    assert bench.post(EVENTS, content=body).status_code == 422
    assert in_ledger(issued) == []


def test_acts_of_other_screens_do_not_come_in_by_the_bench(bench, issued):
    sheet = bench.get(SHEET).json()
    answers = send(bench, [act(sheet, 1, "sealed", "T1002", values={"sack": "S-1"}),
                           act(sheet, 2, "received", "T1002", values={"by": "nobody"})])  # fmt: skip
    assert [one["status"] for one in answers] == ["refused", "refused"]
    assert in_ledger(issued) == []


def test_a_clock_hours_ahead_is_told_and_the_act_is_kept(bench, issued):
    sheet = bench.get(SHEET).json()
    (answer,) = send(bench, [act(sheet, 1, "staged", "SM-01/2", object_type="tray", captured_at="2031-05-04T12:30:00.000Z")])
    assert answer["status"] == "stored"
    assert "ahead" in answer["why"]
    assert len(in_ledger(issued)) == 1


# people


@pytest.fixture
def staffed(issued):
    door = PeopleYard(issued)
    door.add_people()
    yield door
    door.close()


def token_of(browser) -> dict[str, str]:
    browser.client.get("/bench/who.json")
    kept = {cookie.name: cookie.value for cookie in browser.client.cookies.jar}
    return {"x-form-token": next(value for name, value in kept.items() if name.endswith("trayside-form"))}


def test_with_people_nobody_signed_in_records_nothing(staffed, issued):
    browser = staffed.browser()
    assert browser.post(EVENTS, json={"events": []}).status_code in (401, 403)
    told = browser.get("/bench/who.json").json()
    assert (told["any_people"], told["person"], told["may_record"]) == (True, "", False)


def test_an_operator_records_a_viewer_does_not_and_no_token_is_no_act(staffed, issued):
    otto = staffed.browser().signed_in("Otto")
    sheet = otto.get(SHEET, headers={"accept": "application/json"}).json()
    assert otto.get("/bench/who.json").json()["person"] == "Otto"
    assert otto.post(EVENTS, json={"events": road(sheet)}).status_code == 403
    assert [one["status"] for one in send(otto, road(sheet), headers=token_of(otto))] == ["stored"] * 3
    vic = staffed.browser().signed_in("Vic")
    assert vic.post(EVENTS, json={"events": []}, headers=token_of(vic)).status_code == 403


def test_a_tablet_hands_in_acts_of_the_person_before_but_of_no_stranger_and_no_viewer(staffed, issued):
    gia = staffed.browser().signed_in("Gia")
    sheet = gia.get(SHEET, headers={"accept": "application/json"}).json()
    events = road(sheet)
    events[1] = events[1] | {"person": "Mallory"}
    events[2] = events[2] | {"person": "Vic"}
    answers = send(gia, events, headers=token_of(gia))
    assert [one["status"] for one in answers] == ["stored", "refused", "refused"]
    assert "Mallory" in answers[1]["why"]
    assert "viewer" in answers[2]["why"]


def test_only_who_may_settle_conflicts_says_that_a_conflict_stands(staffed, issued):
    gia = staffed.browser().signed_in("Gia")
    sheet = gia.get(SHEET, headers={"accept": "application/json"}).json()
    events = road(sheet)
    again = act(sheet, 40, "cut", events[0]["object_id"], values={"method": "manual saw"})
    send(gia, [*events, again], headers=token_of(gia))
    settle = act(sheet, 41, "corrected", events[0]["object_id"], corrects=again["event_id"], reason="cut again",
                 values={"verdict": "stands"})  # fmt: skip
    (refused,) = send(gia, [settle], headers=token_of(gia))
    assert (refused["status"], "settle" in refused["why"]) == ("refused", True)
    (kept,) = send(gia, [settle | {"person": "Gia"}], headers=token_of(gia))
    assert kept["status"] == "stored"


# photographs and scale


def jpeg(width_px: int = 640, height_px: int = 480) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((width_px, height_px), 60).convert("RGB").save(out, "JPEG")
    return out.getvalue()


def test_a_photograph_is_kept_once_under_its_fingerprint_and_comes_back_byte_by_byte(bench, tmp_path):
    photo = jpeg()
    for _ in range(2):
        told = bench.post("/photos", content=photo).json()
        assert told["sha256"] == hashlib.sha256(photo).hexdigest()
        assert (told["width_px"], told["media_type"]) == (640, "image/jpeg")
    answer = bench.get(f"/photos/{told['sha256']}")
    assert answer.content == photo
    assert answer.headers["content-type"] == "image/jpeg"
    assert len([path for path in (tmp_path / "photos").rglob("*") if path.is_file()]) == 1


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"%PDF-1.7 photo.jpg", "a PDF"),
        (b"PK\x03\x04photo.jpg", "ZIP"),
        (b"<svg onload='x'>", "SVG"),
        (b"GIF89a", "GIF"),
        (jpeg()[:5000], "cut short"),
        (b"", "empty"),
    ],
)
def test_a_file_that_is_no_photograph_is_refused_in_words_whatever_its_name(bench, tmp_path, content, said):
    answer = bench.post("/photos", content=content, headers={"content-type": "image/jpeg"})
    assert answer.status_code == 422
    assert said in answer.json()["what"]
    assert not (tmp_path / "photos").exists()


def test_a_photograph_larger_than_the_yard_keeps_is_refused_in_words(bench, yard):
    yard.set_rules(RULES + "[bench]\nphoto_mb = 0.5\n")
    answer = bench.post("/photos", content=jpeg(2400, 1800))
    assert answer.status_code == 422
    assert "more than the 0.5 MB" in answer.json()["what"]


def test_fifty_megabytes_are_turned_away_at_the_door(bench, tmp_path):
    assert bench.post("/photos", content=b"\xff\xd8\xff" + bytes(50_000_000)).status_code == 413
    assert not (tmp_path / "photos").exists()


def test_a_small_file_that_claims_to_be_huge_is_refused(bench):
    out = io.BytesIO()
    Image.new("1", (15_000, 12_000)).save(out, "PNG")
    assert "pixels" in bench.post("/photos", content=out.getvalue()).json()["what"]


@pytest.mark.parametrize("name", ["..%2f..%2fyard.sqlite", "0" * 63, "A" * 64, "0" * 64])
def test_no_path_leads_out_of_the_photographs(bench, name):
    assert bench.get(f"/photos/{name}").status_code == 404


def test_the_scale_gives_a_mass_only_when_it_stands_still(bench, monkeypatch):
    assert bench.get("/scale").json()["mass_g"] == 2315
    monkeypatch.setattr(ShownScale, "shown", replace(ShownScale.shown, state="moving", mass_g=None))
    told = bench.get("/scale").json()
    assert (told["state"], told["mass_g"], told["words"]) == ("moving", None, "still moving: wait")


def test_a_yard_without_scale_says_so(browser):
    assert browser.get("/scale").json()["words"].startswith("the scale does not answer")


def test_another_site_can_send_neither_acts_nor_photographs(bench):
    for address in (EVENTS, "/photos"):
        assert bench.post(address, content=b"{}", headers={"origin": "http://elsewhere.example"}).status_code == 403


# words


def test_every_word_the_tablet_says_is_in_the_table_and_no_other():
    said = "".join(path.read_text(encoding="utf-8") for path in (STATIC / "bench").glob("*.js"))
    steps = r'"(step\.[a-z_]+|done|open|cut|wash|flush|weigh|kept|mass\.do|clock\.[a-z]+)"'
    fixed = set(re.findall(r'say\("([a-z_.]+)"', said)) | set(re.findall(steps, said))
    keys = {key.removeprefix("bench.") for key in BENCH_WORDS}
    assert set(re.findall(r'say\("([a-z_.]+)"', said)) <= keys
    built = tuple(start for start in re.findall(r"say\(`([a-z_.]+)\$", said))  # such as stop. and act.
    on_the_server = {"title", "noscript", "loading", "place", "ask.half"}
    unused = {key for key in keys - fixed - on_the_server if not key.startswith((*built, "scale.", "mass.why.", "undo."))}
    assert unused == set()
