"""People's shifts: noise, silica, lifting, vibration as entered, every revision of it."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date

from sqlalchemy import Connection, Row, func, insert, select

from trayside.errors import ChangedMeanwhile
from trayside.model.exposure_record import (
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    RecordedShift,
    ShiftExposure,
    Surroundings,
    VibrationTask,
)

from .schema_safety import SHIFT_EXPOSURES


class SqlSafety:
    """`app.safety_ports.SafetyRows` inside one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def revisions(self, person_key: str, day: date) -> tuple[RecordedShift, ...]:
        table = SHIFT_EXPOSURES.c
        mine = (table.person_key == person_key) & (table.day == day.isoformat())
        wanted = select(SHIFT_EXPOSURES).where(mine).order_by(table.revision)
        return tuple(_recorded(row) for row in self._connection.execute(wanted))

    def newest(self, *, count: int, person_key: str | None = None) -> tuple[RecordedShift, ...]:
        mine = SHIFT_EXPOSURES.c.person_key == person_key if person_key is not None else None
        return self._newest(mine, count=count)

    def between(self, person_key: str, first: date, last: date) -> tuple[RecordedShift, ...]:
        table = SHIFT_EXPOSURES.c
        days = (table.day >= first.isoformat()) & (table.day <= last.isoformat())
        return self._newest((table.person_key == person_key) & days, count=None)

    def _newest(self, condition, *, count: int | None) -> tuple[RecordedShift, ...]:
        table = SHIFT_EXPOSURES.c
        newest = select(table.person_key, table.day, func.max(table.revision).label("revision"))
        if condition is not None:
            newest = newest.where(condition)
        newest = newest.group_by(table.person_key, table.day)
        newest = newest.order_by(table.day.desc(), table.person_key).limit(count).subquery()
        same = (
            (table.person_key == newest.c.person_key)
            & (table.day == newest.c.day)
            & (table.revision == newest.c.revision)
        )
        wanted = select(SHIFT_EXPOSURES).join(newest, same).order_by(table.day.desc(), table.person_key)
        return tuple(_recorded(row) for row in self._connection.execute(wanted))

    def add(self, recorded: RecordedShift, *, person_key: str) -> None:
        exposure = recorded.exposure
        there = self.revisions(person_key, exposure.day)
        if len(there) != recorded.revision - 1:
            raise ChangedMeanwhile(
                "somebody recorded this shift first",
                where=f"{exposure.person}, {exposure.day}",
                remedy="Look at it again, then enter what is missing",
            )
        content = asdict(exposure)
        del content["day"], content["person"]
        self._connection.execute(
            insert(SHIFT_EXPOSURES).values(
                person_key=person_key,
                day=exposure.day.isoformat(),
                revision=recorded.revision,
                person=exposure.person,
                recorded_at=recorded.recorded_at,
                recorded_by=recorded.recorded_by,
                reason=recorded.reason,
                content=json.dumps(content, ensure_ascii=False),
            )
        )


def _recorded(row: Row) -> RecordedShift:
    held = json.loads(row.content)
    lifting = held["lifting"]
    exposure = ShiftExposure(
        day=date.fromisoformat(row.day),
        person=row.person,
        shift_h=held["shift_h"],
        noise=tuple(NoiseTask(**one) for one in held["noise"]),
        protector=Protector(**held["protector"]) if held["protector"] else None,
        air=tuple(AirTask(**one) for one in held["air"]),
        long_shift=held["long_shift"],
        lifting=Lifting(
            lifts=tuple(Lift(**one) for one in lifting["lifts"]),
            work_h=lifting["work_h"],
            recovery_h=lifting["recovery_h"],
            place=Surroundings(**lifting["place"]),
        ),
        vibration=tuple(VibrationTask(**one) for one in held["vibration"]),
        remark=held["remark"],
    )
    return RecordedShift(exposure, row.revision, row.recorded_at, row.recorded_by, row.reason)
