"""What the whole yard shares: core sizes, rock codes, materials, ticket books, and the rules."""

from __future__ import annotations

from dataclasses import fields

import polars
from sqlalchemy import Connection, Table, delete, select, text

from trayside.errors import NotFound
from trayside.model.stock import CertifiedValue, CoreSize, Material, RockCode, Stock, TicketBook
from trayside.model.tables import BY_NAME

from .bulk import insert_frame
from .schema import LOADED, SHARED, SHARED_DIGESTS, YARD_SETTINGS

SET_DIGEST = text(
    "INSERT INTO shared_digests (table_name, digest) VALUES (:table_name, :digest)"
    " ON CONFLICT (table_name) DO UPDATE SET digest = excluded.digest"
)
SET_SETTING = text(
    "INSERT INTO yard_settings (name, value) VALUES (:name, :value)"
    " ON CONFLICT (name) DO UPDATE SET value = excluded.value"
)


def shared_digests(connection: Connection) -> dict[str, str]:
    return dict(connection.execute(select(SHARED_DIGESTS.c.table_name, SHARED_DIGESTS.c.digest)).all())


FRAME_TYPES = {"integer": polars.Int64, "number": polars.Float64}


def shared_table(connection: Connection, name: str) -> polars.DataFrame:
    """The table as the reader hands it over."""
    table = _shared(name)
    types = {column.name: FRAME_TYPES.get(column.kind, polars.String) for column in BY_NAME[name].columns}
    rows = connection.execute(select(*(table.c[column] for column in types)).order_by(table.c.row_order))
    return polars.DataFrame([tuple(row) for row in rows], schema=types, orient="row")


def replace_shared(connection: Connection, name: str, frame: polars.DataFrame, digest: str) -> None:
    table = _shared(name)
    connection.execute(delete(table))
    insert_frame(connection, table, frame.with_row_index("row_order").select([column.name for column in table.columns]))
    connection.execute(SET_DIGEST, {"table_name": name, "digest": digest})


def _shared(name: str) -> Table:
    if name not in SHARED:
        raise NotFound("not a table the whole yard shares", where=name, remedy=f"One of: {', '.join(SHARED)}")
    return LOADED[name]


def set_rules(connection: Connection, rules: str) -> None:
    connection.execute(SET_SETTING, {"name": "rules", "value": rules})


def rules_text(connection: Connection) -> str | None:
    return connection.execute(select(YARD_SETTINGS.c.value).where(YARD_SETTINGS.c.name == "rules")).scalar_one_or_none()


def stock(connection: Connection) -> Stock:
    """Everything shared, each table in file order."""
    sizes = [CoreSize(*row) for row in _rows(connection, "core_sizes", CoreSize)]
    rocks = [RockCode(*row) for row in _rows(connection, "rock_codes", RockCode)]
    return Stock(
        core_sizes={size.core_size: size for size in sizes},
        rock_codes={rock.rock: rock for rock in rocks},
        materials=tuple(Material(*row) for row in _rows(connection, "materials", Material)),
        tickets=tuple(_book(*row) for row in _rows(connection, "tickets", TicketBook)),
        certified=tuple(CertifiedValue(*row) for row in _rows(connection, "certified_values", CertifiedValue)),
    )


def _rows(connection: Connection, name: str, record: type):
    table = LOADED[name]
    columns = [table.c[field.name] for field in fields(record)]
    return connection.execute(select(*columns).order_by(table.c.row_order))


def _book(book, prefix, first, last, digits, hole_id, voids) -> TicketBook:
    spoiled = tuple(int(serial) for serial in (voids or "").split())
    return TicketBook(book, prefix or "", first, last, digits, hole_id, spoiled)
