"""Plan a hole: where samples start and end, which controls stand between them, which number and mass every bag has."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace

from trayside.app.bag_masses import rock_densities
from trayside.app.check_sheet import checked_sheet
from trayside.app.hole_view import HoleView, plan_digest, view_hole
from trayside.app.numbering import number_rows
from trayside.app.plan_findings import is_sheet_finding
from trayside.app.ports import MakeId, Progress, StartWork, Work
from trayside.app.sampling_ground import SamplingGround, sampling_ground
from trayside.app.sheet_rows import Interval, Unnumbered, unnumbered_rows
from trayside.core.interval_ground import LENGTH
from trayside.core.intervals import IntervalPlan, plan_intervals
from trayside.core.units import whole_mm
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule
from trayside.model.cut_sheet import Sheet, SheetRow
from trayside.model.finding import Finding

BOUNDARY_WORDS = {LENGTH: "even length"}
"""What the sheet says where the planner's own word says too little."""


@dataclass(frozen=True, slots=True)
class PlannedHole:
    """A saved plan with its findings."""

    sheet: Sheet
    findings: tuple[Finding, ...]


def plan_samples(
    hole_id: str, *, start_work: StartWork, make_id: MakeId, edited_by: str = "", base_version: int | None = None
) -> PlannedHole:
    """Plan one hole from its log and the rules and store the draft. Boundaries placed by hand are dropped.

    With `base_version` (0: no plan yet) ChangedMeanwhile when the stored plan is not the one the person looked at.
    """
    with start_work() as work:
        if base_version is not None:
            _refuse_newer(work, hole_id, base_version)
        planned = plan_in(work, hole_id, make_id=make_id, edited_by=edited_by)
        work.commit()
    return planned


def _refuse_newer(work: Work, hole_id: str, base_version: int) -> None:
    sheet = work.sheet(hole_id)
    version = sheet.version if sheet else 0
    if version != base_version:
        who = f" by {sheet.edited_by}" if sheet and sheet.edited_by else ""
        raise ChangedMeanwhile(
            f"the plan was saved{who} after you opened it (version {version}, yours is {base_version})",
            where=hole_id,
            remedy="Look at the newer plan before you plan again",
        )


def plan_yard(
    *,
    start_work: StartWork,
    make_id: MakeId,
    hole_ids: tuple[str, ...] | None = None,
    progress: Progress = lambda a, b, c: None,
) -> dict[str, PlannedHole | RefusedByRule]:
    """Plan many holes, one transaction a hole; a hole that cannot be planned keeps its reason.

    NotFound before anything is planned when one of the holes is not in the yard.
    """
    with start_work(writing=False) as work:
        known = work.hole_ids()
    wanted = known if hole_ids is None else tuple(dict.fromkeys(hole_ids))
    held = set(known)
    strange = [hole_id for hole_id in wanted if hole_id not in held]
    if strange:
        raise NotFound(
            "no such hole in the yard", where=", ".join(strange), remedy="Check the name, or load the hole first"
        )
    planned: dict[str, PlannedHole | RefusedByRule] = {}
    for done, hole_id in enumerate(wanted):
        progress(done, len(wanted), hole_id)
        try:
            planned[hole_id] = plan_samples(hole_id, start_work=start_work, make_id=make_id)
        except RefusedByRule as refusal:
            planned[hole_id] = refusal
        except ImpossibleValue as impossible:  # one hole's numbers must not keep the others from being planned
            where = f"{hole_id}, {impossible.where}" if impossible.where else hole_id
            planned[hole_id] = RefusedByRule(impossible.what, where=where, remedy=impossible.remedy)
    progress(len(wanted), len(wanted), "planned")
    return planned


def plan_in(work: Work, hole_id: str, *, make_id: MakeId, edited_by: str = "") -> PlannedHole:
    """Plan one hole inside a transaction the caller commits."""
    view = view_hole(work, hole_id)
    refuse_unsettled(view)
    prepared = prepare(view)
    if prepared is None:
        raise RefusedByRule(
            "nothing of this hole is to be sampled", where=hole_id, remedy="Check the log's grade classes and the rules"
        )
    plan = plan_intervals(ground=prepared.ground, rules=prepared.rules)
    return save_rows(
        work,
        view,
        intervals=intervals_of(plan),
        by_hand=(),
        make_id=make_id,
        edited_by=edited_by,
        seed=seed_for(view.rules.controls.seed, hole_id),
        prepared=prepared,
    )


