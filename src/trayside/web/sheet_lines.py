"""The rows of a cut sheet with the words beside them: place, what goes into the bag, findings, what changed."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from trayside.app.bag_masses import BY_MASS
from trayside.model.cut_sheet import Place, SheetRow
from trayside.model.finding import Finding

from .page import Amounts
from .words import counted, say


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One row as the page shows it. `news` is '' when nothing changed, else 'new' or 'changed'."""

    row: SheetRow
    place: str
    bag: str
    mass: str
    findings: tuple[Finding, ...]
    news: str
    joins_next: bool
    middle_mm: int | None


def sheet_lines(
    rows: tuple[SheetRow, ...],
    findings: Iterable[Finding],
    amounts: Amounts,
    *,
    before: tuple[SheetRow, ...] | None = None,
) -> list[SheetLine]:
    """Every row; with `before` each says whether it is new or changed against the saved plan."""
    by_number: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.number is not None:
            by_number.setdefault(finding.number, []).append(finding)
    old = None if before is None else {row.number: replace(row, seq=0) for row in before}
    tops = {row.from_mm for row in rows if row.kind == "sample"}
    return [
        SheetLine(
            row=row,
            place=_place(row.from_place, row.to_place),
            bag=bag_words(row),
            mass=_mass(row, amounts),
            findings=tuple(by_number.get(row.number, ())),
            news=_news(row, old),
            joins_next=row.kind == "sample" and row.to_mm in tops,
            middle_mm=_middle(row),
        )
        for row in rows
    ]


def bag_words(row: SheetRow) -> str:
    """What goes into the bag: 'right half', 'quarter of the right half', 'whole core', 'half by mass'."""
    if not row.is_core:
        return ""
    if row.portion == "whole":
        return say("bag.whole")
    if row.method == BY_MASS or not row.side:
        return say(f"bag.mass.{row.portion}")
    return say(f"bag.{row.portion}", side=row.side)


def kinds_in_words(rows: tuple[SheetRow, ...]) -> str:
    """'33 samples, 2 duplicates, 3 standards, 2 blanks'."""
    held = ((kind, sum(row.kind == kind for row in rows)) for kind in ("sample", "duplicate", "standard", "blank"))
    return ", ".join(counted(number, kind) for kind, number in held if number)


def _place(top: Place | None, bottom: Place | None) -> str:
    if top is None or bottom is None:
        return "–"
    start = f"{top.tray}, {top.row}, {top.left_cm:.0f}"
    if (top.tray, top.row) == (bottom.tray, bottom.row):
        return f"{start}–{bottom.left_cm:.0f}"
    if top.tray == bottom.tray:
        return f"{start} – {bottom.row}, {bottom.left_cm:.0f}"
    return f"{start} – {bottom.tray}, {bottom.row}, {bottom.left_cm:.0f}"


def _mass(row: SheetRow, amounts: Amounts) -> str:
    if row.low_kg is None or row.high_kg is None:
        return "–" if row.expected_kg is None else amounts.mass(row.expected_kg)
    return f"{amounts.mass(row.low_kg)}–{amounts.mass(row.high_kg)}"


def _news(row: SheetRow, old: dict[str, SheetRow] | None) -> str:
    if old is None:
        return ""
    before = old.get(row.number)
    if before is None:
        return "new"
    return "" if before == replace(row, seq=0) else "changed"


def _middle(row: SheetRow) -> int | None:
    """Where the split button splits: the middle, on a whole centimetre; None when the sample is too short for one."""
    if row.kind != "sample":
        return None
    middle = round((row.from_mm + row.to_mm) / 20) * 10
    return middle if row.from_mm < middle < row.to_mm else None
