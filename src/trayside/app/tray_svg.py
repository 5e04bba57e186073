"""Draws a tray to scale along the core, for the screen and for paper.

One row from top to bottom: ticket numbers over their brackets, the channel with the core in it, marks and depths.
Colours are attributes, so a page that allows no inline style can show the drawing; classes and data-* attributes let a
style sheet and a script find every part. Nothing is told by colour alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape

from trayside.app.label_lanes import Placed, lanes_used, place_labels
from trayside.app.tray_picture import RockSpan, SampleSpan, TrayPicture, TrayPiece
from trayside.app.written_amounts import depth_text, span_text


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one look; `room_above` keeps space above rows without samples, for people who write there."""

    ground: str
    ink: str
    soft: str
    channel: str
    core: str
    loss: str
    block: str
    mark: str
    room_above: bool


THEMES: dict[str, Theme] = {
    "screen": Theme("#fbf7ef", "#2b2622", "#7d7263", "#f3ecdf", "#e2d4b9", "#8c3a22", "#5d4728", "#24506e", False),
    "paper": Theme("#ffffff", "#000000", "#5a5a5a", "#ffffff", "#e6e6e6", "#000000", "#000000", "#000000", True),
}

FONT = "'DejaVu Sans Mono', ui-monospace, monospace"
TEXT_PX = 11.0
CHARACTER_PX = 0.61 * TEXT_PX
LANE_PX = 14.0
BRACKET_PX = 6.0
CORE_PX = 32.0
RIM_PX = 3.0
SIDE_PX = 30.0
END_PX = 10.0
RULER_PX = 18.0
HEADING_PX = 24.0
ROW_GAP_PX = 9.0
CUT_SHIFT_PX = 2.0


def tray_svg(
    *,
    picture: TrayPicture,
    scale_px_per_mm: float = 0.9,
    theme: str = "screen",
    unit: str = "m",
    heading: bool = True,
    longest_mm: float | None = None,
    shown_rows: range | None = None,
) -> str:
    """The tray as one SVG. Along the core `scale_px_per_mm` holds; across it the height is the same for every size.

    `longest_mm` makes several pictures equally wide; `shown_rows` draws only these rows.
    """
    pen = _Pen(picture, scale_px_per_mm, THEMES[theme], unit)
    length_px = max(longest_mm or 0.0, picture.widest_mm) * scale_px_per_mm
    wide = SIDE_PX + length_px + END_PX
    body, y = [], 2.0
    if heading:
        body.append(_heading(picture, THEMES[theme], unit))
        y += HEADING_PX
    body.append(pen.ruler(y))
    y += RULER_PX
    for row in shown_rows or range(1, picture.rows + 1):
        drawn, high = pen.row(row, y, SIDE_PX + length_px)
        body.append(drawn)
        y += high + ROW_GAP_PX
    high = y - ROW_GAP_PX + 3
    label = escape(f"Tray {picture.tray} of {picture.hole_id}, {span_text(picture.from_mm, picture.to_mm, unit=unit)}")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="tray-picture" role="img" aria-label="{label}" '
        f'data-hole="{escape(picture.hole_id)}" data-tray="{picture.tray}" data-px-per-mm="{scale_px_per_mm:g}" '
        f'viewBox="0 0 {wide:.1f} {high:.1f}" width="{wide:.1f}" height="{high:.1f}" '
        f'font-family="{FONT}" font-size="{TEXT_PX:g}">'
        f'{pen.patterns()}<rect class="tray-ground" width="{wide:.1f}" height="{high:.1f}" '
        f'fill="{THEMES[theme].ground}"/>'
        f"{''.join(body)}</svg>"
    )


def _heading(picture: TrayPicture, theme: Theme, unit: str) -> str:
    span = span_text(picture.from_mm, picture.to_mm, unit=unit)
    return (
        f'<text class="tray-heading" x="{SIDE_PX}" y="17" fill="{theme.ink}" font-size="15" font-weight="bold">'
        f"Tray {picture.tray}</text>"
        f'<text class="tray-span" x="{SIDE_PX + 9.4 * len(f"Tray {picture.tray}") + 14}" y="17" fill="{theme.ink}" '
        f'font-size="13">{escape(span)}</text>'
    )


