"""The bench screen in a real browser: large targets, stops that say what to do, masses, undo, closing a tray."""

from __future__ import annotations

import io
import json
import random
from dataclasses import asdict, replace

import pytest
from PIL import Image
from tests.browser.bench_server import (
    PLACE,
    Server,
    all_sent,
    another_number,
    do_next,
    events_in_ledger,
    issue,
    revise,
    rows_of,
    scan,
    start_tray,
    step_of,
    stored,
    tray_is_here,
    type_mass,
    work_through,
)
from web_yard import RULES

from trayside.app.scale_port import ScaleNow
from trayside.model.bag_states import MACHINES, state_after
from trayside.model.event import Event

pytestmark = pytest.mark.browser

SIZES = {"tablet": {"width": 1024, "height": 768}, "phone": {"width": 390, "height": 844}}
MM_20_PX = 75.6  # 20 mm at 96 px to the inch


class Shown:
    """A scale that shows what the test puts on it."""

    def __init__(self) -> None:
        self.shows = ScaleNow("bench scale", "empty")

    def now(self) -> ScaleNow:
        return self.shows


@pytest.fixture
def scale():
    return Shown()


@pytest.fixture
def issued(yard):
    yard.set_rules(RULES + '[bench.scale]\nport = "simulated"\n')
    issue(yard)
    return yard


@pytest.fixture
def server(issued, scale, tmp_path):
    one = Server(issued, tmp_path, scale=scale)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def bench(chromium, server):
    """Opens tray 2 on a tablet or a phone."""
    contexts, faults = [], []

    def opening(size: str = "tablet", *, path: str = PLACE):
        context = chromium.new_context(base_url=server.address, viewport=SIZES[size], has_touch=True)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(15_000)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(path)
        return page

    yield opening
    for context in contexts:
        context.close()
    assert faults == []


def up_to(page, step: str) -> str:
    """Work on until this step; the number it is for."""
    rows = rows_of(page)
    while step_of(page) != step:
        do_next(page, rows)
    return page.locator("#number").inner_text()


def stop_words(page) -> str:
    page.wait_for_selector(".signal-stop")
    return page.locator(".stop-words").inner_text()


def understood(page) -> None:
    page.get_by_role("button", name="Understood").click()


SMALL = """() => [...document.querySelectorAll("button, summary, a, label.button, input:not([type=file])")]
  .map((one) => ({words: one.textContent || one.id, box: one.getBoundingClientRect()}))
  .filter(({box}) => box.width < LEAST || box.height < LEAST)
  .map(({words, box}) => `${words}: ${box.width} x ${box.height}`)""".replace("LEAST", str(MM_20_PX))
WIDER = "() => document.documentElement.scrollWidth > innerWidth"


@pytest.mark.parametrize("size", SIZES)
def test_whatever_is_touched_is_20_mm_or_more_and_nothing_runs_off_the_side(bench, size):
    page, seen = bench(size), set()

    def look(name: str) -> None:
        seen.add(name)
        assert page.evaluate(SMALL) == [], name
        assert not page.evaluate(WIDER), name

    page.wait_for_selector("#text")
    look("who")
    page.locator("#text").fill("Ben Ash")
    page.locator("#main").click()
    page.wait_for_selector(".step-stage")
    look("stage")
    tray_is_here(page)
    rows = rows_of(page)
    while step_of(page).startswith("step-"):
        step = step_of(page)
        look(step)
        if step == "step-bag" and "type" not in seen:
            page.locator("#type").click()
            page.wait_for_selector(".pad")
            look("type")
            page.get_by_role("button", name="Back").click()
            scan(page, "T1000")
            stop_words(page)
            look("stop")
            understood(page)
        if step == "step-cut" and "not cut" not in seen:
            page.locator("#not-cut").click()
            page.wait_for_selector(".reasons")
            look("not cut")
            page.locator("#cancel").click()
        do_next(page, rows)
    look("closing")
    page.locator("#bags").click()
    page.wait_for_selector(".pad")
    look("count")
    page.get_by_role("button", name="Back").click()
    page.locator("#menu").click()
    page.wait_for_selector(".bag-lines")
    look("menu")
    page.goto("/bench")
    page.wait_for_selector(".hole")
    look("choose")
    assert seen >= {"step-wash", "step-cut", "step-bag", "step-insert", "step-weigh", "step-kept"}


