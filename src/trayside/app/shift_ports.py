"""What the use cases ask of the store about shift plans and core that waits for a saw, inside one transaction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from trayside.model.shift import SavedPlan


@dataclass(frozen=True, slots=True)
class HoleWaiting:
    """Core of one hole that waits for a saw, by what was written down; a cut that was set aside is not looked at."""

    hole_id: str
    trays: int
    metres: float


class ShiftRows(Protocol):
    def add(self, plan: SavedPlan) -> None:
        """Keep a plan for good."""

    def plan(self, plan_id: str) -> SavedPlan:
        """NotFound when there is none of that name."""

    def newest(self, day: str | None = None) -> SavedPlan | None:
        """The plan made last, of one day or of all."""

    def made(self, *, count: int) -> tuple[tuple[str, str, str, str | None], ...]:
        """(plan_id, day, made_by, replaces) of the plans made last, newest first."""

    def holes_to_cut(self) -> tuple[HoleWaiting, ...]:
        """Holes whose issued sheet has core about which nobody said that it was cut, those issued first coming first."""

    def bags_waiting(self) -> dict[str, tuple[int, float]]:
        """Bags of core, and metres, that wait behind the saw: 'to bag', 'to weigh', 'to pack', 'to send'."""

    def drafted_metres(self) -> dict[str, float]:
        """Metres of core that the samples of a saved draft hold, by hole."""
