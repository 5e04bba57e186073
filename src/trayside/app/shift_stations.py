"""Metres that wait at each station of the yard, and when they will be done if the saws go on as planned.

Before the saw everything goes through the saws, in the order of the stations, at the pace of the plan. Behind the saw one
person does one bag after another. What nobody planned yet is taken to be sampled as much as what was.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from trayside.app.ports import Work
from trayside.app.shift import moment_in
from trayside.app.yard_rules import rules_of
from trayside.model.shift import SavedPlan

BEFORE_THE_SAW = ("to issue", "to plan", "to settle")


@dataclass(frozen=True, slots=True)
class StationAhead:
    """One station: metres of core (or bags) that wait, and when the last is done; `shift` 0 is the plan's own."""

    station: str
    metres: float
    bags: int | None
    done_at: datetime | None
    shift: int | None
    about: bool = False
    """Whether the metres are a guess from what was planned elsewhere."""


def stations_ahead(work: Work, plan: SavedPlan | None, *, now: datetime) -> tuple[StationAhead, ...]:
    """Every station at which something waits, in the order of the road; no times without a plan."""
    rules = rules_of(work)
    found = []
    minute, pace = _end_and_pace(plan)
    waiting = sum(one.metres for one in work.shifts.holes_to_cut())
    planned = sum(line.metres for line in plan.lines) if plan else 0.0
    found.append(_through_saws("to cut", waiting, minute, max(0.0, waiting - planned), pace, plan))
    ahead = max(0.0, waiting - planned)
    for station, metres, about in _upstream(work):
        ahead += metres
        found.append(_through_saws(station, metres, minute, ahead, pace, plan, about=about))
    found.reverse()
    begin = now if plan is None else max(now, plan.hours.begins_at)
    for station, (bags, metres) in work.shifts.bags_waiting().items():
        if station == "to send":
            lorry = moment_in(plan.hours, plan.request.lorry_at) if plan and plan.request.lorry_at else None
            found.append(StationAhead(station, metres, bags, lorry, 0 if lorry else None))
        else:
            begin += timedelta(minutes=bags * rules.shift.bag_minutes)
            found.append(StationAhead(station, metres, bags, begin, 0))
    return tuple(one for one in found if one.metres > 0.0 or one.bags)


def _end_and_pace(plan: SavedPlan | None) -> tuple[float, float]:
    """When the plan's last saw is done, and metres that all its saws cut in a minute."""
    if plan is None or plan.figures is None:
        return 0.0, 0.0
    begin = min(saw.ready_min for saw in plan.saws)
    minutes = plan.figures.finish_min - begin
    return plan.figures.finish_min, sum(line.metres for line in plan.lines) / minutes if minutes > 0.0 else 0.0


def _through_saws(
    station: str, metres: float, minute: float, ahead: float, pace: float, plan: SavedPlan | None, *, about: bool = False
) -> StationAhead:
    """Done when everything ahead of it and itself went through the saws behind the plan."""
    if plan is None or pace <= 0.0:
        return StationAhead(station, metres, None, None, None, about)
    done = minute + ahead / pace
    return StationAhead(station, metres, None, plan.hours.at(done), plan.hours.shift_of(done), about)


def _upstream(work: Work) -> list[tuple[str, float, bool]]:
    """Metres that will come to the saws from each station before them."""
    drafted = work.shifts.drafted_metres()
    page = work.station_page(first=0, count=10**6)
    metres = dict.fromkeys(BEFORE_THE_SAW, 0.0)
    guessed = dict.fromkeys(BEFORE_THE_SAW, False)
    drilled = sum(row.total_depth_mm for row in page.rows if row.hole_id in drafted) / 1000.0
    share = sum(drafted.values()) / drilled if drilled > 0.0 else 1.0
    for row in page.rows:
        if row.station not in metres or row.revision:
            continue
        if row.hole_id in drafted:
            metres[row.station] += drafted[row.hole_id]
        else:
            metres[row.station] += share * row.total_depth_mm / 1000.0
            guessed[row.station] = True
    return [(station, metres[station], guessed[station]) for station in BEFORE_THE_SAW if metres[station] > 0.0]
