"""Docstrings of calculations: complete, and never of another unit than the name says."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

CORE = Path(__file__).parents[2] / "src" / "trayside" / "core"
ROOT = Path(__file__).parents[2]

UNITS = {
    "m": "m", "mm": "mm", "cm": "cm", "mm2": "mm2", "um": "um", "kg": "kg", "g": "g", "ft": "ft", "lb": "lb",
    "deg": "deg", "degc": "degc", "t_m3": "t_m3", "kg_m3": "kg_m3", "g_cm3": "g_cm3", "kg_per_m": "kg_per_m",
    "g_t": "g_t", "min": "min", "s": "s", "rpm": "rpm", "m_s": "m_s", "ppm": "ppm", "dba": "dba", "mg_m3": "mg_m3",
}  # fmt: skip
SUFFIX = re.compile(r"_(" + "|".join(sorted(UNITS, key=len, reverse=True)) + r")$")
# Lookups and small building blocks that carry no calculation of their own keep a one-line docstring.
ONE_LINE = {"sources", "refusals", "circle_parts"}


def public_functions():
    for path in sorted(CORE.glob("*.py")):
        if path.stem in ONE_LINE or path.stem == "__init__":
            continue
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield pytest.param(path, node, id=f"{path.stem}.{node.name}")


FUNCTIONS = list(public_functions())


@pytest.mark.parametrize(("path", "node"), FUNCTIONS)
def test_a_public_calculation_has_a_docstring(path, node):
    assert ast.get_docstring(node), f"{path.name}: {node.name} has no docstring"


def documented():
    return [one for one in FUNCTIONS if "Parameters\n" in (ast.get_docstring(one.values[1]) or "")]


def test_most_public_calculations_are_documented_in_full():
    assert len(documented()) >= 60


@pytest.mark.parametrize(("path", "node"), documented())
def test_a_full_docstring_has_every_part(path, node):
    text = ast.get_docstring(node)
    for part in ("Returns\n-------", "Valid for:", "Source:", "Checked by:"):
        assert part in text, f"{path.name}: {node.name} lacks {part!r}"


@pytest.mark.parametrize(("path", "node"), documented())
def test_the_unit_in_the_docstring_is_the_unit_in_the_name(path, node):
    text = ast.get_docstring(node)
    for line in re.findall(r"^(\w+) : (.+)$", text, flags=re.MULTILINE):
        name, kind = line
        suffix, unit = SUFFIX.search(name), re.search(r"\[([^\]]+)\]$", kind)
        if suffix and unit:
            assert unit.group(1).replace("/", "_") == UNITS[suffix.group(1)], (
                f"{node.name}: {name} says [{unit.group(1)}]"
            )
    for name, unit in re.findall(r"\.(\w+)(?: \([^)]*\))? \[([^\]]+)\]", text):
        suffix = SUFFIX.search(name)
        if suffix:
            assert unit.replace("/", "_") == UNITS[suffix.group(1)], f"{node.name}: .{name} says [{unit}]"


@pytest.mark.parametrize(("path", "node"), documented())
def test_every_parameter_is_described(path, node):
    described = set(re.findall(r"^(\w+(?:, \w+)*) : ", ast.get_docstring(node), flags=re.MULTILINE))
    described = {name for group in described for name in group.split(", ")}
    arguments = {argument.arg for argument in [*node.args.args, *node.args.kwonlyargs]}
    assert arguments <= described, f"{path.name}: {node.name} does not describe {sorted(arguments - described)}"


@pytest.mark.parametrize(("path", "node"), documented())
def test_the_tests_named_in_a_docstring_exist(path, node):
    for named in re.findall(r"tests/[\w/]+\.py", ast.get_docstring(node)):
        assert (ROOT / named).exists(), f"{path.name}: {node.name} names {named}, which is not there"
