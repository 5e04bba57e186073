"""A core yard played out: an invented crew cuts, bags and weighs the bags of an issued sheet, with faults planted."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from trayside.app.bag_views import Bag, hole_bags
from trayside.app.bench_causes import portion_masses_kg
from trayside.app.bench_sheet import keeps_core
from trayside.app.identity import uuid7
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.office_acts import Desk, Signer
from trayside.app.plan_samples import plan_yard
from trayside.app.record_events import record
from trayside.files.yard_folder import read_yard_folder
from trayside.model.bag_states import Fact
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Event, moment_text, tray_object
from trayside.store.connection import open_store
from trayside.store.work import SqlWork

FOLDER = Path(__file__).resolve().parents[2] / "demo" / "vellin_ridge"
BEGUN = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)
SCATTER = 0.6
"""Share of the predicted standard deviation that the true masses scatter by: the rest is common to a rock."""


@dataclass
class Yard:
    """A store with the demo yard, a clock that runs, and ids."""

    path: Path
    now: datetime = BEGUN
    made: int = 0

    def __post_init__(self) -> None:
        self.engine = open_store(self.path)

    def start_work(self, *, writing: bool = True) -> SqlWork:
        return SqlWork(self.engine, writing=writing)

    def clock(self) -> datetime:
        self.now += timedelta(seconds=20)
        return self.now

    def make_id(self) -> str:
        self.made += 1
        return uuid7(milliseconds=int(self.now.timestamp() * 1000), random_bytes=self.made.to_bytes(10))

    def desk(self, person: str = "Demo QC") -> Desk:
        return Desk(Signer(person, "office"), self.clock, self.make_id)

    def issue(self, hole_id: str, *, folder: Path = FOLDER) -> tuple[SheetRow, ...]:
        load_yard(folder, read_folder=read_yard_folder, start_work=self.start_work)
        planned = plan_yard(start_work=self.start_work, make_id=self.make_id, hole_ids=(hole_id,))
        version = planned[hole_id].sheet.version
        revision = issue_cut_sheet(
            hole_id, version=version, issued_by="Demo geologist", start_work=self.start_work, clock=self.clock
        )
        return revision.rows

    def bags(self, hole_id: str) -> tuple[Bag, ...]:
        with self.start_work(writing=False) as work:
            return hole_bags(work, hole_id).bags


@dataclass
class Crew:
    """Who does what to which bag, and the mass each bag really has; faults are planted by changing these."""

    yard: Yard
    hole_id: str
    seed: int = 1
    operator: dict[str, str] = field(default_factory=dict)
    mass_g: dict[str, int] = field(default_factory=dict)
    without_flush: set[str] = field(default_factory=set)
    unfinished: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        with self.yard.start_work(writing=False) as work:
            bags = hole_bags(work, self.hole_id)
            self.stock, self.rules = work.stock(), self._rules(work)
        self.rows = tuple(bag.row for bag in bags.bags)
        self.tray = {bag.number: bag.tray for bag in bags.bags}
        self.sheet_id = bags.sheet_id
        chance = np.random.default_rng(self.seed)
        for row in self.rows:
            sd = (row.high_kg - row.low_kg) / (2 * self.rules.mass.coverage * row.expected_kg)
            self.mass_g[row.number] = max(1, round(row.expected_kg * 1000 * float(np.exp(chance.normal(0, SCATTER * sd)))))
            self.operator[row.number] = "Demo operator"

    @staticmethod
    def _rules(work):
        from trayside.app.yard_rules import rules_of

        return rules_of(work)

    def swap(self, one: str, other: str) -> None:
        self.mass_g[one], self.mass_g[other] = self.mass_g[other], self.mass_g[one]

    def slip(self, numbers: list[str]) -> None:
        """Each of these bags holds the core of the next one; the last holds what was left of the first."""
        masses = [self.mass_g[number] for number in numbers]
        for number, mass in zip(numbers, [*masses[1:], masses[0]], strict=True):
            self.mass_g[number] = mass

    def other_half(self, numbers: Iterable[str], operator: str) -> None:
        by_number = {row.number: row for row in self.rows}
        for number in numbers:
            row = by_number[number]
            other_kg = portion_masses_kg(row, stock=self.stock, rules=self.rules)["far_half"]
            self.mass_g[number] = round(self.mass_g[number] * other_kg / row.expected_kg)
            self.operator[number] = operator

    def events(self, trays: Iterable[int] | None = None) -> list[Event]:
        """Everything that happens at the bench, tray by tray."""
        high = {one.name for one in self.rules.grade_classes if one.high}
        twin_of = {row.duplicate_of: row for row in self.rows if row.duplicate_of}
        wanted = sorted(set(self.tray.values())) if trays is None else sorted(trays)
        events: list[Event] = []
        before: SheetRow | None = None
        for tray in wanted:
            name = tray_object(self.hole_id, tray)
            here = [row for row in self.rows if self.tray[row.number] == tray]
            who = self.operator[here[0].number]
            events.append(self._act("staged", "tray", name, who, tray))
            for row in here:
                who, bag = self.operator[row.number], ("bag", row.number)
                if row.number in self.unfinished:
                    continue
                if not row.is_core:
                    values = {"material": row.material, "mass_g": self.mass_g[row.number]}
                    events.append(self._act("inserted", *bag, "Demo QC", tray, values))
                    continue
                if before is not None and before.grade_class in high and row.duplicate_of != before.number:
                    values = {"material": "quarry granite", "after": before.number, "before": row.number}
                    if before.number not in self.without_flush:
                        events.append(self._act("flush_cut", "saw", "SAW-1", who, tray, values))
                values = {"method": row.method, "saw": "SAW-1"} | ({"side": row.side} if row.side else {})
                events.append(self._act("cut", *bag, who, tray, values))
                events.append(self._act("bagged", *bag, who, tray, {"tag": row.number}))
                values = {"mass_g": self.mass_g[row.number], "read": "scale", "moisture": "wet"}
                events.append(self._act("weighed", *bag, who, tray, values))
                if keeps_core(row, twin=twin_of.get(row.number)):
                    events.append(self._act("kept_half_returned", *bag, who, tray))
                before = row
            if not any(row.number in self.unfinished for row in here):
                counts = {"bags": len(here), "tickets": len(here)}
                events.append(self._act("tray_closed", "tray", name, who, tray, counts))
        return events

    def _act(self, kind, object_type, object_id, person, tray, values=None) -> Event:
        return Event(
            event_id=self.yard.make_id(),
            kind=kind,
            object_type=object_type,
            object_id=object_id,
            person=person,
            device="tablet 1",
            captured_at=moment_text(self.yard.clock()),
            utc_offset_min=0,
            software="journey",
            hole_id=self.hole_id,
            tray=tray,
            sheet_id=self.sheet_id,
            revision=1,
            values=values or {},
        )

    def work_through(self, trays: Iterable[int] | None = None) -> None:
        answers = record(self.events(trays), start_work=self.yard.start_work, clock=self.yard.clock)
        assert {answer.standing for answer in answers} == {"stands"}, [one for one in answers if one.standing != "stands"][:3]


def neighbours(rows: tuple[SheetRow, ...], fits: Callable[[SheetRow, SheetRow], bool]) -> list[tuple[SheetRow, SheetRow]]:
    """Pairs of neighbouring rows of the sheet for which this holds."""
    return [(one, other) for one, other in itertools.pairwise(rows) if fits(one, other)]


def ordinary(row: SheetRow) -> bool:
    """A half, sawn, that no duplicate shares: what most bags are."""
    return row.kind == "sample" and row.portion == "half" and bool(row.side) and row.duplicate_type is None


def said(facts: tuple[Fact, ...], kind: str) -> list[dict]:
    return [fact.values for fact in facts if fact.event.kind == kind]
