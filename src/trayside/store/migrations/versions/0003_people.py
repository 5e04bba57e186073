"""People, their sessions, paired tablets, pairing codes, and the count of wrong tries.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")
ROLES = "role IN ('operator', 'geologist', 'QC', 'lead', 'viewer')"


def upgrade() -> None:
    op.create_table(
        "people",
        sa.Column("person_id", Code, primary_key=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", Code, nullable=False, unique=True),
        sa.Column("role", Code, nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("pin_hash", sa.Text(), nullable=False),
        sa.Column("added_at", Moment, nullable=False),
        sa.CheckConstraint(ROLES, name="role_known"),
    )
    op.create_table(
        "tablets",
        sa.Column("tablet_id", Code, primary_key=True),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("name_key", Code, nullable=False),
        sa.Column("token_digest", Code, nullable=False, unique=True),
        sa.Column("paired_at", Moment, nullable=False),
        sa.Column("paired_by", sa.Text(), nullable=False),
        sa.Column("revoked_at", Moment),
    )
    op.create_table(
        "person_sessions",
        sa.Column("token_digest", Code, primary_key=True),
        sa.Column("person_id", Code, sa.ForeignKey("people.person_id"), nullable=False),
        sa.Column("tablet_id", Code, sa.ForeignKey("tablets.tablet_id")),
        sa.Column("created_at", Moment, nullable=False),
        sa.Column("seen_at", Moment, nullable=False),
        sa.Column("ends_at", Moment, nullable=False),
    )
    op.create_index("person_sessions_by_person", "person_sessions", ["person_id"])
    op.create_index("person_sessions_by_tablet", "person_sessions", ["tablet_id"])
    op.create_table(
        "pairing_codes",
        sa.Column("code_id", Code, primary_key=True),
        sa.Column("code_hash", sa.Text(), nullable=False),
        sa.Column("made_at", Moment, nullable=False),
        sa.Column("made_by", sa.Text(), nullable=False),
        sa.Column("ends_at", Moment, nullable=False),
        sa.Column("used_at", Moment),
        sa.Column("tablet_id", Code, sa.ForeignKey("tablets.tablet_id")),
    )
    op.create_table(
        "wrong_tries",
        sa.Column("subject", Code, primary_key=True),
        sa.Column("failures", sa.Integer(), nullable=False),
        sa.Column("last_at", Moment, nullable=False),
        sa.CheckConstraint("failures >= 0", name="failures_counted"),
    )


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
