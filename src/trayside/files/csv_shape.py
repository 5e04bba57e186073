"""How the bytes of a CSV file fall into records: cells and line of each, and quote marks that cannot stand where they do.

A quote mark may open a cell (after a separator), close one (before a separator), or be doubled inside one. Anything else
would make two readers see two different tables, so it is named instead of guessed at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy

COMMA, NEWLINE, QUOTE = b',\n"'
CHUNK = 16 * 2**20


@dataclass(frozen=True, slots=True)
class Shape:
    """Per record, the header included: number of cells, line of its start, and whether it is a blank line.

    `quote_line` is the line of the first misplaced quote mark, and `quote_problem` what is wrong with it; the records
    mean nothing then.
    """

    cells: numpy.ndarray
    lines: numpy.ndarray
    blank: numpy.ndarray
    quote_line: int | None = None
    quote_problem: str = ""


def shape_of(raw: bytes) -> Shape:
    """The shape of a file with line ends LF, walked in pieces so that memory stays small."""
    every = numpy.frombuffer(raw, numpy.uint8)
    cells, lines, blank = [], [], []
    inside = False
    """Whether the piece starts inside a quoted cell."""
    commas_open, start, line, record_line = 0, 0, 1, 1
    opened_line = 1
    for base in range(0, len(raw), CHUNK):
        piece = every[base : base + CHUNK]
        newlines = numpy.flatnonzero(piece == NEWLINE)
        quotes = numpy.flatnonzero(piece == QUOTE)
        outside = None
        if len(quotes) or inside:
            wrong = _misplaced(every, quotes + base, inside)
            quote_lines = line + numpy.searchsorted(newlines, quotes)
            if wrong is not None:
                place, closing = wrong
                opening = quote_lines[place - 1] if closing and place else opened_line
                if closing:
                    return _broken(int(opening), "the cell that opens with a quote mark here does not end at a comma")
                return _broken(int(quote_lines[place]), "a quote mark stands inside a cell that does not open with one")
            outside = (numpy.cumsum(piece == QUOTE, dtype=numpy.int32) + inside) % 2 == 0
            if (len(quotes) + inside) % 2 and len(quotes):
                opened_line = int(quote_lines[-1])
            inside = bool((len(quotes) + inside) % 2)
        ends = newlines if outside is None else newlines[outside[newlines]]
        commas = numpy.flatnonzero(piece == COMMA)
        commas = commas if outside is None else commas[outside[commas]]
        before = numpy.searchsorted(commas, ends)
        if len(ends):
            counts = numpy.diff(before, prepend=0)
            counts[0] += commas_open
            starts = numpy.concatenate(([start], ends[:-1] + base + 1))
            after = line + numpy.searchsorted(newlines, ends) + 1
            cells.append((counts + 1).astype(numpy.int32))
            lines.append(numpy.concatenate(([record_line], after[:-1])))
            blank.append(starts == ends + base)
            start, record_line, commas_open = int(ends[-1]) + base + 1, int(after[-1]), len(commas) - int(before[-1])
        else:
            commas_open += len(commas)
        line += len(newlines)
    if inside:
        return _broken(opened_line, "a cell opens with a quote mark here and never closes")
    if start < len(raw):
        cells.append(numpy.array([commas_open + 1], numpy.int32))
        lines.append(numpy.array([record_line]))
        blank.append(numpy.array([False]))
    return Shape(*(numpy.concatenate(parts) if parts else numpy.empty(0, int) for parts in (cells, lines, blank)))


def count_of(byte: int, raw: bytes) -> int:
    """How often a byte stands in the file."""
    every = numpy.frombuffer(raw, numpy.uint8)
    return sum(int(numpy.count_nonzero(every[base : base + CHUNK] == byte)) for base in range(0, len(raw), CHUNK))


def _misplaced(every: numpy.ndarray, quotes: numpy.ndarray, inside: bool) -> tuple[int, bool] | None:
    """Index of the first quote mark that can neither open nor close a cell, and whether it would have to close one."""
    closing = (numpy.arange(len(quotes)) + inside) % 2 == 1
    last = len(every) - 1
    before = every[numpy.maximum(quotes - 1, 0)]
    after = every[numpy.minimum(quotes + 1, last)]
    may_open = (quotes == 0) | (before == COMMA) | (before == NEWLINE) | (before == QUOTE)
    may_close = (quotes == last) | (after == COMMA) | (after == NEWLINE) | (after == QUOTE)
    wrong = numpy.flatnonzero(numpy.where(closing, ~may_close, ~may_open))
    return (int(wrong[0]), bool(closing[wrong[0]])) if len(wrong) else None


def _broken(line: int, problem: str) -> Shape:
    none = numpy.empty(0, numpy.int64)
    return Shape(none, none, none.astype(bool), line, problem)
