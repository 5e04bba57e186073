"""The small yard with people, a door on this machine and a door on the network."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import datetime, timedelta

from starlette.testclient import TestClient
from web_yard import NOW

from trayside.app.people import add_person
from trayside.store.secrets_argon2 import Argon2Secrets
from trayside.web.services import Lan, Services
from trayside.web.site import build_site

HERE = "http://127.0.0.1:8000"
THERE = "https://10.1.2.3:8378"
LAN = Lan((f"{THERE}/",), "http://10.1.2.3:8379/", "AA:BB")
PIN = "193746"
PEOPLE = {"Lea": "lead", "Otto": "operator", "Gia": "geologist", "Quin": "QC", "Vic": "viewer"}


class PeopleYard:
    """Browsers on the yard's machine and on the network. `now` is the yard's clock."""

    def __init__(self, yard) -> None:
        self.yard, self.now, self._open = yard, NOW, []
        self.secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)

    def clock(self) -> datetime:
        return self.now

    def later(self, **time: float) -> None:
        self.now += timedelta(**time)

    def add_people(self) -> None:
        for name, role in PEOPLE.items():
            add_person(
                name,
                role=role,
                pin=PIN,
                start_work=self.yard.start_work,
                clock=self.clock,
                make_id=self.yard.make_id,
                secrets=self.secrets,
            )

    def browser(self, *, network: bool = False, client: str = "10.1.2.50") -> Browser:
        services = Services(
            self.yard.start_work, self.clock, self.yard.make_id, self.yard.papers, secrets=self.secrets, lan=LAN
        )
        if network:
            services = replace(services, reach="network", hosts=("10.1.2.3",))
        address = THERE if network else HERE
        opened = Browser(
            TestClient(
                build_site(services),
                base_url=address,
                headers={"origin": address, "accept": "text/html"},
                client=(client if network else "127.0.0.1", 50000),
                raise_server_exceptions=False,
            )
        )
        self._open.append(opened)
        return opened

    def tablet(self, name: str = "Saw 1", **more) -> Browser:
        """A browser on the network that is paired."""
        lead = self.browser().signed_in("Lea")
        code = re.search(r'id="pairing-code">([A-Z2-9-]+)<', lead.send("/tablets/code", page="/tablets").text)[1]
        tablet = self.browser(network=True, **more)
        assert tablet.send("/pair", page="/pair", code=code, name=name).url.path == "/sign-in"
        return tablet

    def close(self) -> None:
        for browser in self._open:
            browser.close()


class Browser:
    """A person at a browser: opens a page, and sends its form with the token that stands in it."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.get, self.post, self.close = client.get, client.post, client.close

    def token(self, page: str) -> str:
        found = re.search(r'name="form_token" value="([0-9a-f]+)"', self.get(page).text)
        return found[1] if found else ""

    def send(self, address: str, *, page: str = "/sign-in", **fields):
        return self.post(address, data={"form_token": self.token(page), **fields})

    def sign_in(self, name: str, pin: str = PIN, **more):
        return self.send("/sign-in", person=name, pin=pin, **more)

    def signed_in(self, name: str) -> Browser:
        assert self.sign_in(name).status_code == 200
        return self