def test_now_says_what_to_do_and_next_what_comes(bench):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-cut")
    row = rows_of(page)[number]
    now = page.locator(".now").inner_text()
    for words in (row["span"], "row 1 · 0 cm from left", row["method"], row["method_reason"], row["blade"],
                  "Into the bag: right half", "the left half stays in the tray"):  # fmt: skip
        assert words in now
    assert page.locator(".tray-map .here").count() == len(row["spans"])
    assert "STANDARD" in page.locator(".next").inner_text()
    size = page.evaluate("() => parseFloat(getComputedStyle(document.getElementById('number')).fontSize)")
    assert size >= 120


def test_the_kept_half_is_marked_with_every_mark_before_it_goes_back(bench):
    page = bench(path="/bench/SM-01/2")
    start_tray(page)
    rows = rows_of(page)
    number = next(number for number, row in rows.items() if any("depth mark" in one["what"] for one in row["re_mark"]))
    while step_of(page) != "step-kept" or page.locator("#number").inner_text() != number:
        do_next(page, rows)
    told = page.locator(".re-mark").inner_text()
    for mark in rows[number]["re_mark"]:
        assert mark["what"] in told
        assert mark["place"] in told
    page.locator("#main").click()
    all_sent(page)


@pytest.mark.parametrize(
    ("code", "what", "todo"),
    [
        ("T1004", "The core in your hands is T1002", "Find tag T1002"),
        ("T1011", "belongs to tray 3, not to tray 2", "Is the right tray on the saw?"),
        ("H2005", "belongs to hole FAR-9", "two holes"),
        ("X9999", "Nobody knows X9999", "scan again"),
        ("SM-01 R7 ABCDEF012345", "This paper is revision 7", "Take the old paper away"),
        ("FAR-9 R1 ABCDEF012345", "the sheet of FAR-9", "open the bench for FAR-9"),
    ],
)
def test_a_wrong_code_stops_with_what_to_do_and_records_nothing(bench, code, what, todo):
    page = bench()
    page.route("**/bench/sheets.json", lambda route: route.fulfill(json=with_a_far_hole(route)))
    page.reload()
    start_tray(page)
    up_to(page, "step-bag")
    before = len(stored(page, "acts"))
    scan(page, code)
    words = stop_words(page)
    assert what in words
    assert todo in words
    assert page.locator(".stop-sign .mark-octagon").count() == 1
    understood(page)
    assert step_of(page) == "step-bag"
    assert len(stored(page, "acts")) == before


def with_a_far_hole(route) -> dict:
    told = route.fetch().json()
    return told | {"holes": [*told["holes"], {"hole_id": "FAR-9", "revision": 1, "trays": [], "ranges": [["H2000", "H2050"]]}]}


def test_a_used_tag_stops(bench):
    page = bench()
    start_tray(page)
    used = up_to(page, "step-weigh")
    type_mass(page, rows_of(page)[used]["expected_g"])
    page.locator("#main").click()
    page.wait_for_selector(".step-kept")
    page.locator("#main").click()
    page.wait_for_selector(".step-insert")
    scan(page, used)
    assert f"Tag {used} is used: that bag is weighed" in stop_words(page)


def test_the_tag_of_a_withdrawn_number_stops(bench, issued):
    first = next(row for row in issued.sheet().rows if row.kind == "sample" and row.from_place.tray == 2)
    drop_first_sample(issued, first)
    page = bench()
    start_tray(page)
    up_to(page, "step-bag")
    scan(page, first.number)
    assert f"Number {first.number} was withdrawn: revision 1 had it" in stop_words(page)


def drop_first_sample(yard, row) -> None:
    from trayside.app.edit_sheet import Edit, save_edit

    save_edit(
        "SM-01", edits=(Edit("drop", row.from_mm),), base_version=yard.sheet().version, edited_by="Ada",
        start_work=yard.start_work, make_id=yard.make_id,
    )  # fmt: skip
    issue(yard, version=yard.sheet().version)


