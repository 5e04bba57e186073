"""Paired tablets, the sessions on them, and the one-time codes that pair them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

CODE_LETTERS = "ABCDEFGHJKMNPQRSTVWXYZ23456789"
"""Without I, L, O, U, 0 and 1, which are read for one another."""
CODE_LENGTH = 8


@dataclass(frozen=True, slots=True)
class Tablet:
    """A device that the yard lets in: it holds a secret of its own, of which the yard keeps a fingerprint."""

    tablet_id: str
    name: str
    paired_at: datetime
    paired_by: str
    revoked_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Session:
    """One person signed in on one device: a tablet, or (None) the yard's own machine."""

    token_digest: str
    person_id: str
    tablet_id: str | None
    created_at: datetime
    seen_at: datetime
    ends_at: datetime

    def lives(self, *, tablet_id: str | None, now: datetime, idle_min: int) -> bool:
        """Whether it still counts, on the device it was made on."""
        idle = now - self.seen_at >= timedelta(minutes=idle_min)
        return self.tablet_id == tablet_id and now < self.ends_at and not idle


@dataclass(frozen=True, slots=True)
class PairingCode:
    """A code that lets one tablet in, once, for some minutes. Only the newest one works."""

    code_id: str
    code_hash: str
    made_at: datetime
    made_by: str
    ends_at: datetime
    used_at: datetime | None = None


def code_as_typed(typed: str) -> str:
    """The code without the spaces, dashes and small letters people put in."""
    return "".join(typed.split()).replace("-", "").upper()


def code_in_groups(code: str) -> str:
    """'ABCD-2345', easier to read aloud."""
    return f"{code[:4]}-{code[4:]}"
