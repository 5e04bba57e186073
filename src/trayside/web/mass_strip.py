"""Two pictures of masses: every bag against its range in sheet order, and the sums of the ratio of both halves."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from markupsafe import Markup

from trayside.app.mass_lessons import MassLine, SawChart

from .drawing import FAINT, FONT, GROUND, INK, LOST, MARK, SOFT, control_shape, words

SIDE_PX, WIDE_PX = 46.0, 1180.0
HIGH_PX, TOP_PX, FOOT_PX = 190.0, 12.0, 22.0


def residual_picture(lines: Sequence[MassLine], *, coverage: float) -> Markup:
    """Deviations of every weighed bag; the band is the range, and the scale reaches as far as the farthest bag."""
    told = [line for line in lines if line.deviations is not None]
    if not told:
        return Markup("")
    reach = max(coverage * 1.4, *(abs(line.deviations) * 1.08 for line in told))
    step = min(26.0, (WIDE_PX - SIDE_PX - 12) / max(len(lines), 1))
    wide = SIDE_PX + 12 + step * len(lines)
    y = lambda deviation: TOP_PX + (HIGH_PX - TOP_PX - FOOT_PX) * (0.5 - deviation / reach / 2)  # noqa: E731
    parts = [
        f'<rect x="{SIDE_PX}" y="{y(coverage):.1f}" width="{wide - SIDE_PX:.1f}" height="{y(-coverage) - y(coverage):.1f}"'
        f' fill="#eef0e4"/>',
        f'<path d="M{SIDE_PX},{y(0):.1f}H{wide:.1f}" stroke="{SOFT}" stroke-width="0.8"/>',
    ]
    parts += [
        words(SIDE_PX - 6, y(at) + 4, f"{at:+g}" if at else "0", anchor="end", fill=SOFT, size=10.5)
        for at in (-coverage, 0.0, coverage)
    ]
    tray, labelled = None, -100.0
    for place, line in enumerate(lines):
        x = SIDE_PX + 6 + step * (place + 0.5)
        if line.bag.tray != tray:
            tray = line.bag.tray
            edge = x - step / 2
            parts.append(f'<path d="M{edge:.1f},{TOP_PX}V{HIGH_PX - FOOT_PX}" stroke="{FAINT}" stroke-width="0.8"/>')
            if edge - labelled >= 18:
                parts.append(words(edge + 2, HIGH_PX - 8, str(tray if tray is not None else ""), fill=SOFT, size=10))
                labelled = edge
        if line.deviations is not None:
            parts.append(_bag(x, y(line.deviations), line, coverage))
    return _svg(wide, "".join(parts), "masses")


def _bag(x: float, y: float, line: MassLine, coverage: float) -> str:
    mass = f"{line.bag.mass_g / 1000:.2f} kg, {line.by_group_kg:.2f} kg expected, {line.deviations:+.1f}"
    title = f"{line.bag.number}: {mass}"
    odd = abs(line.deviations) > coverage
    if line.bag.row.kind != "sample" and not odd:
        return control_shape(line.bag.row.kind, x, y, title)
    if odd:  # of whatever kind: a shape of its own
        return f'<path d="M{x:.1f},{y - 6:.1f}l6,11h-12z" fill="{LOST}"><title>{escape(title)}</title></path>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.2" fill="{INK}"><title>{escape(title)}</title></circle>'


def alignment_picture(chart: SawChart) -> Markup:
    """Both sums pair by pair, drawn up and down from the middle, with the lines at which the chart speaks."""
    high, low, decision = chart.chart.high, -chart.chart.low, chart.chart.decision
    reach = max(decision * 1.3, float(high.max(initial=0)) * 1.05, -float(low.min(initial=0)) * 1.05)
    count = len(chart.pairs)
    step = min(44.0, (WIDE_PX - SIDE_PX - 12) / max(count, 1))
    wide = max(SIDE_PX + 12 + step * count, 320.0)
    y = lambda value: TOP_PX + (HIGH_PX - TOP_PX - FOOT_PX) * (0.5 - value / reach / 2)  # noqa: E731
    x = lambda place: SIDE_PX + 6 + step * (place + 0.5)  # noqa: E731
    parts = [
        f'<rect x="{SIDE_PX}" y="{y(decision):.1f}" width="{wide - SIDE_PX:.1f}" height="{y(-decision) - y(decision):.1f}"'
        f' fill="#eef0e4"/>',
        f'<path d="M{SIDE_PX},{y(0):.1f}H{wide:.1f}" stroke="{SOFT}" stroke-width="0.8"/>',
    ]
    parts += [
        words(SIDE_PX - 6, y(at) + 4, f"{at:+g}" if at else "0", anchor="end", fill=SOFT, size=10.5)
        for at in (-decision, 0.0, decision)
    ]
    for sums, dashes in ((high, ""), (low, ' stroke-dasharray="5 3"')):
        path = "L".join(f"{x(at):.1f},{y(value):.1f}" for at, value in enumerate(sums.tolist()))
        parts.append(f'<path d="M{path}" fill="none" stroke="{MARK}" stroke-width="1.6"{dashes}/>')
    signalled = {signal.signal for signal in chart.chart.signals}
    for at, pair in enumerate(chart.pairs):
        title = escape(f"{pair.near} and {pair.far}: {pair.near_kg:.2f} and {pair.far_kg:.2f} kg, blade at {pair.offset_mm:.1f} mm")
        value = high[at] if high[at] >= -low[at] else low[at]
        if at in signalled:
            parts.append(f'<path d="M{x(at):.1f},{y(value) - 7:.1f}l7,12h-14z" fill="{LOST}"><title>{title}</title></path>')
        else:
            parts.append(f'<circle cx="{x(at):.1f}" cy="{y(value):.1f}" r="3" fill="{GROUND}" stroke="{MARK}"'
                         f' stroke-width="1.4"><title>{title}</title></circle>')  # fmt: skip
    return _svg(wide, "".join(parts), "alignment")


def _svg(wide: float, drawn: str, name: str) -> Markup:
    return Markup(
        f'<svg class="mass-strip mass-strip-{name}" width="{wide:.0f}" height="{HIGH_PX:.0f}"'
        f' viewBox="0 0 {wide:.0f} {HIGH_PX:.0f}"'
        f' font-family="{FONT}" role="img">{drawn}</svg>'
    )
