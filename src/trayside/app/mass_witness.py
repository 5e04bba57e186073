"""Mass as witness over the bags of a hole: wrong halves, exchanged neighbours, slipped numbers, light and heavy bags.

    weighed / expected  ->  bags of an operator that weigh like the other half, set apart
                        ->  groups that are off as a whole, with the core size that would explain it
                        ->  judged by their group (rock, method, size, moisture), light and heavy
                        ->  exchanged neighbours and slipped numbers, in sheet order
                        ->  what of this could not have been seen, said for every tray

A bag that one of the first explains is not told again as light or heavy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from trayside.app.bag_views import Bag
from trayside.app.bag_words import takes_near_half
from trayside.app.bench_causes import portion_masses_kg, relative_sd
from trayside.core.identity_search import CANNOT_SEE, MixUp, SearchSettings, search_identity, swap_power
from trayside.core.mass_residuals import (
    AS_PLANNED,
    FAR_HALF,
    INSIDE,
    MEDIAN_VARIANCE,
    NEAR_HALF,
    UNEXPLAINED,
    bag_causes,
    mass_residuals,
)
from trayside.core.mass_residuals import ask_about_bag as ask
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.rules import DispatchSettings, Rules
from trayside.model.stock import Stock

SHARED = 0.5
"""Share of the variance of a bag's mass that the bags of a group have in common, as in the residuals."""
LEAST_IN_GROUP = 4
"""Bags of a group before anything is said of all of them."""
SIZE_FITS = 0.08
"""A core size explains a ratio that lies this near to that of its area, in logarithms."""
LEAST_OTHER_HALVES = 3
"""Bags of one operator that must weigh like the other half before it is said of the operator."""


@dataclass(frozen=True, slots=True)
class Witness:
    """What the masses of one hole's bags say. `share_seen` is of exchanges of neighbours; NaN without pairs."""

    findings: tuple[Finding, ...]
    weighed: int
    share_seen: float
    pairs: int
    pairs_unseen: int
    expected_kg: dict[str, float] = field(default_factory=dict)
    """What each bag should weigh by its group, for the bags that have an expected mass."""
    relative_sd: dict[str, float] = field(default_factory=dict)
    """How sure that is, as a share of it."""


def search_settings(settings: DispatchSettings) -> SearchSettings:
    return SearchSettings(
        swap_chance=settings.swap_chance,
        slip_chance=settings.slip_chance,
        odd_share=settings.odd_share,
        odds_to_speak=settings.odds_to_speak,
    )


def hear_masses(bags: Sequence[Bag], *, rules: Rules, stock: Stock) -> Witness:
    """The findings on the masses of one hole's bags, given in sheet order, with what could not be seen."""
    known = [bag for bag in bags if weighable(bag) and bag.state != "void"]
    if not known:
        return Witness((), 0, float("nan"), 0, 0)
    search = search_settings(rules.dispatch)
    groups, in_groups = _groups(known, rules, stock)
    other = _other_halves([bag for bag in known if bag.number not in in_groups], rules, stock)
    predicted = np.array([other.expected_kg.get(bag.number, bag.row.expected_kg) for bag in known])
    own_sd = np.array([relative_sd(bag.row, rules) for bag in known])
    measured = np.array([np.nan if bag.mass_g is None else bag.mass_g / 1000 for bag in known])
    weighed = np.flatnonzero(~np.isnan(measured))
    expected, spread = predicted.copy(), own_sd.copy()
    if len(weighed):
        judged = mass_residuals(
            measured_kg=measured[weighed],
            predicted_kg=predicted[weighed],
            predicted_sd_kg=(own_sd * predicted)[weighed],
            group=[group_of(known[at]) for at in weighed],
            coverage_factor=rules.mass.coverage,
        )
        expected[weighed], spread[weighed] = judged.expected_kg, judged.relative_sd
    identity = search_identity(measured_kg=measured, predicted_kg=expected, relative_sd=spread, settings=search)
    told = set(other.numbers)
    findings = [*other.findings, *groups]
    for mix_up in identity.found:
        findings.append(_mix_up(mix_up, known))
        told |= {bag.number for bag in known[mix_up.first : mix_up.last + 1]}
    for place, at in enumerate(weighed):
        if judged.verdict[place] != INSIDE and known[at].number not in told:
            findings.append(_odd_bag(int(at), known, measured, expected, spread, rules, stock))
    unseen = [at for at, verdict in enumerate(identity.pairs.verdict) if verdict == CANNOT_SEE]
    findings += _cannot_see(known, expected, spread, unseen, search)
    pairs = len(identity.pairs.verdict)
    return Witness(
        findings=tuple(findings),
        weighed=len(weighed),
        share_seen=identity.share_seen if pairs else float("nan"),
        pairs=pairs,
        pairs_unseen=len(unseen),
        expected_kg={bag.number: float(kg) for bag, kg in zip(known, expected, strict=True)},
        relative_sd={bag.number: float(sd) for bag, sd in zip(known, spread, strict=True)},
    )


