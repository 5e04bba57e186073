"""The rows as the files of a yard folder: metres with two decimals, commas, one newline at each line end."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

from .saws import BLADES, SAWS
from .shapes import Expected, HoleRows
from .stock import MATERIALS, ROCK_CODES, TICKETS, certified_lines

HEADERS = {
    "holes": "hole_id area east_m north_m elevation_m azimuth_deg dip_deg total_depth_m remark",
    "surveys": "hole_id depth_m azimuth_deg dip_deg instrument",
    "runs": "hole_id run from_m to_m recovered_m rqd_m solid_m fractures core_size remark",
    "losses": "hole_id from_m lost_m position remark",
    "trays": "hole_id tray from_m to_m rows row_length_m row_ends_m remark",
    "rock": "hole_id from_m to_m rock hardness condition grade_class contact vein sampling caution",
    "orientation_marks": "hole_id depth_m angle_deg line joint",
    "fabric": "hole_id depth_m alpha_deg beta_deg thickness_mm kind",
    "density": "hole_id from_m to_m mass_dry_g mass_in_water_g density_t_m3 method",
    "rock_codes": "rock name density_t_m3 density_sd_t_m3",
    "materials": "material kind in_stock mass_g grade_g_t lot remark",
    "certified_values": "material element unit certified performance_sd expanded_uncertainty coverage_factor laboratories "
    "upper_limit remark",
    "tickets": "book prefix first last digits hole_id voids",
    "saws": "saw kind spindle_rpm largest_blade_mm flange_diameter_mm water water_low_l_min water_high_l_min remark",
    "blades": "blade blade_type diameter_mm segment_height_mm stamped_rpm segments segment_length_mm segment_width_mm kerf_mm bond "
    "price lead_days remark",
}


def metres(value_cm: int | None) -> str:
    return "" if value_cm is None else f"{value_cm / 100:.2f}"


def plain(value: float | None, places: int = 1) -> str:
    return "" if value is None else f"{value:.{places}f}"


def write_tables(folder: Path, holes: list[HoleRows]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    tables = {name: [row for hole in holes for row in _hole_lines(name, hole)] for name in HEADERS}
    tables["rock_codes"] = [(rock, name, plain(mean, 2), plain(sd, 2)) for rock, name, mean, sd in ROCK_CODES]
    tables["materials"] = [
        (material, kind, stock, mass, plain(grade, 2), lot, remark)
        for material, kind, stock, mass, grade, lot, remark in MATERIALS
    ]
    tables["certified_values"] = certified_lines()
    tables["tickets"] = list(TICKETS)
    tables["saws"], tables["blades"] = list(SAWS), list(BLADES)
    for name, header in HEADERS.items():
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(header.split())
        writer.writerows(tables[name])
        (folder / f"{name}.csv").write_bytes(text.getvalue().encode())


def _hole_lines(name: str, hole: HoleRows) -> list[tuple]:
    """The lines of one hole in one table."""
    site = hole.site
    hole_id = site.hole_id
    if name == "holes":
        return [(hole_id, site.area, plain(site.east_m), plain(site.north_m), plain(site.elevation_m),
                 plain(site.azimuth_deg), plain(site.dip_deg), metres(site.total_cm), site.remark)]  # fmt: skip
    if name == "surveys":
        return [
            (hole_id, metres(row.depth_cm), plain(row.azimuth_deg), plain(row.dip_deg), "gyro") for row in hole.surveys
        ]
    if name == "runs":
        return [(hole_id, row.run, metres(row.from_cm), metres(row.to_cm), metres(row.recovered_cm), metres(row.rqd_cm),
                 metres(row.solid_cm), row.fractures, row.core_size, row.remark) for row in hole.runs]  # fmt: skip
    if name == "losses":
        return [(hole_id, metres(row.from_cm), metres(row.lost_cm), row.position, row.remark) for row in hole.losses]
    if name == "trays":
        return [(hole_id, row.tray, metres(row.from_cm), metres(row.to_cm), row.rows, metres(row.row_length_cm),
                 " ".join(metres(end) for end in row.row_ends_cm), row.remark) for row in hole.trays]  # fmt: skip
    if name == "rock":
        return [(hole_id, metres(row.from_cm), metres(row.to_cm), row.rock, row.hardness, row.condition, row.grade_class,
                 row.contact, "yes" if row.vein else "", row.sampling, row.caution) for row in hole.rock]  # fmt: skip
    if name == "orientation_marks":
        return [(hole_id, metres(row.depth_cm), plain(row.angle_deg, 0), row.line, row.joint) for row in hole.marks]
    if name == "fabric":
        return [(hole_id, metres(row.depth_cm), plain(row.alpha_deg, 0), plain(row.beta_deg, 0),
                 plain(row.thickness_mm, 0), row.kind) for row in hole.fabric]  # fmt: skip
    if name == "density":
        return [(hole_id, metres(row.from_cm), metres(row.to_cm), plain(row.mass_dry_g), plain(row.mass_in_water_g),
                 plain(row.density_t_m3, 2), row.method) for row in hole.sticks]  # fmt: skip
    return []


def write_expected(path: Path, expected: list[Expected]) -> None:
    """The findings the checks must give, one object each, depths in whole millimetres."""
    lines = [
        {
            "fault": row.fault,
            "hole_id": row.hole_id,
            "code": row.code,
            "severity": row.severity,
            "from_mm": None if row.from_cm is None else row.from_cm * 10,
            "to_mm": None if row.to_cm is None else row.to_cm * 10,
            "tray": row.tray,
            "run": row.run,
            "stage": row.stage,
            "why": row.why,
        }
        for row in expected
    ]
    path.write_text(json.dumps(lines, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")
