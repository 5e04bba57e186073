"""Writing the papers of a hole to files."""

from __future__ import annotations

import re
from pathlib import Path

from trayside.app.hole_view import HoleView, view_hole
from trayside.app.ports import StartWork
from trayside.cli.toolbox import Toolbox
from trayside.model.cut_sheet import Revision


def write_papers(toolbox: Toolbox, start_work: StartWork, hole_id: str, out: Path) -> list[Path]:
    """The papers of the newest revision of one hole."""
    with start_work(writing=False) as work:
        view = view_hole(work, hole_id)
        revision = work.revision(hole_id, view.sheet.revision) if view.sheet and view.sheet.revision else None
    return paper_files(toolbox, view, revision, out)


def paper_files(
    toolbox: Toolbox, view: HoleView, revision: Revision | None, out: Path, *, tickets: str = "a4-3x8"
) -> list[Path]:
    """Cut sheet, tray sheet and tickets as files; the names say hole and revision."""
    out.mkdir(parents=True, exist_ok=True)
    stem = re.sub(r"[^A-Za-z0-9._-]", "_", view.hole_id)
    state = f"revision-{revision.revision}" if revision else "draft"
    papers = {f"{stem}-tray-sheet.pdf": lambda: toolbox.papers.tray_sheet(view)}
    if view.sheet is not None:
        papers = {
            f"{stem}-cut-sheet-{state}.pdf": lambda: toolbox.papers.cut_sheet(view, revision),
            **papers,
            f"{stem}-tickets-{state}.pdf": lambda: toolbox.papers.tickets(view, revision, tickets),
        }
    written = []
    for name, make in papers.items():
        path = out / name
        path.write_bytes(make())
        written.append(path)
    return written
