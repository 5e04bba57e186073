"""Trays: numbers used twice or missing, tags that run uphole, gaps, overlaps, core without a tray."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore, Tray
from trayside.model.rules import Rules


def check_trays(core: HoleCore, rules: Rules) -> list[Finding]:
    """Findings on the tray tags of one hole. Trays stand in the order of their numbers, doubled ones as loaded."""
    hole_id = core.hole.hole_id
    tolerance_mm = round(rules.trays.tag_tolerance_m * 1000)
    return [
        *_numbers(hole_id, core.trays),
        *_reversed(hole_id, core.trays),
        *_steps(hole_id, core.trays, tolerance_mm),
        *_core_without_tray(core, tolerance_mm),
    ]


def _numbers(hole_id: str, trays: tuple[Tray, ...]) -> list[Finding]:
    counts = Counter(tray.tray for tray in trays)
    doubled = {number for number, count in counts.items() if count > 1}
    findings = [
        found(
            "tray.doubled",
            f"Tray number {number} stands on {counts[number]} trays",
            hole_id=hole_id,
            tray=number,
            from_mm=min(tray.from_mm for tray in trays if tray.tray == number),
            to_mm=max(tray.to_mm for tray in trays if tray.tray == number),
            evidence={"trays": counts[number]},
        )
        for number in sorted(doubled)
    ]
    for above, below in pairwise([0, *sorted(counts)]):
        first, last = above + 1, below - 1
        if first > last or (first == last and {above, below} & doubled):
            continue  # none is missing, or the doubled number is this one, written wrong
        depth = max((tray.to_mm for tray in trays if tray.tray == above), default=0)
        findings.append(
            found(
                "tray.number_missing",
                f"There is no tray {first}" if first == last else f"There are no trays {first} to {last}",
                hole_id=hole_id,
                tray=first,
                from_mm=depth,
                to_mm=depth,
                evidence={"missing": last - first + 1},
            )
        )
    return findings


def _reversed(hole_id: str, trays: tuple[Tray, ...]) -> list[Finding]:
    return [
        found(
            "tray.reversed",
            f"The tag of tray {tray.tray} runs from {tray.from_mm / 1000:.2f} to {tray.to_mm / 1000:.2f} m",
            hole_id=hole_id,
            tray=tray.tray,
            from_mm=min(tray.from_mm, tray.to_mm),
            to_mm=max(tray.from_mm, tray.to_mm),
            evidence={"from_m": tray.from_mm / 1000, "to_m": tray.to_mm / 1000},
        )
        for tray in trays
        if tray.to_mm <= tray.from_mm
    ]


def _steps(hole_id: str, trays: tuple[Tray, ...], tolerance_mm: int) -> list[Finding]:
    findings = []
    for above, below in pairwise(trays):
        end, start = max(above.from_mm, above.to_mm), min(below.from_mm, below.to_mm)
        step = start - end
        if step > tolerance_mm:
            findings.append(
                found(
                    "tray.gap",
                    f"{step / 1000:.2f} m between the end of tray {above.tray} and the start of tray {below.tray}",
                    hole_id=hole_id,
                    tray=below.tray,
                    from_mm=end,
                    to_mm=start,
                    evidence={"gap_m": step / 1000},
                )
            )
        elif step < -tolerance_mm:
            findings.append(
                found(
                    "tray.overlap",
                    f"Tray {below.tray} starts {-step / 1000:.2f} m above the end of tray {above.tray}",
                    hole_id=hole_id,
                    tray=below.tray,
                    from_mm=start,
                    to_mm=end,
                    evidence={"overlap_m": -step / 1000},
                )
            )
    return findings


def _core_without_tray(core: HoleCore, tolerance_mm: int) -> list[Finding]:
    if not core.runs:
        return []
    top = min(run.from_mm for run in core.runs)
    bottom = min(max(run.to_mm for run in core.runs), core.hole.total_depth_mm)
    if core.trays:
        first = min(min(tray.from_mm, tray.to_mm) for tray in core.trays)
        last = max(max(tray.from_mm, tray.to_mm) for tray in core.trays)
        bare = [(top, first), (last, bottom)]
    else:
        bare = [(top, bottom)]
    return [
        found(
            "tray.short_of_core",
            f"No tray holds {from_mm / 1000:.2f}–{to_mm / 1000:.2f} m",
            hole_id=core.hole.hole_id,
            from_mm=from_mm,
            to_mm=to_mm,
            evidence={"length_m": (to_mm - from_mm) / 1000},
        )
        for from_mm, to_mm in bare
        if to_mm - from_mm > tolerance_mm
    ]
