"""The Data Package 2.0 description of a yard folder, made from the same tables that validate its rows.

Of what a load refuses, a descriptor can say types, limits, patterns, lists of words, keys and references. From above to,
sums and row ends it cannot; capitals in words ("Hard") it takes more strictly than the load does.
"""

from __future__ import annotations

import csv
import hashlib
import json
from pathlib import Path

from trayside.core.units import feet_from_metres
from trayside.errors import NotFound
from trayside.model.tables import BY_NAME, CODE_PATTERN, LONGEST_TEXT, TABLES, Column, Table

NAME = "datapackage.json"
PROFILE = "https://datapackage.org/profiles/2.0/datapackage.json"
TYPES = {
    "code": "string",
    "text": "string",
    "choice": "string",
    "lengths": "string",
    "integer": "integer",
    "number": "number",
    "length": "number",
    "yes_no": "boolean",
}
TRUE_WORDS = ["yes", "Yes", "YES", "true", "True", "TRUE", "1"]
FALSE_WORDS = ["no", "No", "NO", "false", "False", "FALSE", "0"]
LENGTH_LIST_PATTERN = r"^[0-9]*\.?[0-9]*([ ;]+[0-9]*\.?[0-9]*)*$"


def write_datapackage(folder: Path) -> Path:
    """Write `datapackage.json` beside the CSV tables of a folder and return its path."""
    path = Path(folder) / NAME
    path.write_text(json.dumps(descriptor_for(folder), indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    return path


def descriptor_for(folder: Path) -> dict:
    """The descriptor of the CSV tables that lie in a folder, with the size and the hash of each file."""
    folder = Path(folder)
    files = {
        name: path
        for path in (sorted(folder.iterdir()) if folder.is_dir() else ())
        if path.suffix.casefold() == ".csv" and (name := path.stem.strip().casefold()) in BY_NAME
    }
    if not files:
        raise NotFound("there is no table to describe", where=str(folder), remedy="Give a folder with CSV tables")
    headers = {name: _headers(path) for name, path in files.items()}
    return {
        "$schema": PROFILE,
        "name": "".join(letter if letter.isalnum() else "-" for letter in folder.resolve().name.lower()) or "yard",
        "title": f"Yard folder {folder.resolve().name}",
        "resources": [_resource(table, files[table.name], headers) for table in TABLES if table.name in files],
    }


def _headers(path: Path) -> list[str]:
    with path.open(encoding="utf-8-sig", newline="") as lines:
        return [cell.strip() for cell in next(csv.reader(lines), [])]


def _resource(table: Table, path: Path, headers: dict[str, list[str]]) -> dict:
    raw = path.read_bytes()
    return {
        "name": table.name,
        "title": table.meaning,
        "type": "table",
        "path": path.name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(raw),
        "hash": f"sha256:{hashlib.sha256(raw).hexdigest()}",
        "schema": table_schema(table, headers),
    }


def table_schema(table: Table, headers: dict[str, list[str]]) -> dict:
    """The Table Schema of one table for the columns that stand in its file; `headers` has those of every file."""
    present = headers[table.name]

    def header(of: Table, name: str) -> str | None:
        return next((one for one in of.column(name).headers if one in headers[of.name]), None)

    by_header = {one: column for column in table.columns for one in column.headers}
    schema: dict = {
        "fields": [_field(by_header[one], one) for one in present if one in by_header],
        "missingValues": [""],
    }
    key = [header(table, name) for name in table.key]
    if key and all(key):
        schema["primaryKey"] = key
    references = []
    for name, other in table.refers.items():
        target = BY_NAME[other]
        # The shipped core sizes lie in no file, so nothing can point at them.
        if other in headers and header(table, name) and (key_there := header(target, target.key[0])):
            references.append({"fields": [name], "reference": {"resource": other, "fields": [key_there]}})
    if references:
        schema["foreignKeys"] = references
    return schema


def _field(column: Column, header: str) -> dict:
    field: dict = {"name": header, "type": TYPES[column.kind], "description": column.meaning}
    unit = "ft" if header.endswith("_ft") and column.kind in ("length", "lengths") else column.unit
    if unit:
        field["unit"] = unit
    limits: dict = {}
    if column.required:
        limits["required"] = True
    if column.kind == "code":
        limits["pattern"] = CODE_PATTERN
    elif column.kind == "text":
        limits["maxLength"] = LONGEST_TEXT
    elif column.kind == "choice":
        limits["enum"] = list(column.choices)
    elif column.kind == "lengths":
        limits["pattern"] = LENGTH_LIST_PATTERN
    elif column.kind == "yes_no":
        field |= {"trueValues": TRUE_WORDS, "falseValues": FALSE_WORDS}
    else:
        low, high = column.minimum, column.maximum
        if unit == "ft":
            low, high = (None if limit is None else feet_from_metres(depth_m=limit) for limit in (low, high))
        if low is not None:
            limits["minimum"] = low
        if high is not None:
            limits["maximum"] = high
    if limits:
        field["constraints"] = limits
    return field
