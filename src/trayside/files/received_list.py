"""The laboratory's list of what came: a CSV file with a header, or lines that somebody typed.

    number;mass_kg;condition;sack;seal;remark          K410001 2.34
    K410001;2,34;;SK-00001;Z-771;                      K410002 1.98 damaged
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re

from trayside.app.ports import Fault
from trayside.app.receive import ListRead
from trayside.errors import LoadRefused
from trayside.files.encoding import encoding_fault
from trayside.model.event import CODE, UNPRINTABLE
from trayside.model.event_kinds import HEAVIEST_SACK_G
from trayside.model.load import CONDITIONS, ReceivedLine

NAME = "received list"
MOST_LINES = 10_000
LONGEST_CELL = 200
GRAMS = {"g": 1.0, "kg": 1000.0, "lb": 453.59237}
"""A pound is 0.45359237 kg exactly (NIST SP 811, appendix B.8, from memory)."""
COLUMNS = {
    "number": ("number", "sample", "sample_number", "sample_no", "sample_id", "ticket"),
    "condition": ("condition", "state"),
    "sack": ("sack", "container", "bulk_bag"),
    "seal": ("seal", "seal_number", "seal_no"),
    "remark": ("remark", "remarks", "comment", "comments", "note"),
    "line": ("line", "no", "item"),
}
SPOKEN = {"ok": "", "good": "", "intact": "", "sound": "", "dry": "", "damp": "wet", "open": "opened"}
"""Other words for a condition. A word nobody knows stands as damage, with the word as the remark: a person looks."""
MASS = re.compile(r"(?:received_)?(?:mass|weight|wt)(?:_received)?(?:_(kg|g|lb))?")
AMOUNT = re.compile(r"[0-9]{1,7}(?:[.,][0-9]{1,6})?")


def read_received(raw: bytes, *, source: str, mass_unit: str | None = None) -> ListRead:
    """The lines of a list; `mass_unit` (kg, g or lb) is for masses whose column names no unit."""
    fault = encoding_fault(NAME, raw)
    if fault is not None:
        raise _refused([fault])
    text = raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    rows, faults = _rows(text)
    lines: tuple[ReceivedLine, ...] = ()
    if not faults:
        names = _header([cell.strip() for cell in rows[0][1]]) if rows else None
        if names is None:
            lines, faults = _typed(text, mass_unit)
        else:
            lines, faults = _by_header(rows, names, mass_unit)
    if not faults and not lines:
        faults = [Fault(NAME, None, None, None, "there is no number in it", "Send the list the laboratory made")]
    if faults:
        raise _refused(faults)
    return ListRead(lines, source=source[:120] or "typed", sha256=hashlib.sha256(raw).hexdigest())


def _refused(faults: list[Fault]) -> LoadRefused:
    return LoadRefused(
        f"the received list has {len(faults)} fault{'s' * (len(faults) != 1)}, nothing was stored",
        where=NAME,
        remedy="Correct what is named, then send it again",
        faults=tuple(faults[:50]),
    )


def _rows(text: str) -> tuple[list[tuple[int, list[str]]], list[Fault]]:
    """Line number and cells of every line that holds anything."""
    first = next((line for line in text.split("\n") if line.strip()), "")
    delimiter = max((",", ";", "\t"), key=first.count)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    rows = []
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append((reader.line_num, cells))
            if len(rows) > MOST_LINES + 1:
                problem = f"more than {MOST_LINES} lines"
                return [], [Fault(NAME, None, None, None, problem, "Send the list of one load")]
    except csv.Error as error:
        return [], [Fault(NAME, reader.line_num, None, None, f"this is not CSV: {error}", "Save the list again as CSV")]
    return rows, []


def _header(cells: list[str]) -> list[str] | None:
    """Our name of each column, 'mass_kg' with its unit; None when this line is no header."""
    names = []
    for cell in cells:
        plain = re.sub(r"[^a-z0-9]+", "_", cell.casefold()).strip("_")
        mass = MASS.fullmatch(plain)
        ours = next((name for name, known in COLUMNS.items() if plain in known), None)
        names.append(f"mass_{mass[1] or ''}" if mass else ours or f"?{cell}")
    return names if "number" in names else None


def _by_header(
    rows: list[tuple[int, list[str]]], names: list[str], mass_unit: str | None
) -> tuple[tuple[ReceivedLine, ...], list[Fault]]:
    faults = [
        Fault(NAME, rows[0][0], name.lstrip("?") or None, name.lstrip("?"), "the column stands twice", "Keep one of them")
        for name in dict.fromkeys(names)
        if names.count(name) > 1 and not name.startswith("?")
    ]
    masses = [name for name in names if name.startswith("mass_")]
    unit = masses[0].removeprefix("mass_") or mass_unit if masses else None
    if masses and unit not in GRAMS:
        problem = "the unit of the masses is not said"
        faults.append(Fault(NAME, rows[0][0], "mass", None, problem, "Name the column mass_kg, mass_g or mass_lb"))
    if len(masses) > 1:
        faults.append(Fault(NAME, rows[0][0], "mass", None, "masses stand in two columns", "Keep one of them"))
    lines = []
    if not faults:
        for row, cells in rows[1:]:
            if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
                problem = f"{len(cells)} cells in a table of {len(names)} columns"
                faults.append(Fault(NAME, row, None, None, problem, "A text with a separator in it must stand in quotes"))
                continue
            held = {name: cell.strip() for name, cell in zip(names, cells, strict=False)}
            mass = held.get(masses[0], "") if masses else ""
            line = _line(row, held, mass, unit or "kg", faults)
            if line is not None:
                lines.append(line)
    return tuple(lines), faults


def _typed(text: str, mass_unit: str | None) -> tuple[tuple[ReceivedLine, ...], list[Fault]]:
    """Lines of number, mass and a word on the condition, set apart by spaces, commas or tabs."""
    lines, faults = [], []
    for row, written in enumerate(text.split("\n"), start=1):
        parts = [part for part in re.split(r"[\s;]+|,(?![0-9])", written.strip()) if part]
        if not parts:
            continue
        mass = parts[1] if len(parts) > 1 and AMOUNT.fullmatch(parts[1]) else ""
        rest = parts[2 if mass else 1 :]
        condition = rest[0].casefold() if rest and rest[0].casefold() in CONDITIONS else ""
        remark = " ".join(rest[1:] if condition else rest)
        if mass and mass_unit not in GRAMS:
            faults.append(
                Fault(NAME, row, "mass", mass, "the unit of the masses is not said", "Choose kg, g or lb beside the list")
            )
            continue
        held = {"number": parts[0], "condition": condition, "remark": remark}
        line = _line(row, held, mass, mass_unit or "kg", faults)
        if line is not None:
            lines.append(line)
    return tuple(lines), faults


def _line(row: int, held: dict[str, str], mass: str, unit: str, faults: list[Fault]) -> ReceivedLine | None:
    before = len(faults)
    for name in ("number", "sack", "seal"):
        text = held.get(name, "")
        if (name == "number" and not text) or (text and not CODE.fullmatch(text)):
            problem = "no number" if not text else "this cannot be a number" if name == "number" else f"this cannot be a {name}"
            faults.append(Fault(NAME, row, name, text[:60], problem, "Use letters, digits, space and . _ / + -"))
    condition = held.get("condition", "").casefold()
    remark = " ".join(held.get("remark", "").split())
    condition = SPOKEN.get(condition, condition)
    if condition not in CONDITIONS:
        remark, condition = f"{held['condition']} {remark}".strip(), "damaged"
    if len(remark) > LONGEST_CELL or UNPRINTABLE.search(remark):
        faults.append(Fault(NAME, row, "remark", remark[:60], "this remark cannot be kept", "Shorten it, on one line"))
    mass_g = _grams(mass, unit)
    if mass and (mass_g is None or not 1 <= mass_g <= HEAVIEST_SACK_G):
        faults.append(
            Fault(NAME, row, "mass", mass[:60], "this is no mass of a bag", f"Write it in {unit}, like 2.34; leave it empty"
                  " when nothing was weighed")
        )  # fmt: skip
    if len(faults) > before:
        return None
    return ReceivedLine(
        row, held["number"], mass_g, condition, held.get("sack", ""), held.get("seal", ""), remark
    )


def _grams(mass: str, unit: str) -> int | None:
    if not AMOUNT.fullmatch(mass):
        return None
    grams = float(mass.replace(",", ".")) * GRAMS[unit]
    return round(grams) if math.isfinite(grams) else None
