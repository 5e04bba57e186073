"""Answers for screens, read straight from the tables: the cost of a page does not grow with the yard."""

from __future__ import annotations

from sqlalchemy import Connection, select

from trayside.app.ports import StationPage, StationRow
from trayside.model.station import STATIONS

from .schema import HOLE_STATES, HOLES, STATION_TOTALS

ROW = (
    HOLE_STATES.c.hole_id,
    HOLES.c.area,
    *(HOLE_STATES.c[name] for name in ("total_depth_mm", "trays", "runs", "station", "stops", "warns", "notes")),
    *(HOLE_STATES.c[name] for name in ("samples", "controls", "revision")),
)


def station_page(connection: Connection, *, first: int, count: int, station: str | None = None) -> StationPage:
    """`count` holes by name after skipping `first`, of one station or of all; `total` is how many there are to page."""
    page = select(*ROW).join(HOLES, HOLES.c.hole_id == HOLE_STATES.c.hole_id).order_by(HOLE_STATES.c.hole_id)
    if station is not None:
        page = page.where(HOLE_STATES.c.station == station)
    rows = tuple(StationRow(*row) for row in connection.execute(page.limit(count).offset(first)))
    held = {row.station: (row.holes, row.core_mm) for row in connection.execute(select(STATION_TOTALS)) if row.holes}
    stations = {name: held[name] for name in STATIONS if name in held}
    total = sum(holes for name, (holes, _) in stations.items() if station in (None, name))
    return StationPage(rows=rows, total=total, stations=stations)
