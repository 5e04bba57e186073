"""What the use cases ask of the store about people's shifts, inside one transaction."""

from __future__ import annotations

from datetime import date
from typing import Protocol

from trayside.model.exposure_record import RecordedShift


class SafetyRows(Protocol):
    """Every revision stays; the newest is the one that counts."""

    def revisions(self, person_key: str, day: date) -> tuple[RecordedShift, ...]:
        """All of one person's shift, the first one first; empty when nothing was recorded."""

    def newest(self, *, count: int, person_key: str | None = None) -> tuple[RecordedShift, ...]:
        """The newest revision of each shift, the latest day first, of one person or of everybody."""

    def between(self, person_key: str, first: date, last: date) -> tuple[RecordedShift, ...]:
        """The newest revision of each shift of one person from the first day to the last."""

    def add(self, recorded: RecordedShift, *, person_key: str) -> None:
        """ChangedMeanwhile when somebody recorded this revision first."""
