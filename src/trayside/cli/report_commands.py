"""The QC report of a period, written as PDF or as one HTML file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from trayside.app.make_report import make_report
from trayside.app.report import typed_period
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.screen import say
from trayside.cli.toolbox import Toolbox
from trayside.errors import ImpossibleValue


def add_report_command(app: typer.Typer, toolbox: Toolbox) -> None:
    """`trayside report`."""

    @app.command()
    def report(
        first: Annotated[str, typer.Option("--from", help="First day of reporting, like 2031-05-01.")] = "",
        last: Annotated[str, typer.Option("--to", help="Last day of reporting.")] = "",
        out: Annotated[Path, typer.Option("--out", help="File to write, .pdf or .html.")] = Path("qc-report.pdf"),
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Write the QC report: a first page to decide by, charts, rules, and the evidence by criterion."""
        form = out.suffix.casefold()
        if form not in (".pdf", ".html"):
            raise ImpossibleValue(
                f"a report is no {out.suffix or 'file without an ending'}", where="--out", remedy="End it with .pdf or .html"
            )
        made = make_report(typed_period(first, last), made_at=toolbox.clock(), start_work=opened(toolbox, store))
        out.parent.mkdir(parents=True, exist_ok=True)
        if form == ".pdf":
            out.write_bytes(toolbox.papers.report(made))
        else:
            out.write_text(toolbox.papers.report_html(made), encoding="utf-8")
        if as_json:
            say(json.dumps({"file": str(out), "summary": made.summary, "to_do": made.todo}, ensure_ascii=False, indent=2))
            return
        for line in made.summary:
            say(line)
        say(str(out))
