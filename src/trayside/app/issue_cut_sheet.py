"""Issue a hole's cut sheet: signed by name, frozen, numbered revision by revision."""

from __future__ import annotations

from trayside.app.check_sheet import sheet_findings
from trayside.app.hole_view import view_hole
from trayside.app.ports import Clock, StartWork
from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.model.cut_sheet import Revision, changes_between
from trayside.model.sheet_digest import sheet_digest

LONGEST_NAME = 80


def issue_cut_sheet(
    hole_id: str, *, version: int, issued_by: str, statement: str = "", start_work: StartWork, clock: Clock
) -> Revision:
    """Freeze the draft as the next revision. Refused while a finding says stop, or when nothing changed since the last."""
    signer = " ".join(issued_by.split())
    if not signer:
        raise RefusedByRule(
            "a cut sheet needs the name of the person who issues it", where=hole_id, remedy="Type your name, then issue"
        )
    if len(signer) > LONGEST_NAME:
        raise RefusedByRule(
            f"the name is longer than {LONGEST_NAME} characters",
            where=hole_id,
            remedy="Type a shorter name, then issue",
        )
    with start_work() as work:
        view = view_hole(work, hole_id)
        sheet = view.sheet
        if sheet is None:
            raise NotFound("no plan to issue", where=hole_id, remedy="Plan the hole first")
        if sheet.version != version:
            raise ChangedMeanwhile(
                f"the plan is at version {sheet.version}, you looked at version {version}",
                where=hole_id,
                remedy="Look at the newer plan, then issue it",
            )
        stops = [finding for finding in sheet_findings(view) if finding.severity == "stop"]
        if stops:
            raise RefusedByRule(
                f"{len(stops)} finding{'s' if len(stops) > 1 else ''} must be settled before this sheet can be issued",
                where=hole_id,
                remedy="Settle them, plan again, then issue",
                reasons=tuple(f"{finding.where}: {finding.message}. {finding.remedy}" for finding in stops),
            )
        earlier = work.revision(hole_id, sheet.revision) if sheet.revision else None
        changes = changes_between(earlier.rows, sheet.rows) if earlier else ()
        if earlier and earlier.rows == sheet.rows:
            raise RefusedByRule(
                f"nothing changed since revision {sheet.revision}", where=hole_id, remedy="Print that revision again"
            )
        revision = Revision(
            sheet_id=sheet.sheet_id,
            hole_id=hole_id,
            revision=sheet.revision + 1,
            issued_at=clock(),
            issued_by=signer,
            statement=statement.strip(),
            digest=sheet_digest(hole_id=hole_id, revision=sheet.revision + 1, rows=sheet.rows),
            changes=changes,
            rows=sheet.rows,
        )
        work.add_revision(revision)
        work.commit()
    return revision
