"""What the use cases ask of the outside: a folder already read, a transaction, a clock, a printer."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol, Self

import polars

from trayside.model.cut_sheet import Revision, Sheet
from trayside.model.finding import Finding
from trayside.model.hole import HoleCore
from trayside.model.rules import Rules
from trayside.model.stock import Stock


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a yard folder: which table, row and column, what was read, what is wrong and what to do.

    `row` is the line in the file as a person sees it (the header is line 1); None when the whole table is meant.
    """

    table: str
    row: int | None
    column: str | None
    read: str | None
    problem: str
    remedy: str

    def __str__(self) -> str:
        place = self.table + (f" row {self.row}" if self.row is not None else "")
        place += f" column {self.column}" if self.column else ""
        read = f" (read: {self.read!r})" if self.read is not None else ""
        return f"{place}: {self.problem}{read}. {self.remedy}"


@dataclass(frozen=True, slots=True)
class YardFolder:
    """A yard folder without faults.

    `tables` holds one frame a table of `model.tables.TABLES` that was present; its columns are the stored names
    (`from_mm` Int64, `from_entered` String, ...), its rows in file order. Absent optional columns are null columns.
    """

    tables: dict[str, polars.DataFrame]
    rules: Rules
    rules_text: str


@dataclass(frozen=True, slots=True)
class StationRow:
    """One hole on the yard screen: where it stands and what waits."""

    hole_id: str
    area: str | None
    total_depth_mm: int
    trays: int
    runs: int
    station: str
    stops: int
    warns: int
    notes: int
    samples: int
    controls: int
    revision: int


@dataclass(frozen=True, slots=True)
class StationPage:
    """One page of the yard screen, with the totals of the whole yard: station -> (holes, depth in mm)."""

    rows: tuple[StationRow, ...]
    total: int
    stations: dict[str, tuple[int, int]]


class Work(Protocol):
    """One transaction: everything between `with` and `commit()` is stored together or not at all."""

    def __enter__(self) -> Self: ...
    def __exit__(self, *exc: object) -> None: ...
    def commit(self) -> None: ...

    # the loaded yard
    def hole_digests(self) -> dict[str, str]: ...
    def replace_holes(self, tables: dict[str, polars.DataFrame], digests: dict[str, str]) -> None:
        """Put the rows of the holes named in `digests` in the place of whatever was loaded for them before."""

    def shared_digests(self) -> dict[str, str]: ...
    def replace_shared(self, table: str, frame: polars.DataFrame, digest: str) -> None: ...
    def set_rules(self, text: str) -> None: ...
    def rules_text(self) -> str | None: ...
    def hole_ids(self) -> tuple[str, ...]: ...
    def hole_core(self, hole_id: str) -> HoleCore: ...
    def hole_cores(self, hole_ids: Iterable[str]) -> Iterator[HoleCore]: ...
    def stock(self) -> Stock: ...

    # sheets, revisions, numbers
    def sheet(self, hole_id: str) -> Sheet | None: ...
    def save_sheet(self, sheet: Sheet, *, serials: dict[str, tuple[str, int]]) -> Sheet:
        """Store the draft if its `version` is the stored one (0: new) and return it with the version raised.

        `serials` gives (prefix, serial) of every number on it. ChangedMeanwhile when somebody saved first;
        RefusedByRule when a number belongs to another sheet. Numbers it no longer uses become 'released', or 'void'
        when a revision carried them.
        """

    def add_revision(self, revision: Revision) -> None: ...
    def revisions(self, hole_id: str) -> tuple[Revision, ...]: ...
    def revision(self, hole_id: str, revision: int) -> Revision: ...
    def sheet_numbers(self, hole_id: str) -> dict[str, tuple[str, int]]: ...
    def released_serials(self, *, prefix: str, first: int, last: int) -> tuple[int, ...]: ...
    def highest_serial(self, *, prefix: str, first: int, last: int) -> int | None: ...
    def materials_on_sheets(self, *, except_hole_id: str | None) -> dict[str, int]: ...

    # findings and the yard screen
    def replace_findings(self, hole_id: str | None, findings: Iterable[Finding]) -> None: ...
    def findings(self, hole_id: str | None = None) -> tuple[Finding, ...]: ...
    def station_page(self, *, first: int, count: int, station: str | None = None) -> StationPage: ...


class StartWork(Protocol):
    """Begin a transaction. With `writing=False` it never waits for a writer and can change nothing."""

    def __call__(self, *, writing: bool = True) -> Work: ...


Clock = Callable[[], datetime]
MakeId = Callable[[], str]
Progress = Callable[[int, int, str], None]


class ReadFolder(Protocol):
    def __call__(self, folder: Path) -> YardFolder:
        """Read a yard folder or an XLSX file; LoadRefused with every fault when there is any."""
