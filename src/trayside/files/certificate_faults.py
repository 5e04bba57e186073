"""What keeps a certificate from being read at all: lines cut off, results without a number, formulas, error cells."""

from __future__ import annotations

import numpy
import polars

from trayside.app.ports import Fault
from trayside.files.certificate_cells import Cells
from trayside.files.certificate_layout import Layout
from trayside.files.certificate_sheet import NAME
from trayside.files.certificate_workbook import ERROR_CELLS, Grid
from trayside.files.fault_list import SHOWN, shortened, the_rest


def faults_of(grid: Grid, layout: Layout, cells: Cells, *, form: str) -> list[Fault]:
    """Every fault of the lines, each with its line, its column, what was read and what to do."""
    faults = _nameless(grid, cells)
    faults += _short_lines(grid, layout, cells)
    if form == "xlsx":
        faults += _formulas(grid, layout, cells)
    faults += _error_cells(grid, layout, cells)
    if cells.lines.is_empty():
        problem = "there is no line with a sample number below the header"
        faults.append(Fault(NAME, grid.line(layout.header_row), None, None, problem, "Look whether the file was cut off"))
    elif cells.results.is_empty():
        faults.append(Fault(NAME, None, None, None, "there is no result in it", "Look whether the file was cut off"))
    return faults


def _nameless(grid: Grid, cells: Cells) -> list[Fault]:
    problem, remedy = "results stand on a line without a sample number", "Ask the laboratory whose results they are"
    shown = [Fault(NAME, grid.line(row), None, None, problem, remedy) for row in cells.nameless[:SHOWN]]
    return shown + the_rest(NAME, None, len(cells.nameless), problem, remedy)


def _short_lines(grid: Grid, layout: Layout, cells: Cells) -> list[Fault]:
    """A line that ends before its results do: at the end of the file it was cut off."""
    if grid.cells is None or cells.lines.is_empty():
        return []
    wanted = [*layout.results] if layout.kind == "wide" else [layout.columns.get("value", 1)]
    rows = cells.lines["row"].to_numpy()
    counts = grid.cells[rows]
    usual = int(numpy.bincount(counts)[::-1].argmax())
    usual = int(counts.max()) - usual  # of two that are as frequent the larger
    last, needed = int(rows[-1]), max(wanted, default=1)
    faults = []
    # Lines that end early may have lost empty cells only; the last one alone being short is a file that was cut off.
    before = counts[:-1] if len(counts) > 1 else grid.cells[[layout.header_row]]
    if counts[-1] < min(usual if len(counts) > 1 else needed, needed) <= before.min():
        problem = f"the last line has {grid.cells[last]} cells where the others have {usual}: the file was cut off"
        faults.append(Fault(NAME, grid.line(last), None, shortened(_line_text(grid, last)), problem, "Copy the file again"))
    width = max((place for place in range(1, grid.width + 1) if grid.text(layout.header_row, place)), default=1)
    width = max(width, needed)
    longer = rows[counts > width]
    beyond = [int(row) for row in longer if any(grid.text(int(row), p) for p in range(width + 1, grid.width + 1))]
    if len(beyond) > len(rows) / 2:
        beyond = []  # remarks in columns without a name, line for line: nothing was shifted
    problem = "the line has more cells than the header: a comma inside a cell shifts its results"
    remedy = "Ask for the file with another mark between cells, or with quoted cells"
    for row in beyond[:SHOWN]:
        faults.append(Fault(NAME, grid.line(row), None, shortened(_line_text(grid, row)), problem, remedy))
    return faults + the_rest(NAME, None, len(beyond), problem, remedy)


def _line_text(grid: Grid, row: int) -> str:
    return ",".join(cell or "" for cell in grid.cells_frame.row(row)).rstrip(",")


def _of_interest(layout: Layout) -> dict[int, str]:
    places = dict.fromkeys(layout.columns.values(), "")
    return places | dict.fromkeys(layout.results, "")


def _formulas(grid: Grid, layout: Layout, cells: Cells) -> list[Fault]:
    wanted, rows = _of_interest(layout), set(cells.lines["row"])
    found = sorted(spot for spot in grid.formulas if spot[1] in wanted and spot[0] in rows)
    problem, remedy = "a formula stands where a value belongs", "Ask the laboratory for values, or save the sheet as values"
    faults = [
        Fault(NAME, grid.line(row), _name(grid, layout, place), shortened(grid.text(row, place)), problem, remedy)
        for row, place in found[:SHOWN]
    ]
    return faults + the_rest(NAME, None, len(found), problem, remedy)


def _error_cells(grid: Grid, layout: Layout, cells: Cells) -> list[Fault]:
    """Cells in which the spreadsheet itself reports an error."""
    wanted = [f"c{place}" for place in _of_interest(layout) if f"c{place}" in grid.cells_frame.columns]
    frame = grid.cells_frame.select(wanted).with_row_index("row")
    bad = frame.filter(polars.any_horizontal(polars.col(wanted).is_in(ERROR_CELLS)))
    problem, remedy = "the cell holds an error of the spreadsheet", "Ask the laboratory for the value of this cell"
    faults = []
    for row in bad.head(SHOWN).iter_rows(named=True):
        for name in wanted:
            if row[name] in ERROR_CELLS:
                place = int(name[1:])
                faults.append(Fault(NAME, grid.line(row["row"]), _name(grid, layout, place), row[name], problem, remedy))
    return faults + the_rest(NAME, None, bad.height, problem, remedy)


def _name(grid: Grid, layout: Layout, place: int) -> str:
    return grid.text(layout.header_row, place) or f"column {place}"
