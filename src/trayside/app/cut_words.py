"""Where the cut line goes, in words a person with a strip of paper round the core can follow: millimetres of arc."""

from __future__ import annotations

import numpy as np

from trayside.app.cut_register import OTHER_SIDE, CutLine, CutRegister
from trayside.app.written_amounts import depth_text
from trayside.core.cut_mark import arc_mm, closest_mark
from trayside.core.orientation_quality import signed_turn
from trayside.model.cut_sheet import SheetRow

DRAWN_LINE, CUT_LINE = "drawn line", "cut line"
NOT_WORTH_SAYING_MM = 2.0
"""A line that wanders less than this over one bag is said once."""


def edge_deg(cut_deg: float, *, side: str) -> float:
    """The end of a cut plane that is the cut line, so that the orientation line stays on the kept half.

    A plane has two ends, half a turn apart. With the right half bagged the line is drawn at the clockwise one.
    """
    turned = float(np.mod(cut_deg, 180.0))
    return turned if side == "right" or turned == 0.0 else turned - 180.0


def way_word(angle_deg: float) -> str:
    return "clockwise" if signed_turn(angle_deg) >= 0 else "anticlockwise"


def mark_words(angle_deg: float, *, core_diameter_mm: float) -> str:
    """Where the cut line is drawn, from the orientation line: '18 mm clockwise of the orientation line'."""
    signed = float(signed_turn(angle_deg))
    near = closest_mark(core_diameter_mm=core_diameter_mm, cut_deg=signed)
    if round(float(near.arc_mm), 1) < 0.5 and abs(signed) < 90:
        return "on the orientation line"
    arc = f"{arc_mm(core_diameter_mm=core_diameter_mm, angle_deg=abs(signed)):.0f} mm"
    if abs(signed) <= 90:
        return f"{arc} {way_word(signed)} of the orientation line"
    other = "clockwise" if near.clockwise else "anticlockwise"
    if round(float(near.arc_mm), 1) < 0.5:
        return f"straight across from the orientation line ({arc} round the core)"
    return f"straight across from a mark {near.arc_mm:.0f} mm {other} of the orientation line ({arc} {way_word(signed)})"


def line_words(line: CutLine, *, core_diameter_mm: float, unit: str) -> str:
    """One stretch of the register as an order: where the cut line runs from its top to its bottom."""
    if line.on_the_line:
        return "The cut line is the orientation line."
    top = mark_words(line.start_deg, core_diameter_mm=core_diameter_mm)
    bottom = mark_words(line.end_deg, core_diameter_mm=core_diameter_mm)
    if top == bottom:
        return f"Draw the cut line {top}."
    at_top, at_bottom = (f"{depth_text(at, unit=unit)} {unit}" for at in (line.from_mm, line.to_mm))
    return f"Draw the cut line from {top} at {at_top} evenly to {bottom} at {at_bottom}."


def side_words(line: CutLine) -> str:
    """Which half goes into the bag, and where the orientation line ends up."""
    kept = OTHER_SIDE[line.side]
    if line.on_the_line:
        return f"The {line.side} half is bagged."
    middle = float(signed_turn(line.angle_at((line.from_mm + line.to_mm) / 2)))
    stays = (middle > 0) == (line.side == "right") or abs(middle) in (0.0, 180.0)
    where = f"stays on the {kept} half" if stays else "goes into the bag"
    return f"Cut line up, looking downhole: the {line.side} half is bagged; the orientation line {where}."


def row_line(row: SheetRow, register: CutRegister, *, core_diameter_mm: float | None, unit: str) -> tuple[str, str]:
    """Where the cut line runs on the core of one bag, and what to call it; '' where it is the orientation line.

    Said for the first bag of the core only, and only where it is sawn along a line.
    """
    if row.kind != "sample" or row.side not in OTHER_SIDE or row.from_mm is None or core_diameter_mm is None:
        return "", DRAWN_LINE
    lines = register.over(row.from_mm, row.to_mm)
    if any(line.side != row.side for line in lines):
        other = next(line for line in lines if line.side != row.side)
        return f"The register bags the {other.side} half here, this sheet the {row.side} half: ask before you cut.", CUT_LINE
    if all(line.on_the_line for line in lines):
        return "", DRAWN_LINE
    told = []
    for line in lines:
        top = mark_words(line.start_deg, core_diameter_mm=core_diameter_mm)
        bottom = mark_words(line.end_deg, core_diameter_mm=core_diameter_mm)
        where = "" if len(lines) == 1 else f" down to {depth_text(line.to_mm, unit=unit)} {unit}"
        turned = float(signed_turn(line.end_deg - line.start_deg))
        if abs(arc_mm(core_diameter_mm=core_diameter_mm, angle_deg=turned)) < NOT_WORTH_SAYING_MM:
            top = bottom = mark_words(line.start_deg + 0.5 * turned, core_diameter_mm=core_diameter_mm)
        told.append(f"Cut line{where}: {top if top == bottom else f'{top} at the top, {bottom} at the bottom'}.")
    return " ".join(told), CUT_LINE
