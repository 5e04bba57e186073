"""The cut sheet: what is to be cut, bagged and inserted, in ticket order, and its frozen revisions."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

RowKind = Literal["sample", "duplicate", "standard", "blank"]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a depth lies: tray, row from the top, centimetres from the row's left end."""

    tray: int
    row: int
    left_cm: float

    def __str__(self) -> str:
        return f"tray {self.tray}, row {self.row}, {self.left_cm:.0f} cm"


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One bag. Samples and duplicates have depths and places; standards and blanks have a material.

    `side` is the half to bag looking downhole ('right', 'left', or '' when nothing is halved). Masses are kg of core as
    it lies in the tray. `reason` says why a control stands here; `top_reason`/`bottom_reason` why a boundary does.
    """

    seq: int
    kind: RowKind
    number: str
    from_mm: int | None = None
    to_mm: int | None = None
    from_place: Place | None = None
    to_place: Place | None = None
    core_size: str | None = None
    rock: str | None = None
    condition: str | None = None
    grade_class: str | None = None
    recovered_mm: int | None = None
    method: str = ""
    method_reason: str = ""
    portion: str = ""
    side: str = ""
    expected_kg: float | None = None
    low_kg: float | None = None
    high_kg: float | None = None
    material: str | None = None
    duplicate_of: str | None = None
    duplicate_type: str | None = None
    top_reason: str = ""
    bottom_reason: str = ""
    reason: str = ""
    caution: str = ""
    rack: int = 1

    @property
    def is_core(self) -> bool:
        return self.kind in ("sample", "duplicate")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A hole's cut sheet as it stands: the draft rows, and how often it was saved and issued.

    `version` counts saves and tells a second editor that somebody was faster; `hole_digest` names the loaded state of
    the hole the plan was computed from.
    """

    sheet_id: str
    hole_id: str
    version: int
    seed: int
    hole_digest: str
    rows: tuple[SheetRow, ...]
    revision: int = 0
    """The newest issued revision, 0 when none."""
    edited_by: str = ""
    by_hand: tuple[int, ...] = ()
    """Boundaries (mm) a person placed; planning again from the log drops them."""


@dataclass(frozen=True, slots=True)
class Revision:
    """One issued, frozen state of a sheet. `digest` is the SHA-256 over its canonical rows."""

    sheet_id: str
    hole_id: str
    revision: int
    issued_at: datetime
    issued_by: str
    statement: str
    digest: str
    changes: tuple[str, ...] = ()
    rows: tuple[SheetRow, ...] = field(default=())


def changes_between(before: tuple[SheetRow, ...], after: tuple[SheetRow, ...]) -> tuple[str, ...]:
    """What a new revision changes, one sentence a change, by ticket number. Empty only when the rows are the same."""
    old = {row.number: row for row in before}
    new = {row.number: row for row in after}
    lines = [f"{number} withdrawn ({_what(old[number])})" for number in old if number not in new]
    lines += [f"{number} added ({_what(new[number])})" for number in new if number not in old]
    for number in new:
        if number in old:
            lines += _row_changes(old[number], new[number])
    if not lines and before != after:
        lines.append("order, reasons or remarks of the rows changed")
    return tuple(lines)


def _what(row: SheetRow) -> str:
    if row.is_core and row.from_mm is not None and row.to_mm is not None:
        return f"{row.kind} {row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m"
    return f"{row.kind} {row.material or ''}".strip()


def _row_changes(before: SheetRow, after: SheetRow) -> list[str]:
    lines = []
    moved = (before.kind, before.from_mm, before.to_mm) != (after.kind, after.from_mm, after.to_mm)
    if (before.kind, before.from_mm, before.to_mm, before.material) != (
        after.kind,
        after.from_mm,
        after.to_mm,
        after.material,
    ):
        lines.append(f"{after.number} was {_what(before)}, is {_what(after)}")
    for name, label in (("side", "half to bag"), ("portion", "portion"), ("method", "method"), ("caution", "caution")):
        if getattr(before, name) != getattr(after, name):
            lines.append(
                f"{after.number} {label}: was {getattr(before, name) or 'none'}, is {getattr(after, name) or 'none'}"
            )
    if moved:
        return lines  # other depths, so other places and masses
    for name, label in (("from_place", "starts at"), ("to_place", "ends at")):
        was, now = (str(getattr(row, name) or "no tray") for row in (before, after))
        if was != now:
            lines.append(f"{after.number} {label}: was {was}, is {now}")
    if _grams(before) != _grams(after):
        lines.append(f"{after.number} expected mass: was {_mass_range(before)}, is {_mass_range(after)}")
    if before.duplicate_of != after.duplicate_of:
        lines.append(
            f"{after.number} duplicate of: was {before.duplicate_of or 'none'}, is {after.duplicate_of or 'none'}"
        )
    return lines


def _grams(row: SheetRow) -> tuple[int | None, ...]:
    masses = (row.expected_kg, row.low_kg, row.high_kg)
    return tuple(None if mass is None else round(mass * 1000) for mass in masses)


def _mass_range(row: SheetRow) -> str:
    if row.expected_kg is None or row.low_kg is None or row.high_kg is None:
        return "none"
    return f"{row.expected_kg:.3f} kg ({row.low_kg:.3f} to {row.high_kg:.3f})"
