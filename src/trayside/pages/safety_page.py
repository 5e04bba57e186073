"""The safety page on paper: one person's shift in plain words, the figures behind them, limits with document and date."""

from __future__ import annotations

import math

from trayside.app.exposure_limits import GRADES, Hazard
from trayside.app.record_exposure import ShiftView
from trayside.app.shift_safety import ShiftSafety

from .compile import compile_page
from .paper_words import plain_text, time_text

HAZARD_WORDS = {"noise": "Noise", "silica": "Silica", "lifting": "Lifting", "vibration": "Hand-arm vibration"}
GRADE_WORDS = {
    "above": "ABOVE A LIMIT", "action": "ACTION VALUE REACHED", "advised": "above what is recommended", "below": "below",
    "none": "not entered",
}  # fmt: skip
LIFTING_WORDS = {"above": "HIGHLY STRESSFUL", "action": "RAISED RISK", "below": "no raised risk"}
RULE_WORDS = {"osha": "OSHA, 5 dB", "niosh": "NIOSH, 3 dB", "lex8": "L_EX,8h, 3 dB"}
BASIS_WORDS = {"measured": "measured", "typical": "typical value", "maker": "maker"}
NONE = "–"


def safety_page_pdf(view: ShiftView) -> bytes:
    return compile_page(
        template="safety_page.typ", content=safety_page_content(view), made_at=view.recorded.recorded_at
    ).pdf


def safety_page_content(view: ShiftView) -> dict:
    exposure, safety = view.exposure, view.safety
    return {
        "paper": view.rules.paper.size,
        "yard": plain_text(view.rules.yard),
        "person": plain_text(exposure.person),
        "day": exposure.day.isoformat(),
        "shift": f"{exposure.shift_h:g} h",
        "recorded": f"Entered by {plain_text(view.recorded.recorded_by)}, {time_text(view.recorded.recorded_at)}"
        + (f" (revision {view.recorded.revision})" if view.recorded.revision > 1 else ""),
        "headline": _headline(safety),
        "parts": [_part(safety, hazard) for hazard in safety.hazards if hazard.grade != "none"],
        "limits": _limits(safety),
        "remark": plain_text(exposure.remark),
        "history": [_change(one) for one in view.history if len(view.history) > 1],
        "cautions": list(safety.cautions),
    }


def _grade_words(hazard: Hazard) -> str:
    return (LIFTING_WORDS if hazard.name == "lifting" else GRADE_WORDS).get(hazard.grade, GRADE_WORDS["none"])


def _headline(safety: ShiftSafety) -> list[list[str]]:
    ordered = sorted(safety.hazards, key=lambda one: GRADES.index(one.grade))
    return [[HAZARD_WORDS[one.name], _grade_words(one), plain_text(one.figure), one.grade] for one in ordered]


def _part(safety: ShiftSafety, hazard: Hazard) -> dict:
    head, rows = {"noise": _noise, "silica": _silica, "lifting": _lifting, "vibration": _vibration}[hazard.name](safety)
    flags = [*hazard.flags, *(safety.lifting.warnings if hazard.name == "lifting" else ())]
    return {
        "name": HAZARD_WORDS[hazard.name],
        "grade": _grade_words(hazard),
        "says": [plain_text(one) for one in hazard.says],
        "flags": [plain_text(one) + "." for one in flags],
        "tables": [{"head": one_head, "rows": one_rows} for one_head, one_rows in zip(head, rows, strict=True)],
    }


def _noise(safety: ShiftSafety) -> tuple[list, list]:
    rules = [
        [RULE_WORDS[line.rule], _percent(line.dose), f"{line.level_dba:.1f}", _percent(line.protected_dose),
         NONE if line.protected_dba is None else f"{line.protected_dba:.1f}"]
        for line in safety.noise.lines
    ]  # fmt: skip
    tasks = [
        [plain_text(task.what), f"{task.level_dba:g}", f"{task.hours:g}", "worn" if task.worn else "not worn",
         BASIS_WORDS[task.basis]]
        for task in safety.exposure.noise
    ]  # fmt: skip
    return (
        [["Rule", "Dose, %", "Mean over 8 h, dBA", "Dose with protector, %", "With protector, dBA"],
         ["Task", "Level, dBA", "Hours", "Protector", "Known from"]],
        [rules, tasks],
    )  # fmt: skip


def _silica(safety: ShiftSafety) -> tuple[list, list]:
    rows = []
    for line in safety.silica.lines:
        less = "<" if line.task.below else ""
        drawn = NONE if line.litres is None else f"{less}{line.task.mass_ug:g} µg in {line.litres:.0f} L"
        rows.append([plain_text(line.task.what), f"{line.task.minutes:g}", drawn,
                     f"{less}{line.concentration_mg_m3:.4g}", BASIS_WORDS[line.task.basis]])  # fmt: skip
    return [["Air", "Minutes", "On the filter", "Silica, mg/m³", "Known from"]], [rows]


def _lifting(safety: ShiftSafety) -> tuple[list, list]:
    rows = []
    for line in safety.lifting.lines:
        lift, result = line.lift, line.result
        index = "∞" if math.isinf(result.index) else f"{result.index:.1f}"
        place = f"{lift.reach_cm:g} · {lift.start_height_cm:g} to {lift.end_height_cm:g}"
        rows.append([plain_text(lift.what), f"{lift.load_kg:.1f}", f"{place} cm, {lift.grip} grip",
                     f"{lift.lifts_per_minute:g}", f"{result.limit_kg:.1f}", index])  # fmt: skip
    return [["Lift", "Load, kg", "Reach · heights", "A minute", "At most, kg", "Index"]], [rows]


def _vibration(safety: ShiftSafety) -> tuple[list, list]:
    rows = []
    for line, task in zip(safety.vibration.lines, safety.exposure.vibration, strict=True):
        until = [f"{hours:.1f}" if hours <= 24 else NONE for hours in (line.hours_to_action, line.hours_to_limit)]
        rows.append([plain_text(task.what), f"{task.acceleration_m_s2:g}", f"{task.minutes:g}", f"{line.points:.0f}", *until])
    return [["Machine", "m/s²", "Minutes", "Points", "Hours to 2.5", "Hours to 5"]], [rows]


def _percent(share: float | None) -> str:
    return NONE if share is None else f"{100 * share:.0f}"


def _limits(safety: ShiftSafety) -> list[list[str]]:
    lines = []
    for hazard in safety.hazards:
        for verdict in hazard.verdicts:
            for one in verdict.held:
                source = one.limit.source
                used = f"{one.used:g} {one.unit}"
                if one.used != one.limit.value:
                    used += f" (printed {one.limit.value:g})"
                name = one.name + ("" if one.limit.binding else " (advice)")
                document = f"{source.document}, {source.locator} ({source.grade})"
                document += f"; {one.limit.note}" if one.limit.note else ""
                lines.append(
                    [HAZARD_WORDS[hazard.name], plain_text(verdict.whose), plain_text(name), used,
                     one.limit.reached if one.reached else "no", plain_text(document, breakable=False),
                     f"{plain_text(one.limit.date)} ({one.limit.date_grade})"]
                )  # fmt: skip
    return lines


def _change(one) -> dict:
    return {
        "revision": str(one.recorded.revision),
        "by": f"{plain_text(one.recorded.recorded_by)}, {time_text(one.recorded.recorded_at)}",
        "reason": plain_text(one.recorded.reason),
        "changed": [f"{plain_text(name)}: {plain_text(old)} → {plain_text(new)}" for name, old, new in one.changed],
        "added": "; ".join(f"{plain_text(name)} {plain_text(text)}" for name, text in one.added),
    }
