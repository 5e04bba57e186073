"""The words on paper: short orders a person can follow with a sheet in a wet hand."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime

from trayside.model.cut_sheet import Place, SheetRow

KIND_WORDS = {"sample": "sample", "duplicate": "DUPLICATE", "standard": "STANDARD", "blank": "BLANK"}
LONGEST_WORD = 14
"""Longer words may be broken anywhere, so that nothing runs out of its column."""

CAUTIONS = (
    "Use the saw only if you are trained and named for it.",
    "Wet cut only: rock dust carries silica. No water, no cut.",
    "Water and electricity: test the protective switch, keep plugs dry, never stand in water.",
    "Wear the ear, eye and breathing protection of this site.",
    "Full trays and sacks are heavy: two people or a trolley.",
    "Local law, the saw maker's manual and this yard's trained people come before this sheet.",
)
KEEP_IN_YARD = "This sheet names the controls. It stays in the yard and never goes with the bags."

# What the two typefaces that come with the typesetter can draw.
PRINTABLE = (
    (0x20, 0x7E), (0xA0, 0x17F), (0x18F, 0x18F), (0x192, 0x192), (0x218, 0x21B), (0x391, 0x3A1), (0x3A3, 0x3C9),
    (0x400, 0x45F), (0x490, 0x491), (0x2010, 0x2015), (0x2018, 0x201E), (0x2020, 0x2022), (0x2026, 0x2026),
    (0x2030, 0x2030), (0x2032, 0x2033), (0x2039, 0x203A), (0x2070, 0x2070), (0x2074, 0x2079), (0x2080, 0x2089),
    (0x20AC, 0x20AC), (0x2116, 0x2116), (0x2122, 0x2122), (0x2126, 0x2126), (0x2190, 0x2195), (0x2200, 0x2200),
    (0x2202, 0x2203), (0x2206, 0x2208), (0x220F, 0x220F), (0x2211, 0x2212), (0x221A, 0x221A), (0x221E, 0x221E),
    (0x2248, 0x2248), (0x2260, 0x2261), (0x2264, 0x2265),
)  # fmt: skip


def plain_text(text: str | None, *, breakable: bool = True) -> str:
    """Text fit for paper: one line, unknown characters spelled as ‹U+91D1›, long words breakable.

    A character without a picture in the typefaces would print as an empty box; its number at least can be looked up.
    """
    one_line = re.sub(r"\s+", " ", unicodedata.normalize("NFC", text or "")).strip()
    shown = "".join(mark if _printable(mark) else f"‹U+{ord(mark):04X}›" for mark in one_line)
    if not breakable:
        return shown
    return re.sub(rf"(\S{{{LONGEST_WORD}}})(?=\S{{3}})", "\\1\u200b", shown)


def _printable(mark: str) -> bool:
    code = ord(mark)
    return any(low <= code <= high for low, high in PRINTABLE)


def time_text(moment: datetime | None) -> str:
    """Date and minute with the zone, as 2031-05-06 07:30 UTC."""
    if moment is None:
        return ""
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzname() or ''}".strip()


def place_text(place: Place | None) -> str:
    """'tray 12 · row 3 · 45 cm'; a dash where the place is not known."""
    return "–" if place is None else f"tray {place.tray} · row {place.row} · {place.left_cm:.0f} cm"


def count_words(rows: tuple[SheetRow, ...]) -> str:
    """'40 bags: 33 samples, 2 duplicates, 3 standards, 2 blanks'."""
    parts = []
    for kind in KIND_WORDS:
        found = sum(row.kind == kind for row in rows)
        if found:
            parts.append(f"{found} {kind}" + ("s" if found != 1 else ""))
    bags = f"{len(rows)} bag" + ("s" if len(rows) != 1 else "")
    return f"{bags}: {', '.join(parts)}" if parts else bags
