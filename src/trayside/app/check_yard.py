"""Run every check on holes and on what the yard shares, and store the findings."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from trayside.app.check_sheet import STALE, range_findings, stale_finding
from trayside.app.hole_view import plan_digest
from trayside.app.plan_findings import is_sheet_finding
from trayside.app.ports import Progress, StartWork, Work
from trayside.app.register_depth import register_hole
from trayside.app.yard_rules import rules_of
from trayside.core.look_alikes import look_alikes
from trayside.model.checks.orientation import check_orientation
from trayside.model.checks.orientation_quality import check_orientation_quality
from trayside.model.checks.rock import check_codes, check_density, check_rock
from trayside.model.checks.runs import check_runs
from trayside.model.checks.trays import check_trays
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import Stock


def check_all(
    *, start_work: StartWork, hole_ids: tuple[str, ...] | None = None, progress: Progress = lambda a, b, c: None
):
    """Check the given holes (all when none are named) and the yard; returns every finding as stored."""
    with start_work() as work:
        wanted = hole_ids if hole_ids is not None else work.hole_ids()
        check_yard(work, hole_ids=wanted, progress=progress)
        findings = work.findings()
        work.commit()
    asked = {None, *wanted}
    return tuple(finding for finding in findings if finding.hole_id in asked)


def check_yard(
    work: Work,
    *,
    hole_ids: Iterable[str],
    unplanned: Collection[str] = (),
    progress: Progress = lambda a, b, c: None,
) -> tuple[Finding, ...]:
    """Check holes and yard inside a transaction the caller commits.

    Findings on plans are kept as they are, but a plan made from something else than what is loaded now is said to be
    old. `unplanned` names holes that are known to have no plan yet.
    """
    rules, stock = rules_of(work), work.stock()
    wanted = tuple(hole_ids)
    everything: list[Finding] = []
    for done, core in enumerate(work.hole_cores(wanted)):
        progress(done, len(wanted), core.hole.hole_id)
        findings = hole_findings(core, stock, rules)
        kept = [] if core.hole.hole_id in unplanned else _plan_findings(work, core, stock, rules)
        work.replace_findings(core.hole.hole_id, [*findings, *kept])
        everything += findings
    shared = yard_findings(work.hole_ids(), stock, rules, work.materials_on_sheets(except_hole_id=None))
    work.replace_findings(None, shared)
    return (*shared, *everything)


def _plan_findings(work: Work, core: HoleCore, stock: Stock, rules: Rules) -> list[Finding]:
    hole_id = core.hole.hole_id
    sheet = work.sheet(hole_id)
    if sheet is None:
        return []
    stale = [] if sheet.hole_digest == plan_digest(core, stock, rules) else [stale_finding(hole_id)]
    kept = [finding for finding in work.findings(hole_id) if is_sheet_finding(finding) and finding.code != STALE]
    return [*stale, *kept]


def hole_findings(core: HoleCore, stock: Stock, rules: Rules) -> list[Finding]:
    """Every finding on what was loaded for one hole."""
    return [
        *check_runs(core, rules),
        *check_trays(core, rules),
        *_overfull(core, rules),
        *check_rock(core, rules),
        *check_codes(core, stock),
        *check_orientation(core, rules),
        *check_orientation_quality(core, rules),
        *check_density(core, rules, stock.rock_codes),
    ]


def _overfull(core: HoleCore, rules: Rules) -> list[Finding]:
    if not core.trays or not core.runs:
        return []
    depth = register_hole(core, rules)
    return [
        found(
            "tray.overfull",
            f"Tray {tray.tray} is tagged for {over:.2f} m more than its rows hold",
            hole_id=core.hole.hole_id,
            tray=tray.tray,
            from_mm=tray.from_mm,
            to_mm=tray.to_mm,
            evidence={"over_m": round(over, 3), "laid_m": round(laid, 3)},
        )
        for tray, over, laid in zip(
            depth.trays, depth.tray_map.overfull_m.tolist(), depth.tray_map.laid_m.tolist(), strict=True
        )
        if round(over, 6) > rules.trays.overfull_tolerance_m
    ]


def yard_findings(hole_ids: tuple[str, ...], stock: Stock, rules: Rules, on_sheets: dict[str, int]) -> list[Finding]:
    """Findings on what the holes share: ticket ranges, names that look alike, stock."""
    findings = range_findings(stock.tickets)
    findings += [
        found(
            "number.look_alike",
            f"{alike.first} and {alike.second}: {alike.why}",
            evidence={"first": alike.first, "second": alike.second},
        )
        for alike in look_alikes(names=hole_ids)
        if alike.kind != "neighbours exchanged"  # holes are numbered in a row: 12 and 21 are both there by rights
    ]
    for material in stock.materials:
        left = material.in_stock - on_sheets.get(material.material, 0)
        if left < rules.controls.low_stock:
            findings.append(
                found(
                    "stock.low",
                    f"{material.material} ({material.kind}): {left} left of {material.in_stock}",
                    evidence={"material": material.material, "left": left, "in_stock": material.in_stock},
                )
            )
    return findings
