"""Arrows point inwards only: every import in the package is held against the table of docs/architecture.md."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "src" / "trayside"

OUTSIDE_CORE = {"numpy", "scipy", "stdnum"}
MAY_IMPORT = {
    "core": {"core"},
    "model": {"core", "model"},
    "app": {"core", "model", "app"},
    "store": {"model", "app", "store"},
    "files": {"core", "model", "app", "files"},
    "pages": {"core", "model", "app", "pages"},
    "web": {"core", "model", "app", "web"},
    "cli": {"core", "model", "app", "cli"},
}
FORBIDDEN_OUTSIDE = {
    "core": {
        "time",
        "datetime",
        "os",
        "pathlib",
        "sqlite3",
        "random",
        "socket",
        "urllib",
        "polars",
        "pydantic",
        "sqlalchemy",
    },
    "model": {"time", "os", "pathlib", "sqlite3", "random", "socket", "polars", "sqlalchemy", "starlette"},
    "app": {"time", "os", "sqlite3", "random", "socket", "sqlalchemy", "starlette", "typst", "segno", "openpyxl",
            "vl_convert"},
    "web": {"sqlite3", "sqlalchemy", "typst", "openpyxl", "altair", "vl_convert"},
    "cli": {"sqlite3", "sqlalchemy", "typst", "openpyxl", "starlette", "altair", "vl_convert"},
}


def imports_of(path: Path) -> list[str]:
    """Absolute names of everything a module imports, relative imports resolved."""
    names = []
    package = ["trayside", *path.relative_to(PACKAGE).parent.parts]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            names += [module, *(f"{module}.{alias.name}" for alias in node.names)]
    return names


MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path.relative_to(PACKAGE).parts[0] in MAY_IMPORT)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_layer_may(path):
    layer = path.relative_to(PACKAGE).parts[0]
    for name in imports_of(path):
        top, *rest = name.split(".")
        if top == "trayside":
            if rest and rest[0] in MAY_IMPORT:
                assert rest[0] in MAY_IMPORT[layer], f"{layer} imports {name}"
            else:
                assert not rest or rest[0] in ("errors", "__version__"), f"{layer} imports {name}"
        else:
            assert top not in FORBIDDEN_OUTSIDE.get(layer, set()), f"{layer} imports {name}"


def test_core_uses_nothing_but_numpy_scipy_and_the_check_character_library():
    import sys

    for path in (PACKAGE / "core").glob("*.py"):
        for name in imports_of(path):
            top = name.split(".")[0]
            known = top in OUTSIDE_CORE or top == "trayside" or top in sys.stdlib_module_names
            assert known, f"{path.name} imports {name}"
            assert top != "stdnum" or path.name == "sample_numbers.py", f"{path.name} imports {name}"


def test_nobody_imports_bootstrap():
    for path in PACKAGE.rglob("*.py"):
        assert not any(name.startswith("trayside.bootstrap") for name in imports_of(path)), path


def test_errors_import_nothing():
    assert imports_of(PACKAGE / "errors.py") == []


def test_there_are_no_circles_between_modules():
    graph = {}
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(["trayside", *parts]).removesuffix(".__init__")
        graph[name] = set()
    for path in PACKAGE.rglob("*.py"):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(["trayside", *parts]).removesuffix(".__init__")
        graph[name] = {one for one in imports_of(path) if one in graph and one != name}
    seen, on_path = set(), []

    def visit(name):
        assert name not in on_path, " -> ".join([*on_path[on_path.index(name) :], name])
        if name in seen:
            return
        on_path.append(name)
        for other in graph[name]:
            if not name.startswith(other + "."):  # a module may name its own package
                visit(other)
        on_path.pop()
        seen.add(name)

    for name in graph:
        visit(name)
