"""What the interval planner is told about one hole: the stretches to sample and everything that bounds a sample."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from trayside.app.bag_masses import BY_MASS, RockDensity, bagged_area_mm2
from trayside.app.register_depth import HoleDepth
from trayside.core.intervals import Ground, IntervalRules
from trayside.core.stretches import SamplingStretches, sampling_stretches
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import Stock

TENTH_OF_A_FOOT_M = 0.03048


@dataclass(frozen=True, slots=True)
class SamplingGround:
    """The planner's ground with the stretches it came from."""

    ground: Ground
    stretches: SamplingStretches
    rules: IntervalRules


def interval_rules(rules: Rules) -> IntervalRules:
    """The yard's sampling rules in the planner's words."""
    sampling = rules.sampling
    return IntervalRules(
        step_m=0.01 if sampling.grid == "1 cm" else TENTH_OF_A_FOOT_M,
        nominal_m=sampling.nominal_m,
        minimum_m=sampling.minimum_m,
        maximum_m=sampling.maximum_m,
        round_to_m=sampling.round_to_m,
        length_cost=sampling.length_cost,
        off_round_cost=sampling.off_round_cost,
        soft_crossing_cost=sampling.soft_contact_cost,
        shoulder_crossing_cost=sampling.shoulder_crossing_cost,
        boundary_in_loss_cost=sampling.boundary_in_loss_cost,
        tier_cost=sampling.tier_cost,
        light_bag_cost=sampling.light_bag_cost,
        isolate_loss_m=sampling.isolate_loss_m,
        minimum_vein_m=sampling.minimum_vein_m,
        tier_limit_kg=rules.mass.tier_kg or None,
        minimum_bag_kg=rules.mass.minimum_kg or None,
    )


def sampling_ground(
    core: HoleCore, stock: Stock, rules: Rules, depth: HoleDepth, densities: dict[str, RockDensity]
) -> SamplingGround | None:
    """The ground of one hole, or None when nothing of it is to be sampled (or it has no core)."""
    if not core.rock or not depth.runs:
        return None
    top_m, bottom_m = min(run.from_mm for run in depth.runs) / 1000, max(run.to_mm for run in depth.runs) / 1000
    rock_from = np.array([rock.from_mm for rock in core.rock]) / 1000
    rock_to = np.array([rock.to_mm for rock in core.rock]) / 1000
    never = np.array([rock.sampling == "never" for rock in core.rock])
    stretches = sampling_stretches(
        interval_from_m=rock_from,
        interval_to_m=rock_to,
        wanted=np.array([_wanted(rock, rules) for rock in core.rock]) & ~never,
        shoulder_m=rules.sampling.shoulder_m,
        limit_from_m=top_m,
        limit_to_m=bottom_m,
        forbidden_from_m=rock_from[never],
        forbidden_to_m=rock_to[never],
        merge_gap_m=rules.sampling.merge_gap_m,
    )
    if not len(stretches.from_m):
        return None
    lost = depth.registration.lost_stretches()
    contacts = [(rock.from_mm / 1000, rock.contact) for rock in core.rock[1:]]
    veins = [rock for rock in core.rock if rock.vein]
    mass_break, mass_kg_per_m = _mass_profile(core, stock, rules, depth, densities, top_m, bottom_m)
    ground = Ground(
        stretch_from_m=stretches.from_m,
        stretch_to_m=stretches.to_m,
        hard_contact_m=[at for at, kind in contacts if kind == "hard"],
        soft_contact_m=[at for at, kind in contacts if kind == "soft"],
        loss_from_m=lost.from_m,
        loss_to_m=lost.to_m,
        core_size_change_m=core_size_changes_m(depth),
        vein_from_m=[rock.from_mm / 1000 for rock in veins],
        vein_to_m=[rock.to_mm / 1000 for rock in veins],
        shoulder_from_m=stretches.shoulder_from_m,
        shoulder_to_m=stretches.shoulder_to_m,
        mass_break_m=mass_break,
        mass_kg_per_m=mass_kg_per_m,
    )
    return SamplingGround(ground, stretches, interval_rules(rules))


def core_size_changes_m(depth: HoleDepth) -> list[float]:
    """Depths where the core size changes from one run to the next."""
    pairs = pairwise(depth.runs)
    return [below.from_mm / 1000 for above, below in pairs if above.core_size != below.core_size]


def _wanted(rock, rules: Rules) -> bool:
    if rock.sampling == "always":
        return True
    classes = rules.sampling.sample_classes
    return classes == "all" or rock.grade_class in classes


def _mass_profile(core, stock, rules, depth, densities, top_m, bottom_m) -> tuple[np.ndarray, np.ndarray]:
    """Expected bag mass per metre of depth, piecewise constant between contacts, losses and size changes."""
    registration = depth.registration
    ends = [
        [top_m, bottom_m],
        [rock.from_mm / 1000 for rock in core.rock],
        [rock.to_mm / 1000 for rock in core.rock],
        registration.piece_depth_from_m,
        registration.piece_depth_to_m,
        core_size_changes_m(depth),
    ]
    # Sums of lengths differ in their last bits; depths closer than a micrometre are one.
    breaks = np.unique(np.round(np.concatenate(ends), 6))
    breaks = breaks[(breaks >= top_m) & (breaks <= bottom_m)]
    middle, length = (breaks[:-1] + breaks[1:]) / 2, np.diff(breaks)
    recovered = registration.recovered_between(from_m=breaks[:-1], to_m=breaks[1:]) / length
    starts = np.array([rock.from_mm / 1000 for rock in core.rock])
    at = np.maximum(np.searchsorted(starts, middle, side="right") - 1, 0)
    density = np.array([densities[rock.rock].density_t_m3 for rock in core.rock])[at]
    whole = np.array([rock.rock in rules.cut.whole_rocks for rock in core.rock])[at]
    by_mass = np.array([rules.cut.method_by_condition.get(rock.condition) == BY_MASS for rock in core.rock])[at]
    size_at = depth.core_size_at(middle)
    area = np.array(
        [
            bagged_area_mm2(
                stock.core_sizes[size].core_diameter_mm,
                rules.cut.kerf_mm,
                rules.cut.offset_mm,
                "whole" if w else rules.cut.portion,
                m,
            )
            for size, w, m in zip(size_at, whole, by_mass, strict=True)
        ]
    )
    return breaks, area * density * recovered / 1000
