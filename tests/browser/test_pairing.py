"""A tablet in a real Chromium over real https: pair, sign in on the pad, be let in, be revoked.

Chromium is told to accept the public key of the server (`--ignore-certificate-errors-spki-list`): filling its own trust
store needs a tool that is not part of it. That whoever trusts the yard's authority trusts this very server, by its
address, is held against OpenSSL here.
"""

from __future__ import annotations

import base64
import hashlib
import re
import shutil
import ssl
import threading
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import serialization

from trayside.app.pairing import revoke_tablet
from trayside.app.people import add_person
from trayside.pages.papers import TypstPapers
from trayside.store.local_authority import Papers, certificates_for
from trayside.store.secrets_argon2 import Argon2Secrets
from trayside.web import serving
from trayside.web.services import Lan, Services
from trayside.web.site import build_site
from trayside.web.trust_site import build_trust_site

pytestmark = pytest.mark.browser

ADDRESS = "127.0.0.1"  # the network's door, on an address every machine has
PIN = "193746"
TARGET_PX = 20 / 25.4 * 96
"""20 mm at the 96 pixels an inch that CSS counts with."""


@dataclass
class Doors:
    here: str
    network: str
    trust: str
    certificates: Papers


@pytest.fixture
def doors(yard, tmp_path):
    """The three sites of `trayside serve --lan`, on free ports, with people."""
    secrets = Argon2Secrets(passes=1, memory_kib=64, lanes=1)
    for name, role in (("Lea", "lead"), ("Otto", "operator")):
        add_person(name, role=role, pin=PIN, start_work=yard.start_work, clock=now, make_id=yard.make_id, secrets=secrets)
    certificates = certificates_for((ADDRESS,), folder=tmp_path / "keys", now=now())
    sockets = [serving.listen(ADDRESS, 0) for _ in range(3)]
    here, network, trust = (socket.getsockname()[1] for socket in sockets)
    lan = Lan((f"https://{ADDRESS}:{network}/",), f"http://{ADDRESS}:{trust}/", certificates.fingerprint)

    def site(reach: str):
        services = Services(yard.start_work, now, yard.make_id, TypstPapers(), secrets=secrets, reach=reach, lan=lan)
        return build_site(services)

    trust_site = build_trust_site(
        lan, certificate=certificates.authority_certificate, ends_at=now(), hosts=(ADDRESS,)
    )
    keys = (certificates.server_key, certificates.server_certificate)
    served = [
        serving.Served(site("here"), [sockets[0]]),
        serving.Served(site("network"), [sockets[1]], *keys),
        serving.Served(trust_site, [sockets[2]]),
    ]
    stop = threading.Event()
    thread = threading.Thread(target=serving.run_all, args=(served,), kwargs={"stop": stop})
    thread.start()
    wait_for(f"http://{ADDRESS}:{trust}/")
    yield Doors(f"http://{ADDRESS}:{here}", f"https://{ADDRESS}:{network}", f"http://{ADDRESS}:{trust}", certificates)
    stop.set()
    thread.join(timeout=20)
    assert not thread.is_alive()


