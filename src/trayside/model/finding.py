"""Findings: what a check saw, where, with which numbers, and what to do about it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Severity = Literal["stop", "warn", "note"]
SEVERITIES: tuple[Severity, ...] = ("stop", "warn", "note")


@dataclass(frozen=True, slots=True)
class FindingKind:
    """One kind of finding: its code, how grave it is, what it means and what to do."""

    code: str
    severity: Severity
    title: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding at one place. `evidence` holds the numbers behind the message, units in their names."""

    code: str
    severity: Severity
    message: str
    remedy: str
    hole_id: str | None = None
    from_mm: int | None = None
    to_mm: int | None = None
    run: int | None = None
    tray: int | None = None
    number: str | None = None
    evidence: dict[str, float | int | str | None] = field(default_factory=dict)

    @property
    def where(self) -> str:
        """The place in words: hole, depths, run, tray, number."""
        parts = [self.hole_id or "yard"]
        if self.run is not None:
            parts.append(f"run {self.run}")
        if self.tray is not None:
            parts.append(f"tray {self.tray}")
        if self.number is not None:
            parts.append(f"number {self.number}")
        if self.from_mm is not None:
            span = f"{self.from_mm / 1000:.2f}"
            if self.to_mm is not None and self.to_mm != self.from_mm:
                span += f"–{self.to_mm / 1000:.2f}"
            parts.append(f"{span} m")
        return ", ".join(parts)


def gravest(findings) -> Severity | None:
    """The gravest severity among findings, or None when there are none."""
    held = {finding.severity for finding in findings}
    return next((severity for severity in SEVERITIES if severity in held), None)
