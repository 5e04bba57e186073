"""What people were exposed to, by person, day and revision. Rows are added and never changed."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Column, Index, Integer, Table, Text

from .schema import Code, UtcTime, metadata

SHIFT_EXPOSURES = Table(
    "shift_exposures",
    metadata,
    Column("person_key", Code, primary_key=True),
    Column("day", Code, primary_key=True),
    Column("revision", Integer, primary_key=True),
    Column("person", Text, nullable=False),
    Column("recorded_at", UtcTime, nullable=False),
    Column("recorded_by", Text, nullable=False),
    Column("reason", Text, nullable=False),
    Column("content", Text, nullable=False),
    CheckConstraint("revision > 0", name="exposure_revision_counted"),
    Index("shift_exposures_by_day", "day"),
)
