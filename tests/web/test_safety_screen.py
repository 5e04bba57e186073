"""Safety screens: what was typed stays, nothing is stored unasked, the first word stays, and shifts are personal."""

from __future__ import annotations

import re
from datetime import date
from html import unescape
from math import log10

import pytest
from people_yard import PeopleYard

from trayside.web.safety_screen import shift_address

DAY = "2031-05-04"
SHIFT = f"/safety/{DAY}/Demo%20operator"
SCRIPT = "<script>alert(1)</script>"


def form(**more) -> dict[str, str]:
    """A shift with one task of noise; `more` are fields, with _ for the dot where a row is meant by noise_0_level."""
    fields = {
        "after": "0", "what": "save", "signed_by": "Demo operator", "shift_h": "8", "long_shift": "none", "kind": "muff",
        "method": "osha_half", "noise.0.what": "sawing", "noise.0.level": "97", "noise.0.hours": "5",
        "noise.0.basis": "measured",
    }  # fmt: skip
    for name, value in more.items():
        section = re.fullmatch(r"(noise|air|lift|vibration)_(\d+)_(\w+)", name)
        fields[f"{section[1]}.{section[2]}.{section[3]}" if section else name] = value
    return fields


def save(browser, **more):
    return browser.post(f"{SHIFT}/edit", data=form(**more))


def text_of(answer) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def value(answer, name: str) -> str:
    found = re.search(rf'name="{re.escape(name)}"[^>]*value="([^"]*)"', answer.text)
    return unescape(found[1]) if found else ""


def stored(yard, person: str = "demo operator") -> int:
    with yard.start_work(writing=False) as work:
        return len(work.safety.revisions(person, date(2031, 5, 4)))


def test_the_list_leads_to_a_shift_that_is_entered_and_seen_in_plain_words(browser, yard):
    assert "No shift is recorded yet" in browser.get("/safety").text
    assert 'href="/safety"' in browser.get("/").text
    opened = browser.get("/safety/open", params={"day": DAY, "person": "Demo operator"})
    assert opened.url.path == "/safety/2031-05-04/Demo operator/edit"
    seen = save(browser)
    assert seen.url.path == "/safety/2031-05-04/Demo operator"
    told = text_of(seen)
    assert "Above a limit: Noise (Australia; United States (OSHA))" in told
    assert "Nothing entered, so nothing known: Silica, Lifting, Hand-arm vibration" in told
    assert "A planning aid, not a measurement and not a permit." in told
    assert "29 CFR 1910.95(c)" in told
    assert "8 March 1983 (48 FR 9738)" in told
    again = browser.get("/safety/open", params={"day": DAY, "person": "demo OPERATOR"})
    assert again.url.path.startswith("/safety/2031-05-04/demo OPERATOR")
    assert "Above a limit" in text_of(again)
    level = 90 + 16.61 * log10(5 / 8 * 2**1.4)  # 5 h at 97 dBA: 29 CFR 1910.95 Appendix A (seen)
    assert f"{level:.1f} dBA OSHA" in text_of(browser.get("/safety"))


def test_what_was_typed_stays_when_it_cannot_be_read(browser, yard):
    answer = save(
        browser, noise_0_level="loud", noise_0_worn="yes", noise_1_what="packing", noise_1_level="72", noise_1_hours="",
        air_0_what="saw", air_0_minutes="1,234", air_0_concentration="<x", lift_0_what="tray", lift_0_load="27",
        remark="wet day", work_h="2", floor_wet="yes", vibration_0_minutes="5",
    )  # fmt: skip
    assert answer.status_code == 422
    assert stored(yard) == 0
    told = text_of(answer)
    for fault in (
        "Noise, sawing, Level, dBA: loud is not a number",
        "Noise, packing, Hours: nothing was typed",
        "Silica, saw, Minutes: 1,234 can be read in two ways",
        "Silica, saw, Silica, mg/m³: x is not a number",
        "Lifting, tray, Reach, cm: nothing was typed",
        "Vibration: say in a few words what was done",
    ):
        assert fault in told, fault
    assert value(answer, "noise.0.level") == "loud"
    assert value(answer, "noise.1.what") == "packing"
    assert value(answer, "air.0.concentration") == "<x"
    assert value(answer, "lift.0.load") == "27"
    assert value(answer, "work_h") == "2"
    assert value(answer, "signed_by") == "Demo operator"
    assert "wet day" in answer.text
    assert re.search(r'name="noise\.0\.worn"[^>]*checked', answer.text)
    assert re.search(r'<select id="floor_wet".*?<option value="yes" selected>', answer.text, re.DOTALL)


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"noise_0_level": "300"}, "300 dBA"),
        ({"noise_0_hours": "25"}, "25 h"),
        ({"shift_h": "30"}, "30 h"),
        ({"noise_0_worn": "yes"}, "A protector was worn, but none is described"),
        ({"nrr": "26", "kind": "helmet", "method": "niosh", "noise_0_worn": "yes"}, "'helmet'"),
        ({"nrr": "26", "method": "guess", "noise_0_worn": "yes"}, "'guess'"),
        ({"long_shift": "guess"}, "this choice is not known here"),
        ({"lift_0_what": "tray", "lift_0_load": "27", "lift_0_reach": "30", "lift_0_start": "20", "lift_0_end": "100",
          "lift_0_rate": "0.2"}, "How long was lifted"),
        ({"noise_0_what": "", "noise_0_level": "", "noise_0_hours": ""}, "Nothing was entered"),
        ({"signed_by": " "}, "No name was given"),
        ({"after": "-1"}, "Safety"),
    ],
)  # fmt: skip
def test_the_impossible_is_refused_and_nothing_is_stored(browser, yard, more, told):
    answer = save(browser, **more)
    assert answer.status_code == 422
    assert told in text_of(answer)
    assert stored(yard) == 0


