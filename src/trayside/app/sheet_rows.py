"""From sample intervals to the rows of a cut sheet: places, methods, controls, masses. Numbers come last, elsewhere."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np

from trayside.app.bag_masses import BY_MASS, BagPart, RockDensity, bag_masses
from trayside.app.issued_bags import still_there
from trayside.app.register_depth import HoleDepth
from trayside.core.qc_insertion import place_controls
from trayside.core.qc_kept import MOVES, IssuedTicket, keep_controls
from trayside.core.qc_rules import REASONS, BlankStock, ControlPlan, ControlRow, ControlRules, StandardStock
from trayside.model.cut_sheet import Place, SheetRow
from trayside.model.hole import HoleCore, Rock
from trayside.model.rules import Rules
from trayside.model.stock import Stock

AS_ISSUED = "As issued: "
OTHER_SIDE = {"right": "left", "left": "right", "": ""}


@dataclass(frozen=True, slots=True)
class Interval:
    """One sample interval with why it starts and ends where it does."""

    from_mm: int
    to_mm: int
    top_reason: str
    bottom_reason: str


@dataclass(frozen=True, slots=True)
class Unnumbered:
    """The rows of a sheet before they get ticket numbers; `pair` is the row a duplicate belongs to, by position."""

    rows: tuple[SheetRow, ...]
    pair: tuple[int | None, ...]
    controls: ControlPlan


def unnumbered_rows(
    core: HoleCore,
    stock: Stock,
    rules: Rules,
    depth: HoleDepth,
    *,
    intervals: tuple[Interval, ...],
    densities: dict[str, RockDensity],
    seed: int,
    reserved: Mapping[str, int],
    issued: tuple[SheetRow, ...] = (),
    side_at: Callable[[float], str] | None = None,
) -> Unnumbered:
    """Every bag of the sheet in ticket order. `reserved` counts materials spoken for by other holes.

    `side_at` tells which half is bagged at a depth in millimetres, where the geologist made exceptions from the rule.
    With `issued` rows the controls stay where they were issued, round the samples that are still there.
    """
    samples = _samples(core, rules, depth, intervals)
    plan = _controls(samples, stock, rules, reserved=reserved, seed=seed, issued=issued)
    rows, pair, position = [], [], {}
    mass_g = {material.material: material.mass_g for material in stock.materials}
    second = {row.sample_index: row.duplicate_type for row in plan.rows if row.kind == "duplicate"}
    for seq, control in enumerate(plan.rows, start=1):
        if control.kind in ("sample", "duplicate"):
            sample = samples[control.sample_index]
            side = _rule_side(sample.interval.from_mm, sample.interval.to_mm, rules, side_at)
            is_second = control.kind == "duplicate"
            row = _core_row(sample, rules, second.get(control.sample_index), side, is_duplicate=is_second)
            if control.kind == "sample":
                position[control.sample_index] = len(rows)
        else:
            kg, off = mass_g[control.material] / 1000, rules.mass.control_tolerance
            row = SheetRow(
                seq,
                control.kind,
                "",
                material=control.material,
                expected_kg=kg,
                low_kg=kg * (1 - off),
                high_kg=kg * (1 + off),
            )
        reason = _reason(control, samples, rules, row.duplicate_type)
        if "issued" in control.evidence:
            reason = _kept_reason(control, issued)
        rows.append(replace(row, seq=seq, reason=reason, rack=control.rack + 1))
        pair.append(position[control.sample_index] if control.kind == "duplicate" else None)
    return Unnumbered(tuple(_with_masses(rows, samples, plan, stock, rules, densities, side_at)), tuple(pair), plan)


def _controls(
    samples: list[_Sample],
    stock: Stock,
    rules: Rules,
    *,
    reserved: Mapping[str, int],
    seed: int,
    issued: tuple[SheetRow, ...],
) -> ControlPlan:
    """Controls drawn anew, or kept where they were issued."""
    ground = {
        "expected_grade": np.array([sample.expected_g_t for sample in samples]),
        "is_high": np.array([sample.high for sample in samples], dtype=bool),
        "rules": control_rules(rules),
        "standards": _standards(stock, reserved),
        "blanks": _blanks(stock, rules, reserved),
        "seed": seed,
    }
    if not issued:
        return place_controls(grade_class=np.array([sample.rank for sample in samples], dtype=np.int64), **ground)
    bags = tuple(SheetRow(0, "sample", "", sample.interval.from_mm, sample.interval.to_mm) for sample in samples)
    old_samples = [row for row in issued if row.kind == "sample"]
    place_of = {row.number: place for place, row in enumerate(old_samples)}
    kept = still_there(tuple(old_samples), bags)
    tickets = tuple(
        IssuedTicket(
            row.kind,
            place_of[row.number] if row.kind == "sample" else place_of.get(row.duplicate_of),
            row.material,
            row.duplicate_type,
        )
        for row in issued
    )
    return keep_controls(
        issued=tickets,
        new_sample={place_of[row.number]: new for new, row in kept.items()},
        issued_bottom_m=np.array([row.to_mm for row in old_samples]) / 1000,
        new_bottom_m=np.array([sample.interval.to_mm for sample in samples]) / 1000,
        **ground,
    )


def _kept_reason(control: ControlRow, issued: tuple[SheetRow, ...]) -> str:
    """The reason a kept control was issued with, and that it moved since."""
    reason = issued[control.evidence["issued"]].reason.split(AS_ISSUED)[-1]
    if "moved" not in control.evidence:
        return issued[control.evidence["issued"]].reason
    return f"Moved by a revision: {MOVES[control.evidence['moved']]}. {AS_ISSUED}{reason}"


def _reason(control: ControlRow, samples: list[_Sample], rules: Rules, duplicate_type: str | None) -> str:
    """Why a control stands here, with depths and class names where the plan counts samples and ranks."""
    if not control.reason:
        return ""
    words = dict(control.evidence)
    if "sample" in words:
        interval = samples[words["sample"] - 1].interval
        words["sample"] = f"{interval.from_mm / 1000:.2f}–{interval.to_mm / 1000:.2f} m"
    if "grade_class" in words:
        words["grade_class"] = rules.grade_classes[words["grade_class"]].name
    if duplicate_type:
        words["type"] = duplicate_type  # core sent whole is shared otherwise than planned
    return REASONS[control.reason].format(**words) + "."


@dataclass(frozen=True, slots=True)
class _Sample:
    interval: Interval
    from_place: Place | None
    to_place: Place | None
    core_size: str
    parts: tuple[tuple[Rock, float], ...]
    recovered_mm: int
    rock: Rock
    condition: str
    rank: int
    grade_class: str
    expected_g_t: float
    high: bool
    caution: str


def _samples(core: HoleCore, rules: Rules, depth: HoleDepth, intervals: tuple[Interval, ...]) -> list[_Sample]:
    """What each interval holds: its rocks by recovered length, its grade class, its place in the trays."""
    if not intervals:
        return []
    top = np.array([interval.from_mm for interval in intervals]) / 1000
    bottom = np.array([interval.to_mm for interval in intervals]) / 1000
    recovered = depth.registration.recovered_between(from_m=top, to_m=bottom)
    from_places, to_places = depth.places_at(top), depth.places_at(bottom, end=True)
    sizes = depth.core_size_at((top + bottom) / 2)
    spans = _rocks_in_each(core.rock, intervals)
    flat = [(bag, rock) for bag, rocks in enumerate(spans) for rock in rocks]
    lengths = depth.registration.recovered_between(
        from_m=np.array([max(rock.from_mm, intervals[bag].from_mm) for bag, rock in flat]) / 1000,
        to_m=np.array([min(rock.to_mm, intervals[bag].to_mm) for bag, rock in flat]) / 1000,
    )
    parts: list[list[tuple[Rock, float]]] = [[] for _ in intervals]
    for (bag, rock), length in zip(flat, lengths.tolist(), strict=True):
        parts[bag].append((rock, length))
    grade = {grade_class.name: grade_class for grade_class in rules.grade_classes}
    rank = {grade_class.name: place for place, grade_class in enumerate(rules.grade_classes)}
    samples = []
    for index, interval in enumerate(intervals):
        held = parts[index]
        if not held:  # nothing logged here: the sheet says so and the rock check has found it
            held = [(Rock(interval.from_mm, interval.to_mm, "", "intact", rules.grade_classes[0].name, "soft"), 0.0)]
        weights = [max(length, 1e-9) for _, length in held]
        main = max(zip(held, weights, strict=True), key=lambda pair: pair[1])[0][0]
        best = max((rock.grade_class for rock, _ in held), key=lambda name: rank.get(name, 0))
        by_condition: dict[str, float] = {}
        for (rock, _), weight in zip(held, weights, strict=True):
            by_condition[rock.condition] = by_condition.get(rock.condition, 0.0) + weight
        expected = sum(grade[rock.grade_class].expected_g_t * w for (rock, _), w in zip(held, weights, strict=True))
        samples.append(
            _Sample(
                interval=interval,
                from_place=from_places[index],
                to_place=to_places[index],
                core_size=sizes[index],
                parts=tuple(held),
                recovered_mm=round(float(recovered[index]) * 1000),
                rock=main,
                condition=max(by_condition, key=by_condition.__getitem__),
                rank=rank.get(best, 0),
                grade_class=best,
                expected_g_t=expected / sum(weights),
                high=any(grade[rock.grade_class].high for rock, _ in held),
                caution="; ".join(dict.fromkeys(rock.caution for rock, _ in held if rock.caution)),
            )
        )
    return samples


def _rocks_in_each(rocks: tuple[Rock, ...], intervals: tuple[Interval, ...]) -> list[list[Rock]]:
    """The logged rocks that share depth with each interval. The log stands in order of depth; its rocks may overlap."""
    starts = [rock.from_mm for rock in rocks]
    reached = list(accumulate((rock.to_mm for rock in rocks), max))
    spans = []
    for interval in intervals:
        near = rocks[bisect_right(reached, interval.from_mm) : bisect_left(starts, interval.to_mm)]
        spans.append([rock for rock in near if rock.to_mm > interval.from_mm])
    return spans


def _rule_side(from_mm: int, to_mm: int, rules: Rules, side_at: Callable[[float], str] | None) -> str:
    """The half that is bagged first here: by the yard's rule, or by the geologist's exception at the middle."""
    return side_at(0.5 * (from_mm + to_mm)) if side_at else rules.cut.bag_side


def _core_row(
    sample: _Sample, rules: Rules, duplicate_type: str | None, bag_side: str, *, is_duplicate: bool
) -> SheetRow:
    cut = rules.cut
    whole = cut.portion == "whole" or sample.rock.rock in cut.whole_rocks
    if whole and duplicate_type:
        duplicate_type = "half/half"  # two bags from core that is sent whole: nothing of it is kept
    sent_whole = whole and not duplicate_type
    method = "whole core" if sent_whole else cut.method_by_condition.get(sample.condition, "manual saw")
    why = "this core is sent whole" if sent_whole else cut.reason_by_condition.get(sample.condition, "")
    portion, side = ("whole", "") if sent_whole else (cut.portion, bag_side)
    if duplicate_type:
        first, second = duplicate_type.split("/")
        portion = second if is_duplicate else first
        if is_duplicate and first == "half":
            side = OTHER_SIDE[side]
    if method == BY_MASS:
        side = ""
    return SheetRow(
        seq=0,
        kind="duplicate" if is_duplicate else "sample",
        number="",
        from_mm=sample.interval.from_mm,
        to_mm=sample.interval.to_mm,
        from_place=sample.from_place,
        to_place=sample.to_place,
        core_size=sample.core_size,
        rock=_rock_words(sample),
        condition=sample.condition,
        grade_class=sample.grade_class,
        recovered_mm=sample.recovered_mm,
        method=method,
        method_reason=why,
        portion=portion,
        side=side,
        duplicate_type=duplicate_type,
        top_reason=sample.interval.top_reason,
        bottom_reason=sample.interval.bottom_reason,
        caution=sample.caution,
    )


def _rock_words(sample: _Sample) -> str:
    """The rock that fills most of the bag, behind the veins it was sampled for: "QV in GRN"."""
    veins = dict.fromkeys(rock.rock for rock, _ in sample.parts if rock.vein and rock.rock != sample.rock.rock)
    return f"{', '.join(veins)} in {sample.rock.rock}" if veins else sample.rock.rock


def _with_masses(rows, samples, plan, stock, rules, densities, side_at) -> list[SheetRow]:
    core_rows = [(index, row) for index, row in enumerate(rows) if row.is_core]
    if not core_rows:
        return rows
    parts = []
    for bag, (index, _) in enumerate(core_rows):
        by_rock: dict[str, float] = {}
        for rock, length in samples[plan.rows[index].sample_index].parts:
            if rock.rock:
                by_rock[rock.rock] = by_rock.get(rock.rock, 0.0) + length
        parts += [BagPart(bag, rock, length) for rock, length in by_rock.items()]
    masses = bag_masses(
        parts,
        core_diameter_mm=np.array([stock.core_sizes[row.core_size].core_diameter_mm for _, row in core_rows]),
        portion=[row.portion for _, row in core_rows],
        other_half=np.array(
            [row.side not in ("", _rule_side(row.from_mm, row.to_mm, rules, side_at)) for _, row in core_rows]
        ),
        by_mass=np.array([row.method == BY_MASS for _, row in core_rows]),
        rules=rules,
        densities=densities,
    )
    out = list(rows)
    for bag, (index, row) in enumerate(core_rows):
        out[index] = replace(
            row,
            expected_kg=round(float(masses.expected_kg[bag]), 4),
            low_kg=round(float(masses.low_kg[bag]), 4),
            high_kg=round(float(masses.high_kg[bag]), 4),
        )
    return out


def control_rules(rules: Rules) -> ControlRules:
    """The yard's control settings in the words of the planner."""
    settings = rules.controls
    return ControlRules(
        standard_rate=1 / settings.standard_every,
        blank_rate=1 / settings.blank_every,
        duplicate_rate=1 / settings.duplicate_every,
        duplicate_shares=tuple(settings.duplicate_types.items()),
        duplicate_follows=settings.duplicate_follows,
        duplicate_spread=settings.duplicate_spread,
        rack_size=settings.rack_size,
        standard_in_every_rack=settings.standard_in_every_rack,
        blank_in_every_rack=settings.blank_in_every_rack,
        min_rack_for_controls=settings.min_rack_for_controls,
        blank_after_high=settings.blank_after_high,
        allow_adjacent=settings.allow_adjacent,
        allow_first_of_rack=settings.allow_first_of_rack,
    )


def _standards(stock: Stock, reserved: Mapping[str, int]) -> tuple[StandardStock, ...]:
    return tuple(
        StandardStock(
            material.material, material.grade_g_t, max(0, material.in_stock - reserved.get(material.material, 0))
        )
        for material in stock.materials
        if material.kind == "standard" and material.grade_g_t is not None
    )


def _blanks(stock: Stock, rules: Rules, reserved: Mapping[str, int]) -> tuple[BlankStock, ...]:
    return tuple(
        BlankStock(material.material, max(0, material.in_stock - reserved.get(material.material, 0)))
        for material in stock.materials
        if material.kind == rules.controls.blank_kind
    )
