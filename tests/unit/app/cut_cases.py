"""Holes made for one question: which way to cut them."""

from __future__ import annotations

import numpy as np

from trayside.app.cut_register import CutLine, register_of
from trayside.app.hole_view import HoleView
from trayside.app.register_depth import register_hole
from trayside.model.cut_sheet import Sheet, SheetRow
from trayside.model.hole import Fabric, Hole, HoleCore, OrientationMark, Run, Survey, Tray
from trayside.model.rules import Rules
from trayside.model.stock import CoreSize, Stock

NQ_MM = 47.6


def cut_hole(
    *,
    veins: list[tuple[float, float, float]],
    length_m: float = 60.0,
    kind: str = "vein",
    thickness_mm: float | None = 20.0,
    marks: list[tuple[float, float]] | None = None,
    rules: Rules | None = None,
    lines: tuple[CutLine, ...] = (),
    samples: list[tuple[float, float]] | None = None,
    sizes: tuple[tuple[float, str], ...] = (),
    surveys: tuple[Survey, ...] = (),
) -> HoleView:
    """A hole with veins (depth, alpha, beta), marks (depth, angle from the line), trays of 5 m, runs of 3 m."""
    rules = rules or Rules()
    end_mm = round(length_m * 1000)
    runs = tuple(
        Run(at + 1, top, min(top + 3000, end_mm), min(3000, end_mm - top), _size_at(top, sizes))
        for at, top in enumerate(range(0, end_mm, 3000))
    )
    trays = tuple(Tray(at + 1, top, min(top + 5000, end_mm), 5, 1050) for at, top in enumerate(range(0, end_mm, 5000)))
    core = HoleCore(
        Hole("CH-1", None, 0.0, 0.0, 0.0, 90.0, -60.0, end_mm, f"{length_m}"),
        surveys=surveys,
        runs=runs,
        trays=trays,
        marks=tuple(OrientationMark(round(at * 1000), angle, "solid", "locked") for at, angle in marks or ()),
        fabric=tuple(
            Fabric(round(at * 1000), alpha, kind, beta % 360.0, thickness_mm) for at, alpha, beta in sorted(veins)
        ),
    )
    stock = Stock({"NQ": CoreSize("NQ", NQ_MM), "BQ": CoreSize("BQ", 36.5)}, {}, (), ())
    rows = tuple(
        SheetRow(at + 1, "sample", f"T{at + 1}", round(top * 1000), round(foot * 1000), core_size="NQ", method="saw",
                 portion="half", side="right")
        for at, (top, foot) in enumerate(samples or ())
    )  # fmt: skip
    sheet = Sheet("sheet-1", "CH-1", 1, 1, "", rows, 0, "", ()) if rows else None
    depth = register_hole(core, rules)
    return HoleView(core, stock, rules, depth, sheet, (), (), register_of(lines, rules))


def _size_at(top_mm: int, sizes: tuple[tuple[float, str], ...]) -> str:
    return next((size for from_m, size in reversed(sizes) if top_mm >= from_m * 1000), "NQ")


def scattered(count: int, *, beta_deg: float, spread_deg: float = 8.0, alpha_deg: float = 35.0, length_m: float = 60.0,
              seed: int = 3, from_m: float = 0.0) -> list[tuple[float, float, float]]:  # fmt: skip
    """Veins of one set, with places and betas by chance from a recorded seed."""
    chance = np.random.default_rng(seed)
    depths = np.sort(chance.uniform(from_m + 0.2, length_m - 0.2, count)).round(2)
    betas = chance.normal(beta_deg, spread_deg, count)
    return [(float(at), alpha_deg, float(beta)) for at, beta in zip(depths, betas, strict=True)]
