"""What a shift plan comes to, in words and by the clock, for the screen, the paper and the command."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from trayside.core.shift_plan import PlanFigures, PlanLine
from trayside.model.shift import SavedPlan


@dataclass(frozen=True, slots=True)
class Compared:
    """One figure of the plan beside first come, first served. `gain` says what the plan saves, '' where nothing."""

    name: str
    plan: str
    first_come: str
    gain: str


def clock_text(plan: SavedPlan, minute: float) -> str:
    """'14:20', or '14:20 in the next shift', by the yard's clock."""
    return at_text(plan, plan.hours.at(minute), plan.hours.shift_of(minute))


def at_text(plan: SavedPlan, moment: datetime, shift: int) -> str:
    local = plan.hours.local(moment)
    if shift <= 0:
        return f"{local:%H:%M}"
    return f"{local:%H:%M} in the next shift" if shift == 1 else f"in {shift} shifts, {local:%Y-%m-%d %H:%M}"


def compared(plan: SavedPlan) -> tuple[Compared, ...]:
    """The plan's figures beside those of first come, first served."""
    ours, theirs = plan.figures, plan.first_come
    if ours is None or theirs is None:
        return ()
    return (
        Compared(
            "last saw done",
            clock_text(plan, ours.finish_min),
            clock_text(plan, theirs.finish_min),
            _less(theirs.finish_min - ours.finish_min, "min sooner", "min later"),
        ),
        Compared(
            "a metre waits on average",
            f"{ours.mean_wait_min:.0f} min",
            f"{theirs.mean_wait_min:.0f} min",
            _less(theirs.mean_wait_min - ours.mean_wait_min, "min less", "min more"),
        ),
        Compared(
            "washing, laying out and blade changes",
            f"{ours.between_min:.0f} min",
            f"{theirs.between_min:.0f} min",
            _less(theirs.between_min - ours.between_min, "min less", "min more"),
        ),
        Compared("changes of hole", str(ours.hole_changes), str(theirs.hole_changes), ""),
        Compared("falls to a lower grade class", str(ours.falling_grades), str(theirs.falling_grades), ""),
        *_late(plan, ours, theirs),
    )


def _late(plan: SavedPlan, ours: PlanFigures, theirs: PlanFigures) -> tuple[Compared, ...]:
    if not plan.request.lorry_at:
        return ()
    gain = _less(theirs.late_m - ours.late_m, "m less", "m more")
    return (Compared("late for the lorry", f"{ours.late_m:.1f} m", f"{theirs.late_m:.1f} m", gain),)


def _less(gain: float, less: str, more: str) -> str:
    if abs(gain) < 0.5:
        return ""
    return f"{abs(gain):.0f} {less if gain > 0 else more}"


def beats_text(plan: SavedPlan) -> str:
    """One sentence: by how much the plan beats first come, first served, all figures weighed together."""
    saved, rows = plan.saved, compared(plan)
    if saved is None:
        return ""
    if saved < 0.0005:
        return "First come, first served is as good: no better order was found."
    gains = [f"{row.name} {row.gain}" for row in rows if row.gain and not row.gain.endswith(("later", "more"))]
    told = f" ({'; '.join(gains[:3])})" if gains else ""
    return f"{100 * saved:.1f} % better than first come, first served{told}."


def bound_text(plan: SavedPlan) -> str:
    """How far from the best it can be."""
    gap = plan.gap
    if gap is None:
        return "How far from the best plan this is, is not known."
    if gap <= 1e-9:
        return "No plan is better: every one was tried."
    return f"No plan can be more than {max(0.1, 100 * gap):.1f} % better: that is proved, whatever the order."


def in_shift(plan: SavedPlan) -> tuple[tuple[PlanLine, ...], tuple[PlanLine, ...]]:
    """Lines that end within the shift, and those that do not."""
    end = plan.hours.productive_min + 1e-6
    return (
        tuple(line for line in plan.lines if line.end_min <= end),
        tuple(line for line in plan.lines if line.end_min > end),
    )


def before_text(line: PlanLine) -> str:
    """'change of hole 8 min, blade change 15 min'."""
    steps = (
        ("blade change", line.blade_change_min),
        ("change of hole", line.hole_change_min),
        ("wash", line.wash_min),
    )
    return ", ".join(f"{word} {minutes:.0f} min" for word, minutes in steps if minutes > 0.0)


def changed_text(plan: SavedPlan) -> str:
    """What a stopped saw changed, in one or two sentences."""
    change = plan.change
    if change is None:
        return ""
    back = "" if change.back_min is None else f", back at {clock_text(plan, change.back_min)}"
    elsewhere = sum(one.from_saw != one.to_saw for one in change.moved)
    known = "the ledger says what was cut" if change.by_ledger else "taken as if all went as planned until then"
    words = [
        f"{change.stopped} stopped at {clock_text(plan, change.at_min)}{back}",
        f"{_trays(len(change.done))} done or being finished ({known})",
        f"{_trays(len(plan.lines))} planned again, {elsewhere} of them on another saw",
    ]
    if change.cut_off:
        words.append(f"{_tray_name(change.cut_off)} lay under its blade and is planned again")
    if change.stuck:
        words.append(f"no saw is left for {', '.join(map(_tray_name, change.stuck))}")
    return "; ".join(words) + "."


def _trays(count: int) -> str:
    return f"{count} tray" if count == 1 else f"{count} trays"


def _tray_name(piece: str) -> str:
    hole, _, tray = piece.rpartition("/")
    return f"{hole} tray {tray}"
