"""What may lie behind a mass outside its range, worked out beforehand for every mass the scale can show.

A tablet without network only looks up: the weighing of the causes stays in `core.mass_residuals`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trayside.app.bag_masses import BY_MASS
from trayside.app.bag_words import takes_near_half
from trayside.core.cut_geometry import cut_pieces, quarter_pieces, whole_area
from trayside.core.mass_residuals import (
    AS_PLANNED,
    CAUSES,
    FAR_HALF,
    NEAR_HALF,
    QUARTER,
    UNEXPLAINED,
    WHOLE,
    BagCauses,
    bag_causes,
)
from trayside.errors import ImpossibleValue
from trayside.model.cut_sheet import SheetRow
from trayside.model.rules import Rules
from trayside.model.stock import Stock

STEPS = 180
"""Masses tried for each bag: less than 3 % apart."""
LIGHTEST, HEAVIEST = 0.1, 9.9
"""As shares of what is expected: how far the causes are told apart. Farther off, what is said at these ends holds."""
MOST_NAMED = 2
LEAST_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class CauseBand:
    """Up to this mass these causes are the likeliest, in order; the last band has no end."""

    up_to_g: int | None
    causes: tuple[str, ...]


def cause_bands(rows: Sequence[SheetRow], *, stock: Stock, rules: Rules) -> dict[str, tuple[CauseBand, ...]]:
    """By number, for the core bags of a sheet that have an expected mass; neighbours are those of the whole sheet."""
    bags = [row for row in rows if row.is_core and _weighable(row)]
    if not bags:
        return {}
    masses = [row.expected_kg for row in bags]
    before, after = [np.nan, *masses[:-1]], [*masses[1:], np.nan]
    factors = np.geomspace(LIGHTEST, HEAVIEST, STEPS)
    each = np.ones(STEPS)
    portions = [portion_masses_kg(row, stock=stock, rules=rules) for row in bags]
    weighed = bag_causes(
        measured_kg=np.concatenate([factors * row.expected_kg for row in bags]),
        as_planned_kg=np.concatenate([each * row.expected_kg for row in bags]),
        relative_sd=np.concatenate([each * relative_sd(row, rules) for row in bags]),
        recovered_length_m=np.concatenate([each * row.recovered_mm / 1000 for row in bags]),
        portion_kg={
            name: np.concatenate([each * portion.get(name, np.nan) for portion in portions])
            for name in (NEAR_HALF, FAR_HALF, QUARTER, WHOLE)
        },
        before_kg=np.concatenate([each * mass for mass in before]),
        after_kg=np.concatenate([each * mass for mass in after]),
    )
    named = _named(weighed)
    return {
        row.number: _bands(factors * row.expected_kg, named[at * STEPS : (at + 1) * STEPS])
        for at, row in enumerate(bags)
    }


def relative_sd(row: SheetRow, rules: Rules) -> float:
    """Standard deviation of the expected mass as a share of it, from the range on the sheet."""
    return (row.high_kg - row.low_kg) / 2 / rules.mass.coverage / row.expected_kg


def portion_masses_kg(row: SheetRow, *, stock: Stock, rules: Rules) -> dict[str, float]:
    """Mass of the other pieces of the same core; the planned one is left out, as is what cannot be told apart from it."""
    size = stock.core_sizes.get(row.core_size)
    if size is None:
        return {}
    diameter_mm, cut = size.core_diameter_mm, rules.cut
    try:
        pieces = cut_pieces(core_diameter_mm=diameter_mm, kerf_mm=cut.kerf_mm, offset_mm=cut.offset_mm)
        quarters = quarter_pieces(
            core_diameter_mm=diameter_mm, kerf_mm=cut.kerf_mm, offset_mm=cut.offset_mm, second_offset_mm=0.0
        )
    except ImpossibleValue:  # today's blade does not fit the core this sheet was issued for
        return {}
    whole_mm2 = float(whole_area(core_diameter_mm=diameter_mm))
    area_mm2 = {
        NEAR_HALF: float(pieces.near_mm2),
        FAR_HALF: float(pieces.far_mm2),
        QUARTER: float(quarters.near_quarter_mm2),
        WHOLE: whole_mm2,
    }
    if row.method == BY_MASS:
        planned_mm2 = whole_mm2 * {"half": 0.5, "quarter": 0.25, "whole": 1.0}[row.portion]
        area_mm2 = {WHOLE: whole_mm2} if row.portion != "whole" else {}
    else:
        near = takes_near_half(row)
        planned = {"half": NEAR_HALF if near else FAR_HALF, "quarter": QUARTER, "whole": WHOLE}[row.portion]
        planned_mm2 = area_mm2.pop(planned)
    return {name: row.expected_kg * area / planned_mm2 for name, area in area_mm2.items()}


def _weighable(row: SheetRow) -> bool:
    known = row.expected_kg and row.low_kg is not None and row.high_kg is not None and row.recovered_mm
    return bool(known) and row.high_kg > row.low_kg


def _named(weighed: BagCauses) -> list[tuple[str, ...]]:
    """The likeliest causes at each mass, the bag as planned left out."""
    share = weighed.share.copy()
    share[:, CAUSES.index(AS_PLANNED)] = 0.0
    order = np.argsort(-share, axis=1, kind="stable")[:, :MOST_NAMED]
    named = [
        tuple(CAUSES[cause] for cause in first if share[at, cause] >= LEAST_SHARE)
        for at, first in enumerate(order.tolist())
    ]
    # "None of these" says nothing beside a cause that can be looked for.
    return [tuple(cause for cause in causes if cause != UNEXPLAINED) or causes for causes in named]


def _bands(mass_kg: np.ndarray, named: list[tuple[str, ...]]) -> tuple[CauseBand, ...]:
    """Neighbouring masses with the same causes as one band; between two of the masses tried lies its end."""
    bands = []
    for at, causes in enumerate(named):
        if at + 1 == len(named):
            bands.append(CauseBand(None, causes))
        elif named[at + 1] != causes:
            bands.append(CauseBand(round(1000 * float(np.sqrt(mass_kg[at] * mass_kg[at + 1]))), causes))
    return tuple(bands)
