"""docs/sources.md, from the docstrings of the calculations and the tables that carry sources."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from types import ModuleType

import trayside.core
from trayside.core.sources import Source

PART = re.compile(r"^Source:(?P<text>.*?)(?=^\S[^\n]*:|\Z)", flags=re.MULTILINE | re.DOTALL)


def sources_page() -> str:
    """Where every calculation and every shipped figure comes from, module by module."""
    lines = [
        "# Sources",
        "",
        "Made by `trayside docs` from the code; do not edit by hand.",
        "",
        "Grades: *seen* (the text was read), *from memory*, *derived*, *site rule*, *common practice, no source*.",
    ]
    for module in _modules():
        rows = [*_calculations(module), *_figures(module)]
        if rows:
            name = module.__name__.removeprefix("trayside.core.")
            lines += ["", f"## {name}", "", "| what | source |", "|---|---|"]
            lines += [f"| `{what}` | {source} |" for what, source in rows]
    return "\n".join(lines) + "\n"


def _modules() -> list[ModuleType]:
    names = sorted(one.name for one in pkgutil.iter_modules(trayside.core.__path__))
    return [importlib.import_module(f"trayside.core.{name}") for name in names]


def _calculations(module: ModuleType) -> list[tuple[str, str]]:
    rows = []
    for name, function in inspect.getmembers(module, inspect.isfunction):
        if function.__module__ != module.__name__ or name.startswith("_"):
            continue
        part = PART.search(inspect.getdoc(function) or "")
        if part:
            rows.append((name, _line(part["text"])))
    return rows


def _figures(module: ModuleType) -> list[tuple[str, str]]:
    """Shipped figures: constants and tables of this module whose entries carry a source, each source once."""
    rows = []
    for name, value in vars(module).items():
        if not name.isupper():
            continue
        held = value.values() if hasattr(value, "values") else value if isinstance(value, tuple) else (value,)
        sources = dict.fromkeys(
            source for one in held for source in _sources_of(one) if getattr(type(one), "__module__", "") != "builtins"
        )
        text = "; ".join(f"{source.document}, {source.locator} ({source.grade})" for source in sources)
        if text:
            rows.append((name, _line(text)))
    return rows


def _sources_of(one: object) -> list[Source]:
    if isinstance(one, Source):
        return []
    return [value for slot in getattr(one, "__slots__", ()) if isinstance(value := getattr(one, slot, None), Source)]


def _line(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")
