"""Several sites in one process: each on its own sockets, the certificate renewed while they run, stopped together."""

from __future__ import annotations

import socket
import ssl
import threading
import time
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from trayside.errors import TraysideError
from trayside.store.local_authority import certificates_for
from trayside.web.serving import Served, addresses_of_machine, listen, run_all


def saying(text: str) -> Starlette:
    return Starlette(routes=[Route("/", lambda request: PlainTextResponse(text))])


def until(told, seconds: float = 20):
    """Ask again until there is an answer."""
    end = time.monotonic() + seconds
    while not (found := told()):
        assert time.monotonic() < end
        time.sleep(0.05)
    return found


def certificate_at(port: int, authority) -> x509.Certificate | None:
    client = ssl.create_default_context(cafile=str(authority))
    try:
        plain = socket.create_connection(("127.0.0.1", port), timeout=5)
        with client.wrap_socket(plain, server_hostname="127.0.0.1") as secure:
            return x509.load_der_x509_certificate(secure.getpeercert(binary_form=True))
    except ConnectionError:
        return None


def test_a_renewed_certificate_is_shown_to_new_connections_without_a_restart(tmp_path):
    start = datetime.now(UTC) - timedelta(days=61)
    clock = [start]

    def made():
        return certificates_for(("127.0.0.1",), folder=tmp_path, now=clock[0])

    papers, stop = made(), threading.Event()
    plain, secure = listen("127.0.0.1", 0), listen("127.0.0.1", 0)
    served = [
        Served(saying("plain"), [plain]),
        Served(saying("secure"), [secure], papers.server_key, papers.server_certificate),
    ]
    thread = threading.Thread(target=run_all, args=(served,), kwargs={"renew": made, "look_again_s": 0.2, "stop": stop})
    thread.start()
    try:
        port = secure.getsockname()[1]
        first = until(lambda: certificate_at(port, papers.authority_certificate))
        assert first.not_valid_after_utc == papers.server_ends_at
        clock[0] = datetime.now(UTC)
        until(lambda: certificate_at(port, papers.authority_certificate) != first)
    finally:
        stop.set()
        thread.join(timeout=20)
    assert not thread.is_alive()
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.1", port), timeout=5)


def test_a_port_that_is_taken_is_told_in_words():
    with listen("127.0.0.1", 0) as taken, pytest.raises(TraysideError, match="cannot listen there"):
        listen("127.0.0.1", taken.getsockname()[1])


def test_the_addresses_of_the_machine_are_not_its_own_loop():
    assert all(not address.startswith("127.") for address in addresses_of_machine())
