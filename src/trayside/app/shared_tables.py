"""What the whole yard shares: a folder adds to it and corrects it, and what the folder does not name stays."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import polars as pl

from trayside.app.ports import StoredYard, Work, YardFolder
from trayside.app.yard_rules import rules_of
from trayside.model import tables

SHARED = tuple(table for table in tables.TABLES if not table.of_hole)
RULES, MATERIALS = "rules", tables.MATERIALS.name
MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class SharedChange:
    """What a load changed in one shared table, in words."""

    table: str
    words: str


def stored_yard(work: Work) -> StoredYard:
    """What a folder may leave out or point to because the yard holds it."""
    stock = work.stock()
    keys = {
        tables.HOLES.name: frozenset(work.hole_ids()),
        tables.CORE_SIZES.name: frozenset(stock.core_sizes),
        tables.ROCK_CODES.name: frozenset(stock.rock_codes),
        tables.MATERIALS.name: frozenset(material.material for material in stock.materials),
        tables.TICKETS.name: frozenset(book.book for book in stock.tickets),
    }
    return StoredYard(rules_of(work), keys)


def store_shared(read: YardFolder, work: Work) -> tuple[SharedChange, ...]:
    """Put the shared tables of a folder into the yard, row by row of their keys; rules are replaced as a whole."""
    known, changes = work.shared_digests(), []
    for table in SHARED:
        folder = read.tables.get(table.name)
        if folder is None:
            continue
        key = table.key
        stored = work.shared_table(table.name)
        frame = merged(stored, folder, key=key)
        digest = hashlib.sha256(frame.write_csv().encode()).hexdigest()
        if known.get(table.name) == digest:
            continue
        work.replace_shared(table.name, frame, digest)
        new, changed = _differences(stored, frame, key=key)
        if table.name == MATERIALS:
            work.count_anew([*new, *changed])
        left = len(_by_key(stored, key).keys() - _by_key(folder, key).keys())
        changes.append(SharedChange(table.name, _words(table.name, new, changed, left)))
    if read.rules_text is not None and work.rules_text() != read.rules_text:
        was_there = work.rules_text() is not None
        work.set_rules(read.rules_text)
        said = "replaced by the rules.toml of the folder" if was_there else "taken from rules.toml"
        changes.append(SharedChange(RULES, f"{RULES}: {said}"))
    return tuple(changes)


def merged(stored: pl.DataFrame, folder: pl.DataFrame, *, key: tuple[str, ...]) -> pl.DataFrame:
    """The stored rows with those of the folder in their place, new ones at the end.

    A folder that names every stored key gives the order too.
    """
    rows = _by_key(folder, key)
    before = _by_key(stored, key)
    if before.keys() <= rows.keys():
        return folder
    kept = [rows.pop(name, row) for name, row in before.items()]
    return pl.DataFrame([*kept, *rows.values()], schema=folder.schema)


def _differences(stored: pl.DataFrame, frame: pl.DataFrame, *, key: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Keys that are new, and keys whose row changed."""
    before, after = _by_key(stored, key), _by_key(frame, key)
    changed = [" ".join(name) for name, row in after.items() if name in before and before[name] != row]
    return [" ".join(name) for name in after if name not in before], changed


def _by_key(frame: pl.DataFrame, key: tuple[str, ...]) -> dict[tuple[str, ...], dict]:
    return {tuple(row[name] for name in key): row for row in frame.iter_rows(named=True)}


def _words(table: str, new: list[str], changed: list[str], left: int) -> str:
    counted = " and counted anew" if table == MATERIALS else ""
    said = [f"{len(new)} new ({_listed(new)})"] if new else []
    said += [f"{len(changed)} changed{counted} ({_listed(changed)})"] if changed else []
    stays = f"; {left} not named stay{'s' if left == 1 else ''}" if left else ""
    return f"{table}: {', '.join(said) or 'in another order'}{stays}"


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more
