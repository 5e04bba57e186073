"""Where a person meets a hazard, the screen says so: at the bench, on Saws, on a sack, on the cut sheet."""

from __future__ import annotations

import re
from html import unescape

import pytest
from starlette.testclient import TestClient
from web_yard import NOW, Yard, load_into, write_folder

from trayside.model.load import Sack
from trayside.pages.paper_words import CAUTIONS
from trayside.web.services import Services
from trayside.web.site import build_site
from trayside.web.words import say

ADDRESS = "http://127.0.0.1:8000"
HAZARDS = ("saw", "silica", "noise", "electricity", "lifting")


def text_of(answer) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def test_a_sack_says_that_it_is_heavy(browser, yard):
    with yard.start_work() as work:
        work.loads.add_sacks([Sack("SK-00001", ("T1000",), NOW, "Demo operator")])
        work.commit()
    told = text_of(browser.get("/sacks/SK-00001"))
    assert say("caution.lifting") in told
    assert say("caution.first") in told


def test_the_saws_screen_names_every_hazard_of_the_saw(tmp_path):
    folder = write_folder(tmp_path / "yard")
    (folder / "saws.csv").write_text("saw,kind,spindle_rpm\nSaw-1,manual,1400\n", encoding="utf-8")
    load_into(tmp_path / "yard.sqlite", folder)
    yard = Yard(tmp_path / "yard.sqlite")
    site = build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers))
    with TestClient(site, base_url=ADDRESS, headers={"origin": ADDRESS}) as client:
        told = text_of(client.get("/saws"))
    yard.engine.dispose()
    for hazard in HAZARDS:
        assert say(f"caution.{hazard}") in told


def test_the_bench_warns_before_the_tray_is_taken_and_the_blade_turns(browser):
    words = browser.get("/bench").text
    for told in ("two people or a trolley", "guard down", "water on (silica)", "plugs dry", "ears, eyes and breathing covered"):
        assert told in words


@pytest.mark.parametrize("told", ["trained", "silica", "electricity", "ear, eye and breathing", "two people", "Local law"])
def test_the_cut_sheet_carries_the_cautions(told):
    assert any(told in caution for caution in CAUTIONS)
