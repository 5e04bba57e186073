"""Edits of a sheet as they travel between the page and the yard, and as words."""

from __future__ import annotations

import json
from dataclasses import asdict

from trayside.app.edit_sheet import Edit
from trayside.app.typed_depth import typed_depth_mm
from trayside.errors import ImpossibleValue
from trayside.model.cut_sheet import SheetRow

from .asking import Form, one
from .page import Amounts
from .words import say

KINDS = ("move", "split", "join", "add", "drop")
WITH_TWO_DEPTHS = ("move", "add")
MOST_EDITS = 500
DEEPEST_MM = 15_000_000
SAME_MM = 2
"""A typed depth this near to a boundary means the boundary: a foot with two decimals is not finer."""

Seen = tuple[tuple[int, int], ...]


def edits_from_text(text: str, *, unit: str) -> tuple[Edit, ...]:
    """Edits from JSON: objects with `what`, `at_mm` and `to_mm`, or `to` with a depth as typed."""
    try:
        told = json.loads(text or "[]")
    except (ValueError, RecursionError):  # also a number with more digits than Python reads
        raise _unreadable() from None
    return edits_from_list(told, unit=unit)


def edits_from_list(told: object, *, unit: str) -> tuple[Edit, ...]:
    if not isinstance(told, list) or len(told) > MOST_EDITS:
        raise _unreadable()
    edits = []
    for entry in told:
        if not isinstance(entry, dict) or entry.get("what") not in KINDS:
            raise _unreadable()
        what = entry["what"]
        to_mm = entry.get("to_mm")
        if isinstance(entry.get("to"), str):
            to_mm = typed_depth_mm(entry["to"], unit=unit)
        wanted = (entry.get("at_mm"), to_mm) if what in WITH_TWO_DEPTHS else (entry.get("at_mm"),)
        if not all(type(depth) is int and 0 <= depth <= DEEPEST_MM for depth in wanted):
            raise _unreadable()
        edits.append(Edit(what, *wanted))
    return tidied(edits)


def edits_to_text(edits: tuple[Edit, ...]) -> str:
    return json.dumps([asdict(edit) for edit in edits])


def tidied(edits: list[Edit]) -> tuple[Edit, ...]:
    """A boundary moved twice in a row is moved once; moved back, it is not moved."""
    kept: list[Edit] = []
    for edit in edits:
        if edit.what == "move" and kept and kept[-1].what == "move" and kept[-1].to_mm == edit.at_mm:
            edit = Edit("move", kept.pop().at_mm, edit.to_mm)
        if not (edit.what == "move" and edit.at_mm == edit.to_mm):
            kept.append(edit)
    return tuple(kept)


def typed_edit(form: Form, rows: tuple[SheetRow, ...], *, unit: str) -> Edit | None:
    """The one edit of the typing form, when a button of it was pressed. Depths near a boundary mean that boundary."""
    what = one(form, "what")
    if not what:
        return None
    if what not in KINDS:
        raise _unreadable()
    ends = {end for row in rows if row.kind == "sample" for end in (row.from_mm, row.to_mm)}

    def typed(field: str) -> int:
        depth_mm = typed_depth_mm(one(form, f"{what}_{field}"), unit=unit)
        return min((end for end in ends if abs(end - depth_mm) <= SAME_MM), key=lambda end: abs(end - depth_mm),
                   default=depth_mm)  # fmt: skip

    if what == "move":
        return Edit("move", typed("at"), typed_depth_mm(one(form, "move_to"), unit=unit))
    return Edit(what, typed("at"), typed("to") if what == "add" else None)


def in_words(edit: Edit, amounts: Amounts) -> str:
    """'boundary 12.30 m moved to 12.50 m'."""
    to = "" if edit.to_mm is None else amounts.depth_with_unit(edit.to_mm)
    return say(f"edit.did.{edit.what}", at=amounts.depth_with_unit(edit.at_mm), to=to)


def seen_text(rows: tuple[SheetRow, ...]) -> str:
    """The samples a page shows, so that it can be told later what changed under it."""
    return json.dumps([[row.from_mm, row.to_mm] for row in rows if row.kind == "sample"], separators=(",", ":"))


def seen_from_text(text: str) -> Seen | None:
    """The samples that page showed; None when it does not say."""
    try:
        told = json.loads(text)
        spans = tuple((top, bottom) for top, bottom in told)
    except (ValueError, TypeError, RecursionError):
        return None
    if not all(type(depth) is int and 0 <= depth <= DEEPEST_MM for span in spans for depth in span):
        return None
    return spans


def _unreadable() -> ImpossibleValue:
    return ImpossibleValue(say("fault.broken"), where="sheet", remedy=say("fault.broken.do"))
