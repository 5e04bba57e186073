"""The words on paper: short orders a person can follow with a sheet in a wet hand."""

from __future__ import annotations

import re
import unicodedata
from datetime import datetime

from trayside.model.cut_sheet import Place, SheetRow

KIND_WORDS = {"sample": "sample", "duplicate": "DUPLICATE", "standard": "STANDARD", "blank": "BLANK"}
OTHER_SIDE = {"right": "left", "left": "right"}
PORTION_WORDS = {"half": "half", "quarter": "one quarter", "whole": "whole core"}
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


def twins(rows: tuple[SheetRow, ...]) -> dict[str, SheetRow]:
    """The duplicate of each number that has one."""
    return {row.duplicate_of: row for row in rows if row.kind == "duplicate" and row.duplicate_of}


def blade_words(row: SheetRow, *, offset_mm: float) -> str:
    """Where the blade goes against the drawn line, and on which half the line stays."""
    if row.side not in OTHER_SIDE or row.portion == "whole" or row.kind == "duplicate":
        return ""
    kept, away = OTHER_SIDE[row.side], abs(offset_mm)
    if offset_mm == 0:
        return "Cut along the drawn line."
    if offset_mm > 0:
        return f"Cut {away:g} mm {row.side} of the drawn line; the line stays on the {kept} half."
    return f"Cut {away:g} mm {kept} of the drawn line; the line goes into the bag."


def bag_words(row: SheetRow) -> tuple[str, str]:
    """What goes into the bag (large) and what stays in the tray (small)."""
    portion = PORTION_WORDS.get(row.portion, row.portion)
    if row.portion == "whole":
        return portion, "nothing stays in the tray"
    if row.side not in OTHER_SIDE:
        return f"{portion} by mass", "all sizes and the fines; the rest stays in the tray"
    if row.portion == "quarter":
        return "one quarter", f"of the {row.side} half; either of the two, never chosen by look"
    if row.kind == "duplicate":
        return f"{row.side} half", "nothing stays in the tray"
    return f"{row.side} half", f"the {OTHER_SIDE[row.side]} half stays in the tray"


def duplicate_words(row: SheetRow, *, twin: SheetRow | None) -> str:
    """What to do for a duplicate, said on both of its rows."""
    if row.kind == "duplicate":
        return _second_bag(row, first=row.duplicate_of or "?")
    return "" if twin is None else _first_bag(row, twin=twin)


def _second_bag(row: SheetRow, *, first: str) -> str:
    if row.portion == "whole":
        return f"{first} takes the core whole: ask the geologist how to take this second part."
    if row.side == "":
        return f"Second part of {first}: split again by mass, all sizes and the fines."
    if row.duplicate_type == "half/half":
        return f"Second half of {first}: bag the half that would stay."
    if row.duplicate_type == "half/quarter":
        return f"Quarter of the core of {first}: cut the kept half again, one quarter goes in here."
    return f"Quarter of {first}: cut the bagged half again, the other quarter goes in here."


def _first_bag(row: SheetRow, *, twin: SheetRow) -> str:
    if row.portion == "whole" or row.side == "":
        return f"A second part of this core goes into {twin.number}."
    if twin.duplicate_type == "half/half":
        return f"The other half goes into {twin.number}."
    if twin.duplicate_type == "half/quarter":
        return f"Keep the other half at hand: a quarter of it goes into {twin.number}."
    return f"Cut the bagged half again: one quarter here, the other into {twin.number}."


def control_words(row: SheetRow) -> tuple[str, str]:
    """What to insert (large) and how (small)."""
    material = plain_text(row.material) or "?"
    if row.kind == "standard":
        how = "One sealed portion. Its own name goes on the stub, never on or in the bag."
    else:
        how = "One portion, bagged like any sample. Clean scoop, clean hands, nothing from the saw."
    return f"Insert {row.kind} {material}", how


def count_words(rows: tuple[SheetRow, ...]) -> str:
    """'40 bags: 33 samples, 2 duplicates, 3 standards, 2 blanks'."""
    parts = []
    for kind in KIND_WORDS:
        found = sum(row.kind == kind for row in rows)
        if found:
            parts.append(f"{found} {kind}" + ("s" if found != 1 else ""))
    bags = f"{len(rows)} bag" + ("s" if len(rows) != 1 else "")
    return f"{bags}: {', '.join(parts)}" if parts else bags
