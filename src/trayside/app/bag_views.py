"""Bags of issued sheets with what the ledger says of each: for packing, dispatch and the laboratory's door."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from trayside.app.bench_sheet import tray_of_rows
from trayside.app.ports import Work
from trayside.model.bag_states import ObjectState, machine_of, state_in_ledger
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Stored, tray_object


@dataclass(frozen=True, slots=True)
class Bag:
    """One bag: its row on the newest revision, its tray, where it stands, and the sack it is listed in."""

    hole_id: str
    row: SheetRow
    tray: int | None
    stands: ObjectState
    sack_id: str | None = None

    @property
    def number(self) -> str:
        return self.row.number

    @property
    def state(self) -> str:
        return self.stands.state

    @property
    def mass_g(self) -> int | None:
        """The last mass that counts; of a control also the one entered when it was inserted."""
        for kind in ("weighed", "inserted"):
            fact = self.stands.latest(kind)
            if fact is not None and fact.values.get("mass_g") is not None:
                return fact.values["mass_g"]
        return None

    @property
    def moisture(self) -> str:
        """How the core was when it was weighed; '' when nobody said."""
        fact = self.stands.latest("weighed")
        return str(fact.values.get("moisture") or "") if fact else ""

    @property
    def operator(self) -> str:
        """Who put the core into the bag, else who cut it."""
        fact = self.stands.latest("bagged") or self.stands.latest("cut")
        return fact.event.person if fact else ""

    @property
    def side_recorded(self) -> str:
        """The half that was said to be in the bag; '' when nobody said."""
        for kind in ("bagged", "cut"):
            fact = self.stands.latest(kind)
            if fact is not None and fact.values.get("side") in ("right", "left"):
                return fact.values["side"]
        return ""

    @property
    def ready(self) -> bool:
        """Weighed and closed, so that it may go into a sack."""
        return self.mass_g is not None and self.state in ("weighed", "inserted")


@dataclass(frozen=True, slots=True)
class HoleBags:
    """The bags of one hole's newest revision in sheet order, with its trays and the acts at the saw."""

    hole_id: str
    sheet_id: str
    revision: int
    bags: tuple[Bag, ...]
    trays: dict[int, ObjectState]
    saw_acts: tuple[Stored, ...]
    serials: dict[str, tuple[str, int]]

    def of_trays(self, trays: Iterable[int | None]) -> tuple[Bag, ...]:
        wanted = set(trays)
        return tuple(bag for bag in self.bags if bag.tray in wanted)


def hole_bags(work: Work, hole_id: str) -> HoleBags | None:
    """The bags of a hole as they stand; None while no sheet was issued."""
    sheet = work.sheet(hole_id)
    if sheet is None or not sheet.revision:
        return None
    rows = work.revision(hole_id, sheet.revision).rows
    tray_of = {row.number: tray for row, tray in zip(rows, tray_of_rows(rows), strict=True)}
    numbers = sorted({tray for tray in tray_of.values() if tray is not None})
    histories = work.events_of_objects(
        [("bag", row.number) for row in rows] + [("tray", tray_object(hole_id, tray)) for tray in numbers]
    )
    sack_of = work.loads.sack_of(row.number for row in rows)
    bags = tuple(
        Bag(
            hole_id,
            row,
            tray_of[row.number],
            state_in_ledger(histories.get(("bag", row.number), ()), machine=machine_of("bag", row.kind)),
            sack_of.get(row.number),
        )
        for row in rows
    )
    trays = {
        tray: state_in_ledger(histories.get(("tray", tray_object(hole_id, tray)), ()), machine="tray")
        for tray in numbers
    }
    return HoleBags(
        hole_id,
        sheet.sheet_id,
        sheet.revision,
        bags,
        trays,
        _saw_acts(work, hole_id, sheet.sheet_id, numbers),
        work.sheet_numbers(hole_id),
    )


def _saw_acts(work: Work, hole_id: str, sheet_id: str, trays: list[int]) -> tuple[Stored, ...]:
    """What was done at the saw while this sheet or one of its trays was named."""
    found = {one.event.event_id: one for one in work.events_of_sheet(sheet_id)}
    for tray in trays:
        found |= {one.event.event_id: one for one in work.events_of_tray(hole_id, tray)}
    settled = {one.event.corrects: one.event.values["verdict"] for one in found.values() if one.event.kind == "corrected"}
    return tuple(
        sorted(
            (
                one
                for one in found.values()
                if one.event.object_type == "saw"
                and one.event.kind in ("washed", "flush_cut")
                and settled.get(one.event.event_id) != "set_aside"
            ),
            key=lambda one: one.seq,
        )
    )


def ticket_order(bags: Iterable[Bag], serials: dict[str, tuple[str, int]]) -> list[Bag]:
    """By prefix and serial number, as the tickets lie in their books."""
    return sorted(bags, key=lambda bag: (serials.get(bag.number, (bag.number, 0)), bag.number))
