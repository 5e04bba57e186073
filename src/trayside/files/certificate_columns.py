"""The columns of results as they would be read: what the file says, what a person settled, what must be asked."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from trayside.app.certificate_reading import Question, ResultColumn
from trayside.core.assay_value import ReadingRules
from trayside.core.units import grade_factor
from trayside.errors import ImpossibleValue
from trayside.files.certificate_cells import VARIES, Cells
from trayside.files.certificate_layout import Layout
from trayside.files.certificate_values import limit_of
from trayside.files.certificate_words import (
    HeaderRead,
    element_of,
    read_header,
    unclear_unit_of,
    unit_of,
)
from trayside.files.certificate_workbook import Grid

USUAL_UNITS = ("[ppm]", "[ppb]", "g/t", "%")
UNIT_SAID = {
    "[ppm]": "parts per million", "[ppb]": "parts per billion", "%": "per cent by mass", "g/t": "grams a tonne",
    "[oz_tr]/t": "troy ounces a tonne (1 = 31.1035 g/t)", "[oz_tr]/[ston_av]": "troy ounces a short ton (1 = 34.2857 g/t)",
    "[ppth]": "parts per thousand", "[pptr]": "parts per trillion",
}  # fmt: skip
NO_GRADE = re.compile(r"\{[^{}]{1,30}\}")
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Stated:
    """What the file says of one column, before anything is settled."""

    key: str
    as_written: str
    read: HeaderRead | None
    unit: str
    method: str
    lower: str
    upper: str


def stated_columns(grid: Grid, layout: Layout, cells: Cells) -> list[Stated]:
    """Every column (or code) that may hold results, in the order of the file."""
    if layout.kind == "long":
        return [_stated_code(code) for code in cells.codes]
    taken = set(layout.columns.values())
    found = []
    for place in range(1, grid.width + 1):
        header = " ".join(grid.text(layout.header_row, place).split())
        if place in taken or not (header or place in layout.results):
            continue
        said = {key: "" if row is None else grid.text(row, place) for key, row in layout.rows.items()}
        found.append(
            Stated(
                str(place),
                header,
                layout.results.get(place),
                said["unit_row"],
                said["method_row"],
                said["lower_row"],
                said["upper_row"],
            )
        )
    return found


def _stated_code(code) -> Stated:
    read = read_header(code.element) or (HeaderRead(element_of(code.element)) if element_of(code.element) else None)
    lower, upper = ("" if limit == VARIES else limit for limit in (code.lower, code.upper))
    return Stated(code.key, code.key, read, code.unit, code.method, lower, upper)


def settle_columns(
    stated: list[Stated], settled: Mapping[str, str], *, rules: ReadingRules
) -> tuple[tuple[ResultColumn, ...], list[Question]]:
    """The columns with units, methods and limits, and the questions without whose answers they cannot be read."""
    columns: list[ResultColumn] = []
    questions: list[Question] = []
    for one in stated:
        column, asked = _settle(one, settled, rules)
        columns.append(column)
        questions += asked
    return _told_apart(columns), questions


def _settle(one: Stated, settled: Mapping[str, str], rules: ReadingRules) -> tuple[ResultColumn, list[Question]]:
    def answer(what: str) -> str:
        return " ".join(settled.get(f"{what}:{one.key}", "").split())

    element = (answer("element") or (one.read.element if one.read else ""))[:LONGEST_NAME]
    if answer("use") == "no" or not element:
        why = "left out by a settlement" if answer("use") == "no" else "names no element: name it to read this column"
        return ResultColumn(one.key, one.as_written, element, "", "", None, None, False, why), []
    questions = []
    unit, why = _unit(one, answer("unit"))
    if not unit:
        questions.append(_unit_question(one, element))
    read = one.read or HeaderRead(element)
    method = answer("method") or " ".join(dict.fromkeys(part for part in (one.method, read.method) if part))
    limits: dict[str, float | None] = {}
    for side, said in (("lower", one.lower or read.lower), ("upper", one.upper or read.upper)):
        text = answer(side) or said
        limits[side] = limit_of(text, rules) if text and text.casefold() != "none" else None
        if answer(side) and answer(side).casefold() != "none" and limits[side] is None:
            questions.append(Question(f"{side}:{one.key}", f"{answer(side)[:40]!r} is no {side} limit of {element}: which is it?"))
    low, high = limits["lower"], limits["upper"]
    if low is not None and high is not None and not low < high:
        asks = f"the limits of {element}, {low:g} and {high:g}, are no range: what is the upper one, or none?"
        questions.append(Question(f"upper:{one.key}", asks))
    return ResultColumn(one.key, one.as_written, element, unit, method, low, high, True, why), questions


def _unit(one: Stated, settled: str) -> tuple[str, str]:
    if settled:
        unit = unit_of(settled) or settled
        if NO_GRADE.fullmatch(unit) or _is_grade(unit):
            return unit, "unit settled by a person"
        return "", ""
    if one.unit:
        return unit_of(one.unit), f"unit written as {one.unit!r}"
    if one.read is not None and one.read.unit:
        return one.read.unit, "unit in its name"
    return "", ""


def _is_grade(unit: str) -> bool:
    try:
        grade_factor(from_unit=unit, to_unit="[ppm]")
    except ImpossibleValue:
        return False
    return True


def _unit_question(one: Stated, element: str) -> Question:
    written = one.unit or (one.read.unclear_unit if one.read else "")
    unclear = unclear_unit_of(written) if written else ()
    name = one.as_written or element
    if unclear:
        asks = f"{name}: {written!r} does not say which {'ton' if 'oz' in unclear[0] else 'one'}; which unit is it?"
    elif written:
        asks = f"{name}: the unit {written!r} is not known; which is it?"
    else:
        asks = f"{name}: no unit is written; which is it?"
    choices = tuple((unit, f"{unit}, {UNIT_SAID[unit]}") for unit in unclear or USUAL_UNITS)
    return Question(f"unit:{one.key}", asks, choices)


def _told_apart(columns: list[ResultColumn]) -> tuple[ResultColumn, ...]:
    """Columns of one element and method get a number behind the method, so that no two have one name."""
    seen: Counter[tuple[str, str]] = Counter()
    found = []
    for column in columns:
        if column.used:
            seen[column.element, column.method] += 1
            turn = seen[column.element, column.method]
            if turn > 1:
                method = f"{column.method} ({turn})".strip()
                column = ResultColumn(
                    column.key, column.as_written, column.element, column.unit, method, column.lower_limit,
                    column.upper_limit, True, f"{column.why}; {element_again(column.element)}",
                )  # fmt: skip
        found.append(column)
    return tuple(found)


def element_again(element: str) -> str:
    return f"{element} stands more than once: the first column that says an amount is preferred"


def ppm_per_unit(unit: str) -> float | None:
    """How many ppm one of this unit is; None when it is no mass fraction."""
    return float(grade_factor(from_unit=unit, to_unit="[ppm]")) if _is_grade(unit) else None
