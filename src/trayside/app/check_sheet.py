"""Check a cut sheet against its hole: intervals, shoulders, controls, and what the layout of controls would miss."""

from __future__ import annotations

import numpy as np

from trayside.app.hole_view import HoleView
from trayside.app.sampling_ground import SamplingGround
from trayside.app.saw_cuts import saw_need
from trayside.core.interval_ground import frame_of, rule_steps
from trayside.core.intervals import IntervalFault, IntervalProblem, check_intervals
from trayside.core.qc_power import pattern_is_guessable, slip_run_length, swap_share
from trayside.core.qc_rules import ControlPlan
from trayside.core.sample_numbers import TicketRange, overlapping_ranges
from trayside.core.stretches import LIMIT
from trayside.core.units import whole_mm
from trayside.model.cut_sheet import Sheet, SheetRow
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.saw import BROKEN
from trayside.model.stock import TicketBook

STALE = "plan.stale"
FAULT_CODES = {
    IntervalFault.OVERLAP: "plan.overlap",
    IntervalFault.GAP: "plan.gap",
    IntervalFault.CROSSES_HARD_CONTACT: "plan.crosses_contact",
    IntervalFault.CROSSES_CORE_LOSS: "plan.crosses_loss",
    IntervalFault.CROSSES_CORE_SIZE: "plan.crosses_core_size",
    IntervalFault.TOO_SHORT: "plan.too_short",
    IntervalFault.TOO_LONG: "plan.too_long",
    IntervalFault.BAG_OVER_TIER: "plan.bag_heavy",
    IntervalFault.BAG_TOO_LIGHT: "plan.bag_light",
    IntervalFault.UNSAMPLED_GROUND: "plan.outside_ground",
    IntervalFault.VEIN_NOT_ISOLATED: "plan.vein_not_isolated",
}
GROUND_NOTES = {
    "vein widened": "plan.vein_widened",
    "vein below minimum length": "plan.unmet",
    "veins joined": "plan.unmet",
    "vein outside sampled core": "plan.unmet",
    "no core in stretch": "plan.unmet",
}


def checked_sheet(
    view: HoleView, sheet: Sheet, *, controls: ControlPlan, prepared: SamplingGround | None
) -> tuple[Finding, ...]:
    """Every finding on a plan before it is saved. `prepared` is None when nothing of the hole is to be sampled."""
    samples = [row for row in sheet.rows if row.kind == "sample"]
    findings: list[Finding] = []
    if prepared is not None:
        findings += _interval_findings(view, samples, prepared)
        findings += _ground_findings(view, prepared)
    else:
        findings += _outside_all_ground(view.hole_id, samples)
    findings += _recovery_findings(view, samples)
    findings += _broken_on_automatic(view, samples)
    findings += _control_findings(view.hole_id, sheet, controls)
    return tuple(findings)


def _broken_on_automatic(view: HoleView, samples: list[SheetRow]) -> list[Finding]:
    """Broken core whose method asks for an automatic carriage: the rules say so, so they are to be changed."""
    return [
        found(
            "plan.broken_on_automatic",
            f"{row.condition} core is planned for {row.method}",
            hole_id=view.hole_id,
            number=row.number or None,
            from_mm=row.from_mm,
            to_mm=row.to_mm,
            evidence={"condition": row.condition, "method": row.method},
        )
        for row in samples
        if row.condition in BROKEN and saw_need(row, view.rules) == "automatic"
    ]


def sheet_findings(view: HoleView) -> tuple[Finding, ...]:
    """What stands against issuing the stored sheet now: the stored findings, whether it rests on older input, and
    ticket books that print its numbers twice."""
    stored = tuple(finding for finding in view.findings if finding.code != STALE)
    stale = (stale_finding(view.hole_id),) if view.stale else ()
    books = [book for book in view.stock.tickets if book.hole_id in (None, view.hole_id)]
    shared = tuple(
        finding
        for finding in range_findings(view.stock.tickets)
        if {finding.evidence["first"], finding.evidence["second"]} & {book.book for book in books}
    )
    return (*stale, *shared, *_other_side(view), *stored)


def _other_side(view: HoleView) -> tuple[Finding, ...]:
    """Samples whose half is not the one the cut-line register bags there."""
    return tuple(
        found(
            "plan.other_side",
            f"The sheet bags the {row.side} half, the cut-line register the {line.side} half",
            hole_id=view.hole_id,
            number=row.number or None,
            from_mm=row.from_mm,
            to_mm=row.to_mm,
            evidence={"sheet": row.side, "register": line.side, "set_by": line.person},
        )
        for row in (view.sheet.rows if view.sheet else ())
        if row.kind == "sample"
        and row.side
        and (line := view.cut_register.at(0.5 * (row.from_mm + row.to_mm))).side != row.side
    )


