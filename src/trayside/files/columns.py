"""From text to typed columns, whole columns at a time; cells that cannot be read become faults.

Good cells are never looked at one by one. A column is read as a whole; only when something in it did not survive are its
cells stripped of white space and read again, and what fails then is sorted into flaws. A bad cell is null in the typed
frame: it only keeps the other checks going, for a folder with faults is refused.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy
import polars

from trayside.app.ports import Fault
from trayside.core.units import DEPTH_LIMIT_M, feet_from_metres, metres_from_feet, whole_mm
from trayside.files.cell_flaws import (
    CODE_FLAWS,
    ERROR,
    FORMULA,
    LIST_FLAWS,
    NUMBER_FLAWS,
    PLAIN_NUMBER,
    TEXT_FLAWS,
    UNPRINTABLE,
    WHOLE_FLAWS,
    YES_NO_FLAWS,
    choice_flaws,
)
from trayside.files.fault_list import Flaw, flaws_found, same_flaw
from trayside.files.text_table import TextTable
from trayside.model.tables import CODE_PATTERN, LONGEST_TEXT, Column, Table

TYPES = {
    "code": (polars.String,),
    "text": (polars.String,),
    "choice": (polars.String,),
    "integer": (polars.Int64,),
    "number": (polars.Float64,),
    "yes_no": (polars.Boolean,),
    "length": (polars.Int64, polars.String),
    "lengths": (polars.String, polars.String),
}
YES_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
BETWEEN_LENGTHS = r"[;\s]+"
UNEVEN_LIST = r"[^0-9. ]|  |^ | $"


@dataclass(frozen=True, slots=True)
class TypedTable:
    """A table with its stored columns, and where its rows and columns stand in the file.

    `unread` marks the cells that were not blank and could not be read, for the columns that have any.
    """

    table: Table
    text: TextTable
    frame: polars.DataFrame
    headers: dict[str, str]
    unread: dict[str, polars.Series]

    def header(self, name: str) -> str:
        """The name a column has in this file, or would have in metres."""
        return self.headers.get(name) or self.table.column(name).headers[0]

    def as_read(self, name: str, record: int) -> str:
        """A cell as a person wrote it; empty when it was blank or could not be read."""
        value = self.frame[self.table.column(name).stored[-1]][record]
        return "" if value is None else f"{value:.15g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True, slots=True)
class Reading:
    """What became of a column: its stored series, which cells could not be read, and which are out of range."""

    series: tuple[polars.Series, ...]
    bad: polars.Series | None = None
    low: polars.Series | None = None
    high: polars.Series | None = None


def type_columns(table: Table, text: TextTable) -> tuple[TypedTable, list[Fault]]:
    """The typed frame of a table, and every cell that does not fit its column.

    The text frame is used up column by column, so that a large table is not held twice.
    """
    headers = {}
    for column in table.columns:
        present = [header for header in column.headers if header in text.frame.columns]
        if len(present) == 1:
            headers[column.name] = present[0]
    height = text.frame.height
    # Polars works on one column outside the interpreter's lock, so two columns can be read at the same time.
    with ThreadPoolExecutor(max_workers=2) as pool:
        reading = {
            column.name: pool.submit(_typed, text, column, header, text.frame.drop_in_place(header))
            for column in table.columns
            if (header := headers.get(column.name))
        }
    typed: dict[str, polars.Series] = {}
    unread: dict[str, polars.Series] = {}
    faults: list[Fault] = []
    for column in table.columns:
        series = _nothing(column, height)
        if column.name in reading:
            read, more = reading[column.name].result()
            series = read.series
            faults += more
            if read.bad is not None:
                unread[column.name] = read.bad
        typed.update(zip(column.stored, series, strict=True))
    return TypedTable(table, text, polars.DataFrame(typed), headers, unread), faults


def _typed(text: TextTable, column: Column, header: str, cells: polars.Series) -> tuple[Reading, list[Fault]]:
    read, flaws = READERS[column.kind]
    reading = Reading(_nothing(column, len(cells)))
    if cells.null_count() < len(cells):
        reading = read(column, header, cells)
        if reading.bad is not None:
            stripped = cells.str.strip_chars()
            cells = stripped.set(stripped == "", None)
            reading = read(column, header, cells)
    faults = []
    if column.required and cells.null_count():
        empty = cells.is_null().arg_true()
        faults += same_flaw(text, header, empty, None, "the cell is empty", f"Enter it: {column.meaning}")
    if reading.bad is not None:
        known = choice_flaws(column) if column.kind == "choice" else flaws
        faults += flaws_found(text, header, reading.bad.arg_true(), cells.filter(reading.bad), known)
    least, most = _limits(column)
    for outside, word, limit in ((reading.low, "below", least), (reading.high, "above", most)):
        if outside is not None:
            problem = f"the value is {word} {_limit(column, header, limit)}"
            remedy = f"Check the value and its unit: {column.meaning}"
            faults += same_flaw(text, header, outside.arg_true(), cells.filter(outside), problem, remedy)
    return reading, faults


def _nothing(column: Column, height: int) -> tuple[polars.Series, ...]:
    return tuple(polars.Series([None], dtype=dtype).new_from_index(0, height) for dtype in TYPES[column.kind])


def _limits(column: Column) -> tuple[float | None, float | None]:
    """Smallest and largest value; no length goes beyond what `core.units` will turn into millimetres."""
    if column.kind in ("length", "lengths") and column.maximum is None:
        return column.minimum, DEPTH_LIMIT_M
    return column.minimum, column.maximum


def _limit(column: Column, header: str, limit: float) -> str:
    """A limit as the column of the file counts it."""
    if header.endswith("_ft"):
        return f"{feet_from_metres(depth_m=limit):,.10g} ft"
    return f"{limit:,.10g} {column.unit or ''}".strip()


def _codes(column: Column, header: str, cells: polars.Series) -> Reading:
    kinds = cells.unique()
    return _without(cells, kinds.filter(~kinds.str.contains(CODE_PATTERN) | kinds.str.ends_with(" ")))


def _without(cells: polars.Series, wrong: polars.Series) -> Reading:
    """The cells as they are, except those that hold one of the wrong texts."""
    if not len(wrong):
        return Reading((cells,))
    return _marked((cells,), cells.is_in(wrong.implode()).fill_null(False))


def _texts(column: Column, header: str, cells: polars.Series) -> Reading:
    kinds = cells.unique()
    wrong = kinds.filter(
        (kinds.str.contains(FORMULA) & ~kinds.str.contains(PLAIN_NUMBER))
        | kinds.str.contains(rf"^\s|\s$|^$|{UNPRINTABLE}|{ERROR.pattern}")
        | (kinds.str.len_chars() > LONGEST_TEXT)
    )
    return _without(cells, wrong)


def _choices(column: Column, header: str, cells: polars.Series) -> Reading:
    if cells.unique().drop_nulls().is_in(list(column.choices)).all():
        return Reading((cells,))
    stored = {choice.lower(): choice for choice in column.choices}
    chosen = cells.str.to_lowercase().replace_strict(stored, default=None, return_dtype=polars.String)
    return _marked((chosen,), chosen.is_null() & cells.is_not_null())


def _yes_no(column: Column, header: str, cells: polars.Series) -> Reading:
    if not cells.unique().drop_nulls().is_in(list(YES_NO)).all():
        cells = cells.str.to_lowercase()
    answers = cells.replace_strict(YES_NO, default=None, return_dtype=polars.Boolean)
    return _marked((answers,), answers.is_null() & cells.is_not_null())


def _integers(column: Column, header: str, cells: polars.Series) -> Reading:
    values = cells.cast(polars.Int64, strict=False)
    if values.null_count() > cells.null_count():
        # Tables that passed through a program without whole numbers say 12.0 for 12.
        values = cells.str.replace(r"^([+-]?\d+)\.0+$", "$1").cast(polars.Int64, strict=False)
    return _ranged((values,), values, column, cells)


def _numbers(column: Column, header: str, cells: polars.Series) -> Reading:
    values = _finite(cells)
    return _ranged((values,), values, column, cells)


def _lengths(column: Column, header: str, cells: polars.Series) -> Reading:
    unit = header.rpartition("_")[2]
    metres = _metres(_finite(cells), unit)
    reading = _ranged((metres,), metres, column, cells)
    entered = (cells + f" {unit}").alias(f"{column.name}_entered")
    return Reading((_whole_mm(reading.series[0]), entered), reading.bad, reading.low, reading.high)


def _length_lists(column: Column, header: str, cells: polars.Series) -> Reading:
    """A list of lengths in one cell; at rest whole millimetres separated by single spaces."""
    unit = header.rpartition("_")[2]
    there = cells.is_not_null().arg_true().to_numpy()
    lists = cells.drop_nulls()
    if lists.str.contains(UNEVEN_LIST).any():
        lists = lists.str.replace_all(BETWEEN_LENGTHS, " ").str.strip_chars()
    lists = lists.str.split(" ")
    sizes = lists.list.len().to_numpy()
    parts = lists.explode()
    metres = _metres(_finite(parts), unit)
    reading = _ranged((metres,), metres, column, parts)
    flaws = []
    for mask in (reading.bad, reading.low, reading.high):
        found = None
        if mask is not None:
            found = numpy.zeros(len(cells), bool)
            found[numpy.repeat(there, sizes)[mask.to_numpy()]] = True
        flaws.append(found if found is None else polars.Series(found))
    mm = _whole_mm(reading.series[0]).cast(polars.String)
    listed = _nothing(column, len(cells))[0]
    size_of_part = numpy.repeat(sizes, sizes)
    for size in numpy.unique(sizes):  # lists of one length are joined together: there are few lengths
        joined = mm.filter(polars.Series(size_of_part == size)).reshape((-1, int(size))).arr.join(" ")
        listed = listed.scatter(there[sizes == size], joined)
    for found in flaws:
        if found is not None:
            listed = listed.set(found, None)
    return Reading((listed, cells.str.strip_chars() + f" {unit}"), *flaws)


def _finite(cells: polars.Series) -> polars.Series:
    values = cells.cast(polars.Float64, strict=False)
    finite = values.is_finite()
    return values if finite.all() else values.set(~finite, None)


def _metres(values: polars.Series, unit: str) -> polars.Series:
    if unit == "m":
        return values
    return _computed(values, lambda feet: metres_from_feet(depth_ft=feet), polars.Float64)


def _whole_mm(metres: polars.Series) -> polars.Series:
    return _computed(metres, lambda values: whole_mm(depth_m=values), polars.Int64)


def _computed(values: polars.Series, compute: Callable, dtype) -> polars.Series:
    """A calculation of `core` over a column; nulls stay null."""
    if not values.null_count():
        return polars.Series(compute(values.to_numpy()), dtype=dtype)
    there = values.is_not_null()
    results = polars.Series(compute(values.drop_nulls().to_numpy()), dtype=dtype)
    return polars.Series([None], dtype=dtype).new_from_index(0, len(values)).scatter(there.arg_true(), results)


def _marked(series: tuple[polars.Series, ...], bad: polars.Series) -> Reading:
    if not bad.any():
        return Reading(series)
    return Reading(tuple(one.set(bad, None) for one in series), bad)


def _ranged(series, values: polars.Series, column: Column, cells: polars.Series) -> Reading:
    """A reading of numbers: what is no number is bad, what lies outside the column's limits is low or high."""
    bad = values.is_null() & cells.is_not_null() if values.null_count() > cells.null_count() else None
    low = high = None
    least, most = _limits(column)
    if least is not None and (smallest := values.min()) is not None and smallest < least:
        low = (values < least).fill_null(False)
    if most is not None and (largest := values.max()) is not None and largest > most:
        high = (values > most).fill_null(False)
    for outside in (low, high):
        if outside is not None:
            series = tuple(one.set(outside, None) for one in series)
    return Reading(series, bad, low, high)


READERS: dict[str, tuple[Callable[[Column, str, polars.Series], Reading], tuple[Flaw, ...]]] = {
    "code": (_codes, CODE_FLAWS),
    "text": (_texts, TEXT_FLAWS),
    "choice": (_choices, ()),
    "yes_no": (_yes_no, YES_NO_FLAWS),
    "integer": (_integers, WHOLE_FLAWS),
    "number": (_numbers, NUMBER_FLAWS),
    "length": (_lengths, NUMBER_FLAWS),
    "lengths": (_length_lists, LIST_FLAWS),
}
