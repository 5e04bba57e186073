"""Certificates, results, signed verdicts; certified values of standards.

Written out by hand, so that it stays what it was when the tables move on.
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None

Code = sa.String().with_variant(sa.String(collation="C"), "postgresql")
Moment = sa.DateTime(timezone=True).with_variant(sa.String(32), "sqlite")


def upgrade() -> None:
    _certificates()
    _results()
    _certified_values()


def _certificates() -> None:
    op.create_table(
        "certificates",
        sa.Column("serial", sa.Integer(), primary_key=True, autoincrement=False),
        sa.Column("certificate_id", Code, nullable=False, unique=True),
        sa.Column("laboratory", Code, nullable=False),
        sa.Column("job", Code, nullable=False),
        sa.Column("reported_at", Moment, nullable=False),
        sa.Column("imported_at", Moment, nullable=False),
        sa.Column("imported_by", sa.Text(), nullable=False),
        sa.Column("source", sa.Text(), nullable=False),
        sa.Column("sha256", Code, nullable=False),
        sa.Column("lines", sa.Integer(), nullable=False),
        sa.Column("supersedes", Code),
        sa.Column("superseded_by", Code),
        sa.Column("mapping", sa.Text(), nullable=False),
        sa.Column("findings", sa.Text(), nullable=False),
    )
    op.create_index("certificates_by_job", "certificates", ["laboratory", "job"])
    op.create_index("certificates_by_file", "certificates", ["sha256"])
    op.create_table(
        "column_mappings",
        sa.Column("laboratory", Code, primary_key=True),
        sa.Column("header_digest", Code, primary_key=True),
        sa.Column("layout", Code, nullable=False),
        sa.Column("more", sa.Text(), nullable=False),
        sa.Column("confirmed_by", sa.Text(), nullable=False),
        sa.Column("confirmed_at", Moment),
        sa.Column("used", sa.Integer(), nullable=False),
    )


def _results() -> None:
    op.create_table(
        "certificate_columns",
        sa.Column("certificate", sa.Integer(), sa.ForeignKey("certificates.serial"), primary_key=True),
        sa.Column("column", sa.Integer(), primary_key=True),
        sa.Column("element", Code, nullable=False),
        sa.Column("unit", Code, nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("lower_limit", sa.Double()),
        sa.Column("upper_limit", sa.Double()),
        sa.Column("ppm_per_unit", sa.Double()),
        sa.Column("as_written", sa.Text(), nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "certificate_lines",
        sa.Column("certificate", sa.Integer(), sa.ForeignKey("certificates.serial"), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("number", Code, nullable=False),
        sa.Column("as_written", sa.Text(), nullable=False),
        sa.Column("line_kind", Code, nullable=False),
        sa.Column("rack", Code, nullable=False),
        sa.Column("mass_kg", sa.Double()),
        sa.CheckConstraint("place > 0", name="place_counted"),
        sqlite_with_rowid=False,
    )
    op.create_index("certificate_lines_by_number", "certificate_lines", ["number"])
    op.create_table(
        "results",
        sa.Column("certificate", sa.Integer(), primary_key=True),
        sa.Column("column", sa.Integer(), primary_key=True),
        sa.Column("place", sa.Integer(), primary_key=True),
        sa.Column("raw_text", sa.Text(), nullable=False),
        sa.Column("value", sa.Double()),
        sa.Column("censor", sa.Text(), nullable=False),
        sa.Column("lower_limit", sa.Double()),
        sa.Column("upper_limit", sa.Double()),
        sa.Column("preferred", sa.Boolean(), nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "certificate_changes",
        sa.Column("certificate", sa.Integer(), sa.ForeignKey("certificates.serial"), primary_key=True),
        sa.Column("row_order", sa.Integer(), primary_key=True),
        sa.Column("kind", Code, nullable=False),
        sa.Column("number", Code, nullable=False),
        sa.Column("line_kind", Code, nullable=False),
        sa.Column("element", Code, nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("before_text", sa.Text()),
        sa.Column("before_unit", Code),
        sa.Column("after_text", sa.Text()),
        sa.Column("after_unit", Code),
        sa.Column("ratio", sa.Double()),
        sqlite_with_rowid=False,
    )


def _certified_values() -> None:
    op.create_table(
        "certified_values",
        sa.Column("material", Code, primary_key=True),
        sa.Column("element", Code, primary_key=True),
        sa.Column("unit", Code, nullable=False),
        sa.Column("certified", sa.Double()),
        sa.Column("performance_sd", sa.Double()),
        sa.Column("expanded_uncertainty", sa.Double()),
        sa.Column("coverage_factor", sa.Double()),
        sa.Column("laboratories", sa.Integer()),
        sa.Column("upper_limit", sa.Double()),
        sa.Column("remark", sa.Text()),
        sa.Column("row_order", sa.Integer(), nullable=False),
    )


def downgrade() -> None:
    raise NotImplementedError("a store is never taken back to less than it holds: use the copy made before")
