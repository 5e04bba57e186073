"""Which way to cut a hole: the plane that shares its veins fairly, for the hole, its domains, trays and samples.

Two frames are kept apart. The marks say where the bottom of the hole is; the drawn line is what the person at the saw
sees. Planes are found in the frame of the marks, where the rock keeps its direction although the line was drawn askew.
Orders are given from the drawn line: best plane plus how far the marks lie from that line there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from trayside.app.cut_rod import Carriers, Rod, carriers_of, curve_over, imbalances, laid_on, rms, usual_diameter
from trayside.app.cut_words import edge_deg
from trayside.app.hole_view import HoleView
from trayside.app.orientation_view import LineTurn, convention_of, view_orientation
from trayside.app.plan_samples import seed_for
from trayside.core.cut_domains import cut_domains
from trayside.core.cut_plane import (
    CutVerdict,
    absolute_cut,
    cost_curve,
    cut_verdict,
    free_turn_deg,
    squares_cut,
)
from trayside.core.oriented_core import AngleConvention
from trayside.core.refusals import Floats
from trayside.core.sample_cut import sample_imbalances

CURVE_DEG = np.arange(0.0, 181.0, 5.0)
LINE_WILL_DO, TURN = "the line will do", "turn the core"


@dataclass(frozen=True, slots=True)
class PlaneAdvice:
    """The best plane of one stretch, from the marks, and what other planes cost there.

    Costs are root mean square imbalances of the samples: how far the halves lie from their mean. `line_imbalance` is what
    following the drawn line costs, `worst_imbalance` the plane square to the best one. `turn_from_deg` to `turn_to_deg` is
    the range of angles from the drawn line at which the best plane lies over the stretch.
    """

    from_mm: int
    to_mm: int
    cut_deg: float | None
    absolute_deg: float | None
    alignment: float
    chance: float
    free_deg: float
    best_imbalance: float | None
    line_imbalance: float | None
    worst_imbalance: float | None
    verdict: CutVerdict | None
    case: str
    vein_count: int
    turn_from_deg: float | None = None
    turn_to_deg: float | None = None

    @property
    def matters(self) -> bool:
        return self.case in (LINE_WILL_DO, TURN)


@dataclass(frozen=True, slots=True)
class TrayAdvice:
    """One tray or a part of it in one domain: where the cut line goes at its top and bottom, from the drawn line.

    Angles are those of the cut line's end that keeps the orientation line on the kept half; 0 where the line will do.
    `own_deg` is the best plane of the tray's own veins from the drawn line, None with none.
    """

    tray: int | None
    from_mm: int
    to_mm: int
    core_diameter_mm: float
    domain: int
    start_deg: float
    end_deg: float
    case: str
    vein_count: int
    own_deg: float | None


@dataclass(frozen=True, slots=True)
class SampleAdvice:
    """One sample: its veins, and how unlike its halves would be at the advised plane, along the line, and as set."""

    number: str
    from_mm: int
    to_mm: int
    vein_count: int
    own_deg: float | None
    best_imbalance: float | None
    line_imbalance: float | None
    set_imbalance: float | None


@dataclass(frozen=True, slots=True)
class CutAdvice:
    """All of it for one hole. `why_none` says why nothing can be advised; then the other parts are empty."""

    hole_id: str
    carriers: Carriers | None
    hole: PlaneAdvice | None
    domains: tuple[PlaneAdvice, ...]
    break_chance: tuple[float, ...]
    trays: tuple[TrayAdvice, ...]
    samples: tuple[SampleAdvice, ...]
    curve_deg: Floats
    curve_imbalance: Floats
    squares_share: Floats
    absolute_share: Floats
    set_imbalance: float | None
    turn: LineTurn
    convention: AngleConvention
    bag_side: str
    from_plan: bool
    why_none: str = ""

    @property
    def matters(self) -> bool:
        return any(domain.matters for domain in self.domains)

    @property
    def line_turns_deg(self) -> float:
        """By how much the drawn line turns against the marks over the hole."""
        turns = self.turn.turn_deg
        return float(turns.max() - turns.min()) if turns.size else 0.0


def cut_advice(view: HoleView) -> CutAdvice:
    """The advice for one hole, from its fabric, its marks, and its plan where it has one."""
    oriented = view_orientation(view.core, view.rules)
    carriers = carriers_of(view, oriented.measures)
    basis = dict(hole_id=view.hole_id, turn=oriented.turn, convention=convention_of(view.rules),
                 bag_side=view.rules.cut.bag_side)  # fmt: skip
    if not view.depth.runs:
        return _nothing("no run tells where the core is", **basis)
    if carriers is None:
        return _nothing("beta was read on no vein and on no layer", **basis)
    rod = Rod.of(view)
    domains, chances = _domains(view, carriers, rod, oriented.turn)
    best = _at_domains(carriers, domains)
    measured = imbalances(rod, carriers, best)
    along = imbalances(rod, carriers, np.zeros(len(carriers)), drawn=True)
    as_set = imbalances(rod, carriers, _angles_set(view, carriers), drawn=True)
    hole = _plane(view, carriers, rod, oriented.turn, rod.top_mm, rod.bottom_mm, np.ones(len(carriers), dtype=bool))
    trays = _trays(view, carriers, domains, oriented.turn)
    curve = curve_over(rod, carriers, CURVE_DEG)
    if hole.best_imbalance is not None:  # the best of the hole is each domain at its own plane
        hole = replace(hole, best_imbalance=rms(measured), line_imbalance=rms(along))
    total = max(carriers.weight.sum(), 1e-300)
    return CutAdvice(
        carriers=carriers,
        hole=hole,
        domains=domains,
        break_chance=chances,
        trays=trays,
        samples=_samples(view, carriers, rod, measured, along, as_set) if rod.planned else (),
        curve_deg=CURVE_DEG,
        curve_imbalance=curve,
        squares_share=cost_curve(beta_deg=carriers.beta_deg, weight=carriers.weight, cut_deg=CURVE_DEG) / total,
        absolute_share=cost_curve(
            beta_deg=carriers.beta_deg, weight=carriers.weight, cut_deg=CURVE_DEG, measure="absolute"
        )
        / total,
        set_imbalance=rms(as_set),
        from_plan=rod.planned,
        **basis,
    )


def _nothing(why: str, **basis: object) -> CutAdvice:
    none = np.zeros(0)
    return CutAdvice(
        carriers=None, hole=None, domains=(), break_chance=(), trays=(), samples=(), curve_deg=none, curve_imbalance=none,
        squares_share=none, absolute_share=none, set_imbalance=None, from_plan=False, why_none=why, **basis,
    )  # fmt: skip


def _domains(
    view: HoleView, carriers: Carriers, rod: Rod, turn: LineTurn
) -> tuple[tuple[PlaneAdvice, ...], tuple[float, ...]]:
    told = view.rules.cut_plane
    edges, chances = [rod.top_mm, rod.bottom_mm], ()
    if len(carriers) >= 2 * told.domain_fewest_veins and carriers.weight.any():
        parted = _parted(
            tuple(carriers.depth_m.tolist()), tuple(carriers.beta_deg.tolist()), tuple(carriers.weight.tolist()),
            seed_for(view.rules.controls.seed, view.hole_id), told.domain_shortest_m, told.domain_fewest_veins,
            told.domain_turn_deg, told.domain_chance,
        )  # fmt: skip
        edges[1:1] = [round(at * 100) * 10 for at in parted.break_m.tolist()]  # a depth is marked to the centimetre
        chances = tuple(parted.chance.tolist())
    planes = []
    for top, bottom in pairwise(edges):
        last = bottom == edges[-1]
        here = (carriers.depth_m * 1000 >= (-1 if top == edges[0] else top)) & (
            np.ones(len(carriers), dtype=bool) if last else carriers.depth_m * 1000 < bottom
        )
        planes.append(_plane(view, carriers, rod, turn, top, bottom, here))
    return tuple(planes), chances


@lru_cache(maxsize=64)
def _parted(depth_m, beta_deg, weight, seed, shortest_m, fewest, smallest_turn_deg, significance):
    """The division of one hole: the same veins are asked about by every screen and paper."""
    return cut_domains(depth_m=np.array(depth_m), beta_deg=np.array(beta_deg), weight=np.array(weight), seed=seed,
                       shortest_m=shortest_m, fewest_veins=fewest, smallest_turn_deg=smallest_turn_deg,
                       significance=significance)  # fmt: skip


def _plane(view: HoleView, carriers: Carriers, rod: Rod, turn: LineTurn, from_mm: int, to_mm: int, here) -> PlaneAdvice:
    told = view.rules.cut_plane
    weight = carriers.weight * here
    count = int((weight > 0.0).sum())
    if not count:
        return PlaneAdvice(from_mm, to_mm, None, None, 0.0, 1.0, 90.0, None, None, None, None, "too few veins", count)
    beta = carriers.beta_deg[here]
    squares = squares_cut(beta_deg=beta, weight=weight[here])
    inside = rod.at(np.array([from_mm, to_mm]) / 1000)
    laid = laid_on(rod, carriers, carriers.beta_deg, here)
    taken = (laid["sample_to_mm"] > inside[0]) & (laid["sample_from_mm"] < inside[1])
    laid |= {"sample_from_mm": laid["sample_from_mm"][taken], "sample_to_mm": laid["sample_to_mm"][taken]}
    best = line = worst = None
    verdict = None
    cut = None if np.isnan(squares.cut_deg) else float(squares.cut_deg)
    if taken.any() and sample_imbalances(**laid, cut_deg=[0.0]).metal.any():
        at = 0.0 if cut is None else cut
        best, worst = (rms(sample_imbalances(**laid, cut_deg=[angle]).imbalance[0]) for angle in (at, at + 90.0))
        line = rms(sample_imbalances(**laid | {"beta_deg": carriers.drawn_beta_deg[here]}, cut_deg=[0.0]).imbalance[0])
        verdict = cut_verdict(
            beta_deg=beta, weight=weight[here], best_imbalance=min(best, worst), worst_imbalance=max(best, worst),
            line_imbalance=line, ignorable_imbalance=told.ignorable_imbalance, allowed_rise=told.allowed_rise,
            chance_limit=told.chance_limit, fewest_veins=told.fewest_veins,
        )  # fmt: skip
    advice = PlaneAdvice(
        from_mm=from_mm,
        to_mm=to_mm,
        cut_deg=cut,
        absolute_deg=absolute_cut(beta_deg=beta, weight=weight[here]).cut_deg,
        alignment=float(squares.alignment),
        chance=verdict.chance if verdict else 1.0,
        free_deg=float(free_turn_deg(alignment=squares.alignment, allowed_rise=told.allowed_rise)),
        best_imbalance=best,
        line_imbalance=line,
        worst_imbalance=worst,
        verdict=verdict,
        case=verdict.case if verdict else "too few veins",
        vein_count=count,
    )
    return _with_turns(advice, turn) if advice.matters else advice


def _with_turns(advice: PlaneAdvice, turn: LineTurn) -> PlaneAdvice:
    """Whether the drawn line will do all along: the line may turn although the rock does not."""
    top, bottom = advice.from_mm / 1000, advice.to_mm / 1000
    inside = turn.depth_m[(turn.depth_m > top) & (turn.depth_m < bottom)]
    off = nearest_turn(advice.cut_deg + turn.at(np.array([top, *inside, bottom])))
    case = LINE_WILL_DO if np.all(np.abs(off) <= advice.free_deg) else TURN
    return replace(advice, case=case, turn_from_deg=float(off.min()), turn_to_deg=float(off.max()))


def nearest_turn(cut_deg: Floats) -> Floats:
    """The turn from the line to the nearer end of a plane, from above -90 to 90."""
    return 90.0 - np.mod(90.0 - np.asarray(cut_deg, dtype=np.float64), 180.0)


def _at_domains(carriers: Carriers, domains: tuple[PlaneAdvice, ...]) -> Floats:
    """The plane of each vein's domain."""
    cut = np.zeros(len(carriers))
    for at, domain in enumerate(domains):
        here = carriers.depth_m * 1000 >= (domain.from_mm if at else -1)
        cut[here] = domain.cut_deg if domain.cut_deg is not None else 0.0
    return cut


