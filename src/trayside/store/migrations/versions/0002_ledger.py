"""The ledger of physical acts, and what came under an id that was taken: two tables that only grow.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Count = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
GENESIS = "0" * 64
IN_CONFLICT = sa.text("standing = 'conflict'")
TABLES = ("events", "event_conflicts")
FROZEN = "the ledger only grows: record a correction instead"


def upgrade() -> None:
    for name in TABLES:
        _chain(name)
    op.create_index("events_by_id", "events", ["event_id"], unique=True)
    op.create_index("events_by_object", "events", ["object_type", "object_id"])
    op.create_index("events_by_place", "events", ["hole_id", "tray"])
    op.create_index(
        "events_in_conflict",
        "events",
        ["seq"],
        sqlite_where=IN_CONFLICT,
        postgresql_where=IN_CONFLICT,
    )
    op.create_index("event_conflicts_by_id", "event_conflicts", ["event_id"])
    dialect = op.get_context().dialect.name
    for name in TABLES:
        if dialect == "sqlite":
            _guard_on_sqlite(name)
        else:
            _guard_on_postgresql(name)


def _chain(name: str) -> None:
    op.create_table(
        name,
        sa.Column("seq", Count, primary_key=True, autoincrement=False),
        sa.Column("event_id", Code, nullable=False),
        sa.Column("kind", Code, nullable=False),
        sa.Column("object_type", Code, nullable=False),
        sa.Column("object_id", Code, nullable=False),
        sa.Column("hole_id", Code),
        sa.Column("tray", sa.Integer()),
        sa.Column("standing", Code, nullable=False),
        sa.Column("record", Code, nullable=False),
        sa.Column("prev_hash", Code, nullable=False),
        sa.Column("hash", Code, nullable=False),
        sa.CheckConstraint("seq > 0", name=f"{name}_seq_positive"),
        sa.CheckConstraint("length(hash) = 64", name=f"{name}_hash_length"),
    )


def _guard_on_sqlite(name: str) -> None:
    """No change, no removal, no REPLACE, and no row that does not follow the newest one."""
    follows = f"(SELECT NEW.seq = seq + 1 AND NEW.prev_hash = hash FROM {name} ORDER BY seq DESC LIMIT 1)"
    begins = f"NEW.seq = 1 AND NEW.prev_hash = '{GENESIS}'"
    for label, act, when in (
        ("update", "UPDATE", "1"),
        ("delete", "DELETE", "1"),
        ("insert", "INSERT", f"NOT coalesce({follows}, {begins})"),
    ):
        op.execute(
            f"CREATE TRIGGER {name}_keep_{label} BEFORE {act} ON {name} WHEN {when}"
            f" BEGIN SELECT RAISE(ABORT, '{FROZEN}'); END"
        )
    if name == "events":
        op.execute(
            f"CREATE TRIGGER {name}_keep_id BEFORE INSERT ON {name}"
            f" WHEN EXISTS (SELECT 1 FROM {name} WHERE event_id = NEW.event_id)"
            f" BEGIN SELECT RAISE(ABORT, '{FROZEN}'); END"
        )


def _guard_on_postgresql(name: str) -> None:
    """As on SQLite; what is added is looked at once a statement, so that many rows cost one look."""
    op.execute(
        f"""CREATE FUNCTION refuse_change_of_{name}() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN RAISE EXCEPTION '{FROZEN}' USING ERRCODE = 'restrict_violation'; END $$"""
    )
    # Without seqscan: a plan made while the table was small would else read all of it at every append.
    op.execute(
        f"""CREATE FUNCTION refuse_fork_of_{name}() RETURNS trigger LANGUAGE plpgsql SET enable_seqscan = off AS $$
        DECLARE
            first_seq bigint := (SELECT min(seq) FROM added);
            newest_hash text := (SELECT hash FROM {name} WHERE seq = first_seq - 1);
        BEGIN
            IF EXISTS (
                SELECT 1 FROM (
                    SELECT seq, prev_hash,
                        lag(seq, 1, first_seq - 1) OVER in_order AS seq_before,
                        lag(hash, 1, CASE WHEN first_seq = 1 THEN '{GENESIS}' ELSE newest_hash END COLLATE "C")
                            OVER in_order AS hash_before
                    FROM added WINDOW in_order AS (ORDER BY seq)
                ) AS chained
                WHERE seq <> seq_before + 1 OR prev_hash IS DISTINCT FROM chained.hash_before
            ) THEN
                RAISE EXCEPTION '{FROZEN}' USING ERRCODE = 'restrict_violation';
            END IF;
            RETURN NULL;
        END $$"""
    )
    for label, act, function in (
        ("keep", f"BEFORE UPDATE OR DELETE ON {name} FOR EACH ROW", "refuse_change"),
        ("keep_all", f"BEFORE TRUNCATE ON {name} FOR EACH STATEMENT", "refuse_change"),
        (
            "keep_insert",
            f"AFTER INSERT ON {name} REFERENCING NEW TABLE AS added FOR EACH STATEMENT",
            "refuse_fork",
        ),
    ):
        op.execute(f"CREATE TRIGGER {name}_{label} {act} EXECUTE FUNCTION {function}_of_{name}()")


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
