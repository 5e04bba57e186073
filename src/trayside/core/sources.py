"""A number travels with its document: where a figure was printed and how well we know it."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.errors import ImpossibleValue

GRADES = {
    "seen": "the text of the document was read",
    "from memory": "believed to stand in the document, whose text was not read",
    "derived": "worked out by us from stated definitions",
    "common practice, no source": "what yards do or a starting choice; no document with the figure was found",
}


@dataclass(frozen=True, slots=True)
class Source:
    """Document, place in it, and grade (one of `GRADES`). An unknown grade is refused."""

    document: str
    locator: str
    grade: str

    def __post_init__(self) -> None:
        if self.grade not in GRADES:
            raise ImpossibleValue(
                f"{self.grade!r} is no grade of a source",
                where=self.document or "Source",
                remedy=f"Use one of: {'; '.join(GRADES)}",
            )
        if not self.document.strip():
            raise ImpossibleValue(
                "a source without a document", where="Source", remedy="Name the document, or say that none was found"
            )

    def __str__(self) -> str:
        place = f", {self.locator}" if self.locator else ""
        return f"{self.document}{place} ({self.grade})"


@dataclass(frozen=True, slots=True)
class SourcedNumber:
    """One figure with its source; the unit is in the name of the field that holds it."""

    value: float
    source: Source
