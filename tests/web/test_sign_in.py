"""On the yard's own machine: the first person, signing in and out, what a name signs, tokens in every form."""

from __future__ import annotations

import html
import re

import pytest
from people_yard import HERE, PIN, PeopleYard

SCRIPT = "<script>alert('yard')</script>"


@pytest.fixture
def door(yard):
    door = PeopleYard(yard)
    yield door
    door.close()


@pytest.fixture
def staffed(door):
    door.add_people()
    return door


def who(browser) -> str:
    found = re.search(r'class="who"[^>]*>(?:<input[^>]*>)?<span>([^<]*)</span>', browser.get("/").text)
    return html.unescape(found[1]) if found else ""


def plan(browser) -> None:
    assert browser.send("/hole/SM-01/sheet/plan", page="/hole/SM-01/sheet").status_code == 200


def issue(browser, **more):
    data = {"base_version": "1", "issued_by": "Somebody else", "statement": "looked", **more}
    return browser.post("/hole/SM-01/sheet/issue", data=data)


def test_without_people_the_machine_is_open_and_offers_the_first_person(door):
    browser = door.browser()
    assert 'href="/people/first"' in browser.get("/").text
    assert browser.get("/people").url.path == "/people/first"
    assert "form_token" not in browser.get("/").text


def test_the_first_person_is_a_lead_with_the_pin_that_was_typed(door):
    browser = door.browser()
    answer = browser.post("/people/first", data={"name": "Lea", "pin": PIN, "pin_again": PIN})
    assert answer.url.path == "/sign-in"
    assert browser.sign_in("Lea", next="/people").url.path == "/people"
    assert who(browser) == "Lea, lead"


def test_there_is_no_second_first_person_and_no_pin_that_works_beforehand(staffed):
    browser = staffed.browser()
    assert browser.get("/people/first").url.path == "/sign-in"
    answer = browser.send("/people/first", name="Eve", pin=PIN, pin_again=PIN)
    assert answer.status_code == 422
    assert "people already" in answer.text
    for pin in ("0000", "000000", "123456", "", "admin"):
        assert browser.sign_in("Lea", pin).status_code in (401, 429)


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"name": "", "pin": PIN, "pin_again": PIN}, "no name"),
        ({"name": "Lea", "pin": PIN, "pin_again": "1"}, "not the same"),
        ({"name": "Lea", "pin": "12", "pin_again": "12"}, "6 to 12 digits"),
        ({"name": "Lea", "pin": "111111", "pin_again": "111111"}, "anybody would try"),
    ],
)
def test_a_first_person_that_cannot_be_is_refused_in_words(door, fields, told):
    answer = door.browser().post("/people/first", data=fields)
    assert answer.status_code == 422
    assert told in answer.text.casefold()
    assert PIN not in answer.text


def test_a_wrong_pin_is_answered_like_an_unknown_name(staffed):
    wrong, unknown = staffed.browser().sign_in("Lea", "193747"), staffed.browser().sign_in("Nobody")
    assert wrong.status_code == unknown.status_code == 401
    assert "do not go together" in wrong.text

    def bare(answer):
        return re.sub(r'value="[0-9a-f]{64}"|checked', "", answer.text)

    assert bare(wrong).replace(" >", ">") == bare(unknown).replace(" >", ">")


def test_too_many_wrong_pins_are_told_with_the_time_to_wait(staffed):
    browser = staffed.browser()
    for _ in range(5):
        assert browser.sign_in("Lea", "193747").status_code == 401
    answer = browser.sign_in("Lea")
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "30"
    assert "Wait 30 seconds" in answer.text
    staffed.later(seconds=30)
    assert browser.sign_in("Lea").status_code == 200


def test_a_session_cookie_is_out_of_reach_of_scripts_and_other_sites(staffed):
    browser = staffed.browser()
    token = browser.token("/sign-in")
    answer = browser.client.post(
        "/sign-in", data={"form_token": token, "person": "Lea", "pin": PIN}, follow_redirects=False
    )
    session = next(line for line in answer.headers.get_list("set-cookie") if "session" in line)
    assert "HttpOnly" in session
    assert "SameSite=Strict" in session
    assert "Path=/" in session
    assert "Secure" not in session  # plain http on this machine


