"""`rules.toml`: read into Rules, or every fault with the line it stands in."""

from __future__ import annotations

import re
import tomllib

from pydantic import BaseModel, ValidationError

from trayside.app.ports import Fault
from trayside.files.fault_list import shortened
from trayside.files.text_table import closest
from trayside.model.rules import Rules

NAME = "rules.toml"
LARGEST_BYTES = 2**20


def rules_from_bytes(raw: bytes) -> tuple[Rules | None, str, list[Fault]]:
    """The rules, their text, and the faults; without rules the faults say why."""
    if len(raw) > LARGEST_BYTES:
        return (
            None,
            "",
            [_fault(None, None, None, "the file is larger than 1 MB", "This is hardly a rule file: replace it")],
        )
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = raw.count(b"\n", 0, error.start) + 1
        return None, "", [_fault(row, None, None, f"byte {error.start} is not UTF-8", "Save the file again in UTF-8")]
    rules, faults = rules_from_text(text)
    return rules, text, faults


def rules_from_text(text: str) -> tuple[Rules | None, list[Fault]]:
    """The rules written in this TOML text, or its faults. An empty text gives the defaults."""
    try:
        written = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.search(r"\(at line (\d+), column (\d+)\)", str(error))
        row = int(found[1]) if found else max(1, text.count("\n") + 1)
        read = text.splitlines()[row - 1] if row <= len(text.splitlines()) else None
        problem = f"this is not TOML: {str(error).split(' (at ')[0]}"
        return None, [
            _fault(row, None, read, problem, "Write name = value; text stands in quotes, a section in [brackets]")
        ]
    except RecursionError:
        return None, [_fault(None, None, None, "the file is nested too deeply", "Write each list on one level")]
    try:
        rules = Rules.model_validate(written)
    except ValidationError as error:
        return None, [_setting_fault(text, one) for one in error.errors()]
    faults = _classes_that_clash(text, rules)
    return (None if faults else rules), faults


def _setting_fault(text: str, error: dict) -> Fault:
    """One fault of one setting, from what pydantic found."""
    path = [part for part in error["loc"] if isinstance(part, str)]
    name = ".".join(str(part) for part in error["loc"])
    read = None if isinstance(error["input"], dict) else str(error["input"])
    problem = error["msg"].removeprefix("Value error, ")
    problem = problem[0].lower() + problem[1:]
    remedy = "Correct the value, or delete the line to use the default"
    if error["type"] == "extra_forbidden":
        known = _settings_at(error["loc"][:-1])
        near = closest(str(error["loc"][-1]), known)
        problem = "there is no such setting"
        remedy = (f"Did you mean {near}? " if near else "") + f"Settings here: {', '.join(known)}"
    return _fault(_row_of(text, path), name, read, problem, remedy)


def _settings_at(path: tuple) -> list[str]:
    """The names that may stand at this place of the file."""
    model: type[BaseModel] = Rules
    for part in path:
        if part not in model.model_fields:
            continue  # the place in a list
        inner = model.model_fields[part].annotation
        found = [kind for kind in (inner, *getattr(inner, "__args__", ())) if isinstance(kind, type)]
        model = next((kind for kind in found if issubclass(kind, BaseModel)), model)
    return list(model.model_fields)


def _row_of(text: str, path: list[str]) -> int | None:
    """The line a setting stands in, as far as plain lines show it."""
    section = ""
    for row, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[+\s*([^\]]+?)\s*\]+", line)
        if header:
            section = header[1]
            if section == ".".join(path):
                return row
        entry = re.match(r"\s*([A-Za-z0-9_.\"/-]+)\s*=", line)
        if entry:
            name = ".".join(part for part in (section, entry[1].strip('"')) if part)
            if name == ".".join(path[: name.count(".") + 1]) and path:
                return row
    return None


def _classes_that_clash(text: str, rules: Rules) -> list[Fault]:
    """Grade classes named twice, and classes to be sampled that no list knows."""
    names = [grade_class.name for grade_class in rules.grade_classes]
    faults = []
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            row = _row_of(text, ["grade_classes"])
            faults.append(_fault(row, "grade_classes", name, "a grade class is named twice", "Rename one of the two"))
    sampled = rules.sampling.sample_classes
    # The shipped list is no statement of this yard: only what stands in the file can be wrong.
    if "sample_classes" in rules.sampling.model_fields_set and sampled != "all":
        for name in sampled:
            if name not in names:
                row = _row_of(text, ["sampling", "sample_classes"])
                remedy = f"Use names from grade_classes: {', '.join(names)}"
                faults.append(_fault(row, "sampling.sample_classes", name, "there is no such grade class", remedy))
    return faults


def _fault(row: int | None, column: str | None, read: str | None, problem: str, remedy: str) -> Fault:
    return Fault(NAME, row, column, shortened(read), problem, remedy)