def stale_finding(hole_id: str) -> Finding:
    """The finding on a plan that was computed from something else than what is loaded now."""
    return found(STALE, "The hole or the rules were loaded again after this plan was made", hole_id=hole_id)


def range_findings(tickets: tuple[TicketBook, ...]) -> list[Finding]:
    """Ticket books that share numbers."""
    ranges = tuple(
        TicketRange(book.prefix, book.first, book.last, book.digits, book.hole_id, book.voids) for book in tickets
    )
    return [
        found(
            "number.range_overlap",
            f"Books {tickets[overlap.first_range].book} and {tickets[overlap.second_range].book} share "
            f"{overlap.shared} numbers, {overlap.example} among them",
            evidence={
                "shared": overlap.shared,
                "example": overlap.example,
                "first": tickets[overlap.first_range].book,
                "second": tickets[overlap.second_range].book,
            },
        )
        for overlap in overlapping_ranges(ranges=ranges)
    ]


def _outside_all_ground(hole_id: str, samples: list[SheetRow]) -> list[Finding]:
    return [
        found(
            "plan.outside_ground",
            f"Sample {row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m stands where nothing is to be sampled",
            hole_id=hole_id,
            number=row.number,
            from_mm=row.from_mm,
            to_mm=row.to_mm,
        )
        for row in samples
    ]


def _never_sampled(view: HoleView, problem: IntervalProblem) -> bool:
    """Whether the ground a sample reaches into is logged as never to be sampled."""
    return any(
        rock.sampling == "never" and rock.from_mm / 1000 < problem.to_m and rock.to_mm / 1000 > problem.from_m
        for rock in view.core.rock
    )


def _interval_findings(view: HoleView, samples: list[SheetRow], prepared: SamplingGround) -> list[Finding]:
    findings, hole_id = [], view.hole_id
    for problem in check_intervals(
        from_m=np.array([row.from_mm for row in samples]) / 1000,
        to_m=np.array([row.to_mm for row in samples]) / 1000,
        ground=prepared.ground,
        rules=prepared.rules,
    ):
        code = FAULT_CODES[problem.code]
        if problem.code is IntervalFault.UNSAMPLED_GROUND and _never_sampled(view, problem):
            code = "plan.never_sampled"
        row = samples[problem.row] if problem.row >= 0 else None
        evidence = {
            name: round(float(value), 4)
            for name in ("found_m", "limit_m", "found_kg", "limit_kg")
            if (value := getattr(problem, name)) is not None
        }
        findings.append(
            found(
                code,
                _words(problem, row),
                hole_id=hole_id,
                number=row.number if row else None,
                from_mm=int(whole_mm(depth_m=problem.from_m)),
                to_mm=int(whole_mm(depth_m=problem.to_m)),
                evidence=evidence,
            )
        )
    return findings


def _words(problem, row: SheetRow | None) -> str:
    who = f"Sample {row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m" if row else "No sample"
    at = f"{problem.from_m:.2f} m"
    between = f"{problem.from_m:.2f}–{problem.to_m:.2f} m"
    match problem.code:
        case IntervalFault.TOO_SHORT | IntervalFault.TOO_LONG:
            return f"{who} is {problem.found_m:.2f} m long, the limit is {problem.limit_m:.2f} m"
        case IntervalFault.BAG_OVER_TIER | IntervalFault.BAG_TOO_LIGHT:
            return f"{who} should weigh {problem.found_kg:.2f} kg, the limit is {problem.limit_kg:.2f} kg"
        case IntervalFault.CROSSES_HARD_CONTACT:
            return f"{who} crosses the hard contact at {at}"
        case IntervalFault.CROSSES_CORE_SIZE:
            return f"{who} crosses the change of core size at {at}"
        case IntervalFault.CROSSES_CORE_LOSS:
            return f"{who} crosses the core loss {between}"
        case IntervalFault.GAP:
            return f"Nothing is planned for {between}, which is to be sampled"
        case IntervalFault.OVERLAP:
            return f"{who} shares {between} with another sample"
        case IntervalFault.UNSAMPLED_GROUND:
            return f"{who} reaches into {between}, which is not to be sampled"
        case IntervalFault.VEIN_NOT_ISOLATED:
            return f"{who} mixes the vein {between} with its walls"


