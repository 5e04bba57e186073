"""The cut sheet: one row a bag, in ticket order, readable at arm's length with a wet hand."""

from __future__ import annotations

from datetime import datetime

from trayside.app.bag_picture import bag_picture
from trayside.app.bag_words import bag_words, blade_words, control_words, duplicate_words, twins
from trayside.app.cut_words import DRAWN_LINE
from trayside.app.written_amounts import depth_text, mass_text
from trayside.model.cut_sheet import SheetRow
from trayside.model.hole import Hole
from trayside.model.rules import Rules

from .codes import qr_svg, sheet_code, short_digest
from .compile import compile_page
from .paper_words import (
    CAUTIONS,
    KEEP_IN_YARD,
    KIND_WORDS,
    count_words,
    place_text,
    plain_text,
    time_text,
)

MOST_CHARACTERS = 600
"""A row with more words than this may be higher than a page: only such a row may go on over the page's end."""


def cut_sheet_pdf(
    *,
    yard: str,
    hole: Hole,
    rows: tuple[SheetRow, ...],
    revision: int,
    issued_by: str,
    issued_at: datetime | None,
    statement: str,
    digest: str,
    changes: tuple[str, ...],
    rules: Rules,
    findings_notes: tuple[str, ...],
    cut_line: dict | None = None,
) -> bytes:
    """The sheet as a PDF. Revision 0 is a draft and says so on every page."""
    content = cut_sheet_content(
        yard=yard,
        hole=hole,
        rows=rows,
        revision=revision,
        issued_by=issued_by,
        issued_at=issued_at,
        statement=statement,
        digest=digest,
        changes=changes,
        rules=rules,
        findings_notes=findings_notes,
        cut_line=cut_line,
    )
    return compile_page(template="cut_sheet.typ", content=content, made_at=issued_at).pdf


def cut_sheet_content(
    *,
    yard: str,
    hole: Hole,
    rows: tuple[SheetRow, ...],
    revision: int,
    issued_by: str,
    issued_at: datetime | None,
    statement: str,
    digest: str,
    changes: tuple[str, ...],
    rules: Rules,
    findings_notes: tuple[str, ...],
    cut_line: dict | None = None,
) -> dict:
    """Every word and picture of the sheet, in the yard's units; the template only places them."""
    code = sheet_code(hole_id=hole.hole_id, revision=revision, digest=digest)
    twin_of = twins(rows)
    return {
        "paper": rules.paper.size,
        "yard": plain_text(yard),
        "hole": plain_text(hole.hole_id, breakable=False),
        "area": plain_text(hole.area),
        "draft": revision == 0,
        "revision": f"revision {revision}" if revision else "draft",
        "issued_by": plain_text(issued_by),
        "issued_at": time_text(issued_at),
        "statement": plain_text(statement),
        "digest": short_digest(digest),
        "code": qr_svg(code),
        "counts": count_words(rows),
        "core_sizes": plain_text(", ".join(dict.fromkeys(row.core_size for row in rows if row.core_size))),
        "changes_title": f"Changed since revision {revision - 1}" if revision > 1 else "Changes",
        "changes": [plain_text(line) for line in changes],
        "notes": [plain_text(line) for line in findings_notes],
        "cut_line": {name: value for name, value in cut_line.items() if name != "rows"} if cut_line else None,
        "cautions": list(CAUTIONS),
        "keep": KEEP_IN_YARD,
        "longest": max((len(row.number) for row in rows), default=1),
        "mass_unit": rules.paper.mass_unit,
        "rows": [
            _row_content(
                row,
                place=place,
                total=len(rows),
                twin=twin_of.get(row.number),
                rules=rules,
                line=cut_line["rows"].get(row.number, NO_LINE) if cut_line else NO_LINE,
            )
            for place, row in enumerate(rows, start=1)
        ],
    }


NO_LINE = ("", DRAWN_LINE)


def _row_content(
    row: SheetRow, *, place: int, total: int, twin: SheetRow | None, rules: Rules, line: tuple[str, str]
) -> dict:
    offset_mm = rules.cut.offset_mm
    content = {
        "kind": row.kind,
        "kind_word": KIND_WORDS[row.kind],
        "number": plain_text(row.number, breakable=False),
        "qr": qr_svg(row.number),
        "order": f"{place}/{total}",
        "caution": plain_text(row.caution),
        "mass": _mass_content(row, unit=rules.paper.mass_unit),
        "whole": _length_of_words(row) <= MOST_CHARACTERS,
    }
    if not row.is_core:
        order, how = control_words(row)
        return content | {"order_words": plain_text(order), "how": how, "reason": plain_text(row.reason)}
    large, small = bag_words(row)
    unit = rules.paper.length_unit
    return content | {
        "from": _depth(row.from_mm, unit),
        "to": _depth(row.to_mm, unit),
        "length": _length(row, unit),
        "from_place": place_text(row.from_place),
        "to_place": place_text(row.to_place),
        "rock": plain_text(" · ".join(part for part in (row.rock, row.condition, row.core_size) if part)),
        "recovered": _recovered(row, unit),
        "method": plain_text(row.method) or "–",
        "why": plain_text(row.method_reason),
        "line": line[0],
        "blade": blade_words(row, offset_mm=offset_mm, line=line[1]),
        "duplicate": plain_text(duplicate_words(row, twin=twin)),
        "picture": bag_picture(row, offset_mm=offset_mm),
        "bag": large,
        "stays": small,
    }


def _length_of_words(row: SheetRow) -> int:
    return sum(len(words or "") for words in (row.method, row.method_reason, row.caution, row.reason, row.material))


def _depth(depth_mm: int | None, unit: str) -> str:
    return "–" if depth_mm is None else f"{depth_text(depth_mm, unit=unit)} {unit}"


def _length(row: SheetRow, unit: str) -> str:
    if row.from_mm is None or row.to_mm is None:
        return "–"
    return f"{depth_text(row.to_mm - row.from_mm, unit=unit)} {unit}"


NOT_WORTH_SAYING_MM = 20
"""Core missing by less than the reading of a tape is no news to the person at the saw."""


def _recovered(row: SheetRow, unit: str) -> str:
    """The core really there, only where it is less than the length of the sample."""
    if row.recovered_mm is None or row.from_mm is None or row.to_mm is None:
        return ""
    if row.recovered_mm > row.to_mm - row.from_mm - NOT_WORTH_SAYING_MM:
        return ""
    return f"core there: {depth_text(row.recovered_mm, unit=unit)} {unit}"


def _mass_content(row: SheetRow, *, unit: str) -> dict | None:
    if row.expected_kg is None:
        return None
    expected = mass_text(row.expected_kg, unit=unit)
    if row.low_kg is None or row.high_kg is None:
        return {"range": f"about {expected}", "expected": ""}
    low, high = mass_text(row.low_kg, unit=unit), mass_text(row.high_kg, unit=unit)
    return {"range": f"{low}–{high}", "expected": f"expect {expected}"}
