"""Writing the papers of a hole to files, and findings as JSON."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from trayside.app.hole_view import HoleView, view_hole
from trayside.app.ports import StartWork
from trayside.cli.screen import complain
from trayside.cli.toolbox import Toolbox
from trayside.errors import NotFound
from trayside.model.cut_sheet import Revision
from trayside.model.finding import Finding


def write_papers(toolbox: Toolbox, start_work: StartWork, hole_id: str, out: Path) -> list[Path]:
    """The papers of the newest revision of one hole."""
    with start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        revision = work.revision(hole_id, view.sheet.revision) if view.sheet and view.sheet.revision else None
    return paper_files(toolbox, view, revision, out)


def paper_files(
    toolbox: Toolbox, view: HoleView, revision: Revision | None, out: Path, *, tickets: str = "a4-3x8"
) -> list[Path]:
    """Cut sheet, tray sheet and tickets as files; the names say hole and revision.

    A paper there is nothing for is named and the others are written; NotFound when there is nothing for any.
    """
    stem = re.sub(r"[^A-Za-z0-9._-]", "_", view.hole_id)
    state = f"revision-{revision.revision}" if revision else "draft"
    papers = {f"{stem}-tray-sheet.pdf": lambda: toolbox.papers.tray_sheet(view)}
    if view.sheet is not None:
        papers = {
            f"{stem}-cut-sheet-{state}.pdf": lambda: toolbox.papers.cut_sheet(view, revision),
            **papers,
            f"{stem}-tickets-{state}.pdf": lambda: toolbox.papers.tickets(view, revision, tickets),
        }
    written, missing = [], []
    for name, make in papers.items():
        try:
            paper = make()
        except NotFound as nothing:
            missing.append(nothing)
            continue
        out.mkdir(parents=True, exist_ok=True)
        path = out / name
        path.write_bytes(paper)
        written.append(path)
    if not written:
        raise missing[0]
    for nothing in missing:
        complain(f"Not written: {nothing}")
    return written


def plain_findings(findings: Iterable[Finding]) -> list[dict]:
    """Findings as JSON."""
    return [
        {
            "code": finding.code,
            "severity": finding.severity,
            "where": {
                "hole_id": finding.hole_id,
                "from_m": None if finding.from_mm is None else finding.from_mm / 1000,
                "to_m": None if finding.to_mm is None else finding.to_mm / 1000,
                "run": finding.run,
                "tray": finding.tray,
                "number": finding.number,
            },
            "message": finding.message,
            "remedy": finding.remedy,
            "evidence": finding.evidence,
        }
        for finding in findings
    ]