def _ground_findings(view: HoleView, prepared: SamplingGround) -> list[Finding]:
    findings = []
    for unmet in frame_of(prepared.ground, prepared.rules, rule_steps(prepared.rules)).unmet:
        numbers = {name: getattr(unmet, name) for name in ("found_m", "limit_m") if getattr(unmet, name) is not None}
        said = f"{unmet.code[0].upper()}{unmet.code[1:]} at {unmet.from_m:.2f}–{unmet.to_m:.2f} m"
        findings.append(
            found(
                GROUND_NOTES.get(unmet.code, "plan.unmet"),
                said,
                hole_id=view.hole_id,
                from_mm=int(whole_mm(depth_m=unmet.from_m)),
                to_mm=int(whole_mm(depth_m=unmet.to_m)),
                evidence={name: round(value, 4) for name, value in numbers.items()},
            )
        )
    stretches, wanted = prepared.stretches, view.rules.sampling.shoulder_m
    for index in range(len(stretches.from_m)):
        for end, at_m, short, why in (
            ("above", stretches.from_m[index], stretches.shortfall_top_m[index], stretches.top_reason[index]),
            ("below", stretches.to_m[index], stretches.shortfall_bottom_m[index], stretches.bottom_reason[index]),
        ):
            if short > view.rules.sampling.shoulder_m_tolerance:
                at_mm = int(whole_mm(depth_m=at_m))
                findings.append(
                    found(
                        "plan.shoulder_at_end" if why == LIMIT else "plan.shoulder_short",
                        f"The shoulder {end} ends at {at_m:.2f} m ({why}), {short:.2f} m short of {wanted:g} m",
                        hole_id=view.hole_id,
                        from_mm=at_mm,
                        to_mm=at_mm,
                        evidence={"short_m": round(float(short), 3), "wanted_m": wanted, "why": str(why)},
                    )
                )
    for index in range(len(stretches.refused_from_m)):
        top, bottom = stretches.refused_from_m[index], stretches.refused_to_m[index]
        findings.append(
            found(
                "plan.unmet",
                f"{top:.2f}–{bottom:.2f} m is to be sampled but {stretches.refused_reason[index]}",
                hole_id=view.hole_id,
                from_mm=int(whole_mm(depth_m=top)),
                to_mm=int(whole_mm(depth_m=bottom)),
            )
        )
    return findings


def _recovery_findings(view: HoleView, samples: list[SheetRow]) -> list[Finding]:
    findings = []
    top_mm = min((run.from_mm for run in view.depth.runs), default=0)
    bottom_mm = max((run.to_mm for run in view.depth.runs), default=0)
    for row in samples:
        share = row.recovered_mm / (row.to_mm - row.from_mm)
        if row.recovered_mm == 0 or row.from_mm < top_mm or row.to_mm > bottom_mm:
            findings.append(
                found(
                    "plan.no_core",
                    f"Sample {row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m reaches where there is no core",
                    hole_id=view.hole_id,
                    number=row.number,
                    from_mm=row.from_mm,
                    to_mm=row.to_mm,
                    evidence={"core_from_m": top_mm / 1000, "core_to_m": bottom_mm / 1000, "recovery": round(share, 4)},
                )
            )
            continue
        if share < view.rules.sampling.low_recovery:
            findings.append(
                found(
                    "plan.low_recovery",
                    f"Sample {row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m holds {100 * share:.0f} % of its length in core",
                    hole_id=view.hole_id,
                    number=row.number,
                    from_mm=row.from_mm,
                    to_mm=row.to_mm,
                    evidence={"recovery": round(share, 4)},
                )
            )
    return findings


def _control_findings(hole_id: str, sheet: Sheet, controls: ControlPlan) -> list[Finding]:
    findings = [
        found(
            "control.shortfall",
            shortfall.words.rstrip("."),
            hole_id=hole_id,
            evidence={"rule": shortfall.rule, "wanted": shortfall.wanted, "placed": shortfall.placed},
        )
        for shortfall in controls.shortfalls
    ]
    is_control = controls.is_control
    if not is_control.any():
        return findings
    guess = pattern_is_guessable(is_control=is_control, seed=sheet.seed)
    if guess.guessable:
        findings.append(
            found(
                "control.guessable",
                "; ".join(guess.why).rstrip("."),
                hole_id=hole_id,
                evidence={"controls": guess.controls},
            )
        )
    # A duplicate is known only through its sample: it proves neither a swap with that sample nor a slip of both.
    known = controls.is_kind("standard") | controls.is_kind("blank")
    if not known.any():
        return findings
    paired = {row.sample_index for row in controls.rows if row.kind == "duplicate"}
    pair = np.array([row.sample_index if row.sample_index in paired else -1 for row in controls.rows])
    swaps, slip = swap_share(is_control=known, pair=pair), slip_run_length(is_control=known)
    parted = (
        f"; another {100 * swaps.parting_share:.0f} % part a duplicate from its sample and show only where the samples differ"
        if swaps.parting
        else ""
    )
    findings.append(
        found(
            "control.power",
            f"Of all swaps of two neighbouring bags, {100 * swaps.share:.0f} % touch a standard or blank{parted}. "
            f"A one-number slip passes {slip.mean:.1f} bags on average (9 in 10 times at most {slip.p90:.0f}) before a "
            "standard or blank can show it",
            hole_id=hole_id,
            evidence={
                "swap_share": round(swaps.share, 4),
                "parted_pair_share": round(swaps.parting_share, 4),
                "slip_run_mean": round(slip.mean, 2),
                "slip_run_p90": round(float(slip.p90), 1),
            },
        )
    )
    return findings
