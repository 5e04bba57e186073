"""What the use cases ask of the outside: a folder already read, a transaction, a clock, a printer."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Literal, Protocol, Self

import polars

from trayside.app.assay_ports import AssayRows
from trayside.app.load_ports import LoadRows
from trayside.app.people_ports import PeopleRows
from trayside.app.safety_ports import SafetyRows
from trayside.app.saw_ports import SawRows
from trayside.app.shift_ports import ShiftRows
from trayside.model.cut_sheet import Revision, Sheet
from trayside.model.event import Event, Standing, Stored
from trayside.model.finding import Finding
from trayside.model.hole import HoleCore
from trayside.model.ledger_chain import Link
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
    `rules_text` is None without a rules.toml; `rules` are then those of the yard it is loaded into.
    """

    tables: dict[str, polars.DataFrame]
    rules: Rules
    rules_text: str | None


@dataclass(frozen=True, slots=True)
class StoredYard:
    """What a yard holds already, so that a folder may leave it out or point to it: its rules, and keys by table."""

    rules: Rules = field(default_factory=Rules)
    keys: Mapping[str, frozenset[str]] = field(default_factory=dict)


EMPTY_YARD = StoredYard()


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
    """One page of the yard screen, with the totals of the whole yard: station -> (holes, mm of core)."""

    rows: tuple[StationRow, ...]
    total: int
    stations: dict[str, tuple[int, int]]


@dataclass(frozen=True, slots=True)
class LedgerEntry:
    """An event on its way into the ledger, with how it stands there."""

    event: Event
    standing: Standing = "stands"
    why: str = ""
    against: str | None = None


@dataclass(frozen=True, slots=True)
class Appended:
    """What became of an event: `stored` is what the ledger holds under its id.

    With status 'conflict' the ledger holds another event under this id, and `kept` is the one that was sent.
    """

    status: Literal["stored", "already stored", "conflict"]
    stored: Stored
    kept: Stored | None = None


@dataclass(frozen=True, slots=True)
class LedgerHead:
    """How many events the ledger holds and the hash of the newest: what a dispatch note prints."""

    seq: int
    hash: str


@dataclass(frozen=True, slots=True)
class Ticket:
    """A number as the newest revision that carries it says; withdrawn when `revision` is not the `newest`."""

    number: str
    row_kind: str
    hole_id: str
    sheet_id: str
    revision: int
    newest: int


@dataclass(frozen=True, slots=True)
class IssuedSheet:
    """An issued sheet for the bench to choose from: its newest revision, its trays, and between which numbers it lies.

    `trays` counts the rows of core that start in each tray. `ranges` holds (first, last) of each prefix.
    """

    hole_id: str
    sheet_id: str
    revision: int
    trays: tuple[tuple[int, int], ...]
    ranges: tuple[tuple[str, str], ...]


