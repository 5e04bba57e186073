"""Sample tickets in three parts: the tag for the bag, the tag for the tray, the stub for the book.

The tag for the bag carries the number and its code, nothing else, and looks the same for a control: the laboratory
learns nothing from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from trayside.app.written_amounts import span_text
from trayside.errors import ImpossibleValue
from trayside.model.cut_sheet import SheetRow
from trayside.model.hole import Hole
from trayside.model.rules import Rules

from .codes import qr_modules, qr_svg
from .compile import compile_page
from .paper_words import KIND_WORDS, plain_text

Part = Literal["bag", "tray", "stub"]
PARTS: tuple[Part, ...] = ("bag", "tray", "stub")
SMALLEST_MODULE_MM = 0.3
"""Squares of a code smaller than this blur on a wet bag (common practice, no source)."""
MM_PER_INCH = 25.4
NUMBER_SHARE = 0.23
"""Share of the label's height for a number above the code."""


@dataclass(frozen=True, slots=True)
class Stock:
    """Label stock: the page, the labels on it, where the first one lies, the edge kept white on each.

    A roll has one label a page.
    The sheets are the usual 24-up A4 and 30-up Letter layouts (common practice, no source); check with a plain print.
    """

    page_width_mm: float
    page_height_mm: float
    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    column_gap_mm: float
    edge_mm: float
    number_on_top: bool
    roll: bool


STOCKS: dict[str, Stock] = {
    "label-50x30": Stock(50, 30, 1, 1, 50, 30, 0, 0, 0, 2.0, True, True),
    "label-100x50": Stock(100, 50, 1, 1, 100, 50, 0, 0, 0, 2.0, False, True),
    "a4-3x8": Stock(210, 297, 3, 8, 70, 37, 0, 0.5, 0, 3.5, True, False),
    "letter-3x10": Stock(215.9, 279.4, 3, 10, 66.675, 25.4, 4.7625, 12.7, 3.175, 2.0, False, False),
}


def tickets_pdf(
    *,
    rows: tuple[SheetRow, ...],
    hole: Hole,
    stock: str,
    rules: Rules,
    parts: Sequence[Part] = PARTS,
    depths: bool = True,
    dots_per_inch: int = 203,
    made_at: datetime | None = None,
) -> bytes:
    """Tickets for every row, part after part. `depths` prints from–to on tray tag and stub, never on the bag's tag.

    On a roll every square of the code is a whole number of the printer's dots (203 or 300 to the inch).
    """
    layout = STOCKS.get(stock)
    if layout is None:
        raise ImpossibleValue(f"no label stock {stock!r}", where="stock", remedy=f"Use one of {', '.join(STOCKS)}")
    unknown = [part for part in parts if part not in PARTS]
    if unknown or not parts:
        raise ImpossibleValue(f"no ticket part {unknown or 'named'}", where="parts", remedy=f"Use {', '.join(PARTS)}")
    if not 100 <= dots_per_inch <= 2400:
        raise ImpossibleValue(f"{dots_per_inch} dots per inch", where="dots_per_inch", remedy="Use 203 or 300")
    dot_mm = MM_PER_INCH / dots_per_inch if layout.roll else 0.0
    content = {
        "page": {name: getattr(layout, name) for name in Stock.__slots__},
        "edge_mm": _edge_mm(layout, dot_mm),
        "dot_mm": dot_mm or 0.01,
        "number_share": NUMBER_SHARE,
        "tickets": [
            _ticket(row, part, hole=hole, layout=layout, rules=rules, depths=depths, dot_mm=dot_mm)
            for row in rows
            for part in parts
        ],
    }
    return compile_page(template="tickets.typ", content=content, made_at=made_at).pdf


def _ticket(row: SheetRow, part: Part, *, hole: Hole, layout: Stock, rules: Rules, depths: bool, dot_mm: float) -> dict:
    edge_mm = _edge_mm(layout, dot_mm)
    room_mm = layout.height_mm - 2 * edge_mm - (NUMBER_SHARE * layout.height_mm if layout.number_on_top else 0.0)
    if part != "bag" and not layout.number_on_top:
        room_mm *= 0.85
    size_mm = _code_size_mm(row.number, room_mm=room_mm, dot_mm=dot_mm)
    return {
        "part": part,
        "number": plain_text(row.number, breakable=False),
        "qr": qr_svg(row.number),
        "size_mm": size_mm,
        "lines": [] if part == "bag" else _lines(row, part, hole=hole, rules=rules, depths=depths),
    }


def _edge_mm(layout: Stock, dot_mm: float) -> float:
    return round(layout.edge_mm / dot_mm) * dot_mm if dot_mm else layout.edge_mm


def _code_size_mm(number: str, *, room_mm: float, dot_mm: float) -> float:
    modules = qr_modules(number)
    module_mm = room_mm / modules
    if dot_mm:
        module_mm = int(module_mm / dot_mm + 1e-9) * dot_mm
    if module_mm < SMALLEST_MODULE_MM:
        raise ImpossibleValue(
            "the number is too long for a code on this label",
            where=number,
            remedy="Use larger labels or shorter numbers",
        )
    return modules * module_mm


def _lines(row: SheetRow, part: Part, *, hole: Hole, rules: Rules, depths: bool) -> list[str]:
    """What tray tag and stub say besides the number. A material is named on the stub alone."""
    lines = [hole.hole_id]
    if row.is_core and depths and row.from_mm is not None and row.to_mm is not None:
        lines.append(span_text(row.from_mm, row.to_mm, unit=rules.paper.length_unit))
    last = []
    if row.from_place is not None:
        last.append(f"tray {row.from_place.tray}, row {row.from_place.row}")
    if part == "tray":
        last += [] if row.is_core else ["no core"]
    elif row.kind == "duplicate":
        last.append(f"{row.duplicate_type or 'duplicate'} of {row.duplicate_of}")
    elif row.is_core:
        last.append(row.portion or KIND_WORDS[row.kind])
    else:
        last.append(f"{KIND_WORDS[row.kind]} {row.material or ''}")
    return [plain_text(line) for line in (*lines, " · ".join(last)) if line]
