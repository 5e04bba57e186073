"""On the network: a stranger sees and writes nothing, a paired tablet only the names, a person what their role may."""

from __future__ import annotations

import re

import pytest
from people_yard import LAN, PIN, PeopleYard
from starlette.testclient import TestClient

from trayside.web.rights import ANYONE, DEVICE, GRAVEST, MACHINE, NEEDS, OPEN_STATIC, addresses
from trayside.web.site import ROUTES, STATIC
from trayside.web.trust_site import build_trust_site

RIGHTS = {"look", "record", "plan", "edit", "issue", "dispatch", "resolve", "manage"}
SITE = addresses(ROUTES)


def filled(address: str) -> str:
    """The address with a hole that is there."""
    return re.sub(r"\{[^}]*\}", "1", address.replace("{hole_id}", "SM-01"))


@pytest.fixture
def door(yard):
    door = PeopleYard(yard)
    door.add_people()
    yield door
    door.close()


def test_every_address_has_a_needed_right_and_no_right_is_for_an_address_that_is_gone():
    assert set(SITE) - NEEDS.keys() == set(), "add these to web/rights.py"
    assert NEEDS.keys() - set(SITE) == set()
    assert set(NEEDS.values()) <= RIGHTS | {ANYONE, DEVICE, MACHINE}


def test_what_changes_something_needs_more_than_looking():
    harmless = {"/hole/{hole_id}/sheet/preview", "/hole/{hole_id}/sheet/try"}
    for address, right in NEEDS.items():
        method, path = address.split()
        if method != "GET" and path not in harmless:
            assert right != "look", address
    assert [address for address, right in NEEDS.items() if right == ANYONE] == ["GET /pair", "POST /pair"]


def test_an_address_that_nobody_listed_needs_the_gravest_right(door, monkeypatch):
    monkeypatch.delitem(NEEDS, "GET /hole/{hole_id}")
    assert GRAVEST == "manage"
    assert door.browser().signed_in("Gia").get("/hole/SM-01").status_code == 403
    assert door.browser().signed_in("Lea").get("/hole/SM-01").status_code == 200


@pytest.mark.parametrize("address", SITE)
def test_a_stranger_gets_nothing_but_pairing(door, address):
    method, path = address.split()
    if path in ("/pair", "/static"):
        return
    stranger = door.browser(network=True)
    answer = stranger.client.request(
        method, filled(path), headers={"accept": "*/*"}, data={"form_token": "0"} if method == "POST" else None
    )
    assert answer.status_code == 401
    assert "SM-01" not in answer.text.replace(filled(path), "")
    assert "Yard" not in answer.text.replace("Trayside", "")
    page = stranger.client.request(method, filled(path), follow_redirects=False)
    assert page.status_code == (303 if method == "GET" else 401)
    assert page.headers.get("location", "/pair") == "/pair"
    assert door.yard.sheet() is None


@pytest.mark.parametrize("path", ["/nowhere", "/hole/../people", "/static/../site.py", "/%2e%2e/people", "/PEOPLE", "//people"])
def test_a_stranger_does_not_learn_which_pages_there_are(door, path):
    assert door.browser(network=True).client.get(path, headers={"accept": "*/*"}).status_code == 401


def test_a_stranger_gets_only_the_files_the_pairing_page_is_drawn_with(door):
    stranger = door.browser(network=True)
    for file in STATIC.iterdir():
        if file.is_file():
            path = f"/static/{file.name}"
            assert stranger.get(path, follow_redirects=False).status_code == (200 if path in OPEN_STATIC else 303)
    used = set(re.findall(r'(?:href|src)="(/static/[^"]+)"', stranger.get("/pair").text))
    assert used <= OPEN_STATIC


def test_the_pairing_page_shows_what_is_trusted_and_nothing_of_the_yard(door):
    text = door.browser(network=True).get("/").text
    assert "10.1.2.3:8378" in text
    assert LAN.fingerprint in text
    assert not any(name in text for name in ("Lea", "Otto", "SM-01", "Yard &lt;"))


def test_a_made_up_tablet_or_session_is_a_stranger(door):
    stranger = door.browser(network=True)
    here = door.browser().signed_in("Lea").client.cookies["trayside-session"]
    for name in ("tablet", "session", "visit"):
        stranger.client.cookies.set(f"__Host-trayside-{name}", here, domain="10.1.2.3")
        stranger.client.cookies.set(f"trayside-{name}", here, domain="10.1.2.3")
    assert stranger.get("/").url.path == "/pair"


def test_headers_that_claim_to_come_from_the_machine_itself_change_nothing(door):
    stranger = door.browser(network=True, client="127.0.0.1")
    claims = {"x-forwarded-for": "127.0.0.1", "x-real-ip": "127.0.0.1", "forwarded": "for=127.0.0.1", "accept": "*/*"}
    assert stranger.get("/", headers=claims).status_code == 401
    assert stranger.get("/", headers={"host": "127.0.0.1:8000"}).status_code == 421


def test_a_paired_tablet_sees_the_names_and_nothing_else_until_somebody_signs_in(door):
    tablet = door.tablet()
    assert "Otto" in tablet.get("/sign-in").text
    for address in SITE:
        method, path = address.split()
        if method == "GET" and NEEDS[address] not in (ANYONE, DEVICE):
            answer = tablet.get(filled(path), headers={"accept": "*/*"})
            assert answer.status_code == (403 if NEEDS[address] == MACHINE else 401), address
    assert tablet.get("/hole/SM-01").url.path == "/sign-in"


