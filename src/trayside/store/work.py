"""One transaction on the store: everything up to `commit()` is stored together or not at all."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from typing import Literal, Self

import polars
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import DBAPIError

from trayside.app.ports import Appended, IssuedSheet, LedgerEntry, LedgerHead, StationPage, Ticket
from trayside.model.cut_sheet import Revision, Sheet
from trayside.model.event import Stored
from trayside.model.finding import Finding
from trayside.model.hole import HoleCore
from trayside.model.ledger_chain import Link
from trayside.model.stock import Stock

from . import bench_rows, finding_rows, hole_rows, ledger_rows, material_rows, number_rows, read, sheet_rows, yard_rows
from .assay_rows import SqlAssays
from .connection import failed_outside, in_words
from .hole_states import refresh_states
from .load_rows import SqlLoads
from .people_rows import SqlPeople
from .safety_rows import SqlSafety
from .saw_rows import SqlSaws
from .shift_rows import SqlShifts


class SqlWork:
    """`app.ports.Work` on SQLite or PostgreSQL.

    A writing work holds the writer's place from its first question to its commit, so what it read stays true. With
    `writing=False` it never waits, sees one moment of the yard, and the database refuses every change. After `commit()`
    the next question begins the next transaction.
    """

    def __init__(self, engine: Engine, *, writing: bool = True) -> None:
        self._engine = engine
        self._writing = writing
        self._connection: Connection | None = None
        self._touched: set[str] = set()
        self._reading: Generator[Link] | None = None

    def __enter__(self) -> Self:
        self._touched.clear()
        try:
            self._connection = self._engine.connect().execution_options(writing=self._writing)
        except DBAPIError as error:
            raise in_words(error) from error
        return self

    def __exit__(self, kind, error, trace) -> None:
        connection, self._connection = self._connection, None
        self._touched.clear()
        if self._reading is not None:
            self._reading.close()
        connection.close()  # rolls back what was not committed
        if failed_outside(error):
            raise in_words(error) from error

    def commit(self) -> None:
        self._settle()
        try:
            self._open.commit()
        except BaseException:
            self._open.invalidate()  # a refused commit may leave the transaction open: it must not go back to the pool
            raise

    @property
    def _open(self) -> Connection:
        if self._connection is None:
            raise RuntimeError("a work is used inside its `with` block")
        if self._reading is not None and self._reading.gi_frame is not None:
            raise RuntimeError("the ledger is still being read: read it to its end, or close it")
        return self._connection

    def _settle(self) -> None:
        """Bring the yard screen's lines up to what this transaction changed."""
        if self._touched:
            refresh_states(self._open, self._touched)
            self._touched.clear()

    @property
    def people(self) -> SqlPeople:
        return SqlPeople(self._open)

    @property
    def loads(self) -> SqlLoads:
        return SqlLoads(self._open)

    @property
    def saws(self) -> SqlSaws:
        return SqlSaws(self._open)

    @property
    def assays(self) -> SqlAssays:
        return SqlAssays(self._open)

    @property
    def safety(self) -> SqlSafety:
        return SqlSafety(self._open)

    @property
    def shifts(self) -> SqlShifts:
        return SqlShifts(self._open)

    # the loaded yard

    def hole_digests(self) -> dict[str, str]:
        return hole_rows.hole_digests(self._open)

    def replace_holes(self, tables: dict[str, polars.DataFrame], digests: dict[str, str]) -> None:
        hole_rows.replace_holes(self._open, tables, digests)
        self._touched |= digests.keys()

    def shared_digests(self) -> dict[str, str]:
        return yard_rows.shared_digests(self._open)

    def shared_table(self, table: str) -> polars.DataFrame:
        return yard_rows.shared_table(self._open, table)

    def replace_shared(self, table: str, frame: polars.DataFrame, digest: str) -> None:
        yard_rows.replace_shared(self._open, table, frame, digest)

    def set_rules(self, text: str) -> None:
        yard_rows.set_rules(self._open, text)

    def rules_text(self) -> str | None:
        return yard_rows.rules_text(self._open)

    def hole_ids(self) -> tuple[str, ...]:
        return hole_rows.hole_ids(self._open)

    def hole_core(self, hole_id: str) -> HoleCore:
        return hole_rows.hole_core(self._open, hole_id)

    def hole_cores(self, hole_ids: Iterable[str]) -> Iterator[HoleCore]:
        return hole_rows.hole_cores(self._open, hole_ids)

    def stock(self) -> Stock:
        return yard_rows.stock(self._open)

    # sheets, revisions, numbers

    def sheet(self, hole_id: str) -> Sheet | None:
        return sheet_rows.sheet(self._open, hole_id)

    def save_sheet(self, sheet: Sheet, *, serials: dict[str, tuple[str, int]]) -> Sheet:
        saved = sheet_rows.save_sheet(self._open, sheet, serials=serials)
        self._touched.add(sheet.hole_id)
        return saved

    def add_revision(self, revision: Revision) -> None:
        sheet_rows.add_revision(self._open, revision)
        self._touched.add(revision.hole_id)

    def revisions(self, hole_id: str) -> tuple[Revision, ...]:
        return sheet_rows.revisions(self._open, hole_id)

    def revision(self, hole_id: str, revision: int) -> Revision:
        return sheet_rows.revision(self._open, hole_id, revision)

    def issued_sheets(self) -> tuple[IssuedSheet, ...]:
        return bench_rows.issued_sheets(self._open)

    def sheet_numbers(self, hole_id: str) -> dict[str, tuple[str, int]]:
        sheet_id = sheet_rows.sheet_id_of(self._open, hole_id)
        return {} if sheet_id is None else number_rows.sheet_numbers(self._open, sheet_id)

    def serials_of(self, numbers: Iterable[str]) -> dict[str, tuple[str, int]]:
        return number_rows.serials_of(self._open, numbers)

    def void_numbers(self, numbers: Iterable[str]) -> None:
        number_rows.void_numbers(self._open, numbers)

    def restore_numbers(self, numbers: Iterable[str]) -> None:
        number_rows.restore_numbers(self._open, numbers)

    def released_serials(self, *, prefix: str, first: int, last: int) -> tuple[int, ...]:
        return number_rows.released_serials(self._open, prefix=prefix, first=first, last=last)

    def highest_serial(self, *, prefix: str, first: int, last: int) -> int | None:
        return number_rows.highest_serial(self._open, prefix=prefix, first=first, last=last)

    def materials_on_sheets(self, *, except_hole_id: str | None) -> dict[str, int]:
        own = sheet_rows.sheet_id_of(self._open, except_hole_id) if except_hole_id is not None else None
        return material_rows.materials_on_sheets(self._open, except_sheet_id=own)

    def count_anew(self, materials: Iterable[str]) -> None:
        material_rows.count_anew(self._open, materials)

    # the ledger

    def append_events(
        self, entries: Sequence[LedgerEntry], *, stored_at: str, known: Mapping[str, Stored] | None = None
    ) -> tuple[Appended, ...]:
        return ledger_rows.append_events(self._open, entries, stored_at=stored_at, known=known)

    def events_by_id(self, event_ids: Iterable[str]) -> dict[str, Stored]:
        return ledger_rows.events_by_id(self._open, event_ids)

    def events_of_objects(self, objects: Iterable[tuple[str, str]]) -> dict[tuple[str, str], tuple[Stored, ...]]:
        return ledger_rows.events_of_objects(self._open, objects)

    def events_of_tray(self, hole_id: str, tray: int) -> tuple[Stored, ...]:
        return ledger_rows.events_of_tray(self._open, hole_id, tray)

    def events_of_sheet(self, sheet_id: str) -> tuple[Stored, ...]:
        return ledger_rows.events_of_sheet(self._open, sheet_id)

    def events_since(self, seq: int, *, count: int) -> tuple[Stored, ...]:
        return ledger_rows.events_since(self._open, seq, count=count)

    def standing_conflicts(self) -> tuple[Stored, ...]:
        return ledger_rows.standing_conflicts(self._open)

    def id_conflicts(self) -> tuple[Stored, ...]:
        return tuple(ledger_rows.conflicts_of(self._open))

    def ledger_head(self) -> LedgerHead:
        return ledger_rows.ledger_head(self._open)

    def chain_links(self, chain: Literal["events", "event_conflicts"]) -> Generator[Link]:
        self._reading = ledger_rows.chain_links(self._open, chain)
        return self._reading

    def tickets(self, numbers: Iterable[str]) -> dict[str, Ticket]:
        return ledger_rows.tickets(self._open, numbers)

    def known_holes(self, hole_ids: Iterable[str]) -> set[str]:
        return ledger_rows.known_holes(self._open, hole_ids)

    # findings and the yard screen

    def replace_findings(self, hole_id: str | None, findings: Iterable[Finding]) -> None:
        self._touched |= finding_rows.replace_findings(self._open, hole_id, findings)

    def findings(self, hole_id: str | None = None) -> tuple[Finding, ...]:
        return finding_rows.findings(self._open, hole_id)

    def yard_findings(self) -> tuple[Finding, ...]:
        return finding_rows.yard_findings(self._open)

    def file_with_hole(self, findings: Iterable[Finding]) -> None:
        self._touched |= finding_rows.file_with_hole(self._open, findings)

    def station_page(self, *, first: int, count: int, station: str | None = None) -> StationPage:
        self._settle()
        return read.station_page(self._open, first=first, count=count, station=station)
