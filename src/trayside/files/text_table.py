"""A table as text, before any meaning: what a CSV file and a sheet of a workbook have in common."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches

import polars

from trayside.app.ports import Fault
from trayside.model.tables import Table

DATE_MARK = "\x02"
"""Stands before the text of a spreadsheet cell that holds a date. No cell may hold this character, so it is always found."""


@dataclass(frozen=True, slots=True)
class TextTable:
    """The cells of one table as text, blank cells as null, blank rows left out.

    `lines` gives the line (or sheet row) of each record; None when record i stands in line i + 2. `whole` is False when
    records had to be left out, so that nobody looks for them.
    """

    name: str
    source: str
    frame: polars.DataFrame
    lines: polars.Series | None = None
    whole: bool = True

    def line(self, record: int) -> int:
        return record + 2 if self.lines is None else int(self.lines[record])


def without_blank_rows(
    frame: polars.DataFrame, lines: polars.Series | None
) -> tuple[polars.DataFrame, polars.Series | None]:
    """The records that hold anything, with the lines they stand in."""
    if any(column.null_count() == 0 for column in frame.iter_columns()):
        return frame, lines  # a column without a null proves that no record is blank
    holds = frame.select(polars.any_horizontal(polars.all().is_not_null())).to_series()
    if holds.all():
        return frame, lines
    if lines is None:
        lines = polars.int_range(2, frame.height + 2, dtype=polars.Int64, eager=True)
    return frame.filter(holds), lines.filter(holds)


def header_faults(table: Table, headers: list[str], *, row: int = 1) -> list[Fault]:
    """Column names that are empty, doubled, unknown, in both units, or missing."""
    faults = []

    def fault(column: str | None, read: str | None, problem: str, remedy: str) -> None:
        faults.append(Fault(table.name, row, column, read, problem, remedy))

    known = {header: column for column in table.columns for header in column.headers}
    exist = "Columns of this table: " + ", ".join(" or ".join(column.headers) for column in table.columns)
    for place, header in enumerate(headers, start=1):
        if not header:
            fault(None, "", f"column {place} has no name", "Name it, or delete it with its separators in every row")
    for header in dict.fromkeys(headers):
        times = headers.count(header)
        if header and times > 1:
            fault(
                header, header, f"this column name stands {times} times in the header", "Keep one and delete the others"
            )
        if header and header not in known:
            near = closest(header, known)
            advice = f"Did you mean {near}? " if near else "Delete the column or move it to a file of its own. "
            fault(header, header, "the table has no such column", advice + exist)
    for column in table.columns:
        present = [header for header in column.headers if header in headers]
        if len(present) > 1:
            fault(
                present[0],
                " and ".join(present),
                "the same length is given twice, in metres and in feet",
                "Keep one of them",
            )
        if column.required and not present:
            wanted = " or ".join(column.headers)
            fault(wanted, None, "the column is missing", f"Add it: {column.meaning}")
    return faults


def closest(name: str, known) -> str | None:
    """The known name most like this one, capitals set aside, or None when nothing is near."""
    by_fold = {other.casefold(): other for other in known}
    near = get_close_matches(name.casefold(), by_fold, n=1, cutoff=0.6)
    return by_fold[near[0]] if near else None
