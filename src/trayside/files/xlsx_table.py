"""Sheets of an XLSX workbook as text cells, read row by row so that a large sheet needs little memory."""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

import openpyxl
import polars

from trayside.app.ports import Fault
from trayside.files.encoding import OLE_MARK
from trayside.files.fault_list import SHOWN, shortened, the_rest
from trayside.files.text_table import DATE_MARK, TextTable, header_faults, without_blank_rows
from trayside.model.tables import BY_NAME, Table

LARGEST_UNPACKED = 300 * 2**20
MOST_COLUMNS = 200
ROWS_AT_ONCE = 20_000
LAST_ROW = 1_048_576
"""Of any XLSX sheet; a damaged row number can claim a hundred million blank rows."""
ENCRYPTED = "EncryptedPackage".encode("utf-16-le")


def read_workbook(name: str, raw: bytes) -> tuple[dict[str, TextTable], set[str] | None, list[Fault]]:
    """The tables of a workbook, the names of its sheets that are tables (None when unknown), and the faults of their form.

    A sheet belongs to the table of its name, capitals and outer spaces set aside; other sheets are left alone.
    """
    refused = _refused(name, raw)
    if refused:
        return {}, None, [refused]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # openpyxl warns about drawings and styles it leaves out
            return _sheets(name, raw)
    except Exception as error:  # damage raises nearly anything: KeyError, ParseError, ValueError, zlib.error
        problem = f"the workbook is damaged ({type(error).__name__})"
        remedy = "Open it in the spreadsheet and save it again as .xlsx"
        return {}, None, [Fault(name, None, None, None, problem, remedy)]


def _refused(name: str, raw: bytes) -> Fault | None:
    """Why this file cannot be a workbook of ours."""

    def fault(problem: str, remedy: str) -> Fault:
        return Fault(name, None, None, None, problem, remedy)

    if not raw:
        return fault("the file is empty", "Copy it again")
    if raw.startswith(OLE_MARK):
        if ENCRYPTED in raw:
            return fault("the workbook is protected by a password", "Save it without a password")
        return fault("this is an old .xls workbook under another name", "Save it as .xlsx")
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            parts = archive.infolist()
    except Exception:  # zipfile raises BadZipFile, but also struct.error and others on hostile bytes
        return fault("the file is not an XLSX workbook", "Save the workbook again as .xlsx")
    if sum(part.file_size for part in parts) > LARGEST_UNPACKED:
        return fault(
            f"the workbook unpacks to more than {LARGEST_UNPACKED // 2**20} MB",
            "Delete what is no table, or give the large tables as CSV files",
        )
    if any(part.flag_bits & 1 for part in parts):
        return fault("the archive is protected by a password", "Save the workbook without a password")
    return None


def _sheets(source: str, raw: bytes) -> tuple[dict[str, TextTable], set[str], list[Fault]]:
    book = openpyxl.load_workbook(io.BytesIO(raw), read_only=True, data_only=False, keep_links=False)
    tables: dict[str, TextTable] = {}
    seen: set[str] = set()
    faults: list[Fault] = []
    try:
        for sheet in book.worksheets:
            name = sheet.title.strip().casefold()
            if name not in BY_NAME:
                continue
            if name in seen:
                faults.append(
                    Fault(name, None, None, sheet.title, "two sheets have this name", "Rename or delete one of them")
                )
                continue
            seen.add(name)
            # The stated size of a sheet is often wrong; forgetting it makes openpyxl go by the cells.
            sheet.reset_dimensions()
            text, more = _sheet(BY_NAME[name], source, sheet.iter_rows(values_only=True))
            faults += more
            if text is not None:
                tables[name] = text
    finally:
        book.close()
    return tables, seen, faults


def _sheet(table: Table, source: str, rows: Iterator[tuple]) -> tuple[TextTable | None, list[Fault]]:
    headers = [_text(cell) for cell in next(rows, ())]
    while headers and not headers[-1]:
        headers.pop()
    headers = [(header or "").strip() for header in headers]
    if not headers:
        problem = "the first row of the sheet is blank"
        return None, [Fault(table.name, 1, None, None, problem, "Put the column names in the first row")]
    if len(headers) > MOST_COLUMNS:
        return None, [
            Fault(
                table.name,
                1,
                None,
                None,
                f"the sheet has {len(headers)} columns",
                "Delete what is no column of the table",
            )
        ]
    faults = header_faults(table, headers)
    if "" in headers or len(set(headers)) < len(headers):
        return None, faults
    frame, lines, beyond, count = _records(headers, rows)
    remedy = "Delete what stands right of the last column, or name the column"
    for line, read in beyond:
        problem = f"a cell stands right of the {len(headers)} named columns"
        faults.append(Fault(table.name, line, None, shortened(read), problem, remedy))
    faults += the_rest(table.name, None, count, "rows with cells right of the named columns", remedy)
    frame, lines = without_blank_rows(frame, lines)
    return TextTable(table.name, f"{source}, sheet {table.name}", frame, lines), faults


def _records(
    headers: list[str], rows: Iterator[tuple]
) -> tuple[polars.DataFrame, polars.Series, list[tuple[int, str]], int]:
    """The cells under the headers with their sheet rows, and the first cells that stand beyond them with their number."""
    width, beyond, count = len(headers), [], 0
    schema = dict.fromkeys(headers, polars.String)
    pieces, lines, held, held_lines = [], [], [], []
    for line, row in enumerate(rows, start=2):
        if line > LAST_ROW:
            raise ValueError("a row number beyond the last row a sheet can have")
        if any(cell is not None for cell in row[width:]):
            stray = next(_text(cell) for cell in row[width:] if cell is not None)
            if stray and stray.strip():
                count += 1
                if count <= SHOWN:
                    beyond.append((line, stray))
        cells = [_text(cell) for cell in row[:width]]
        if not any(cell and not cell.isspace() for cell in cells):
            continue
        held.append(cells + [None] * (width - len(cells)))
        held_lines.append(line)
        if len(held) == ROWS_AT_ONCE:
            pieces.append(polars.DataFrame(held, schema=schema, orient="row"))
            lines += held_lines
            held, held_lines = [], []
    pieces.append(polars.DataFrame(held, schema=schema, orient="row"))
    return polars.concat(pieces), polars.Series("line", lines + held_lines, dtype=polars.Int64), beyond, count


def _text(cell: object) -> str | None:
    """A cell as a person sees it: numbers to the fifteen digits a spreadsheet shows, dates marked as dates."""
    if cell is None or isinstance(cell, str):
        return cell or None
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, float):
        return format(cell, ".15g")
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, (datetime, date, time, timedelta)):
        return f"{DATE_MARK}{cell}"
    # Array formulas and data tables arrive as objects that carry their text.
    return "=" + str(getattr(cell, "text", None) or getattr(cell, "ref", "")).removeprefix("=")
