"""Ids made where the fact arises: UUID version 7, sortable by time (RFC 9562 section 5.7, from memory)."""

from __future__ import annotations

from uuid import UUID


def uuid7(*, milliseconds: int, random_bytes: bytes) -> str:
    """A UUIDv7 from a time since 1970 and ten random bytes, both handed in."""
    if len(random_bytes) != 10 or not 0 <= milliseconds < 1 << 48:
        raise ValueError("uuid7 needs a 48-bit time and ten random bytes")
    value = milliseconds << 80 | int.from_bytes(random_bytes)
    value = value & ~(0xF << 76) | 0x7 << 76
    value = value & ~(0x3 << 62) | 0x2 << 62
    return str(UUID(int=value))