def test_another_trays_tag_is_told_before_anything_is_cut(bench):
    page = bench()
    page.locator("#text").fill("Ben Ash")
    page.locator("#main").click()
    page.wait_for_selector(".step-stage")
    scan(page, "SM-01/3")
    assert "This is SM-01/3. The sheet on the screen is for SM-01/2" in stop_words(page)
    understood(page)
    scan(page, "sm-01/2")
    page.wait_for_selector(".step-wash")
    all_sent(page)


def test_a_scan_is_not_taken_for_a_mass_and_keys_typed_by_hand_are(bench):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-weigh")
    scan(page, "1234567")
    assert f"{number} has something else to do first" in stop_words(page)
    understood(page)
    for key in "1,85":
        page.keyboard.press(key)
        page.wait_for_timeout(90)
    assert page.locator("#typed").inner_text().startswith("1.85")


@pytest.mark.parametrize("grams", [1000, 2600, 5200])
def test_an_odd_mass_is_kept_said_in_plain_words_and_wants_an_answer(bench, issued, grams):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-weigh")
    row = rows_of(page)[number]
    type_mass(page, grams)
    page.locator("#main").click()
    words = stop_words(page)
    side = "light" if grams < row["low_g"] else "heavy"
    assert f"{abs(grams - row['expected_g']) / 1000:.2f} kg {side}:" in words
    asked = next(causes for up_to_g, causes in row["causes"] if up_to_g is None or grams <= up_to_g)
    missing = abs(row["recovered_mm"] / 1000 * (grams / row["expected_g"] - 1))
    for question in asked:
        assert question.replace("{m}", f"{missing:.2f}") in words
    assert f"it should be {row['range']}" in words
    page.reload()  # it cannot be walked round
    assert step_of(page) == "step-look"
    page.locator("#main").click()
    page.get_by_role("button", name="Looked: it is right").click()
    page.wait_for_selector(".step-kept")
    all_sent(page)
    last = events_in_ledger(issued)[-1].event
    assert (last.kind, last.values, last.reason) == (
        "corrected", {"verdict": "stands"}, "opened and looked at: content is right",
    )  # fmt: skip


def test_a_mass_weighed_again_stands_beside_the_first_with_the_reason(bench, issued):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-weigh")
    good = rows_of(page)[number]["expected_g"]
    type_mass(page, 1000)
    page.locator("#main").click()
    stop_words(page)
    page.get_by_role("button", name="Weigh again").click()
    page.get_by_role("button", name="a piece was missing").click()
    type_mass(page, good)
    page.locator("#main").click()
    page.wait_for_selector(".step-kept")
    all_sent(page)
    first, again = (one.event for one in events_in_ledger(issued)[-2:])
    assert first.values["mass_g"] == 1000
    assert again.values == {"verdict": "restated", "mass_g": good}
    assert (again.corrects, again.reason) == (first.event_id, "a piece was missing or too many")


def test_undo_sets_the_last_act_aside_with_a_reason_and_keeps_it(bench, issued):
    page = bench()
    start_tray(page)
    up_to(page, "step-bag")
    page.locator("#undo").click()
    page.get_by_role("button", name="tapped too early").click()
    page.wait_for_selector(".step-cut")
    all_sent(page)
    cut, undone = (one.event for one in events_in_ledger(issued)[-2:])
    assert (cut.kind, undone.corrects, undone.values) == ("cut", cut.event_id, {"verdict": "set_aside"})
    assert undone.reason == "tapped too early"


def test_what_could_not_be_cut_needs_a_reason_and_keeps_the_tray_open_until_it_is_settled(bench, issued):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-cut")
    page.locator("#not-cut").click()
    page.get_by_role("button", name="too short to hold").click()
    another_number(page, number)
    work_through(page, rows_of(page))
    assert number in page.locator(".checks").inner_text()
    assert page.locator("#main").is_disabled()
    page.locator("#menu").click()
    page.get_by_role("button", name=f"Void {number}").click()
    page.locator("#other").fill("Gia says: lost core, nothing to cut")
    page.get_by_role("button", name="Save").click()
    page.wait_for_selector(".bag-lines")
    all_sent(page)
    kinds = [one.event.kind for one in events_in_ledger(issued) if one.event.object_id == number]
    assert kinds == ["could_not_cut", "voided"]


