"""The shift plan on paper: the plan on the clock, and the order of trays at each saw to tick off."""

from __future__ import annotations

from trayside.app.shift_svg import lines_by_saw, shift_svg
from trayside.app.shift_words import beats_text, before_text, bound_text, changed_text, clock_text, compared, in_shift
from trayside.app.written_amounts import depth_text
from trayside.core.planning_aid import PLANNING_AID
from trayside.core.shift_plan import PlanLine
from trayside.model.rules import Rules
from trayside.model.shift import SavedPlan

from .compile import compile_page
from .paper_words import plain_text, time_text


def shift_plan_pdf(plan: SavedPlan, rules: Rules) -> bytes:
    """The whole plan: the picture on the first page, then one list a saw."""
    return compile_page(template="shift_plan.typ", content=shift_plan_content(plan, rules), made_at=plan.made_at).pdf


def shift_plan_content(plan: SavedPlan, rules: Rules) -> dict:
    unit = rules.paper.length_unit
    within, beyond = in_shift(plan)
    later = f"; {_trays(beyond, unit)} are for later shifts" if beyond else ""
    return {
        "paper": rules.paper.size,
        "yard": plain_text(rules.yard),
        "day": plan.day,
        "hours": f"{plan.hours.local(plan.hours.begins_at):%H:%M} to {plan.hours.local(plan.hours.ends_at):%H:%M}",
        "made": f"Made by {plain_text(plan.made_by)}, {time_text(plan.made_at)}",
        "changed": plain_text(changed_text(plan), breakable=False),
        "beats": beats_text(plan),
        "bound": bound_text(plan) if plan.figures else "",
        "svg": shift_svg(plan, grades=[one.name for one in rules.grade_classes], look="paper"),
        "within": f"{_trays(within, unit)} end within the shift{later}.",
        "figures": [[row.name, row.plan, row.first_come, row.gain or "–"] for row in compared(plan)],
        "saws": [_saw(plan, saw, lines, unit) for saw, lines in lines_by_saw(plan.lines).items()],
        "left_out": [[plain_text(one.what), plain_text(one.why, breakable=False)] for one in plan.left_out],
        "unit": unit,
        "caution": PLANNING_AID,
    }


def _trays(lines: tuple[PlanLine, ...], unit: str) -> str:
    metres = depth_text(round(1000 * sum(line.metres for line in lines)), unit=unit)
    return f"{len(lines)} tray{'s' * (len(lines) != 1)}, {metres} {unit},"


def _saw(plan: SavedPlan, saw: str, lines: list[PlanLine], unit: str) -> dict:
    trays = {one.piece: one for one in plan.trays}
    now = [line for line in lines if line.start_min < plan.hours.productive_min]
    rows = []
    for line in now:
        tray = trays[line.piece]
        rows.append(
            {
                "hole": plain_text(line.hole),
                "tray": str(tray.tray),
                "bags": str(len(tray.bags)),
                "length": depth_text(round(1000 * line.metres), unit=unit),
                "grade": plain_text(tray.grade_class) or "–",
                "before": before_text(line) or "–",
                "from": clock_text(plan, line.start_min),
                "to": clock_text(plan, line.end_min) + (" ▲ late" if line.late_min > 0.5 else ""),
                "new_hole": line.hole_change_min > 0.0,
            }
        )
    later = len(lines) - len(now)
    return {
        "saw": plain_text(saw, breakable=False),
        "operator": plain_text(plan.operator_of(saw)),
        "rows": rows,
        "later": f"Then {later} tray{'s' * (later != 1)} in later shifts." if later else "",
    }
