"""People of the yard: who they are, which role they have, and what each role may do."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal, get_args

from trayside.errors import ImpossibleValue
from trayside.model.event import LONGEST_NAME, UNPRINTABLE

Role = Literal["operator", "geologist", "QC", "lead", "viewer"]
ROLES: tuple[Role, ...] = get_args(Role)
Right = Literal["look", "record", "plan", "edit", "issue", "dispatch", "resolve", "exposures", "manage"]
RIGHTS: tuple[Right, ...] = get_args(Right)

MAY: dict[Role, frozenset[Right]] = {
    "operator": frozenset({"look", "record"}),
    "geologist": frozenset({"look", "record", "plan", "edit", "issue", "resolve"}),
    "QC": frozenset({"look", "dispatch", "resolve", "exposures"}),
    "lead": frozenset(RIGHTS),
    "viewer": frozenset({"look"}),
}
"""look: every screen. record: acts at the bench. plan, edit, issue: the cut sheet. dispatch: sacks, loads, receipts.
resolve: settle conflicts in the ledger. exposures: see what others were exposed to; everybody sees their own.
manage: people and tablets. Common practice, no source."""

SHORTEST_PIN, LONGEST_PIN = 6, 12
"""Six digits: NIST SP 800-63B section 5.1.1.1 (2017, from memory)."""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who signs with a name and a PIN. People are never deleted: what they signed stays theirs."""

    person_id: str
    name: str
    role: Role
    active: bool

    def may(self, right: Right) -> bool:
        return self.active and right in MAY[self.role]


@dataclass(frozen=True, slots=True)
class NamedHash:
    """A person with the hash of their PIN, as it is kept."""

    person: Person
    pin_hash: str


def checked_name(typed: str, *, whose: str = "person") -> str:
    """The name as it is kept: one line, single spaces. ImpossibleValue when it cannot be a name."""
    if UNPRINTABLE.search(typed.strip()):
        raise ImpossibleValue(
            "the name holds a line break or another unprintable character", where=whose, remedy="Type it on one line"
        )
    name = " ".join(typed.split())
    if not name:
        raise ImpossibleValue("there is no name", where=whose, remedy="Type one")
    if len(name) > LONGEST_NAME:
        raise ImpossibleValue(f"the name is longer than {LONGEST_NAME} characters", where=whose, remedy="Shorten it")
    return name


def name_key(name: str) -> str:
    """What two names share when a person would call them the same: spaces, case and look-alike letters do not count."""
    return unicodedata.normalize("NFKC", " ".join(name.split())).casefold()


def checked_role(typed: str) -> Role:
    """The role of this name, in any case."""
    for role in ROLES:
        if role.casefold() == typed.strip().casefold():
            return role
    raise ImpossibleValue(f"there is no role {typed[:40]!r}", where="role", remedy=f"One of: {', '.join(ROLES)}")


def checked_pin(pin: str) -> str:
    """The PIN, or ImpossibleValue: digits only, long enough, and not one that everybody tries first."""
    if not (pin.isascii() and pin.isdigit()) or not SHORTEST_PIN <= len(pin) <= LONGEST_PIN:
        raise ImpossibleValue(
            f"a PIN has {SHORTEST_PIN} to {LONGEST_PIN} digits", where="PIN", remedy="Type digits only"
        )
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    if len(steps) == 1 and steps <= {0, 1, 9}:
        raise ImpossibleValue(
            "this PIN is one of the first that anybody would try", where="PIN", remedy="Mix the digits"
        )
    return pin
