"""Certificates, their lines and results, what re-issues changed, and the mappings of laboratories."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, fields

import polars
from sqlalchemy import Connection, Row, delete, func, insert, select, update

from trayside.app.assay_ports import LINE_ROW, RESULT_ROW, Progress
from trayside.errors import ChangedMeanwhile, NotFound
from trayside.model.assay import Analyte, Certificate, CertificateChange, CertificateLine, ColumnMapping
from trayside.model.finding import Finding

from .assay_results import insert_column, results_of
from .bulk import BATCH_NAMES, BATCH_ROWS, in_batches, insert_frame, insert_rows
from .schema_assays import (
    CERTIFICATE_CHANGES,
    CERTIFICATE_COLUMNS,
    CERTIFICATE_LINES,
    CERTIFICATES,
    COLUMN_MAPPINGS,
)

CHANGE_ROW = {
    field.name: polars.Float64 if field.name == "ratio" else polars.String for field in fields(CertificateChange)
}
ANALYTE_NAMES = tuple(field.name for field in fields(Analyte))
NAMES_OF_CERTIFICATE = tuple(
    field.name for field in fields(Certificate) if field.name not in ("analytes", "mapping", "findings")
)
RESULT_ROWS_AT_ONCE = 5 * BATCH_ROWS


class SqlAssays:
    """`app.assay_ports.AssayRows` inside one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # certificates

    def new_certificate_id(self) -> str:
        highest = self._connection.execute(select(func.max(CERTIFICATES.c.serial))).scalar_one() or 0
        return f"CT-{highest + 1:05d}"

    def add_certificate(
        self,
        certificate: Certificate,
        lines: Sequence[CertificateLine] | polars.DataFrame,
        results: polars.DataFrame,
        *,
        progress: Progress | None = None,
    ) -> None:
        serial = _serial(certificate.certificate_id)
        values = {name: getattr(certificate, name) for name in NAMES_OF_CERTIFICATE}
        values |= {
            "serial": serial,
            "mapping": _text(certificate.mapping),
            "findings": _text([asdict(finding) for finding in certificate.findings]),
        }
        self._connection.execute(insert(CERTIFICATES).values(values))
        columns = [(serial, *(getattr(one, name) for name in ANALYTE_NAMES)) for one in certificate.analytes]
        insert_rows(self._connection, CERTIFICATE_COLUMNS, ("certificate", *ANALYTE_NAMES), columns)
        if not isinstance(lines, polars.DataFrame):
            lines = polars.DataFrame([asdict(line) for line in lines], schema=LINE_ROW)
        own = polars.lit(serial, polars.Int64).alias("certificate")
        insert_frame(self._connection, CERTIFICATE_LINES, lines.select(own, *LINE_ROW))
        if "preferred" not in results.columns:
            results = results.with_columns(polars.lit(True).alias("preferred"))
        # In the order of the primary key, each row goes to the end of the table.
        results = results.select(*RESULT_ROW).sort("column", "place", maintain_order=True)
        done, told = 0, 0
        for part in results.partition_by("column", maintain_order=True):
            insert_column(self._connection, serial, part)
            done += part.height
            if progress is not None and (done - told >= RESULT_ROWS_AT_ONCE or done == results.height):
                told = done
                progress(done, results.height, "storing")

    def certificates(self, *, superseded: bool = False) -> tuple[Certificate, ...]:
        return self._certificates(CERTIFICATES.c.serial > 0, superseded=superseded)

    def certificate(self, certificate_id: str) -> Certificate:
        found = self._certificates(CERTIFICATES.c.certificate_id == certificate_id, superseded=True)
        if not found:
            raise NotFound(
                "there is no such certificate", where=certificate_id[:40], remedy="Look at the list on the Results screen"
            )
        return found[0]

    def certificate_of_file(self, sha256: str) -> Certificate | None:
        found = self._certificates(CERTIFICATES.c.sha256 == sha256, superseded=True)
        return max(found, key=lambda one: _serial(one.certificate_id), default=None)

    def certificates_of_job(self, laboratory: str, job: str) -> tuple[Certificate, ...]:
        return self._certificates((CERTIFICATES.c.laboratory == laboratory) & (CERTIFICATES.c.job == job))

    def set_superseded(self, certificate_id: str, *, by: str) -> None:
        mine = (CERTIFICATES.c.certificate_id == certificate_id) & CERTIFICATES.c.superseded_by.is_(None)
        if self._connection.execute(update(CERTIFICATES).where(mine).values(superseded_by=by)).rowcount != 1:
            raise ChangedMeanwhile(
                "this certificate was superseded before", where=certificate_id, remedy="Look at the list of certificates"
            )

    def _certificates(self, condition, *, superseded: bool = False) -> tuple[Certificate, ...]:
        if not superseded:
            condition = condition & CERTIFICATES.c.superseded_by.is_(None)
        newest = (CERTIFICATES.c.reported_at.desc(), CERTIFICATES.c.serial.desc())
        rows = self._connection.execute(select(CERTIFICATES).where(condition).order_by(*newest)).all()
        analytes: dict[int, list[Analyte]] = {row.serial: [] for row in rows}
        for batch in in_batches(analytes, BATCH_NAMES):
            wanted = (
                select(CERTIFICATE_COLUMNS)
                .where(CERTIFICATE_COLUMNS.c.certificate.in_(batch))
                .order_by(CERTIFICATE_COLUMNS.c.certificate, CERTIFICATE_COLUMNS.c.column)
            )
            for serial, *values in self._connection.execute(wanted):
                analytes[serial].append(Analyte(*values))
        return tuple(_certificate(row, tuple(analytes[row.serial])) for row in rows)

    # lines, results, changes

    def lines(self, certificate_id: str) -> tuple[CertificateLine, ...]:
        table = CERTIFICATE_LINES.c
        wanted = select(*(table[name] for name in LINE_ROW)).where(table.certificate == _serial(certificate_id))
        return tuple(CertificateLine(*row) for row in self._connection.execute(wanted.order_by(table.place)))

    def certificates_of_numbers(self, numbers: Iterable[str]) -> dict[str, tuple[str, ...]]:
        found: dict[str, tuple[str, ...]] = {}
        for batch in in_batches(sorted(set(numbers)), BATCH_NAMES):
            wanted = (
                select(CERTIFICATE_LINES.c.number, CERTIFICATES.c.certificate_id)
                .join(CERTIFICATES, CERTIFICATES.c.serial == CERTIFICATE_LINES.c.certificate)
                .where(CERTIFICATE_LINES.c.number.in_(batch), CERTIFICATES.c.superseded_by.is_(None))
                .distinct()
                .order_by(CERTIFICATES.c.certificate_id)
            )
            for number, certificate_id in self._connection.execute(wanted):
                found[number] = (*found.get(number, ()), certificate_id)
        return found

    def results(
        self,
        *,
        certificate_ids: Iterable[str] | None = None,
        elements: Iterable[str] | None = None,
        numbers: Iterable[str] | None = None,
        superseded: bool = False,
    ) -> polars.DataFrame:
        return results_of(
            self._connection,
            certificate_ids=certificate_ids,
            elements=elements,
            numbers=numbers,
            superseded=superseded,
        )

    def add_changes(self, certificate_id: str, changes: Sequence[CertificateChange] | polars.DataFrame) -> None:
        if not isinstance(changes, polars.DataFrame):
            changes = polars.DataFrame([asdict(change) for change in changes], schema=CHANGE_ROW)
        own = polars.lit(_serial(certificate_id), polars.Int64).alias("certificate")
        order = polars.int_range(1, polars.len() + 1, dtype=polars.Int64).alias("row_order")
        insert_frame(self._connection, CERTIFICATE_CHANGES, changes.select(own, order, *CHANGE_ROW))

    def changes(self, certificate_id: str, *, first: int = 0, count: int | None = None) -> tuple[CertificateChange, ...]:
        table = CERTIFICATE_CHANGES.c
        wanted = (
            select(*(table[name] for name in CHANGE_ROW))
            .where(table.certificate == _serial(certificate_id))
            .where(table.row_order > first)
            .order_by(table.row_order)
            .limit(count)
        )
        return tuple(CertificateChange(*row) for row in self._connection.execute(wanted))

    def change_counts(self, certificate_id: str) -> dict[str, int]:
        table = CERTIFICATE_CHANGES.c
        wanted = select(table.kind, func.count()).where(table.certificate == _serial(certificate_id)).group_by(table.kind)
        return {kind: count for kind, count in self._connection.execute(wanted.order_by(table.kind))}

    # mappings

    def mapping(self, laboratory: str) -> ColumnMapping | None:
        return next(iter(self.mappings(laboratory)), None)

    def mappings(self, laboratory: str | None = None) -> tuple[ColumnMapping, ...]:
        table = COLUMN_MAPPINGS.c
        wanted = select(COLUMN_MAPPINGS).order_by(table.used.desc())
        if laboratory is not None:
            wanted = wanted.where(table.laboratory == laboratory)
        return tuple(
            ColumnMapping(
                row.laboratory, row.layout, json.loads(row.more), row.header_digest, row.confirmed_by, row.confirmed_at
            )
            for row in self._connection.execute(wanted)
        )

    def save_mapping(self, mapping: ColumnMapping) -> None:
        table = COLUMN_MAPPINGS.c
        used = (self._connection.execute(select(func.max(table.used))).scalar_one() or 0) + 1
        mine = (table.laboratory == mapping.laboratory) & (table.header_digest == mapping.header_digest)
        self._connection.execute(delete(COLUMN_MAPPINGS).where(mine))
        values = asdict(mapping) | {"more": _text(mapping.more), "used": used}
        self._connection.execute(insert(COLUMN_MAPPINGS).values(values))


def _serial(certificate_id: str) -> int:
    """The number in the name; 0, which no certificate has, when it is no name of a certificate."""
    digits = certificate_id.removeprefix("CT-")
    return int(digits) if digits.isdecimal() and digits.isascii() and len(digits) < 10 else 0


def _certificate(row: Row, analytes: tuple[Analyte, ...]) -> Certificate:
    held = dict(row._mapping)
    del held["serial"]
    held["mapping"] = json.loads(held["mapping"])
    held["findings"] = tuple(Finding(**one) for one in json.loads(held["findings"]))
    return Certificate(**held, analytes=analytes)


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