class Work(Protocol):
    """One transaction: everything between `with` and `commit()` is stored together or not at all."""

    def __enter__(self) -> Self: ...
    def __exit__(self, *exc: object) -> None: ...
    def commit(self) -> None: ...

    @property
    def people(self) -> PeopleRows:
        """People, sessions, tablets and tries, in the same transaction."""

    @property
    def loads(self) -> LoadRows:
        """Sacks, loads and received lists, in the same transaction."""

    @property
    def saws(self) -> SawRows:
        """Saws, blades and what each saw cut, in the same transaction."""

    @property
    def assays(self) -> AssayRows:
        """Certificates and results, in the same transaction."""

    @property
    def safety(self) -> SafetyRows:
        """What people were exposed to, in the same transaction."""

    @property
    def shifts(self) -> ShiftRows:
        """Shift plans, in the same transaction."""

    # the loaded yard
    def hole_digests(self) -> dict[str, str]: ...
    def replace_holes(self, tables: dict[str, polars.DataFrame], digests: dict[str, str]) -> None:
        """Put the rows of the holes named in `digests` in the place of whatever was loaded for them before."""

    def shared_digests(self) -> dict[str, str]: ...
    def shared_table(self, table: str) -> polars.DataFrame:
        """A shared table as it was stored, in the columns of the reader and in its order."""

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
    def issued_sheets(self) -> tuple[IssuedSheet, ...]:
        """Every hole with an issued sheet, by name."""

    def sheet_numbers(self, hole_id: str) -> dict[str, tuple[str, int]]: ...
    def serials_of(self, numbers: Iterable[str]) -> dict[str, tuple[str, int]]:
        """Prefix and serial of these printed numbers, as far as a ticket was ever printed so."""

    def void_numbers(self, numbers: Iterable[str]) -> None:
        """The ledger says that these issued numbers are used for nothing any more."""

    def restore_numbers(self, numbers: Iterable[str]) -> None:
        """What made these numbers void was set aside."""

    def released_serials(self, *, prefix: str, first: int, last: int) -> tuple[int, ...]: ...
    def highest_serial(self, *, prefix: str, first: int, last: int) -> int | None: ...
    def materials_on_sheets(self, *, except_hole_id: str | None) -> dict[str, int]:
        """Portions of each material that sheets still take from the shelf, without those of one hole.

        Below zero where that hole's issued sheet alone has portions set aside: it may use them beside the shelf.
        """

    def count_anew(self, materials: Iterable[str]) -> None:
        """These materials were counted: what sheets issued up to now name is set aside and counts no more."""


    # the ledger
    def append_events(
        self, entries: Sequence[LedgerEntry], *, stored_at: str, known: Mapping[str, Stored] | None = None
    ) -> tuple[Appended, ...]:
        """Put events at the end of the chain. An id that is there already is never written twice.

        `known` is what `events_by_id` said of all these ids earlier in the same transaction, to spare asking again.
        """

    def events_by_id(self, event_ids: Iterable[str]) -> dict[str, Stored]: ...
    def events_of_objects(self, objects: Iterable[tuple[str, str]]) -> dict[tuple[str, str], tuple[Stored, ...]]:
        """The events of each (object_type, object_id) in the order of the ledger; objects without any are left out."""

    def events_of_tray(self, hole_id: str, tray: int) -> tuple[Stored, ...]: ...
    def events_of_sheet(self, sheet_id: str) -> tuple[Stored, ...]: ...
    def events_since(self, seq: int, *, count: int) -> tuple[Stored, ...]: ...
    def standing_conflicts(self) -> tuple[Stored, ...]: ...
    def id_conflicts(self) -> tuple[Stored, ...]:
        """What was sent under an id that another event has."""

    def ledger_head(self) -> LedgerHead: ...
    def chain_links(self, chain: Literal["events", "event_conflicts"]) -> Generator[Link]:
        """The chain from its start. Nothing else can be asked until it is read to its end or closed."""

    def tickets(self, numbers: Iterable[str]) -> dict[str, Ticket]: ...
    def known_holes(self, hole_ids: Iterable[str]) -> set[str]: ...

    # findings and the yard screen
    def replace_findings(self, hole_id: str | None, findings: Iterable[Finding]) -> None: ...
    def findings(self, hole_id: str | None = None) -> tuple[Finding, ...]: ...
    def yard_findings(self) -> tuple[Finding, ...]:
        """Findings on what the holes share: those that point at no hole."""

    def file_with_hole(self, findings: Iterable[Finding]) -> None:
        """Add findings to those of their holes, at most one of each code a hole; the next check replaces them."""

    def station_page(self, *, first: int, count: int, station: str | None = None) -> StationPage: ...


class StartWork(Protocol):
    """Begin a transaction. With `writing=False` it never waits for a writer and can change nothing."""

    def __call__(self, *, writing: bool = True) -> Work: ...


Clock = Callable[[], datetime]
MakeId = Callable[[], str]
Progress = Callable[[int, int, str], None]


class ReadFolder(Protocol):
    def __call__(self, folder: Path, *, stored: StoredYard = EMPTY_YARD) -> YardFolder:
        """Read a yard folder or an XLSX file; LoadRefused with every fault when there is any."""
