"""The lines of a certificate as a frame: numbers, kinds, racks and received masses, each distinct text read once."""

from __future__ import annotations

from collections.abc import Mapping

import polars

from trayside.app.assay_ports import LINE_ROW
from trayside.app.ports import Fault
from trayside.core.assay_value import ReadingRules, read_assay_value
from trayside.core.units import kg_from_lb
from trayside.files.certificate_cells import Cells
from trayside.files.certificate_lines import LineRules, line_rules, read_lines
from trayside.files.certificate_sheet import NAME
from trayside.files.certificate_workbook import Grid
from trayside.files.fault_list import SHOWN, shortened, the_rest
from trayside.model.event import CODE

MASS_UNITS_ASKED = ("kg", "g", "lb")
HEAVIEST_KG = 2_000.0
LINE_NOTES = {"place": polars.Int64, "note": polars.String}


def lines_frame(
    grid: Grid, cells: Cells, settled: Mapping[str, str], rules: ReadingRules
) -> tuple[polars.DataFrame, polars.DataFrame, list[Fault]]:
    """Lines (LINE_ROW and the line of the file), notes on them, and faults of their numbers.

    A settlement `take:READ` = "NUMBER" puts a number in the place of one the laboratory misread.
    """
    told = line_rules(settled)
    taken = {key.removeprefix("take:"): text for key, text in settled.items() if key.startswith("take:")}
    numbers = read_lines(cells.lines, told)
    if taken:
        numbers = numbers.with_columns(polars.col("number").replace(taken))
    masses = _masses(cells, rules)
    lines = (
        cells.lines.join(numbers, on=["written", "mark"], how="left", maintain_order="left")
        .join(masses, on="mass", how="left", maintain_order="left")
        .with_columns(polars.col("written").alias("as_written"))
    )
    faults = _bad_numbers(grid, lines)
    notes = [
        lines.filter(polars.col("why") != "").select("place", polars.col("why").alias("note")),
        lines.filter(polars.col("mass_note") != "").select("place", polars.col("mass_note").alias("note")),
    ]
    number_of = (
        polars.col("row") + 1
        if grid.line_numbers is None
        else polars.col("row").replace_strict(dict(enumerate(grid.line_numbers)), return_dtype=polars.Int64)
    )
    frame = lines.select(
        *(polars.col(name).cast(kind) for name, kind in LINE_ROW.items()), number_of.cast(polars.Int64).alias("line")
    )
    return frame, polars.concat(notes).cast(LINE_NOTES), faults


def _masses(cells: Cells, rules: ReadingRules) -> polars.DataFrame:
    """Kilograms by the text of a mass; none, with a note, when it is no mass."""
    found = []
    for text in cells.lines["mass"].fill_null("").unique():
        one = read_assay_value(text, rules=rules)
        value = None if one.value is None or one.censor != "none" else float(one.value)
        if value is not None:
            value = {"g": value / 1000, "lb": float(kg_from_lb(mass_lb=value)) if value >= 0 else None}.get(cells.mass_unit, value)
        wrong = one.censor == "review" or (value is not None and not 0 < value <= HEAVIEST_KG)
        found.append((text, None if wrong else value, f"the mass {text[:30]!r} cannot be" if wrong else ""))
    schema = {"mass": polars.String, "mass_kg": polars.Float64, "mass_note": polars.String}
    return polars.DataFrame(found, schema=schema, orient="row")


def _bad_numbers(grid: Grid, lines: polars.DataFrame) -> list[Fault]:
    distinct = lines.select("number").unique()["number"].to_list()
    bad = [number for number in distinct if number is None or not CODE.fullmatch(number)]
    if not bad:
        return []
    rows = lines.filter(polars.col("number").is_in(bad))
    problem = "this cannot be a sample number"
    remedy = "Use letters, digits, space and . _ / + - (up to 80), or ask the laboratory what it stands for"
    faults = [
        Fault(NAME, grid.line(row["row"]), "number", shortened(row["written"]), problem, remedy)
        for row in rows.head(SHOWN).iter_rows(named=True)
    ]
    return faults + the_rest(NAME, "number", rows.height, problem, remedy)


def own_marks(cells: Cells, rules: LineRules) -> list[str]:
    """Which lines would be read as the laboratory's own, and marks nobody knows."""
    read = cells.lines.join(read_lines(cells.lines, rules), on=["written", "mark"], how="left", maintain_order="left")
    own = read.filter(polars.col("line_kind") != "sample").group_by("line_kind", maintain_order=True)
    kinds = {kind: (count, some) for kind, count, some in own.agg(polars.len(), polars.col("written").head(3)).iter_rows()}
    unknown = dict(read.filter(polars.col("why") != "").group_by("mark", maintain_order=True).len().iter_rows())
    said = [f"{count} lines are {kind} lines: {', '.join(some)}" for kind, (count, some) in kinds.items()]
    if unknown:
        marks = ", ".join(f"{mark[:30]!r} ({count})" for mark, count in list(unknown.items())[:8])
        said.append(f"marks nobody knows, read as samples: {marks}; a settlement mark:TEXT=KIND settles one")
    return said
