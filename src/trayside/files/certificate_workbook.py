"""The sheets of an XLSX certificate as grids of text cells: merged cells spread, formulas and error cells marked."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from itertools import islice

import numpy
import openpyxl
import polars
from openpyxl.utils.cell import range_boundaries

from trayside.app.ports import Fault
from trayside.files.text_table import DATE_MARK
from trayside.files.xlsx_table import LAST_ROW, _refused, _text

NAME = "certificate"
MOST_SHEETS = 30
MOST_COLUMNS = 2_000
MOST_CELLS = 20_000_000
MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=\"([A-Z]{1,3}[0-9]{1,7}:[A-Z]{1,3}[0-9]{1,7})\"")
MOST_MERGED = 20_000
FORMULA_MARK = "="
ERROR_CELLS = ("#N/A", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#NULL!", "#GETTING_DATA")


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """One sheet: its cells as text (columns c1, c2, ... ; null where nothing stands) and the line of each row.

    `cells` is the number of cells a line of a CSV file has; None for a workbook. `line_numbers` None: row i is line i + 1.
    `formulas` are the (row, column) whose text is a formula, not a value.
    """

    title: str
    cells_frame: polars.DataFrame
    cells: numpy.ndarray | None
    line_numbers: polars.Series | None
    formulas: frozenset[tuple[int, int]] = frozenset()

    @property
    def width(self) -> int:
        return self.cells_frame.width

    @property
    def height(self) -> int:
        return self.cells_frame.height

    def line(self, row: int) -> int:
        """The line of a row as a person sees it in the file."""
        return row + 1 if self.line_numbers is None else int(self.line_numbers[row])

    def text(self, row: int, column: int) -> str:
        """A cell without outer space; empty when nothing stands there. Rows count from 0, columns from 1."""
        if not (0 <= row < self.height and 1 <= column <= self.width):
            return ""
        return (self.cells_frame.item(row, column - 1) or "").strip()


def read_sheets(raw: bytes) -> tuple[tuple[Grid, ...], list[Fault]]:
    """Every sheet that holds anything, and the faults of the workbook's form."""
    fault = _refused(NAME, raw)
    if fault is not None:
        return (), [fault]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns about drawings and styles it leaves out
            return _grids(raw), []
    except _TooLarge as error:
        return (), [Fault(NAME, None, None, None, str(error), "Save the results alone, as a workbook or as CSV")]
    except Exception as error:  # damage raises nearly anything: KeyError, ParseError, ValueError, zlib.error
        problem = f"the workbook is damaged ({type(error).__name__})"
        return (), [Fault(NAME, None, None, None, problem, "Open it in the spreadsheet and save it again as .xlsx")]


class _TooLarge(Exception):
    pass


def _grids(raw: bytes) -> tuple[Grid, ...]:
    book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=False, keep_links=False)
    found = []
    try:
        if len(book.worksheets) > MOST_SHEETS:
            raise _TooLarge(f"the workbook has {len(book.worksheets)} sheets")
        for sheet in book.worksheets:
            merged = _merged(raw, getattr(sheet, "_worksheet_path", ""))
            # The stated size of a sheet is often wrong; forgetting it makes openpyxl go by the cells.
            sheet.reset_dimensions()
            grid = _grid(sheet, merged)
            if grid is not None:
                found.append(grid)
    finally:
        book.close()
    return tuple(found)


def _grid(sheet, merged: list[tuple[int, int, int, int]]) -> Grid | None:
    rows: list[list[str | None]] = []
    formulas, held, width = set(), 0, 0
    for number, row in enumerate(sheet.iter_rows()):
        if number >= LAST_ROW:
            raise ValueError("a row number beyond the last row a sheet can have")
        cells = []
        for place, cell in enumerate(row, start=1):
            text = _text(cell.value)
            if text is not None and (cell.data_type == "f" or not isinstance(cell.value, str)) and text.startswith("="):
                formulas.add((number, place))
            cells.append(text.removeprefix(DATE_MARK) if text else None)
        while cells and not (cells[-1] and cells[-1].strip()):
            cells.pop()
        rows.append(cells)
        width = max(width, len(cells))
        held += len(cells)
        if width > MOST_COLUMNS or held > MOST_CELLS:
            raise _TooLarge(f"the sheet {sheet.title} holds more than {MOST_COLUMNS:,} columns or {MOST_CELLS:,} cells")
    while rows and not rows[-1]:
        rows.pop()
    if not rows:
        return None
    if len(rows) * width > 3 * MOST_CELLS:
        raise _TooLarge(f"the sheet {sheet.title} would be a table of {len(rows):,} rows and {width:,} columns")
    for low_column, low_row, high_column, high_row in merged:
        _spread(rows, low_row - 1, high_row - 1, low_column, min(high_column, width))
    turned = {f"c{p + 1}": [row[p] if p < len(row) else None for row in rows] for p in range(width)}
    return Grid(
        sheet.title, polars.DataFrame(turned, schema=dict.fromkeys(turned, polars.String)), None, None, frozenset(formulas)
    )


def _spread(rows: list[list[str | None]], top: int, bottom: int, left: int, right: int) -> None:
    """Write the text of a merged cell into each place it covers."""
    if top >= len(rows) or left > len(rows[top]) or rows[top][left - 1] is None:
        return
    text = rows[top][left - 1]
    for row in rows[top : bottom + 1]:
        row += [None] * (right - len(row))
        row[left - 1 : right] = [text] * (right - left + 1)


def _merged(raw: bytes, path: str) -> list[tuple[int, int, int, int]]:
    """Merged areas (left, top, right, bottom): reading row by row, openpyxl does not tell of them."""
    if not path:
        return []
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        xml = archive.read(path.lstrip("/"))
    return [range_boundaries(found.group(1).decode()) for found in islice(MERGED.finditer(xml), MOST_MERGED)]
