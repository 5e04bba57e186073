"""Sacks, loads and the laboratory's received lists.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")


def upgrade() -> None:
    op.create_table(
        "loads",
        sa.Column("load_id", Code, primary_key=True),
        sa.Column("serial", sa.Integer(), nullable=False, unique=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("request", sa.Text(), nullable=False),
        sa.Column("made_at", Moment, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("sent_at", Moment),
        sa.Column("sent_by", sa.Text(), nullable=False),
        sa.Column("statement", sa.Text(), nullable=False),
        sa.Column("ledger_seq", sa.BigInteger(), nullable=False),
        sa.Column("ledger_hash", sa.Text(), nullable=False),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
        sa.CheckConstraint("(sent_at IS NULL) = (digest = '')", name="sent_with_digest"),
    )
    op.create_table(
        "sacks",
        sa.Column("sack_id", Code, primary_key=True),
        sa.Column("serial", sa.Integer(), nullable=False, unique=True),
        sa.Column("load_id", Code, sa.ForeignKey("loads.load_id")),
        sa.Column("packed_at", Moment, nullable=False),
        sa.Column("packed_by", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=False),
        sa.Column("undone_at", Moment),
        sa.Column("undone_by", sa.Text(), nullable=False),
    )
    op.create_index("sacks_by_load", "sacks", ["load_id"])
    op.create_table(
        "sack_bags",
        sa.Column("number", Code, primary_key=True),
        sa.Column("sack_id", Code, sa.ForeignKey("sacks.sack_id"), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
    )
    op.create_index("sack_bags_by_sack", "sack_bags", ["sack_id", "place"], unique=True)
    op.create_table(
        "receipts",
        sa.Column("receipt_id", Code, primary_key=True),
        sa.Column("load_id", Code, sa.ForeignKey("loads.load_id"), nullable=False),
        sa.Column("received_at", Moment, nullable=False),
        sa.Column("utc_offset_min", sa.Integer(), nullable=False),
        sa.Column("received_by", sa.Text(), nullable=False),
        sa.Column("lab_job", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("lines", sa.Text(), nullable=False),
        sa.Column("stored_at", Moment, nullable=False),
        sa.Column("stored_by", sa.Text(), nullable=False),
        sa.Column("seals_intact", sa.Boolean()),
        sa.Column("confirmed_at", Moment),
        sa.Column("confirmed_by", sa.Text(), nullable=False),
        sa.Column("taken_as", sa.Text(), nullable=False),
    )
    op.create_index("receipts_by_load", "receipts", ["load_id", "stored_at"])


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
