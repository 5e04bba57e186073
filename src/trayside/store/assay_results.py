"""Results out of the store as one frame: rows by the quickest way, joined in memory with their lines and columns."""

from __future__ import annotations

from collections.abc import Iterable

import polars
from sqlalchemy import Connection, Select, select

from trayside.app.assay_ports import RESULT_COLUMNS
from trayside.model.assay import CENSORS

from .bulk import BATCH_NAMES, BATCH_ROWS, in_batches, insert_frame
from .schema_assays import CERTIFICATE_COLUMNS, CERTIFICATE_LINES, CERTIFICATES, RESULTS

ROW = {
    "certificate": polars.Int64,
    "column": polars.Int64,
    "place": polars.Int64,
    "raw_text": polars.String,
    "value": polars.Float64,
    "censor": polars.String,
    "lower_limit": polars.Float64,
    "upper_limit": polars.Float64,
    "preferred": polars.Boolean,
}
LINE = {
    "certificate": polars.Int64,
    "place": polars.Int64,
    "number": polars.String,
    "line_kind": polars.String,
    "rack": polars.String,
}
COLUMN = {
    "certificate": polars.Int64,
    "column": polars.Int64,
    "element": polars.String,
    "method": polars.String,
    "unit": polars.String,
    "of_column_lower": polars.Float64,
    "of_column_upper": polars.Float64,
    "ppm_per_unit": polars.Float64,
}


def insert_column(connection: Connection, certificate: int, results: polars.DataFrame) -> None:
    """Store the results of one column of one certificate, in the order of their places.

    A million rows of nine values cost SQLite mostly the binding of each: what all rows of the column share (the
    certificate, the column, mostly the flags and the missing limits) is written into the statement instead.
    """
    if results.is_empty():
        return
    if connection.dialect.name != "sqlite":
        own = polars.lit(certificate, polars.Int64).alias("certificate")
        insert_frame(connection, RESULTS, results.select(own, polars.all()))
        return
    shared = {"certificate": str(certificate)}
    for name in ("column", "censor", "lower_limit", "upper_limit", "preferred"):
        first = results[name][0]
        if results[name].null_count() == results.height:
            shared[name] = "NULL"
        elif name == "column" or (name == "preferred" and results[name].n_unique() == 1):
            shared[name] = str(int(first))
        elif name == "censor" and first in CENSORS and results[name].n_unique() == 1:
            shared[name] = f"'{first}'"
    bound = [name for name in results.columns if name not in shared]
    names = ", ".join(f'"{name}"' for name in (*shared, *bound))
    places = ", ".join([*shared.values(), *("?" * len(bound))])
    statement = f"INSERT INTO {RESULTS.name} ({names}) VALUES ({places})"
    for part in results.select(bound).iter_slices(BATCH_ROWS):
        connection.exec_driver_sql(statement, part.rows())


def results_of(
    connection: Connection,
    *,
    certificate_ids: Iterable[str] | None = None,
    elements: Iterable[str] | None = None,
    numbers: Iterable[str] | None = None,
    superseded: bool = False,
) -> polars.DataFrame:
    """Results with RESULT_COLUMNS, ordered by certificate, place, column. An empty list asks for nothing."""
    found = _joined(
        connection, certificate_ids=certificate_ids, elements=elements, numbers=numbers, superseded=superseded
    )
    return _over_range_replaced(connection, found)


def _over_range_replaced(connection: Connection, found: polars.DataFrame) -> polars.DataFrame:
    """A sample's result above range gives way to an amount on another certificate that counts."""
    over = found.filter((polars.col("censor") == "gt") & polars.col("preferred") & (polars.col("line_kind") == "sample"))
    if over.is_empty():
        return found
    amounts = _joined(connection, elements=set(over["element"]), numbers=set(over["number"])).filter(
        (polars.col("censor") == "none") & (polars.col("line_kind") == "sample")
    )
    replaced = (
        over.select("certificate_id", "place", "column", "number", "element")
        .join(amounts.select("number", "element", polars.col("certificate_id").alias("other")), on=["number", "element"])
        .filter(polars.col("other") != polars.col("certificate_id"))
        .select("certificate_id", "place", "column", polars.lit(True).alias("replaced"))
        .unique()
    )
    if replaced.is_empty():
        return found
    return (
        found.join(replaced, on=["certificate_id", "place", "column"], how="left", maintain_order="left")
        .with_columns((polars.col("preferred") & polars.col("replaced").is_null()).alias("preferred"))
        .drop("replaced")
    )


