"""Where a depth of a hole lies: on core, in a lost stretch, or where the hole has none."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trayside.app.hole_view import HoleView
from trayside.model.cut_sheet import Place, SheetRow

What = Literal["core", "loss", "above", "below", "no core"]


@dataclass(frozen=True, slots=True)
class FoundDepth:
    """What is at a depth. `place` is None where no tray holds it; `lost_from_mm` and `lost_to_mm` bound a loss."""

    depth_mm: int
    what: What
    place: Place | None
    run: int | None
    sample: SheetRow | None = None
    lost_from_mm: int | None = None
    lost_to_mm: int | None = None


def find_depth(view: HoleView, depth_mm: int) -> FoundDepth:
    """The place of one depth; every depth gets an answer, also one outside the hole."""
    depth_m, depth = depth_mm / 1000, view.depth
    place = depth.places_at([depth_m])[0] if depth.trays else None
    owner = int(depth.registration.run_at(depth_m=depth_m))
    run = depth.runs[owner].run if owner >= 0 else None
    sample = _sample_at(view, depth_mm)
    lost = depth.registration.lost_stretches()
    for top, bottom in zip(lost.from_m.tolist(), lost.to_m.tolist(), strict=True):
        if top < depth_m < bottom:
            return FoundDepth(depth_mm, "loss", place, run, sample, round(top * 1000), round(bottom * 1000))
    if owner >= 0 or place is not None:
        return FoundDepth(depth_mm, "core", place, run, sample)
    if depth.runs and depth_mm < depth.runs[0].from_mm:
        return FoundDepth(depth_mm, "above", None, None)
    if depth.runs and depth_mm > max(run.to_mm for run in depth.runs):
        return FoundDepth(depth_mm, "below", None, None)
    return FoundDepth(depth_mm, "no core", None, None)


def _sample_at(view: HoleView, depth_mm: int) -> SheetRow | None:
    rows = view.sheet.rows if view.sheet else ()
    return next((row for row in rows if row.kind == "sample" and row.from_mm <= depth_mm < row.to_mm), None)
