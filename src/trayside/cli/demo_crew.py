"""An invented crew that cuts, bags and weighs the bags of an issued sheet; the demo and the journeys plant faults in it."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from math import log

import numpy as np

from trayside.app.bag_views import hole_bags
from trayside.app.bench_causes import portion_masses_kg
from trayside.app.bench_sheet import keeps_core
from trayside.app.identity import uuid7
from trayside.app.office_acts import SOFTWARE, Desk, Signer
from trayside.app.ports import StartWork
from trayside.app.record_events import record
from trayside.app.yard_rules import rules_of
from trayside.errors import RefusedByRule
from trayside.model.cut_sheet import SheetRow
from trayside.model.event import Event, moment_text, tray_object

SCATTER = 0.6
"""Share of the predicted standard deviation that the true masses scatter by: the rest is common to a rock."""
MINUTES_PER_METRE = {"QZV": 4.6, "DOL": 4.0, "ALT": 2.9, "GWK": 3.1, "SLT": 2.7, "WTH": 2.0}
"""Invented: what the blade needs in each rock of the demo yard; another rock takes 3."""
HANDLING_S = 95
AT_ONCE = 500


@dataclass
class Floor:
    """Where the crew stands: the store, a clock that runs on by 20 seconds at every look, and ids made from it."""

    start_work: StartWork
    now: datetime
    made: int = 0

    def clock(self) -> datetime:
        self.now += timedelta(seconds=20)
        return self.now

    def make_id(self) -> str:
        self.made += 1
        return uuid7(milliseconds=int(self.now.timestamp() * 1000), random_bytes=self.made.to_bytes(10))

    def desk(self, person: str = "Demo QC") -> Desk:
        return Desk(Signer(person, "office"), self.clock, self.make_id)


@dataclass
class Crew:
    """Who does what to which bag, and the mass each bag really has; faults are planted by changing these."""

    floor: Floor
    hole_id: str
    seed: int = 1
    saw: str = "SAW-1"
    operator: dict[str, str] = field(default_factory=dict)
    mass_g: dict[str, int] = field(default_factory=dict)
    without_flush: set[str] = field(default_factory=set)
    unfinished: set[str] = field(default_factory=set)
    last_cut: SheetRow | None = None

    def __post_init__(self) -> None:
        with self.floor.start_work(writing=False) as work:
            bags = hole_bags(work, self.hole_id)
            self.stock, self.rules = work.stock(), rules_of(work)
        self.rows = tuple(bag.row for bag in bags.bags)
        self.tray = {bag.number: bag.tray for bag in bags.bags}
        self.sheet_id = bags.sheet_id
        self.chance = np.random.default_rng(self.seed)
        for row in self.rows:
            sd = (row.high_kg - row.low_kg) / (2 * self.rules.mass.coverage * row.expected_kg)
            scattered = row.expected_kg * 1000 * float(np.exp(self.chance.normal(0, SCATTER * sd)))
            self.mass_g[row.number] = max(1, round(scattered))
            self.operator[row.number] = "Demo operator"

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
        for tray in wanted:
            name = tray_object(self.hole_id, tray)
            here = [row for row in self.rows if self.tray[row.number] == tray]
            if not here:
                continue
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
                before = self.last_cut
                if before is not None and before.grade_class in high and row.duplicate_of != before.number:
                    values = {"material": "quarry granite", "after": before.number, "before": row.number}
                    if before.number not in self.without_flush:
                        events.append(self._act("flush_cut", "saw", self.saw, who, tray, values))
                lasted_s = self._lasted_s(row)
                self.floor.now += timedelta(seconds=lasted_s)
                values = {"method": row.method, "saw": self.saw, "lasted_s": lasted_s}
                values |= {"side": row.side} if row.side else {}
                events.append(self._act("cut", *bag, who, tray, values))
                events.append(self._act("bagged", *bag, who, tray, {"tag": row.number}))
                values = {"mass_g": self.mass_g[row.number], "read": "scale", "moisture": "wet"}
                events.append(self._act("weighed", *bag, who, tray, values))
                if keeps_core(row, twin=twin_of.get(row.number)):
                    events.append(self._act("kept_half_returned", *bag, who, tray))
                self.last_cut = row
            if not any(row.number in self.unfinished for row in here):
                counts = {"bags": len(here), "tickets": len(here)}
                events.append(self._act("tray_closed", "tray", name, who, tray, counts))
        return events

    def _lasted_s(self, row: SheetRow) -> int:
        minutes = MINUTES_PER_METRE.get(row.rock, 3.0) * row.recovered_mm / 1000
        return round(HANDLING_S + 60 * minutes * float(np.exp(self.chance.normal(0, 0.12))))

    def _act(self, kind, object_type, object_id, person, tray, values=None) -> Event:
        return Event(
            event_id=self.floor.make_id(),
            kind=kind,
            object_type=object_type,
            object_id=object_id,
            person=person,
            device="tablet 1",
            captured_at=moment_text(self.floor.clock()),
            utc_offset_min=0,
            software=SOFTWARE,
            hole_id=self.hole_id,
            tray=tray,
            sheet_id=self.sheet_id,
            revision=1,
            values=values or {},
        )

    def work_through(self, trays: Iterable[int] | None = None) -> None:
        """Do it and have it recorded; RefusedByRule when the ledger does not take an act as it is."""
        events = self.events(trays)
        for first in range(0, len(events), AT_ONCE):
            answers = record(
                events[first : first + AT_ONCE], start_work=self.floor.start_work, clock=self.floor.clock
            )
            odd = [one for one in answers if one.standing != "stands"]
            if odd:
                raise RefusedByRule(
                    f"{len(odd)} acts do not stand: {odd[0].why}", where=self.hole_id, remedy="Look at the acts before them"
                )


def neighbours(
    rows: tuple[SheetRow, ...], fits: Callable[[SheetRow, SheetRow], bool]
) -> list[tuple[SheetRow, SheetRow]]:
    """Pairs of neighbouring rows of the sheet for which this holds."""
    return [(one, other) for one, other in itertools.pairwise(rows) if fits(one, other)]


def ordinary(row: SheetRow) -> bool:
    """A half, sawn, that no duplicate shares: what most bags are."""
    return row.kind == "sample" and row.portion == "half" and bool(row.side) and row.duplicate_type is None


@dataclass(frozen=True, slots=True)
class BenchFaults:
    """What was planted: numbers exchanged, exchanged unseen, of the other half, slipped, and cut without a flush after."""

    swapped: tuple[str, str]
    alike: tuple[str, str]
    halves: tuple[str, ...]
    slipped: tuple[str, ...]
    rich: str


def plant_bench_faults(crew: Crew, *, second_operator: str) -> BenchFaults:
    """Plant one of each fault of the bench in a hole, apart from each other."""
    rows = crew.rows
    unequal = neighbours(
        rows, lambda a, b: ordinary(a) and ordinary(b) and abs(log(a.expected_kg / b.expected_kg)) > log(1.6)
    )
    swapped = tuple(row.number for row in unequal[0])
    equal = neighbours(rows, lambda a, b: ordinary(a) and ordinary(b) and a.expected_kg == b.expected_kg)
    alike = next(tuple(row.number for row in pair) for pair in equal if pair[0].number not in _near(rows, *swapped))
    halves = tuple(row.number for row in rows if ordinary(row) and row.seq > rows[len(rows) // 2].seq)[:22]
    taken = {*_near(rows, *swapped), *_near(rows, *alike), *_near(rows, *halves)}
    slipped = next(
        tuple(row.number for row in stretch)
        for stretch in (rows[at : at + 6] for at in range(len(rows) - 6))
        if not {row.number for row in stretch} & taken
        and all(ordinary(row) for row in stretch)  # the halves of a pair differ as the two halves of a cut do
        and sum(abs(a.expected_kg / b.expected_kg - 1) > 0.25 for a, b in itertools.pairwise(stretch)) >= 4
    )
    rich = next(row.number for row in rows if row.grade_class == "visible")
    crew.swap(*swapped)
    crew.swap(*alike)
    crew.slip(list(slipped))
    crew.other_half(halves, second_operator)
    crew.without_flush.add(rich)
    return BenchFaults(swapped, alike, halves, slipped, rich)


def _near(rows, *taken: str, margin: int = 3) -> set[str]:
    """Numbers within `margin` rows of those already planted."""
    places = {row.number: at for at, row in enumerate(rows)}
    near = set()
    for number in taken:
        near |= {row.number for row in rows[max(0, places[number] - margin) : places[number] + margin + 1]}
    return near
