"""Shift plans.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")


def upgrade() -> None:
    op.create_table(
        "shift_plans",
        sa.Column("plan_id", Code, primary_key=True),
        sa.Column("serial", sa.Integer(), nullable=False, unique=True),
        sa.Column("day", Code, nullable=False),
        sa.Column("made_at", Moment, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("replaces", Code, sa.ForeignKey("shift_plans.plan_id")),
        sa.Column("record", sa.Text(), nullable=False),
    )
    op.create_index("shift_plans_by_day", "shift_plans", ["day", "serial"])