def refuse_unsettled(view: HoleView) -> None:
    """Neither a plan nor an edit can be computed on a hole that is wrong as loaded, or that has no core."""
    blocking = [finding for finding in view.findings if finding.severity == "stop" and not is_sheet_finding(finding)]
    if blocking:
        raise RefusedByRule(
            f"{len(blocking)} finding{'s' if len(blocking) > 1 else ''} must be settled before it can be planned",
            where=view.hole_id,
            remedy="Settle them and load the hole again",
            reasons=tuple(f"{finding.where}: {finding.message}. {finding.remedy}" for finding in blocking),
        )
    if not view.depth.runs:
        raise RefusedByRule("the hole has no runs", where=view.hole_id, remedy="Enter its runs and load it again")


def prepare(view: HoleView) -> SamplingGround | None:
    """The ground the planner needs, from what the view holds."""
    densities = rock_densities(view.core, view.stock)
    return sampling_ground(view.core, view.stock, view.rules, view.depth, densities)


def intervals_of(plan: IntervalPlan) -> tuple[Interval, ...]:
    """The planner's intervals at rest, in whole millimetres."""
    return tuple(
        Interval(top, bottom, BOUNDARY_WORDS.get(str(above), str(above)), BOUNDARY_WORDS.get(str(below), str(below)))
        for top, bottom, above, below in zip(
            whole_mm(depth_m=plan.from_m).tolist(),
            whole_mm(depth_m=plan.to_m).tolist(),
            plan.top_reason,
            plan.bottom_reason,
            strict=True,
        )
    )


def compute_rows(
    view: HoleView,
    intervals: tuple[Interval, ...],
    *,
    seed: int,
    reserved: Mapping[str, int],
    issued: tuple[SheetRow, ...] = (),
) -> Unnumbered:
    """All rows for these intervals, without numbers."""
    return unnumbered_rows(
        view.core,
        view.stock,
        view.rules,
        view.depth,
        intervals=intervals,
        densities=rock_densities(view.core, view.stock),
        seed=seed,
        reserved=reserved,
        issued=issued,
        side_at=lambda depth_mm: view.cut_register.at(depth_mm).side,
    )


def save_rows(
    work: Work,
    view: HoleView,
    *,
    intervals: tuple[Interval, ...],
    by_hand: tuple[int, ...],
    make_id: MakeId,
    edited_by: str,
    seed: int | None = None,
    prepared: SamplingGround | None = None,
) -> PlannedHole:
    """Recompute everything downstream of the intervals, number it, check it and store the draft."""
    draft, serials, findings = draft_rows(
        work,
        view,
        intervals=intervals,
        by_hand=by_hand,
        make_id=make_id,
        edited_by=edited_by,
        seed=seed,
        prepared=prepared,
    )
    saved = work.save_sheet(draft, serials=serials)
    hole_findings = [finding for finding in view.findings if not is_sheet_finding(finding)]
    work.replace_findings(view.hole_id, [*hole_findings, *findings])
    return PlannedHole(saved, findings)


def draft_rows(
    work: Work,
    view: HoleView,
    *,
    intervals: tuple[Interval, ...],
    by_hand: tuple[int, ...],
    make_id: MakeId,
    edited_by: str,
    seed: int | None = None,
    prepared: SamplingGround | None = None,
) -> tuple[Sheet, dict[str, tuple[str, int]], tuple[Finding, ...]]:
    """The draft for these intervals with its numbers and findings; nothing is stored.

    Without a `seed` the sheet keeps its own, so that an edit moves no control it need not move; once issued, controls
    stay behind their samples until the yard's seed is changed and the hole planned again.
    """
    sheet = view.sheet
    if seed is None:
        seed = sheet.seed if sheet else seed_for(view.rules.controls.seed, view.hole_id)
    issued = work.revision(view.hole_id, sheet.revision).rows if sheet and sheet.revision else ()
    computed = compute_rows(
        view,
        intervals,
        seed=seed,
        reserved=work.materials_on_sheets(except_hole_id=view.hole_id),
        issued=issued if sheet and seed == sheet.seed else (),
    )
    numbered = number_rows(work, view.stock, view.rules, view.hole_id, computed.rows, computed.pair, issued=issued)
    digest = plan_digest(view.core, view.stock, view.rules)
    if sheet is None:
        draft = Sheet(make_id(), view.hole_id, 0, seed, digest, numbered.rows, 0, edited_by, by_hand)
    else:
        draft = replace(sheet, rows=numbered.rows, seed=seed, hole_digest=digest, edited_by=edited_by, by_hand=by_hand)
    findings = checked_sheet(view, draft, controls=computed.controls, prepared=prepared or prepare(view))
    return draft, numbered.serials, findings


def seed_for(yard_seed: int, hole_id: str) -> int:
    """The recorded seed of a hole's control plan: from the yard's seed and the hole's name."""
    return int.from_bytes(hashlib.sha256(f"{yard_seed}:{hole_id}".encode()).digest()[:6])