def weighable(bag: Bag) -> bool:
    """Whether the sheet says what it should weigh, and how sure that is."""
    row = bag.row
    return bool(row.expected_kg) and row.low_kg is not None and row.high_kg is not None and row.high_kg > row.low_kg


def group_of(bag: Bag) -> tuple[str | None, ...]:
    """What weighs alike: rock, method, core size and moisture of one hole, or one material."""
    row = bag.row
    return (row.rock, row.method, row.core_size, bag.moisture) if row.is_core else ("control", row.material)


# groups that are off as a whole


def _groups(bags: Sequence[Bag], rules: Rules, stock: Stock) -> tuple[list[Finding], set[str]]:
    """Groups whose bags are all off alike, with the core size that would explain it; and the numbers of their bags.

    Half of the variance of a bag is taken to be common to its group, so a group can be off by that much by chance. A
    group that weighs like its other halves is left to those who look for the other half.
    """
    rows: dict[tuple, list[Bag]] = {}
    for bag in bags:
        if bag.row.is_core and bag.mass_g is not None:
            rows.setdefault(group_of(bag), []).append(bag)
    findings, numbers = [], set()
    for group, held in rows.items():
        if len(held) < LEAST_IN_GROUP:
            continue
        common = float(np.median([np.log(bag.mass_g / 1000 / bag.row.expected_kg) for bag in held]))
        spread = float(np.median([relative_sd(bag.row, rules) for bag in held]))
        sd = spread * float(np.sqrt(SHARED + (1.0 - SHARED) * MEDIAN_VARIANCE / len(held)))
        if abs(common) <= rules.mass.coverage * sd:
            continue
        size, off = _size_that_explains(held[0], common, stock)
        if _off_other_half(held, common, rules, stock) < min(off, SIZE_FITS):
            continue
        first, last = held[0], held[-1]
        also = f"; core of size {size} would weigh that" if size else ""
        numbers |= {bag.number for bag in held}
        findings.append(
            found(
                "mass.group",
                f"the {len(held)} bags of {', '.join(str(part) for part in group if part)} weigh {np.exp(common):.2f} times what"
                f" they should{also}",
                hole_id=first.hole_id,
                number=first.number,
                from_mm=min(bag.row.from_mm for bag in held),
                to_mm=max(bag.row.to_mm for bag in held),
                evidence={
                    "bags": len(held),
                    "ratio": round(float(np.exp(common)), 3),
                    "deviations": round(common / sd, 1),
                    "core_size": first.row.core_size or "",
                    "explained_by": size,
                    "last": last.number,
                },
            )
        )
    return findings, numbers


def _off_other_half(bags: Sequence[Bag], common: float, rules: Rules, stock: Stock) -> float:
    """How far the common ratio lies from that of the other half, in logarithms; infinite where there is none."""
    ratios = []
    for bag in bags:
        if bag.row.portion == "half" and bag.row.side:
            other_kg = portion_masses_kg(bag.row, stock=stock, rules=rules).get(_other_name(bag))
            if other_kg:
                ratios.append(float(np.log(other_kg / bag.row.expected_kg)))
    return abs(common - float(np.median(ratios))) if ratios else float("inf")


