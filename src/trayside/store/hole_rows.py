"""Holes and all that is loaded with them: replaced as a whole, read a hole at a time or many in a row."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields
from typing import Any

import polars
from sqlalchemy import Connection, Table, bindparam, delete, select

from trayside.errors import NotFound
from trayside.model.hole import (
    Density,
    Fabric,
    Hole,
    HoleCore,
    Loss,
    OrientationMark,
    Rock,
    Run,
    Survey,
    Tray,
)

from .bulk import BATCH_NAMES, in_batches, insert_frame
from .hole_states import add_states, set_digests
from .schema import HOLE_STATES, HOLES, LOADED, OF_HOLE

HOLES_AT_A_TIME = 50
CHANGE_HOLE = (
    HOLES.update()
    .where(HOLES.c.hole_id == bindparam("of_hole"))
    .values({column.name: bindparam(column.name) for column in HOLES.columns if not column.primary_key})
)

# name in HoleCore, table, record, order within the hole
PARTS: tuple[tuple[str, str, type, str], ...] = (
    ("surveys", "surveys", Survey, "depth_mm"),
    ("runs", "runs", Run, "run"),
    ("losses", "losses", Loss, "from_mm"),
    ("trays", "trays", Tray, "tray"),
    ("rock", "rock", Rock, "from_mm"),
    ("marks", "orientation_marks", OrientationMark, "depth_mm"),
    ("fabric", "fabric", Fabric, "depth_mm"),
    ("densities", "density", Density, "from_mm"),
)


def hole_digests(connection: Connection) -> dict[str, str]:
    return dict(connection.execute(select(HOLE_STATES.c.hole_id, HOLE_STATES.c.digest)).all())


def hole_ids(connection: Connection) -> tuple[str, ...]:
    return tuple(connection.execute(select(HOLES.c.hole_id).order_by(HOLES.c.hole_id)).scalars())


def replace_holes(connection: Connection, tables: dict[str, polars.DataFrame], digests: dict[str, str]) -> None:
    """Put the rows of the holes named in `digests` in the place of what was loaded for them; other rows are ignored."""
    wanted = polars.Series("hole_id", sorted(digests), dtype=polars.String)
    holes = _rows_of(tables.get(HOLES.name), wanted, HOLES)
    missing = sorted(set(digests) - set(holes["hole_id"]))
    if missing:
        raise NotFound("no row in the table holes", where=", ".join(missing[:5]), remedy="Add the collar of this hole")
    known = _known(connection, sorted(digests))
    _remove(connection, sorted(known))
    _put_holes(connection, holes, known)
    for name in OF_HOLE:
        insert_frame(connection, LOADED[name], _rows_of(tables.get(name), wanted, LOADED[name]))
    add_states(connection, {hole_id: digest for hole_id, digest in digests.items() if hole_id not in known})
    set_digests(connection, {hole_id: digest for hole_id, digest in digests.items() if hole_id in known})


def _known(connection: Connection, hole_ids: list[str]) -> set[str]:
    known: set[str] = set()
    for batch in in_batches(hole_ids, BATCH_NAMES):
        known.update(connection.execute(select(HOLES.c.hole_id).where(HOLES.c.hole_id.in_(batch))).scalars())
    return known


def _rows_of(frame: polars.DataFrame | None, wanted: polars.Series, table: Table) -> polars.DataFrame:
    """The rows of the wanted holes, hole by hole, each hole in file order; no rows when the table was not there."""
    if frame is None:
        return polars.DataFrame(schema={"hole_id": polars.String})
    names = [column.name for column in table.columns]
    return (
        frame.with_row_index("row_order")
        .filter(polars.col("hole_id").is_in(wanted.implode()))
        .sort("hole_id", maintain_order=True)
        .select(names)
    )


def _remove(connection: Connection, hole_ids: list[str]) -> None:
    for batch in in_batches(hole_ids, BATCH_NAMES):
        for name in OF_HOLE:
            connection.execute(delete(LOADED[name]).where(LOADED[name].c.hole_id.in_(batch)))


def _put_holes(connection: Connection, holes: polars.DataFrame, known: set[str]) -> None:
    """Sheets and states hang on a hole, so a known one is changed in place."""
    again = polars.col("hole_id").is_in(polars.Series(sorted(known), dtype=polars.String).implode())
    insert_frame(connection, HOLES, holes.filter(~again))
    changed = [{"of_hole": row.pop("hole_id"), **row} for row in holes.filter(again).iter_rows(named=True)]
    if changed:
        connection.execute(CHANGE_HOLE, changed)


def hole_core(connection: Connection, hole_id: str) -> HoleCore:
    return next(hole_cores(connection, [hole_id]))


def hole_cores(connection: Connection, hole_ids: Iterable[str]) -> Iterator[HoleCore]:
    """The holes in the order asked for; a few dozen are read at a time, so memory does not grow with the yard."""
    for batch in in_batches(hole_ids, HOLES_AT_A_TIME):
        yield from _batch(connection, batch)


def _batch(connection: Connection, hole_ids: list[str]) -> Iterator[HoleCore]:
    columns = [HOLES.c[field.name] for field in fields(Hole)]
    wanted = select(*columns).where(HOLES.c.hole_id.in_(hole_ids))
    holes = {row.hole_id: Hole(*row) for row in connection.execute(wanted)}
    missing = [hole_id for hole_id in hole_ids if hole_id not in holes]
    if missing:
        raise NotFound("no such hole in the yard", where=missing[0], remedy="Check the name, or load the hole first")
    parts = {part: _part(connection, table, record, order, hole_ids) for part, table, record, order in PARTS}
    for hole_id in hole_ids:
        yield HoleCore(holes[hole_id], **{part: tuple(rows.get(hole_id, ())) for part, rows in parts.items()})


def _part(connection: Connection, name: str, record: type, order: str, hole_ids: list[str]) -> dict[str, list[Any]]:
    table = LOADED[name]
    make = READERS.get(record, record)
    found: dict[str, list[Any]] = {}
    rows = connection.execute(
        select(table.c.hole_id, *(table.c[field.name] for field in fields(record)))
        .where(table.c.hole_id.in_(hole_ids))
        .order_by(table.c.hole_id, table.c[order], table.c.row_order)
    )
    for hole_id, *values in rows:
        found.setdefault(hole_id, []).append(make(*values))
    return found


def _tray(tray, from_mm, to_mm, rows, row_length_mm, row_ends_mm, remark) -> Tray:
    ends = tuple(int(end) for end in (row_ends_mm or "").split())
    return Tray(tray, from_mm, to_mm, rows, row_length_mm, ends, remark)


def _rock(from_mm, to_mm, rock, condition, grade_class, contact, hardness, vein, sampling, caution) -> Rock:
    return Rock(
        from_mm, to_mm, rock, condition, grade_class, contact, hardness, bool(vein), sampling or "rules", caution
    )


READERS = {Tray: _tray, Rock: _rock}
