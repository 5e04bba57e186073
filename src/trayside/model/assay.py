"""What a laboratory reported: certificates, their columns, and results as they were written.

A result keeps the text as received; nothing is ever put in the place of a value below or above a limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from trayside.model.finding import Finding

Censor = Literal["none", "lt", "gt", "not_detected", "not_analysed", "insufficient", "listed_not_received", "review"]
CENSORS: tuple[Censor, ...] = (
    "none", "lt", "gt", "not_detected", "not_analysed", "insufficient", "listed_not_received", "review",
)  # fmt: skip
"""`review`: the text cannot be read with certainty; it counts as no result until the laboratory writes it anew."""
LineKind = Literal["sample", "coarse duplicate", "pulp duplicate", "laboratory standard", "laboratory blank"]
LINE_KINDS: tuple[LineKind, ...] = (
    "sample", "coarse duplicate", "pulp duplicate", "laboratory standard", "laboratory blank",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Analyte:
    """One column of results: what was measured, how, in which unit, between which limits.

    `unit` is UCUM. A result that names a limit of its own keeps it beside it; these are the column's. `ppm_per_unit` is
    None when the unit is no mass fraction. `as_written` is the header as it stood.
    """

    column: int
    element: str
    unit: str
    method: str = ""
    lower_limit: float | None = None
    upper_limit: float | None = None
    ppm_per_unit: float | None = None
    as_written: str = ""


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
    """One certificate as imported. A re-issue names the one it supersedes, which then counts no more.

    `mapping` says how the file was read; `findings` are those of the day it came in.
    """

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
    mapping: dict[str, object] = field(default_factory=dict)
    findings: tuple[Finding, ...] = ()


ChangeKind = Literal["value", "unit", "added", "gone"]


@dataclass(frozen=True, slots=True)
class CertificateChange:
    """One value that a re-issue changed. `ratio` is after over before in one unit, where both are numbers.

    `unit`: the written number is the same (or the amount is) but the unit is another. None stands for "not there".
    """

    kind: ChangeKind
    number: str
    line_kind: LineKind
    element: str
    method: str
    before_text: str | None
    before_unit: str | None
    after_text: str | None
    after_unit: str | None
    ratio: float | None = None


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """How a laboratory's files are to be read; remembered by laboratory and header once a person confirmed it.

    `layout` says whether a line holds all elements or one. `more` holds what the reader needs beyond that, as plain
    JSON values; `header_digest` tells one layout of a laboratory from its others.
    """

    laboratory: str
    layout: Literal["wide", "long"]
    more: dict[str, object] = field(default_factory=dict)
    header_digest: str = ""
    confirmed_by: str = ""
    confirmed_at: datetime | None = None
