"""Many rows at once, by the quickest way each database has."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice

import polars
from sqlalchemy import Connection, Table

BATCH_ROWS = 20_000
BATCH_NAMES = 500
"""Names in one IN (...); both databases take many more, but the statement is then read for longer than it runs."""


def in_batches(items: Iterable, size: int) -> Iterator[list]:
    """The items in lists of at most `size`."""
    rest = iter(items)
    while batch := list(islice(rest, size)):
        yield batch


def insert_rows(connection: Connection, table: Table, columns: Sequence[str], rows: list[tuple]) -> None:
    """Insert tuples whose values stand in the order of `columns`."""
    if not rows:
        return
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(_insert(table, columns), rows)
        return
    with _copy(connection, table, columns, "") as copy:
        for row in rows:
            copy.write_row(row)


def insert_frame(connection: Connection, table: Table, frame: polars.DataFrame) -> None:
    """Insert a frame whose columns are named like the table's."""
    if frame.is_empty():
        return
    if connection.dialect.name == "sqlite":
        statement = _insert(table, frame.columns)
        for part in frame.iter_slices(BATCH_ROWS):
            connection.exec_driver_sql(statement, part.rows())
        return
    # Text is always quoted, so an unquoted \N can only be a null, and an empty text stays an empty text.
    with _copy(connection, table, frame.columns, " WITH (FORMAT csv, NULL '\\N')") as copy:
        for part in frame.iter_slices(BATCH_ROWS):
            copy.write(part.write_csv(include_header=False, null_value="\\N", quote_style="non_numeric"))


def _insert(table: Table, columns: Sequence[str]) -> str:
    return f"INSERT INTO {table.name} ({_names(columns)}) VALUES ({', '.join('?' * len(columns))})"


def _names(columns: Sequence[str]) -> str:
    return ", ".join(f'"{column}"' for column in columns)


@contextmanager
def _copy(connection: Connection, table: Table, columns: Sequence[str], options: str):
    if not connection.in_transaction():
        connection.begin()
    statement = f"COPY {table.name} ({_names(columns)}) FROM STDIN{options}"
    with connection.connection.cursor() as cursor, cursor.copy(statement) as copy:
        yield copy
