"""One row a ticket, the count a stock rests on, and metres of core on the yard screen.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

from trayside.errors import TraysideError

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")


def upgrade() -> None:
    _one_row_a_ticket()
    op.add_column("material_totals", sa.Column("counted_after", Moment))
    _metres_of_core()


TWICE = """
    SELECT a.number, a.hole_id, b.number, b.hole_id FROM sample_numbers a
    JOIN sample_numbers b ON b.prefix = a.prefix AND b.serial = a.serial AND b.number > a.number
    ORDER BY a.number"""


def _one_row_a_ticket() -> None:
    """A ticket that was given back may stand there once more as it was printed before: only one row of it stays."""
    op.execute(
        """DELETE FROM sample_numbers WHERE state = 'released' AND EXISTS (
            SELECT 1 FROM sample_numbers other WHERE other.prefix = sample_numbers.prefix
            AND other.serial = sample_numbers.serial AND other.number <> sample_numbers.number
            AND (other.state <> 'released' OR other.number < sample_numbers.number))"""
    )
    twice = op.get_bind().execute(sa.text(TWICE)).all()
    if twice:
        listed = "; ".join(f"{one} of hole {hole} is {other} of hole {there}" for one, hole, other, there in twice[:5])
        raise TraysideError(
            f"{'1 ticket stands' if len(twice) == 1 else f'{len(twice)} tickets stand'} on two bags: {listed}",
            where="the store",
            remedy="Open it with the version that wrote it, plan again the holes whose sheet is not issued, and give "
            "bags that are on paper a number of their own",
        )
    op.drop_index("sample_numbers_by_serial", "sample_numbers")
    op.create_index("sample_numbers_by_serial", "sample_numbers", ["prefix", "serial"], unique=True)


COLUMNS = "digest, station, total_depth_mm, {core_mm}trays, runs, stops, warns, notes, samples, controls, revision"


def _metres_of_core() -> None:
    """A column that must be filled cannot be added on SQLite: the table is made again."""
    op.execute("CREATE TEMPORARY TABLE states_before AS SELECT * FROM hole_states")
    op.drop_table("hole_states")
    op.create_table(
        "hole_states",
        sa.Column("hole_id", Code, sa.ForeignKey("holes.hole_id"), primary_key=True),
        sa.Column("digest", sa.Text(), nullable=False),
        sa.Column("station", Code, nullable=False),
        sa.Column("total_depth_mm", sa.Integer(), nullable=False),
        sa.Column("core_mm", sa.Integer(), nullable=False),
        sa.Column("trays", sa.Integer(), nullable=False),
        sa.Column("runs", sa.Integer(), nullable=False),
        sa.Column("stops", sa.Integer(), nullable=False),
        sa.Column("warns", sa.Integer(), nullable=False),
        sa.Column("notes", sa.Integer(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("controls", sa.Integer(), nullable=False),
        sa.Column("revision", sa.Integer(), nullable=False),
    )
    op.create_index("hole_states_by_station", "hole_states", ["station", "hole_id"])
    cored = """COALESCE((SELECT sum(to_mm - from_mm) FROM runs
               WHERE runs.hole_id = states_before.hole_id AND to_mm > from_mm), 0), """
    op.execute(
        f"INSERT INTO hole_states (hole_id, {COLUMNS.format(core_mm='core_mm, ')})"
        f" SELECT hole_id, {COLUMNS.format(core_mm=cored)} FROM states_before"
    )
    op.execute("DROP TABLE states_before")
    op.execute("ALTER TABLE station_totals RENAME COLUMN depth_mm TO core_mm")
    op.execute(
        """UPDATE station_totals SET core_mm = COALESCE(
            (SELECT sum(core_mm) FROM hole_states WHERE hole_states.station = station_totals.station), 0)"""
    )


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
