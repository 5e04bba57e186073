"""The planes that count when a hole is cut, and the core they lie in as a rod of radius one."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trayside.app.hole_view import HoleView
from trayside.app.orientation_view import GroundMeasure
from trayside.core.cut_plane import vein_weight
from trayside.core.refusals import Floats
from trayside.core.sample_cut import sample_imbalances


@dataclass(frozen=True, slots=True)
class Carriers:
    """The planes that count, in order of depth. Betas are from the drawn line and from the marks."""

    measures: tuple[GroundMeasure, ...]
    stand_in: bool
    depth_m: Floats
    alpha_deg: Floats
    drawn_beta_deg: Floats
    beta_deg: Floats
    thickness_mm: Floats
    centre_m: Floats
    weight: Floats
    grade: Floats
    along_axis: int

    def __len__(self) -> int:
        return len(self.measures)


def carriers_of(view: HoleView, measures: tuple[GroundMeasure, ...]) -> Carriers | None:
    told = view.rules.cut_plane
    read = [one for one in measures if one.beta_deg is not None and one.alpha_deg < 90.0]
    chosen = [one for one in read if one.plane.kind in told.carriers]
    stand_in = len(chosen) < told.fewest_veins
    if stand_in:
        layers = [one for one in read if one.plane.kind in told.fabric]
        stand_in = len(layers) > len(chosen)
        chosen = layers if stand_in else chosen
    usable = sorted((one for one in chosen if one.alpha_deg > 0.0), key=lambda one: one.plane.depth_mm)
    if not usable:
        return None
    alpha = np.array([one.alpha_deg for one in usable])
    drawn = np.array([one.beta_deg for one in usable])
    thickness = np.array([one.plane.thickness_mm or told.band_mm for one in usable])
    grade = np.array([told.carriers.get(one.plane.kind, 1.0) for one in usable])
    return Carriers(
        measures=tuple(usable),
        stand_in=stand_in,
        depth_m=np.array([one.plane.depth_mm for one in usable]) / 1000,
        alpha_deg=alpha,
        drawn_beta_deg=drawn,
        beta_deg=np.mod(drawn - np.array([one.turn_deg for one in usable]), 360.0),
        thickness_mm=thickness,
        centre_m=np.array([_centre_m(view, one) for one in usable]),
        weight=vein_weight(alpha_deg=alpha, thickness_mm=thickness, grade=grade),
        grade=grade,
        along_axis=len(chosen) - len(usable),
    )


def _centre_m(view: HoleView, measure: GroundMeasure) -> float:
    """Where the middle of a vein meets the axis: of a vein that was logged from this depth, the middle of its interval."""
    at_mm = measure.plane.depth_mm
    logged = next((rock for rock in view.core.rock if rock.vein and rock.from_mm == at_mm), None)
    return (at_mm if logged is None else 0.5 * (logged.from_mm + logged.to_mm)) / 1000


@dataclass(frozen=True, slots=True)
class Rod:
    """The core as a rod of radius one: depths divided by the radius of their core, so that sizes need not be told apart."""

    edge_m: Floats
    place: Floats
    radius_mm: Floats
    sample_from_m: Floats
    sample_to_m: Floats
    numbers: tuple[str, ...]
    planned: bool

    @property
    def top_mm(self) -> int:
        return round(self.edge_m[0] * 1000)

    @property
    def bottom_mm(self) -> int:
        return round(self.edge_m[-1] * 1000)

    @classmethod
    def of(cls, view: HoleView) -> Rod:
        runs = view.depth.runs
        edges, radii = [runs[0].from_mm / 1000], []
        for run in runs:
            size = view.stock.core_sizes.get(run.core_size)
            radius = 0.5 * (size.core_diameter_mm if size else usual_diameter(view))
            if radii and radii[-1] == radius:
                edges[-1] = run.to_mm / 1000
            else:
                radii.append(radius)
                edges.append(run.to_mm / 1000)
        edge, radius = np.array(edges), np.array(radii)
        place = np.concatenate(([0.0], np.cumsum(np.diff(edge) * 1000 / radius)))
        rows = [row for row in view.sheet.rows if row.kind == "sample"] if view.sheet else []
        if rows:
            ends = [(row.from_mm / 1000, row.to_mm / 1000) for row in rows]
            numbers = tuple(row.number for row in rows)
        else:
            step = view.rules.sampling.nominal_m
            tops = np.arange(edge[0], edge[-1], step)
            ends = [(top, min(top + step, edge[-1])) for top in tops.tolist()]
            ends = [end for end in ends if end[1] > end[0]]
            numbers = ()
        order = sorted(range(len(ends)), key=lambda at: ends[at])
        kept: list[int] = []
        for at in order:
            if not kept or ends[at][0] >= ends[kept[-1]][1]:
                kept.append(at)
        top, bottom = np.array([ends[at] for at in kept]).T
        return cls(edge, place, radius, top, bottom, tuple(numbers[at] for at in kept) if numbers else (), bool(rows))

    def at(self, depth_m: Floats) -> Floats:
        """Places on the rod; straight on outside the core."""
        depth = np.asarray(depth_m, dtype=np.float64)
        inside = np.interp(depth, self.edge_m, self.place)
        above = np.minimum(depth - self.edge_m[0], 0.0) * 1000 / self.radius_mm[0]
        below = np.maximum(depth - self.edge_m[-1], 0.0) * 1000 / self.radius_mm[-1]
        return inside + above + below

    def radius_at(self, depth_m: Floats) -> Floats:
        step = np.clip(np.searchsorted(self.edge_m, depth_m, side="right") - 1, 0, self.radius_mm.size - 1)
        return self.radius_mm[step]


def usual_diameter(view: HoleView) -> float:
    """A size nobody gave a diameter is a finding of its own; meanwhile any other of the hole stands in."""
    known = [view.stock.core_sizes[run.core_size].core_diameter_mm for run in view.depth.runs
             if run.core_size in view.stock.core_sizes]  # fmt: skip
    return known[0] if known else 47.6


def laid_on(rod: Rod, carriers: Carriers, beta_deg: Floats, inside: Floats | None = None) -> dict:
    """Veins and samples on the rod of radius one."""
    pick = np.ones(len(carriers), dtype=bool) if inside is None else inside
    return dict(
        radius_mm=1.0,
        alpha_deg=carriers.alpha_deg[pick],
        beta_deg=beta_deg[pick],
        thickness_mm=(carriers.thickness_mm / rod.radius_at(carriers.centre_m))[pick],
        centre_mm=rod.at(carriers.centre_m)[pick],
        sample_from_mm=rod.at(rod.sample_from_m),
        sample_to_mm=rod.at(rod.sample_to_m),
        grade=carriers.grade[pick],
    )


def imbalances(rod: Rod, carriers: Carriers, cut_deg: Floats, *, drawn: bool = False) -> Floats:
    """Imbalance of every sample when each vein's core is cut at its own angle, from the marks or from the drawn line."""
    beta = (carriers.drawn_beta_deg if drawn else carriers.beta_deg) - cut_deg
    return sample_imbalances(**laid_on(rod, carriers, beta), cut_deg=[0.0]).imbalance[0]


def rms(imbalance: Floats) -> float | None:
    held = imbalance[~np.isnan(imbalance)]
    return float(np.sqrt(np.mean(held * held))) if held.size else None


def curve_over(rod: Rod, carriers: Carriers, angles_deg: Floats) -> Floats:
    """Root mean square imbalance over all angles from the marks."""
    every = sample_imbalances(**laid_on(rod, carriers, carriers.beta_deg), cut_deg=angles_deg).imbalance
    held = ~np.isnan(every[0])
    return np.sqrt(np.mean(every[:, held] ** 2, axis=1)) if held.any() else np.full(angles_deg.shape, np.nan)
