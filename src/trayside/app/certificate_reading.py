"""What is said between the use case of importing and whoever reads a laboratory's file: proposals, questions, what was read.

A proposal tells how a file would be read and what a person must settle first. Settlements are plain texts by key
("unit:5" = "g/t"), the same from a form, from the command line and from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, Protocol

import polars

from trayside.model.assay import Analyte, ColumnMapping

OF_THIS_FILE = ("laboratory", "job", "reported", "supersedes", "negative")
"""Settlements that are never remembered for the next file; neither are those that begin with `take:`."""


@dataclass(frozen=True, slots=True)
class ResultColumn:
    """A column (or in a long file a code) of results as it would be read. `key` names it in settlements."""

    key: str
    as_written: str
    element: str
    unit: str
    method: str
    lower_limit: float | None
    upper_limit: float | None
    used: bool
    why: str


@dataclass(frozen=True, slots=True)
class Question:
    """What a person must settle before the file is read. Without choices any text can be the answer."""

    key: str
    asks: str
    choices: tuple[tuple[str, str], ...] = ()
    proposed: str = ""


@dataclass(frozen=True, slots=True)
class PreviewLine:
    """A line of the file: as it stood, and as it would be read; `cells` holds (as written, as read)."""

    line: int
    number: str
    line_kind: str
    cells: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Proposal:
    """How a file would be read, why, and what is open.

    `settled` is every settlement in force. `changed` says what differs from the mapping that was remembered; `remembered`
    is true when that mapping still fits. `places` are lines and columns of the file by role.
    """

    source: str
    sha256: str
    form: str
    layout: Literal["wide", "long"]
    laboratory: str
    job: str
    reported_at: datetime | None
    settled: dict[str, str]
    columns: tuple[ResultColumn, ...]
    header: tuple[str, ...]
    header_digest: str
    reasons: tuple[str, ...]
    questions: tuple[Question, ...]
    places: dict[str, int | str]
    lines: int
    values: int
    preview: tuple[PreviewLine, ...] = ()
    remembered: bool = False
    changed: tuple[str, ...] = ()

    @property
    def used(self) -> tuple[ResultColumn, ...]:
        return tuple(column for column in self.columns if column.used)

    def to_remember(self) -> dict[str, object]:
        """What a mapping keeps of this."""
        kept = {
            key: text for key, text in self.settled.items() if key not in OF_THIS_FILE and not key.startswith("take:")
        }
        return {"settled": kept, "header": list(self.header), "form": self.form}


@dataclass(frozen=True, slots=True, eq=False)
class CertificateRead:
    """A file read by its proposal. `lines` has LINE_ROW and `line`, `results` has RESULT_ROW.

    `notes` has place, column, raw_text, note: whatever is odd about a result. `line_notes` has place, note.
    """

    analytes: tuple[Analyte, ...]
    lines: polars.DataFrame
    results: polars.DataFrame
    notes: polars.DataFrame
    line_notes: polars.DataFrame = field(
        default_factory=lambda: polars.DataFrame(schema={"place": polars.Int64, "note": polars.String})
    )


class OpenedCertificate(Protocol):
    """A file that was opened: it is asked for a proposal as often as settlements change, then read once."""

    source: str
    sha256: str

    def propose(self, settled: Mapping[str, str], *, remembered: Sequence[ColumnMapping] = ()) -> Proposal:
        """LoadRefused when no table of results can be found in it."""

    def read(self, proposal: Proposal) -> CertificateRead:
        """LoadRefused with every fault of the lines."""


class OpenCertificate(Protocol):
    """Open a file: LoadRefused when it is no readable table."""

    def __call__(self, raw: bytes, *, source: str) -> OpenedCertificate: ...
