"""What a person was exposed to in a shift."""

from alembic import op  # noqa: F401

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    pass