@pytest.fixture
def tablet(chromium, doors):
    """A page in a browser of its own that accepts this server's key, and no other certificate it does not know."""
    held = x509.load_pem_x509_certificate(doors.certificates.server_certificate.read_bytes())
    public = held.public_key().public_bytes(
        serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    spki = base64.b64encode(hashlib.sha256(public).digest()).decode()
    browser = chromium.browser_type.launch(
        executable_path=shutil.which("chromium"),
        args=["--no-sandbox", "--disable-gpu", "--disable-quic", f"--ignore-certificate-errors-spki-list={spki}"],
    )
    context = browser.new_context(base_url=doors.network, viewport={"width": 1024, "height": 768}, has_touch=True)
    page = context.new_page()
    page.set_default_timeout(15_000)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on("console", lambda line: faults.append(line.text) if "Content Security Policy" in line.text else None)
    yield page
    browser.close()
    assert faults == []


def now() -> datetime:
    return datetime.now(UTC)


def wait_for(address: str) -> None:
    until = time.monotonic() + 20
    while True:
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except OSError:
            if time.monotonic() > until:
                raise
            time.sleep(0.02)


def sign_in(page, name: str, pin: str) -> None:
    """By touch alone."""
    page.locator("label.name", has_text=name).tap()
    for digit in pin:
        page.locator(f'[data-digit="{digit}"]').tap()
    page.locator("button.go").tap()


def code_made_by_lead(chromium, doors) -> str:
    context = chromium.new_context(base_url=doors.here)
    page = context.new_page()
    page.goto("/tablets")
    page.wait_for_url("**/sign-in?next=/tablets")
    page.get_by_role("radio", name="Lea").check()
    page.get_by_label("PIN").fill(PIN)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{doors.here}/tablets")
    assert page.locator("svg.segno").count() == 2
    assert doors.trust in page.content()
    page.get_by_role("button", name="Make a code").click()
    code = page.locator("#pairing-code").inner_text()
    context.close()
    return code


def test_a_tablet_is_paired_signs_in_by_touch_and_is_out_when_it_is_revoked(tablet, chromium, doors, yard):
    tablet.goto("/hole/SM-01/sheet")
    assert tablet.url == f"{doors.network}/pair"
    assert doors.certificates.fingerprint in tablet.content()
    assert "SM-01" not in tablet.content()
    code = code_made_by_lead(chromium, doors)
    tablet.get_by_label("Pairing code").fill(code.lower())
    tablet.get_by_label("Name of this tablet").fill("Saw 1")
    tablet.get_by_role("button", name="Pair").tap()
    tablet.wait_for_url("**/sign-in")
    sign_in(tablet, "Otto", "193747")
    tablet.wait_for_selector("text=do not go together")
    sign_in(tablet, "Otto", PIN)
    tablet.wait_for_url(f"{doors.network}/")
    assert "Otto, operator" in tablet.locator(".who").inner_text()
    assert tablet.evaluate("isSecureContext")  # what service workers and cameras ask for
    assert not tablet.evaluate("document.cookie").count("session")
    tablet.goto("/hole/SM-01/sheet")
    assert "who may not issue" in tablet.locator("#issue").inner_html()
    revoke_tablet("Saw 1", start_work=yard.start_work, clock=now)
    tablet.goto("/")
    assert tablet.url == f"{doors.network}/pair"


def test_a_lead_on_a_tablet_changes_a_sheet_by_script_with_the_token(tablet, chromium, doors):
    """The sheet's script posts with the token it reads from its cookie, over https."""
    tablet.goto("/")
    tablet.get_by_label("Pairing code").fill(code_made_by_lead(chromium, doors))
    tablet.get_by_label("Name of this tablet").fill("Office tablet")
    tablet.get_by_role("button", name="Pair").tap()
    tablet.wait_for_url("**/sign-in")
    sign_in(tablet, "Lea", PIN)
    tablet.wait_for_url(f"{doors.network}/")
    tablet.goto("/hole/SM-01/sheet")
    tablet.locator("#rows .acts button[data-what=split]").first.tap()
    tablet.wait_for_selector("#changes li")
    assert "Signed as Lea" in tablet.locator("#save-form").inner_text()
    tablet.locator("#save-form").get_by_role("button", name="Save").tap()
    tablet.wait_for_selector("text=last by Lea")


@pytest.mark.parametrize("size", [(1024, 768), (390, 844)], ids=["tablet", "phone"])
def test_names_digits_and_buttons_are_large_enough_for_gloves(tablet, chromium, doors, size):
    tablet.set_viewport_size({"width": size[0], "height": size[1]})
    tablet.goto("/")
    for target in (tablet.locator("button.go"), tablet.get_by_label("Pairing code")):
        assert target.bounding_box()["height"] >= TARGET_PX
    tablet.get_by_label("Pairing code").fill(code_made_by_lead(chromium, doors))
    tablet.get_by_label("Name of this tablet").fill("Saw 1")
    tablet.get_by_role("button", name="Pair").tap()
    tablet.wait_for_url("**/sign-in")
    boxes = [one.bounding_box() for one in tablet.locator(".pad button, label.name, button.go").all()]
    assert len(boxes) == 12 + 2 + 1
    for box in boxes:
        assert box["width"] >= TARGET_PX
        assert box["height"] >= TARGET_PX
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= size[0]


def test_who_trusts_the_certificate_handed_out_trusts_the_server_and_others_do_not(doors, tmp_path):
    with urllib.request.urlopen(f"{doors.trust}/", timeout=10) as answer:
        page = answer.read().decode()
    link = re.search(r'href="(/trayside-authority\.crt)"', page)[1]
    with urllib.request.urlopen(doors.trust + link, timeout=10) as answer:
        (tmp_path / "authority.pem").write_bytes(answer.read())
    trusting = ssl.create_default_context(cafile=str(tmp_path / "authority.pem"))
    with urllib.request.urlopen(f"{doors.network}/pair", timeout=10, context=trusting) as answer:
        assert answer.status == 200
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(f"{doors.network}/pair", timeout=10, context=ssl.create_default_context())
    held = x509.load_pem_x509_certificate(Path(tmp_path / "authority.pem").read_bytes())
    assert held.extensions.get_extension_for_class(x509.BasicConstraints).value.ca


def test_a_browser_that_trusts_nothing_of_ours_does_not_open_the_yard(chromium, doors):
    page = chromium.new_context().new_page()
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(f"{doors.network}/pair")
    page.context.close()
