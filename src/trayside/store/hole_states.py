"""The yard screen's line for each hole, and the totals a station, kept true by the transaction that changes a fact.

Every count is taken again from the tables it counts, so a state cannot drift from what it tells.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from sqlalchemy import Connection, Row, bindparam, func, select, text

from trayside.model.station import station

from .bulk import BATCH_NAMES, in_batches, insert_rows
from .schema import FINDINGS, HOLE_STATES, HOLES, LOADED, SHEET_ROWS, SHEETS

COUNTS = ("trays", "runs", "stops", "warns", "notes", "samples", "controls")
COLUMNS = ("hole_id", "digest", "station", "total_depth_mm", "core_mm", *COUNTS, "revision")
ADD_TOTALS = text(
    "INSERT INTO station_totals (station, holes, core_mm) VALUES (:station, :holes, :core_mm)"
    " ON CONFLICT (station) DO UPDATE SET holes = station_totals.holes + excluded.holes,"
    " core_mm = station_totals.core_mm + excluded.core_mm"
)


def add_states(connection: Connection, digests: dict[str, str]) -> None:
    """First states of new holes; `refresh_states` fills in what they hold."""
    if not digests:
        return
    first = station(stops=0, version=None, issued_version=None)
    rows = [(hole_id, digest, first, 0, 0, *(0 for _ in COUNTS), 0) for hole_id, digest in sorted(digests.items())]
    insert_rows(connection, HOLE_STATES, COLUMNS, rows)
    connection.execute(ADD_TOTALS, {"station": first, "holes": len(rows), "core_mm": 0})


def set_digests(connection: Connection, digests: dict[str, str]) -> None:
    """The loaded state that known holes now have."""
    if digests:
        connection.execute(
            SET_DIGEST, [{"of_hole": hole_id, "loaded": digests[hole_id]} for hole_id in sorted(digests)]
        )


def refresh_states(connection: Connection, hole_ids: Iterable[str]) -> None:
    """Count again what these holes hold, say where they stand, and move the totals with them."""
    holes_moved: Counter[str] = Counter()
    core_moved: Counter[str] = Counter()
    for batch in in_batches(sorted(hole_ids), BATCH_NAMES):
        changed = []
        for facts in connection.execute(FACTS, {"hole_ids": batch}):
            now = station(stops=facts.stops, version=facts.version, issued_version=facts.issued_version)
            changed.append(_state(facts, now))
            holes_moved[facts.station_before] -= 1
            holes_moved[now] += 1
            core_moved[facts.station_before] -= facts.core_before_mm
            core_moved[now] += facts.core_mm
        if changed:
            connection.execute(SET_STATE, changed)
    for name in sorted(holes_moved):
        if holes_moved[name] or core_moved[name]:
            moved = {"station": name, "holes": holes_moved[name], "core_mm": core_moved[name]}
            connection.execute(ADD_TOTALS, moved)


def _state(facts: Row, now: str) -> dict[str, object]:
    counts = {name: getattr(facts, name) for name in COUNTS}
    return {
        "of_hole": facts.hole_id,
        "station": now,
        "total_depth_mm": facts.total_depth_mm,
        "core_mm": facts.core_mm,
        "revision": facts.revision or 0,
        **counts,
    }


def _count(table, *conditions):
    """How many rows of the table meet the conditions, for the hole or sheet of the outer query."""
    return select(func.count()).select_from(table).where(*conditions).correlate(HOLES, SHEETS).scalar_subquery()


def _of_hole(table):
    return _count(table, table.c.hole_id == HOLES.c.hole_id)


def _cored_mm():
    """Metres drilled with a core barrel: a block that does not go deeper adds nothing."""
    runs = LOADED["runs"].c
    advance = func.coalesce(func.sum(runs.to_mm - runs.from_mm), 0)
    return (
        select(advance).where(runs.hole_id == HOLES.c.hole_id, runs.to_mm > runs.from_mm).correlate(HOLES)
    ).scalar_subquery()


def _findings(severity: str):
    return _count(FINDINGS, FINDINGS.c.hole_id == HOLES.c.hole_id, FINDINGS.c.severity == severity)


def _draft_rows(condition):
    return _count(SHEET_ROWS, SHEET_ROWS.c.sheet_id == SHEETS.c.sheet_id, SHEET_ROWS.c.revision == 0, condition)


FACTS = (
    select(
        HOLES.c.hole_id,
        HOLES.c.total_depth_mm,
        HOLE_STATES.c.station.label("station_before"),
        HOLE_STATES.c.core_mm.label("core_before_mm"),
        _cored_mm().label("core_mm"),
        SHEETS.c.version,
        SHEETS.c.issued_version,
        SHEETS.c.revision,
        _of_hole(LOADED["trays"]).label("trays"),
        _of_hole(LOADED["runs"]).label("runs"),
        _findings("stop").label("stops"),
        _findings("warn").label("warns"),
        _findings("note").label("notes"),
        _draft_rows(SHEET_ROWS.c.kind == "sample").label("samples"),
        _draft_rows(SHEET_ROWS.c.kind != "sample").label("controls"),
    )
    .select_from(HOLES.join(HOLE_STATES, HOLE_STATES.c.hole_id == HOLES.c.hole_id))
    .outerjoin(SHEETS, SHEETS.c.hole_id == HOLES.c.hole_id)
    .where(HOLES.c.hole_id.in_(bindparam("hole_ids", expanding=True)))
    .order_by(HOLES.c.hole_id)
)
SET_DIGEST = (
    HOLE_STATES.update().where(HOLE_STATES.c.hole_id == bindparam("of_hole")).values(digest=bindparam("loaded"))
)
SET_STATE = (
    HOLE_STATES.update()
    .where(HOLE_STATES.c.hole_id == bindparam("of_hole"))
    .values({name: bindparam(name) for name in ("station", "total_depth_mm", "core_mm", *COUNTS, "revision")})
)
