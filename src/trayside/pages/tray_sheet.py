"""The marking-up sheet: every tray to scale, what to write on the core, where to put the tape, and the code of the tray."""

from __future__ import annotations

import re
from datetime import datetime
from itertools import pairwise

from trayside.app.bag_words import OTHER_SIDE
from trayside.app.tray_picture import SampleSpan, TrayPicture
from trayside.app.tray_svg import END_PX, SIDE_PX, tray_svg
from trayside.app.written_amounts import span_text
from trayside.errors import ImpossibleValue
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import tray_object
from trayside.model.hole import Hole
from trayside.model.rules import Rules

from .codes import qr_svg
from .compile import compile_page
from .paper_words import KIND_WORDS, plain_text, time_text

MM_PER_PX = 0.27
"""Size of the drawing's text and heights on paper; the length of the core has its own scale."""
USABLE_WIDTH_MM = {"a4": 281.0, "us-letter": 263.0}
USABLE_HEIGHT_MM = {"a4": 141.0, "us-letter": 147.0}
SCALES = (2, 2.5, 4, 5, 6, 7.5, 8, 10, 12.5, 15, 20, 25, 30, 40, 50)


def tray_sheet_pdf(
    *,
    yard: str,
    hole: Hole,
    trays: tuple[TrayPicture, ...],
    rules: Rules,
    rows: tuple[SheetRow, ...] = (),
    revision: int = 0,
    made_at: datetime | None = None,
) -> bytes:
    """One page or more a tray. `rows` are the rows of the cut sheet, for the controls that stand between samples."""
    content = {
        "paper": rules.paper.size,
        "yard": plain_text(yard),
        "hole": plain_text(hole.hole_id, breakable=False),
        "revision": f"cut sheet revision {revision}" if revision else "draft – not issued",
        "draft": revision == 0,
        "made_at": time_text(made_at),
        "line": _line_words(rules),
        "pages": [page for tray in trays for page in _tray_pages(tray, rows=rows, rules=rules)],
    }
    return compile_page(template="tray_sheet.typ", content=content, made_at=made_at).pdf


def scale_for(*, longest_mm: float, paper: str) -> float:
    """The largest usual scale, as its denominator, at which a row of this length fits the paper."""
    room_mm = USABLE_WIDTH_MM[paper] - (SIDE_PX + END_PX) * MM_PER_PX
    found = next((scale for scale in SCALES if longest_mm / scale <= room_mm), None)
    if found is None:
        raise ImpossibleValue(
            f"a row of {longest_mm:.0f} mm cannot be drawn on {paper}", where="tray", remedy="Check the tray's row length"
        )
    return found


def _tray_pages(tray: TrayPicture, *, rows: tuple[SheetRow, ...], rules: Rules) -> list[dict]:
    """The tray in pictures that fit the page: all rows in one, or cut between rows."""
    code = tray_object(tray.hole_id, tray.tray)
    scale = scale_for(longest_mm=tray.widest_mm, paper=rules.paper.size)
    unit, pages, first = rules.paper.length_unit, [], 1
    while first <= tray.rows:
        last = tray.rows
        drawn, high_mm = _drawing(tray, first, last, scale, unit)
        while high_mm > USABLE_HEIGHT_MM[rules.paper.size] and last > first:
            last -= 1
            drawn, high_mm = _drawing(tray, first, last, scale, unit)
        pages.append(
            {
                "tray": f"Tray {tray.tray}",
                "code": plain_text(code, breakable=False),
                "qr": qr_svg(code),
                "span": span_text(tray.from_mm, tray.to_mm, unit=unit),
                "part": "" if (first, last) == (1, tray.rows) else f"rows {first} to {last} of {tray.rows}",
                "scale": f"1 : {scale:g}",
                "svg": drawn,
                "high_mm": high_mm,
                "samples": _sample_lines(tray, unit=unit, wanted=range(first, last + 1)),
                "insert": _insert_words(tray, rows) if last == tray.rows else "",
            }
        )
        first = last + 1
    return pages


def _drawing(tray: TrayPicture, first: int, last: int, scale: float, unit: str) -> tuple[str, float]:
    """Rows `first` to `last` drawn, and the height of that on paper."""
    drawn = tray_svg(
        picture=tray,
        scale_px_per_mm=1 / (scale * MM_PER_PX),
        theme="paper",
        unit=unit,
        heading=False,
        shown_rows=range(first, last + 1),
    )
    high_px = float(re.search(r' height="([\d.]+)"', drawn).group(1))
    return drawn, high_px * MM_PER_PX


def _sample_lines(tray: TrayPicture, *, unit: str, wanted: range) -> list[dict]:
    """For every sample with an end in these rows: its number, depths, and where the tape puts both ends."""
    spans: dict[str, list[SampleSpan]] = {}
    for span in tray.samples:
        spans.setdefault(span.numbers[0], []).append(span)
    lines = []
    for number, parts in spans.items():
        if not any(part.row in wanted for part in parts):
            continue
        top, bottom = parts[0], parts[-1]
        lines.append(
            {
                "number": plain_text(" + ".join((number, *top.numbers[1:]))),
                "span": span_text(top.from_mm, top.to_mm, unit=unit),
                "begins": _tape(tray, top, upper=True) if top.starts else "tray before",
                "ends": _tape(tray, bottom, upper=False) if bottom.ends else "next tray",
                "caution": plain_text(top.caution),
            }
        )
    return lines


def _tape(tray: TrayPicture, span: SampleSpan, *, upper: bool) -> str:
    at_left = upper != tray.backward[span.row - 1]
    left_mm = span.left_from_mm if at_left else span.left_to_mm
    return f"row {span.row}, {left_mm / 10:.0f} cm"


def _insert_words(tray: TrayPicture, rows: tuple[SheetRow, ...]) -> str:
    """The controls whose turn comes after a sample that ends in this tray."""
    ending = {number for span in tray.samples if span.ends for number in span.numbers}
    words = []
    for before, row in pairwise(rows):
        if before.number in ending and not row.is_core:
            words.append(f"{row.number} ({KIND_WORDS[row.kind].lower()})")
            ending.add(row.number)
    return plain_text("Bags without core among these: " + ", ".join(words)) if words else ""


def _line_words(rules: Rules) -> str:
    """How the cut lies against the drawn line, for the whole sheet."""
    cut = rules.cut
    if cut.portion == "whole":
        return "Thin line: the drawn line. The core is bagged whole."
    kept = OTHER_SIDE[cut.bag_side]
    if cut.offset_mm == 0:
        where = "the cut follows it"
    else:
        side = cut.bag_side if cut.offset_mm > 0 else kept
        where = f"the cut (dashed) runs {abs(cut.offset_mm):g} mm {side} of it"
    return f"Thin line: the drawn line; {where}. Hatched: the {cut.bag_side} half, looking downhole, goes into the bag."
