"""What the use cases ask of the store about sacks, loads and received lists, inside one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Protocol

from trayside.model.load import Load, Receipt, Sack


class LoadRows(Protocol):
    def new_sack_ids(self, count: int) -> tuple[str, ...]:
        """The next names; a name that was ever given is never given again."""

    def new_load_id(self) -> str: ...
    def add_sacks(self, sacks: Sequence[Sack]) -> None:
        """RefusedByRule when a bag is in a sack already."""

    def undo_sack(self, sack_id: str, *, at: datetime, by: str) -> None:
        """Free its bags; its name stays taken."""

    def leave_out(self, sack_id: str, numbers: Iterable[str]) -> None: ...
    def sack(self, sack_id: str) -> Sack: ...
    def sacks(self, load_id: str | None = None) -> tuple[Sack, ...]:
        """Sacks of a load, or with None all of the store, in the order they were packed."""

    def free_sacks(self) -> tuple[Sack, ...]:
        """Sacks on no load yet."""

    def sack_of(self, numbers: Iterable[str]) -> dict[str, str]: ...
    def set_load(self, sack_ids: Iterable[str], load_id: str | None) -> None: ...
    def load(self, load_id: str) -> Load: ...
    def loads(self) -> tuple[Load, ...]:
        """Newest first."""

    def save_load(self, load: Load) -> Load:
        """Store the load if its `version` is the stored one (0: new); ChangedMeanwhile when somebody saved first."""

    def holes_at_work(self) -> tuple[str, ...]:
        """Holes with an issued bag that is in no sack and about which the ledger says something."""

    def racked_trays(self) -> tuple[str, ...]:
        """Every tray, by its name in the ledger, that was ever put into a rack."""

    def receipts(self, load_id: str) -> tuple[Receipt, ...]: ...
    def receipt(self, receipt_id: str) -> Receipt: ...
    def add_receipt(self, receipt: Receipt) -> None: ...
    def confirm_receipt(self, receipt: Receipt) -> None: ...