def test_the_next_bag_does_not_open_while_this_one_is_not_weighed(bench):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-weigh")
    page.locator("#menu").click()
    page.locator("[data-number=T1004] .line").click()
    assert f"Finish {number} first" in stop_words(page)


def test_where_the_yard_wants_it_bags_are_weighed_later(bench, issued):
    issued.set_rules(RULES + "[bench]\nweigh_before_next = false\n")
    page = bench()
    start_tray(page)
    first = up_to(page, "step-bag")
    scan(page, first)
    another_number(page, first)
    done = work_through(page, rows_of(page))
    assert (first, "step-weigh") in done


def test_the_scale_gives_its_mass_when_it_stands_still_and_once_for_each_bag(bench, scale, issued):
    page = bench()
    start_tray(page)
    number = up_to(page, "step-weigh")
    scale.shows = replace(scale.shows, state="moving")
    page.get_by_text("still moving: wait").wait_for()
    assert page.locator("#main").is_disabled()
    mass_g = rows_of(page)[number]["expected_g"] + 3
    scale.shows = ScaleNow("bench scale", "stable", mass_g, load=1)
    page.get_by_role("button", name=f"Take {mass_g / 1000:.3f} kg").click()
    page.wait_for_selector(".step-kept")
    page.locator("#main").click()
    second = up_to(page, "step-weigh")
    assert second != number
    page.get_by_role("button", name=f"Take {mass_g / 1000:.3f} kg").click()
    assert "still the bag before" in stop_words(page)
    understood(page)
    all_sent(page)
    weighed = [one.event.values for one in events_in_ledger(issued) if one.event.kind == "weighed"]
    assert weighed == [{"mass_g": mass_g, "read": "scale", "scale": "bench scale"}]


