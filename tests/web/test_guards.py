"""Strangers are kept out: other host names, other sites, too much at once; and faults never show our insides."""

from __future__ import annotations

import pytest

PLAN = {"hole_id": "SM-01"}


def refused(answer, yard) -> bool:
    return answer.status_code == 403 and yard.sheet() is None


def test_a_form_sent_by_another_site_changes_nothing(browser, yard):
    assert refused(browser.post("/plan", data=PLAN, headers={"origin": "http://evil.example"}), yard)
    assert refused(browser.post("/plan", data=PLAN, headers={"origin": "null"}), yard)
    assert refused(browser.post("/plan", data=PLAN, headers={"origin": "http://127.0.0.1:9999"}), yard)


@pytest.mark.parametrize("site", ["cross-site", "same-site", "none"])
def test_what_the_browser_calls_another_site_is_believed(browser, yard, site):
    assert refused(browser.post("/plan", data=PLAN, headers={"sec-fetch-site": site}), yard)


def test_a_form_that_does_not_say_where_it_comes_from_changes_nothing(browser, yard):
    del browser.headers["origin"]
    assert refused(browser.post("/plan", data=PLAN), yard)


def test_our_own_form_is_taken(browser, yard):
    assert browser.post("/plan", data=PLAN, headers={"sec-fetch-site": "same-origin"}).status_code == 200
    assert yard.sheet() is not None


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example:8000", "", "localhost.evil:80"])
def test_a_host_name_that_is_not_ours_is_refused(browser, host):
    assert browser.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost", "LOCALHOST:1234", "[::1]:8000"])
def test_our_own_host_names_are_served(browser, host):
    assert browser.get("/", headers={"host": host}).status_code == 200


def test_a_body_too_large_is_refused_by_its_length(browser):
    answer = browser.post("/plan", data={"hole_id": "x" * (3 * 2**20)})
    assert answer.status_code == 413


def test_a_body_too_large_is_refused_when_it_hides_its_length(browser):
    def pieces():
        yield b"hole_id="
        for _ in range(40):
            yield b"x" * 100_000

    headers = {"content-type": "application/x-www-form-urlencoded"}
    answer = browser.post("/plan", content=pieces(), headers=headers)
    assert answer.status_code == 413


@pytest.mark.parametrize("address", ["/", "/nowhere", "/static/trayside.css", "/hole/SM-01/sheet"])
def test_every_answer_carries_the_headers_that_bind_browsers(browser, address):
    headers = browser.get(address).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_a_wrong_address_is_answered_in_words(browser):
    answer = browser.get("/cellar/<script>")
    assert answer.status_code == 404
    assert "There is no page at this address" in answer.text
    assert "<script>" not in answer.text


def test_a_wrong_method_is_answered_in_words(browser):
    assert browser.get("/plan").status_code == 405
    assert "does not take that kind of request" in browser.get("/plan").text


def test_a_mistake_of_ours_shows_no_insides(browser, yard, monkeypatch):
    def fails(*_args, **_more):
        raise RuntimeError("secret path /somewhere")

    monkeypatch.setattr("trayside.web.hole_screen.view_hole", fails)
    answer = browser.get("/hole/SM-01")
    assert answer.status_code == 500
    assert "Something failed inside Trayside" in answer.text
    assert "secret" not in answer.text


def test_files_outside_static_are_not_served(browser):
    for address in ("/static/../site.py", "/static/%2e%2e/site.py", "/static/..%2fsite.py"):
        assert browser.get(address).status_code == 404
