"""Sacks, loads and received lists."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from datetime import datetime

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.model.finding import Finding
from trayside.model.load import Load, Receipt, ReceivedLine, Request, Sack

from .bulk import BATCH_NAMES, in_batches
from .schema import EVENTS, LOADS, RECEIPTS, SACK_BAGS, SACKS, SAMPLE_NUMBERS, SHEETS


class SqlLoads:
    """`app.load_ports.LoadRows` inside one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # sacks

    def new_sack_ids(self, count: int) -> tuple[str, ...]:
        highest = self._connection.execute(select(func.max(SACKS.c.serial))).scalar_one() or 0
        return tuple(f"SK-{highest + 1 + place:05d}" for place in range(count))

    def add_sacks(self, sacks: Sequence[Sack]) -> None:
        taken = self.sack_of(number for sack in sacks for number in sack.numbers)
        if taken:
            number, sack_id = min(taken.items())
            raise RefusedByRule(
                f"{number} is in sack {sack_id} already", where="sacks", remedy="Look at the sacks that are there"
            )
        for sack in sacks:
            values = {
                "sack_id": sack.sack_id,
                "serial": int(sack.sack_id.rpartition("-")[2]),
                "load_id": sack.load_id,
                "packed_at": sack.packed_at,
                "packed_by": sack.packed_by,
                "says": sack.says,
                "undone_by": "",
            }
            self._connection.execute(insert(SACKS).values(values))
            rows = [
                {"number": number, "sack_id": sack.sack_id, "place": place}
                for place, number in enumerate(sack.numbers, start=1)
            ]
            self._connection.execute(insert(SACK_BAGS), rows)

    def undo_sack(self, sack_id: str, *, at: datetime, by: str) -> None:
        self._connection.execute(delete(SACK_BAGS).where(SACK_BAGS.c.sack_id == sack_id))
        self._connection.execute(
            update(SACKS).where(SACKS.c.sack_id == sack_id).values(undone_at=at, undone_by=by, load_id=None)
        )

    def leave_out(self, sack_id: str, numbers: Iterable[str]) -> None:
        mine = (SACK_BAGS.c.sack_id == sack_id) & SACK_BAGS.c.number.in_(list(numbers))
        self._connection.execute(delete(SACK_BAGS).where(mine))

    def sack(self, sack_id: str) -> Sack:
        found = self._sacks(SACKS.c.sack_id == sack_id)
        if not found:
            raise NotFound("there is no such sack", where=sack_id[:40], remedy="Look at the sacks on the Loads screen")
        return found[0]

    def sacks(self, load_id: str | None = None) -> tuple[Sack, ...]:
        return self._sacks(SACKS.c.serial > 0 if load_id is None else SACKS.c.load_id == load_id)

    def free_sacks(self) -> tuple[Sack, ...]:
        return self._sacks(SACKS.c.load_id.is_(None))

    def sack_of(self, numbers: Iterable[str]) -> dict[str, str]:
        found: dict[str, str] = {}
        for batch in in_batches(sorted(set(numbers)), BATCH_NAMES):
            wanted = select(SACK_BAGS.c.number, SACK_BAGS.c.sack_id).where(SACK_BAGS.c.number.in_(batch))
            found |= {row.number: row.sack_id for row in self._connection.execute(wanted)}
        return found

    def set_load(self, sack_ids: Iterable[str], load_id: str | None) -> None:
        for batch in in_batches(sack_ids, BATCH_NAMES):
            self._connection.execute(update(SACKS).where(SACKS.c.sack_id.in_(batch)).values(load_id=load_id))

    def _sacks(self, condition) -> tuple[Sack, ...]:
        kept = condition & SACKS.c.undone_at.is_(None)
        rows = self._connection.execute(select(SACKS).where(kept).order_by(SACKS.c.serial)).all()
        bags: dict[str, list[str]] = {row.sack_id: [] for row in rows}
        held = (
            select(SACK_BAGS.c.sack_id, SACK_BAGS.c.number)
            .join(SACKS, SACKS.c.sack_id == SACK_BAGS.c.sack_id)
            .where(kept)
            .order_by(SACK_BAGS.c.sack_id, SACK_BAGS.c.place)
        )
        for row in self._connection.execute(held):
            bags[row.sack_id].append(row.number)
        return tuple(
            Sack(row.sack_id, tuple(bags[row.sack_id]), row.packed_at, row.packed_by, row.says, row.load_id)
            for row in rows
        )

    # loads

    def new_load_id(self) -> str:
        highest = self._connection.execute(select(func.max(LOADS.c.serial))).scalar_one() or 0
        return f"LD-{highest + 1:04d}"

    def load(self, load_id: str) -> Load:
        row = self._connection.execute(select(LOADS).where(LOADS.c.load_id == load_id)).one_or_none()
        if row is None:
            raise NotFound("there is no such load", where=load_id[:40], remedy="Look at the loads on the Loads screen")
        return _load(row)

    def loads(self) -> tuple[Load, ...]:
        return tuple(_load(row) for row in self._connection.execute(select(LOADS).order_by(LOADS.c.serial.desc())))

    def save_load(self, load: Load) -> Load:
        saved = replace(load, version=load.version + 1)
        values = {
            "version": saved.version,
            "request": _text(asdict(saved.request)),
            "made_at": saved.made_at,
            "made_by": saved.made_by,
            "sent_at": saved.sent_at,
            "sent_by": saved.sent_by,
            "statement": saved.statement,
            "ledger_seq": saved.ledger_seq,
            "ledger_hash": saved.ledger_hash,
            "digest": saved.digest,
            "findings": _text([asdict(finding) for finding in saved.findings]),
        }
        if load.version == 0:
            serial = int(load.load_id.rpartition("-")[2])
            self._connection.execute(insert(LOADS).values(load_id=load.load_id, serial=serial, **values))
            return saved
        mine = (LOADS.c.load_id == load.load_id) & (LOADS.c.version == load.version)
        if self._connection.execute(update(LOADS).where(mine).values(values)).rowcount != 1:
            raise ChangedMeanwhile(
                "somebody changed this load first", where=load.load_id, remedy="Look at it again, then do it once more"
            )
        return saved

    def holes_at_work(self) -> tuple[str, ...]:
        number = SAMPLE_NUMBERS.c.number
        packed = select(SACK_BAGS.c.number).where(SACK_BAGS.c.number == number).exists()
        told = select(EVENTS.c.seq).where((EVENTS.c.object_type == "bag") & (EVENTS.c.object_id == number)).exists()
        wanted = (
            select(SHEETS.c.hole_id)
            .join(SAMPLE_NUMBERS, SAMPLE_NUMBERS.c.sheet_id == SHEETS.c.sheet_id)
            .where(SAMPLE_NUMBERS.c.state == "issued", ~packed, told)
            .distinct()
            .order_by(SHEETS.c.hole_id)
        )
        return tuple(self._connection.execute(wanted).scalars())

    def racked_trays(self) -> tuple[str, ...]:
        placed = (EVENTS.c.object_type == "tray") & (EVENTS.c.kind == "rack_placed")
        wanted = select(EVENTS.c.object_id).where(placed).distinct().order_by(EVENTS.c.object_id)
        return tuple(self._connection.execute(wanted).scalars())

    # received lists

    def receipts(self, load_id: str) -> tuple[Receipt, ...]:
        wanted = (
            select(RECEIPTS)
            .where(RECEIPTS.c.load_id == load_id)
            .order_by(RECEIPTS.c.stored_at, RECEIPTS.c.receipt_id)
        )
        return tuple(_receipt(row) for row in self._connection.execute(wanted))

    def receipt(self, receipt_id: str) -> Receipt:
        row = self._connection.execute(select(RECEIPTS).where(RECEIPTS.c.receipt_id == receipt_id)).one_or_none()
        if row is None:
            raise NotFound("there is no such received list", where=receipt_id[:40], remedy="Look at the load again")
        return _receipt(row)

    def add_receipt(self, receipt: Receipt) -> None:
        values = asdict(receipt) | {
            "lines": _text([asdict(line) for line in receipt.lines]),
            "taken_as": _text(receipt.taken_as),
        }
        self._connection.execute(insert(RECEIPTS).values(values))

    def confirm_receipt(self, receipt: Receipt) -> None:
        mine = (RECEIPTS.c.receipt_id == receipt.receipt_id) & RECEIPTS.c.confirmed_at.is_(None)
        values = {
            "confirmed_at": receipt.confirmed_at,
            "confirmed_by": receipt.confirmed_by,
            "taken_as": _text(receipt.taken_as),
        }
        if self._connection.execute(update(RECEIPTS).where(mine).values(values)).rowcount != 1:
            raise ChangedMeanwhile(
                "this list was confirmed before", where=receipt.load_id, remedy="Look at the load again"
            )


def _load(row: Row) -> Load:
    request = json.loads(row.request)
    return Load(
        load_id=row.load_id,
        request=Request(**request | {"methods": tuple(request["methods"])}),
        version=row.version,
        made_at=row.made_at,
        made_by=row.made_by,
        sent_at=row.sent_at,
        sent_by=row.sent_by,
        statement=row.statement,
        ledger_seq=row.ledger_seq,
        ledger_hash=row.ledger_hash,
        digest=row.digest,
        findings=tuple(Finding(**one) for one in json.loads(row.findings)),
    )


def _receipt(row: Row) -> Receipt:
    held = dict(row._mapping)
    held["lines"] = tuple(ReceivedLine(**line) for line in json.loads(held["lines"]))
    held["taken_as"] = json.loads(held["taken_as"])
    return Receipt(**held)


def _text(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
