"""A CSV file as text cells, or every reason why it cannot be read.

Polars does the reading. What it would forgive (a row cut short, a stray quote mark) is looked for on the bytes: first by
counts that cost nearly nothing, and only when they disagree by a walk over the whole file.
"""

from __future__ import annotations

import csv

import numpy
import polars

from trayside.app.ports import Fault
from trayside.files.csv_shape import COMMA, NEWLINE, Shape, count_of, shape_of
from trayside.files.encoding import encoding_fault
from trayside.files.fault_list import SHOWN, shortened, the_rest
from trayside.files.text_table import TextTable, header_faults, without_blank_rows
from trayside.model.tables import Table

UTF8_BOM = b"\xef\xbb\xbf"
LONGEST_HEADER = 65_536
MOST_CELLS = 40_000_000
"""Of one table; with it 200 MB of separators cannot fill the memory."""
OTHER_DELIMITERS = {";": "semicolons", "\t": "tabs", "|": "pipes"}
SAVE_AGAIN = "Save the table again as CSV (UTF-8, separated by commas)"


def read_csv_table(table: Table, raw: bytes, *, source: str = "") -> tuple[TextTable | None, list[Fault]]:
    """The cells of a CSV file, and the faults of its form. Without a table the faults say why."""
    refused = encoding_fault(table.name, raw)
    if refused:
        return None, [refused]
    raw = raw.removeprefix(UTF8_BOM)
    if b"\r" in raw:
        raw = raw.replace(b"\r\n", b"\n")
        if b"\n" not in raw:
            return None, [_fault(table, None, "the line ends are old Mac line ends (CR)", SAVE_AGAIN)]
    if raw[:LONGEST_HEADER].isspace() and raw.isspace():
        return None, [
            _fault(table, None, "the file is empty", "Save the table again, with its header in the first row")
        ]
    headers, faults = _headers(table, raw)
    if faults:
        return None, faults
    faults = header_faults(table, headers)
    if "" in headers or len(set(headers)) < len(headers):
        return None, faults
    most = MOST_CELLS // len(headers)
    if count_of(NEWLINE, raw) > most:
        problem = f"the table has more than {most:,} rows of {len(headers)} columns"
        return None, [*faults, _fault(table, None, problem, "Load the holes in several folders")]
    text, more = _records(table, headers, raw, source or f"{table.name}.csv")
    return text, faults + more


def _headers(table: Table, raw: bytes) -> tuple[list[str], list[Fault]]:
    """The column names in the first line, or why there are none."""
    first = raw[: LONGEST_HEADER + 1].split(b"\n", 1)[0]
    if len(first) > LONGEST_HEADER:
        return [], [_fault(table, 1, f"the first line is longer than {LONGEST_HEADER:,} bytes", SAVE_AGAIN)]
    line = first.decode("utf-8")
    other = _other_delimiter(table, line)
    if other:
        problem = f"the columns are separated by {OTHER_DELIMITERS[other]}, not by commas"
        return [], [_fault(table, 1, problem, f"{SAVE_AGAIN} and with decimal points", shortened(line))]
    try:
        cells = next(csv.reader([line], strict=True), [])
    except csv.Error:
        problem = "the quote marks in the header do not pair up"
        return [], [_fault(table, 1, problem, "Write plain column names without quote marks", shortened(line))]
    if not any(cell.strip() for cell in cells):
        return [], [_fault(table, 1, "the first row is blank", "Put the column names in the first row")]
    return [cell.strip() for cell in cells], []


def _other_delimiter(table: Table, line: str) -> str | None:
    """The separator this header seems to use when it is not the comma."""
    known = {header for column in table.columns for header in column.headers}

    def recognised(delimiter: str) -> int:
        return sum(cell.strip().strip('"') in known for cell in line.split(delimiter))

    best = max(OTHER_DELIMITERS, key=lambda delimiter: (recognised(delimiter), line.count(delimiter)))
    if recognised(best) > recognised(",") or ("," not in line and best in line and not recognised(",")):
        return best
    return None


def _records(table: Table, headers: list[str], raw: bytes, source: str) -> tuple[TextTable | None, list[Fault]]:
    frame, lines, whole, faults = None, None, True, []
    if b'"' not in raw:
        frame = _parsed(headers, raw, strict=True)
        if frame is not None and count_of(COMMA, raw) != (len(headers) - 1) * (frame.height + 1):
            frame = None  # a row is short, or there are blank lines
    if frame is None:
        shape = shape_of(raw)
        if shape.quote_line is not None:
            return None, [_fault(table, shape.quote_line, shape.quote_problem, "Double every quote mark inside a quoted cell, "
                                 "and close each cell that opens with one; if the file was cut off, save it again")]  # fmt: skip
        frame = _parsed(headers, raw, strict=False)
        if frame is None or frame.height != len(shape.cells) - 1:
            return None, [_fault(table, None, "the file cannot be split into rows and cells", SAVE_AGAIN)]
        frame, lines, faults = _regular(table, headers, frame, shape)
        whole = not faults
    frame, lines = without_blank_rows(frame, lines)
    return TextTable(table.name, source, frame, lines, whole), faults


def _parsed(headers: list[str], raw: bytes, *, strict: bool) -> polars.DataFrame | None:
    """All cells as text; None when polars cannot, or when strict and a row has too many cells."""
    try:
        return polars.read_csv(
            raw,
            has_header=False,
            skip_lines=1,
            schema=dict.fromkeys(headers, polars.String),
            missing_columns="insert",
            extra_columns="raise" if strict else "ignore",
            truncate_ragged_lines=not strict,
            raise_if_empty=False,
        )
    except polars.exceptions.PolarsError:
        return None


def _regular(
    table: Table, headers: list[str], frame: polars.DataFrame, shape: Shape
) -> tuple[polars.DataFrame, polars.Series | None, list[Fault]]:
    """The records that have a cell for every column; the others become faults."""
    cells, blank = shape.cells[1:], shape.blank[1:]
    ragged = (cells != len(headers)) & ~blank
    lines = polars.Series("line", shape.lines[1:])
    remedy = "Give every row one cell a column; a comma or a decimal comma inside a cell splits it, and a cut file ends short"
    faults = []
    for record in numpy.flatnonzero(ragged)[:SHOWN]:
        problem = f"the row has {cells[record]} cells where the header has {len(headers)}"
        read = ",".join(cell or "" for cell in frame.row(int(record)))
        faults.append(_fault(table, int(lines[int(record)]), problem, remedy, shortened(read)))
    faults += the_rest(table.name, None, int(ragged.sum()), "rows with too few or too many cells", remedy)
    keep = polars.Series(~ragged)
    return frame.filter(keep), lines.filter(keep), faults


def _fault(table: Table, row: int | None, problem: str, remedy: str, read: str | None = None) -> Fault:
    return Fault(table.name, row, None, read, problem, remedy)
