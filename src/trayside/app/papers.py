"""The papers of a hole and of a load, as the use cases and screens ask for them; made by the pages layer, handed in."""

from __future__ import annotations

from typing import Protocol

from trayside.app.hole_view import HoleView
from trayside.app.load_view import LoadView
from trayside.model.cut_sheet import Revision

TICKET_STOCKS = ("label-50x30", "label-100x50", "a4-3x8", "letter-3x10")


class Papers(Protocol):
    """Each answers with the bytes of a PDF. `revision` None prints the draft, which says so across its head."""

    def cut_sheet(self, view: HoleView, revision: Revision | None) -> bytes: ...
    def tray_sheet(self, view: HoleView) -> bytes: ...
    def tickets(self, view: HoleView, revision: Revision | None, stock: str) -> bytes: ...
    def dispatch_note(self, view: LoadView) -> bytes: ...
    def laboratory_copy(self, view: LoadView) -> bytes: ...