def test_the_odd_is_stored_and_marked(browser, yard):
    seen = save(browser, noise_0_level="118", noise_0_basis="typical")
    assert stored(yard) == 1
    assert "sawing: 118 dBA is louder than 115" in text_of(seen)
    assert "sawing: a typical value, not measured" in text_of(seen)


@pytest.mark.parametrize("what", ["try", "rows", "hole", "noise:0", "air:0", "lift:0:27.0"])
def test_other_buttons_store_nothing_and_keep_what_was_typed(browser, yard, what):
    answer = save(browser, what=what)
    assert answer.status_code == 200
    assert stored(yard) == 0
    assert value(answer, "noise.0.level") == "97"


def test_trying_shows_the_result_above_the_form(browser):
    told = text_of(save(browser, what="try"))
    assert "Worked out from what is typed below. Not saved." in told
    assert "Above a limit: Noise" in told


def test_a_typical_value_says_where_it_comes_from_and_is_put_in_by_a_button(browser, yard):
    empty = browser.get(f"{SHIFT}/edit")
    assert "Barbosa & Bertoli 2017" in text_of(empty)
    assert "Arrandale, Kalenge & Demers 2017" in text_of(empty)
    answer = save(browser, what="noise:2")
    assert (value(answer, "noise.1.what"), value(answer, "noise.1.level")) == ("hand-held electric masonry saw", "106.9")
    assert re.search(r'name="noise\.1\.basis".*?<option value="typical" selected>', answer.text, re.DOTALL)
    assert save(browser, what="noise:99").status_code == 422
    assert save(browser, what="lift:x:3").status_code == 422


def test_a_level_left_empty_takes_the_typical_one_of_that_name(browser, yard):
    seen = save(browser, noise_0_what="Petrol stationary wet saw", noise_0_level="")
    assert "a typical value, not measured" in text_of(seen)
    with yard.start_work(writing=False) as work:
        (task,) = work.safety.revisions("demo operator", date(2031, 5, 4))[0].exposure.noise
    assert (task.level_dba, task.basis) == (92.0, "typical")


def test_trays_of_this_yard_are_offered_with_their_masses(browser):
    answer = browser.get(f"{SHIFT}/edit")
    told = text_of(answer)
    assert "The 6 heaviest of 6 trays" in told
    assert "27.0 ±" in told  # five metres of NQ at 2.70 t/m3 and a tray of 3 kg: 27.02 kg (derived)
    assert "On a tray here it is usually a fair grip: longer than 40 cm, handled in gloves, wet, sharp or rough." in told
    assert "the rules fill them up to 20.1 kg" in told
    other = save(browser, what="hole", hole="SM/03")
    assert "The 1 heaviest of 1 trays" in text_of(other)
    lift = save(browser, what="lift:0:27.0")
    assert (value(lift, "lift.0.load"), value(lift, "lift.0.reach"), value(lift, "lift.0.end")) == ("27.0", "40", "100")
    sack = save(browser, what="lift:2:20.1")
    assert re.search(r'name="lift\.0\.grip".*?<option value="poor" selected>', sack.text, re.DOTALL)


def test_a_whole_shift_is_worked_out(browser):
    seen = save(
        browser, shift_h="10", noise_0_worn="yes", nrr="24", air_0_what="at the saw", air_0_minutes="240",
        air_0_mass="20.6", air_0_flow="1.7", air_1_what="packing", air_1_minutes="200", air_1_concentration="<0,010",
        long_shift="brief_scala", lift_0_what="tray", lift_0_load="27", lift_0_reach="40", lift_0_start="20",
        lift_0_end="100", lift_0_rate="0.2", lift_0_grip="fair", work_h="3", recovery_h="1", floor_wet="yes",
        humidity="45", vibration_0_what="cutter", vibration_0_acceleration="4.5", vibration_0_minutes="120",
    )  # fmt: skip
    told = text_of(seen)
    assert "20.6 µg · 408 L" in told
    assert "<0.01" in told
    assert "less than the laboratory can see" in told
    assert "Limits are brought down to 0.70" in told
    assert "printed: 0.05" in told
    assert "lifting index 3.2, highly stressful" in told
    assert "The floor is wet and its grip was not measured: the equation does not hold" in told
    assert "A(8) 2.2 m/s² · 81 points" in told  # 4.5 m/s2 for 2 h: 2.250, 81.0 points (Directive 2002/44/EC, seen)
    assert "Highly stressful: Lifting" in told
    edited = browser.get(f"{SHIFT}/edit")
    assert value(edited, "air.1.concentration") == "<0.01"
    assert value(edited, "humidity") == "45"
    assert save(browser, what="try", humidity="45").status_code == 200


