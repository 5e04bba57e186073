"""The page docs/formats.md: every table, column and setting, written from the objects that validate them."""

from __future__ import annotations

import ast
import inspect
import itertools
import types
import typing

from pydantic import BaseModel

from trayside.core.units import feet_from_metres
from trayside.files.csv_table import MOST_CELLS
from trayside.files.fault_list import SHOWN
from trayside.files.xlsx_table import LARGEST_UNPACKED
from trayside.files.yard_folder import LARGEST_FILE, LARGEST_FOLDER
from trayside.model.rules import Rules
from trayside.model.tables import CODE_PATTERN, LONGEST_TEXT, TABLES, Column, Table

MB = 2**20
KINDS = {
    "code": "code",
    "text": "text",
    "integer": "whole number",
    "number": "number",
    "length": "length",
    "lengths": "list of lengths",
    "choice": "word",
    "yes_no": "yes or no",
}
OPENING = f"""\
<!-- Generated from the tables and rules of the program. Change those, then run `make docs`. -->
# The yard folder

A yard folder holds plain CSV tables and one `rules.toml`. A table may also be a sheet of one XLSX workbook in the folder,
but not both; or the whole yard is one workbook with `rules.toml` beside it. Other files are left alone.

- **All or nothing.** A folder with a fault is refused as a whole. Every fault is listed with table, row, column, what was
  read and what to do; of faults of one kind in one column the first {SHOWN} are shown and the rest are counted.
- **Loading again.** A hole in the folder replaces what was loaded of it before, all tables together; holes that are not in
  the folder stay. What the whole yard shares (core_sizes, rock_codes, materials, certified_values, tickets, saws, blades) is
  added to: a row replaces the stored row with its key, and stored rows the folder does not name stay, so a folder takes
  nothing away from holes loaded before. A shared table may be left out once the yard holds it. A folder that names every
  stored row gives their order too. `rules.toml` replaces the yard's rules as a whole; without it they stay. The load says
  what changed.
- **Taking something out.** A material that is used up has 0 in stock. A ticket book that is gone has its `last` number set
  to the last one used, or the rest among its voids. Two books that share numbers are found, also when one was only renamed.
- **Form.** UTF-8 (a byte order mark does no harm), commas, one header row, a cell for every column in every row. A cell
  with a comma or a quote mark in it stands in quote marks, and a quote mark inside it is doubled. Blank rows are skipped.
- **Columns** may stand in any order. A name that is unknown, doubled or empty is a fault. Columns marked *needed* must be
  there and filled; the others may be absent or have blank cells. Blank means unknown, never zero.
- **Numbers** have a decimal point and no thousands separator; an exponent is fine. NaN, infinity, a decimal comma, a unit
  beside the number and formulas are faults.
- **Lengths and depths** stand in metres in a column ending in `_m`, or in feet (0.3048 m) in a column ending in `_ft`, never
  in both. They are kept as whole millimetres, a half rounded to the even one, beside the text and unit as they were written.
- **Lists of lengths** are separated by spaces or semicolons.
- **Codes** match `{CODE_PATTERN}`. **Texts** have at most {LONGEST_TEXT} characters on one line and do not begin like a
  formula. **Words** may be written in capitals or not. **Yes or no** also takes true, false, 1 and 0.
- **Workbooks.** A sheet is found by its name, its header stands in row 1. Formulas and dates are faults: paste values, and
  give codes and depths the format Text. No password.
- **Size.** At most {LARGEST_FILE // MB} MB and {MOST_CELLS:,} cells a file, {LARGEST_FOLDER // MB} MB a folder; a workbook
  unpacks to at most {LARGEST_UNPACKED // MB} MB.

`datapackage.json` (Data Package 2.0) describes the CSV tables of a folder for other programs; a load does not need it.
"""


def formats_page() -> str:
    """The whole page as Markdown."""
    parts = [OPENING, "## Tables\n", _overview()]
    parts += [_table(table) for table in TABLES]
    parts += [_rules()]
    return "\n".join(parts)


def _overview() -> str:
    lines = ["| table | needed | what it holds |", "|---|---|---|"]
    lines += [f"| [{table.name}](#{table.name}) | {_yes(table.required)} | {table.meaning} |" for table in TABLES]
    return "\n".join(lines) + "\n"


def _yes(truth: bool) -> str:
    return "yes" if truth else ""


def _table(table: Table) -> str:
    lines = [
        f"### {table.name}\n",
        f"{table.meaning}\n",
        "| column | kind | needed | allowed | meaning |",
        "|---|---|---|---|---|",
    ]
    for column in table.columns:
        names = " or ".join(f"`{header}`" for header in column.headers)
        lines.append(
            f"| {names} | {KINDS[column.kind]} | {_yes(column.required)} | {_allowed(column)} | {column.meaning} |"
        )
    notes = []
    if table.key:
        notes.append(f"No two rows have the same {' and '.join(f'`{name}`' for name in _headers(table, table.key))}.")
    for name, other in table.refers.items():
        notes.append(f"`{name}` stands in `{other}`.")
    if table.increasing:
        top, bottom = _headers(table, table.increasing)
        notes.append(f"`{bottom}` is greater than `{top}`.")
    notes += MORE.get(table.name, [])
    return "\n".join(lines) + "\n" + (f"\n{' '.join(notes)}\n" if notes else "")


