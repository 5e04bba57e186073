"""One spelling for a record, and the hash that ties it to the record before it.

The spelling is RFC 8785 (JSON Canonicalization Scheme): keys in order, no spaces, one way to write each character and
number. Anybody with that document and SHA-256 can check a ledger without Trayside.
"""

from __future__ import annotations

import hashlib
import json

import rfc8785

from trayside.errors import ImpossibleValue

GENESIS = "0" * 64
"""What stands in the place of the hash before the first record."""

LARGEST_WHOLE = 2**53 - 1
"""Beyond this a reader in another language may round the number (RFC 8785 section 3.2.2.3, from memory)."""

_encode = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode


def canonical(value: object) -> bytes:
    """The value as RFC 8785 bytes."""
    try:
        # The standard encoder writes the same bytes several times faster wherever the two cannot differ.
        return _encode(value).encode() if _plain(value) else rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise ImpossibleValue(
            f"this cannot be written as canonical JSON ({error})",
            where="record",
            remedy="Use text, whole numbers up to 2^53, yes/no, nothing, and lists of them",
        ) from error


def chain_hash(prev_hash: str, record: bytes) -> str:
    """Hex SHA-256 of the hash before (64 hex digits as text) followed by the canonical bytes of this record."""
    return hashlib.sha256(prev_hash.encode() + record).hexdigest()


def _plain(value: object) -> bool:
    """No number with a fraction, no large number, only ASCII keys: then sorting and spelling cannot differ."""
    kind = type(value)
    if kind is str or kind is bool or value is None:
        return True
    if kind is int:
        return -LARGEST_WHOLE <= value <= LARGEST_WHOLE
    if kind is list or kind is tuple:
        return all(map(_plain, value))
    if kind is dict:
        return all(type(key) is str and key.isascii() and _plain(inner) for key, inner in value.items())
    return False
