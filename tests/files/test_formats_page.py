"""The committed page docs/formats.md is the one the tables and rules give, and leaves nothing out."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

from pydantic import BaseModel

from trayside.files.formats_page import formats_page
from trayside.model.rules import Rules
from trayside.model.tables import TABLES

PAGE = Path(__file__).parents[2] / "docs" / "formats.md"


def test_the_committed_page_is_the_generated_one():
    assert PAGE.read_text(encoding="utf-8") == formats_page(), "run: make docs"


def test_every_table_column_and_setting_is_on_the_page():
    page = formats_page()
    for table in TABLES:
        part = page.split(f"\n### {table.name}\n")[1].split("\n### ")[0]
        for column in table.columns:
            assert all(f"`{header}`" in part for header in column.headers)
            assert column.meaning in part
            assert all(choice in part for choice in column.choices)
    settings = page.split("\n## rules.toml\n")[1]
    for path, setting in all_settings(Rules):
        heading = f"`[{path}]`" if f"### `[{path}]`" in settings else f"Each `[[{path}]]`" if path else "At the top"
        part = settings.split(f"### {heading}")[1].split("\n### ")[0]
        assert f"| `{setting}` |" in part, f"{path} {setting}"


def all_settings(model, path=""):
    """Every setting with the section it stands in, by walking a rules object made of the defaults."""
    for name, field in model.model_fields.items():
        inner = field.default[0] if isinstance(field.default, tuple) and field.default else field.default
        empty = [one for one in get_args(field.annotation) if isinstance(one, type) and issubclass(one, BaseModel)]
        if isinstance(inner, BaseModel) or empty:
            section = type(inner) if isinstance(inner, BaseModel) else empty[0]
            yield from all_settings(section, f"{path}.{name}".strip("."))
        else:
            yield path, name


def test_notes_of_settings_come_from_the_rules():
    assert "A loss larger than this wants a place." in formats_page()
