"""The bytes of a certificate as grids of text cells, as they stood: CSV in any usual writing, or the sheets of a workbook."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
from collections import Counter
from dataclasses import dataclass

import numpy
import polars

from trayside.app.ports import Fault
from trayside.errors import LoadRefused
from trayside.files.certificate_workbook import Grid, read_sheets
from trayside.files.encoding import MARKS, OLE_MARK, ZIP_MARK, encoding_fault
from trayside.files.fault_list import shortened

NAME = "certificate"
LARGEST_FILE = 100 * 2**20
MOST_LINES = 2_000_000
MOST_CELLS_IN_LINE = 2_000
LONGEST_CELL = 2_000
LINES_LOOKED_AT = 400
DELIMITERS = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma"}
"""In this order: a comma may also be a decimal mark, the others hardly stand inside a cell."""


@dataclass(frozen=True, slots=True)
class CertificateFile:
    """A file as it was read: its grids (a CSV file has one), its fingerprint, and what was noticed on the way."""

    source: str
    sha256: str
    form: str
    grids: tuple[Grid, ...]
    delimiter: str = ""
    noticed: tuple[str, ...] = ()


def open_certificate(raw: bytes, *, source: str, delimiter: str = "") -> CertificateFile:
    """The grids of a file; LoadRefused with every fault when it is none."""
    source = " ".join(source.split())[:120] or "certificate"
    sha256 = hashlib.sha256(raw).hexdigest()
    if len(raw) > LARGEST_FILE:
        problem = f"the file holds {len(raw) / 2**20:,.0f} MB, more than {LARGEST_FILE // 2**20} MB"
        raise refused(source, [_fault(None, problem, "Ask for one certificate a file, or save it as CSV")])
    if raw.startswith((ZIP_MARK, OLE_MARK)):
        grids, faults = read_sheets(raw)
        if faults:
            raise refused(source, faults)
        return CertificateFile(source, sha256, "xlsx", grids)
    text, noticed = _text(raw, source)
    grid, used = _grid(text, delimiter, source)
    return CertificateFile(source, sha256, "csv", (grid,), used, tuple(noticed))


def refused(source: str, faults: list[Fault]) -> LoadRefused:
    """The error that carries every fault of a certificate."""
    return LoadRefused(
        f"the certificate has {len(faults)} fault{'s' * (len(faults) != 1)}, nothing was stored",
        where=source,
        remedy="Settle what is named with the laboratory, then send the file again",
        faults=tuple(faults[:200]),
    )


def _fault(line: int | None, problem: str, remedy: str, read: str | None = None) -> Fault:
    return Fault(NAME, line, None, shortened(read), problem, remedy)


def _text(raw: bytes, source: str) -> tuple[str, list[str]]:
    """The text of a CSV file in UTF-8, in UTF-16 or UTF-32 with a mark, or in the older Windows encoding."""
    for mark, name in MARKS:
        if raw.startswith(mark):
            try:
                return _plain_lines(raw.decode(name)), [f"written in {name}"]
            except UnicodeDecodeError:
                problem = f"the file begins like {name} and is none: it is damaged or was cut off"
                raise refused(source, [_fault(None, problem, "Copy the file again, or save it as CSV in UTF-8")]) from None
    fault = encoding_fault(NAME, raw)
    if fault is None:
        return _plain_lines(raw.decode("utf-8-sig")), []
    if "older Windows encoding" not in fault.problem:
        raise refused(source, [fault])
    try:
        return _plain_lines(codecs.decode(raw, "cp1252")), ["written in the older Windows encoding (1252)"]
    except UnicodeDecodeError:
        raise refused(source, [fault]) from None


def _plain_lines(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _grid(text: str, delimiter: str, source: str) -> tuple[Grid, str]:
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise refused(source, [_fault(line, "a NUL character stands in the text: the file is damaged", "Export it again")])
    if not text.strip():
        raise refused(source, [_fault(None, "there is nothing in the file", "Copy it again")])
    separator = delimiter or _delimiter(text)
    if '"' in text:
        return _quoted(text, separator, source), separator
    return _unquoted(text, separator, source), separator


def _delimiter(text: str) -> str:
    """What parts the cells: the first mark that stands equally often on at least half of the lines, else the steadiest."""
    lines = [line for line in text[: 2**20].split("\n")[:LINES_LOOKED_AT] if line.strip()]
    steadiest, most = ",", 0.0
    for mark in DELIMITERS:
        counts = Counter(_outside_quotes(line).count(mark) for line in lines)
        del counts[0]
        if counts:
            often, times = counts.most_common(1)[0]
            if times >= len(lines) / 2:
                return mark
            if often * times > most:
                steadiest, most = mark, often * times
    return steadiest


def _outside_quotes(line: str) -> str:
    return "".join(line.split('"')[::2]) if '"' in line else line


def _unquoted(text: str, separator: str, source: str) -> Grid:
    """Without quote marks every separator parts two cells and every line end two lines: polars reads that quickly."""
    raw = text.encode()
    if not raw.endswith(b"\n"):
        raw += b"\n"
    every = numpy.frombuffer(raw, numpy.uint8)
    ends = numpy.flatnonzero(every == ord("\n"))
    marks = numpy.flatnonzero(every == ord(separator))
    cells = numpy.diff(numpy.searchsorted(marks, ends), prepend=0) + 1
    width = int(cells.max())
    _check_size(len(ends), width, source)
    header = separator.join(f"c{place}" for place in range(1, width + 1)).encode() + b"\n"
    if width == 1:
        lines = text.removesuffix("\n").split("\n")
        return _checked(Grid("", polars.DataFrame({"c1": lines}), cells.astype(numpy.int32), None), source)
    frame = polars.read_csv(
        header + raw, separator=separator, quote_char=None, infer_schema=False, truncate_ragged_lines=True
    )
    if frame.height != len(ends):  # a reader that leaves lines out would give every result to a wrong sample
        rows = [line.split(separator) for line in text.removesuffix("\n").split("\n")]
        return _checked(_from_rows(rows, None), source)
    return _checked(Grid("", frame, cells.astype(numpy.int32), None), source)


def _quoted(text: str, separator: str, source: str) -> Grid:
    reader = csv.reader(io.StringIO(text), delimiter=separator, strict=True)
    rows, lines, begun = [], [], 1
    try:
        for cells in reader:
            rows.append(cells)
            lines.append(begun)
            begun = reader.line_num + 1
            if len(rows) > MOST_LINES:
                break
    except csv.Error as error:
        problem = f"the quote marks of this line do not pair up ({error})"
        remedy = "Double every quote mark inside a quoted cell; if the file was cut off, copy it again"
        raise refused(source, [_fault(begun, problem, remedy)]) from None
    _check_size(len(rows), max(map(len, rows), default=0), source)
    return _checked(_from_rows(rows, polars.Series("line", lines, dtype=polars.Int64)), source)


def _from_rows(rows: list[list[str]], lines: polars.Series | None) -> Grid:
    width = max(map(len, rows), default=1) or 1
    cells = numpy.array([len(row) for row in rows], numpy.int32)
    turned = {f"c{place + 1}": [row[place] if place < len(row) else None for row in rows] for place in range(width)}
    return Grid("", polars.DataFrame(turned, schema=dict.fromkeys(turned, polars.String)), cells, lines)


def _check_size(lines: int, width: int, source: str) -> None:
    if lines > MOST_LINES:
        problem = f"the file has {lines:,} lines, more than {MOST_LINES:,}"
        raise refused(source, [_fault(None, problem, "Ask for one certificate a file")])
    if width > MOST_CELLS_IN_LINE:
        problem = f"a line falls into {width:,} cells, more than {MOST_CELLS_IN_LINE:,}"
        raise refused(source, [_fault(None, problem, "Name the mark that parts the cells, or save the file again as CSV")])
    if lines * width > 50_000_000:
        problem = f"the file would be a table of {lines:,} lines and {width:,} columns"
        raise refused(source, [_fault(None, problem, "One line is much longer than the others: look at it, save it again")])


def _checked(grid: Grid, source: str) -> Grid:
    longest = grid.cells_frame.select(polars.max_horizontal(polars.all().str.len_chars().max())).item()
    if (longest or 0) > LONGEST_CELL:
        problem = f"a cell holds {longest:,} characters"
        raise refused(source, [_fault(None, problem, "A quote mark is missing, or this is no certificate: look at the file")])
    return grid
