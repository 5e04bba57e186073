"""What a bag can say at best: sampling error of the portion and of the laboratory's splits, grains in a bag, offset bias."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median

from trayside.app.bag_masses import BY_MASS
from trayside.app.hole_view import HoleView
from trayside.core.bag_mass import OffsetBias, mass_bias_of_offset
from trayside.core.gy_factors import GyConstants, heterogeneity
from trayside.core.sampling_error import (
    core_portion_variance,
    fundamental_error,
    grain_count,
    grains_in_mass,
    limits_in_words,
    minimum_mass_g,
)
from trayside.core.sources import Source, SourcedNumber
from trayside.model.cut_sheet import SheetRow
from trayside.model.rules import Rules

SITE = Source("the yard's rules.toml", "sampling_error", "common practice, no source")
PORTIONS = {"quarter": 0.25, "half": 0.5, "whole": 1.0}
TARGET_SD = 0.15
"""A total of 15 % is the mark for which the smallest mass is shown (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class StageError:
    """One reduction in the laboratory: relative standard deviation it adds, and the mass that would keep it at the mark."""

    name: str
    relative_sd: float
    mass_g: float
    mass_for_target_g: float


@dataclass(frozen=True, slots=True)
class ClassLimits:
    """For one grade class of a sheet, at the median bag of it. Relative standard deviations are fractions."""

    grade_class: str
    expected_g_t: float
    bags: int
    whole_core_kg: float
    portion_sd: dict[str, float]
    grains: dict[str, float]
    grain_sd: dict[str, float]
    chance_of_no_grain: dict[str, float]
    stages: tuple[StageError, ...]


@dataclass(frozen=True, slots=True)
class BagLimits:
    """The limits of a hole's bags, the mass bias of sawing beside the line, and what the figures cannot tell."""

    classes: tuple[ClassLimits, ...]
    offset_bias: dict[str, OffsetBias]
    cautions: tuple[str, ...]


def bag_limits(view: HoleView) -> BagLimits:
    """What the bags of a hole's plan can say at best; empty classes when there is no plan."""
    rules = view.rules
    samples = [row for row in (view.sheet.rows if view.sheet else ()) if row.kind == "sample" and row.expected_kg]
    sizes = sorted({run.core_size for run in view.core.runs if run.core_size in view.stock.core_sizes})
    bias = {
        size: mass_bias_of_offset(
            core_diameter_mm=view.stock.core_sizes[size].core_diameter_mm,
            kerf_mm=rules.cut.kerf_mm,
            offset_mm=rules.cut.offset_mm,
        )
        for size in sizes
    }
    classes = []
    for grade_class in rules.grade_classes:
        mine = [row for row in samples if row.grade_class == grade_class.name]
        if mine and grade_class.expected_g_t > 0:
            whole_kg = median(row.expected_kg / _share_of_core(row, bias) for row in mine)
            classes.append(class_limits(grade_class.name, grade_class.expected_g_t, len(mine), whole_kg, rules))
    return BagLimits(tuple(classes), bias, limits_in_words())


def _share_of_core(row: SheetRow, bias: dict[str, OffsetBias]) -> float:
    """Mass in the bag over mass of the whole core, the slot counted."""
    if row.portion == "whole":
        return 1.0
    sawn = bias[row.core_size].bagged_share if row.method != BY_MASS else 0.5
    return sawn if row.portion == "half" else sawn / 2


def class_limits(name: str, expected_g_t: float, bags: int, whole_core_kg: float, rules: Rules) -> ClassLimits:
    """The limits at one expected grade for whole core of one mass."""
    settings = rules.sampling_error
    constants = gy_constants(rules)
    mass_fraction = expected_g_t * 1e-6 / settings.grain_grade
    core = float(
        heterogeneity(
            constants=constants, top_size_mm=settings.core_as_if_broken_to_mm, mineral_mass_fraction=mass_fraction
        )
    )
    whole_g = whole_core_kg * 1000
    grains, grain_sd, none = {}, {}, {}
    for portion, share in PORTIONS.items():
        mean = float(
            grains_in_mass(
                sample_mass_kg=whole_core_kg * share,
                grain_diameter_mm=settings.grain_mm,
                grade_ppm=expected_g_t,
                grain_density_t_m3=settings.grain_density_t_m3,
            )
        )
        count = grain_count(mean_grains=mean)
        grains[portion], grain_sd[portion], none[portion] = mean, float(count.relative_sd), float(count.chance_of_none)
    stages, lot_g = [], whole_g * PORTIONS[rules.cut.portion]
    for stage in settings.stages:
        h = float(
            heterogeneity(constants=constants, top_size_mm=stage.top_size_mm, mineral_mass_fraction=mass_fraction)
        )
        taken_g = min(stage.mass_g, lot_g)
        sd = float(fundamental_error(heterogeneity_g=h, sample_mass_g=taken_g, lot_mass_g=lot_g).relative_sd)
        least_g = float(minimum_mass_g(heterogeneity_g=h, target_sd=TARGET_SD, lot_mass_g=lot_g))
        stages.append(StageError(stage.name, sd, taken_g, least_g))
        lot_g = taken_g
    return ClassLimits(
        grade_class=name,
        expected_g_t=expected_g_t,
        bags=bags,
        whole_core_kg=whole_core_kg,
        portion_sd={
            portion: float(core_portion_variance(share=share) * core / whole_g) ** 0.5
            for portion, share in PORTIONS.items()
        },
        grains=grains,
        grain_sd=grain_sd,
        chance_of_no_grain=none,
        stages=tuple(stages),
    )


def gy_constants(rules: Rules) -> GyConstants:
    """The yard's settings in the words of Gy's formula."""
    settings = rules.sampling_error
    return GyConstants(
        liberation_size_mm=SourcedNumber(settings.grain_mm, SITE),
        mineral_density_t_m3=SourcedNumber(settings.grain_density_t_m3, SITE),
        gangue_density_t_m3=SourcedNumber(settings.gangue_density_t_m3, SITE),
        shape=SourcedNumber(settings.shape, SITE),
        granulometric=SourcedNumber(settings.granulometric, SITE),
        liberation_model="power",
        liberation_exponent=SourcedNumber(settings.liberation_exponent, SITE),
    )