def _angles_set(view: HoleView, carriers: Carriers) -> Floats:
    return np.array([view.cut_register.at(depth * 1000).angle_at(depth * 1000) for depth in carriers.depth_m])


def _trays(
    view: HoleView, carriers: Carriers, domains: tuple[PlaneAdvice, ...], turn: LineTurn
) -> tuple[TrayAdvice, ...]:
    pieces = []
    trays = [(tray.tray, tray.from_mm, tray.to_mm) for tray in view.depth.trays] or [
        (None, domain.from_mm, domain.to_mm) for domain in domains
    ]
    for number, top, bottom in sorted(trays, key=lambda one: one[1]):
        for at, domain in enumerate(domains):
            low = max(top, domain.from_mm if at else top)
            high = min(bottom, domain.to_mm if at + 1 < len(domains) else bottom)
            if high > low:
                pieces.append(_tray(view, carriers, domain, at, turn, number, low, high))
    return tuple(pieces)


def _tray(view, carriers, domain: PlaneAdvice, at: int, turn: LineTurn, tray, from_mm: int, to_mm: int) -> TrayAdvice:
    here = (carriers.depth_m * 1000 >= from_mm) & (carriers.depth_m * 1000 < to_mm) & (carriers.weight > 0.0)
    own = None
    if here.any():
        found = squares_cut(beta_deg=carriers.drawn_beta_deg[here], weight=carriers.weight[here]).cut_deg
        own = None if np.isnan(found) else float(found)
    start = end = 0.0
    case = domain.case
    if domain.matters:
        planes = domain.cut_deg + turn.at(np.array([from_mm, to_mm]) / 1000)
        will_do = bool(np.all(np.abs(nearest_turn(planes)) <= domain.free_deg))
        case = LINE_WILL_DO if will_do else TURN
        if not will_do:
            side = view.rules.cut.bag_side
            start = edge_deg(float(planes[0]), side=side)
            end = start + float(planes[1] - planes[0])
    size = view.stock.core_sizes.get(view.depth.core_size_at(np.array([0.5 * (from_mm + to_mm) / 1000]))[0])
    return TrayAdvice(
        tray=tray, from_mm=from_mm, to_mm=to_mm,
        core_diameter_mm=size.core_diameter_mm if size else usual_diameter(view),
        domain=at, start_deg=start, end_deg=end, case=case, vein_count=int(here.sum()), own_deg=own,
    )  # fmt: skip


def _samples(view, carriers, rod: Rod, best: Floats, along: Floats, as_set: Floats) -> tuple[SampleAdvice, ...]:
    told = []
    for at, number in enumerate(rod.numbers):
        top, bottom = rod.sample_from_m[at], rod.sample_to_m[at]
        here = (carriers.centre_m >= top) & (carriers.centre_m < bottom) & (carriers.weight > 0.0)
        own = None
        if here.any():
            found = squares_cut(beta_deg=carriers.drawn_beta_deg[here], weight=carriers.weight[here]).cut_deg
            own = None if np.isnan(found) else float(found)
        worth = [None if np.isnan(one[at]) else float(one[at]) for one in (best, along, as_set)]
        told.append(SampleAdvice(number, round(top * 1000), round(bottom * 1000), int(here.sum()), own, *worth))
    return tuple(told)
