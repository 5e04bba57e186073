"""The rules of the yard as stored: the text of rules.toml, read into settings."""

from __future__ import annotations

import tomllib
from functools import lru_cache

from trayside.app.ports import Work
from trayside.model.rules import Rules


def rules_of(work: Work) -> Rules:
    """The yard's rules; the defaults when none were loaded."""
    return _parsed(work.rules_text() or "")


@lru_cache(maxsize=8)
def _parsed(text: str) -> Rules:
    return Rules.model_validate(tomllib.loads(text))
