"""What a screen and a paper both say of the cut: the verdict, the orders that hold and those computed, one picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trayside.app.cut_advice import TURN, CutAdvice
from trayside.app.cut_pictures import Trace, around_the_core
from trayside.app.cut_register import CutLine
from trayside.app.cut_stretches import Stretch, advised_stretches
from trayside.app.cut_words import line_words, side_words
from trayside.app.hole_view import HoleView
from trayside.app.written_amounts import span_text
from trayside.core.orientation_quality import signed_turn

USUAL_MM = 47.6
"""Diameter of the commonest core (NQ), where no size of the hole has one: that is a finding of its own."""
SAME_DEG = 1.5
"""The register is kept in whole degrees."""


@dataclass(frozen=True, slots=True)
class Order:
    """Where the cut line runs over one stretch, in words."""

    trays: str
    span: str
    line: str
    bag: str
    case: str
    basis: str = ""
    reason: str = ""
    by: str = ""
    at: str = ""


def case_of(advice: CutAdvice) -> str:
    """The verdict over all domains; '' where nothing can be said."""
    if advice.hole is None:
        return ""
    cases = {domain.case for domain in advice.domains}
    return TURN if TURN in cases else next(iter(cases)) if len(cases) == 1 else advice.hole.case


def orders_now(view: HoleView) -> tuple[Order, ...]:
    """What holds by the register and the yard's rule."""
    return tuple(_order(line, view) for line in held_lines(view))


def orders_computed(view: HoleView, stretches: tuple[Stretch, ...]) -> tuple[Order, ...]:
    """What the veins ask for."""
    return tuple(_computed(one, view) for one in stretches)


def holds_already(view: HoleView, stretches: tuple[Stretch, ...]) -> bool:
    """Whether the register holds what was computed, to a degree."""
    for stretch in stretches:
        wanted = stretch.line
        for held in view.cut_register.over(wanted.from_mm, wanted.to_mm):
            for at in (held.from_mm, held.to_mm):
                off = signed_turn(held.angle_at(at) - wanted.angle_at(at))
                if abs(off) > SAME_DEG or held.side != wanted.side:
                    return False
    return True


def held_lines(view: HoleView) -> tuple[CutLine, ...]:
    """The register over the core of the hole."""
    runs = view.depth.runs
    if not runs:
        return tuple(line for line in view.cut_register.lines if line.is_set)
    return view.cut_register.over(runs[0].from_mm, runs[-1].to_mm)


def _order(line: CutLine, view: HoleView) -> Order:
    unit = view.rules.paper.length_unit
    diameter_mm = diameter_at(view, 0.5 * (line.from_mm + line.to_mm))
    return Order(
        trays="",
        span=span_text(line.from_mm, line.to_mm, unit=unit),
        line=line_words(line, core_diameter_mm=diameter_mm, unit=unit),
        bag=side_words(line),
        case="",
        basis=line.basis,
        reason=line.reason,
        by=line.person,
        at=line.captured_at[:16].replace("T", " "),
    )


def _computed(one: Stretch, view: HoleView) -> Order:
    numbers = [str(number) for number in dict.fromkeys((one.first_tray, one.last_tray)) if number is not None]
    unit = view.rules.paper.length_unit
    return Order(
        trays="–".join(numbers),
        span=span_text(one.line.from_mm, one.line.to_mm, unit=unit),
        line=line_words(one.line, core_diameter_mm=one.core_diameter_mm, unit=unit),
        bag=side_words(one.line),
        case=one.case,
    )


def diameter_at(view: HoleView, depth_mm: float) -> float:
    """Diameter of the core at a depth; of any core of the hole where its size has none."""
    if not view.depth.runs:
        return USUAL_MM
    size = view.stock.core_sizes.get(view.depth.core_size_at(np.array([depth_mm / 1000]))[0])
    known = [size] if size else [one for run in view.depth.runs if (one := view.stock.core_sizes.get(run.core_size))]
    return known[0].core_diameter_mm if known else USUAL_MM


def surface_picture(
    view: HoleView, advice: CutAdvice, from_m: float, to_m: float, *, unit: str, ordered: bool = False, **more
) -> str:
    """The unrolled core between two depths, with the cut line as ordered, or where nothing is set as computed."""
    traces = [
        Trace(one.plane.depth_mm / 1000, one.alpha_deg, one.beta_deg, one.plane.kind)
        for one in advice.carriers.measures
    ]
    lines = (
        view.cut_register.over(round(from_m * 1000), round(to_m * 1000))
        if ordered or view.cut_register.any_set
        else tuple(stretch.line for stretch in advised_stretches(advice))
    )
    return around_the_core(
        traces=traces,
        from_m=from_m,
        to_m=to_m,
        line=[(at / 1000, line.angle_at(at)) for line in lines for at in (line.from_mm, line.to_mm - 1)],
        marks=list(zip(advice.turn.depth_m.tolist(), advice.turn.turn_deg.tolist(), strict=True)),
        core_diameter_mm=diameter_at(view, 500 * (from_m + to_m)),
        unit=unit,
        **more,
    )
