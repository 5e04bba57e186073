"""Saws in the store: the register, what was done to a saw or a blade, and what a saw cut."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields

from sqlalchemy import Connection, select

from trayside.model.event import Event, Stored
from trayside.model.ledger_record import stored_event
from trayside.model.saw import Blade, Saw

from .bulk import insert_rows
from .schema import EVENTS, LOADED
from .schema_saws import SAW_CUTS

CUT_COLUMNS = ("seq", "saw", "number", "captured_at")


@dataclass(frozen=True, slots=True)
class SqlSaws:
    """`app.saw_ports.SawRows` inside one transaction."""

    connection: Connection

    def saws(self) -> tuple[Saw, ...]:
        return tuple(Saw(*row) for row in self._rows("saws", Saw))

    def blades(self) -> tuple[Blade, ...]:
        return tuple(Blade(*row) for row in self._rows("blades", Blade))

    def _rows(self, name: str, record: type) -> Sequence:
        table = LOADED[name]
        columns = [table.c[field.name] for field in fields(record)]
        return self.connection.execute(select(*columns).order_by(table.c.row_order)).all()

    def acts(self, object_type: str, object_id: str, *, kinds: Collection[str]) -> tuple[Stored, ...]:
        """Events of these kinds, and corrections, about one saw or blade, in the order of the ledger."""
        wanted = (
            select(EVENTS.c.record, EVENTS.c.prev_hash, EVENTS.c.hash)
            .where(EVENTS.c.object_type == object_type, EVENTS.c.object_id == object_id)
            .where(EVENTS.c.kind.in_(sorted({*kinds, "corrected"})))
            .order_by(EVENTS.c.seq)
        )
        return tuple(
            stored_event(row.record, prev_hash=row.prev_hash, own_hash=row.hash)
            for row in self.connection.execute(wanted)
        )

    def cut_numbers(
        self, saw: str, *, since: str = "", before: str | None = None, newest: int | None = None
    ) -> tuple[tuple[str, str], ...]:
        """(number, captured_at) of acts that say a bag was cut on this saw, in order of time; only the `newest` when given."""
        wanted = select(SAW_CUTS.c.number, SAW_CUTS.c.captured_at).where(
            SAW_CUTS.c.saw == saw, SAW_CUTS.c.captured_at >= since
        )
        if before is not None:
            wanted = wanted.where(SAW_CUTS.c.captured_at < before)
        wanted = wanted.order_by(SAW_CUTS.c.captured_at.desc(), SAW_CUTS.c.seq.desc())
        rows = self.connection.execute(wanted if newest is None else wanted.limit(newest)).all()
        return tuple((row.number, row.captured_at) for row in reversed(rows))

    def saws_named(self) -> tuple[str, ...]:
        """Every saw that a cut ever named, by name."""
        return tuple(self.connection.execute(select(SAW_CUTS.c.saw).distinct().order_by(SAW_CUTS.c.saw)).scalars())


def note_cuts(connection: Connection, written: Sequence[tuple[int, Event]]) -> None:
    """Note which saw each of these new events names, cuts and corrections of bags; called as the ledger writes them."""
    rows = [
        (seq, event.values["saw"], event.object_id, event.captured_at)
        for seq, event in written
        if event.object_type == "bag" and event.values.get("saw")
    ]
    insert_rows(connection, SAW_CUTS, CUT_COLUMNS, rows)
