"""The one place where everything is wired: stores, files, papers, screens and commands."""

from __future__ import annotations

import secrets
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from trayside.app.identity import uuid7
from trayside.app.ports import StartWork, Work

DEMO_FOLDER = Path(__file__).resolve().parents[2] / "demo" / "vellin_ridge"


def clock() -> datetime:
    return datetime.now(UTC)


def make_id() -> str:
    return uuid7(milliseconds=time.time_ns() // 1_000_000, random_bytes=secrets.token_bytes(10))


def open_store(url: str) -> StartWork:
    """Open (and bring up to date) the store at a SQLite path or postgresql:// address."""
    from trayside.store.connection import open_store as open_engine
    from trayside.store.work import SqlWork

    if "://" not in url:
        Path(url).parent.mkdir(parents=True, exist_ok=True)
    engine = open_engine(url)

    def start_work(*, writing: bool = True) -> Work:
        return SqlWork(engine, writing=writing)

    return start_work


def papers():
    from trayside.pages.papers import TypstPapers

    return TypstPapers()


def site(start_work: StartWork):
    """The screens as an ASGI application."""
    from trayside.web.services import Services
    from trayside.web.site import build_site

    return build_site(Services(start_work=start_work, clock=clock, make_id=make_id, papers=papers()))


def serve(start_work: StartWork, host: str, port: int) -> None:
    import uvicorn

    sys.stdout.write(f"Screens on http://{host}:{port}/ (stop with Ctrl+C)\n")
    sys.stdout.flush()
    uvicorn.run(site(start_work), host=host, port=port, log_level="warning", server_header=False)


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
    from trayside.files.datapackage import write_datapackage
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
    )
    sys.exit(run(toolbox, arguments))


if __name__ == "__main__":
    main()
