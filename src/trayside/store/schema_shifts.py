"""Table of shift plans. A plan is written once and never changed; `record` holds what it was made from and what came out."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, Integer, Table, Text

from .schema import Code, UtcTime, metadata

SHIFT_PLANS = Table(
    "shift_plans",
    metadata,
    Column("plan_id", Code, primary_key=True),
    Column("serial", Integer, nullable=False, unique=True),
    Column("day", Code, nullable=False),
    Column("made_at", UtcTime, nullable=False),
    Column("made_by", Text, nullable=False),
    Column("replaces", Code, ForeignKey("shift_plans.plan_id")),
    Column("record", Text, nullable=False),
    Index("shift_plans_by_day", "day", "serial"),
)
