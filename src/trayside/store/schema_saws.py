"""What each saw cut, by the ledger: one row for every act that says a bag was cut on a saw, so that a saw's work is found quickly.

The ledger is the one truth. Rows are written with the event and never changed; whether the cut still counts is read there.
"""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, Index, Integer, Table

from .schema import Code, metadata

SAW_CUTS = Table(
    "saw_cuts",
    metadata,
    Column("seq", BigInteger().with_variant(Integer(), "sqlite"), primary_key=True, autoincrement=False),
    Column("saw", Code, nullable=False),
    Column("number", Code, nullable=False),
    Column("captured_at", Code, nullable=False),
    Index("saw_cuts_by_saw", "saw", "captured_at"),
)
