"""What stands behind the numbers on a certificate: samples, pairs, standards and blanks, and what these should read.

The laboratory knows numbers only. Everything a result is judged against comes from the yard: the issued sheets, the
ledger of the bench, the certificates of the materials.
"""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from trayside.app.bag_views import Bag, HoleBags, hole_bags
from trayside.app.bench_causes import relative_sd
from trayside.app.ports import Work
from trayside.core.units import grade_factor
from trayside.model.rules import Rules
from trayside.model.stock import Stock

NUMBER_COLUMNS = {
    "number": pl.String,
    "role": pl.String,
    "material": pl.String,
    "material_kind": pl.String,
    "lot": pl.String,
    "pair_of": pl.String,
    "pair_kind": pl.String,
    "hole_id": pl.String,
    "seq": pl.Int64,
    "from_mm": pl.Int64,
    "to_mm": pl.Int64,
    "recovered_mm": pl.Int64,
    "rock": pl.String,
    "grade_class": pl.String,
    "expected_ppm": pl.Float64,
    "kg": pl.Float64,
    "weighed": pl.Boolean,
    "expected_kg": pl.Float64,
    "expected_rel_sd": pl.Float64,
    "sawn_before": pl.String,
}
"""One row a number of an issued sheet. `role` is the kind of its row: sample, duplicate, standard, blank.

`kg` is what the bag weighed, else what it should weigh. `sawn_before` is, for a blank, the sample that was cut last
before the blank was bagged.
"""

CERTIFIED_COLUMNS = {
    "material": pl.String,
    "element": pl.String,
    "certified_ppm": pl.Float64,
    "sd_ppm": pl.Float64,
    "expanded_ppm": pl.Float64,
    "coverage_factor": pl.Float64,
    "laboratories": pl.Int64,
    "upper_ppm": pl.Float64,
    "is_blank": pl.Boolean,
}


def certified_frame(stock: Stock) -> pl.DataFrame:
    """What standards and blanks should read, in ppm."""
    blanks = {material.material for material in stock.materials if material.kind != "standard"}
    rows = []
    for one in stock.certified:
        factor = float(grade_factor(from_unit=one.unit, to_unit="[ppm]"))
        value, sd, expanded, limit = (
            None if number is None else number * factor
            for number in (one.certified, one.performance_sd, one.expanded_uncertainty, one.upper_limit)
        )
        rows.append(
            (one.material, one.element, value, sd, expanded, one.coverage_factor or 2.0, one.laboratories, limit,
             one.material in blanks)
        )  # fmt: skip
    return pl.DataFrame(rows, schema=CERTIFIED_COLUMNS, orient="row")


def number_frame(work: Work, numbers: Iterable[str], *, rules: Rules, stock: Stock) -> pl.DataFrame:
    """Every number of the sheets that these numbers belong to; numbers that no sheet carries are not in it."""
    holes = sorted({ticket.hole_id for ticket in work.tickets(numbers).values()})
    rows: list[tuple] = []
    for hole_id in holes:
        bags = hole_bags(work, hole_id)
        if bags is not None:
            rows += rows_of_hole(bags, rules=rules, stock=stock)
    return pl.DataFrame(rows, schema=NUMBER_COLUMNS, orient="row")


def rows_of_hole(hole: HoleBags, *, rules: Rules, stock: Stock) -> list[tuple]:
    """Rows of NUMBER_COLUMNS for one hole, in sheet order."""
    materials = {material.material: material for material in stock.materials}
    expected = {one.name: one.expected_g_t for one in rules.grade_classes}
    first_of = {bag.number: bag for bag in hole.bags}
    before = _sawn_before(hole.bags)
    rows = []
    for bag in hole.bags:
        row = bag.row
        material = materials.get(row.material or "")
        grade_class = row.grade_class
        if grade_class is None and row.duplicate_of in first_of:
            grade_class = first_of[row.duplicate_of].row.grade_class
        rows.append(
            (
                row.number,
                row.kind,
                row.material,
                material.kind if material else ("standard" if row.kind == "standard" else None),
                (material.lot or material.material) if material else None,
                row.duplicate_of,
                row.duplicate_type,
                hole.hole_id,
                row.seq,
                row.from_mm,
                row.to_mm,
                row.recovered_mm,
                row.rock,
                grade_class,
                expected.get(grade_class or ""),
                bag.mass_g / 1000 if bag.mass_g is not None else row.expected_kg,
                bag.mass_g is not None,
                row.expected_kg,
                relative_sd(row, rules) if row.is_core and row.expected_kg else None,
                before.get(row.number),
            )
        )
    return rows


def _sawn_before(bags: Iterable[Bag]) -> dict[str, str]:
    """For each blank the sample cut last before it was bagged: by the ledger, else by the order of the sheet."""
    cuts = sorted(
        (fact.event.captured_at, bag.row.seq, bag.number)
        for bag in bags
        if bag.row.is_core and (fact := bag.stands.latest("cut")) is not None
    )
    found, last_core = {}, None
    for bag in bags:
        if bag.row.is_core:
            last_core = bag.number
        elif bag.row.kind == "blank":
            inserted = bag.stands.latest("inserted")
            earlier = [cut for cut in cuts if inserted and cut[0] <= inserted.event.captured_at]
            number = earlier[-1][2] if earlier else last_core
            if number is not None:
                found[bag.number] = number
    return found
