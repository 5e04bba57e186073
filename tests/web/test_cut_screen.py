"""Which way to cut on the screen: the verdict, the register, readings, and who bagged which half."""

from __future__ import annotations

import html
import re
import shutil
import sys
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))

from web_yard import MARKUP, Yard, load_into, write_folder

from trayside.app.hole_view import view_hole
from trayside.app.plan_samples import plan_samples
from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"
BETA_DEG = 70


def uuid7(number: int) -> str:
    return f"01890000-0000-7000-8000-{number:012x}"


@pytest.fixture(scope="module")
def veined_template(tmp_path_factory) -> Path:
    """The small yard with 40 veins in SM-01 that all ask for a cut at 70 degrees."""
    folder = tmp_path_factory.mktemp("cut")
    yard = write_folder(folder / "yard")
    holes = (yard / "holes.csv").read_text(encoding="utf-8")
    (yard / "holes.csv").write_text(holes.replace("10,20,30,90,-60", "10,20,30,225,-45"), encoding="utf-8")
    chance = np.random.default_rng(5)
    rows = [
        f"SM-01,{at:.2f},35,{(BETA_DEG + turned) % 360:.0f},20,vein"
        for at, turned in zip(np.sort(chance.uniform(5.2, 29.8, 40)), chance.normal(0, 4, 40), strict=True)
    ]
    rows += ["SM-01,2.00,0,10,,foliation", "SM-01,3.00,90,,,joint", "SM-01,4.00,40,,,foliation"]
    (yard / "fabric.csv").write_text("hole_id,depth_m,alpha_deg,beta_deg,thickness_mm,kind\n" + "\n".join(rows) + "\n")
    load_into(folder / "yard.sqlite", yard)
    made = Yard(folder / "yard.sqlite")
    plan_samples("SM-01", start_work=made.start_work, make_id=made.make_id)
    made.engine.dispose()
    return folder / "yard.sqlite"


@pytest.fixture
def yard(veined_template, tmp_path):
    yard = Yard(Path(shutil.copy(veined_template, tmp_path / "yard.sqlite")))
    yard.make_id = lambda: uuid7(next(yard.ids))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(yard):
    site = build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers))
    with TestClient(site, base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False) as client:
        yield client