def _size_that_explains(bag: Bag, common: float, stock: Stock) -> tuple[str, float]:
    """The core size whose area comes nearest to this ratio, and how far off it is, in logarithms; '' when none is near."""
    own = stock.core_sizes.get(bag.row.core_size)
    if own is None:
        return "", float("inf")
    off = {
        size.core_size: abs(2.0 * float(np.log(size.core_diameter_mm / own.core_diameter_mm)) - common)
        for size in stock.core_sizes.values()
        if size.core_diameter_mm != own.core_diameter_mm
    }
    best = min(off, key=off.get, default="")
    return (best, off[best]) if best and off[best] <= SIZE_FITS else ("", float("inf"))


# wrong halves


@dataclass(frozen=True, slots=True)
class _OtherHalves:
    findings: tuple[Finding, ...]
    numbers: frozenset[str]
    expected_kg: dict[str, float]


def _other_halves(bags: Sequence[Bag], rules: Rules, stock: Stock) -> _OtherHalves:
    """Bags that hold the half which should have stayed, by mass and by what was recorded, operator by operator."""
    by_operator: dict[str, list[tuple[Bag, float | None, float]]] = {}
    for bag in bags:
        row = bag.row
        if row.is_core and row.portion == "half" and row.side and bag.operator:
            other_kg = portion_masses_kg(bag.row, stock=stock, rules=rules).get(_other_name(bag))
            by_operator.setdefault(bag.operator, []).append((bag, other_kg, _log_odds(bag, other_kg, rules)))
    findings, numbers, expected = [], set(), {}
    least = float(np.log(rules.dispatch.odds_to_speak))
    for operator, cut in sorted(by_operator.items()):
        by_mass = [bag for bag, _, odds in cut if odds > least]
        recorded = [bag for bag, _, _ in cut if bag.side_recorded not in ("", bag.row.side)]
        if len(by_mass) < LEAST_OTHER_HALVES:
            by_mass = []
        named = [bag for bag, _, _ in cut if bag in by_mass or bag in recorded]
        if not named:
            continue
        numbers |= {bag.number for bag in named}
        expected |= {bag.number: kg for bag, kg, _ in cut if bag in by_mass and kg}
        expected |= {bag.number: kg for bag, kg, odds in cut if bag in recorded and kg and odds > 0.0}
        said = [f"{len(by_mass)} by mass"] if by_mass else []
        said += [f"{len(recorded)} by what was recorded"] if recorded else []
        first, last = named[0], named[-1]
        findings.append(
            found(
                "mass.other_half",
                f"{operator}: {len(named)} of {len(cut)} bags hold the half that should stay ({', '.join(said)}),"
                f" {first.number} to {last.number}",
                hole_id=first.hole_id,
                number=first.number,
                from_mm=min(bag.row.from_mm for bag in named),
                to_mm=max(bag.row.to_mm for bag in named),
                evidence={
                    "operator": operator,
                    "bags": len(named),
                    "bags_of_operator": len(cut),
                    "by_mass": len(by_mass),
                    "recorded": len(recorded),
                    "numbers": " ".join(bag.number for bag in named),
                },
            )
        )
    return _OtherHalves(tuple(findings), frozenset(numbers), expected)


def _other_name(bag: Bag) -> str:
    return FAR_HALF if takes_near_half(bag.row) else NEAR_HALF


def _log_odds(bag: Bag, other_kg: float | None, rules: Rules) -> float:
    """Log odds of the other half against the planned one by mass alone; 0 when the scale cannot tell them apart."""
    if not other_kg or bag.mass_g is None:
        return 0.0
    mass = np.log(bag.mass_g / 1000)
    sd = relative_sd(bag.row, rules)
    planned_off, other_off = (mass - np.log(kg) for kg in (bag.row.expected_kg, other_kg))
    if abs(other_off) > rules.mass.coverage * sd:
        return 0.0  # it fits neither
    return float((planned_off**2 - other_off**2) / (2.0 * sd * sd))


# exchanged, slipped, odd


