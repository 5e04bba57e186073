"""What the bench chooses from: the issued sheets, their trays and their ranges of numbers."""

from __future__ import annotations

from sqlalchemy import Connection, and_, func, select

from trayside.app.ports import IssuedSheet

from .schema import SAMPLE_NUMBERS, SHEET_ROWS, SHEETS


def issued_sheets(connection: Connection) -> tuple[IssuedSheet, ...]:
    """Every hole with an issued sheet, by name, in three questions however many there are."""
    heads = connection.execute(
        select(SHEETS.c.sheet_id, SHEETS.c.hole_id, SHEETS.c.revision)
        .where(SHEETS.c.revision > 0)
        .order_by(SHEETS.c.hole_id)
    ).all()
    newest = and_(SHEETS.c.sheet_id == SHEET_ROWS.c.sheet_id, SHEETS.c.revision == SHEET_ROWS.c.revision)
    by_tray = (
        select(SHEET_ROWS.c.sheet_id, SHEET_ROWS.c.from_tray, func.count())
        .join(SHEETS, newest)
        .where(SHEETS.c.revision > 0, SHEET_ROWS.c.from_tray.is_not(None))
        .group_by(SHEET_ROWS.c.sheet_id, SHEET_ROWS.c.from_tray)
        .order_by(SHEET_ROWS.c.from_tray)
    )
    trays: dict[str, list[tuple[int, int]]] = {}
    for sheet_id, tray, bags in connection.execute(by_tray):
        trays.setdefault(sheet_id, []).append((tray, bags))
    number = SAMPLE_NUMBERS.c.number
    in_use = (
        select(SAMPLE_NUMBERS.c.sheet_id, func.min(number), func.max(number))
        .where(SAMPLE_NUMBERS.c.state == "issued")
        .group_by(SAMPLE_NUMBERS.c.sheet_id, SAMPLE_NUMBERS.c.prefix, func.length(number))
        .order_by(SAMPLE_NUMBERS.c.prefix, func.length(number))
    )
    ranges: dict[str, list[tuple[str, str]]] = {}
    for sheet_id, first, last in connection.execute(in_use):
        ranges.setdefault(sheet_id, []).append((first, last))
    return tuple(
        IssuedSheet(hole_id, sheet_id, revision, tuple(trays.get(sheet_id, ())), tuple(ranges.get(sheet_id, ())))
        for sheet_id, hole_id, revision in heads
    )
