"""Running the sites: on this machine, and over https on the yard's network."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from trayside.errors import TraysideError

LOOK_AGAIN_S = 3600


@dataclass(frozen=True, slots=True)
class Served:
    """One site on its sockets; with key and certificate over https."""

    site: ASGIApp
    sockets: list[socket.socket]
    key: Path | None = None
    certificate: Path | None = None


class Server(uvicorn.Server):
    """One of several in a process: the process listens to signals for all of them."""

    @contextlib.contextmanager
    def capture_signals(self) -> Iterator[None]:
        yield


def listen(host: str, port: int) -> socket.socket:
    """A socket on exactly this address."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.socket(family, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
    except OSError as error:
        listening.close()
        raise TraysideError(
            f"cannot listen there ({error.strerror})",
            where=f"{host} port {port}",
            remedy="Choose another --port, or --address with an address of this machine",
        ) from error
    listening.listen(128)
    return listening


def addresses_of_machine() -> tuple[str, ...]:
    """The machine's own addresses on the network, the one it would use first; nothing is sent to find out."""
    found = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737, from memory): never reached
        found.append(asking.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [told[4][0] for told in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return tuple(address for address in dict.fromkeys(found) if not address.startswith("127."))


def run_all(served: list[Served], *, renew: Callable[[], None] | None = None) -> None:
    """Serve until Ctrl+C. `renew` is called every hour; the certificates are read again after it."""
    servers = [_server(one) for one in served]

    def stop(*_: object) -> None:
        for server in servers:
            server.should_exit = True

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        asyncio.run(_run(servers, served, renew))
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


async def _run(servers: list[Server], served: list[Served], renew: Callable[[], None] | None) -> None:
    renewing = asyncio.create_task(_renewing(servers, served, renew)) if renew else None
    await asyncio.gather(*(server.serve(sockets=one.sockets) for server, one in zip(servers, served, strict=True)))
    if renewing:
        renewing.cancel()


async def _renewing(servers: list[Server], served: list[Served], renew: Callable[[], None]) -> None:
    """New connections get the new certificate; those that are open go on."""
    while True:
        await asyncio.sleep(LOOK_AGAIN_S)
        with contextlib.suppress(TraysideError):
            await asyncio.to_thread(renew)
            reload_certificates(servers, served)


def reload_certificates(servers: list[Server], served: list[Served]) -> None:
    for server, one in zip(servers, served, strict=True):
        if one.certificate is not None:
            server.config.ssl.load_cert_chain(one.certificate, one.key)


def _server(one: Served) -> Server:
    return Server(
        uvicorn.Config(
            one.site,
            log_level="warning",
            server_header=False,
            proxy_headers=False,
            ws="none",
            lifespan="off",
            ssl_keyfile=one.key,
            ssl_certfile=one.certificate,
        )
    )
