"""What the use cases ask of the store about certificates and results, inside one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol

import polars

from trayside.model.assay import Certificate, CertificateChange, CertificateLine, ColumnMapping

Progress = Callable[[int, int, str], None]
"""As in app.ports, which imports this module."""

RESULT_COLUMNS = {
    "certificate_id": polars.String,
    "laboratory": polars.String,
    "reported_at": polars.String,
    "place": polars.Int64,
    "number": polars.String,
    "line_kind": polars.String,
    "rack": polars.String,
    "column": polars.Int64,
    "element": polars.String,
    "method": polars.String,
    "unit": polars.String,
    "raw_text": polars.String,
    "value": polars.Float64,
    "value_ppm": polars.Float64,
    "censor": polars.String,
    "lower_limit_ppm": polars.Float64,
    "upper_limit_ppm": polars.Float64,
    "preferred": polars.Boolean,
}
"""The columns of a frame of results. `value_ppm` is null where there is no number or the unit is no mass fraction.

`preferred` is false where a better result of the same line and element stands: an over-range result replaces `>`.
"""

RESULT_ROW = {
    "place": polars.Int64,
    "column": polars.Int64,
    "raw_text": polars.String,
    "value": polars.Float64,
    "censor": polars.String,
    "lower_limit": polars.Float64,
    "upper_limit": polars.Float64,
    "preferred": polars.Boolean,
}
"""One result as it is stored, in the column's unit. The limits are its own; null where the column's stand for it."""

LINE_ROW = {
    "place": polars.Int64,
    "number": polars.String,
    "as_written": polars.String,
    "line_kind": polars.String,
    "rack": polars.String,
    "mass_kg": polars.Float64,
}


class AssayRows(Protocol):
    def new_certificate_id(self) -> str: ...
    def add_certificate(
        self,
        certificate: Certificate,
        lines: Sequence[CertificateLine] | polars.DataFrame,
        results: polars.DataFrame,
        *,
        progress: Progress | None = None,
    ) -> None:
        """Store all of it. `results` has RESULT_ROW (`preferred` may be left out: all are), `lines` may be LINE_ROW."""

    def add_changes(self, certificate_id: str, changes: Sequence[CertificateChange] | polars.DataFrame) -> None:
        """What this re-issue changed against the certificate it supersedes; a frame has the names of CertificateChange."""

    def changes(self, certificate_id: str, *, first: int = 0, count: int | None = None) -> tuple[CertificateChange, ...]:
        """In the order they were told; `count` of them from the `first` on."""

    def change_counts(self, certificate_id: str) -> dict[str, int]:
        """How many changes of each kind."""


    def certificates(self, *, superseded: bool = False) -> tuple[Certificate, ...]:
        """Newest report first; superseded ones only when asked for."""

    def certificate(self, certificate_id: str) -> Certificate: ...
    def certificate_of_file(self, sha256: str) -> Certificate | None:
        """The newest certificate read from a file with this fingerprint."""

    def certificates_of_job(self, laboratory: str, job: str) -> tuple[Certificate, ...]:
        """Those that count, newest report first."""

    def lines(self, certificate_id: str) -> tuple[CertificateLine, ...]: ...
    def certificates_of_numbers(self, numbers: Iterable[str]) -> dict[str, tuple[str, ...]]:
        """Certificates that count, by the sample numbers on their lines."""

    def results(
        self,
        *,
        certificate_ids: Iterable[str] | None = None,
        elements: Iterable[str] | None = None,
        numbers: Iterable[str] | None = None,
        superseded: bool = False,
    ) -> polars.DataFrame:
        """Results that count (or with `superseded` all), with RESULT_COLUMNS, ordered by certificate, place, column."""

    def set_superseded(self, certificate_id: str, *, by: str) -> None: ...
    def mapping(self, laboratory: str) -> ColumnMapping | None:
        """The one used last."""

    def mappings(self, laboratory: str | None = None) -> tuple[ColumnMapping, ...]:
        """All of a laboratory, or of all, the one used last first."""

    def save_mapping(self, mapping: ColumnMapping) -> None:
        """Remember it in the place of one for the same laboratory and header."""
