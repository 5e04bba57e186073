"""Draws a shift plan on the clock: one lane a saw, for the screen and for paper.

A tray is a box with its number; a step in the box rises with the grade class; a hatched box is a change of hole, a dark one
a change of blade. Breaks are grey. Nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from itertools import groupby

from trayside.core.shift_plan import PlanLine
from trayside.model.shift import SavedPlan, minute_of_day

FONT = "'DejaVu Sans Mono', ui-monospace, monospace"
NAMES_PX, PLOT_PX, END_PX = 112.0, 1050.0, 24.0
TOP_PX, LANE_PX, BOX_PX, FOOT_PX = 30.0, 66.0, 30.0, 8.0
CHARACTER_PX = 6.1


@dataclass(frozen=True, slots=True)
class _Look:
    ground: str
    ink: str
    soft: str
    faint: str
    pause: str
    done: str
    holes: tuple[str, ...]


LOOKS = {
    "screen": _Look(
        "#fffdf8", "#2b2622", "#6d6356", "#d9cfbd", "#efe8da", "#f3eee4",
        ("#e2d4b9", "#cfd8c4", "#c9d3dc", "#e5d0d0", "#d3cbe0", "#c4d6d2"),
    ),
    "paper": _Look(
        "#ffffff", "#000000", "#4a4a4a", "#b5b5b5", "#ececec", "#ffffff", ("#dcdcdc", "#f4f4f4", "#c8c8c8", "#e8e8e8"),
    ),
}  # fmt: skip


def shift_svg(plan: SavedPlan, *, grades: Sequence[str], look: str = "screen", now: datetime | None = None) -> str:
    """The plan as one SVG. `grades` are the grade classes from barren upwards."""
    pen = _Pen(plan, LOOKS[look], {name: rank for rank, name in enumerate(grades)}, len(grades))
    saws = pen.saws()
    high = TOP_PX + LANE_PX * len(saws) + FOOT_PX
    wide = NAMES_PX + PLOT_PX + END_PX
    body = [pen.axis(high)]
    body += [pen.lane(saw, TOP_PX + LANE_PX * at) for at, saw in enumerate(saws)]
    body.append(pen.moments(high, now))
    label = escape(f"Shift of {plan.day}: {len(plan.lines)} trays on {len(saws)} saws")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="shift-plan" role="img" aria-label="{label}" '
        f'viewBox="0 0 {wide:g} {high:g}" width="{wide:g}" height="{high:g}" font-family="{FONT}" font-size="11">'
        f"{pen.patterns()}"
        f'<rect width="{wide:g}" height="{high:g}" fill="{pen.look.ground}"/>{"".join(body)}</svg>'
    )


@dataclass(frozen=True, slots=True)
class _Pen:
    plan: SavedPlan
    look: _Look
    rank: dict[str, int]
    ranks: int

    def saws(self) -> tuple[str, ...]:
        """In the order they were chosen; then any other that did something."""
        change = self.plan.change
        did = [line.saw for line in (*(change.done if change else ()), *self.plan.lines)]
        return tuple(dict.fromkeys([*(one.saw for one in self.plan.request.saws), *did]))

    def patterns(self) -> str:
        ink = self.look.soft
        return (
            '<defs><pattern id="hole-change" width="5" height="5" patternUnits="userSpaceOnUse">'
            f'<path d="M0,5l5,-5" stroke="{ink}" stroke-width="1"/></pattern></defs>'
        )

    def x(self, offset_min: float) -> float:
        """Where so many minutes after the start of the shift lie."""
        return NAMES_PX + PLOT_PX * offset_min / (self.plan.hours.hours * 60.0)

    def x_of(self, moment: datetime) -> float:
        return self.x((moment - self.plan.hours.begins_at).total_seconds() / 60.0)

    def parts(self, from_min: float, to_min: float) -> list[tuple[float, float]]:
        """Minutes of the plan as stretches of the clock, breaks left out; what lies after the shift is not drawn."""
        found, passed = [], 0.0
        for begin, end in self.plan.hours.stretches():
            low, high = max(from_min, passed), min(to_min, passed + end - begin)
            if low < high:
                found.append((begin + low - passed, begin + high - passed))
            passed += end - begin
        return found

    def axis(self, high: float) -> str:
        hours, drawn = self.plan.hours, []
        low = TOP_PX - 6
        before = 0.0
        for begin, end in (*hours.stretches(), (hours.hours * 60.0, hours.hours * 60.0)):
            if begin > before:
                x, wide = self.x(before), self.x(begin) - self.x(before)
                drawn.append(f'<rect x="{x:.1f}" y="{low}" width="{wide:.1f}" height="{high - low:.1f}" fill="{self.look.pause}"/>')
            before = end
        first = minute_of_day(hours.start)
        for minute in range(-(-first // 60) * 60, first + int(hours.hours * 60) + 1, 60):
            x = self.x(minute - first)
            drawn.append(f'<path d="M{x:.1f},{low}V{high - 4:.1f}" stroke="{self.look.faint}" stroke-width="1"/>')
            drawn.append(
                f'<text x="{x:.1f}" y="16" text-anchor="middle" fill="{self.look.soft}">{minute // 60 % 24:02d}:00</text>'
            )
        return "".join(drawn)

    def lane(self, saw: str, y: float) -> str:
        plan, look = self.plan, self.look
        drawn = [
            f'<path d="M0,{y + LANE_PX - 5:.1f}H{NAMES_PX + PLOT_PX:g}" stroke="{look.faint}" stroke-width="1"/>',
            f'<text x="4" y="{y + 25:.1f}" fill="{look.ink}" font-size="13" font-weight="bold">{escape(_short(saw, 13))}</text>',
            f'<text x="4" y="{y + 41:.1f}" fill="{look.soft}" font-size="10">{escape(_short(plan.operator_of(saw), 17))}</text>',
        ]
        change = plan.change
        done = [line for line in (change.done if change else ()) if line.saw == saw]
        drawn += [self.tray(line, y + 18, done=True) for line in done]
        lines = [line for line in plan.lines if line.saw == saw]
        drawn += [self.tray(line, y + 18) for line in lines]
        drawn += [self.hole_name(hole, list(run), y + 13) for hole, run in groupby([*done, *lines], key=lambda one: one.hole)]
        if change and change.stopped == saw:
            drawn.append(self.stopped(y + 18))
        return f'<g class="saw-lane" data-saw="{escape(saw)}">{"".join(drawn)}</g>'

    def hole_name(self, hole: str, run: Sequence[PlanLine], y: float) -> str:
        parts = [part for line in run for part in self.parts(line.start_min, line.end_min)]
        if not parts:
            return ""
        left, right = self.x(parts[0][0]), self.x(parts[-1][1])
        room = int((right - left) / CHARACTER_PX)
        name = f'<text x="{left + 2:.1f}" y="{y - 2:.1f}" fill="{self.look.ink}" font-size="10">{escape(_short(hole, room))}</text>'
        return f'<path d="M{left:.1f},{y + 4:.1f}v-3H{right:.1f}v3" fill="none" stroke="{self.look.soft}"/>' + (
            name if room >= 2 else ""
        )

    def tray(self, line: PlanLine, y: float, *, done: bool = False) -> str:
        drawn = [self.between(line, y)]
        parts = self.parts(line.start_min, line.end_min)
        widest = max(parts, key=lambda part: part[1] - part[0], default=None)
        holes = list(dict.fromkeys(one.hole for one in self.plan.pieces))
        at = holes.index(line.hole) if line.hole in holes else 0
        fill = self.look.done if done else self.look.holes[at % len(self.look.holes)]
        dashes = ' stroke-dasharray="3 2"' if done else ""
        for begin, end in parts:
            x, wide = self.x(begin), self.x(end) - self.x(begin)
            drawn.append(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(wide - 0.6, 0.6):.1f}" height="{BOX_PX:g}" fill="{fill}" '
                f'stroke="{self.look.soft}" stroke-width="0.8"{dashes}/>'
            )
            drawn.append(self.step(line, x, wide, y))
        if widest is not None:
            drawn.append(self.number(line, widest, y))
        told = f"<title>{escape(self.told(line))}</title>"
        kind = "tray-done" if done else "tray-planned"
        return f'<g class="{kind}" data-piece="{escape(line.piece)}">{told}{"".join(drawn)}</g>'

    def step(self, line: PlanLine, x: float, wide: float, y: float) -> str:
        rank = self.rank.get(self.grade_of(line.piece), 0)
        high = 8.0 * rank / max(1, self.ranks - 1)
        if high <= 0.0:
            return ""
        return (
            f'<rect x="{x:.1f}" y="{y + BOX_PX - high:.1f}" width="{max(wide - 0.6, 0.6):.1f}" height="{high:.1f}" '
            f'fill="{self.look.soft}"/>'
        )

    def number(self, line: PlanLine, part: tuple[float, float], y: float) -> str:
        text = line.piece.rpartition("/")[2]
        x, wide = self.x(part[0]), self.x(part[1]) - self.x(part[0])
        if wide < CHARACTER_PX * len(text) + 1:
            return ""
        return f'<text x="{x + wide / 2:.1f}" y="{y + 16:.1f}" text-anchor="middle" fill="{self.look.ink}">{escape(text)}</text>'

    def between(self, line: PlanLine, y: float) -> str:
        """What is done before the tray: blade, hole; a wash is the gap."""
        drawn, begin = [], line.begin_min
        for minutes, fill, more in (
            (line.blade_change_min, self.look.ink, "blade-change"),
            (line.hole_change_min, "url(#hole-change)", "hole-change"),
        ):
            for low, high in self.parts(begin, begin + minutes) if minutes > 0.0 else ():
                x = self.x(low)
                drawn.append(
                    f'<rect class="{more}" x="{x:.1f}" y="{y + 6:.1f}" width="{self.x(high) - x:.1f}" height="{BOX_PX - 12:g}" '
                    f'fill="{fill}" stroke="{self.look.soft}" stroke-width="0.6"/>'
                )
            begin += minutes
        return "".join(drawn)

    def stopped(self, y: float) -> str:
        change = self.plan.change
        end = self.plan.hours.productive_min if change.back_min is None else change.back_min
        drawn = []
        for begin, to in self.parts(change.at_min, end):
            x, wide = self.x(begin), self.x(to) - self.x(begin)
            drawn.append(
                f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{BOX_PX:g}" fill="{self.look.ground}" '
                f'stroke="{self.look.ink}"/>'
                f'<path d="M{x:.1f},{y:.1f}l{wide:.1f},{BOX_PX:g}m0,-{BOX_PX:g}l-{wide:.1f},{BOX_PX:g}" stroke="{self.look.soft}"/>'
            )
        return f'<g class="saw-stopped"><title>{escape(change.stopped)} stopped</title>{"".join(drawn)}</g>'

    def moments(self, high: float, now: datetime | None) -> str:
        """Vertical lines: the lorry, and now."""
        plan, drawn = self.plan, []
        if plan.request.lorry_at:
            offset = (minute_of_day(plan.request.lorry_at) - minute_of_day(plan.hours.start)) % (24 * 60)
            if offset <= plan.hours.hours * 60:
                drawn.append(self.line(self.x(offset), high, f"lorry {plan.request.lorry_at}", "lorry", "6 3"))
        if now is not None and plan.hours.begins_at <= now <= plan.hours.ends_at:
            drawn.append(self.line(self.x_of(now), high, "now", "now", "2 2"))
        return "".join(drawn)

    def line(self, x: float, high: float, word: str, kind: str, dashes: str) -> str:
        return (
            f'<g class="shift-{kind}"><path d="M{x:.1f},20V{high - 4:.1f}" stroke="{self.look.ink}" stroke-width="1.6" '
            f'stroke-dasharray="{dashes}"/><text x="{x + 4:.1f}" y="27" fill="{self.look.ink}" font-size="10" '
            f'font-weight="bold" paint-order="stroke" stroke="{self.look.ground}" stroke-width="3">{escape(word)}</text></g>'
        )

    def grade_of(self, piece: str) -> str:
        return next((one.grade_class for one in self.plan.trays if one.piece == piece), "")

    def told(self, line: PlanLine) -> str:
        begin, end = (self.plan.hours.local(self.plan.hours.at(at)) for at in (line.start_min, line.end_min))
        grade = self.grade_of(line.piece)
        before = _words(
            ("blade change", line.blade_change_min), ("change of hole", line.hole_change_min), ("wash", line.wash_min)
        )
        return (
            f"{line.hole} tray {line.piece.rpartition('/')[2]}, {line.metres:.1f} m{f', {grade}' if grade else ''}, "
            f"{begin:%H:%M}–{end:%H:%M}{f'; before it {before}' if before else ''}"
        )


def _words(*steps: tuple[str, float]) -> str:
    return ", ".join(f"{word} {minutes:.0f} min" for word, minutes in steps if minutes > 0.0)


def _short(text: str, room: int) -> str:
    return text if len(text) <= room else text[: max(0, room - 1)] + "…"


def lines_by_saw(lines: Iterable[PlanLine]) -> dict[str, list[PlanLine]]:
    """The lines of each saw in their order."""
    found: dict[str, list[PlanLine]] = {}
    for line in lines:
        found.setdefault(line.saw, []).append(line)
    return found
