"""Small pieces of SVG the strips share: text, boxes, a depth axis in the yard's unit, the colours of the look."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from math import ceil, floor

INK, SOFT, FAINT, GROUND = "#2b2622", "#6d6356", "#d9cfbd", "#fbf7ef"
CORE, LOST, MARK = "#e2d4b9", "#8c3a22", "#24506e"
ROCK_FILLS = (
    "#e9dcc0",
    "#cfd8c4",
    "#dcc7b4",
    "#c9d3dc",
    "#e5d0d0",
    "#d3cbe0",
    "#c4d6d2",
    "#e8e3c8",
    "#d6d2c9",
    "#cbb9a5",
)
FONT = "system-ui, 'DejaVu Sans', sans-serif"
STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def box(x: float, y: float, wide: float, high: float, fill: str, title: str = "", more: str = "") -> str:
    told = f"<title>{escape(title)}</title>" if title else ""
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="{fill}" {more}>{told}</rect>'


def words(
    x: float, y: float, text: str, *, size: float = 11, anchor: str = "start", fill: str = INK, more: str = ""
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" text-anchor="{anchor}" fill="{fill}" {more}>'
        f"{escape(text)}</text>"
    )


def crossed(x: float, y: float, wide: float, high: float, title: str) -> str:
    """A lost stretch: a box struck through."""
    if wide < 3:
        return box(x, y, max(wide, 0.8), high, LOST, title, 'class="lost"')
    return (
        f'<g class="lost"><title>{escape(title)}</title>'
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="{GROUND}" stroke="{LOST}"/>'
        f'<path d="M{x:.1f},{y:.1f}l{wide:.1f},{high:.1f}m0,-{high:.1f}l-{wide:.1f},{high:.1f}" '
        f'stroke="{LOST}" stroke-width="0.8"/></g>'
    )


def ticks(from_mm: float, to_mm: float, *, px_per_mm: float, unit: str, apart_px: float) -> Iterator[tuple[float, str]]:
    """Round depths in the yard's unit, at least `apart_px` from each other: (depth in mm, label)."""
    one_mm = 304.8 if unit == "ft" else 1000.0
    step = next((step for step in STEPS if step * one_mm * px_per_mm >= apart_px), STEPS[-1])
    for count in range(ceil(from_mm / one_mm / step - 1e-9), floor(to_mm / one_mm / step + 1e-9) + 1):
        label = count * step
        yield label * one_mm, str(label)


def control_shape(kind: str, x: float, y: float, title: str) -> str:
    """The shape of a control, the same as on paper: standard filled diamond, blank ring, duplicate two squares."""
    told = f"<title>{escape(title)}</title>"
    if kind == "standard":
        drawn = f'<path d="M{x:.1f},{y - 5:.1f}l5,5l-5,5l-5,-5z" fill="{INK}"/>'
    elif kind == "blank":
        drawn = f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4.2" fill="{GROUND}" stroke="{INK}" stroke-width="1.5"/>'
    else:
        square = f'width="6" height="6" fill="{GROUND}" stroke="{INK}" stroke-width="1.3"'
        drawn = f'<rect x="{x - 5:.1f}" y="{y - 5:.1f}" {square}/><rect x="{x - 1.5:.1f}" y="{y - 1.5:.1f}" {square}/>'
    return f'<g class="control control-{escape(kind)}">{told}{drawn}</g>'
