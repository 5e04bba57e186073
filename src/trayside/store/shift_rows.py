"""Shift plans in the store, and which holes still have core to cut."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, fields
from datetime import UTC, datetime
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from sqlalchemy import Connection, Exists, Integer, and_, case, exists, func, insert, select
from sqlalchemy import cast as sql_cast

from trayside.app.shift_ports import HoleWaiting
from trayside.errors import NotFound
from trayside.model.shift import SavedPlan

from .schema import EVENTS, LOADS, SACK_BAGS, SACKS, SHEET_REVISIONS, SHEET_ROWS, SHEETS
from .schema_shifts import SHIFT_PLANS

BEHIND_THE_SAW = ("to bag", "to weigh", "to pack", "to send")
NEWEST = and_(SHEETS.c.sheet_id == SHEET_ROWS.c.sheet_id, SHEETS.c.revision == SHEET_ROWS.c.revision)
OF_CORE = SHEET_ROWS.c.kind.in_(("sample", "duplicate"))
LENGTH_MM = func.coalesce(SHEET_ROWS.c.recovered_mm, SHEET_ROWS.c.to_mm - SHEET_ROWS.c.from_mm)


@dataclass(frozen=True, slots=True)
class SqlShifts:
    """`app.shift_ports.ShiftRows` inside one transaction."""

    connection: Connection

    def add(self, plan: SavedPlan) -> None:
        serial = (self.connection.execute(select(func.max(SHIFT_PLANS.c.serial))).scalar_one() or 0) + 1
        values = {
            "plan_id": plan.plan_id,
            "serial": serial,
            "day": plan.day,
            "made_at": plan.made_at,
            "made_by": plan.made_by,
            "replaces": plan.replaces,
            "record": json.dumps(asdict(plan), default=_moment_text, ensure_ascii=False),
        }
        self.connection.execute(insert(SHIFT_PLANS).values(values))

    def plan(self, plan_id: str) -> SavedPlan:
        record = self.connection.execute(
            select(SHIFT_PLANS.c.record).where(SHIFT_PLANS.c.plan_id == plan_id)
        ).scalar_one_or_none()
        if record is None:
            raise NotFound("there is no such shift plan", where=plan_id[:40], remedy="Look at the Shift screen")
        return _built(SavedPlan, json.loads(record))

    def newest(self, day: str | None = None) -> SavedPlan | None:
        wanted = select(SHIFT_PLANS.c.record).order_by(SHIFT_PLANS.c.serial.desc()).limit(1)
        if day is not None:
            wanted = wanted.where(SHIFT_PLANS.c.day == day)
        record = self.connection.execute(wanted).scalar_one_or_none()
        return None if record is None else _built(SavedPlan, json.loads(record))

    def made(self, *, count: int) -> tuple[tuple[str, str, str, str | None], ...]:
        plans = SHIFT_PLANS.c
        wanted = select(plans.plan_id, plans.day, plans.made_by, plans.replaces)
        return tuple(tuple(row) for row in self.connection.execute(wanted.order_by(plans.serial.desc()).limit(count)))

    def holes_to_cut(self) -> tuple[HoleWaiting, ...]:
        first_issue = (
            select(SHEET_REVISIONS.c.sheet_id, func.min(SHEET_REVISIONS.c.issued_at).label("issued_at"))
            .group_by(SHEET_REVISIONS.c.sheet_id)
            .subquery()
        )
        waiting = (
            select(
                SHEETS.c.hole_id,
                func.count(SHEET_ROWS.c.from_tray.distinct()),
                sql_cast(func.sum(case((SHEET_ROWS.c.kind == "sample", LENGTH_MM), else_=0)), Integer),
            )
            .join(SHEET_ROWS, NEWEST)
            .join(first_issue, first_issue.c.sheet_id == SHEETS.c.sheet_id)
            .where(SHEETS.c.revision > 0, OF_CORE, ~_done("cut"), ~_done("voided"))
            .group_by(SHEETS.c.hole_id, first_issue.c.issued_at)
            .order_by(first_issue.c.issued_at, SHEETS.c.hole_id)
        )
        rows = self.connection.execute(waiting)
        return tuple(HoleWaiting(hole_id, trays, (mm or 0) / 1000.0) for hole_id, trays, mm in rows)

    def bags_waiting(self) -> dict[str, tuple[int, float]]:
        packed = exists().where(SACK_BAGS.c.number == SHEET_ROWS.c.number)
        sent = exists().where(
            SACK_BAGS.c.number == SHEET_ROWS.c.number,
            SACKS.c.sack_id == SACK_BAGS.c.sack_id,
            LOADS.c.load_id == SACKS.c.load_id,
            LOADS.c.sent_at.is_not(None),
        )
        step = case(
            (sent, "gone"),
            (packed, "to send"),
            (_done("weighed"), "to pack"),
            (_done("bagged"), "to weigh"),
            (_done("cut"), "to bag"),
            else_="to cut",
        ).label("step")
        each = (
            select(step, LENGTH_MM.label("length_mm"))
            .join(SHEETS, NEWEST)
            .where(SHEETS.c.revision > 0, OF_CORE, ~_done("voided"))
            .subquery()
        )
        counted = select(each.c.step, func.count(), sql_cast(func.sum(each.c.length_mm), Integer)).group_by(each.c.step)
        found = {step: (bags, (mm or 0) / 1000.0) for step, bags, mm in self.connection.execute(counted)}
        return {step: found[step] for step in BEHIND_THE_SAW if step in found}

    def drafted_metres(self) -> dict[str, float]:
        """Rows of revision 0 are those of the draft."""
        wanted = (
            select(SHEETS.c.hole_id, sql_cast(func.sum(LENGTH_MM), Integer))
            .join(SHEET_ROWS, SHEETS.c.sheet_id == SHEET_ROWS.c.sheet_id)
            .where(SHEET_ROWS.c.revision == 0, SHEET_ROWS.c.kind == "sample")
            .group_by(SHEETS.c.hole_id)
        )
        return {hole_id: (mm or 0) / 1000.0 for hole_id, mm in self.connection.execute(wanted)}


def _done(kind: str) -> Exists:
    """Somebody said of this bag that it was cut, bagged, ..."""
    return exists().where(
        EVENTS.c.object_type == "bag", EVENTS.c.object_id == SHEET_ROWS.c.number, EVENTS.c.kind == kind
    )


def _moment_text(value: object) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    raise TypeError(f"{type(value).__name__} is not kept in a record")


def _built(kind: Any, value: Any) -> Any:
    """What `asdict` and JSON made of a record of ours, put together again by the types of its fields."""
    origin, arguments = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        if value is None:
            return None
        (kind,) = (one for one in arguments if one is not NoneType)
        return _built(kind, value)
    if origin is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return tuple(_built(arguments[0], one) for one in value)
        return tuple(_built(one, each) for one, each in zip(arguments, value, strict=True))
    if kind is datetime:
        return datetime.fromisoformat(value)
    if hasattr(kind, "__dataclass_fields__"):
        hints = get_type_hints(kind)
        return kind(**{one.name: _built(hints[one.name], value[one.name]) for one in fields(kind) if one.name in value})
    return value