def test_a_correction_wants_a_reason_and_the_first_word_stays(browser, yard):
    save(browser)
    refused = save(browser, after="1", noise_0_level="95")
    assert refused.status_code == 422
    assert "noise, sawing, level in dBA: 97 → 95" in text_of(refused)
    assert value(refused, "noise.0.level") == "95"
    assert stored(yard) == 1
    seen = save(browser, after="1", noise_0_level="95", reason=f"read again {SCRIPT}", signed_by="Demo lead")
    told = text_of(seen)
    assert stored(yard) == 2
    assert "This is revision 2." in told
    assert SCRIPT not in seen.text
    assert "1. Demo operator, 2031-05-04 07:30 UTC. First entry." in told
    assert "<s>97</s>" in seen.text
    late = save(browser, after="1", noise_0_level="94", reason="late")
    assert late.status_code == 409
    assert stored(yard) == 2


def test_names_hold_markup_slashes_and_percents(browser):
    name = f"A/B ~1 50%2F {SCRIPT}"
    address = shift_address(date(2031, 5, 4), name)
    seen = browser.post(f"{address}/edit", data=form(noise_0_what=SCRIPT))
    assert seen.status_code == 200
    assert SCRIPT not in seen.text
    assert f"A/B ~1 50%2F {SCRIPT}" in unescape(seen.text)
    listed = browser.get("/safety")
    assert SCRIPT not in listed.text
    assert address in unescape(listed.text)


@pytest.mark.parametrize(
    ("address", "status"),
    [
        ("/safety/2031-05-04/Nobody", 404), ("/safety/yesterday/Demo%20operator", 422),
        ("/safety/2031-05-05/Demo%20operator/edit", 422), ("/safety/2031-05-04/Nobody/paper.pdf", 404),
    ],
)  # fmt: skip
def test_a_wrong_address_is_told(browser, address, status):
    assert browser.get(address).status_code == status


def test_a_shift_that_has_not_come_is_not_opened(browser):
    answer = browser.get("/safety/open", params={"day": "2031-05-06", "person": "Demo operator"})
    assert answer.status_code == 422
    assert "has not come yet" in text_of(answer)


# people


@pytest.fixture
def door(yard):
    door = PeopleYard(yard)
    door.add_people()
    yield door
    door.close()


OWN = f"/safety/{DAY}/Otto"
FIGURE = "dBA OSHA"


def enter(browser, address: str = OWN, **more):
    fields = form(**more)
    del fields["signed_by"]
    return browser.send(f"{address}/edit", page="/safety", **fields)


def test_everybody_enters_and_sees_their_own(door, yard):
    otto = door.browser().signed_in("Otto")
    assert enter(otto).status_code == 200
    assert stored(yard, "otto") == 1
    assert "Entered by Otto" in text_of(otto.get(OWN))
    assert "Otto" in text_of(otto.get("/safety"))
    assert otto.get(f"{OWN}/edit").status_code == 200


@pytest.mark.parametrize(("name", "sees"), [("Lea", True), ("Quin", True), ("Gia", False), ("Vic", False), ("Otto", True)])
def test_others_shifts_are_seen_by_leads_and_qc_only(door, yard, name, sees):
    enter(door.browser().signed_in("Otto"))
    someone = door.browser().signed_in(name)
    answers = [someone.get(OWN), someone.get(f"{OWN}/paper.pdf")]
    if sees:
        assert answers[0].status_code == 200
        assert FIGURE in someone.get("/safety").text
    else:
        assert [answer.status_code for answer in answers] == [403, 403]
        assert FIGURE not in answers[0].text
        assert OWN not in someone.get("/safety").text


@pytest.mark.parametrize(("name", "may"), [("Lea", True), ("Quin", False), ("Gia", False), ("Vic", False)])
def test_others_shifts_are_entered_by_leads_only(door, yard, name, may):
    answer = enter(door.browser().signed_in(name))
    assert (answer.status_code == 200) is may
    assert stored(yard, "otto") == (1 if may else 0)


def test_nobody_signed_in_sees_nothing(door, yard):
    enter(door.browser().signed_in("Otto"))
    nobody = door.browser()
    for address in ("/safety", OWN, f"{OWN}/edit", f"{OWN}/paper.pdf"):
        answer = nobody.get(address)
        assert answer.url.path == "/sign-in", address
        assert FIGURE not in answer.text


def test_a_shift_belongs_to_somebody_who_is_there(door):
    lea = door.browser().signed_in("Lea")
    assert lea.get(f"/safety/{DAY}/Somebody/edit").status_code == 404
    assert enter(lea, f"/safety/{DAY}/Somebody").status_code == 404