@dataclass(frozen=True, slots=True)
class _Pen:
    picture: TrayPicture
    scale: float
    theme: Theme
    unit: str

    def x(self, left_mm: float) -> float:
        return SIDE_PX + left_mm * self.scale

    @property
    def key(self) -> str:
        """Makes the pattern names of this picture its own on a page with many."""
        return re.sub(r"[^A-Za-z0-9]", "-", f"{self.picture.hole_id}-{self.picture.tray}")

    def patterns(self) -> str:
        ink = self.theme.ink
        return (
            f'<defs><pattern id="hatch-{self.key}" width="6" height="6" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate(45)"><path d="M1.5,0V6" stroke="{ink}" stroke-width="1.1"/></pattern>'
            f'<pattern id="dots-{self.key}" width="7" height="7" patternUnits="userSpaceOnUse">'
            f'<circle cx="2" cy="2" r="1.1" fill="{ink}"/><circle cx="5.5" cy="5.5" r="1.1" fill="{ink}"/></pattern>'
            "</defs>"
        )

    def text(
        self, placed: Placed, baseline: float, words: str, name: str, *, bold: bool = False, colour: str = ""
    ) -> str:
        """A label on a patch of the ground, so that a leader behind it does not strike it through."""
        wide = len(words) * CHARACTER_PX
        weight = ' font-weight="bold"' if bold else ""
        return (
            f'<rect x="{placed.left_px - 1:.1f}" y="{baseline - 10:.1f}" width="{wide + 2:.1f}" height="12.5" '
            f'fill="{self.theme.ground}"/><text class="{name}" x="{placed.left_px:.1f}" y="{baseline:.1f}" '
            f'textLength="{wide:.1f}" fill="{colour or self.theme.ink}"{weight}>{escape(words)}</text>'
        )

    def ruler(self, y: float) -> str:
        """Centimetres from the left end, once over all rows."""
        length_mm = self.picture.row_length_mm
        ticks = "".join(f"M{self.x(mm):.1f},{y + 17:.1f}v-{self._tick(mm)}" for mm in range(0, int(length_mm) + 1, 10))
        step = next(step for step in (100, 200, 500, 1000) if step * self.scale >= 34 or step == 1000)
        numbers = "".join(
            f'<text x="{self.x(mm):.1f}" y="{y + 8:.1f}" text-anchor="middle" fill="{self.theme.soft}" font-size="9.5">'
            f"{mm // 10}</text>"
            for mm in range(0, int(length_mm) + 1, step)
        )
        return (
            f'<g class="tray-ruler"><path d="{ticks}M{self.x(0):.1f},{y + 17:.1f}H{self.x(length_mm):.1f}" '
            f'stroke="{self.theme.soft}" stroke-width="0.7" fill="none"/>{numbers}'
            f'<text x="2" y="{y + 8:.1f}" fill="{self.theme.soft}" font-size="9.5">cm</text></g>'
        )

    @staticmethod
    def _tick(mm: int) -> float:
        return 6.5 if mm % 100 == 0 else 4.5 if mm % 50 == 0 else 2.2

    def row(self, row: int, y: float, right_px: float) -> tuple[str, float]:
        """One row's drawing and its height."""
        picture = self.picture
        pieces = [piece for piece in picture.pieces if piece.row == row]
        spans = [span for span in picture.samples if span.row == row]
        over, under = _over_labels(self, spans), self._under_labels(row, pieces, spans)
        placed_over = place_labels(wanted=[(m, w) for m, w, _ in over], left_px=SIDE_PX, right_px=right_px)
        placed_under = place_labels(wanted=[(m, w) for m, w, *_ in under], left_px=SIDE_PX, right_px=right_px)
        open_above = bool(spans) or self.theme.room_above
        bracket_y = y + (max(1, lanes_used(placed_over)) * LANE_PX if open_above else 0.0)
        channel_y = bracket_y + (BRACKET_PX if open_above else 0.0)
        core_y = channel_y + RIM_PX
        below_y = core_y + CORE_PX + RIM_PX
        backward = picture.backward[row - 1]
        parts = [
            self._channel(row, channel_y, backward),
            *(self._piece(piece, core_y) for piece in pieces),
            *(self._bagged(span, pieces, core_y, backward) for span in spans),
            *(self._line(piece, core_y) for piece in pieces if piece.kind == "core"),
            *(self._rock(rock, spans, pieces, core_y) for rock in picture.rocks if rock.row == row),
            *(self._block(piece, channel_y) for piece in pieces if piece.kind == "block"),
            *(self._bracket(span, bracket_y, core_y, backward) for span in spans),
            *self._leaders(over, placed_over, bracket_y, up=True),
            *self._leaders(under, placed_under, below_y, up=False),
        ]
        for (_, _, words), place in zip(over, placed_over, strict=True):
            parts.append(self.text(place, bracket_y - 3 - place.lane * LANE_PX, words, "tray-number", bold=True))
        for (_, _, words, kind), place in zip(under, placed_under, strict=True):
            baseline = below_y + 13 + place.lane * LANE_PX
            colour = self.theme.mark if kind == "mark" else self.theme.ink
            parts.append(
                self.text(place, baseline, words, f"tray-depth tray-depth-{kind}", colour=colour, bold=kind == "block")
            )
        high = below_y - y + max(1, lanes_used(placed_under)) * LANE_PX + 2
        return (
            f'<g class="tray-row" data-row="{row}" data-backward="{str(backward).lower()}">{"".join(parts)}</g>',
            high,
        )

    def _channel(self, row: int, y: float, backward: bool) -> str:
        high, wide, middle = CORE_PX + 2 * RIM_PX, self.picture.row_length_mm * self.scale, y + CORE_PX / 2 + RIM_PX
        arrow = f"M24,{middle - 3.5:.1f}l-5,3.5l5,3.5z" if backward else f"M19,{middle - 3.5:.1f}l5,3.5l-5,3.5z"
        return (
            f'<rect class="tray-channel" x="{self.x(0):.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:g}" '
            f'fill="{self.theme.channel}" stroke="{self.theme.soft}" stroke-width="0.8"/>'
            f'<text class="tray-row-number" x="4" y="{middle + 4.5:.1f}" font-size="13" font-weight="bold" '
            f'fill="{self.theme.ink}">{row}</text><path d="{arrow}" fill="{self.theme.soft}"/>'
        )

    def _piece(self, piece: TrayPiece, y: float) -> str:
        if piece.kind == "block":
            return ""
        left, wide = self.x(piece.left_from_mm), (piece.left_to_mm - piece.left_from_mm) * self.scale
        facts = (
            f'data-kind="{piece.kind}" data-from-mm="{piece.from_mm:g}" data-to-mm="{piece.to_mm:g}" '
            f'data-run="{piece.run}" data-left-mm="{piece.left_from_mm:g}" data-right-mm="{piece.left_to_mm:g}"'
        )
        box = f'x="{left:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{CORE_PX:g}"'
        if piece.kind == "core":
            return (
                f'<rect class="tray-core" {facts} {box} rx="2.5" fill="{self.theme.core}" stroke="{self.theme.soft}" '
                'stroke-width="0.7"/>'
            )
        words = f"lost {depth_text(round(piece.to_mm - piece.from_mm), unit=self.unit)} {self.unit}"
        told = ""
        if wide > len(words) * CHARACTER_PX + 6:
            text_x = left + (wide - len(words) * CHARACTER_PX) / 2
            told = (
                f'<rect x="{text_x - 3:.1f}" y="{y + 9:.1f}" width="{len(words) * CHARACTER_PX + 6:.1f}" height="15" '
                f'fill="{self.theme.ground}"/><text class="tray-lost" x="{text_x:.1f}" y="{y + 20:.1f}" '
                f'fill="{self.theme.loss}">{words}</text>'
            )
        cross = f"M{left:.1f},{y:.1f}l{wide:.1f},{CORE_PX:g}M{left:.1f},{y + CORE_PX:.1f}l{wide:.1f},-{CORE_PX:g}"
        return (
            f'<g class="tray-loss" {facts}><rect {box} fill="{self.theme.ground}" stroke="{self.theme.loss}" '
            f'stroke-dasharray="4 3"/><path d="{cross}" stroke="{self.theme.loss}" stroke-width="0.7"/>{told}</g>'
        )

    def _bagged(self, span: SampleSpan, pieces: list[TrayPiece], y: float, backward: bool) -> str:
        """The part of the core that goes into the bag: hatched; dotted where it is taken by mass."""
        top, high, fill = y, CORE_PX, f"url(#hatch-{self.key})"
        if span.portion != "whole" and span.side in ("right", "left"):
            low_side = (span.side == "right") != backward
            high = CORE_PX / 2 - CUT_SHIFT_PX
            top = y + CORE_PX / 2 + CUT_SHIFT_PX if low_side else y
        elif span.portion != "whole":
            fill = f"url(#dots-{self.key})"
        parts = []
        for piece in pieces:
            left, right = max(piece.left_from_mm, span.left_from_mm), min(piece.left_to_mm, span.left_to_mm)
            if piece.kind == "core" and right > left:
                wide = (right - left) * self.scale
                parts.append(
                    f'<rect class="tray-bagged" x="{self.x(left):.1f}" y="{top:.1f}" width="{wide:.1f}" '
                    f'height="{high:.1f}" fill="{fill}"/>'
                )
                if high < CORE_PX:
                    cut = top if top > y else top + high
                    parts.append(
                        f'<path class="tray-cut" d="M{self.x(left):.1f},{cut:.1f}H{self.x(right):.1f}" '
                        f'stroke="{self.theme.ink}" stroke-width="1.3" stroke-dasharray="7 3"/>'
                    )
        return "".join(parts)

    def _line(self, piece: TrayPiece, y: float) -> str:
        middle = y + CORE_PX / 2
        return (
            f'<path class="tray-drawn-line" d="M{self.x(piece.left_from_mm):.1f},{middle:.1f}'
            f'H{self.x(piece.left_to_mm):.1f}" stroke="{self.theme.mark}" stroke-width="0.8"/>'
        )

    def _rock(self, rock: RockSpan, spans: list[SampleSpan], pieces: list[TrayPiece], y: float) -> str:
        """The rock's code at the start of its stretch, in the half that stays, where there is room."""
        clash = any(
            span.side not in ("right", "left")
            and span.left_from_mm < rock.left_to_mm
            and span.left_to_mm > rock.left_from_mm
            for span in spans
        )
        backward = self.picture.backward[rock.row - 1]
        left_half_bagged = any(span.side == "left" for span in spans)
        low = left_half_bagged != backward
        edge = self.x(rock.left_to_mm if backward else rock.left_from_mm)
        contact = f'<path class="tray-contact" d="M{edge:.1f},{y:.1f}v{CORE_PX:g}" stroke="{self.theme.soft}" stroke-width="1"/>'
        wide = len(rock.rock) * CHARACTER_PX * 0.86
        shown_mm = rock.left_to_mm - rock.left_from_mm
        for piece in pieces:
            if piece.kind == "loss" and piece.left_from_mm < rock.left_to_mm and piece.left_to_mm > rock.left_from_mm:
                before = rock.left_to_mm - piece.left_to_mm if backward else piece.left_from_mm - rock.left_from_mm
                shown_mm = min(shown_mm, before)
        if clash or not rock.rock or shown_mm * self.scale < wide + 8:
            return contact
        text_x = edge - wide - 4 if backward else edge + 4
        return contact + (
            f'<text class="tray-rock" x="{text_x:.1f}" y="{y + (27 if low else 11):.1f}" font-size="9.5" '
            f'fill="{self.theme.soft}">{escape(rock.rock)}</text>'
        )

    def _block(self, piece: TrayPiece, y: float) -> str:
        wide = max(5.0, (piece.left_to_mm - piece.left_from_mm) * self.scale)
        middle = self.x((piece.left_from_mm + piece.left_to_mm) / 2)
        return (
            f'<rect class="tray-block" data-kind="block" data-from-mm="{piece.from_mm:g}" data-run="{piece.run}" '
            f'x="{middle - wide / 2:.1f}" y="{y - 1:.1f}" width="{wide:.1f}" height="{CORE_PX + 2 * RIM_PX + 2:g}" '
            f'fill="{self.theme.block}"/>'
        )

    def _bracket(self, span: SampleSpan, y: float, core_y: float, backward: bool) -> str:
        left, right = self.x(span.left_from_mm) + 0.8, self.x(span.left_to_mm) - 0.8
        first, last = (span.ends, span.starts) if backward else (span.starts, span.ends)
        ends = "".join(
            f"M{x:.1f},{y:.1f}V{core_y + CORE_PX:.1f}" if whole else f"M{x:.1f},{y - 2:.1f}v4"
            for x, whole in ((left, first), (right, last))
        )
        numbers = " ".join(escape(number) for number in span.numbers)
        depths = escape(span_text(span.from_mm, span.to_mm, unit=self.unit))
        warned = f" – caution: {escape(_one_line(span.caution))}" if span.caution else ""
        return (
            f'<g class="tray-sample" data-number="{escape(span.numbers[0])}" data-from-mm="{span.from_mm}" '
            f'data-to-mm="{span.to_mm}" data-side="{escape(span.side)}"><title>{numbers}, {depths}{warned}</title>'
            f'<path d="M{left:.1f},{y:.1f}H{right:.1f}{ends}" stroke="{self.theme.ink}" stroke-width="1.3" '
            'fill="none"/></g>'
        )

    def _under_labels(self, row: int, pieces: list[TrayPiece], spans: list[SampleSpan]) -> list[tuple]:
        """Depths below the row, most important first: blocks, marks, then ends of samples not yet named."""
        backward = self.picture.backward[row - 1]
        named: set[int] = set()
        labels: list[tuple] = []

        def add(left_mm: float, depth_mm: float, kind: str) -> None:
            words = depth_text(round(depth_mm), unit=self.unit)
            if kind == "block":
                words = f"■{words}"
            elif kind == "mark":
                words = f"{words.removesuffix('.00')} {self.unit}"
            labels.append((self.x(left_mm), len(words) * CHARACTER_PX, words, kind))
            named.add(round(depth_mm))

        for piece in pieces:
            if piece.kind == "block":
                add((piece.left_from_mm + piece.left_to_mm) / 2, piece.from_mm, "block")
        for mark in self.picture.marks:
            if mark.row == row and round(mark.depth_mm) not in named:
                add(mark.left_mm, mark.depth_mm, "mark")
        for span in spans:
            ends = ((span.starts, span.from_mm, backward), (span.ends, span.to_mm, not backward))
            for whole, depth_mm, at_right in ends:
                if whole and depth_mm not in named:
                    add(span.left_to_mm if at_right else span.left_from_mm, depth_mm, "end")
        return labels

    def _leaders(self, labels: list[tuple], placed: tuple[Placed, ...], y: float, *, up: bool) -> list[str]:
        """From each label to what it names; a mark on the core gets its tick here too."""
        parts = []
        for (middle, _, _, *kind), place in zip(labels, placed, strict=True):
            tick = 9.0 if kind == ["mark"] else 4.0
            reach = place.lane * LANE_PX + (2 if up else 3)
            start = y if up else y - RIM_PX - (tick if kind else 0)
            end = y - reach if up else y + reach
            if up and place.lane == 0:
                continue
            parts.append(
                f'<path class="tray-leader" d="M{middle:.1f},{start:.1f}V{end:.1f}" stroke="{self.theme.soft}" '
                f'stroke-width="{1.2 if kind == ["mark"] else 0.7}"/>'
            )
        return parts


def _over_labels(pen: _Pen, spans: list[SampleSpan]) -> list[tuple]:
    """Ticket numbers over the brackets; dots say that a sample comes from or goes on to another row."""
    labels = []
    for span in spans:
        words = " + ".join(span.numbers)
        backward = pen.picture.backward[span.row - 1]
        first, last = (span.ends, span.starts) if backward else (span.starts, span.ends)
        words = ("" if first else "…") + ("▲ " if span.caution else "") + words + ("" if last else "…")
        labels.append((pen.x((span.left_from_mm + span.left_to_mm) / 2), len(words) * CHARACTER_PX, words))
    return labels


def _one_line(text: str) -> str:
    return re.sub(r"[\x00-\x1f\x7f\s]+", " ", text).strip()
