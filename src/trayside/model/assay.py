"""What a laboratory reported: certificates, their columns, and results as they were written.

A result keeps the text as received; nothing is ever put in the place of a value below or above a limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Censor = Literal["none", "lt", "gt", "not_detected", "not_analysed", "insufficient", "listed_not_received"]
CENSORS: tuple[Censor, ...] = (
    "none", "lt", "gt", "not_detected", "not_analysed", "insufficient", "listed_not_received",
)  # fmt: skip
LineKind = Literal["sample", "coarse duplicate", "pulp duplicate", "laboratory standard", "laboratory blank"]
LINE_KINDS: tuple[LineKind, ...] = (
    "sample", "coarse duplicate", "pulp duplicate", "laboratory standard", "laboratory blank",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Analyte:
    """One column of results: what was measured, how, in which unit, between which limits.

    `unit` is UCUM. A result that names a limit of its own keeps it beside it; these are the column's.
    """

    column: int
    element: str
    unit: str
    method: str = ""
    lower_limit: float | None = None
    upper_limit: float | None = None


@dataclass(frozen=True, slots=True)
class CertificateLine:
    """One line of a certificate, in the laboratory's order: `place` counts from 1.

    `number` is the yard's sample number as read; `as_written` what stood there. `mass_kg` is the received mass if given.
    """

    place: int
    number: str
    as_written: str
    line_kind: LineKind = "sample"
    rack: str = ""
    mass_kg: float | None = None


@dataclass(frozen=True, slots=True)
class Result:
    """One value of one line in one column. `value` is in the column's unit; for `lt` and `gt` it is the limit."""

    place: int
    column: int
    raw_text: str
    value: float | None
    censor: Censor = "none"
    lower_limit: float | None = None
    upper_limit: float | None = None


@dataclass(frozen=True, slots=True)
class Certificate:
    """One certificate as imported. A re-issue names the one it supersedes, which then counts no more."""

    certificate_id: str
    laboratory: str
    job: str
    reported_at: datetime
    imported_at: datetime
    imported_by: str
    source: str
    sha256: str
    lines: int
    analytes: tuple[Analyte, ...]
    supersedes: str | None = None
    superseded_by: str | None = None


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """How a laboratory's files are to be read; remembered by laboratory once a person confirmed it.

    `layout` says whether a line holds all elements or one. Rows and columns count from 1; 0 means there is none.
    `more` holds what a reader of one format needs beyond that, as plain JSON values.
    """

    laboratory: str
    layout: Literal["wide", "long"]
    more: dict[str, object] = field(default_factory=dict)
