"""The depth strip of a hole: recovery, rock, grade, losses, samples, controls and line, to scale beside the depth axis.

One band shows up to 320 m in the width of a page; a deeper hole gets bands of equal length below each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from math import ceil

from markupsafe import Markup

from trayside.app.hole_view import HoleView

from .addresses import hole_address
from .drawing import (
    CORE,
    FAINT,
    FONT,
    GROUND,
    INK,
    LOST,
    MARK,
    ROCK_FILLS,
    SOFT,
    box,
    control_shape,
    crossed,
    ticks,
    words,
)
from .page import Amounts
from .words import say

LONGEST_BAND_MM = 320_000
NAMES_PX, PLOT_PX, END_PX = 74.0, 1126.0, 12.0
FULL_PX = 24.0
"""Height of a bar that stands for all of a run's core."""
TALLEST_SHARE = 1.25
LANES = {"depth": 14.0, "runs": 56.0, "rock": 82.0, "grade": 112.0, "losses": 130.0, "samples": 150.0, "controls": 168.0,
         "line": 184.0, "trays": 204.0}  # fmt: skip
"""Lower edge of each lane."""
BAND_PX = 214.0


def depth_strip(view: HoleView, amounts: Amounts) -> Markup:
    """The whole strip as one SVG."""
    ends = [
        view.core.hole.total_depth_mm,
        *(run.to_mm for run in view.core.runs),
        *(rock.to_mm for rock in view.core.rock),
    ]
    deepest_mm = max(1000, *ends)
    bands = ceil(deepest_mm / LONGEST_BAND_MM)
    band_mm = ceil(deepest_mm / bands / 1000) * 1000
    fills = {code: ROCK_FILLS[at % len(ROCK_FILLS)] for at, code in enumerate(sorted({r.rock for r in view.core.rock}))}
    wide, high = NAMES_PX + PLOT_PX + END_PX, bands * BAND_PX
    drawn = []
    for band in range(bands):
        pen = _Band(view, amounts, fills, band * band_mm, (band + 1) * band_mm)
        drawn.append(f'<g transform="translate(0,{band * BAND_PX:g})">{pen.draw()}</g>')
    return Markup(
        f'<svg class="depth-strip" viewBox="0 0 {wide:g} {high:g}" role="group" font-family="{FONT}" '
        f'data-band-mm="{band_mm}" data-band-px="{BAND_PX:g}" data-left-px="{NAMES_PX:g}" data-plot-px="{PLOT_PX:g}" '
        f'data-address="{escape(hole_address(view.hole_id, "trays"))}" '
        f'aria-label="{escape(say("strip.label", hole=view.hole_id))}">{"".join(drawn)}</svg>'
    )


