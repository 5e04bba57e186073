"""Pictures of a cut: end view, unrolled core, rose of beta, cost over the angle. The same on the screen and on paper.

Looking downhole throughout. Angles run clockwise from the orientation line. Nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, cos, pi, radians, sin, tan

import numpy as np

from trayside.app.written_amounts import depth_text, span_text

FONT = "'DejaVu Sans', system-ui, sans-serif"
TICK_STEPS = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000)
PAPER_FONT = "Libertinus Serif"


@dataclass(frozen=True, slots=True)
class Inks:
    """Colours of one medium."""

    ink: str
    soft: str
    faint: str
    mark: str
    ground: str
    band: str
    font: str
    end_px: float
    """Size of the words beside an end view: on paper it is printed small."""


SCREEN = Inks("#2b2622", "#6d6356", "#d9cfbd", "#24506e", "#fffdf8", "#e6dcc5", FONT, 12)
PRINT = Inks("#000000", "#555555", "#bbbbbb", "#000000", "#ffffff", "#dddddd", PAPER_FONT, 17)


@dataclass(frozen=True, slots=True)
class Trace:
    """A plane as it shows on the core: where its middle meets the axis, and its angles from the drawn line."""

    depth_m: float
    alpha_deg: float
    beta_deg: float
    kind: str


def end_view(
    *,
    angle_deg: float,
    side: str,
    core_diameter_mm: float,
    kerf_mm: float,
    offset_mm: float,
    inks: Inks = SCREEN,
    words: bool = True,
) -> str:
    """The end of the core to scale, cut line up: orientation line, blade slot, which half goes into the bag (hatched)."""
    radius, scale = 60.0, 60.0 / (0.5 * core_diameter_mm)
    toward = 1 if side == "right" else -1
    slot, wide = toward * offset_mm * scale, max(kerf_mm * scale, 1.5)
    cut_edge = slot + toward * wide / 2
    left, bag_wide = (cut_edge, 120.0) if side == "right" else (cut_edge - 120.0, 120.0)
    hatch = "".join(f"M{x},-70l140,140" for x in range(-210, 90, 8))
    at = radians(-angle_deg)
    x, y = radius * sin(at), -radius * cos(at)
    out_x, out_y = (radius + 9) * sin(at), -(radius + 9) * cos(at)
    key = f"{angle_deg:.0f}{side}{core_diameter_mm:.0f}".replace("-", "m").replace(".", "p")
    arc = pi * core_diameter_mm * abs(_signed(angle_deg)) / 360.0
    label = (
        f"End of the core looking downhole, cut line up. The {side} half is bagged. The orientation line lies "
        f"{arc:.0f} mm of arc {'left' if _signed(angle_deg) > 0 else 'right'} of the cut line."
        if arc >= 0.5
        else f"End of the core looking downhole. The cut line is the orientation line. The {side} half is bagged."
    )
    body = [
        f'<defs><clipPath id="core-{key}"><circle r="{radius}"/></clipPath>'
        f'<clipPath id="bag-{key}"><rect x="{left:.1f}" y="-70" width="{bag_wide:.1f}" height="140"/></clipPath></defs>',
        f'<g clip-path="url(#core-{key})"><g clip-path="url(#bag-{key})"><path d="{hatch}" stroke="{inks.ink}" '
        'stroke-width="1.6" fill="none"/></g></g>',
        f'<circle r="{radius}" fill="none" stroke="{inks.ink}" stroke-width="1.8"/>',
        f'<rect x="{slot - wide / 2:.1f}" y="-68" width="{wide:.1f}" height="136" fill="{inks.ground}" '
        f'stroke="{inks.ink}" stroke-width="1"/>',
        f'<path d="M0,-{radius}l-5,-10h10z" fill="{inks.ink}"/>',
    ]
    if arc >= 0.5:
        large = 1 if abs(_signed(angle_deg)) > 180 else 0
        sweep = 0 if _signed(angle_deg) > 0 else 1
        ring = radius + 4
        body.append(
            f'<path d="M0,{-ring}A{ring},{ring} 0 {large} {sweep} {ring * sin(at):.1f},{-ring * cos(at):.1f}" fill="none" '
            f'stroke="{inks.soft}" stroke-width="1.2" stroke-dasharray="3 2"/>'
        )
    body.append(
        f'<circle cx="{out_x:.1f}" cy="{out_y:.1f}" r="5" fill="{inks.ground}" stroke="{inks.ink}" stroke-width="1.8"/>'
        f'<path d="M{x:.1f},{y:.1f}L{0.82 * x:.1f},{0.82 * y:.1f}" stroke="{inks.ink}" stroke-width="2.4"/>'
    )
    if words:
        body.append(_end_words(angle_deg, side, arc, out_x, out_y, inks))
    half = round(82 + 9.1 * inks.end_px)  # room for the words on both sides
    box = f"{-half} -100 {2 * half} 190" if words else "-76 -78 152 150"
    return _svg(box, "".join(body), label, inks, inks.end_px)


def _end_words(angle_deg: float, side: str, arc: float, out_x: float, out_y: float, inks: Inks) -> str:
    text = [_text(0, -82, "cut line", inks, anchor="middle", bold=True)] if arc >= 0.5 else []
    if arc < 0.5:
        return _text(0, -84, "cut line = orientation line", inks, anchor="middle", bold=True) + _halves(side, inks)
    anchor = "end" if out_x < 0 else "start"
    shift = -9 if out_x < 0 else 9
    text.append(_text(out_x + shift, out_y + 1, "orientation line", inks, anchor=anchor))
    text.append(_text(out_x + shift, out_y + 1.1 * inks.end_px, f"{arc:.0f} mm of arc", inks, anchor=anchor, soft=True))
    return "".join(text) + _halves(side, inks)


def _halves(side: str, inks: Inks) -> str:
    bag, stays = (96, -96) if side == "right" else (-96, 96)
    return _text(bag, 58, "into the bag", inks, anchor="middle", bold=True) + _text(
        stays, 58, "stays", inks, anchor="middle"
    )


def around_the_core(
    *,
    traces: Sequence[Trace],
    from_m: float,
    to_m: float,
    line: Sequence[tuple[float, float]],
    marks: Sequence[tuple[float, float]],
    core_diameter_mm: float,
    unit: str = "m",
    inks: Inks = SCREEN,
    wide: float = 960.0,
    high: float = 210.0,
) -> str:
    """The unrolled surface: depth along, once round the core up. Traces of the planes, the cut line, and the marks.

    A short stretch shows every trace as the wave it is on the core. Over a long one the waves would be upright strokes;
    there each plane is a point at its lower apex. `line` and `marks` are (depth in metres, angle from the drawn line).
    """
    left, top, bottom = 64.0, 14.0, high - 26.0
    plot_wide, plot_high = wide - left - 12.0, bottom - top

    def x(depth_m: float) -> float:
        return left + (depth_m - from_m) / (to_m - from_m) * plot_wide

    def y(angle_deg: float) -> float:
        """Orientation line in the middle; clockwise upward."""
        return top + plot_high * (180.0 - _signed(angle_deg)) / 360.0

    parts = []
    for angle in (-180, -90, 0, 90, 180):
        heavy = 'stroke-width="1.4"' if angle == 0 else 'stroke-width="0.6" stroke-dasharray="2 3"'
        at = top + plot_high * (180.0 - angle) / 360.0
        parts.append(
            f'<path d="M{left},{at:.1f}h{plot_wide:.1f}" stroke="{inks.ink if angle == 0 else inks.soft}" {heavy}/>'
        )
        name = "line" if angle == 0 else f"{angle:+d}°"
        parts.append(_text(left - 6, at + 4, name, inks, anchor="end", soft=angle != 0))
    for at_m, told in _depth_ticks(from_m, to_m, plot_wide, unit):
        parts.append(f'<path d="M{x(at_m):.1f},{bottom}v5" stroke="{inks.soft}" stroke-width="0.8"/>')
        parts.append(_text(x(at_m), bottom + 18, told, inks, anchor="middle", soft=True))
    waves = (to_m - from_m) <= 12.0
    for trace in traces:
        if not from_m <= trace.depth_m <= to_m:
            continue
        parts.append(
            _wave(trace, x, y, inks, core_diameter_mm / 2000)
            if waves
            else _apex(x(trace.depth_m), y(trace.beta_deg), trace, inks, unit)
        )
    parts += _broken_path(
        marks, x, y, f'stroke="{inks.soft}" stroke-width="1.4" stroke-dasharray="1.5 3"', from_m, to_m
    )
    cut = f'stroke="{inks.mark}" stroke-width="2.6"'
    parts += _broken_path(line, x, y, cut, from_m, to_m)
    parts += _broken_path(
        [(at, angle + 180.0) for at, angle in line], x, y, cut + ' stroke-dasharray="8 4"', from_m, to_m
    )
    parts.append(
        f'<rect x="{left}" y="{top}" width="{plot_wide:.1f}" height="{plot_high:.1f}" fill="none" stroke="{inks.soft}"/>'
    )
    label = f"Surface of the core unrolled, {span_text(round(from_m * 1000), round(to_m * 1000), unit=unit)}"
    return _svg(f"0 0 {wide:g} {high:g}", "".join(parts), label, inks)


def rose(
    *, beta_deg: Iterable[float], cut_deg: float | None, set_deg: float | None, inks: Inks = SCREEN, words: bool = True
) -> str:
    """Betas counted in steps of 10 degrees, orientation line up; the best plane as a bar, the cut line that is set dashed."""
    counts = np.bincount((np.mod(np.asarray(list(beta_deg)), 360.0) // 10).astype(int) % 36, minlength=36)
    most = max(1, int(counts.max()))
    parts = [f'<circle r="60" fill="none" stroke="{inks.faint}"/><circle r="30" fill="none" stroke="{inks.faint}"/>']
    for at, count in enumerate(counts.tolist()):
        if count:
            reach = 60.0 * (count / most) ** 0.5  # areas, not radii, tell the counts
            one, two = radians(10 * at), radians(10 * at + 10)
            parts.append(
                f'<path d="M0,0L{reach * sin(one):.1f},{-reach * cos(one):.1f}A{reach:.1f},{reach:.1f} 0 0 1 '
                f'{reach * sin(two):.1f},{-reach * cos(two):.1f}z" fill="{inks.band}" stroke="{inks.ink}" stroke-width="0.9">'
                f"<title>{10 * at}–{10 * at + 10}°: {count}</title></path>"
            )
    if set_deg is not None:
        parts.append(_across(set_deg, 66, f'stroke="{inks.ink}" stroke-width="1.4" stroke-dasharray="5 3"'))
    if cut_deg is not None:
        parts.append(_across(cut_deg, 70, f'stroke="{inks.mark}" stroke-width="2.8"'))
    parts.append(f'<circle cx="0" cy="-69" r="4.4" fill="{inks.ground}" stroke="{inks.ink}" stroke-width="1.6"/>')
    if words:
        parts.append(_text(0, -79, "orientation line", inks, anchor="middle"))
        for left, down, angle in ((84, 4, "90°"), (0, 84, "180°"), (-86, 4, "270°")):
            parts.append(_text(left, down, angle, inks, anchor="middle", soft=True))
    told = "Rose of beta" + (f"; best plane at {cut_deg:.0f}°" if cut_deg is not None else "")
    return _svg("-105 -95 210 190" if words else "-76 -78 152 152", "".join(parts), told, inks)


def cost_over_angle(
    *,
    angles_deg: Sequence[float],
    shares: Sequence[float],
    best_deg: float | None,
    free_deg: float,
    line: tuple[float, float] | None,
    inks: Inks = SCREEN,
    wide: float = 460.0,
    high: float = 210.0,
) -> str:
    """How unlike the halves get over the angle of the cut: the curve, the free range, the best plane and the line."""
    left, top, bottom = 52.0, 16.0, high - 34.0
    plot_wide, plot_high = wide - left - 14.0, bottom - top
    highest = max(0.01, float(np.nanmax(shares)), line[1] if line else 0.0)
    step = next(step for step in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5) if highest / step <= 5)
    full = ceil(highest / step - 1e-9) * step

    def x(angle_deg: float) -> float:
        return left + angle_deg / 180.0 * plot_wide

    def y(share: float) -> float:
        return bottom - share / full * plot_high

    parts = []
    if best_deg is not None and free_deg < 90.0:
        for shift in (-180.0, 0.0, 180.0):
            low, up = max(0.0, best_deg - free_deg + shift), min(180.0, best_deg + free_deg + shift)
            if up > low:
                parts.append(
                    f'<rect x="{x(low):.1f}" y="{top}" width="{x(up) - x(low):.1f}" height="{plot_high:.1f}" fill="{inks.band}">'
                    "<title>free: no cost worth a look</title></rect>"
                )
    for at in range(round(full / step) + 1):
        parts.append(f'<path d="M{left},{y(at * step):.1f}h{plot_wide:.1f}" stroke="{inks.faint}" stroke-width="0.7"/>')
        parts.append(_text(left - 6, y(at * step) + 4, f"{100 * at * step:g} %", inks, anchor="end", soft=True))
    for angle in range(0, 181, 30):
        parts.append(_text(x(angle), bottom + 15, f"{angle}°", inks, anchor="middle", soft=True))
    curve = "L".join(f"{x(a):.1f},{y(s):.1f}" for a, s in zip(angles_deg, shares, strict=True))
    parts.append(f'<path d="M{curve}" fill="none" stroke="{inks.ink}" stroke-width="2"/>')
    if best_deg is not None:
        parts.append(f'<path d="M{x(best_deg):.1f},{top}V{bottom}" stroke="{inks.mark}" stroke-width="2.6"/>')
    if line:
        ring = f'fill="{inks.ground}" stroke="{inks.ink}" stroke-width="2"'
        parts.append(f'<circle cx="{x(line[0]):.1f}" cy="{y(line[1]):.1f}" r="5" {ring}/>')
    parts.append(
        _text(left + plot_wide / 2, high - 5, "angle of the cut from the marks", inks, anchor="middle", soft=True)
    )
    return _svg(f"0 0 {wide:g} {high:g}", "".join(parts), "Cost of the cut over its angle", inks)


def _wave(trace: Trace, x, y, inks: Inks, radius_m: float) -> str:
    """The plane on the unrolled surface: a wave with its lowest place at beta."""
    height_m = radius_m / tan(radians(max(trace.alpha_deg, 1.0)))
    points = []
    for angle in range(-180, 181, 6):
        depth = trace.depth_m + height_m * cos(radians(angle - trace.beta_deg))
        points.append(f"{x(depth):.1f},{y(angle if angle > -180 else -179.999):.1f}")
    dash = "" if trace.kind == "vein" else ' stroke-dasharray="5 3"'
    return (
        f'<path d="M{"L".join(points)}" fill="none" stroke="{inks.ink}" stroke-width="1.5"{dash}>'
        f"<title>{escape(trace.kind)} {trace.depth_m:.2f} m: alpha {trace.alpha_deg:.0f}°, "
        f"beta {trace.beta_deg:.0f}°</title></path>"
    )


def _apex(x: float, y: float, trace: Trace, inks: Inks, unit: str) -> str:
    told = f"{trace.kind} {depth_text(round(trace.depth_m * 1000), unit=unit)} {unit}: beta {trace.beta_deg:.0f}°"
    filled = inks.ink if trace.kind == "vein" else inks.ground
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.2" fill="{filled}" stroke="{inks.ink}" stroke-width="1.2">'
        f"<title>{escape(told)}</title></circle>"
    )


def _broken_path(points: Sequence[tuple[float, float]], x, y, style: str, from_m: float, to_m: float) -> list[str]:
    """A line over the unrolled surface, broken where it passes round the back. Angles are read at even steps between points."""
    if len(points) < 2:
        return []
    depth = np.array([at for at, _ in points])
    angle = np.array([value for _, value in points])
    low, high = max(from_m, float(depth[0])), min(to_m, float(depth[-1]))
    if high <= low:
        return []
    every = np.unique(np.concatenate((np.linspace(low, high, 120), depth[(depth > low) & (depth < high)])))
    pieces: list[list[str]] = [[]]
    before = None
    for at, turned in zip(every.tolist(), np.interp(every, depth, angle).tolist(), strict=True):
        here = y(turned)
        if before is not None and abs(here - before) > 60:
            pieces.append([])
        pieces[-1].append(f"{x(at):.1f},{here:.1f}")
        before = here
    return [f'<path d="M{"L".join(piece)}" fill="none" {style}/>' for piece in pieces if len(piece) > 1]


def _depth_ticks(from_m: float, to_m: float, wide: float, unit: str) -> list[tuple[float, str]]:
    one = 0.3048 if unit == "ft" else 1.0
    step = next((s for s in TICK_STEPS if s * one * wide / (to_m - from_m) >= 56), TICK_STEPS[-1])
    first = ceil(from_m / one / step - 1e-9)
    last = int(to_m / one / step + 1e-9)
    return [(at * step * one, f"{at * step:g}") for at in range(first, last + 1)]


def _across(angle_deg: float, reach: float, style: str) -> str:
    at = radians(angle_deg)
    dx, dy = reach * sin(at), -reach * cos(at)
    return f'<path d="M{-dx:.1f},{-dy:.1f}L{dx:.1f},{dy:.1f}" fill="none" {style}/>'


def _text(
    x: float, y: float, words: str, inks: Inks, *, anchor: str = "start", bold: bool = False, soft: bool = False
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    fill = inks.soft if soft else inks.ink
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{fill}"{weight}>{escape(words)}</text>'


def _signed(angle_deg: float) -> float:
    """From above -180 to 180."""
    return 180.0 - (180.0 - angle_deg) % 360.0


def _svg(box: str, body: str, label: str, inks: Inks, size: float = 12) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" role="img" aria-label="{escape(label)}" '
        f'font-family="{inks.font}" font-size="{size:g}">{body}</svg>'
    )
