"""A small end view of the core, looking downhole with the drawn line up: where the cut runs and what is bagged."""

from __future__ import annotations

from functools import lru_cache

from trayside.model.cut_sheet import SheetRow

RADIUS = 40
SLOT = 5
SHIFT = 8
"""How far the cut is drawn beside the line: enough to be seen, not to scale."""


def bag_picture(row: SheetRow, *, offset_mm: float) -> str:
    """SVG of the end view for a row of core; '' for controls."""
    if not row.is_core:
        return ""
    if row.portion == "whole":
        return _picture("whole", 0, "")
    if row.side not in ("right", "left"):
        return _picture("heap", 0, "")
    toward = 1 if row.side == "right" else -1
    if row.kind == "duplicate":
        # The twin lies on the other side of the cut that was made for its first bag when it is a second half.
        part = "lower quarter" if row.portion == "quarter" else "half"
        cut = -toward if row.duplicate_type in ("half/half", "half/quarter") else toward
    else:
        part = "upper quarter" if row.portion == "quarter" else "half"
        cut = toward
    shift = 0 if offset_mm == 0 else (1 if offset_mm > 0 else -1)
    return _picture(part, cut * shift * SHIFT, row.side)


@lru_cache(maxsize=64)
def _picture(part: str, slot_x: int, side: str) -> str:
    hatch = "".join(f"M{x},-50l100,100" for x in range(-150, 60, 9))
    body: list[str] = []
    if part == "heap":
        shape, bagged = '<path d="M-44,30L0,-26L44,30z"', (0, -50, 50, 100)
    else:
        shape, bagged = f'<circle r="{RADIUS}"', (slot_x, -50, 50 - slot_x, 100)
    if part == "whole":
        bagged = (-50, -50, 100, 100)
    elif side == "left":
        bagged = (-50, -50, 50 + slot_x, 100)
    if part == "upper quarter":
        bagged = (bagged[0], -50, bagged[2], 50)
    elif part == "lower quarter":
        bagged = (bagged[0], 0, bagged[2], 50)
    x, y, wide, high = bagged
    body.append(f'<clipPath id="core">{shape}/></clipPath>')
    body.append(f'<clipPath id="bag"><rect x="{x}" y="{y}" width="{wide}" height="{high}"/></clipPath>')
    body.append(
        f'<g clip-path="url(#core)"><g clip-path="url(#bag)"><path d="{hatch}" stroke="#000" '
        'stroke-width="3.2"/></g></g>'
    )
    body.append(f'{shape} fill="none" stroke="#000" stroke-width="2.4"/>')
    if part in ("half", "upper quarter", "lower quarter"):
        body.append(_slot(slot_x - SLOT / 2, -48, SLOT, 96))
        if part != "half":
            left = slot_x if side == "right" else -48
            body.append(_slot(left, -SLOT / 2, 48 - slot_x if side == "right" else 48 + slot_x, SLOT))
        body.append(f'<path d="M0,-{RADIUS}l-6,-9h12z"/>')
    elif part == "heap":
        body.append(_slot(-SLOT / 2, -34, SLOT, 72))
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="-50 -50 100 100">{"".join(body)}</svg>'


def _slot(x: float, y: float, wide: float, high: float) -> str:
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="#fff" stroke="#000" stroke-width="1.4"/>'
    )
