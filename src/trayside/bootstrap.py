"""The one place where everything is wired: stores, files, papers, screens and commands."""

from __future__ import annotations

import re
import secrets
import socket
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from trayside.app.identity import uuid7
from trayside.app.ports import StartWork, Work
from trayside.errors import TraysideError

if TYPE_CHECKING:
    from sqlalchemy import Engine

HOST_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?")
DEMO_FOLDER = Path(__file__).resolve().parents[2] / "demo" / "vellin_ridge"


def clock() -> datetime:
    return datetime.now(UTC)


def make_id() -> str:
    return uuid7(milliseconds=time.time_ns() // 1_000_000, random_bytes=secrets.token_bytes(10))


@dataclass(frozen=True, slots=True)
class OpenedStore:
    """Begins transactions; `folder` is where the files that belong to the store lie."""

    engine: Engine
    folder: Path

    def __call__(self, *, writing: bool = True) -> Work:
        from trayside.store.work import SqlWork

        return SqlWork(self.engine, writing=writing)


def open_store(url: str) -> OpenedStore:
    """Open (and bring up to date) the store at a SQLite path or postgresql:// address."""
    from trayside.store.connection import open_store as open_engine

    if "://" not in url:
        Path(url).parent.mkdir(parents=True, exist_ok=True)
    return OpenedStore(open_engine(url), Path("yard/store" if "://" in url else url).absolute().parent)


def papers():
    from trayside.pages.papers import TypstPapers

    return TypstPapers()


@cache
def chart_scripts():
    """What draws charts in a browser; put together once for the whole program."""
    from trayside.pages.chart_scripts import InstalledChartScripts

    return InstalledChartScripts()


@cache
def pin_secrets():
    """Hashing of PINs; one for the whole program, so that only a few are hashed at once."""
    from trayside.store.secrets_argon2 import Argon2Secrets

    return Argon2Secrets()


def photo_keeping(start_work: StartWork) -> dict:
    """Photographs in a folder beside the store; nothing for a store that has no folder."""
    from trayside.files.photo_check import check_photo
    from trayside.store.photo_files import PhotoFiles

    if not isinstance(start_work, OpenedStore):
        return {}
    return {"photos": PhotoFiles(start_work.folder / "photos"), "check_photo": check_photo}


def scale_of(start_work: StartWork):
    """The scale that the yard's rules name; None when they name none. They are read when the screens start."""
    from trayside.app.yard_rules import rules_of
    from trayside.files.scale_http import HttpScale
    from trayside.files.scale_serial import SerialScale

    with start_work(writing=False) as work:
        settings = rules_of(work).bench.scale
    if settings.port:
        return SerialScale(settings)
    return HttpScale(settings) if settings.feed else None


def site(start_work: StartWork, **more):
    """The screens as an ASGI application."""
    from trayside.files.certificate_reader import open_file
    from trayside.files.received_list import read_received
    from trayside.web.services import Services
    from trayside.web.site import build_site

    services = Services(
        start_work=start_work,
        clock=clock,
        make_id=make_id,
        papers=papers(),
        secrets=pin_secrets(),
        read_received=read_received,
        open_certificate=open_file,
        chart_scripts=chart_scripts(),
        **photo_keeping(start_work),
        **more,
    )
    return build_site(services)


def serve(start_work: StartWork, host: str, port: int) -> None:
    from trayside.web.serving import Served, listen, run_all

    listening = listen(host, port)
    _say(f"Screens on http://{host}:{port}/ (stop with Ctrl+C)")
    run_all([Served(site(start_work, scale=scale_of(start_work)), [listening])])


def serve_lan(start_work: StartWork, *, addresses: tuple[str, ...], port: int, keys: Path) -> None:
    """The office screens on this machine at `port`, the yard over https on the network at the next port, and at the
    one after it the page that hands out the certificate."""
    import segno

    from trayside.store.local_authority import certificates_for
    from trayside.web.services import Lan
    from trayside.web.serving import Served, addresses_of_machine, listen, run_all
    from trayside.web.trust_site import build_trust_site

    addresses = addresses or addresses_of_machine()
    if not addresses:
        raise TraysideError("this machine has no address on a network", where="--lan", remedy="Give one with --address")
    name = socket.gethostname().split(".")[0].casefold()
    names = (*addresses, *((name, f"{name}.local") if HOST_NAME.fullmatch(name) else ()))

    def vouched():
        return certificates_for(names, folder=keys, now=clock())

    made = vouched()
    in_url = [f"[{address}]" if ":" in address else address for address in addresses]
    lan = Lan(
        addresses=tuple(f"https://{address}:{port + 1}/" for address in in_url),
        trust_address=f"http://{in_url[0]}:{port + 2}/",
        fingerprint=made.fingerprint,
    )
    hosts = (*in_url, *names)
    scale = scale_of(start_work)
    trust = build_trust_site(lan, certificate=made.authority_certificate, ends_at=made.authority_ends_at, hosts=hosts)
    served = [
        Served(site(start_work, lan=lan, scale=scale), [listen("127.0.0.1", port)]),
        Served(
            site(start_work, lan=lan, scale=scale, reach="network", hosts=hosts),
            [listen(address, port + 1) for address in addresses],
            made.server_key,
            made.server_certificate,
        ),
        Served(trust, [listen(address, port + 2) for address in addresses]),
    ]
    _say(f"Office screens on http://127.0.0.1:{port}/ (stop with Ctrl+C)")
    _say(f"1. Each tablet trusts the yard once: scan this, or open {lan.trust_address}")
    segno.make_qr(lan.trust_address).terminal(compact=True)
    _say(f"   The certificate's fingerprint (SHA-256) must be {lan.fingerprint}")
    _say(f"2. Then it opens {' or '.join(lan.addresses)}")
    _say("3. And is paired with a code: Tablets on the office screens, or the command trayside pair")
    with start_work(writing=False) as work:
        if not work.people.any_people():
            _say(f"Nobody can sign in yet: add the first person on http://127.0.0.1:{port}/people/first")
    run_all(served, renew=vouched)


def _say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def generated_pages() -> dict[str, Callable[[], str]]:
    """The pages of docs/ that are made from the code they describe."""
    from trayside.files.findings_page import findings_page
    from trayside.files.formats_page import formats_page
    from trayside.files.ledger_page import ledger_page
    from trayside.files.sources_page import sources_page

    return {
        "formats.md": formats_page,
        "findings.md": findings_page,
        "ledger.md": ledger_page,
        "sources.md": sources_page,
    }


def write_docs(folder: Path) -> list[Path]:
    """Write the generated pages into a folder."""
    written = []
    for name, make in generated_pages().items():
        path = folder / name
        path.write_text(make(), encoding="utf-8")
        written.append(path)
    return written


def main(arguments: list[str] | None = None) -> None:
    """Entry point of the `trayside` command."""
    from trayside.cli.commands import run
    from trayside.cli.toolbox import Toolbox
    from trayside.files.certificate_reader import open_file
    from trayside.files.datapackage import write_datapackage
    from trayside.files.received_list import read_received
    from trayside.files.yard_folder import read_yard_folder

    toolbox = Toolbox(
        open_store=open_store,
        read_folder=read_yard_folder,
        describe_folder=write_datapackage,
        papers=papers(),
        serve=serve,
        clock=clock,
        make_id=make_id,
        demo_folder=DEMO_FOLDER,
        write_docs=write_docs,
        secrets=pin_secrets(),
        serve_lan=serve_lan,
        read_received=read_received,
        open_certificate=open_file,
    )
    sys.exit(run(toolbox, arguments))


if __name__ == "__main__":
    main()
