"""Cut sheets: the draft (revision 0) that is saved over, and the revisions that are frozen once issued."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import fields, replace

from sqlalchemy import Connection, Row, delete, insert, literal, select, update

from trayside.errors import ChangedMeanwhile, NotFound
from trayside.model.cut_sheet import Place, Revision, Sheet, SheetRow

from .bulk import insert_rows
from .material_rows import change_totals, still_to_take
from .number_rows import issue_numbers, use_numbers
from .schema import HOLES, SHEET_REVISIONS, SHEET_ROWS, SHEETS

DRAFT = 0
PLACES = {"from_place": ("from_tray", "from_row", "from_left_cm"), "to_place": ("to_tray", "to_row", "to_left_cm")}
FIELDS = tuple(field.name for field in fields(SheetRow))
COLUMNS = tuple(column for name in FIELDS for column in PLACES.get(name, (name,)))
LOOK_AT_BOTH = "Open the sheet again, look at both, and make your change anew"


def sheet(connection: Connection, hole_id: str) -> Sheet | None:
    stored = _stored_sheet(connection, hole_id)
    if stored is None:
        return None
    return Sheet(
        sheet_id=stored.sheet_id,
        hole_id=stored.hole_id,
        version=stored.version,
        seed=stored.seed,
        hole_digest=stored.hole_digest,
        rows=_rows(connection, stored.sheet_id, DRAFT),
        revision=stored.revision,
        edited_by=stored.edited_by,
        by_hand=tuple(json.loads(stored.by_hand)),
    )


def save_sheet(connection: Connection, sheet: Sheet, *, serials: dict[str, tuple[str, int]]) -> Sheet:
    """Store the draft, all of it or nothing, and return it with its version raised and its stored revision."""
    with connection.begin_nested():
        stored = _stored_sheet(connection, sheet.hole_id)
        _refuse_changed(stored, sheet)
        version = sheet.version + 1
        revision = stored.revision if stored is not None else 0
        values = {
            "version": version,
            "seed": sheet.seed,
            "hole_digest": sheet.hole_digest,
            "issued_version": _issued_version(connection, stored, sheet),
            "edited_by": sheet.edited_by,
            "by_hand": json.dumps(sheet.by_hand),
        }
        if stored is None:
            _refuse_unknown_hole(connection, sheet.hole_id)
            new = {"sheet_id": sheet.sheet_id, "hole_id": sheet.hole_id, "revision": 0, **values}
            connection.execute(insert(SHEETS).values(new))
        else:
            connection.execute(update(SHEETS).where(SHEETS.c.sheet_id == sheet.sheet_id).values(values))
        _put_draft(connection, sheet)
        numbers = [row.number for row in sheet.rows]
        use_numbers(connection, sheet_id=sheet.sheet_id, hole_id=sheet.hole_id, numbers=numbers, serials=serials)
    return replace(sheet, version=version, revision=revision)


def add_revision(connection: Connection, revision: Revision) -> None:
    """Freeze the draft as the next revision. `revision.rows` may be left out; if given, they must be the draft's."""
    with connection.begin_nested():
        stored = _stored_sheet(connection, revision.hole_id)
        if stored is None or stored.sheet_id != revision.sheet_id:
            raise NotFound("no such cut sheet", where=revision.hole_id, remedy="Plan the hole first")
        if revision.revision != stored.revision + 1:
            raise ChangedMeanwhile(
                f"revision {stored.revision} is the newest, so {revision.revision} cannot be the next",
                where=revision.hole_id,
                remedy="Somebody issued it first: open the sheet again and look at that revision",
            )
        if revision.rows and revision.rows != _rows(connection, revision.sheet_id, DRAFT):
            raise ChangedMeanwhile(
                f"{stored.edited_by or 'somebody'} saved other rows while this was being issued",
                where=revision.hole_id,
                remedy=LOOK_AT_BOTH,
            )
        _freeze_rows(connection, revision.sheet_id, revision.revision)
        head = {name: getattr(revision, name) for name in HEAD if name != "changes"}
        changes = json.dumps(revision.changes, ensure_ascii=False)
        connection.execute(insert(SHEET_REVISIONS).values(**head, changes=changes))
        connection.execute(
            update(SHEETS)
            .where(SHEETS.c.sheet_id == revision.sheet_id)
            .values(revision=revision.revision, issued_version=stored.version)
        )
        issue_numbers(connection, sheet_id=revision.sheet_id)


def revisions(connection: Connection, hole_id: str) -> tuple[Revision, ...]:
    """The heads of all revisions, oldest first; `revision` gives one with its rows."""
    wanted = select(*(SHEET_REVISIONS.c[name] for name in HEAD)).join(SHEETS)
    found = connection.execute(wanted.where(SHEETS.c.hole_id == hole_id).order_by(SHEET_REVISIONS.c.revision))
    return tuple(_head(row) for row in found)


