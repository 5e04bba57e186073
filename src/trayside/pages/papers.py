"""The papers of a hole and of a load, made from what the screens see: `app.papers.Papers` by Typst."""

from __future__ import annotations

from datetime import datetime

from trayside.app.hole_view import HoleView
from trayside.app.load_view import LoadView
from trayside.app.prestart import CardView
from trayside.app.record_exposure import ShiftView
from trayside.app.report import QcReport
from trayside.app.saw_views import SawYard
from trayside.app.tray_picture import tray_pictures
from trayside.errors import NotFound
from trayside.model.cut_sheet import Revision, SheetRow
from trayside.model.rules import Rules
from trayside.model.sheet_digest import sheet_digest
from trayside.model.shift import SavedPlan
from trayside.model.verdict import ReassayRequest
from trayside.pages.cut_line import cut_line_content
from trayside.pages.cut_sheet import cut_sheet_pdf
from trayside.pages.dispatch_note import dispatch_note_pdf, laboratory_copy_pdf
from trayside.pages.prestart_card import blade_register_pdf, prestart_card_pdf
from trayside.pages.reassay_request import reassay_request_pdf
from trayside.pages.report import report_html, report_pdf
from trayside.pages.safety_page import safety_page_pdf
from trayside.pages.shift_plan import shift_plan_pdf
from trayside.pages.tickets import tickets_pdf
from trayside.pages.tray_sheet import tray_sheet_pdf

NOTED = ("orientation.", "loss.", "plan.low_recovery", "plan.vein")
"""Findings the person at the saw should read on the sheet."""


class TypstPapers:
    """Cut sheet, tray marking-up sheet, tickets, and the papers of a load."""

    def cut_sheet(self, view: HoleView, revision: Revision | None) -> bytes:
        """A revision, or the draft (which says so on every page)."""
        rows = _rows(view, revision)
        return cut_sheet_pdf(
            yard=view.rules.yard,
            hole=view.core.hole,
            rows=rows,
            revision=revision.revision if revision else 0,
            issued_by=revision.issued_by if revision else "",
            issued_at=revision.issued_at if revision else None,
            statement=revision.statement if revision else "",
            digest=revision.digest if revision else sheet_digest(hole_id=view.hole_id, revision=0, rows=rows),
            changes=revision.changes if revision else (),
            rules=view.rules,
            findings_notes=tuple(
                f"{finding.where}: {finding.message}" for finding in view.findings if finding.code.startswith(NOTED)
            ),
            cut_line=cut_line_content(view, rows),
        )

    def tray_sheet(self, view: HoleView) -> bytes:
        """Every tray to scale, with the samples of the draft, or of the newest revision when the draft is unchanged."""
        if not view.depth.trays:
            raise NotFound(
                "there are no trays to mark up", where=view.hole_id, remedy="Enter its trays and load the hole again"
            )
        rows = view.sheet.rows if view.sheet else ()
        newest = view.revisions[-1] if view.revisions else None
        unchanged = newest is not None and newest.digest == sheet_digest(
            hole_id=view.hole_id, revision=newest.revision, rows=rows
        )
        return tray_sheet_pdf(
            yard=view.rules.yard,
            hole=view.core.hole,
            trays=tray_pictures(hole_id=view.hole_id, depth=view.depth, rows=rows, rock=view.core.rock),
            rules=view.rules,
            rows=rows,
            revision=newest.revision if unchanged else 0,
            made_at=newest.issued_at if unchanged else None,
        )

    def tickets(self, view: HoleView, revision: Revision | None, stock: str) -> bytes:
        """Tickets of a revision or of the draft, for one kind of label stock."""
        return tickets_pdf(
            rows=_rows(view, revision),
            hole=view.core.hole,
            stock=stock,
            rules=view.rules,
            made_at=revision.issued_at if revision else None,
        )

    def dispatch_note(self, view: LoadView) -> bytes:
        """The yard's own note of a load, with controls, masses, findings and the ledger's newest hash."""
        return dispatch_note_pdf(view)

    def laboratory_copy(self, view: LoadView) -> bytes:
        """The list that goes with the load; it shows no control."""
        return laboratory_copy_pdf(view)

    def shift_plan(self, plan: SavedPlan, rules: Rules) -> bytes:
        """The plan of one shift, and the order of trays at each saw."""
        return shift_plan_pdf(plan, rules)

    def prestart_card(self, view: CardView, printed_at: datetime) -> bytes:
        """The pre-start card of one saw, answered or to be answered."""
        return prestart_card_pdf(view, printed_at=printed_at)

    def blade_register(self, yard: SawYard, printed_at: datetime) -> bytes:
        """Every blade of the yard."""
        return blade_register_pdf(yard, printed_at=printed_at)

    def safety_page(self, view: ShiftView) -> bytes:
        """One person's shift: personal, and handed to them."""
        return safety_page_pdf(view)

    def reassay_request(self, request: ReassayRequest, rules: Rules, made_at: datetime) -> bytes:
        """What the laboratory is asked to assay again; it shows no control."""
        return reassay_request_pdf(request, rules=rules, made_at=made_at)

    def report(self, report: QcReport) -> bytes:
        """The QC report of a period."""
        return report_pdf(report)

    def report_html(self, report: QcReport) -> str:
        """The same as one HTML file."""
        return report_html(report)


def _rows(view: HoleView, revision: Revision | None) -> tuple[SheetRow, ...]:
    if revision is not None:
        return revision.rows
    if view.sheet is None:
        raise NotFound("no plan to print", where=view.hole_id, remedy="Plan the hole first")
    return view.sheet.rows
