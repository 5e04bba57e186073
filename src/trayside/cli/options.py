"""Options that many commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from trayside.app.ports import StartWork
from trayside.cli.toolbox import Toolbox
from trayside.errors import NotFound

Store = Annotated[str, typer.Option("--store", envvar="TRAYSIDE_STORE", help="SQLite file or postgresql:// address.")]
AsJson = Annotated[bool, typer.Option("--json", help="Answer as JSON on standard output.")]
DEFAULT_STORE = "yard/trayside.sqlite"


def opened(toolbox: Toolbox, store: str) -> StartWork:
    """A store that is there: a mistyped path must not look like an empty yard."""
    if "://" not in store and not Path(store).is_file():
        raise NotFound("there is no store", where=store, remedy="Check --store, or load a yard folder into it first")
    return toolbox.open_store(store)
