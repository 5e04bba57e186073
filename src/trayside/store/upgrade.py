"""Bringing a store to the tables this version knows."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Engine, inspect, text

from trayside.errors import TraysideError

MIGRATIONS = Path(__file__).parent / "migrations"
NEWEST = max(path.stem for path in (MIGRATIONS / "versions").glob("[0-9]*.py")).split("_")[0]


def upgrade(engine: Engine) -> None:
    """Run every migration the store has not seen, in one transaction; an up-to-date store is only looked at."""
    if _stands_at(engine) == NEWEST:
        return
    from alembic import command  # not needed when nothing is to be done, and slow to import
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    with engine.connect().execution_options(writing=True) as connection, connection.begin():
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, "head")
        except CommandError as error:
            raise TraysideError(
                f"this store was written by a newer Trayside ({error})",
                where=engine.url.render_as_string(hide_password=True),
                remedy="Install that version or a later one",
            ) from error


def _stands_at(engine: Engine) -> str | None:
    with engine.connect() as connection:
        if not inspect(connection).has_table("alembic_version"):
            return None
        return connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one_or_none()
