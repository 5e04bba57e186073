"""Saws and blades of the yard."""

from alembic import op  # noqa: F401

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass
