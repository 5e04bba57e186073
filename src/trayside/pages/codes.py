"""QR symbols as compact SVG, and the text of the code that names an issued sheet."""

from __future__ import annotations

from functools import lru_cache
from itertools import groupby

import segno

from trayside.errors import ImpossibleValue

QUIET_MODULES = 4
"""Clear margin round a QR symbol (ISO/IEC 18004, from memory)."""
LONGEST_CODE = 119
"""Bytes a version 10 symbol holds at level H; more makes the squares too small for a wet label."""


@lru_cache(maxsize=4096)
def qr_matrix(text: str) -> tuple[bytes, ...]:
    """The symbol's rows without margin, 1 = dark: highest error correction, never a Micro QR.

    An upper-case id of at most 10 characters makes the smallest symbol, 21 squares wide.
    """
    if not text or len(text.encode()) > LONGEST_CODE:
        raise ImpossibleValue(
            f"a code of {len(text.encode())} bytes cannot be printed",
            where=f"QR code {text[:20]!r}",
            remedy=f"Use 1 to {LONGEST_CODE} bytes.",
        )
    return tuple(bytes(row) for row in segno.make_qr(text, error="h", boost_error=False).matrix)


def qr_modules(text: str) -> int:
    """Squares along one side of the symbol, margin included."""
    return len(qr_matrix(text)) + 2 * QUIET_MODULES


def qr_svg(text: str) -> str:
    """The symbol with its margin as one SVG path, one unit a square.

    All runs of dark squares are one path, so that no hairline shows between the rows when it is filled.
    """
    side = qr_modules(text)
    path = "".join(_row_path(row, QUIET_MODULES + y) for y, row in enumerate(qr_matrix(text)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" width="{side}" height="{side}">'
        f'<rect width="{side}" height="{side}" fill="#fff"/><path fill="#000" d="{path}"/></svg>'
    )


def _row_path(row: bytes, y: int) -> str:
    parts = []
    x = QUIET_MODULES
    for dark, run in groupby(row):
        wide = len(tuple(run))
        if dark:
            parts.append(f"M{x},{y}h{wide}v1h-{wide}z")
        x += wide
    return "".join(parts)


def sheet_code(*, hole_id: str, revision: int, digest: str) -> str:
    """What the code in the head of a sheet says: hole, revision, start of the digest. A draft has revision 0."""
    return f"{hole_id} R{revision} {short_digest(digest)}"


def short_digest(digest: str) -> str:
    """The first twelve characters in upper case: enough to compare two sheets by eye."""
    return digest[:12].upper()
