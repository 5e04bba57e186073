"""The commands on the ledger: check that it is whole, and write it out for others to check."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from trayside.app.verify_ledger import LedgerReport, export_ledger, verify_export, verify_store
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.screen import say
from trayside.cli.toolbox import Toolbox
from trayside.errors import TraysideError
from trayside.model.ledger_chain import ChainReport

NOT_WHOLE = 8
"""Exit code of `ledger verify` when something is wrong with the chain."""


def ledger_commands(toolbox: Toolbox) -> typer.Typer:
    """`trayside ledger ...`"""
    ledger = typer.Typer(help="The append-only ledger of physical acts.", no_args_is_help=True)

    @ledger.command()
    def verify(
        file: Annotated[Path | None, typer.Option("--file", help="An export to check instead of the store.")] = None,
        witness: Annotated[
            str | None, typer.Option("--hash", help="A hash kept elsewhere, for instance on a dispatch note.")
        ] = None,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Read the whole chain and name the first thing that is wrong; exit code 8 when something is."""
        if witness is not None and (len(witness) != 64 or witness.strip("0123456789abcdef")):
            raise TraysideError("this is not a hash", where="--hash", remedy="Give its 64 digits 0-9 and a-f")
        if file is not None:
            with file.open("rb") as lines:
                report = LedgerReport(events=verify_export(lines, witness=witness))
        else:
            report = verify_store(start_work=opened(toolbox, store), witness=witness)
        if as_json:
            typer.echo(json.dumps(asdict(report) | {"whole": report.whole}, ensure_ascii=False, indent=1))
        else:
            _say_chain(report.events, "events")
            if report.conflicts is not None and (report.conflicts.records or report.conflicts.fault):
                _say_chain(report.conflicts, "events kept beside it, sent under an id that was taken")
        if not report.whole:
            raise typer.Exit(NOT_WHOLE)

    @ledger.command()
    def export(
        file: Annotated[Path, typer.Argument(help="File to write, one JSON object a line.")],
        store: Store = DEFAULT_STORE,
    ) -> None:
        """Write the ledger as JSON lines; `ledger verify --file` and `python -m trayside.ledger_verify` check it."""
        if file.exists():
            raise TraysideError("this file is there already", where=str(file), remedy="Name another")
        unfinished = file.with_name(file.name + ".part")
        count = 0
        with unfinished.open("w", encoding="utf-8", newline="\n") as out:
            for line in export_ledger(start_work=opened(toolbox, store)):
                out.write(line)
                count += 1
        os.replace(unfinished, file)
        say(f"{count} events written to {file}.")

    return ledger


def _say_chain(report: ChainReport, what: str) -> None:
    for seq in report.clock_back:
        say(f"The server's clock ran backwards before event {seq}.")
    if report.fault is None:
        say(f"Whole: {report.records} {what}, newest hash {report.newest_hash}.")
    else:
        say(f"NOT WHOLE: {report.fault}.")
        say(f"{report.records} {what} before it are sound.")