def test_signing_in_gives_a_fresh_session_and_ends_the_earlier_one(staffed):
    browser = staffed.browser()
    browser.signed_in("Lea")
    first = browser.client.cookies["trayside-session"]
    browser.signed_in("Gia")
    assert browser.client.cookies["trayside-session"] != first
    thief = staffed.browser()
    thief.client.cookies.set("trayside-session", first, domain="127.0.0.1")
    assert who(thief) == ""


def test_signing_out_ends_the_session_on_the_server_too(staffed):
    browser = staffed.browser().signed_in("Lea")
    kept = browser.client.cookies["trayside-session"]
    browser.send("/sign-out", page="/")
    assert who(browser) == ""
    browser.client.cookies.set("trayside-session", kept, domain="127.0.0.1")
    assert who(browser) == ""


@pytest.mark.parametrize(
    "address", ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "/a\nb", "", "/sign-out"]
)
def test_signing_in_leads_only_to_our_own_pages(staffed, address):
    assert staffed.browser().sign_in("Lea", next=address).url == f"{HERE}/"


def test_once_there_are_people_the_machine_still_plans_without_a_name_but_signs_nothing(staffed):
    browser = staffed.browser()
    plan(browser)
    token = browser.token("/")
    answer = issue(browser, form_token=token)
    assert answer.status_code == 401
    assert "has to sign in" in answer.text
    assert staffed.yard.sheet().revision == 0
    assert "it carries your name" in browser.get("/hole/SM-01/sheet").text


def test_an_issued_sheet_carries_the_name_of_who_signed_in_and_no_other(staffed):
    browser = staffed.browser().signed_in("Gia")
    plan(browser)
    assert "Signed as Gia" in browser.get("/hole/SM-01/sheet").text
    answer = issue(browser, form_token=browser.token("/"))
    assert "Issued by Gia," in answer.text
    assert "Somebody else" not in answer.text


def test_a_change_to_the_sheet_carries_the_name_of_who_signed_in(staffed):
    browser = staffed.browser().signed_in("Gia")
    plan(browser)
    saved = {"base_version": "1", "edits": "[]", "edited_by": "Somebody else"}
    browser.send("/hole/SM-01/sheet/save", page="/", **saved)
    assert staffed.yard.sheet().edited_by == "Gia"


@pytest.mark.parametrize("name", ["Otto", "Quin", "Vic"])
def test_who_may_not_issue_is_told_so_by_role(staffed, name):
    plan(staffed.browser())
    browser = staffed.browser().signed_in(name)
    answer = issue(browser, form_token=browser.token("/"))
    assert answer.status_code == 403
    assert f"{name} signs as" in answer.text
    assert staffed.yard.sheet().revision == 0


def test_a_post_without_its_token_or_with_that_of_another_browser_changes_nothing(staffed):
    browser, other = staffed.browser().signed_in("Gia"), staffed.browser().signed_in("Lea")
    for token in ("", "0" * 64, other.token("/"), staffed.browser().token("/sign-in"), "é"):
        answer = browser.post("/hole/SM-01/sheet/plan", data={"form_token": token})
        assert answer.status_code == 403, token
        assert "older than your sign-in" in answer.text
    assert browser.post("/hole/SM-01/sheet/plan").status_code == 403
    assert staffed.yard.sheet() is None


def test_a_token_of_before_signing_in_is_not_good_afterwards(staffed):
    browser = staffed.browser()
    before = browser.token("/")
    browser.signed_in("Gia")
    assert browser.post("/hole/SM-01/sheet/plan", data={"form_token": before}).status_code == 403


def test_scripts_send_the_token_in_a_header_and_are_refused_without_it(staffed):
    browser = staffed.browser().signed_in("Gia")
    plan(browser)
    asked = {"json": {"base_version": 1, "edits": []}, "headers": {"accept": "application/json"}}
    address = "/hole/SM-01/sheet/preview"
    assert browser.post(address, **asked).status_code == 403
    asked["headers"]["x-form-token"] = browser.client.cookies["trayside-form"]
    answer = browser.post(address, **asked)
    assert answer.status_code == 200
    assert "summary" in answer.json()["parts"]


def test_a_form_with_files_carries_the_token_as_well(staffed):
    browser = staffed.browser().signed_in("Gia")
    parts = {"form_token": (None, browser.token("/")), "hole_id": (None, "SM-01")}
    assert browser.post("/plan", files=parts).status_code == 200
    assert staffed.yard.sheet() is not None
    assert browser.post("/plan", files={"hole_id": (None, "SM-01")}).status_code == 403


