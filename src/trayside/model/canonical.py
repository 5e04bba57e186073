"""One spelling for a record, and the hash that ties it to the record before it.

The spelling is RFC 8785 (JSON Canonicalization Scheme): keys in order, no spaces, one way to write each character and
number. Anybody with that document and SHA-256 can check a ledger without Trayside.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Collection

import rfc8785

from trayside.errors import ImpossibleValue

GENESIS = "0" * 64
"""What stands in the place of the hash before the first record."""

LARGEST_WHOLE = 2**53 - 1
"""Beyond this a reader in another language may round the number (RFC 8785 section 3.2.2.3, from memory)."""

_encode = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode
_SCALARS = {str, int, bool, type(None)}
_BRANCHES = {dict, list, tuple}
_LONG_NUMBER = re.compile("[0-9]{16}")


def canonical(value: object) -> bytes:
    """The value as RFC 8785 bytes."""
    try:
        if _plain((value,)):
            # The standard encoder writes the same bytes several times faster wherever the two cannot differ.
            written = _encode(value)
            if not _LONG_NUMBER.search(written):
                return written.encode()
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError, RecursionError) as error:
        raise ImpossibleValue(
            f"this cannot be written as canonical JSON ({error})",
            where="record",
            remedy="Use text, whole numbers up to 2^53, yes/no, nothing, and lists of them",
        ) from error


def chain_hash(prev_hash: str, record: bytes) -> str:
    """Hex SHA-256 of the hash before (64 hex digits as text) followed by the canonical bytes of this record."""
    return hashlib.sha256(prev_hash.encode() + record).hexdigest()


def _plain(values: Collection) -> bool:
    """Nothing but text, whole numbers, yes/no, null, and lists and objects of them with ASCII keys."""
    kinds = set(map(type, values))
    if kinds <= _SCALARS:
        return True
    if not kinds <= _SCALARS | _BRANCHES:
        return False
    for value in values:
        if type(value) is dict:
            if set(map(type, value)) - {str} or not "".join(value).isascii() or not _plain(value.values()):
                return False
        elif type(value) in _BRANCHES and not _plain(value):
            return False
    return True
