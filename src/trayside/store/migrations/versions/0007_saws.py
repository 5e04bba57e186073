"""Saws and blades of the yard, and the cuts of each saw, found among what the ledger holds already.

Written out by hand, so that it stays what it was when the tables move on.
"""

import json

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Count = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
AT_ONCE = 5_000


def upgrade() -> None:
    op.create_table(
        "saws",
        sa.Column("saw", Code, primary_key=True),
        sa.Column("kind", Code, nullable=False),
        sa.Column("spindle_rpm", sa.Double()),
        sa.Column("largest_blade_mm", sa.Double()),
        sa.Column("flange_diameter_mm", sa.Double()),
        sa.Column("water", Code),
        sa.Column("water_low_l_min", sa.Double()),
        sa.Column("water_high_l_min", sa.Double()),
        sa.Column("remark", sa.Text()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )
    op.create_table(
        "blades",
        sa.Column("blade", Code, primary_key=True),
        sa.Column("blade_type", Code, nullable=False),
        sa.Column("diameter_mm", sa.Double(), nullable=False),
        sa.Column("segment_height_mm", sa.Double(), nullable=False),
        sa.Column("stamped_rpm", sa.Double()),
        sa.Column("segments", sa.Integer()),
        sa.Column("segment_length_mm", sa.Double()),
        sa.Column("segment_width_mm", sa.Double()),
        sa.Column("kerf_mm", sa.Double()),
        sa.Column("bond", Code),
        sa.Column("price", sa.Double()),
        sa.Column("lead_days", sa.Double()),
        sa.Column("remark", sa.Text()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )
    op.create_table(
        "saw_cuts",
        sa.Column("seq", Count, primary_key=True, autoincrement=False),
        sa.Column("saw", Code, nullable=False),
        sa.Column("number", Code, nullable=False),
        sa.Column("captured_at", Code, nullable=False),
    )
    op.create_index("saw_cuts_by_saw", "saw_cuts", ["saw", "captured_at"])
    _cuts_of_the_ledger()


def _cuts_of_the_ledger() -> None:
    connection, after = op.get_bind(), 0
    asked = sa.text(
        "SELECT seq, record FROM events WHERE kind IN ('cut', 'corrected') AND object_type = 'bag' AND seq > :after"
        " ORDER BY seq LIMIT :most"
    )
    put = sa.text("INSERT INTO saw_cuts (seq, saw, number, captured_at) VALUES (:seq, :saw, :number, :captured_at)")
    while rows := connection.execute(asked, {"after": after, "most": AT_ONCE}).all():
        after = rows[-1].seq
        cuts = [(row.seq, json.loads(row.record)) for row in rows]
        found = [
            {"seq": seq, "saw": cut["values"]["saw"], "number": cut["object_id"], "captured_at": cut["captured_at"]}
            for seq, cut in cuts
            if cut["values"].get("saw")
        ]
        if found:
            connection.execute(put, found)


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
