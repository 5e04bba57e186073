"""Where things stand in a certificate: the header line, the lines with units, methods and limits, the columns.

The layout is found by what the cells say; every find carries its reason. A settlement beats a find.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from trayside.files.certificate_words import (
    LIMIT_WORDS,
    HeaderRead,
    mass_unit_of,
    read_header,
    role_of,
    unclear_unit_of,
    unit_of,
)
from trayside.files.certificate_workbook import Grid

HEADER_WITHIN = 120
BESIDE = 8
"""A header is looked for in so many first lines, and its units and limits so many lines above and below it."""
ROWS = ("unit_row", "method_row", "lower_row", "upper_row")
ROLES_WIDE = ("number", "kind", "rack", "mass")
ROLES_LONG = (*ROLES_WIDE, "element", "value", "unit", "method", "lower", "upper", "qualifier")
LIMIT_NUMBER = re.compile(r"[<>]?\s*(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)")
METHOD_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._/+-]{0,30}")


@dataclass(frozen=True, slots=True)
class Layout:
    """Rows count from 0 and are None when there is none; columns count from 1."""

    kind: Literal["wide", "long"]
    header_row: int
    first_row: int
    rows: dict[str, int | None]
    columns: dict[str, int]
    results: dict[int, HeaderRead]
    reasons: tuple[str, ...]
    mass_unit: str = ""
    score: float = field(default=0.0)


def find_layout(grid: Grid, settled: Mapping[str, str]) -> Layout | None:
    """The layout of a sheet; None when no line of it looks like a header of results."""
    header_row = _settled_row(grid, settled, "header_row")
    wanted = settled.get("layout", "")
    if header_row is None:
        candidates = [
            (_score(grid, row, wanted), -row)
            for row in range(min(grid.height, HEADER_WITHIN))
        ]
        score, negated = max(candidates, default=(0.0, 0))
        if score <= 0:
            return None
        header_row = -negated
    else:
        score = _score(grid, header_row, wanted) or 1.0
    names = {place: grid.text(header_row, place) for place in range(1, grid.width + 1)}
    long = wanted == "long" or (wanted != "wide" and _is_long(names))
    reasons = [f"line {grid.line(header_row)} is read as the header"]
    if long:
        return _long(grid, settled, header_row, names, reasons, score)
    return _wide(grid, settled, header_row, names, reasons, score)


def _score(grid: Grid, row: int, wanted: str) -> float:
    """How much a line looks like a header."""
    texts = [grid.text(row, place) for place in range(1, grid.width + 1)]
    roles = [role_of(text) for text in texts if text]
    if wanted != "wide" and _is_long({place: text for place, text in enumerate(texts, 1)}):
        return 100.0 + len([role for role in roles if role])
    if wanted == "long":
        return 0.0
    results = sum(read_header(text) is not None for text in texts if text)
    return 0.0 if not results else results + (2.5 if "number" in roles else 0.0) + 0.5 * len([r for r in roles if r])


def _is_long(names: Mapping[int, str]) -> bool:
    roles = {role_of(text) for text in names.values() if text}
    if not {"element", "value"} <= roles:
        return False
    return sum(read_header(text) is not None for text in names.values() if text) <= 1


def _settled_row(grid: Grid, settled: Mapping[str, str], key: str) -> int | None:
    """The row of a settled line number; None when none is settled. 0 settles that there is none."""
    text = settled.get(key, "").strip()
    if not text.isdecimal() or len(text) > 9 or int(text) == 0:
        return None
    if grid.line_numbers is None:
        row = int(text) - 1
    else:
        row = int(grid.line_numbers.search_sorted(int(text), side="left"))
    return row if row < grid.height else None


def _roles(
    grid: Grid, settled: Mapping[str, str], names: Mapping[int, str], wanted: tuple[str, ...], reasons: list[str]
) -> dict[str, int]:
    found: dict[str, int] = {}
    for place, text in names.items():
        role = role_of(text) if text else None
        if role in wanted and role not in found:
            found[role] = place
            reasons.append(f"column {place} ({text}) holds {SAID[role]}")
    for role in wanted:
        text = settled.get(f"{role}_column", "").strip()
        if text.isdecimal() and len(text) < 6:
            found.pop(role, None)
            if 0 < int(text) <= grid.width:
                found[role] = int(text)
    return found


SAID = {
    "number": "the sample number", "kind": "the kind of line", "rack": "the rack", "mass": "the received mass",
    "element": "the element", "value": "the result", "unit": "its unit", "method": "its method",
    "lower": "its lower limit", "upper": "its upper limit", "qualifier": "a sign that belongs before the result",
}  # fmt: skip


def _long(
    grid: Grid, settled: Mapping[str, str], header_row: int, names: dict[int, str], reasons: list[str], score: float
) -> Layout:
    columns = _roles(grid, settled, names, ROLES_LONG, reasons)
    first = _settled_row(grid, settled, "first_row")
    mass = columns.get("mass")
    return Layout(
        "long",
        header_row,
        header_row + 1 if first is None else first,
        dict.fromkeys(ROWS),
        columns,
        {},
        ("each line holds one result", *reasons),
        settled.get("mass_unit") or (mass_unit_of(names[mass]) if mass else ""),
        score,
    )


def _wide(
    grid: Grid, settled: Mapping[str, str], header_row: int, names: dict[int, str], reasons: list[str], score: float
) -> Layout:
    results = {place: read for place, text in names.items() if text and (read := read_header(text)) is not None}
    columns = _roles(grid, settled, names, ROLES_WIDE, reasons)
    results = {place: read for place, read in results.items() if place not in columns.values()}
    for key, text in settled.items():
        head, _, place = key.partition(":")
        if head == "element" and text.strip() and place.isdecimal() and len(place) < 6 and 0 < int(place) <= grid.width:
            read = results.get(int(place), HeaderRead(""))
            results[int(place)] = HeaderRead(text.strip(), read.unit, read.method, read.lower, read.upper, read.unclear_unit)
    results = dict(sorted(results.items()))
    rows = _beside(grid, settled, header_row, results, columns, reasons)
    first = _settled_row(grid, settled, "first_row")
    if first is None:
        first = _first_row(grid, header_row, rows, results)
    if "number" not in columns:
        place = _number_column(grid, first, results)
        if place:
            columns["number"] = place
            reasons.append(f"column {place} holds the sample number: its cells are all different")
    mass = columns.get("mass")
    mass_unit = settled.get("mass_unit", "")
    if mass and not mass_unit:
        units = grid.text(rows["unit_row"], mass) if rows["unit_row"] is not None else ""
        mass_unit = mass_unit_of(names[mass]) or mass_unit_of(units)
    reasons.append(f"results begin in line {grid.line(first) if first < grid.height else grid.height}")
    return Layout("wide", header_row, first, rows, columns, results, tuple(reasons), mass_unit, score)


def _beside(
    grid: Grid,
    settled: Mapping[str, str],
    header_row: int,
    results: Mapping[int, HeaderRead],
    columns: Mapping[str, int],
    reasons: list[str],
) -> dict[str, int | None]:
    """The lines near the header that say units, methods and limits."""
    rows: dict[str, int | None] = {}
    for key in ROWS:
        if settled.get(key, "").strip():
            rows[key] = _settled_row(grid, settled, key)
    near = [row for step in range(1, BESIDE + 1) for row in (header_row + step, header_row - step)]
    below_open = True
    for row in near:
        if not 0 <= row < grid.height or (row > header_row and not below_open) or row in rows.values():
            continue
        role, why = _line_role(grid, row, results, columns, rows)
        if role:
            rows[role] = row
            reasons.append(f"line {grid.line(row)} says {ROW_SAID[role]}: {why}")
        elif row > header_row and _filled(grid, row, results):
            below_open = False
    return {key: rows.get(key) for key in ROWS}


ROW_SAID = {
    "unit_row": "the units", "method_row": "the methods", "lower_row": "the lower limits", "upper_row": "the upper limits"
}  # fmt: skip


def _filled(grid: Grid, row: int, results: Mapping[int, HeaderRead]) -> bool:
    return any(grid.text(row, place) for place in results)


def _line_role(
    grid: Grid, row: int, results: Mapping[int, HeaderRead], columns: Mapping[str, int], held: Mapping[str, int | None]
) -> tuple[str, str]:
    """What a line near the header says, with the reason; empty when it is something else."""
    cells = [text for place in results if (text := grid.text(row, place))]
    number = columns.get("number")
    if not cells or (number is not None and re.search("[0-9]", grid.text(row, number))):
        return "", ""  # a number where sample numbers stand: this is a sample
    beside = [grid.text(row, place) for place in range(1, grid.width + 1) if place not in results]
    label = " ".join(text for text in beside if text)
    units = sum(bool(unit_of(text) or unclear_unit_of(text)) for text in cells) / len(cells)
    numbers = sum(LIMIT_NUMBER.fullmatch(text) is not None for text in cells) / len(cells)
    if units >= 0.6 and "unit_row" not in held:
        return "unit_row", "its cells are units"
    named = bool(label) and len(label) <= 60
    if named and numbers >= 0.6:
        for key in ("upper_row", "lower_row"):
            if key not in held and LIMIT_WORDS[key].search(label):
                return key, f"it is named {label!r}"
    unnamed = number is not None and not grid.text(row, number)
    if not label and numbers >= 0.8 and unnamed:
        for key in ("lower_row", "upper_row"):
            if key not in held:
                return key, "numbers without a sample number"
    codes = sum(METHOD_CODE.fullmatch(text) is not None and not LIMIT_NUMBER.fullmatch(text) for text in cells) / len(cells)
    if codes >= 0.6 and units < 0.3 and "method_row" not in held:
        if named and LIMIT_WORDS["method_row"].search(label):
            return "method_row", f"it is named {label!r}"
        if not label and numbers == 0 and len(cells) >= 0.6 * len(results):
            return "method_row", "its cells are codes"
    return "", ""


def _first_row(
    grid: Grid, header_row: int, rows: Mapping[str, int | None], results: Mapping[int, HeaderRead]
) -> int:
    taken = {row for row in rows.values() if row is not None}
    row = header_row + 1
    while row < grid.height and (row in taken or not any(grid.text(row, p) for p in range(1, grid.width + 1))):
        row += 1
    # A line that repeats a title or a remark between header and results holds no result.
    while row < grid.height and row < header_row + BESIDE and not _filled(grid, row, results):
        if any(re.search("[0-9]", grid.text(row, p)) for p in range(1, min(results, default=2))):
            break
        row += 1
    return row


def _number_column(grid: Grid, first: int, results: Mapping[int, HeaderRead]) -> int | None:
    """The column left of the results whose cells are all different and hold digits."""
    for place in range(1, min(results, default=1)):
        texts = [grid.text(row, place) for row in range(first, min(grid.height, first + 50))]
        texts = [text for text in texts if text]
        if texts and len(set(texts)) > 0.8 * len(texts) and sum(bool(re.search("[0-9]", t)) for t in texts) > 0.8 * len(texts):
            return place
    return None
