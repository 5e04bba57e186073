"""A small invented yard for the store tests: frames as the reader hands them over, sheets and findings."""

from __future__ import annotations

from datetime import UTC, datetime

import polars

from trayside.model import tables
from trayside.model.cut_sheet import Place, Revision, Sheet, SheetRow
from trayside.model.finding import Finding

ISSUED_AT = datetime(2031, 5, 4, 7, 30, 15, 123456, tzinfo=UTC)
TYPES = {"integer": polars.Int64, "number": polars.Float64, "length": polars.Int64, "yes_no": polars.Boolean}


def frame(name: str, rows: list[dict]) -> polars.DataFrame:
    """A frame with the stored columns of a table; what a row leaves out is null."""
    schema = {}
    for column in tables.BY_NAME[name].columns:
        for stored in column.stored:
            entered = stored.endswith("_entered") and column.kind in ("length", "lengths")
            schema[stored] = polars.String if entered else TYPES.get(column.kind, polars.String)
    return polars.DataFrame(rows, schema=schema)


def lengths(**values_mm: int) -> dict:
    """Both stored columns of each length."""
    both = {}
    for name, value_mm in values_mm.items():
        both[f"{name}_mm"] = value_mm
        both[f"{name}_entered"] = f"{value_mm / 1000} m"
    return both


def hole_tables(*hole_ids: str, runs: int = 3) -> dict[str, polars.DataFrame]:
    """Holes of `runs` runs of 3 m with everything else that can be loaded about them."""
    rows: dict[str, list[dict]] = {name: [] for name in ("holes", "surveys", "runs", "losses", "trays", "rock",
                                                         "orientation_marks", "fabric", "density")}  # fmt: skip
    for number, hole_id in enumerate(hole_ids):
        of = {"hole_id": hole_id}
        rows["holes"].append(
            of
            | {"area": "north", "east_m": 1000.1 + number, "north_m": 2000.2, "elevation_m": 0.1 + 0.2}
            | {"azimuth_deg": 90.0, "dip_deg": -60.0}
            | lengths(total_depth=runs * 3000)
        )
        rows["surveys"] += [of | {"azimuth_deg": 90.5, "dip_deg": -60.5} | lengths(depth=d) for d in (3000, 0)]
        for run in range(runs):
            span = lengths(**{"from": run * 3000, "to": run * 3000 + 3000})
            core = lengths(recovered=2900, rqd=2000) | {"core_size": "NQ"}
            rows["runs"].append(of | span | core | {"run": run + 1})
            rows["trays"].append(of | span | lengths(row_length=1000) | {"tray": run + 1, "rows": 3, "row_ends_mm": (
                f"{run * 3000 + 1000} {run * 3000 + 2000}"), "row_ends_entered": "as on the tag"})  # fmt: skip
            rows["rock"].append(
                of
                | span
                | {"rock": "GRD", "condition": "intact", "grade_class": "low", "contact": "hard"}
                | ({"vein": True, "sampling": "always", "caution": 'says "mind", twice\nand \\N'} if run == 1 else {})
            )
        rows["losses"].append(of | lengths(**{"from": 1000, "lost": 100}) | {"position": "seen", "remark": ""})
        rows["orientation_marks"].append(of | lengths(depth=1500) | {"angle_deg": -3.5, "line": "solid"})
        rows["fabric"].append(of | lengths(depth=1600) | {"alpha_deg": 45.0, "kind": "vein"})
        rows["density"].append(of | lengths(**{"from": 100, "to": 200}) | {"density_t_m3": 2.7, "method": "given"})
    return {name: frame(name, table) for name, table in rows.items()}


def digests(*hole_ids: str, of: str = "first") -> dict[str, str]:
    return {hole_id: f"{of} {hole_id}" for hole_id in hole_ids}


def load(work, *hole_ids: str, runs: int = 3) -> None:
    work.replace_holes(hole_tables(*hole_ids, runs=runs), digests(*hole_ids))


def sample(seq: int, serial: int, **more) -> SheetRow:
    top_mm = (seq - 1) * 1000
    return SheetRow(
        seq=seq,
        kind="sample",
        number=f"A{serial:04d}",
        from_mm=top_mm,
        to_mm=top_mm + 1000,
        from_place=Place(1, 1, 0.1 + 0.2),
        to_place=Place(1, 2, 12.5),
        core_size="NQ",
        rock="GRD",
        condition="intact",
        grade_class="low",
        recovered_mm=998,
        method="automatic saw",
        portion="half",
        side="right",
        expected_kg=2.1,
        low_kg=1.9,
        high_kg=1 / 3 + 2,
        top_reason="whole metre",
        caution="",
        **more,
    )


def control(seq: int, serial: int, material: str = "STD-1") -> SheetRow:
    return SheetRow(seq=seq, kind="standard", number=f"A{serial:04d}", material=material, reason="every 20", rack=2)


def sheet(hole_id: str, rows: tuple[SheetRow, ...], **more) -> Sheet:
    values = {
        "sheet_id": f"sheet of {hole_id}",
        "version": 0,
        "seed": 2**40,
        "hole_digest": "first",
        "edited_by": "ada",
    }
    return Sheet(hole_id=hole_id, rows=rows, **(values | more))


def serials(sheet: Sheet) -> dict[str, tuple[str, int]]:
    return {row.number: ("A", int(row.number[1:])) for row in sheet.rows}


def save(work, sheet: Sheet) -> Sheet:
    return work.save_sheet(sheet, serials=serials(sheet))


def revision_of(sheet: Sheet, number: int = 1, **more) -> Revision:
    return Revision(
        sheet_id=sheet.sheet_id,
        hole_id=sheet.hole_id,
        revision=number,
        issued_at=ISSUED_AT,
        issued_by="ada",
        statement="looked at, ready to cut",
        digest="0" * 64,
        changes=("A0001 added",),
        **more,
    )


def finding(code: str, severity: str = "warn", hole_id: str | None = None, **more) -> Finding:
    return Finding(code, severity, f"{code} happened", "look at it", hole_id=hole_id, **more)