def test_on_a_paired_tablet_a_person_does_what_their_role_may(door):
    tablet = door.tablet()
    assert tablet.sign_in("Otto", next="/hole/SM-01").url.path == "/hole/SM-01"
    assert tablet.send("/hole/SM-01/sheet/plan", page="/").status_code == 403
    assert tablet.get("/people").status_code == 403
    tablet.send("/sign-out", page="/")
    tablet.signed_in("Gia")
    assert tablet.send("/hole/SM-01/sheet/plan", page="/").status_code == 200
    assert door.yard.sheet() is not None
    assert tablet.send("/people/first", page="/", name="X", pin=PIN, pin_again=PIN).status_code == 403


def test_cookies_on_https_are_secure_and_bound_to_the_host(door):
    tablet = door.tablet()
    token = tablet.token("/sign-in")
    answer = tablet.client.post(
        "/sign-in", data={"form_token": token, "person": "Otto", "pin": PIN}, follow_redirects=False
    )
    session = next(line for line in answer.headers.get_list("set-cookie") if "session" in line)
    assert session.startswith("__Host-trayside-session=")
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Strict"} <= set(session.split("; "))
    assert "Domain" not in session


def test_a_revoked_tablet_is_a_stranger_again(door):
    tablet = door.tablet().signed_in("Otto")
    lead = door.browser().signed_in("Lea")
    assert "let in" in lead.get("/tablets").text
    lead.send("/tablets/revoke", page="/tablets", name="Saw 1")
    assert tablet.get("/").url.path == "/pair"


def test_a_session_taken_to_another_tablet_is_nobody(door):
    one, other = door.tablet().signed_in("Otto"), door.tablet("Saw 2")
    other.client.cookies.set(
        "__Host-trayside-session", one.client.cookies["__Host-trayside-session"], domain="10.1.2.3", path="/"
    )
    assert other.get("/").url.path == "/sign-in"


def test_a_wrong_code_is_refused_and_many_have_to_wait(door):
    stranger = door.browser(network=True)
    door.browser().signed_in("Lea").send("/tablets/code", page="/tablets")
    for _ in range(20):
        assert stranger.send("/pair", page="/pair", code="ZZZZ-ZZZZ", name="Saw 9").status_code == 401
    answer = stranger.send("/pair", page="/pair", code="ZZZZ-ZZZZ", name="Saw 9")
    assert answer.status_code == 429
    assert answer.headers["retry-after"] == "30"


def test_pairing_from_another_page_or_without_token_does_nothing(door):
    stranger = door.browser(network=True)
    assert stranger.post("/pair", data={"code": "A", "name": "X"}).status_code == 403
    token = stranger.token("/pair")
    evil = {"origin": "https://evil.example"}
    assert stranger.post("/pair", data={"form_token": token, "code": "A"}, headers=evil).status_code == 403


def test_the_codes_on_the_tablets_page_lead_where_they_say(door):
    from io import BytesIO

    import segno
    import zxingcpp
    from PIL import Image

    text = door.browser().signed_in("Lea").get("/tablets").text
    for address in (LAN.trust_address, LAN.addresses[0]):
        drawn = segno.make_qr(address)
        assert drawn.svg_inline(scale=5, border=4, omitsize=False) in text
        picture = BytesIO()
        drawn.save(picture, kind="png", scale=5, border=4)
        assert zxingcpp.read_barcode(Image.open(picture)).text == address
    assert "style=" not in re.search(r"<svg.*?</svg>", text, re.DOTALL)[0]


def test_an_address_of_many_is_counted_by_its_network(door):
    from starlette.requests import Request

    from trayside.web.sign_in_screen import address_of

    def seen(host):
        return address_of(Request({"type": "http", "client": (host, 1), "headers": []}))

    assert seen("fd00::1") == seen("fd00::ffff:1") != seen("fd00:0:0:1::1")
    assert seen("::ffff:10.0.0.1") == seen("10.0.0.1") == "10.0.0.1"
    assert seen("fe80::1%eth0") == "fe80::/64"


@pytest.fixture
def trust(tmp_path):
    (tmp_path / "authority.pem").write_bytes(b"-----BEGIN CERTIFICATE-----")
    from web_yard import NOW

    site = build_trust_site(LAN, certificate=tmp_path / "authority.pem", ends_at=NOW, hosts=("10.1.2.3",))
    with TestClient(site, base_url="http://10.1.2.3:8379") as client:
        yield client


def test_over_plain_http_there_is_the_certificate_how_to_trust_it_and_nothing_else(trust):
    page = trust.get("/")
    assert LAN.fingerprint in page.text
    assert LAN.addresses[0] in page.text
    assert "<script" not in page.text
    assert trust.get("/trayside-authority.crt").content.startswith(b"-----BEGIN CERTIFICATE")
    for address in ("/pair", "/sign-in", "/hole/SM-01", "/people", "/static/sheet.js", "/static/..%2fsite.py", "/authority.key"):
        assert trust.get(address).status_code == 404, address
    assert trust.post("/").status_code in (403, 405)
    assert trust.get("/", headers={"host": "evil.example"}).status_code == 421
    assert "default-src 'none'" in page.headers["content-security-policy"]
