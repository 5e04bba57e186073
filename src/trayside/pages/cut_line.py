"""The cut line on the cut sheet: one order a stretch, small pictures, what other planes would cost."""

from __future__ import annotations

from trayside.app.cut_advice import TURN, CutAdvice, cut_advice
from trayside.app.cut_orders import (
    Order,
    case_of,
    diameter_at,
    holds_already,
    orders_computed,
    orders_now,
    surface_picture,
)
from trayside.app.cut_pictures import PRINT, end_view, rose
from trayside.app.cut_stretches import advised_stretches
from trayside.app.cut_words import row_line
from trayside.app.hole_view import HoleView
from trayside.model.cut_sheet import SheetRow

from .paper_words import plain_text

BASIS_WORDS = {
    "yard's rule": "the yard's rule",
    "orientation line": "along the orientation line",
    "best plane": "best plane",
    "vein apex": "through the apex of a vein",
    "other": "as the geologist says",
}
CASE_WORDS = {
    "too few veins": "Too few veins were measured to say which way to cut.",
    "no preferred plane": "The veins share no direction: it does not matter which way this core is cut.",
    "halves alike anyway": "The halves come out alike: it does not matter which way this core is cut.",
    "the line will do": "The orientation line lies near enough to the best plane.",
    "turn the core": "Along the orientation line the halves would not be alike everywhere.",
}
MOST_LINES, MOST_COMPUTED = 5, 3
"""More stretches than these would push the first bags off the page; every bag says where its own cut line runs."""


def cut_line_content(view: HoleView, rows: tuple[SheetRow, ...]) -> dict | None:
    """What the sheet says of the cut line; None where nothing was measured and nothing set: the yard's rule holds."""
    advice = cut_advice(view)
    if advice.hole is None and not view.cut_register.any_set:
        return None
    now = orders_now(view)
    content = {
        "orders": [_order(order) for order in now[:MOST_LINES]],
        "more": _more(len(now) - MOST_LINES, "the bags say where"),
        "told": [],
        "computed": [],
        "computed_more": "",
        "off": any(not line.on_the_line for line in view.cut_register.lines),
        "end": _end(view),
        "rose": "",
        "surface": "",
        "rows": _rows(view, rows),
    }
    if advice.hole is None:
        return content
    stretches = advised_stretches(advice)
    content["told"] = [plain_text(line) for line in _told(advice)]
    if not holds_already(view, stretches):
        content["computed"] = [_order(order) for order in orders_computed(view, stretches)[:MOST_COMPUTED]]
        content["computed_more"] = _more(len(stretches) - MOST_COMPUTED, "the screen shows them")
    content["rose"] = rose(
        beta_deg=advice.carriers.drawn_beta_deg, cut_deg=advice.hole.cut_deg, set_deg=None, inks=PRINT, words=False
    )
    runs = view.depth.runs
    content["surface"] = surface_picture(
        view, advice, runs[0].from_mm / 1000, runs[-1].to_mm / 1000, unit=view.rules.paper.length_unit, inks=PRINT,
        ordered=True, wide=900.0, high=112.0,
    )  # fmt: skip
    return content


def _more(count: int, where: str) -> str:
    return f"and {count} stretch{'es' if count > 1 else ''} more: {where}." if count > 0 else ""


def _told(advice: CutAdvice) -> list[str]:
    """The verdict, its price and the price of the line."""
    told = [CASE_WORDS[case_of(advice)]]
    hole = advice.hole
    if hole.best_imbalance is not None:
        told.append(
            f"Halves would differ from their mean by {_percent(hole.best_imbalance)} at the best plane, "
            f"{_percent(hole.line_imbalance)} along the orientation line as drawn, "
            f"{_percent(advice.set_imbalance)} as ordered here, {_percent(hole.worst_imbalance)} at the worst."
        )
    if case_of(advice) == TURN and advice.line_turns_deg >= 2 * max(domain.free_deg for domain in advice.domains):
        told.append(f"The drawn line turns {advice.line_turns_deg:.0f}° against the marks along the hole.")
    return told


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.1f} %"


def _order(order: Order) -> dict:
    why = ", ".join(part for part in (order.reason or BASIS_WORDS.get(order.basis, ""), order.by) if part)
    where = f"trays {order.trays}, {order.span}" if order.trays else order.span
    return {"where": plain_text(where), "line": order.line, "bag": order.bag, "why": plain_text(why)}


def _end(view: HoleView) -> str:
    """The core's end at the first stretch that leaves the orientation line, else at the top."""
    off = next((line for line in view.cut_register.lines if not line.on_the_line), view.cut_register.lines[0])
    cut = view.rules.cut
    return end_view(
        angle_deg=off.angle_at(off.to_mm) if off.is_set else 0.0,
        side=off.side,
        core_diameter_mm=diameter_at(view, off.to_mm if off.is_set else 0.0),
        kerf_mm=cut.kerf_mm,
        offset_mm=cut.offset_mm,
        inks=PRINT,
    )


def _rows(view: HoleView, rows: tuple[SheetRow, ...]) -> dict[str, tuple[str, str]]:
    """By ticket: where the cut line runs, and what the line beside the blade is called."""
    found = {}
    for row in rows:
        size = view.stock.core_sizes.get(row.core_size or "")
        found[row.number] = row_line(
            row,
            view.cut_register,
            core_diameter_mm=size.core_diameter_mm if size else None,
            unit=view.rules.paper.length_unit,
        )
    return found
