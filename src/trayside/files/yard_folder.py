"""A yard folder (CSV tables, or the sheets of one workbook, and rules.toml): read whole, or refused with every fault.

A folder may leave out what the yard it is loaded into holds already, and point to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars

from trayside.app.ports import EMPTY_YARD, Fault, StoredYard, YardFolder
from trayside.core.core_sizes import CORE_SIZES
from trayside.errors import LoadRefused
from trayside.files.between_tables import faults_between
from trayside.files.columns import TypedTable, type_columns
from trayside.files.csv_table import read_csv_table
from trayside.files.rules_toml import NAME as RULES
from trayside.files.rules_toml import rules_from_bytes
from trayside.files.text_table import TextTable, closest
from trayside.files.xlsx_table import read_workbook
from trayside.model.rules import Rules
from trayside.model.tables import BY_NAME, TABLES
from trayside.model.tables import CORE_SIZES as CORE_SIZE_TABLE

LARGEST_FILE = 256 * 2**20
LARGEST_FOLDER = 512 * 2**20
FOLDER = "folder"
"""Stands for the table in faults that belong to no table."""


@dataclass(frozen=True, slots=True)
class Found:
    """The files of a yard: tables by name, the workbook, the rules, and every other name (to guess what was meant)."""

    csv_files: dict[str, Path]
    workbook: Path | None
    rules: Path | None
    others: tuple[str, ...] = ()


def read_yard_folder(folder: Path, *, stored: StoredYard = EMPTY_YARD) -> YardFolder:
    """Read a yard folder or an XLSX file; LoadRefused with every fault when there is any."""
    folder = Path(folder)
    found, faults = _found(folder)
    if found is None:
        raise _refusal(folder, faults)
    rules, rules_text, more = _rules(found.rules, stored)
    faults += more
    typed, named, more = _tables(found)
    faults += more
    if named is not None:
        faults += _absent(found, named, stored)
    if CORE_SIZE_TABLE.name not in (named or ()) and not stored.keys.get(CORE_SIZE_TABLE.name):
        typed[CORE_SIZE_TABLE.name] = _shipped_core_sizes()
    unread = frozenset(BY_NAME if named is None else named) - typed.keys()
    faults += faults_between(typed, rules, stored={name: stored.keys[name] for name in stored.keys.keys() - unread})
    if faults or rules is None:
        raise _refusal(folder, faults)
    return YardFolder({name: typed[name].frame for name in BY_NAME if name in typed}, rules, rules_text)


def _refusal(folder: Path, faults: list[Fault]) -> LoadRefused:
    order = {name: place for place, name in enumerate(BY_NAME, start=2)} | {FOLDER: 0, RULES: 1}
    faults = sorted(faults, key=lambda fault: order.get(fault.table, 0))
    count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
    return LoadRefused(
        f"{count} in the yard folder, nothing was loaded",
        where=str(folder),
        remedy="Correct what is listed and load the folder again",
        faults=tuple(faults),
    )


def _found(folder: Path) -> tuple[Found | None, list[Fault]]:
    """What lies in the folder, and what lies there doubled."""
    try:
        if folder.is_dir():
            return _listed(folder)
        if folder.is_file() and folder.suffix.casefold() == ".xlsx":
            rules = folder.with_name(RULES)
            return Found({}, folder, rules if rules.exists() else None), []
        problem = (
            "this is neither a folder nor an .xlsx workbook" if folder.exists() else "there is no such folder or file"
        )
    except (OSError, ValueError) as error:
        problem = f"the folder cannot be read: {_reason(error)}"
    return None, [Fault(FOLDER, None, None, str(folder), problem, "Give the path of a yard folder or of its workbook")]


def _listed(folder: Path) -> tuple[Found, list[Fault]]:
    csv_files: dict[str, Path] = {}
    workbooks, others, faults = [], [], []
    rules = None
    for path in sorted(folder.iterdir()):
        name, ending = path.stem.strip().casefold(), path.suffix.casefold()
        if path.name.casefold() == RULES:
            rules = path
        elif ending == ".csv" and name in BY_NAME:
            if name in csv_files:
                read = f"{csv_files[name].name} and {path.name}"
                faults.append(
                    Fault(name, None, None, read, "two files have the name of this table", "Delete one of them")
                )
            csv_files.setdefault(name, path)
        elif ending == ".xlsx" and not path.name.startswith("~$"):
            workbooks.append(path)
        else:
            others.append(path.name)
    if len(workbooks) > 1:
        read = ", ".join(path.name for path in workbooks)
        faults.append(Fault(FOLDER, None, None, read, "there is more than one workbook", "Leave one in the folder"))
    return Found(csv_files, workbooks[0] if workbooks else None, rules, tuple(others)), faults


def _bytes_of(path: Path, table: str, left: int) -> tuple[bytes | None, list[Fault]]:
    """The bytes of a file, or why it is not read. `left` is what the folder may still hold."""
    try:
        if not path.is_file():
            return None, [Fault(table, None, None, path.name, "this is not a file", "Replace it by a file")]
        size = path.stat().st_size
        if size > min(LARGEST_FILE, left):
            whole = f"{LARGEST_FILE // 2**20} MB in one file, {LARGEST_FOLDER // 2**20} MB in the folder"
            problem = f"the file has {size / 2**20:,.0f} MB; the most that is read is {whole}"
            return None, [Fault(table, None, None, path.name, problem, "Load the holes in several folders")]
        return path.read_bytes(), []
    except OSError as error:
        problem = f"the file cannot be read: {_reason(error)}"
        return None, [Fault(table, None, None, path.name, problem, "Check that the file may be read and copy it again")]


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _rules(path: Path | None, stored: StoredYard) -> tuple[Rules | None, str | None, list[Fault]]:
    if path is None:
        return stored.rules, None, []
    raw, faults = _bytes_of(path, RULES, LARGEST_FILE)
    return (None, "", faults) if raw is None else rules_from_bytes(raw)


def _tables(found: Found) -> tuple[dict[str, TypedTable], set[str] | None, list[Fault]]:
    """The typed tables, the names of all that are there, readable or not (None when that is unknown), and the faults."""
    named: set[str] | None = set(found.csv_files)
    typed: dict[str, TypedTable] = {}
    faults: list[Fault] = []
    left = LARGEST_FOLDER
    if found.workbook is not None:
        raw, more = _bytes_of(found.workbook, found.workbook.name, left)
        texts, sheets = {}, None
        if raw is not None:
            left -= len(raw)
            texts, sheets, more = read_workbook(found.workbook.name, raw)
        faults += more
        if sheets is None:
            named = None
        else:
            for name in sorted(sheets & named):
                read = f"{found.csv_files[name].name} and {found.workbook.name}"
                faults.append(
                    Fault(name, None, None, read, "the table is given twice, as a file and as a sheet", "Delete one")
                )
                texts.pop(name, None)
            named |= sheets
        for name in list(texts):
            typed[name], more = type_columns(BY_NAME[name], texts.pop(name))
            faults += more
    for name, path in found.csv_files.items():
        raw, more = _bytes_of(path, name, left)
        faults += more
        if raw is None:
            continue
        left -= len(raw)
        text, more = read_csv_table(BY_NAME[name], raw, source=path.name)
        del raw
        faults += more
        if text is not None:
            typed[name], more = type_columns(BY_NAME[name], text)
            faults += more
    return typed, named, faults


def _absent(found: Found, named: set[str], stored: StoredYard) -> list[Fault]:
    """Tables a yard cannot do without. What holes share may be in the yard already; a hole comes as a whole."""
    faults = []
    for table in TABLES:
        held = not table.of_hole and stored.keys.get(table.name)
        if table.required and table.name not in named and not held:
            near = closest(f"{table.name}.csv", found.others)
            advice = f"Is it {near}? " if near else ""
            remedy = f"{advice}Add {table.name}.csv, or a sheet of this name: {table.meaning}"
            faults.append(Fault(table.name, None, None, None, "the table is missing", remedy))
    return faults


def _shipped_core_sizes() -> TypedTable:
    frame = polars.DataFrame(
        {
            "core_size": [size.code for size in CORE_SIZES],
            "core_diameter_mm": [size.core_diameter_mm for size in CORE_SIZES],
            "hole_diameter_mm": [size.hole_diameter_mm for size in CORE_SIZES],
        }
    )
    text = TextTable(CORE_SIZE_TABLE.name, "shipped", polars.DataFrame())
    return TypedTable(CORE_SIZE_TABLE, text, frame, {}, {})
