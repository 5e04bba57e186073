"""Words, tables and bars on the terminal."""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from trayside.app.ports import Progress as ReportProgress
from trayside.model.finding import SEVERITIES, Finding

SHAPES = {"stop": "■", "warn": "▲", "note": "●"}


def say(text: str) -> None:
    """A plain line on standard output."""
    sys.stdout.write(text + "\n")


def complain(text: str, lines: list[str] | None = None) -> None:
    """An error with its details on standard error."""
    sys.stderr.write(text + "\n")
    for line in lines or []:
        sys.stderr.write(f"  - {line}\n")


@contextmanager
def bar(what: str, *, quiet: bool = False) -> Iterator[ReportProgress]:
    """A progress bar on standard error; only where a person watches."""
    console = Console(stderr=True)
    if quiet or not console.is_terminal:
        yield lambda done, of, now: None
        return
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task(what, total=None)

        def report(done: int, of: int, now: str) -> None:
            progress.update(task, completed=done, total=of, description=f"{what}: {now}")

        yield report


def say_findings(findings: tuple[Finding, ...], *, short: bool = False) -> None:
    """Findings by gravity: each with its place and what to do, or only how many of each kind."""
    if not findings:
        say("No findings.")
        return
    for severity in SEVERITIES:
        mine = [finding for finding in findings if finding.severity == severity]
        if not mine:
            continue
        say(f"{SHAPES[severity]} {severity}: {len(mine)}")
        if short:
            for code, count in sorted(Counter(finding.code for finding in mine).items()):
                say(f"    {code}: {count}")
            continue
        for finding in mine:
            say(f"    {finding.where}: {finding.message} [{finding.code}]")
            say(f"        {finding.remedy}")