def _joined(
    connection: Connection,
    *,
    certificate_ids: Iterable[str] | None = None,
    elements: Iterable[str] | None = None,
    numbers: Iterable[str] | None = None,
    superseded: bool = False,
) -> polars.DataFrame:
    certificates = _certificates(connection, certificate_ids, superseded=superseded)
    columns = _columns(connection, certificates, elements)
    serials = set(columns["certificate"])
    lines = _lines(connection, serials, numbers)
    if columns.is_empty() or lines.is_empty():
        return polars.DataFrame(schema=RESULT_COLUMNS)
    rows = _rows(connection, columns, lines, of_elements=elements is not None, of_numbers=numbers is not None)
    to_ppm = polars.col("ppm_per_unit")
    return (
        rows.join(columns, on=["certificate", "column"], how="inner")
        .join(lines, on=["certificate", "place"], how="inner")
        .join(certificates, on="certificate", how="inner")
        .with_columns(
            polars.coalesce("lower_limit", "of_column_lower").alias("low"),
            polars.coalesce("upper_limit", "of_column_upper").alias("high"),
        )
        .with_columns(
            (polars.col("value") * to_ppm).alias("value_ppm"),
            (polars.col("low") * to_ppm).alias("lower_limit_ppm"),
            (polars.col("high") * to_ppm).alias("upper_limit_ppm"),
        )
        .sort("certificate", "place", "column")
        .select(polars.col(name).cast(kind) for name, kind in RESULT_COLUMNS.items())
    )


def _certificates(
    connection: Connection, certificate_ids: Iterable[str] | None, *, superseded: bool
) -> polars.DataFrame:
    table = CERTIFICATES.c
    wanted = select(table.serial, table.certificate_id, table.laboratory, table.reported_at)
    if not superseded:
        wanted = wanted.where(table.superseded_by.is_(None))
    named = None if certificate_ids is None else set(certificate_ids)
    rows = [
        (serial, certificate_id, laboratory, reported_at.isoformat())
        for serial, certificate_id, laboratory, reported_at in connection.execute(wanted)
        if named is None or certificate_id in named
    ]
    schema = {"certificate": polars.Int64, **{n: polars.String for n in ("certificate_id", "laboratory", "reported_at")}}
    return polars.DataFrame(rows, schema=schema, orient="row")


def _columns(
    connection: Connection, certificates: polars.DataFrame, elements: Iterable[str] | None
) -> polars.DataFrame:
    table = CERTIFICATE_COLUMNS.c
    wanted = select(
        table.certificate,
        table.column,
        table.element,
        table.method,
        table.unit,
        table.lower_limit,
        table.upper_limit,
        table.ppm_per_unit,
    )
    named = None if elements is None else set(elements)
    rows = [
        tuple(row)
        for batch in in_batches(certificates["certificate"].to_list(), BATCH_NAMES)
        for row in connection.execute(wanted.where(table.certificate.in_(batch)))
        if named is None or row.element in named
    ]
    return polars.DataFrame(rows, schema=COLUMN, orient="row")


def _lines(connection: Connection, serials: set[int], numbers: Iterable[str] | None) -> polars.DataFrame:
    table = CERTIFICATE_LINES.c
    wanted = select(*(table[name] for name in LINE))
    if numbers is None:
        return _fetched(connection, [wanted.where(table.certificate.in_(b)) for b in _batches(serials)], LINE)
    asked = [wanted.where(table.number.in_(batch)) for batch in in_batches(sorted(set(numbers)), BATCH_NAMES)]
    return _fetched(connection, asked, LINE).filter(polars.col("certificate").is_in(list(serials)))


def _rows(
    connection: Connection, columns: polars.DataFrame, lines: polars.DataFrame, *, of_elements: bool, of_numbers: bool
) -> polars.DataFrame:
    table = RESULTS.c
    wanted = select(*(table[name] for name in ROW))
    if of_numbers:
        asked = []
        for (serial,), group in lines.group_by("certificate", maintain_order=True):
            own = columns.filter(polars.col("certificate") == serial)["column"].to_list()
            asked += [
                wanted.where(table.certificate == serial, table.column.in_(own), table.place.in_(places))
                for places in in_batches(group["place"].to_list(), BATCH_NAMES)
            ]
        return _fetched(connection, asked, ROW)
    if of_elements:
        asked = [
            wanted.where(table.certificate == serial, table.column.in_(group["column"].to_list()))
            for (serial,), group in columns.group_by("certificate", maintain_order=True)
        ]
        return _fetched(connection, asked, ROW)
    return _fetched(connection, [wanted.where(table.certificate.in_(b)) for b in _batches(columns["certificate"])], ROW)


def _batches(serials: Iterable[int]) -> Iterable[list[int]]:
    return in_batches(sorted(set(serials)), BATCH_NAMES)


def _fetched(connection: Connection, asked: list[Select], schema: dict) -> polars.DataFrame:
    """All rows, turned column by column: several times quicker than row by row."""
    pieces = [polars.DataFrame(schema=schema)]
    for statement in asked:
        rows = connection.execute(statement).cursor.fetchall()
        if rows:
            turned = zip(schema.items(), zip(*rows, strict=True), strict=True)
            pieces.append(polars.DataFrame([_series(name, kind, values) for (name, kind), values in turned]))
    return polars.concat(pieces)


def _series(name: str, kind: polars.DataType, values: tuple) -> polars.Series:
    if kind == polars.Boolean:  # SQLite gives 0 and 1
        return polars.Series(name, values, dtype=polars.Int8 if isinstance(values[0], int) else kind).cast(kind)
    return polars.Series(name, values, dtype=kind)
