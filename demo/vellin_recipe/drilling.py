"""Runs, core losses and tray tags.

Measuring noise stays well inside the tolerances of the rules: a run measures at most 2 cm long or 4 cm short of what
was cored; a loss is either small (18 cm at most, nobody placed it) or 35 cm and more with a place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .shapes import LossRow, RockRow, RunRow, Site, TrayRow, chance

ROD_CM, SHORT_CM, STICK_UP_CM = 300, 150, 10
PER_M = {"intact": (1.0, 3.0), "blocky": (8.0, 13.0), "rubble": (22.0, 30.0), "clay": (12.0, 20.0)}
SOLID_SHARE = {"intact": 0.96, "blocky": 0.72, "rubble": 0.05, "clay": 0.15}


@dataclass(frozen=True, slots=True)
class MissedRod:
    """A rod drilled but not counted: the first block past `from_cm` goes 0.10 m deeper, the one past `corrected_cm` 5.90 m."""

    from_cm: int
    corrected_cm: int


def drilled(site: Site, rock: list[RockRow], missed: MissedRod | None) -> tuple[list[RunRow], list[LossRow]]:
    """The runs in block depths, and the losses that have a place."""
    rng = chance(site.hole_id, "runs")
    runs: list[RunRow] = []
    losses: list[LossRow] = []
    depth, after_loss = site.casing_cm, True
    stage = 0
    while depth < site.total_cm:
        size = "BQ" if site.bq_from_cm is not None and depth >= site.bq_from_cm else "NQ"
        advance = SHORT_CM if _weak_cm(rock, depth, depth + ROD_CM) >= 10 else ROD_CM
        stops = [site.total_cm] + ([site.bq_from_cm] if size == "NQ" and site.bq_from_cm else [])
        advance = min(advance, *(stop - depth for stop in stops))
        step, remark = 0, ""
        sound = advance == ROD_CM and _weak_cm(rock, depth - 2 * ROD_CM, depth + 2 * ROD_CM) == 0
        if missed and sound and stage == 0 and depth >= missed.from_cm:
            step, stage, advance, remark = ROD_CM, 1, STICK_UP_CM, "tube full, block as written by the driller"
        elif missed and sound and stage == 1 and depth >= missed.corrected_cm:
            step, stage, advance, remark = -ROD_CM, 2, 2 * ROD_CM - STICK_UP_CM, "bit change, rods counted"
        placed = _loss(rock, depth, depth + advance, rng) if step == 0 else None
        small = (2 if step else rng.randrange(0, 5)) if runs else 10
        if placed is None and not step and not after_loss and rng.random() < 0.10:
            small = -rng.randrange(1, 3)
        if placed and placed.position == "":
            small = placed.lost_cm
        elif placed:
            losses.append(placed)
            small = placed.lost_cm + rng.randrange(1, 4)
        recovered = advance + step - small
        rqd, solid, fractures = _soundness(rock, depth, depth + advance, recovered, rng)
        if step:
            rqd = solid = fractures = None
        runs.append(RunRow(len(runs) + 1, depth, depth + advance, recovered, size, rqd, solid, fractures, remark))
        depth, after_loss = depth + advance, placed is not None or not runs
    return runs, losses


def _weak_cm(rock: list[RockRow], top: int, bottom: int) -> int:
    return sum(max(0, min(row.to_cm, bottom) - max(row.from_cm, top)) for row in rock if row.weak)


def _loss(rock: list[RockRow], top: int, bottom: int, rng) -> LossRow | None:
    """A loss in the weak ground of a run. In sampled ground it ends where the fault ends, so no sliver is left over."""
    for row in rock:
        if row.rock != "FLT" or min(row.to_cm, bottom) - max(row.from_cm, top) <= 0:
            continue
        if row.grade_class != "barren":
            lost = min(rng.randrange(38, 64), row.to_cm - row.from_cm - 40)
            if row.to_cm - lost >= top and row.to_cm <= bottom:
                return LossRow(row.to_cm - lost, lost, "seen", "ground away at the foot of the fault")
            continue
        room = min(row.to_cm, bottom) - max(row.from_cm, top)
        if room >= 60 and rng.random() < 0.4:
            lost = rng.randrange(38, room - 10)
            return LossRow(max(row.from_cm, top) + 5, lost, rng.choice(("seen", "assumed")), "")
        return LossRow(0, rng.randrange(8, 16), "", "")
    return None


def _soundness(rock: list[RockRow], top: int, bottom: int, recovered: int, rng) -> tuple[int, int, int]:
    """Sound length, solid length and fractures of a run, from the state of the rock in it."""
    sound = solid = fractures = 0.0
    for row in rock:
        metres = (min(row.to_cm, bottom) - max(row.from_cm, top)) / 100
        if metres <= 0:
            continue
        per_m = rng.uniform(*PER_M[row.condition])
        fractures += metres * per_m
        solid += metres * SOLID_SHARE[row.condition] * rng.uniform(0.95, 1.0)
        if not row.weak:
            sound += metres * math.exp(-0.1 * per_m) * (0.1 * per_m + 1) * rng.uniform(0.93, 1.0)
    share = min(1.0, recovered / (bottom - top))
    solid_cm = min(int(100 * solid * share), recovered - 1)
    return min(int(100 * sound * share), solid_cm), solid_cm, round(fractures)


def tagged(site: Site, runs: list[RunRow]) -> list[TrayRow]:
    """Trays filled row by row; spacers stand for losses, so a row holds depth, or core where a run measures long."""
    rng = chance(site.hole_id, "trays")
    trays: list[TrayRow] = []
    spans = [("NQ", [run for run in runs if run.core_size == "NQ"], 5, site.row_length_cm)]
    if site.bq_from_cm:
        spans.append(("BQ", [run for run in runs if run.core_size == "BQ"], 6, site.row_length_cm))
    for _, span, rows, row_length in spans:
        laid_cm, end_cm = 0, sum(_laid(run) for run in span)
        while laid_cm < end_cm:
            start = laid_cm
            ends = []
            for _ in range(rows):
                laid_cm = min(end_cm, laid_cm + rng.randrange(row_length - 12, row_length - 1))
                ends.append(laid_cm)
            depths = [_depth_of(span, laid) for laid in ends]
            inner = tuple(depth for depth in depths[:-1] if depth < depths[-1])
            trays.append(TrayRow(len(trays) + 1, _depth_of(span, start), depths[-1], rows, row_length,
                                 inner if len(inner) == rows - 1 else ()))  # fmt: skip
    return trays


def _laid(run: RunRow) -> int:
    return max(run.advance_cm, run.recovered_cm)


def _depth_of(span: list[RunRow], laid_cm: int) -> int:
    """Depth of a place along the laid core; inside a long run the blocks at its ends decide."""
    for run in span:
        if laid_cm <= _laid(run):
            return run.from_cm + round(laid_cm * run.advance_cm / _laid(run))
        laid_cm -= _laid(run)
    return span[-1].to_cm