def words(answer) -> str:
    """The text of a page, tags taken out."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def fingerprint(answer) -> str:
    return re.search(r'name="fingerprint" value="(\w+)"', answer.text)[1]


def register(yard):
    with yard.start_work(writing=False) as work:
        return view_hole(work, "SM-01").cut_register


def set_line(browser, **more):
    typed = {"from": "5", "to": "16", "start": "29 mm", "end": "", "side": "right", "basis": "other", "reason": "gouge",
             "signed_by": "Demo geologist"}  # fmt: skip
    return browser.post("/hole/SM-01/cut/set", data=typed | more)


def test_the_screen_gives_the_order_in_millimetres_and_the_price_of_the_line(browser):
    told = words(browser.get("/hole/SM-01/cut"))
    assert "The orientation line is not the place to cut everywhere" in told
    assert re.search(r"Draw the cut line 2[7-9] mm clockwise of the orientation line|Draw the cut line 30 mm", told)
    assert re.search(r"by [\d.]+ % at the best plane, by [\d.]+ % along the drawn line", told)
    assert "nothing can be said" not in told.lower()


def test_every_picture_has_words_of_its_own_and_a_table_beside_it(browser):
    page = browser.get("/hole/SM-01/cut").text
    labels = [html.unescape(label) for label in re.findall(r'<svg[^>]*aria-label="([^"]+)"', page)]
    assert any("End of the core looking downhole" in label for label in labels)
    assert sum("Surface of the core unrolled" in label for label in labels) == 2
    assert any(re.fullmatch(r"Rose of beta; best plane at \d+°", label) for label in labels)
    assert page.count('scope="row"') > 20


def test_a_tray_can_be_chosen_for_the_pictures(browser):
    assert "tray 2, at its start" in words(browser.get("/hole/SM-01/cut?tray=2"))
    assert browser.get("/hole/SM-01/cut?tray=junk").status_code == 200


def test_the_computed_orders_are_signed_into_the_register_and_reach_sheet_and_bench(browser, yard):
    page = browser.get("/hole/SM-01/cut")
    answer = browser.post(
        "/hole/SM-01/cut/advised",
        data={"fingerprint": fingerprint(page), "reason": "computed", "signed_by": "Demo geologist"},
    )
    assert answer.status_code == 200
    assert "The register holds what was computed." in words(answer)
    held = register(yard)
    assert held.any_set
    assert held.at(10_000).person == "Demo geologist"
    assert held.at(10_000).angle_at(10_000) == pytest.approx(BETA_DEG, abs=4)
    assert "The register holds what was computed." in words(browser.get("/hole/SM-01/sheet"))
    issued = browser.post(
        "/hole/SM-01/sheet/issue", data={"base_version": yard.sheet().version, "issued_by": "Demo geologist"}
    )
    assert issued.status_code == 200
    told = browser.get("/bench/SM-01/2.json").json()
    blades = [row["blade"] for row in told["rows"] if row["kind"] == "sample" and row["side"]]
    assert blades
    assert all(
        re.match(r"Cut line: \d+ mm clockwise of the orientation line\. Cut 3 mm right of the cut line;", one)
        for one in blades
    )
    before = told["newest"]["cut_lines"]
    assert set_line(browser).status_code == 200
    assert browser.get("/bench/SM-01/2.json").json()["newest"]["cut_lines"] > before


def test_orders_that_changed_since_the_page_was_drawn_are_not_signed(browser, yard):
    answer = browser.post(
        "/hole/SM-01/cut/advised", data={"fingerprint": "0" * 16, "reason": "computed", "signed_by": "A"}
    )
    assert answer.status_code == 422
    assert "The orders have changed since this page was drawn" in words(answer)
    assert not register(yard).any_set


def test_a_stretch_set_by_hand_says_what_why_and_who(browser, yard):
    answer = set_line(browser, reason=MARKUP)
    assert answer.status_code == 200
    assert MARKUP not in answer.text
    assert MARKUP in words(answer) or "alert('yard')" in words(answer)
    held = register(yard).at(8_000)
    assert (held.from_mm, held.to_mm, held.side, held.basis) == (5_000, 16_000, "right", "other")
    assert held.start_deg == 70  # 29 mm on NQ are 69.8 degrees (derived), kept as whole degrees


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ({"start": "12"}, "does not say mm or degrees"),
        ({"start": ""}, "No place was typed"),
        ({"from": "16", "to": "5"}, "bottom does not lie below the top"),
        ({"reason": "  "}, "No reason was given"),
        ({"signed_by": ""}, "No name was given"),
        ({"basis": "habit"}, "not said what the line follows"),
        ({"side": "upper"}, "No half is named"),
        ({"from": "x"}, "is not a depth"),
    ],
)
def test_what_cannot_be_set_is_refused_in_words_and_nothing_is_stored(browser, yard, typed, told):
    answer = set_line(browser, **typed)
    assert answer.status_code == 422
    assert told.lower() in words(answer).lower()
    assert 'value="29 mm"' in answer.text or "start" in typed
    assert not register(yard).any_set


def test_another_half_by_exception_stops_the_sheet_until_it_is_computed_anew(browser, yard):
    set_line(browser, side="left", start="0", basis="orientation line", reason="line on the other half here")
    refused = browser.post("/hole/SM-01/sheet/issue", data={"base_version": yard.sheet().version, "issued_by": "A"})
    assert refused.status_code == 422
    assert "The sheet bags the right half, the cut-line register the left half" in words(refused)
    version = yard.sheet().version
    browser.post("/hole/SM-01/sheet/plan", data={"base_version": version, "edited_by": "A", "sure": "yes"})
    sides = {
        row.side
        for row in yard.sheet().rows
        if row.kind == "sample" and row.from_mm >= 5_000 and row.to_mm <= 16_000 and row.side
    }
    assert sides == {"left"}
    first = next(row for row in yard.sheet().rows if row.kind == "sample" and row.side == "left")
    assert first.low_kg < first.expected_kg < first.high_kg
    assert (
        browser.post(
            "/hole/SM-01/sheet/issue", data={"base_version": yard.sheet().version, "issued_by": "A"}
        ).status_code
        == 200
    )


def test_readings_of_the_drawn_line_are_kept_and_a_line_that_turns_is_told(browser):
    for tray, start, end in ((1, "0", "12°"), (2, "12°", "24°"), (3, "24°", "36°"), (4, "36°", "48°")):
        answer = browser.post(
            "/hole/SM-01/cut/read", data={"tray": tray, "start": start, "end": end, "signed_by": "Demo operator"}
        )
        assert answer.status_code == 200
    told = words(answer)
    assert "The drawn cut line turns by +48° over 20 m" in told
    assert "find where the line was lost" in told
    assert "turns too much" in told
    refused = browser.post("/hole/SM-01/cut/read", data={"tray": 99, "start": "0", "end": "0", "signed_by": "A"})
    assert refused.status_code == 422
    assert "has no tray 99" in words(refused)


def test_the_operator_who_bags_the_other_half_is_named_with_an_exact_chance(browser, yard):
    browser.post("/hole/SM-01/sheet/issue", data={"base_version": yard.sheet().version, "issued_by": "Demo geologist"})
    trays = [tray for sheet in browser.get("/bench/sheets.json").json()["holes"] for tray, _ in sheet["trays"]]
    bags = []
    for tray in trays:
        told = browser.get(f"/bench/SM-01/{tray}.json").json()
        bags += [(tray, row["number"], row["side"]) for row in told["rows"] if row["side"] and row["kind"] == "sample"]
    assert len(bags) >= 8
    events, staged = [], set()
    for at, (tray, number, side) in enumerate(bags):
        person = "Operator one" if at % 2 else "Operator two"
        told_side = side if at % 2 else "left"
        base = {"person": person, "device": "tablet", "captured_at": "2031-05-04T07:29:00.000Z", "utc_offset_min": 0,
                "software": "test", "hole_id": "SM-01", "tray": tray}  # fmt: skip
        if tray not in staged:
            staged.add(tray)
            events.append(
                base
                | {
                    "event_id": uuid7(50_000 + at),
                    "kind": "staged",
                    "object_type": "tray",
                    "object_id": f"SM-01/{tray}",
                    "values": {},
                }
            )
        values = {"method": "automatic saw", "side": told_side}
        events.append(
            base
            | {
                "event_id": uuid7(60_000 + at),
                "kind": "cut",
                "object_type": "bag",
                "object_id": number,
                "values": values,
            }
        )
        events.append(base | {"event_id": uuid7(70_000 + at), "kind": "bagged", "object_type": "bag", "object_id": number,
                              "values": {"tag": number, "side": told_side}})  # fmt: skip
    answers = browser.post("/bench/events", json={"events": events}).json()["answers"]
    assert {one["status"] for one in answers} == {"stored"}, answers
    for address in ("/hole/SM-01/cut", "/hole/SM-01/cut?sides=yard"):
        told = words(browser.get(address))
        part = told[told.index("Which half, by whom") :]
        assert part.count("bags the other half more often than the rest") == 1
        assert part.index("Operator two") < part.index("bags the other half more often")


def test_oriented_core_shows_planes_in_the_ground_and_how_they_were_read(browser):
    told = words(browser.get("/hole/SM-01/oriented"))
    assert "from the bottom line to the lower apex" in told
    assert "% of the core carries a line" in told
    assert "No survey is loaded: the hole is taken as straight from its collar." in told


def test_the_converter_agrees_with_the_published_plane_and_names_every_convention(browser):
    """A=225, P=45, alpha=60, beta=320 -> dip direction 25.003920, dip 70.029590: tobiste/structr,
    tests/testthat/test-alphabeta.R (seen). The hole of the small yard is turned to that attitude."""
    told = words(browser.get("/hole/SM-01/oriented", params={"alpha": "60", "beta": "320", "gamma": "30"}))
    assert "dip 70.0°, dip direction 25.0°" in told
    assert "top line, lower apex, alpha to the pole: alpha 30.0°, beta 140.0°" in told
    assert "Line: trend" in told
    back = words(browser.get("/hole/SM-01/oriented", params={"dip": "70.029590", "direction": "25.003920"}))
    assert "bottom line, lower apex, alpha to the plane: alpha 60.0°, beta 320.0°" in back
    line = words(browser.get("/hole/SM-01/oriented", params={"gamma": "40", "delta": "120"}))
    assert "bottom: gamma 40.0°, delta 120.0°" in line
    assert "top: gamma 40.0°, delta 300.0°" in line


@pytest.mark.parametrize(
    "asked",
    [
        {"alpha": "60"},
        {"alpha": "95", "beta": "1"},
        {"alpha": "x", "beta": "1"},
        {"dip": "10"},
        {"alpha": "1", "beta": "1", "line": "side"},
    ],
)
def test_angles_that_cannot_be_converted_are_refused_in_words(browser, asked):
    answer = browser.get("/hole/SM-01/oriented", params=asked)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text or "What to do" in words(answer)


def test_a_hole_without_planes_says_so_and_still_has_its_register(browser):
    told = words(browser.get("/hole/SM~03/cut"))
    assert "Nothing can be said about the cut: beta was read on no vein and on no layer" in told
    assert "The cut line is the orientation line." in told
    assert browser.get("/hole/SM-02/cut").status_code == 200
    assert browser.get("/hole/none/cut").status_code == 404
    assert browser.get("/hole/SM~03/oriented").status_code == 200
