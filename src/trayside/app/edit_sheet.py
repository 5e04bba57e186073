"""Move, split and join sample intervals by hand: everything downstream is recomputed and shown before it is saved."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from trayside.app.hole_view import HoleView, view_hole
from trayside.app.plan_samples import PlannedHole, draft_rows, refuse_unsettled, save_rows
from trayside.app.ports import MakeId, StartWork, Work
from trayside.app.sheet_rows import Interval
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound
from trayside.model.cut_sheet import Sheet, changes_between
from trayside.model.finding import Finding

BY_HAND = "by hand"


@dataclass(frozen=True, slots=True)
class Edit:
    """One edit: `move` the boundary at at_mm to to_mm, `split` the sample that holds at_mm there, `join` the two samples
    that meet at at_mm, `add` a sample from at_mm to to_mm, `drop` the sample that starts at at_mm."""

    what: Literal["move", "split", "join", "add", "drop"]
    at_mm: int
    to_mm: int | None = None


@dataclass(frozen=True, slots=True)
class Preview:
    """An edit as it would be saved: the draft, its findings, and what changes against the stored draft."""

    sheet: Sheet
    findings: tuple[Finding, ...]
    changes: tuple[str, ...]
    base_version: int


def preview_edit(
    hole_id: str, *, edits: tuple[Edit, ...], base_version: int, start_work: StartWork, make_id: MakeId
) -> Preview:
    """Compute an edit without saving it."""
    with start_work(writing=False) as work:
        view = _opened(work, hole_id, base_version)
        intervals, by_hand = edited(view.sheet, edits)
        draft, _, findings = draft_rows(work, view, intervals=intervals, by_hand=by_hand, make_id=make_id, edited_by="")
    return Preview(draft, findings, changes_between(view.sheet.rows, draft.rows), base_version)


def save_edit(
    hole_id: str, *, edits: tuple[Edit, ...], base_version: int, edited_by: str, start_work: StartWork, make_id: MakeId
) -> PlannedHole:
    """Compute an edit and save it; ChangedMeanwhile when somebody saved after `base_version`. No edits: recompute only."""
    with start_work() as work:
        view = _opened(work, hole_id, base_version)
        intervals, by_hand = edited(view.sheet, edits)
        saved = save_rows(
            work, view, intervals=intervals, by_hand=by_hand, make_id=make_id, edited_by=edited_by.strip()
        )
        work.commit()
    return saved


def edited(sheet: Sheet, edits: tuple[Edit, ...]) -> tuple[tuple[Interval, ...], tuple[int, ...]]:
    """The sheet's intervals after the edits, and the boundaries placed by hand so far."""
    intervals = [
        Interval(row.from_mm, row.to_mm, row.top_reason, row.bottom_reason)
        for row in sheet.rows
        if row.kind == "sample"
    ]
    by_hand = set(sheet.by_hand)
    for edit in edits:
        intervals = _apply(intervals, edit)
        if edit.what == "move":
            by_hand.discard(edit.at_mm)
        placed = edit.to_mm if edit.what == "move" else edit.at_mm
        if edit.what in ("move", "split", "add"):
            by_hand.add(placed)
        if edit.what == "add":
            by_hand.add(edit.to_mm)
    ends = {depth for interval in intervals for depth in (interval.from_mm, interval.to_mm)}
    return tuple(intervals), tuple(sorted(by_hand & ends))


def _apply(intervals: list[Interval], edit: Edit) -> list[Interval]:
    match edit.what:
        case "move":
            return _moved(intervals, edit)
        case "split":
            return _split(intervals, edit.at_mm)
        case "join":
            return _joined(intervals, edit.at_mm)
        case "add":
            return _added(intervals, edit)
        case "drop":
            left = [interval for interval in intervals if interval.from_mm != edit.at_mm]
            if len(left) == len(intervals):
                raise _no_boundary(edit.at_mm, "No sample starts")
            return left


def _moved(intervals: list[Interval], edit: Edit) -> list[Interval]:
    if edit.to_mm is None or edit.to_mm < 0:
        raise ImpossibleValue("no depth to move to", where=_m(edit.at_mm), remedy="Type the new depth")
    moved, touched = [], False
    for interval in intervals:
        top, bottom = interval.from_mm == edit.at_mm, interval.to_mm == edit.at_mm
        touched |= top or bottom
        new = replace(
            interval,
            from_mm=edit.to_mm if top else interval.from_mm,
            to_mm=edit.to_mm if bottom else interval.to_mm,
            top_reason=BY_HAND if top else interval.top_reason,
            bottom_reason=BY_HAND if bottom else interval.bottom_reason,
        )
        if new.to_mm <= new.from_mm:
            raise ImpossibleValue(
                f"the boundary cannot go to {_m(edit.to_mm)}: the sample {_m(interval.from_mm)}–{_m(interval.to_mm)} would vanish",
                where=_m(edit.at_mm),
                remedy="Choose a depth inside the two samples it parts, or join them",
            )
        moved.append(new)
    if not touched:
        raise _no_boundary(edit.at_mm, "There is no boundary")
    return moved


def _split(intervals: list[Interval], at_mm: int) -> list[Interval]:
    out = []
    for interval in intervals:
        if interval.from_mm < at_mm < interval.to_mm:
            out += [
                replace(interval, to_mm=at_mm, bottom_reason=BY_HAND),
                replace(interval, from_mm=at_mm, top_reason=BY_HAND),
            ]
        else:
            out.append(interval)
    if len(out) == len(intervals):
        raise _no_boundary(at_mm, "No sample holds")
    return out


def _joined(intervals: list[Interval], at_mm: int) -> list[Interval]:
    above = next((i for i in intervals if i.to_mm == at_mm), None)
    below = next((i for i in intervals if i.from_mm == at_mm), None)
    if above is None or below is None:
        raise _no_boundary(at_mm, "No two samples meet")
    joined = Interval(above.from_mm, below.to_mm, above.top_reason, below.bottom_reason)
    return [joined if interval is above else interval for interval in intervals if interval is not below]


def _added(intervals: list[Interval], edit: Edit) -> list[Interval]:
    if edit.to_mm is None or edit.to_mm <= edit.at_mm or edit.at_mm < 0:
        raise ImpossibleValue(
            "a sample needs a top and a deeper bottom", where=_m(edit.at_mm), remedy="Type both depths"
        )
    return sorted([*intervals, Interval(edit.at_mm, edit.to_mm, BY_HAND, BY_HAND)], key=lambda i: (i.from_mm, i.to_mm))


def _opened(work: Work, hole_id: str, base_version: int) -> HoleView:
    view = view_hole(work, hole_id)
    if view.sheet is None:
        raise NotFound("no plan to edit", where=hole_id, remedy="Plan the hole first")
    if view.sheet.version != base_version:
        who = f" by {view.sheet.edited_by}" if view.sheet.edited_by else ""
        raise ChangedMeanwhile(
            f"the plan was saved{who} after you opened it (version {view.sheet.version}, yours is {base_version})",
            where=hole_id,
            remedy="Nothing of yours is lost: look at the newer plan and make your changes on it again",
        )
    refuse_unsettled(view)
    return view


def _no_boundary(at_mm: int, what: str) -> ImpossibleValue:
    return ImpossibleValue(f"{what} at {_m(at_mm)}", where="sheet", remedy="Reload the sheet and try again")


def _m(depth_mm: int) -> str:
    return f"{depth_mm / 1000:.2f} m"
