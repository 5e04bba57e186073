"""Tables of certificates: the certificate, its columns, its lines, its results, what a re-issue changed, mappings.

A result is found by certificate, column and place, so that one element of one certificate is one stretch of the table.
"""

from __future__ import annotations

from sqlalchemy import Boolean, CheckConstraint, Column, Double, ForeignKey, Index, Integer, Table, Text

from .schema import Code, UtcTime, metadata

CERTIFICATES = Table(
    "certificates",
    metadata,
    Column("serial", Integer, primary_key=True, autoincrement=False),
    Column("certificate_id", Code, nullable=False, unique=True),
    Column("laboratory", Code, nullable=False),
    Column("job", Code, nullable=False),
    Column("reported_at", UtcTime, nullable=False),
    Column("imported_at", UtcTime, nullable=False),
    Column("imported_by", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("sha256", Code, nullable=False),
    Column("lines", Integer, nullable=False),
    Column("supersedes", Code),
    Column("superseded_by", Code),
    Column("mapping", Text, nullable=False),
    Column("findings", Text, nullable=False),
    Index("certificates_by_job", "laboratory", "job"),
    Index("certificates_by_file", "sha256"),
)
CERTIFICATE_COLUMNS = Table(
    "certificate_columns",
    metadata,
    Column("certificate", Integer, ForeignKey("certificates.serial"), primary_key=True),
    Column("column", Integer, primary_key=True),
    Column("element", Code, nullable=False),
    Column("unit", Code, nullable=False),
    Column("method", Text, nullable=False),
    Column("lower_limit", Double),
    Column("upper_limit", Double),
    Column("ppm_per_unit", Double),
    Column("as_written", Text, nullable=False),
    sqlite_with_rowid=False,
)
CERTIFICATE_LINES = Table(
    "certificate_lines",
    metadata,
    Column("certificate", Integer, ForeignKey("certificates.serial"), primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("number", Code, nullable=False),
    Column("as_written", Text, nullable=False),
    Column("line_kind", Code, nullable=False),
    Column("rack", Code, nullable=False),
    Column("mass_kg", Double),
    CheckConstraint("place > 0", name="place_counted"),
    Index("certificate_lines_by_number", "number"),
    sqlite_with_rowid=False,
)
RESULTS = Table(
    "results",
    metadata,
    Column("certificate", Integer, primary_key=True),
    Column("column", Integer, primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("raw_text", Text, nullable=False),
    Column("value", Double),
    Column("censor", Text, nullable=False),
    Column("lower_limit", Double),
    Column("upper_limit", Double),
    Column("preferred", Boolean, nullable=False),
    # No foreign key: only add_certificate writes here, a million rows at a time, beside the lines they belong to.
    sqlite_with_rowid=False,
)
CERTIFICATE_CHANGES = Table(
    "certificate_changes",
    metadata,
    Column("certificate", Integer, ForeignKey("certificates.serial"), primary_key=True),
    Column("row_order", Integer, primary_key=True),
    Column("kind", Code, nullable=False),
    Column("number", Code, nullable=False),
    Column("line_kind", Code, nullable=False),
    Column("element", Code, nullable=False),
    Column("method", Text, nullable=False),
    Column("before_text", Text),
    Column("before_unit", Code),
    Column("after_text", Text),
    Column("after_unit", Code),
    Column("ratio", Double),
    sqlite_with_rowid=False,
)
COLUMN_MAPPINGS = Table(
    "column_mappings",
    metadata,
    Column("laboratory", Code, primary_key=True),
    Column("header_digest", Code, primary_key=True),
    Column("layout", Code, nullable=False),
    Column("more", Text, nullable=False),
    Column("confirmed_by", Text, nullable=False),
    Column("confirmed_at", UtcTime),
    Column("used", Integer, nullable=False),
)
