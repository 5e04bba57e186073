"""The fingerprint of a cut sheet: SHA-256 over its rows in one canonical text, so that any copy can be compared."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict

from .cut_sheet import SheetRow


def canonical_rows(rows: tuple[SheetRow, ...]) -> str:
    """The rows as JSON with sorted keys and no spaces; masses as whole grams, places as whole millimetres."""
    return json.dumps([_plain(row) for row in rows], sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def sheet_digest(*, hole_id: str, revision: int, rows: tuple[SheetRow, ...]) -> str:
    """Hex SHA-256 of hole, revision and canonical rows."""
    text = f"{hole_id}\n{revision}\n{canonical_rows(rows)}"
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(row: SheetRow) -> dict:
    plain = asdict(row)
    for name in ("expected_kg", "low_kg", "high_kg"):
        value = plain.pop(name)
        plain[name.replace("_kg", "_g")] = None if value is None else round(value * 1000)
    for name in ("from_place", "to_place"):
        if plain[name] is not None:
            plain[name]["left_mm"] = round(plain[name].pop("left_cm") * 10)
    return plain