MORE = {
    "trays": [
        "Row ends are one fewer than the rows, lie inside the tray and go the way the tray goes.",
        "A tray number used twice is no fault here: it loads and becomes a finding.",
    ],
    "rock": ["`grade_class` is one of the classes in `rules.toml`."],
    "density": ["Each row has both masses or the density, and the mass in water is less than the dry mass."],
    "certified_values": [
        "Each row has a content with its standard deviation, or an upper limit; a zero is left out instead.",
    ],
    "tickets": [
        "`last` is not below `first` and fits the digits; spoiled numbers belong to their own book.",
        "With other digits or another check character a ticket reads otherwise and is still one ticket:",
        "drafts are written anew when they are planned again, and what was issued stays as printed.",
    ],
    "materials": [
        "A row that differs from the stored one is a new count.",
        "Controls on sheets issued before it are taken as set aside and are not subtracted from it;",
        "those on drafts and on sheets issued later are. When the same number was counted again, say so in `remark`.",
    ],
    "runs": ["Blocks out of order, gaps and overlaps are no faults here: they load and become findings."],
}


def _headers(table: Table, names: tuple[str, ...]) -> list[str]:
    return [table.column(name).headers[0] for name in names]


def _allowed(column: Column) -> str:
    if column.choices:
        return ", ".join(column.choices)
    low, high = column.minimum, column.maximum
    if low is None and high is None:
        return ""
    if high is None:
        return f"at least {low:g} {column.unit or ''}".strip()
    span = f"{low:,.10g} to {high:,.10g} {column.unit or ''}".strip()
    if column.kind == "length":
        span += f" ({feet_from_metres(depth_m=low):,.6g} to {feet_from_metres(depth_m=high):,.6g} ft)"
    return span


def _rules() -> str:
    lines = [
        "## rules.toml\n",
        "Every setting has a default and may be left out, as may the whole file. An unknown name is a fault. Defaults are",
        "common practice without a source unless a note says otherwise: they are meant to be edited.\n",
    ]
    return "\n".join([*lines, *_section(Rules, path="", many=False, shipped=None)])


def _section(model: type[BaseModel], *, path: str, many: bool, shipped) -> list[str]:
    """A section of the file with its settings, what is shipped of it when it repeats, and the sections inside it."""
    title = f"Each `[[{path}]]`" if many else f"`[{path}]`" if path else "At the top of the file"
    inside = {name: _section_of(field.annotation) for name, field in model.model_fields.items()}
    settings = [_setting(model, name) for name, section in inside.items() if section is None]
    lines = [f"### {title}\n", "| setting | kind | default | note |", "|---|---|---|---|", *settings, ""]
    if many and shipped:
        rows = [f"- {', '.join(f'{key} = {_shown(value)}' for key, value in entry)}" for entry in shipped]
        lines += ["Shipped, in this order:", "", *rows, ""]
    for name, section in inside.items():
        if section is not None:
            field = model.model_fields[name]
            within = f"{path}.{name}" if path else name
            lines += _section(section, path=within, many=field.annotation is not section, shipped=field.default)
    return lines


def _section_of(annotation) -> type[BaseModel] | None:
    """The settings model in an annotation, itself or inside a tuple."""
    for kind in (annotation, *typing.get_args(annotation)):
        if isinstance(kind, type) and not isinstance(kind, types.GenericAlias) and issubclass(kind, BaseModel):
            return kind
    return None


def _setting(model: type[BaseModel], name: str) -> str:
    field = model.model_fields[name]
    kind = ", ".join([_kind(field.annotation), *_limits(field.metadata)])
    default = "" if field.is_required() else _shown(field.default)
    return f"| `{name}` | {kind} | {default} | {_note(model, name)} |"


def _limits(metadata) -> list[str]:
    """The limits pydantic keeps with a field, in words."""
    limits = []
    for limit in metadata:
        # Which of these a limit has depends on its kind.
        for sign, word in (("ge", "at least"), ("gt", "more than"), ("le", "at most"), ("lt", "less than")):
            if getattr(limit, sign, None) is not None:
                limits.append(f"{word} {getattr(limit, sign):,.10g}")
        if getattr(limit, "min_length", None) is not None:
            limits.append("not empty")
        if getattr(limit, "max_length", None) is not None:
            limits.append(f"at most {limit.max_length} characters")
    return limits


def _kind(annotation) -> str:
    arguments = typing.get_args(annotation)
    origin = typing.get_origin(annotation)
    if origin is typing.Annotated:
        within = _limits(arguments[1].metadata)
        return _kind(arguments[0]) + (f" ({', '.join(within)})" if within else "")
    if origin is typing.Literal:
        return " or ".join(str(choice) for choice in arguments)
    if origin in (typing.Union, types.UnionType):
        return " or ".join("none" if one is type(None) else _kind(one) for one in arguments)
    if origin is tuple:
        return f"list of {_kind(arguments[0])}"
    if origin is dict:
        return f"{_kind(arguments[0])} = {_kind(arguments[1])}"
    return {float: "number", int: "whole number", str: "text", bool: "true or false"}[annotation]


def _shown(value) -> str:
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return ", ".join(_shown(one) for one in value) or "none"
    if isinstance(value, dict):
        return "; ".join(f"{key} = {_shown(one)}" for key, one in value.items())
    return str(value)


def _note(model: type[BaseModel], name: str) -> str:
    """The text that stands under a setting in its class."""
    body = ast.parse(inspect.getsource(model)).body[0].body
    for line, following in itertools.pairwise(body):
        said = isinstance(following, ast.Expr) and isinstance(following.value, ast.Constant)
        if isinstance(line, ast.AnnAssign) and line.target.id == name and said:
            return " ".join(following.value.value.split())
    return ""
