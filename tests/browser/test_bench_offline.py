"""The bench in a real browser with the network really cut: nothing lost, nothing doubled, conflicts kept and shown."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections import Counter
from datetime import UTC, datetime, timedelta
from urllib.request import urlopen

import pytest
from tests.browser.bench_server import (
    PLACE,
    Server,
    all_sent,
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
    work_through,
)

from trayside.app.people import add_person
from trayside.store.secrets_argon2 import Argon2Secrets

pytestmark = pytest.mark.browser

TABLET = {"width": 1024, "height": 768}
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-dev-shm-usage", "--no-first-run"]


@pytest.fixture
def issued(yard):
    issue(yard)
    return yard


@pytest.fixture
def server(issued, tmp_path):
    one = Server(issued, tmp_path)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def tablet(chromium, server):
    """Makes tablets: browsers of their own, each with its own store."""
    made, faults = [], []

    def making():
        context = chromium.new_context(base_url=server.address, viewport=TABLET)
        context.on("weberror", lambda error: faults.append(str(error.error)))
        made.append(context)
        return context

    yield making
    for context in made:
        context.close()
    assert faults == []


def opened(context, path: str = PLACE):
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.goto(path)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_selector("#status")
    return page


def kept(page) -> list[dict]:
    return [act["event"] for act in stored(page, "acts")]


def ids(events) -> list[str]:
    return [event["event_id"] if isinstance(event, dict) else event.event.event_id for event in events]


def test_a_tray_is_cut_bagged_and_weighed_without_network_and_comes_back_once(tablet, server, issued):
    context = tablet()
    page = opened(context)
    start_tray(page)
    all_sent(page)
    rows = rows_of(page)
    first = [do_next(page, rows) for _ in range(5)]
    assert first == ["step-wash", "step-cut", "step-bag", "step-weigh", "step-kept"]
    all_sent(page)

    context.set_offline(True)
    server.stop()
    done = work_through(page, rows)
    cores = [number for number, row in rows.items() if row["kind"] == "sample"]
    assert {number for number, _ in done} == set(rows) - {cores[0]}
    assert "no network" in page.locator("#status").inner_text()
    here = kept(page)
    assert len(here) == 1 + len(first) + len(done)
    assert len(events_in_ledger(issued)) == 1 + len(first)

    page.close()  # the tab is closed, the shed is still without network
    page = context.new_page()
    page.goto(PLACE)
    assert step_of(page) == "page closing"
    assert kept(page) == here

    server.start()
    context.set_offline(False)
    all_sent(page)
    ledger = events_in_ledger(issued)
    assert ids(ledger) == ids(here)  # once each, in the order they were done
    assert {one.standing for one in ledger} == {"stands"}
    page.reload()
    page.wait_for_selector(".closing")
    all_sent(page)
    assert len(events_in_ledger(issued)) == len(here)


def test_the_bench_opens_without_network_after_the_browser_was_closed_and_lists_its_trays(tablet, server):
    context = tablet()
    page = opened(context)
    start_tray(page)
    all_sent(page)
    page.close()
    context.set_offline(True)
    server.stop()
    page = context.new_page()
    page.goto("/bench")
    page.get_by_role("button", name="SM-01 Tray 2").click()
    assert step_of(page) == "step-wash"
    page.goto("/bench/SM-01/3")
    page.get_by_text("This tray is not on the tablet").wait_for()


def test_an_answer_that_gets_lost_is_sent_again_with_the_same_ids(tablet, issued):
    context = tablet()
    page = opened(context)
    start_tray(page)
    all_sent(page)
    lost = []

    def lose(route):
        if len(lost) < 2:
            lost.append(route.fetch().json())  # the yard has it; the tablet never hears
            route.abort()
        else:
            route.continue_()

    page.route("**/bench/events", lambda route: lose(route) if route.request.method == "POST" else route.continue_())
    rows = rows_of(page)
    for _ in range(3):
        do_next(page, rows)
    page.wait_for_function("() => document.querySelector('#status .mark-ring') !== null", timeout=30_000)
    assert len(lost) == 2
    assert lost[0]["answers"][0]["status"] == "stored"
    assert ids(events_in_ledger(issued)) == ids(kept(page))


def test_the_server_may_be_restarted_between_any_two_acts(tablet, server, issued):
    page = opened(tablet())
    start_tray(page)
    rows = rows_of(page)
    for _ in range(3):
        server.stop()
        do_next(page, rows)
        server.start()
        do_next(page, rows)
    all_sent(page)
    assert ids(events_in_ledger(issued)) == ids(kept(page))


def test_two_tablets_at_one_sheet_see_each_other_and_what_both_did_is_kept_and_shown(tablet, issued):
    one, two = tablet(), tablet()
    first, second = opened(one), opened(two)
    start_tray(first, name="Ben Ash")
    all_sent(first)
    second.locator("#text").fill("Cai Low")
    second.locator("#main").click()
    second.wait_for_selector(".step-wash")  # the tray was staged by the first
    rows = rows_of(first)
    do_next(first, rows)
    do_next(first, rows)
    all_sent(first)
    second.wait_for_selector(".step-bag", timeout=15_000)

    one.set_offline(True)
    two.set_offline(True)
    number = first.locator("#number").inner_text()
    do_next(first, rows)
    do_next(first, rows)
    scan(second, number)
    second.wait_for_selector(".step-weigh")
    assert second.locator("#number").inner_text() == number
    one.set_offline(False)
    all_sent(first)
    two.set_offline(False)
    second.wait_for_selector("#status .mark-octagon", timeout=30_000)
    second.locator("#menu").click()
    told = second.locator(".troubles").inner_text()
    assert f"bagged {number}" in told
    assert "Ben Ash" in told  # against whom
    kinds = Counter((one.event.kind, one.standing) for one in events_in_ledger(issued) if one.event.object_id == number)
    assert kinds == {("cut", "stands"): 1, ("bagged", "stands"): 1, ("bagged", "conflict"): 1, ("weighed", "stands"): 1}
    second.locator("#menu").click()
    second.wait_for_selector(".step-kept")  # it goes on from what the other tablet did
    assert [act["state"] for act in stored(second, "acts")].count("conflict") == 1


def test_a_clock_wrong_by_hours_is_told_and_the_order_is_the_tablets_own(tablet, server, issued):
    context = tablet()
    page = context.new_page()
    page.set_default_timeout(15_000)
    page.clock.install(time=datetime.now(UTC) + timedelta(hours=7))
    page.goto(PLACE)
    page.locator("#text").fill("Ben Ash")
    page.wait_for_selector(".signal-stop")
    told = page.locator(".stop-what").inner_text()
    assert "7.0 h ahead" in told
    page.get_by_role("button", name="Understood").click()
    page.locator("#main").click()
    tray_is_here(page)
    rows = rows_of(page)
    do_next(page, rows)
    page.clock.set_system_time(datetime.now(UTC) - timedelta(days=2))  # the battery was out
    do_next(page, rows)
    do_next(page, rows)
    page.clock.run_for(70_000)
    all_sent(page)
    ledger = events_in_ledger(issued)
    assert [one.event.kind for one in ledger] == ["staged", "washed", "cut", "bagged"]
    assert ids(ledger) == sorted(ids(ledger))  # ids go on although the clock went back
    captured = [one.event.captured_at for one in ledger]
    assert captured != sorted(captured)  # the device's own clock stands as it was


def test_a_revised_sheet_stops_the_work_and_brings_the_new_one(tablet, server, issued):
    context = tablet()
    page = opened(context)
    start_tray(page)
    all_sent(page)
    before = set(rows_of(page))
    revise(issued)
    page.wait_for_selector(".signal-stop", timeout=15_000)
    assert "revision 1, the yard has 2" in page.locator(".stop-what").inner_text()
    page.get_by_role("button", name="Load revision 2").click()
    page.get_by_text("bags · revision 2").wait_for()
    assert set(rows_of(page)) - before
    assert step_of(page).startswith("step-")
    assert stored(page, "sheets")[0]["paper"]["revision"] == 2


def test_acts_of_a_person_signed_out_meanwhile_wait_and_go_out_after_the_next_sign_in(chromium, issued, tmp_path):
    secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)
    for name, role in (("Lea", "lead"), ("Otto", "operator"), ("Gia", "geologist")):
        add_person(name, role=role, pin="193746", start_work=issued.start_work, clock=issued.clock,
                   make_id=issued.make_id, secrets=secrets)  # fmt: skip
    server = Server(issued, tmp_path, secrets=secrets)
    server.start()
    context = chromium.new_context(base_url=server.address, viewport=TABLET)
    try:
        page = opened(context)
        page.get_by_text("Sign in to record").wait_for()
        page.locator("#main").click()
        sign_in(page, "Otto")
        tray_is_here(page)
        all_sent(page)
        context.clear_cookies(name="trayside-session")  # the session ends
        rows = rows_of(page)
        for _ in range(3):
            do_next(page, rows)
        page.get_by_text("sign in to send").wait_for()
        assert len(events_in_ledger(issued)) == 1
        page.locator("#menu").click()
        page.locator("#person").click()
        sign_in(page, "Gia")
        all_sent(page)
        assert step_of(page) == "step-weigh"
        do_next(page, rows)
        all_sent(page)
        ledger = events_in_ledger(issued)
        assert ids(ledger) == ids(kept(page))
        assert [one.event.person for one in ledger] == ["Otto"] * 4 + ["Gia"]
    finally:
        context.close()
        server.stop()


def sign_in(page, name: str) -> None:
    page.wait_for_url("**/sign-in**")
    page.locator("label.name", has_text=name).click()
    page.locator("#pin").fill("193746")
    page.locator("button.go").click()
    page.wait_for_url("**/bench/SM-01/2")


def test_a_flat_battery_leaves_every_act_whole_or_absent(chromium, server, tmp_path, issued):
    """The browser is killed right after a tap, without a word; what it had shown as done before is on the disk."""
    folder, shown = tmp_path / "profile", []
    for turn in range(3):
        process, port = killable(folder)
        try:
            browser = chromium.browser_type.connect_over_cdp(f"http://127.0.0.1:{port}")
            page = opened(browser.contexts[0], server.address + PLACE)
            if turn == 0:
                start_tray(page)
            rows = rows_of(page)
            on_disk = ids(kept(page))
            assert on_disk[: len(shown)] == shown  # what was shown before the battery went flat is there
            assert len(on_disk) <= len(shown) + 1  # and of the last tap all or nothing
            do_next(page, rows)
            do_next(page, rows)
            shown = ids(kept(page))
            page.evaluate("document.getElementById('main')?.click()")
        finally:
            process.kill()
            process.wait()
    process, port = killable(folder)
    try:
        browser = chromium.browser_type.connect_over_cdp(f"http://127.0.0.1:{port}")
        page = opened(browser.contexts[0], server.address + PLACE)
        all_sent(page)
        assert ids(events_in_ledger(issued)) == ids(kept(page))
        assert ids(kept(page))[: len(shown)] == shown
    finally:
        process.kill()
        process.wait()


def killable(folder):
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    found = shutil.which("chromium")
    process = subprocess.Popen(
        [found, *FLAGS, "--headless=new", f"--user-data-dir={folder}", f"--remote-debugging-port={port}", "about:blank"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True,
    )  # fmt: skip
    until = time.monotonic() + 30
    while time.monotonic() < until:
        try:
            urlopen(f"http://127.0.0.1:{port}/json/version", timeout=1).close()
            return process, port
        except OSError:
            time.sleep(0.1)
    process.kill()
    raise AssertionError("Chromium did not start")
