"""Certificates, results, signed verdicts; certified values of standards."""

from alembic import op  # noqa: F401

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass
