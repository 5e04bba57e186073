"""Saws in a test yard: a register, a clock that is set, and acts with their times."""

from __future__ import annotations

import io
import itertools
from datetime import UTC, datetime, timedelta

import polars

from trayside.app.identity import uuid7
from trayside.app.maintain_saw import fit_blade, log_act
from trayside.app.office_acts import Desk, Signer
from trayside.app.prestart import sign_card, view_card
from trayside.app.record_events import record
from trayside.app.saw_state import SawNow, read_saw, saw_named, saw_now
from trayside.app.saw_views import SawView, saw_view
from trayside.app.yard_rules import rules_of
from trayside.files.columns import TYPES
from trayside.model.event import Event, moment_text
from trayside.model.tables import BY_NAME

MORNING = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)
SAWS = (
    "saw,kind,spindle_rpm,largest_blade_mm,flange_diameter_mm,water,water_low_l_min,water_high_l_min\n"
    "A-1,automatic,1425,400,100,recirculated,3,5\n"
    "M-1,manual,2850,350,100,fresh,,\n"
    "S-1,splitter,,,,,,\n"
)
# 24 segments 40 x 3.2 x 10 mm: saw register of an invented yard.
BLADES = (
    "blade,blade_type,diameter_mm,segment_height_mm,stamped_rpm,segments,segment_length_mm,segment_width_mm,kerf_mm,bond,price,lead_days\n"
    "B-1,T350,350,10,4365,24,40,3.2,3,medium,180,12\n"
    "B-2,T350,350,10,4365,24,40,3.2,3,medium,180,12\n"
    "B-3,T350,350,10,,24,40,3.2,3,medium,,\n"
    "B-4,T350,350,10,2600,24,40,3.2,3,medium,,\n"
    "B-5,T450,450,12,3400,30,40,3.6,3.4,soft,,\n"
)


class SawFloor:
    """The saws of one store; `yard` is any test yard that can start work."""

    def __init__(self, yard, *, now: datetime = MORNING, register: bool = True) -> None:
        self.yard, self.now, self.made = yard, now, itertools.count(1)
        if register:
            self.load()

    def load(self, *, saws: str = SAWS, blades: str = BLADES) -> None:
        """Put the two tables into the store as a load of a folder would."""
        with self.yard.start_work() as work:
            for name, text in (("saws", saws), ("blades", blades)):
                types = {column.name: TYPES[column.kind][0] for column in BY_NAME[name].columns}
                frame = polars.read_csv(io.StringIO(text), schema_overrides=types)
                absent = [polars.lit(None, dtype=types[name]).alias(name) for name in types.keys() - set(frame.columns)]
                work.replace_shared(name, frame.with_columns(absent).select(list(types)), f"digest of {text}")
            work.commit()

    def rules(self, text: str) -> None:
        with self.yard.start_work() as work:
            work.set_rules(text)
            work.commit()

    # time

    def clock(self) -> datetime:
        return self.now

    def later(self, *, minutes: float = 0, hours: float = 0, days: float = 0) -> None:
        self.now += timedelta(minutes=minutes, hours=hours, days=days)

    def make_id(self) -> str:
        return uuid7(milliseconds=int(self.now.timestamp() * 1000), random_bytes=next(self.made).to_bytes(10))

    def desk(self, person: str = "Demo operator") -> Desk:
        return Desk(Signer(person, "office"), self.clock, self.make_id)

    # acts

    def fit(self, saw: str = "A-1", blade: str = "B-1", *, stamp_rpm: int | None = None, **more) -> None:
        self.later(minutes=1)
        fit_blade(saw, blade, stamp_rpm=stamp_rpm, desk=self.desk(), start_work=self.yard.start_work, **more)

    def log(self, kind: str, saw: str = "A-1", **more) -> None:
        self.later(minutes=1)
        log_act(saw, kind, desk=self.desk(), start_work=self.yard.start_work, **more)

    def sign(self, saw: str = "A-1", *, person: str = "Demo operator", **answers: str) -> tuple[str, ...]:
        """Everything is all right but what is named here."""
        self.later(minutes=1)
        with self.yard.start_work(writing=False) as work:
            card = view_card(work, saw, now=self.now)
        given = {item.key: answers.get(item.key, "ok") for item in card.items}
        return sign_card(
            saw, given, remarks={}, card=card.print, desk=self.desk(person), start_work=self.yard.start_work
        )

    def cut(self, row, *, hole_id: str, saw: str = "A-1", minutes: float = 5.0, lasted_s: int | None = None, **more) -> Event:
        """The row is staged and cut on this saw, `minutes` after the act before."""
        self.later(minutes=minutes)
        values = {"method": row.method, "saw": saw} | ({"lasted_s": lasted_s} if lasted_s else {})
        event = Event(
            event_id=self.make_id(), kind="cut", object_type="bag", object_id=row.number, person="Demo operator",
            device="tablet 1", captured_at=moment_text(self.now), utc_offset_min=0, software="test", hole_id=hole_id,
            tray=row.from_place.tray, values=values, **more,
        )  # fmt: skip
        (answer,) = record([event], start_work=self.yard.start_work, clock=self.clock)
        assert answer.status == "stored", answer
        return event

    # looking

    def now_of(self, saw: str = "A-1") -> SawNow:
        with self.yard.start_work(writing=False) as work:
            return saw_now(work, read_saw(work, saw_named(work, saw)), rules=rules_of(work), now=self.now)

    def stops(self, saw: str = "A-1") -> list[str]:
        return [stop.code for stop in self.now_of(saw).stops]

    def view(self, saw: str = "A-1") -> SawView:
        with self.yard.start_work(writing=False) as work:
            return saw_view(work, saw, now=self.now)[1]


def make_ready(yard, *, saw: str = "SAW-1", blade: str = "D-11") -> None:
    """A saw of the demo yard with a blade and a passed card, by the clock on the wall; the card is one of a shift."""
    with yard.start_work() as work:
        work.set_rules(f'{work.rules_text()}\n[saws]\ncard_for = "shift"\nshift_h = 20\n')
        work.commit()
    floor = SawFloor(yard, now=datetime.now(UTC) - timedelta(minutes=3), register=False)
    floor.fit(saw, blade)
    floor.sign(saw)
