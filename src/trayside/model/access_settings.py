"""The settings of signing in and pairing. They belong to the store, not to the rules of the sampling.

Defaults are common practice, no source, except where another is named.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

from trayside.errors import ImpossibleValue
from trayside.model.lockout import Limits

BOUNDS = {
    "session_h": (1, 24 * 7),
    "idle_min": (1, 24 * 60),
    "code_min": (1, 60),
    "free_tries": (1, 20),
    "first_wait_s": (1, 3600),
    "longest_wait_s": (1, 24 * 3600),
    "most_tries": (5, 100),
    "address_free_tries": (1, 200),
}


@dataclass(frozen=True, slots=True)
class AccessSettings:
    """A signed-in person is signed out after `session_h` (one long shift), or `idle_min` without touching anything.

    A pairing code lives `code_min`. `most_tries` wrong ones in a row shut a name: NIST SP 800-63B section 5.2.2
    allows 100 at most (2017, from memory).
    """

    session_h: int = 14
    idle_min: int = 240
    code_min: int = 10
    free_tries: int = 5
    first_wait_s: int = 30
    longest_wait_s: int = 3600
    most_tries: int = 100
    address_free_tries: int = 20

    @property
    def name_limits(self) -> Limits:
        return Limits(self.free_tries, self.first_wait_s, self.longest_wait_s, most=self.most_tries)

    @property
    def address_limits(self) -> Limits:
        return Limits(self.address_free_tries, self.first_wait_s, self.longest_wait_s, forgotten_after_s=24 * 3600)


NAMES = tuple(one.name for one in fields(AccessSettings))


def checked_settings(values: dict[str, object]) -> AccessSettings:
    """Settings from names and whole numbers; ImpossibleValue for an unknown name or a value out of bounds."""
    for name, value in values.items():
        if name not in BOUNDS:
            raise ImpossibleValue(f"there is no setting {name[:40]!r}", where="access", remedy=f"One of: {', '.join(NAMES)}")
        low, high = BOUNDS[name]
        if type(value) is not int or not low <= value <= high:
            raise ImpossibleValue(f"it must be a whole number from {low} to {high}", where=name, remedy="Choose one of these")
    return AccessSettings(**values)
