"""What a person was exposed to in a shift: a table that only grows, so that what was first said stays.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")
FROZEN = "what was recorded about a shift stays: record a correction instead"


def upgrade() -> None:
    op.create_table(
        "shift_exposures",
        sa.Column("person_key", Code, primary_key=True),
        sa.Column("day", Code, primary_key=True),
        sa.Column("revision", sa.Integer(), primary_key=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("recorded_at", Moment, nullable=False),
        sa.Column("recorded_by", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.CheckConstraint("revision > 0", name="exposure_revision_counted"),
    )
    op.create_index("shift_exposures_by_day", "shift_exposures", ["day"])
    if op.get_context().dialect.name == "sqlite":
        for label, act in (("update", "UPDATE"), ("delete", "DELETE")):
            op.execute(
                f"CREATE TRIGGER shift_exposures_keep_{label} BEFORE {act} ON shift_exposures"
                f" BEGIN SELECT RAISE(ABORT, '{FROZEN}'); END"
            )
        return
    op.execute(
        f"""CREATE FUNCTION refuse_change_of_shift_exposures() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION '{FROZEN}' USING ERRCODE = 'restrict_violation'; END $$"""
    )
    for label, act in (("keep", "UPDATE OR DELETE ON shift_exposures FOR EACH ROW"),
                       ("keep_all", "TRUNCATE ON shift_exposures FOR EACH STATEMENT")):  # fmt: skip
        op.execute(
            f"CREATE TRIGGER shift_exposures_{label} BEFORE {act} EXECUTE FUNCTION refuse_change_of_shift_exposures()"
        )


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
