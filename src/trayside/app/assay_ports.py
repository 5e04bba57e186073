"""What the use cases ask of the store about certificates and results, inside one transaction."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Protocol

import polars

from trayside.model.assay import Certificate, CertificateLine, ColumnMapping

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


class AssayRows(Protocol):
    def new_certificate_id(self) -> str: ...
    def add_certificate(
        self, certificate: Certificate, lines: Sequence[CertificateLine], results: polars.DataFrame
    ) -> None:
        """Store all of it. `results` has the columns of `model.assay.Result`, one row a result."""

    def certificates(self, *, superseded: bool = False) -> tuple[Certificate, ...]:
        """Newest report first; superseded ones only when asked for."""

    def certificate(self, certificate_id: str) -> Certificate: ...
    def certificate_of_file(self, sha256: str) -> Certificate | None: ...
    def lines(self, certificate_id: str) -> tuple[CertificateLine, ...]: ...
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
    def mapping(self, laboratory: str) -> ColumnMapping | None: ...
    def save_mapping(self, mapping: ColumnMapping) -> None: ...
