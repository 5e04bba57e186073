"""The sample strip of a sheet: every sample to scale, with boundaries that can be dragged or moved with the keyboard."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from trayside.app.hole_view import HoleView
from trayside.model.cut_sheet import SheetRow

from .drawing import FAINT, FONT, GROUND, INK, MARK, ROCK_FILLS, SOFT, box, control_shape, crossed, ticks, words
from .page import Amounts

PX_PER_MM = 0.064
SIDE_PX = 14.0
HIGH_PX = 128.0
ROCK_Y, SAMPLE_Y, SAMPLE_PX, CONTROL_Y, TRAY_Y = 24.0, 46.0, 40.0, 98.0, 124.0
SNAP_MM = {"m": 10.0, "ft": 30.48}


def sample_strip(view: HoleView, rows: tuple[SheetRow, ...], by_hand: tuple[int, ...], amounts: Amounts) -> Markup:
    """The strip from a metre above the first sample to a metre below the last."""
    samples = [row for row in rows if row.kind == "sample"]
    if not samples:
        return Markup("")
    deepest_mm = max([view.core.hole.total_depth_mm, *(run.to_mm for run in view.core.runs)])
    from_mm = max(0, min(row.from_mm for row in samples) - 2000)
    to_mm = max(min(deepest_mm, max(row.to_mm for row in samples) + 2000), max(row.to_mm for row in samples))
    pen = _Strip(view, rows, samples, by_hand, amounts, from_mm, to_mm)
    wide = 2 * SIDE_PX + (to_mm - from_mm) * PX_PER_MM
    return Markup(
        f'<svg id="strip" class="sample-strip" width="{wide:.0f}" height="{HIGH_PX:.0f}" viewBox="0 0 {wide:.0f} {HIGH_PX:.0f}" '
        f'font-family="{FONT}" role="group" data-from-mm="{from_mm}" data-to-mm="{to_mm}" data-px-per-mm="{PX_PER_MM}" '
        f'data-side-px="{SIDE_PX:g}" data-snap-mm="{SNAP_MM[amounts.unit]:g}" data-unit="{amounts.unit}">{pen.draw()}</svg>'
    )


class _Strip:
    def __init__(self, view, rows, samples, by_hand, amounts: Amounts, from_mm: int, to_mm: int) -> None:
        self.view, self.rows, self.samples, self.by_hand, self.amounts = view, rows, samples, set(by_hand), amounts
        self.from_mm, self.to_mm = from_mm, to_mm

    def x(self, depth_mm: float) -> float:
        return SIDE_PX + (depth_mm - self.from_mm) * PX_PER_MM

    def draw(self) -> str:
        return "".join((self._axis(), self._rock(), self._losses(), self._samples(), self._controls(), self._trays(),
                        self._edges()))  # fmt: skip

    def _axis(self) -> str:
        parts = []
        for at_mm, label in ticks(self.from_mm, self.to_mm, px_per_mm=PX_PER_MM, unit=self.amounts.unit, apart_px=50):
            parts.append(f'<path d="M{self.x(at_mm):.1f},16V{TRAY_Y}" stroke="{FAINT}" stroke-width="0.7"/>')
            parts.append(
                words(self.x(at_mm), 12, f"{label} {self.amounts.unit}", anchor="middle", fill=SOFT, size=10.5)
            )
        return "".join(parts)

    def _rock(self) -> str:
        fills = {
            code: ROCK_FILLS[at % len(ROCK_FILLS)]
            for at, code in enumerate(sorted({r.rock for r in self.view.core.rock}))
        }
        parts = []
        for rock in self.view.core.rock:
            low, high = max(rock.from_mm, self.from_mm), min(rock.to_mm, self.to_mm)
            if high <= low:
                continue
            wide = (high - low) * PX_PER_MM
            told = f"{self.amounts.span(rock.from_mm, rock.to_mm)}: {rock.rock}, {rock.condition}, {rock.grade_class}"
            parts.append(
                box(self.x(low), ROCK_Y - 4, wide, 20, fills[rock.rock], told + (", vein" if rock.vein else ""))
            )
            if rock.from_mm >= self.from_mm:
                dashes = "" if rock.contact == "hard" else 'stroke-dasharray="3 3"'
                parts.append(
                    f'<path d="M{self.x(low):.1f},{ROCK_Y - 4}V{SAMPLE_Y}" stroke="{INK}" stroke-width="1" {dashes}/>'
                )
            label = f"{rock.rock} {rock.grade_class}"
            label = label if len(label) * 6.2 < wide else rock.rock
            if len(label) * 6.2 < wide:
                parts.append(words(self.x(low) + 4, ROCK_Y + 10, label, size=10.5))
        return "".join(parts)

    def _losses(self) -> str:
        lost, parts = self.view.depth.registration.lost_stretches(), []
        for top, bottom in zip((lost.from_m * 1000).tolist(), (lost.to_m * 1000).tolist(), strict=True):
            low, high = max(top, self.from_mm), min(bottom, self.to_mm)
            if high > low:
                title = f"lost {self.amounts.span(round(top), round(bottom))}"
                parts.append(crossed(self.x(low), SAMPLE_Y - 5, (high - low) * PX_PER_MM, SAMPLE_PX + 10, title))
        return "".join(parts)

    def _samples(self) -> str:
        parts = []
        for at, row in enumerate(self.samples):
            wide = (row.to_mm - row.from_mm) * PX_PER_MM
            told = f"{row.number}, {self.amounts.span(row.from_mm, row.to_mm)}"
            fill = "#dccfae" if at % 2 else "#efe7d3"
            edge = f'class="strip-sample" data-number="{escape(row.number)}" fill-opacity="0.85" stroke="{SOFT}"'
            parts.append(box(self.x(row.from_mm), SAMPLE_Y, wide, SAMPLE_PX, fill, told, edge))
            for tail in (row.number, row.number[-4:], row.number[-2:]):
                if len(tail) * 7.2 + 6 < wide:
                    middle = self.x(row.from_mm) + wide / 2
                    parts.append(words(middle, SAMPLE_Y + 17, tail, anchor="middle", more='pointer-events="none"'))
                    break
            length = self.amounts.depth(row.to_mm - row.from_mm)
            if len(length) * 6 + 6 < wide:
                middle = self.x(row.from_mm) + wide / 2
                parts.append(words(middle, SAMPLE_Y + 32, length, anchor="middle", size=10, fill=SOFT))
        return "".join(parts)

    def _controls(self) -> str:
        parts, x = [], self.x(self.samples[0].from_mm)
        taken = -100.0
        for row in self.rows:
            if row.is_core:
                x = self.x(row.to_mm)
            if row.kind == "sample":
                continue
            taken = max(x, taken + 13)
            parts.append(control_shape(row.kind, taken, CONTROL_Y, f"{row.number}: {row.kind} {row.material or ''}"))
        return "".join(parts)

    def _trays(self) -> str:
        parts = []
        for tray in self.view.depth.trays:
            if self.from_mm <= tray.from_mm < self.to_mm:
                x = self.x(tray.from_mm)
                parts.append(
                    f'<path d="M{x:.1f},{SAMPLE_Y + SAMPLE_PX + 18}V{TRAY_Y}" stroke="{SOFT}" stroke-width="0.8"/>'
                )
                parts.append(words(x + 4, TRAY_Y - 2, f"tray {tray.tray}", size=10, fill=SOFT))
        return "".join(parts)

    def _edges(self) -> str:
        """One handle a boundary. It may go anywhere between the far ends of the samples it bounds."""
        tops = {row.from_mm: row for row in self.samples}
        bottoms = {row.to_mm: row for row in self.samples}
        ends = sorted(tops.keys() | bottoms.keys())
        parts = []
        for place, at_mm in enumerate(ends):
            above, below = bottoms.get(at_mm), tops.get(at_mm)
            low = above.from_mm if above else (ends[place - 1] if place else self.from_mm - 1)
            high = below.to_mm if below else (ends[place + 1] if place + 1 < len(ends) else self.to_mm + 1)
            between = " / ".join(row.number for row in (above, below) if row)
            hand = "edge by-hand" if at_mm in self.by_hand else "edge"
            colour = MARK if at_mm in self.by_hand else INK
            depth = self.amounts.depth_with_unit(at_mm)
            parts.append(
                f'<g class="{hand}" role="slider" tabindex="{-1 if place else 0}" data-at-mm="{at_mm}" data-low-mm="{low}" '
                f'data-high-mm="{high}" aria-label="{escape(between)}" aria-orientation="horizontal" aria-valuemin="{low}" '
                f'aria-valuemax="{high}" aria-valuenow="{at_mm}" aria-valuetext="{depth}" '
                f'transform="translate({self.x(at_mm):.2f},0)"><title>{escape(between)}: {depth}</title>'
                f'<rect class="edge-reach" x="-7" y="{SAMPLE_Y - 10}" width="14" height="{SAMPLE_PX + 20}" '
                f'fill="{GROUND}" fill-opacity="0"/>'
                f'<path class="edge-line" d="M0,{SAMPLE_Y - 8}v{SAMPLE_PX + 16}" stroke="{colour}" stroke-width="1.6"/>'
                f'<path class="edge-grip" d="M-4.5,{SAMPLE_Y - 9}h9l-4.5,7z" fill="{colour}"/></g>'
            )
        return "".join(parts)
