"""What the weighed bags of a hole teach: ratios of whole groups, density of each rock, offset of each saw, its alignment.

    half bags, weighed           ->  density of each rock and offset of each saw, learned together
    both halves of one stretch   ->  cumulative sum of their ratio, saw by saw, in the order they were cut
    every group of bags alike    ->  the ratio it has in common: a wrong core size shows here and nowhere else
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from trayside.app.bag_masses import BY_MASS, RockDensity, rock_densities
from trayside.app.bag_views import Bag, HoleBags
from trayside.app.bag_words import takes_near_half
from trayside.app.bench_causes import relative_sd
from trayside.app.mass_witness import Witness, group_of, hear_masses, weighable
from trayside.core.cut_geometry import cut_pieces
from trayside.core.half_ratio_chart import AlignmentChart, alignment_run_length, half_ratio_chart
from trayside.core.mass_learning import learn_from_bags, starting_belief
from trayside.errors import ImpossibleValue
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import Stock

UNNAMED_SAW = "saw not named"
LEAST_BAGS = 4
"""Bags a saw or a rock must have before anything is said of it."""
SHIFT_TOLD_MM = 0.5
"""A blade this far off its setting is told, when the masses can tell it at all."""
SHIFTS_MM = (1.0, 2.0, 3.0)
LEAST_SD_T_M3 = 0.01
LEAST_OFFSET_SD_MM = 0.1


@dataclass(frozen=True, slots=True)
class MassLine:
    """One bag: what the sheet expects, what its group expects, and how it stands in standard deviations of its range."""

    bag: Bag
    expected_kg: float
    by_group_kg: float
    deviations: float | None


@dataclass(frozen=True, slots=True)
class Learned:
    """Density of a rock [t/m3] or offset of a saw [mm]: before any bag, and after these."""

    name: str
    before: float
    before_sd: float
    now: float
    now_sd: float
    bags: int


@dataclass(frozen=True, slots=True)
class HalfPair:
    """Both halves of one stretch of core, by their numbers."""

    near: str
    far: str
    near_kg: float
    far_kg: float
    offset_mm: float


@dataclass(frozen=True, slots=True)
class SawChart:
    """The pairs of halves of one saw in the order they were cut, the sums of their ratio, and what it can see.

    `pairs_to_see` holds (shift in mm, mean number of pairs until the chart speaks).
    """

    saw: str
    pairs: tuple[HalfPair, ...]
    chart: AlignmentChart
    target_mm: float
    pairs_to_see: tuple[tuple[float, float], ...]
    pairs_to_false_alarm: float


@dataclass(frozen=True, slots=True)
class MassLessons:
    """Everything the masses of one hole say."""

    witness: Witness
    lines: tuple[MassLine, ...]
    densities: tuple[Learned, ...]
    offsets: tuple[Learned, ...]
    charts: tuple[SawChart, ...]
    findings: tuple[Finding, ...]


def learn_from_hole(hole: HoleBags, *, core: HoleCore, rules: Rules, stock: Stock) -> MassLessons:
    """The lessons of all weighed bags of a hole."""
    witness = hear_masses(hole.bags, rules=rules, stock=stock)
    densities, offsets = _learned(hole, rock_densities(core, stock), rules, stock)
    charts = _charts(hole, rules, stock)
    findings = (*_told_offsets(hole.hole_id, offsets, rules), *_told_charts(hole.hole_id, charts))
    return MassLessons(
        witness=witness,
        lines=tuple(_lines(hole.bags, witness, rules)),
        densities=densities,
        offsets=offsets,
        charts=charts,
        findings=findings,
    )


def hear_saws(hole: HoleBags, *, core: HoleCore, rules: Rules, stock: Stock) -> tuple[Finding, ...]:
    """Saws that cut beside their setting, by the masses of this hole."""
    _, offsets = _learned(hole, rock_densities(core, stock), rules, stock)
    return (*_told_offsets(hole.hole_id, offsets, rules), *_told_charts(hole.hole_id, _charts(hole, rules, stock)))


def _lines(bags: Iterable[Bag], witness: Witness, rules: Rules) -> Iterable[MassLine]:
    for bag in bags:
        if bag.state == "void" or not weighable(bag):
            continue
        expected = witness.expected_kg.get(bag.number, bag.row.expected_kg)
        off = None
        if bag.mass_g is not None:
            sd = witness.relative_sd.get(bag.number) or relative_sd(bag.row, rules)
            off = float(np.log(bag.mass_g / 1000 / expected)) / sd
        yield MassLine(bag, bag.row.expected_kg, expected, off)


# density and offset


def saw_of(bag: Bag) -> str:
    """The saw its core was cut on."""
    fact = bag.stands.latest("cut")
    return str(fact.values.get("saw") or UNNAMED_SAW) if fact else UNNAMED_SAW


def _sawn_half(bag: Bag) -> bool:
    row = bag.row
    return (
        row.is_core
        and row.portion == "half"
        and bool(row.side)
        and row.method != BY_MASS
        and bag.state != "void"
        and bag.mass_g is not None
        and weighable(bag)
    )


def _learned(
    hole: HoleBags, densities: dict[str, RockDensity], rules: Rules, stock: Stock
) -> tuple[tuple[Learned, ...], tuple[Learned, ...]]:
    """Belief before and after. Every bag comes in as the length of its main rock that would weigh what was expected."""
    bags = [
        bag
        for bag in hole.bags
        if _sawn_half(bag) and bag.row.rock in densities and bag.row.core_size in stock.core_sizes
    ]
    if not bags:
        return (), ()
    rocks = sorted({bag.row.rock for bag in bags})
    saws = sorted({saw_of(bag) for bag in bags})
    near = np.array([takes_near_half(bag.row) for bag in bags])
    mass = np.array([bag.mass_g / 1000 for bag in bags])
    diameter = np.array([stock.core_sizes[bag.row.core_size].core_diameter_mm for bag in bags])
    pieces = cut_pieces(core_diameter_mm=diameter, kerf_mm=rules.cut.kerf_mm, offset_mm=rules.cut.offset_mm)
    area = np.where(near, pieces.near_mm2, pieces.far_mm2)
    density = np.array([densities[bag.row.rock].density_t_m3 for bag in bags])
    expected = np.array([bag.row.expected_kg for bag in bags])
    before = starting_belief(
        rocks=rocks,
        density_t_m3=[densities[rock].density_t_m3 for rock in rocks],
        density_sd_t_m3=[max(densities[rock].density_sd_t_m3, LEAST_SD_T_M3) for rock in rocks],
        saws=saws,
        offset_mm=rules.cut.offset_mm,
        offset_sd_mm=max(rules.mass.offset_sd_mm, LEAST_OFFSET_SD_MM),
    )
    after = learn_from_bags(
        belief=before,
        rock=[bag.row.rock for bag in bags],
        saw=[saw_of(bag) for bag in bags],
        near_kg=np.where(near, mass, np.nan),
        far_kg=np.where(near, np.nan, mass),
        recovered_length_m=1e3 * expected / (density * area),
        core_diameter_mm=diameter,
        kerf_mm=rules.cut.kerf_mm,
    ).belief
    of_rock = [sum(bag.row.rock == rock for bag in bags) for rock in rocks]
    of_saw = [sum(saw_of(bag) == saw for bag in bags) for saw in saws]
    return (
        _beside(rocks, before.density_t_m3, before.density_sd_t_m3, after.density_t_m3, after.density_sd_t_m3, of_rock),
        _beside(saws, before.offset_mm, before.offset_sd_mm, after.offset_mm, after.offset_sd_mm, of_saw),
    )


def _beside(names: Sequence[str], before, before_sd, now, now_sd, bags: Sequence[int]) -> tuple[Learned, ...]:
    return tuple(
        Learned(name, float(before[at]), float(before_sd[at]), float(now[at]), float(now_sd[at]), bags[at])
        for at, name in enumerate(names)
    )


def _told_offsets(hole_id: str, offsets: Iterable[Learned], rules: Rules) -> Iterable[Finding]:
    for saw in offsets:
        off = saw.now - saw.before
        if saw.bags >= LEAST_BAGS and abs(off) >= SHIFT_TOLD_MM and abs(off) > rules.mass.coverage * saw.now_sd:
            toward = "toward the half that is bagged" if off > 0 else "toward the half that stays"
            yield found(
                "mass.saw_off",
                f"{saw.bags} bags say that {saw.name} cuts {abs(off):.1f} mm (± {saw.now_sd:.1f}) off its setting, {toward}",
                hole_id=hole_id,
                evidence={"saw": saw.name, "off_mm": round(off, 2), "sd_mm": round(saw.now_sd, 2), "bags": saw.bags},
            )


# both halves


def _charts(hole: HoleBags, rules: Rules, stock: Stock) -> tuple[SawChart, ...]:
    by_saw: dict[str, list[tuple[str, Bag, Bag]]] = {}
    known = {bag.number: bag for bag in hole.bags}
    for bag in hole.bags:
        other = known.get(bag.row.duplicate_of or "")
        if other is None or bag.row.duplicate_type != "half/half" or not (_sawn_half(bag) and _sawn_half(other)):
            continue
        if {bag.row.side, other.row.side} != {"right", "left"} or other.row.core_size not in stock.core_sizes:
            continue
        near, far = (bag, other) if takes_near_half(bag.row) else (other, bag)
        cut = other.stands.latest("cut")
        by_saw.setdefault(saw_of(other), []).append((cut.event.captured_at if cut else "", near, far))
    charts = []
    for saw, pairs in sorted(by_saw.items()):
        pairs.sort(key=lambda pair: pair[0])
        cut = {
            "core_diameter_mm": np.array([stock.core_sizes[near.row.core_size].core_diameter_mm for _, near, _ in pairs]),
            "kerf_mm": rules.cut.kerf_mm,
            "target_offset_mm": rules.cut.offset_mm,
        }
        near_kg = np.array([near.mass_g / 1000 for _, near, _ in pairs])
        far_kg = np.array([far.mass_g / 1000 for _, _, far in pairs])
        try:
            chart = half_ratio_chart(near_kg=near_kg, far_kg=far_kg, **cut)
            sees = alignment_run_length(shift_mm=np.array(SHIFTS_MM), **(cut | {"core_diameter_mm": cut["core_diameter_mm"][0]}))
        except ImpossibleValue:  # the cut set today leaves nothing of one half of this core
            continue
        charts.append(
            SawChart(
                saw,
                tuple(
                    HalfPair(near.number, far.number, float(a), float(b), float(mm))
                    for (_, near, far), a, b, mm in zip(pairs, near_kg, far_kg, chart.offset_mm, strict=True)
                ),
                chart,
                rules.cut.offset_mm,
                tuple(zip(SHIFTS_MM, np.atleast_1d(sees.pairs_to_signal).tolist(), strict=True)),
                sees.pairs_to_false_alarm,
            )
        )
    return tuple(charts)


def _told_charts(hole_id: str, charts: Iterable[SawChart]) -> Iterable[Finding]:
    """One finding a saw: how far off by its newest signal, and since when by its first."""
    for chart in charts:
        if not chart.chart.signals:
            continue
        signals = chart.chart.signals
        begun, signal = chart.pairs[signals[0].start], signals[-1]
        first, last = chart.pairs[signal.start], chart.pairs[signal.signal]
        yield found(
            "mass.alignment",
            f"both halves on the scale say that {chart.saw} cuts {abs(signal.shift_mm):.1f} mm"
            f" (± {signal.offset_standard_error_mm:.1f}) too far toward the {_plain(signal.toward)} from {first.near}/{first.far}"
            f" to {last.near}/{last.far}; {len(signals)} signal{'s' * (len(signals) != 1)}, the first change at"
            f" {begun.near}/{begun.far}",
            hole_id=hole_id,
            number=first.near,
            evidence={
                "saw": chart.saw,
                "shift_mm": round(signal.shift_mm, 2),
                "standard_error_mm": round(signal.offset_standard_error_mm, 2),
                "first": begun.near,
                "told_at": last.near,
                "signals": len(signals),
            },
        )


def _plain(toward: str) -> str:
    return "half that is bagged" if toward == "near half" else "half that stays"


def group_words(bag: Bag) -> str:
    """The group a bag is judged in, in words."""
    return ", ".join(str(part) for part in group_of(bag) if part)
