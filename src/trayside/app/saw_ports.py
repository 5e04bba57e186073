"""What the use cases ask of the store about saws: the register, what was done to a saw or blade, what a saw cut."""

from __future__ import annotations

from collections.abc import Collection
from typing import Protocol

from trayside.model.event import Stored
from trayside.model.saw import Blade, Saw


class SawRows(Protocol):
    """Part of a transaction; `saws()` is empty in a yard without a register."""

    def saws(self) -> tuple[Saw, ...]: ...
    def blades(self) -> tuple[Blade, ...]: ...
    def acts(self, object_type: str, object_id: str, *, kinds: Collection[str]) -> tuple[Stored, ...]:
        """Events of these kinds, and corrections, about one saw or blade, in the order of the ledger."""

    def cut_numbers(
        self, saw: str, *, since: str = "", before: str | None = None, newest: int | None = None
    ) -> tuple[tuple[str, str], ...]:
        """(number, captured_at) of acts that say a bag was cut on this saw, in order of time; only the `newest` when given."""

    def saws_named(self) -> tuple[str, ...]: ...