def _mix_up(one: MixUp, bags: Sequence[Bag]) -> Finding:
    first, last = bags[one.first], bags[one.last]
    odds = f"odds {one.odds:.0f} to 1" if one.odds < 1e6 else "odds above a million to 1"
    place = {"hole_id": first.hole_id, "tray": first.tray, "number": first.number}
    evidence = {"first": first.number, "last": last.number, "odds": round(min(one.odds, 1e12), 1)}
    if one.kind == "exchange":
        return found(
            "mass.exchanged",
            f"{first.number} and {last.number} weigh what the other should ({_kg(first)} and {_kg(last)}), {odds}",
            evidence=evidence | {"first_g": first.mass_g, "last_g": last.mass_g},
            **place,
        )
    neighbour = "after" if one.lag > 0 else "before"
    begins = _span(bags, one.first_earliest, one.first_latest)
    ends = _span(bags, one.last_earliest, one.last_latest)
    return found(
        "mass.slip",
        f"{first.number} to {last.number} weigh what the number {neighbour} each should, {odds};"
        f" it begins at {begins} and ends at {ends}",
        evidence=evidence | {"lag": one.lag, "bags": one.last - one.first + 1, "begins": begins, "ends": ends},
        **place,
    )


def _kg(bag: Bag) -> str:
    return f"{(bag.mass_g or 0) / 1000:.2f} kg"


def _span(bags: Sequence[Bag], first: int, last: int) -> str:
    return bags[first].number if first == last else f"{bags[first].number}–{bags[last].number}"


def _odd_bag(
    at: int, bags: Sequence[Bag], measured, expected, spread, rules: Rules, stock: Stock
) -> Finding:
    bag = bags[at]
    scale = expected[at] / bag.row.expected_kg
    difference = float(measured[at] - expected[at])
    if bag.row.is_core:
        causes = bag_causes(
            measured_kg=measured[at],
            as_planned_kg=expected[at],
            relative_sd=spread[at],
            recovered_length_m=max((bag.row.recovered_mm or 0) / 1000, 0.001),
            portion_kg={name: kg * scale for name, kg in portion_masses_kg(bag.row, stock=stock, rules=rules).items()},
            before_kg=expected[at - 1] if at else np.nan,
            after_kg=expected[at + 1] if at + 1 < len(bags) else np.nan,
        ).ranked(0)
        # "None of these" says nothing beside a cause that can be looked for.
        causes = [one for one in causes if one.cause not in (AS_PLANNED, UNEXPLAINED)] or causes
        words = ask(difference_kg=difference, causes=causes)
    else:
        words = f"{abs(difference):.2f} kg {'light' if difference < 0 else 'heavy'} for {bag.row.kind}: open and look"
    span = {"from_mm": bag.row.from_mm, "to_mm": bag.row.to_mm} if bag.row.is_core else {}
    return found(
        "mass.light" if difference < 0 else "mass.heavy",
        f"{bag.number} {words}",
        hole_id=bag.hole_id,
        tray=bag.tray,
        number=bag.number,
        evidence={
            "mass_g": bag.mass_g,
            "expected_g": round(float(expected[at]) * 1000),
            "deviations": round(float(np.log(measured[at] / expected[at]) / spread[at]), 1),
            "operator": bag.operator,
        },
        **span,
    )


# what mass cannot say


def _cannot_see(bags: Sequence[Bag], expected, spread, unseen: Sequence[int], search: SearchSettings) -> list[Finding]:
    """One note a tray that has pairs whose exchange mass would not show."""
    by_tray: dict[int | None, list[int]] = {}
    for at in unseen:
        by_tray.setdefault(bags[at].tray, []).append(at)
    notes = []
    for tray, starts in by_tray.items():
        places = [at for at, bag in enumerate(bags) if bag.tray == tray]
        # With the first bag of the next tray: the pair across the edge belongs to this one.
        places += [places[-1] + 1] if places[-1] + 1 < len(bags) else []
        power = swap_power(predicted_kg=expected[places], relative_sd=spread[places], settings=search)
        pairs = [f"{bags[at].number}/{bags[at + 1].number}" for at in starts]
        shown = ", ".join(pairs[:4]) + (f" and {len(pairs) - 4} more" if len(pairs) > 4 else "")
        notes.append(
            found(
                "mass.cannot_see",
                f"an exchange at {len(pairs)} of {len(power.per_pair)} pairs of neighbours cannot be seen by mass: {shown};"
                f" of all exchanges in this tray mass would show {power.share_seen:.0%}",
                hole_id=bags[starts[0]].hole_id,
                tray=tray,
                number=bags[starts[0]].number,
                evidence={
                    "pairs": len(power.per_pair),
                    "pairs_unseen": len(pairs),
                    "share_seen": round(power.share_seen, 3),
                    "unseen": " ".join(pairs),
                },
            )
        )
    return notes