@dataclass(frozen=True, slots=True)
class _Band:
    view: HoleView
    amounts: Amounts
    fills: dict[str, str]
    from_mm: int
    to_mm: int

    @property
    def px_per_mm(self) -> float:
        return PLOT_PX / (self.to_mm - self.from_mm)

    def x(self, depth_mm: float) -> float:
        return NAMES_PX + (depth_mm - self.from_mm) * self.px_per_mm

    def inside(self, from_mm: float, to_mm: float) -> tuple[float, float] | None:
        """Left edge and width of what of a stretch lies in this band."""
        low, high = max(from_mm, self.from_mm), min(to_mm, self.to_mm)
        return (self.x(low), (high - low) * self.px_per_mm) if high > low else None

    def draw(self) -> str:
        names = "".join(
            words(
                NAMES_PX - 8, LANES[lane] - (2 if lane != "runs" else 8), say(f"strip.{lane}"), anchor="end", fill=SOFT
            )
            for lane in LANES
        )
        lanes = (
            self.axis,
            self.runs,
            self.rock,
            self.grade,
            self.losses,
            self.samples,
            self.controls,
            self.line,
            self.trays,
        )
        return names + "".join(lane() for lane in lanes)

    def axis(self) -> str:
        parts = []
        bottom = LANES["trays"]
        for at_mm, label in ticks(
            self.from_mm, self.to_mm, px_per_mm=self.px_per_mm, unit=self.amounts.unit, apart_px=54
        ):
            x = self.x(at_mm)
            parts.append(f'<path d="M{x:.1f},18V{bottom}" stroke="{FAINT}" stroke-width="0.6"/>')
            parts.append(words(x, 12, label, anchor="middle", fill=SOFT, size=10.5))
        end = self.inside(self.from_mm, self.view.core.hole.total_depth_mm)
        if end and self.view.core.hole.total_depth_mm <= self.to_mm:
            x = end[0] + end[1]
            parts.append(f'<path d="M{x:.1f},16V{bottom}" stroke="{INK}" stroke-width="1.2"/>')
        return "".join(parts)

    def runs(self) -> str:
        base, depth = LANES["runs"], self.view.depth
        parts = [
            f'<path d="M{NAMES_PX},{base - FULL_PX:g}h{PLOT_PX}" stroke="{SOFT}" stroke-dasharray="2 3" stroke-width="0.6"/>'
        ]
        for run, share in zip(depth.runs, depth.run_table.raw_recovery.tolist(), strict=True):
            place = self.inside(run.from_mm, run.to_mm)
            if place is None:
                continue
            high = FULL_PX * min(share, TALLEST_SHARE)
            title = f"run {run.run}, {self.amounts.span(run.from_mm, run.to_mm)}: {100 * share:.0f} %"
            fill = CORE if share >= self.view.rules.depth.low_recovery else "#c9a48f"
            parts.append(box(place[0], base - high, place[1], high, fill, title, f'stroke="{SOFT}" stroke-width="0.5"'))
            if share > TALLEST_SHARE:
                parts.append(words(place[0] + place[1] / 2, base - high + 9, "+", anchor="middle", fill=LOST))
        return "".join(parts)

    def rock(self) -> str:
        base, high, parts = LANES["rock"], 18.0, []
        for rock in self.view.core.rock:
            place = self.inside(rock.from_mm, rock.to_mm)
            if place is None:
                continue
            told = (rock.rock, rock.condition, "vein" if rock.vein else "", rock.caution or "")
            title = f"{self.amounts.span(rock.from_mm, rock.to_mm)}: {', '.join(word for word in told if word)}"
            parts.append(box(place[0], base - high, place[1], high, self.fills[rock.rock], title))
            solid = "" if rock.contact == "hard" else 'stroke-dasharray="2 2"'
            parts.append(f'<path d="M{place[0]:.1f},{base - high}v{high}" stroke="{SOFT}" stroke-width="0.7" {solid}/>')
            if len(rock.rock) * 6.6 + 6 < place[1]:
                parts.append(words(place[0] + place[1] / 2, base - 5, rock.rock, anchor="middle", size=10.5))
        return "".join(parts)

    def grade(self) -> str:
        base, classes = LANES["grade"], [grade.name for grade in self.view.rules.grade_classes]
        parts = [f'<path d="M{NAMES_PX},{base}h{PLOT_PX}" stroke="{SOFT}" stroke-width="0.6"/>']
        for rock in self.view.core.rock:
            place = self.inside(rock.from_mm, rock.to_mm)
            rank = classes.index(rock.grade_class) if rock.grade_class in classes else 0
            if place is None or rank == 0:
                continue
            high = 24.0 * rank / max(1, len(classes) - 1)
            title = f"{self.amounts.span(rock.from_mm, rock.to_mm)}: {rock.grade_class}"
            parts.append(box(place[0], base - high, max(place[1], 0.8), high, "#8f7a4a", title))
        return "".join(parts)

    def losses(self) -> str:
        lost, parts = self.view.depth.registration.lost_stretches(), []
        for top, bottom, known in zip(lost.from_m.tolist(), lost.to_m.tolist(), lost.known.tolist(), strict=True):
            place = self.inside(top * 1000, bottom * 1000)
            if place is not None:
                why = "placed" if known else "at the default place"
                title = f"lost {self.amounts.span(round(top * 1000), round(bottom * 1000))}, {why}"
                parts.append(crossed(place[0], LANES["losses"] - 11, place[1], 11, title))
        return "".join(parts)

    def samples(self) -> str:
        base, parts = LANES["samples"], []
        cores = [row for row in self._rows if row.kind == "sample"]
        for at, row in enumerate(cores):
            place = self.inside(row.from_mm, row.to_mm)
            if place is not None:
                title = f"{row.number}, {self.amounts.span(row.from_mm, row.to_mm)}"
                fill = "#cdbf9f" if at % 2 else "#e6dcc5"
                parts.append(box(place[0], base - 13, place[1], 13, fill, title, f'stroke="{INK}" stroke-width="0.5"'))
        return "".join(parts)

    def controls(self) -> str:
        parts, at_mm, used = [], None, -100.0
        first = next((row.from_mm for row in self._rows if row.is_core), 0)
        for row in self._rows:
            if row.is_core:
                at_mm = row.to_mm
            if row.kind == "sample":
                continue
            depth_mm = first if at_mm is None else at_mm
            if not self.from_mm <= depth_mm < self.to_mm:
                continue
            used = max(self.x(depth_mm), used + 11)  # shapes of neighbours stand beside each other, not on each other
            told = row.material or (f"second part of {row.duplicate_of}" if row.duplicate_of else "")
            parts.append(control_shape(row.kind, used, LANES["controls"] - 6, f"{row.number}: {row.kind} {told}"))
        return "".join(parts)

    def line(self) -> str:
        """The drawn line from each mark to the next one: solid, dashed, or none."""
        y, marks, parts = LANES["line"] - 5, self.view.core.marks, []
        ends = [*(mark.depth_mm for mark in marks), self.view.core.hole.total_depth_mm][1:]
        for mark, end_mm in zip(marks, ends, strict=True):
            place = self.inside(mark.depth_mm, end_mm)
            if place is None or mark.line == "none":
                continue
            dashes = 'stroke-dasharray="4 3"' if mark.line == "dashed" else ""
            title = f"line {mark.line} from {self.amounts.depth_with_unit(mark.depth_mm)}"
            parts.append(
                f'<path d="M{place[0]:.1f},{y}h{place[1]:.1f}" stroke="{MARK}" stroke-width="2" {dashes}>'
                f"<title>{escape(title)}</title></path>"
            )
        return "".join(parts)

    def trays(self) -> str:
        base, parts, labelled = LANES["trays"], [], -100.0
        for tray in self.view.depth.trays:
            place = self.inside(tray.from_mm, tray.to_mm)
            if place is None:
                continue
            left, wide = place
            title = say("strip.tray", tray=tray.tray, span=self.amounts.span(tray.from_mm, tray.to_mm))
            to = hole_address(self.view.hole_id, "trays", depth=self.amounts.depth_with_unit(tray.from_mm))
            label = ""
            if left - labelled >= 30:
                label = words(left + 2, base - 3, str(tray.tray), size=9.5, fill=SOFT)
                labelled = left
            parts.append(
                f'<a href="{escape(to)}#found" aria-label="{escape(title)}">'
                + box(left, base - 14, wide, 14, GROUND, title, f'stroke="{FAINT}"')
                + label
                + "</a>"
            )
        return "".join(parts)

    @property
    def _rows(self):
        return self.view.sheet.rows if self.view.sheet else ()
