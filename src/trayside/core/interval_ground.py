"""What interval planning is given: the ground of one hole, the rules, and the boundaries they force.

`frame_of` turns both into separate segments. A segment starts and ends at a forced boundary; between the two the
planner is free. Everything inside is counted in whole micrometres.
"""

from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from trayside.core.interval_algebra import UM_PER_M, joined, pairs_um, whole_um, without
from trayside.core.interval_veins import HeldVein, hold_veins
from trayside.core.refusals import numbers
from trayside.errors import ImpossibleValue

HARD_CONTACT, SOFT_CONTACT, CORE_LOSS, CORE_SIZE = "hard contact", "soft contact", "core loss", "core size"
VEIN, VEIN_WIDENED = "vein", "vein widened"
START, END, SHOULDER = "start of stretch", "end of stretch", "shoulder"
WHOLE_METRE, LENGTH, BAG_MASS = "whole metre", "length", "bag mass"


@dataclass(frozen=True, slots=True)
class Ground:
    """One hole as the planner sees it. All depths in metres, all lists may be empty.

    stretch: ground to sample. hard_contact: never inside a sample. soft_contact: may be crossed at its cost
    (`soft_contact_cost`, one per contact; empty or nan means the rule's cost). loss: ground without core.
    core_size_change: the diameter changes here. vein: narrow veins to keep apart. shoulder: barren parts of the
    stretches. mass_kg_per_m holds one value between each two of mass_break_m: expected bag mass per metre of depth,
    0 in losses; empty means masses are not known.
    """

    stretch_from_m: object
    stretch_to_m: object
    hard_contact_m: object = ()
    soft_contact_m: object = ()
    soft_contact_cost: object = ()
    loss_from_m: object = ()
    loss_to_m: object = ()
    core_size_change_m: object = ()
    vein_from_m: object = ()
    vein_to_m: object = ()
    shoulder_from_m: object = ()
    shoulder_to_m: object = ()
    mass_break_m: object = ()
    mass_kg_per_m: object = ()


@dataclass(frozen=True, slots=True)
class IntervalRules:
    """The rules of a plan; every value is a setting of the yard.

    Lengths: common practice, no source (nominal 1 m, least 0.2-0.3 m, most 1.5-2 m). Costs: ours, no source; they have
    no unit and only their ratios matter. A sample twice as long as nominal costs `length_cost` once, a bag twice as
    heavy as the tier `tier_cost`, an empty bag `light_bag_cost`; see cost_of for what comes before every cost.
    """

    step_m: float = 0.01
    nominal_m: float = 1.0
    minimum_m: float = 0.3
    maximum_m: float = 1.5
    length_cost: float = 1.0
    round_to_m: float = 1.0
    off_round_cost: float = 0.1
    soft_crossing_cost: float = 0.5
    shoulder_crossing_cost: float = 10.0
    boundary_in_loss_cost: float = 1.0
    isolate_loss_m: float = 0.3
    minimum_vein_m: float = 0.1
    tier_limit_kg: float | None = None
    tier_cost: float = 1.0
    minimum_bag_kg: float | None = None
    light_bag_cost: float = 1.0


@dataclass(frozen=True, slots=True)
class Unmet:
    """One thing the rules asked for and the ground did not allow, with its numbers (m or kg, whichever applies)."""

    code: str
    from_m: float
    to_m: float
    found_m: float | None = None
    limit_m: float | None = None
    found_kg: float | None = None
    limit_kg: float | None = None


@dataclass(frozen=True, slots=True)
class RuleSteps:
    """The lengths of the rules in whole micrometres."""

    step: int
    nominal: int
    minimum: int
    maximum: int
    round_to: int
    isolate_loss: int
    minimum_vein: int


@dataclass(frozen=True, slots=True)
class Frame:
    """Segments between forced boundaries, in micrometres, with the reason of each end; and what else lies there."""

    segment: np.ndarray
    top_reason: tuple
    bottom_reason: tuple
    stretch: np.ndarray
    core: np.ndarray
    hard: np.ndarray
    core_size: np.ndarray
    isolated_loss: np.ndarray
    small_loss: np.ndarray
    shoulder: np.ndarray
    vein: tuple[HeldVein, ...]
    forced: np.ndarray
    unmet: tuple[Unmet, ...]


