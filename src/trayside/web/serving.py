"""Running the sites: on this machine, and over https on the yard's network."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import socket
import sys
import threading
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


def run_all(
    served: list[Served],
    *,
    renew: Callable[[], object] | None = None,
    look_again_s: float = LOOK_AGAIN_S,
    stop: threading.Event | None = None,
) -> None:
    """Serve until Ctrl+C, or until `stop` is set. `renew` is called now and then and the certificates are read again."""
    stop = stop or threading.Event()
    signals = (signal.SIGINT, signal.SIGTERM) if threading.current_thread() is threading.main_thread() else ()
    before = {number: signal.signal(number, lambda *_: stop.set()) for number in signals}
    try:
        asyncio.run(_run(served, renew, look_again_s, stop))
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


async def _run(
    served: list[Served], renew: Callable[[], object] | None, look_again_s: float, stop: threading.Event
) -> None:
    servers = [_server(one) for one in served]
    watching = asyncio.create_task(_watching(servers, stop))
    renewing = asyncio.create_task(_renewing(servers, served, renew, look_again_s)) if renew else None
    await asyncio.gather(*(server.serve(sockets=one.sockets) for server, one in zip(servers, served, strict=True)))
    for task in (watching, renewing):
        if task is not None:
            task.cancel()


async def _watching(servers: list[Server], stop: threading.Event) -> None:
    while not stop.is_set():
        await asyncio.sleep(0.1)
    for server in servers:
        server.should_exit = True


async def _renewing(
    servers: list[Server], served: list[Served], renew: Callable[[], object], look_again_s: float
) -> None:
    """New connections get the new certificate; those that are open go on."""
    while True:
        await asyncio.sleep(look_again_s)
        try:
            await asyncio.to_thread(renew)
        except (TraysideError, OSError) as error:
            sys.stderr.write(f"The certificate could not be renewed: {error}\n")
            continue
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