def picture_file(width_px: int, height_px: int, *, grain_px: int = 1) -> dict:
    out = io.BytesIO()
    noise = Image.effect_noise((width_px // grain_px, height_px // grain_px), 60).resize((width_px, height_px))
    noise.convert("RGB").save(out, "JPEG", quality=98)
    return {"name": "tray 2.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()}


def test_a_tray_is_closed_when_bags_tickets_and_plan_agree_and_the_photograph_is_taken(bench, issued, tmp_path):
    page = bench()
    start_tray(page)
    work_through(page, rows_of(page))
    plan = len(rows_of(page))

    def count(name: str, number: int) -> None:
        page.locator(f"#{name}").click()
        page.get_by_role("button", name=str(number), exact=True).click()
        page.locator("#main").click()

    count("bags", plan - 1)
    assert f"You counted {plan - 1}; the plan says {plan}" in stop_words(page)
    understood(page)
    assert page.locator("#main").is_disabled()
    count("bags", plan)
    count("tickets", plan)
    assert page.locator("#main").is_disabled()
    page.locator("#photo").set_input_files(
        {"name": "tray.jpg", "mimeType": "image/jpeg", "buffer": b"%PDF-1.7 not a photograph"}
    )
    assert "This file is not a photograph: it is a PDF" in stop_words(page)
    understood(page)
    photo = picture_file(1200, 900)
    page.locator("#photo").set_input_files(photo)
    page.wait_for_function("() => !document.getElementById('main').disabled")
    page.locator("#main").click()
    page.wait_for_selector(".closed")
    all_sent(page)
    events = [one.event for one in events_in_ledger(issued)]
    closed = events[-1]
    assert (closed.kind, closed.values) == ("tray_closed", {"bags": plan, "tickets": plan})
    taken = next(event for event in events if event.kind == "photo_attached")
    (file,) = [path for path in (tmp_path / "photos").rglob("*") if path.is_file()]
    assert file.name == taken.values["sha256"]
    assert file.read_bytes() == photo["buffer"]  # kept as it was taken
    assert stored(page, "photos") == []  # the tablet has its room back


def test_a_photograph_waits_for_the_network_and_one_too_large_is_made_smaller_on_the_tablet(bench, issued, server, tmp_path):
    issued.set_rules(RULES + "[bench]\nphoto_mb = 0.5\n")
    page = bench()
    start_tray(page)
    work_through(page, rows_of(page))
    all_sent(page)
    page.context.set_offline(True)
    large = picture_file(2600, 1900, grain_px=6)
    assert len(large["buffer"]) > 1e6
    page.locator("#photo").set_input_files(large)
    page.get_by_text("made smaller here").wait_for()
    assert [photo["state"] for photo in stored(page, "photos")] == ["waiting"]
    page.context.set_offline(False)
    all_sent(page)
    (file,) = [path for path in (tmp_path / "photos").rglob("*") if path.is_file()]
    assert file.stat().st_size <= 500_000
    with Image.open(file) as image:
        assert max(image.size) >= 1280


def test_an_act_the_tablet_cannot_store_is_said_and_the_screen_stays(bench):
    page = bench()
    start_tray(page)
    up_to(page, "step-cut")
    before = len(stored(page, "acts"))
    page.evaluate(
        """() => { const add = IDBObjectStore.prototype.add;
             IDBObjectStore.prototype.add = function () { IDBObjectStore.prototype.add = add;
               throw new DOMException("no room left", "QuotaExceededError"); }; }"""
    )
    page.locator("#main").click()
    assert "cannot store this act: no room left" in stop_words(page)
    understood(page)
    assert step_of(page) == "step-cut"
    page.locator("#main").click()
    page.wait_for_selector(".step-bag")
    assert len(stored(page, "acts")) == before + 1


def test_a_tap_right_after_the_screen_moved_on_counts_and_a_double_tap_counts_once(bench):
    """While the tablet sends and fetches all the time: the screen must not move on before it takes the next tap."""
    page = bench()
    start_tray(page)
    up_to(page, "step-cut")
    told = page.evaluate(
        """async () => {
          const step = () => document.querySelector(".now").className;
          const busy = setInterval(() => dispatchEvent(new Event("online")), 3);
          const tap = (id) => new Promise((done, late) => {
            const before = step();
            const seen = new MutationObserver(() => { if (step() !== before) { seen.disconnect(); setTimeout(done); } });
            seen.observe(document.getElementById("bench"), { childList: true });
            const button = document.getElementById(id);
            button.click();
            button.click();
            setTimeout(() => late(new Error(`the tap on ${before} was lost`)), 8000);
          });
          const reason = () => new Promise((done) => {
            const look = () => { const one = document.querySelector(".reason"); one ? done(one) : setTimeout(look); };
            look();
          });
          const steps = [];
          for (let turn = 0; turn < 12; turn += 1) {
            await tap("main");
            steps.push(step());
            document.getElementById("undo").click();
            (await reason()).click();
            await new Promise((done) => {
              const look = () => (document.querySelector(".step-cut") ? done() : setTimeout(look));
              look();
            });
          }
          clearInterval(busy);
          return steps;
        }"""
    )
    assert told == ["now step-bag"] * 12
    all_sent(page)
    kinds = [act["event"]["kind"] for act in stored(page, "acts")][-24:]
    assert kinds == ["cut", "corrected"] * 12


def test_the_look_is_remembered_and_status_is_never_colour_alone(bench):
    page = bench()
    start_tray(page)
    step_of(page)
    page.locator("#menu").click()
    page.locator("#look").click()
    page.reload()
    step_of(page)
    assert page.evaluate("() => document.documentElement.dataset.look") == "night"
    for told in page.locator("#status .told").all():
        assert told.locator("svg").count() == 1
        assert told.inner_text().strip()


def test_markup_in_the_yards_texts_is_only_text(bench):
    page = bench()
    start_tray(page, name="<img src=x onerror=alert(1)>")
    rows = rows_of(page)
    number = next(number for number, row in rows.items() if "<b>" in row["caution"])
    while page.locator("#number").inner_text() != number or step_of(page) != "step-cut":
        do_next(page, rows)
    assert "visible metal <b>" in page.locator("p.caution").inner_text()
    page.locator("#menu").click()
    assert "<img src=x" in page.locator("#person").inner_text()


# The tablet's states are the server's


KINDS = {
    "bag": ["cut", "could_not_cut", "bagged", "weighed", "sealed", "received", "voided", "kept_half_returned"],
    "control": ["inserted", "weighed", "sealed", "received", "voided"],
    "tray": ["staged", "tray_closed", "rack_placed"],
}


def random_history(chance: random.Random, machine: str) -> list[Event]:
    events = []
    for number in range(chance.randint(1, 9)):
        name = f"{number:08d}-0000-7000-8000-000000000000"
        common = {"event_id": name, "object_type": "bag", "object_id": "T1", "person": "Ada", "device": "d",
                  "captured_at": "2031-05-04T07:30:00.000Z", "utc_offset_min": 0, "software": "t"}  # fmt: skip
        acts = [event for event in events if event.kind != "corrected"]
        if acts and chance.random() < 0.3:
            verdict = chance.choice(["stands", "set_aside", "restated"])
            values = {"verdict": verdict} | ({"mass_g": number} if verdict == "restated" else {})
            corrects = chance.choice(acts).event_id
            events.append(Event(**common, kind="corrected", values=values, corrects=corrects, reason="why"))
        else:
            events.append(Event(**common, kind=chance.choice(KINDS[machine]), values={"mass_g": 100 + number}))
    return events


def test_a_tablet_reads_the_same_states_off_the_same_events_as_the_server(bench):
    page = bench()
    page.wait_for_selector("#text")
    chance = random.Random(20310504)
    cases = [(machine, random_history(chance, machine)) for machine in KINDS for _ in range(250)]
    sent = [[machine, [{"event": asdict(event), "standing": "stands", "why": ""} for event in events]] for machine, events in cases]
    told = page.evaluate(
        """async (text) => {
          const { foldObject } = await import("/static/bench/state.js");
          const { machines, cases } = JSON.parse(text);
          const name = (one) => (one.event ?? one).event_id;
          return cases.map(([machine, entries]) => {
            const { state, facts, waiting, conflicts, setAside } = foldObject(entries, machines[machine]);
            const counted = facts.map((fact) => [name(fact), fact.values]);
            return [state, counted, waiting.map(name), conflicts.map(name), setAside.map(name)];
          });
        }""",
        json.dumps({"machines": {name: machine_json(name) for name in KINDS}, "cases": sent}),
    )
    states = set()
    for (machine, events), tablet in zip(cases, told, strict=True):
        server = state_after(events, machine=machine)
        states.add((machine, server.state))
        assert tablet == [
            server.state,
            [[fact.event.event_id, fact.values] for fact in server.facts],
            [event.event_id for event in server.waiting],
            [found.event.event_id for found in server.conflicts],
            [event.event_id for event in server.set_aside],
        ], (machine, [(event.kind, event.values, event.corrects) for event in events])
    assert len(states) >= 14  # the histories reach nearly everything


def machine_json(name: str) -> dict:
    machine = MACHINES[name]
    return {"states": list(machine.states), "moves": [asdict(move) for move in machine.moves]}


def test_ids_made_on_the_tablet_are_version_7_and_never_go_back(bench):
    page = bench()
    page.wait_for_selector("#text")
    made = page.evaluate(
        """async () => {
          const { uuid7 } = await import("/static/bench/ids.js");
          const now = Date.now();
          return Array.from({ length: 6000 }, (_, at) => uuid7(at < 5000 ? now : now - 3_600_000));
        }"""
    )
    assert made == sorted(made)
    assert len(set(made)) == len(made)
    assert all(one[14] == "7" and one[19] in "89ab" and len(one) == 36 for one in made)


def test_a_sheet_revised_twice_brings_the_newest(bench, issued):
    page = bench()
    start_tray(page)
    revise(issued)
    stop_words(page)
    page.get_by_role("button", name="Load revision 2").click()
    page.get_by_text("bags · revision 2").wait_for()
    revise(issued)
    stop_words(page)
    page.get_by_role("button", name="Load revision 3").click()
    page.get_by_text("bags · revision 3").wait_for()
    assert stored(page, "sheets")[0]["paper"]["revision"] == 3
