"""The rock log: gaps, overlaps, logged ground without core, classes the rules do not know; densities unlike their rock."""

from __future__ import annotations

from trayside.core.rock_density import density_from_immersion
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import Density, HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import RockCode, Stock

STEP_MM = 5
"""Contacts are read to the centimetre; half of one is no gap."""


def check_rock(core: HoleCore, rules: Rules) -> list[Finding]:
    """Findings on the rock log of one hole."""
    return [*_steps(core), *_beyond_core(core), *_classes(core, rules)]


def _steps(core: HoleCore) -> list[Finding]:
    """Gaps and overlaps between logged intervals, and core above the first or below the last of them.

    Ground that was not cored needs no log.
    """
    if not core.rock and not core.runs:
        return []
    top, bottom = _cored(core)
    findings = []
    reached = min(top, core.rock[0].from_mm) if core.rock else top
    for rock in core.rock:
        gap_from, gap_to = max(reached, top), min(rock.from_mm, bottom)
        if gap_to - gap_from > STEP_MM:
            findings.append(_gap(core, gap_from, gap_to))
        elif reached - rock.from_mm > STEP_MM:
            findings.append(_overlap(core, rock.from_mm, min(reached, rock.to_mm)))
        reached = max(reached, rock.to_mm)
    if bottom - max(reached, top) > STEP_MM:
        findings.append(_gap(core, max(reached, top), bottom))
    return findings


def _cored(core: HoleCore) -> tuple[int, int]:
    """First and last cored depth; the log's own ends when there are no runs."""
    if not core.runs:
        return core.rock[0].from_mm, core.rock[-1].to_mm
    bottom = min(max(run.to_mm for run in core.runs), core.hole.total_depth_mm)
    return min(run.from_mm for run in core.runs), bottom


def _gap(core: HoleCore, from_mm: int, to_mm: int) -> Finding:
    return found(
        "rock.gap",
        f"Nothing is logged from {from_mm / 1000:.2f} to {to_mm / 1000:.2f} m",
        hole_id=core.hole.hole_id,
        from_mm=from_mm,
        to_mm=to_mm,
        evidence={"gap_m": (to_mm - from_mm) / 1000},
    )


def _overlap(core: HoleCore, from_mm: int, to_mm: int) -> Finding:
    return found(
        "rock.overlap",
        f"Two logged intervals share {from_mm / 1000:.2f}–{to_mm / 1000:.2f} m",
        hole_id=core.hole.hole_id,
        from_mm=from_mm,
        to_mm=to_mm,
        evidence={"overlap_m": (to_mm - from_mm) / 1000},
    )


def _beyond_core(core: HoleCore) -> list[Finding]:
    if not core.runs or not core.rock:
        return []
    bottom = max(max(run.to_mm for run in core.runs), core.hole.total_depth_mm)
    return [
        found(
            "rock.beyond_core",
            f"Logged to {rock.to_mm / 1000:.2f} m, but the core ends at {bottom / 1000:.2f} m",
            hole_id=core.hole.hole_id,
            from_mm=max(rock.from_mm, bottom),
            to_mm=rock.to_mm,
            evidence={"core_end_m": bottom / 1000, "logged_to_m": rock.to_mm / 1000},
        )
        for rock in core.rock
        if rock.to_mm - bottom > STEP_MM
    ]


def _classes(core: HoleCore, rules: Rules) -> list[Finding]:
    known = {grade_class.name for grade_class in rules.grade_classes}
    return [
        found(
            "rock.unknown_class",
            f"The grade class {rock.grade_class!r} is not in the rules",
            hole_id=core.hole.hole_id,
            from_mm=rock.from_mm,
            to_mm=rock.to_mm,
            evidence={"grade_class": rock.grade_class},
        )
        for rock in core.rock
        if rock.grade_class not in known
    ]


def check_codes(core: HoleCore, stock: Stock) -> list[Finding]:
    """Rock codes and core sizes the shared tables do not hold (any more): without them no mass can be said."""
    hole_id = core.hole.hole_id
    findings = [
        found(
            "rock.unknown_code",
            f"The rock {rock.rock!r} is not in the rock codes",
            hole_id=hole_id,
            from_mm=rock.from_mm,
            to_mm=rock.to_mm,
            evidence={"rock": rock.rock},
        )
        for rock in core.rock
        if rock.rock not in stock.rock_codes
    ]
    return findings + [
        found(
            "run.unknown_size",
            f"The core size {run.core_size!r} is not in the core sizes",
            hole_id=hole_id,
            run=run.run,
            from_mm=min(run.from_mm, run.to_mm),
            to_mm=max(run.from_mm, run.to_mm),
            evidence={"core_size": run.core_size},
        )
        for run in core.runs
        if run.core_size not in stock.core_sizes
    ]


def stick_density_t_m3(stick: Density) -> float | None:
    """Density of a stick: the given value, or from its two masses; None when neither is there."""
    if stick.density_t_m3 is not None:
        return stick.density_t_m3
    if stick.mass_dry_g is None or stick.mass_in_water_g is None or stick.mass_in_water_g >= stick.mass_dry_g:
        return None
    return float(density_from_immersion(mass_dry_g=stick.mass_dry_g, mass_in_water_g=stick.mass_in_water_g))


def stick_densities_t_m3(sticks: tuple[Density, ...]) -> list[float | None]:
    """`stick_density_t_m3` of many sticks, those with masses in one go."""
    weighed = [
        at
        for at, stick in enumerate(sticks)
        if stick.density_t_m3 is None
        and stick.mass_dry_g is not None
        and stick.mass_in_water_g is not None
        and stick.mass_in_water_g < stick.mass_dry_g
    ]
    densities = [stick.density_t_m3 for stick in sticks]
    if weighed:
        found_t_m3 = density_from_immersion(
            mass_dry_g=[sticks[at].mass_dry_g for at in weighed],
            mass_in_water_g=[sticks[at].mass_in_water_g for at in weighed],
        )
        for at, density in zip(weighed, found_t_m3.tolist(), strict=True):
            densities[at] = density
    return densities


def check_density(core: HoleCore, rules: Rules, rock_codes: dict[str, RockCode]) -> list[Finding]:
    """Findings on sticks whose density is unlike the rock they were taken from."""
    findings = []
    for stick, density in zip(core.densities, stick_densities_t_m3(core.densities), strict=True):
        middle = (stick.from_mm + stick.to_mm) // 2
        rock = next((rock for rock in core.rock if rock.from_mm <= middle < rock.to_mm), None)
        code = rock_codes.get(rock.rock) if rock else None
        if density is None or code is None or code.density_sd_t_m3 == 0:
            continue
        away = (density - code.density_t_m3) / code.density_sd_t_m3
        if abs(away) > rules.density.rock_sds:
            findings.append(
                found(
                    "density.outside_rock",
                    f"{density:.2f} t/m³ in {code.name or code.rock}, where {code.density_t_m3:.2f} is usual",
                    hole_id=core.hole.hole_id,
                    from_mm=stick.from_mm,
                    to_mm=stick.to_mm,
                    evidence={
                        "density_t_m3": round(density, 4),
                        "rock_density_t_m3": code.density_t_m3,
                        "sds": round(away, 2),
                    },
                )
            )
    return findings