@pytest.mark.parametrize("address", ["/", "/hole/SM-01/sheet", "/people", "/tablets", "/sign-in", "/hole/SM-02"])
def test_every_form_that_posts_carries_the_token(staffed, address):
    browser = staffed.browser().signed_in("Lea")
    plan(browser)
    text = browser.get(address).text
    forms = re.findall(r'<form[^>]*method="post"[^>]*>(.{0,60})', text, re.DOTALL)
    assert forms
    token = browser.client.cookies["trayside-form"]
    assert all(form.startswith('<input type="hidden" name="form_token"') for form in forms)
    assert set(re.findall(r'name="form_token" value="([^"]*)"', text)) == {token}


def test_a_body_too_large_is_still_refused_in_words(staffed):
    def pieces():
        for _ in range(40):
            yield b"x" * 100_000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert staffed.browser().post("/plan", content=pieces(), headers=headers).status_code == 413


def test_a_lead_adds_disables_and_gives_pins_and_script_in_a_name_stays_text(staffed):
    lead = staffed.browser().signed_in("Lea")
    added = lead.send("/people", page="/people", name=SCRIPT, role="operator", pin=PIN, pin_again=PIN)
    assert added.status_code == 200
    assert SCRIPT not in added.text
    assert html.escape(SCRIPT, quote=False) in added.text.replace("&#39;", "'")
    operator = staffed.browser().signed_in(SCRIPT)
    assert SCRIPT not in operator.get("/").text
    assert who(operator) == f"{SCRIPT}, operator"
    lead.send("/people/pin", page="/people", name=SCRIPT, pin="482915", pin_again="482915")
    assert who(operator) == ""
    assert operator.sign_in(SCRIPT, "482915").status_code == 200
    lead.send("/people/disable", page="/people", name=SCRIPT)
    assert who(operator) == ""
    refused = lead.send("/people/disable", page="/people", name="Lea")
    assert refused.status_code == 422
    assert "last lead" in refused.text


@pytest.mark.parametrize("name", ["Gia", "Otto", "Quin", "Vic"])
@pytest.mark.parametrize("address", ["/people", "/tablets"])
def test_only_a_lead_manages_people_and_tablets(staffed, name, address):
    browser = staffed.browser().signed_in(name)
    assert browser.get(address).status_code == 403
    assert browser.send("/people", page="/", name="X", role="lead", pin=PIN, pin_again=PIN).status_code == 403
    assert staffed.browser().get(address).url.path == "/sign-in"


def test_pages_opened_without_a_name_lead_to_signing_in_and_back(staffed):
    browser = staffed.browser()
    answer = browser.get("/tablets")
    assert str(answer.url).endswith("/sign-in?next=/tablets")
    assert browser.sign_in("Lea", next="/tablets").url.path == "/tablets"


def test_the_pages_for_people_carry_the_headers_that_bind_browsers(staffed):
    headers = staffed.browser().get("/sign-in").headers
    assert "unsafe" not in headers["content-security-policy"]
    assert "script-src 'self'" in headers["content-security-policy"]


def test_a_store_with_people_is_not_opened_by_a_site_that_cannot_check_pins(staffed, browser):
    assert browser.get("/").status_code == 503
    assert browser.post("/plan", data={"hole_id": "SM-01"}).status_code == 503
    assert staffed.yard.sheet() is None


def test_a_lead_gives_another_role_and_what_it_may_do_holds_from_the_next_sign_in(staffed):
    lead = staffed.browser().signed_in("Lea")
    operator = staffed.browser().signed_in("Otto")
    assert lead.send("/people/role", page="/people", name="Otto", role="lead").status_code == 200
    assert "/sign-in" in operator.get("/people").url.path, "the old session is over"
    assert operator.signed_in("Otto").get("/people").status_code == 200
    refused = lead.send("/people/role", page="/people", name="Otto", role="emperor")
    assert refused.status_code == 422
    assert operator.send("/people/role", page="/people", name="Lea", role="viewer").status_code == 200
    last = operator.send("/people/role", page="/people", name="Otto", role="viewer")
    assert "last lead" in last.text