def rule_steps(rules: IntervalRules) -> RuleSteps:
    """The rules checked and in micrometres."""
    lengths = {
        name: int(whole_um(depth_m=getattr(rules, f"{name}_m"), name=f"{name}_m")[0])
        for name in (field.name for field in fields(RuleSteps))
    }
    for name in ("step", "nominal", "minimum", "maximum", "round_to"):
        if lengths[name] == 0:
            _refuse(f"{name}_m is zero", "Give a length above zero")
    exact = float(rules.step_m) * UM_PER_M
    if abs(exact - lengths["step"]) > 1e-6:
        _refuse(f"step_m is {rules.step_m!r}", "The step must be whole micrometres, such as 0.01 m or 0.03048 m")
    if lengths["minimum"] < 2 * lengths["step"]:
        _refuse("minimum_m is less than two steps", "Use a finer step or a longer minimum")
    if not lengths["minimum"] <= lengths["nominal"] <= lengths["maximum"]:
        _refuse(
            f"minimum {rules.minimum_m:g}, nominal {rules.nominal_m:g}, maximum {rules.maximum_m:g} m are out of order",
            "Nominal lies between minimum and maximum",
        )
    if lengths["maximum"] > 100 * lengths["nominal"]:
        _refuse("maximum_m is more than a hundred times nominal_m", "Check the units of the two lengths")
    for field in fields(IntervalRules):
        if field.name.endswith("_cost"):
            numbers(getattr(rules, field.name), field.name, at_least=0.0, at_most=1e4)
    for name in ("tier_limit_kg", "minimum_bag_kg"):
        if getattr(rules, name) is not None:
            numbers(getattr(rules, name), name, at_least=0.001, at_most=1e4)
    if None not in (rules.tier_limit_kg, rules.minimum_bag_kg) and rules.minimum_bag_kg > rules.tier_limit_kg:
        _refuse("minimum_bag_kg is above tier_limit_kg", "The lightest bag must be lighter than the heaviest")
    return RuleSteps(**lengths)


def frame_of(ground: Ground, rules: IntervalRules, steps: RuleSteps) -> Frame:
    """Forced boundaries and the segments between them."""
    stretch = pairs_um(from_m=ground.stretch_from_m, to_m=ground.stretch_to_m, name="stretch")
    lapped = np.flatnonzero(stretch[1:, 0] < stretch[:-1, 1])
    if len(lapped):
        _refuse(f"stretches overlap at {stretch[lapped[0] + 1, 0] / UM_PER_M:g} m", "Join them first")
    hard = np.unique(whole_um(depth_m=ground.hard_contact_m, name="hard_contact_m"))
    core_size = np.unique(whole_um(depth_m=ground.core_size_change_m, name="core_size_change_m"))
    loss = joined(pairs=pairs_um(from_m=ground.loss_from_m, to_m=ground.loss_to_m, name="core loss"))
    alone = (loss[:, 1] - loss[:, 0]) >= max(steps.isolate_loss, 1)
    isolated = loss[alone]
    core = without(pairs=stretch, holes=isolated)
    cuts = np.union1d(hard, core_size)
    blocks = _cut(core, cuts)
    unmet = [
        Unmet("no core in stretch", a / UM_PER_M, b / UM_PER_M)
        for a, b in stretch.tolist()
        if not ((core[:, 0] >= a) & (core[:, 1] <= b)).any()
    ]
    vein = pairs_um(from_m=ground.vein_from_m, to_m=ground.vein_to_m, name="vein")
    held, notes = hold_veins(blocks=blocks, vein=vein, steps=steps)
    unmet += [Unmet(code, *(um / UM_PER_M for um in places)) for code, *places in notes]

    fixed = {depth: CORE_LOSS for depth in isolated.ravel().tolist()}
    fixed.update({depth: CORE_SIZE for depth in core_size.tolist()})
    fixed.update({depth: HARD_CONTACT for depth in hard.tolist()})
    segments, tops, bottoms = [], [], []
    by_block: dict[int, list[HeldVein]] = {}
    for one in held:
        by_block.setdefault(one.block, []).append(one)
    for number, (a, b) in enumerate(blocks.tolist()):
        inside: dict[int, str] = {}
        for one in by_block.get(number, ()):
            inside[one.top] = VEIN if one.top == one.vein_top else VEIN_WIDENED
            inside[one.bottom] = VEIN if one.bottom == one.vein_bottom else VEIN_WIDENED
        points = sorted({a, b, *inside})
        for c, d in pairwise(points):
            segments.append((c, d))
            tops.append(fixed.get(c) or inside.get(c) or START)
            bottoms.append(fixed.get(d) or inside.get(d) or END)
    segment = np.array(segments, dtype=np.int64).reshape(-1, 2)
    return Frame(
        segment=segment,
        top_reason=tuple(tops),
        bottom_reason=tuple(bottoms),
        stretch=stretch,
        core=core,
        hard=hard,
        core_size=core_size,
        isolated_loss=isolated,
        small_loss=loss[~alone],
        shoulder=joined(pairs=pairs_um(from_m=ground.shoulder_from_m, to_m=ground.shoulder_to_m, name="shoulder")),
        vein=tuple(held),
        forced=np.unique(segment),
        unmet=tuple(unmet),
    )


def _cut(pieces: np.ndarray, cuts: np.ndarray) -> np.ndarray:
    """The pieces, cut at every given depth inside them."""
    blocks = []
    for a, b in pieces.tolist():
        inside = cuts[np.searchsorted(cuts, a, "right") : np.searchsorted(cuts, b, "left")].tolist()
        points = [a, *inside, b]
        blocks += pairwise(points)
    return np.array(blocks, dtype=np.int64).reshape(-1, 2)


def _refuse(what: str, remedy: str) -> None:
    raise ImpossibleValue(what, where="interval rules", remedy=remedy)
