"""Drawings of the Saws screens: what is left of the segments, and their height against the square metres cut."""

from __future__ import annotations

from math import isfinite

from trayside.app.blade_state import BladeLife

from .drawing import CORE, FAINT, GROUND, INK, LOST, MARK, SOFT, box, words
from .words import say

WIDE, HIGH = 640, 250
LEFT, RIGHT, TOP, BOTTOM = 46, 14, 16, 34


def segment_bar(life: BladeLife, *, lowest_mm: float) -> str:
    """A segment lying down: what is worn away, what is left, and what must stay."""
    wide, high, new = 240.0, 22.0, life.blade.segment_height_mm
    scale = wide / new
    now = min(max(life.height_mm, 0.0), new)
    kept = min(lowest_mm, new) * scale
    told = say("saw.bar", now=f"{life.height_mm:.1f}", new=f"{new:g}", lowest=f"{lowest_mm:g}")
    parts = [
        box(0, 0, wide, high, GROUND, more=f'stroke="{FAINT}"'),
        box(0, 0, now * scale, high, CORE),
        box(0, 0, kept, high, LOST, more='fill-opacity="0.55"'),
        f'<line x1="{now * scale:.1f}" y1="-3" x2="{now * scale:.1f}" y2="{high + 3}" stroke="{INK}" stroke-width="2"/>',
    ]
    return (
        f'<svg class="segment-bar" viewBox="-2 -5 {wide + 4:g} {high + 10:g}" role="img" aria-label="{told}">'
        f"<title>{told}</title>{''.join(parts)}</svg>"
    )


def height_chart(life: BladeLife, *, lowest_mm: float) -> str:
    """Readings as points, the believed height as a line, the lowest height, and where the line may meet it."""
    left = life.left
    ends = [life.area_m2 * 1.05, 1.0]
    if left is not None:
        ends.append(life.area_m2 + max(left.area_m2, 0.0))
        if isfinite(left.high_m2):
            ends.append(life.area_m2 + min(left.high_m2, 3.0 * max(left.area_m2, 1.0)))
    most_m2 = max(ends)
    top_mm = max([life.blade.segment_height_mm, *(one.height_mm for one in life.worn)]) * 1.05
    x = lambda area: LEFT + (WIDE - LEFT - RIGHT) * area / most_m2  # noqa: E731
    y = lambda height: TOP + (HIGH - TOP - BOTTOM) * (1.0 - height / top_mm)  # noqa: E731
    parts = [*_axes(x, y, most_m2, top_mm)]
    parts.append(_line(x(0), y(lowest_mm), x(most_m2), y(lowest_mm), LOST, 'stroke-dasharray="5 4"'))
    parts.append(words(x(0) + 6, y(lowest_mm) - 5, say("saw.chart.lowest"), fill=LOST))
    parts.append(_line(x(0), y(float(life.belief.mean[0])), x(life.area_m2), y(life.height_mm), INK, 'stroke-width="2"'))
    if left is not None and left.area_m2 > 0:
        end = life.area_m2 + left.area_m2
        coming = 'stroke-width="2" stroke-dasharray="2 3"'
        parts.append(_line(x(life.area_m2), y(life.height_mm), x(end), y(lowest_mm), INK, coming))
        low = life.area_m2 + max(left.low_m2, 0.0)
        high = life.area_m2 + left.high_m2 if isfinite(left.high_m2) else most_m2
        wide = max(2.0, x(min(high, most_m2)) - x(low))
        parts.append(box(x(low), y(lowest_mm) - 4, wide, 8, MARK, left.says, 'fill-opacity="0.35"'))
    for one in life.worn:
        told = say("saw.chart.point", height=f"{one.height_mm:.2f}", area=f"{one.area_m2:.1f}", day=one.at[:10])
        parts.append(
            f'<circle cx="{x(one.area_m2):.1f}" cy="{y(one.height_mm):.1f}" r="4.5" fill="{GROUND}" stroke="{INK}" '
            f'stroke-width="2"><title>{told}</title></circle>'
        )
    label = say("saw.chart", blade=life.blade.blade, readings=len(life.worn))
    return f'<svg class="height-chart" viewBox="0 0 {WIDE} {HIGH}" role="img" aria-label="{label}">{"".join(parts)}</svg>'


def _axes(x, y, most_m2: float, top_mm: float):
    yield box(LEFT, TOP, WIDE - LEFT - RIGHT, HIGH - TOP - BOTTOM, "#fffdf8", more=f'stroke="{FAINT}"')
    step = next(one for one in (0.5, 1, 2, 5, 10, 20, 50, 100, 1000) if most_m2 / one <= 9)
    for count in range(int(most_m2 / step) + 1):
        yield words(x(count * step), HIGH - BOTTOM + 15, f"{count * step:g}", anchor="middle", fill=SOFT)
    high = next(one for one in (0.5, 1, 2, 5, 10) if top_mm / one <= 7)
    for count in range(int(top_mm / high) + 1):
        yield words(LEFT - 7, y(count * high) + 4, f"{count * high:g}", anchor="end", fill=SOFT)
    yield words(WIDE - RIGHT, HIGH - 4, say("saw.chart.area"), anchor="end", fill=SOFT)
    yield words(4, 11, say("saw.chart.height"), fill=SOFT)


def _line(x1: float, y1: float, x2: float, y2: float, colour: str, more: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" {more}/>'