def revision(connection: Connection, hole_id: str, revision: int) -> Revision:
    wanted = select(*(SHEET_REVISIONS.c[name] for name in HEAD)).join(SHEETS)
    found = connection.execute(
        wanted.where(SHEETS.c.hole_id == hole_id, SHEET_REVISIONS.c.revision == revision)
    ).one_or_none()
    if found is None:
        raise NotFound(f"no revision {revision} was issued", where=hole_id, remedy="Look at the list of revisions")
    return replace(_head(found), rows=_rows(connection, found.sheet_id, revision))


def sheet_id_of(connection: Connection, hole_id: str) -> str | None:
    return connection.execute(select(SHEETS.c.sheet_id).where(SHEETS.c.hole_id == hole_id)).scalar_one_or_none()


HEAD = ("sheet_id", "hole_id", "revision", "issued_at", "issued_by", "statement", "digest", "changes")


def _head(row: Row) -> Revision:
    return Revision(*row[:-1], changes=tuple(json.loads(row.changes)))


def _stored_sheet(connection: Connection, hole_id: str) -> Row | None:
    return connection.execute(select(SHEETS).where(SHEETS.c.hole_id == hole_id)).one_or_none()


def _refuse_changed(stored: Row | None, sheet: Sheet) -> None:
    if stored is None and sheet.version == 0:
        return
    if stored is None:
        raise NotFound("no such cut sheet", where=sheet.hole_id, remedy="Plan the hole first")
    if sheet.version == 0 or stored.sheet_id != sheet.sheet_id:
        what = f"{stored.edited_by or 'somebody'} planned this hole first"
    elif stored.version != sheet.version:
        what = (
            f"{stored.edited_by or 'somebody'} saved version {stored.version}"
            f" while you were working on version {sheet.version}"
        )
    else:
        return
    raise ChangedMeanwhile(what, where=f"cut sheet of {sheet.hole_id}", remedy=LOOK_AT_BOTH)


def _refuse_unknown_hole(connection: Connection, hole_id: str) -> None:
    if connection.execute(select(HOLES.c.hole_id).where(HOLES.c.hole_id == hole_id)).one_or_none() is None:
        raise NotFound("no such hole in the yard", where=hole_id, remedy="Check the name, or load the hole first")


def _issued_version(connection: Connection, stored: Row | None, sheet: Sheet) -> int | None:
    """The version about to be saved if its rows are those of the newest revision, else the version that was issued."""
    if stored is None or stored.revision == 0:
        return None
    same = _rows(connection, sheet.sheet_id, stored.revision) == sheet.rows
    return sheet.version + 1 if same else stored.issued_version


def _put_draft(connection: Connection, sheet: Sheet) -> None:
    before = still_to_take(connection, sheet.sheet_id)
    connection.execute(
        delete(SHEET_ROWS).where(SHEET_ROWS.c.sheet_id == sheet.sheet_id, SHEET_ROWS.c.revision == DRAFT)
    )
    rows = [(sheet.sheet_id, DRAFT, *_stored(row)) for row in sheet.rows]
    insert_rows(connection, SHEET_ROWS, ("sheet_id", "revision", *COLUMNS), rows)
    change_totals(connection, before=before, after=still_to_take(connection, sheet.sheet_id))


def _freeze_rows(connection: Connection, sheet_id: str, revision: int) -> None:
    names = ("sheet_id", "revision", *COLUMNS)
    frozen = select(SHEET_ROWS.c.sheet_id, literal(revision), *(SHEET_ROWS.c[name] for name in COLUMNS)).where(
        SHEET_ROWS.c.sheet_id == sheet_id, SHEET_ROWS.c.revision == DRAFT
    )
    connection.execute(insert(SHEET_ROWS).from_select(names, frozen))


def _rows(connection: Connection, sheet_id: str, revision: int) -> tuple[SheetRow, ...]:
    wanted = select(*(SHEET_ROWS.c[name] for name in COLUMNS))
    found = connection.execute(
        wanted.where(SHEET_ROWS.c.sheet_id == sheet_id, SHEET_ROWS.c.revision == revision).order_by(SHEET_ROWS.c.seq)
    )
    return tuple(_read(row) for row in found)


def _stored(row: SheetRow) -> tuple:
    return tuple(_stored_values(row))


def _stored_values(row: SheetRow) -> Iterator:
    for name in FIELDS:
        value = getattr(row, name)
        if name not in PLACES:
            yield value
        elif value is None:
            yield from (None, None, None)
        else:
            yield from (value.tray, value.row, value.left_cm)


def _read(row: Row) -> SheetRow:
    values = iter(row)
    read = {}
    for name in FIELDS:
        if name in PLACES:
            tray, in_row, left_cm = next(values), next(values), next(values)
            read[name] = None if tray is None else Place(tray, in_row, left_cm)
        else:
            read[name] = next(values)
    return SheetRow(**read)
