"""Orientation marks and the planes measured on the core, from a regional foliation and a vein set."""

from __future__ import annotations

from math import asin, atan2, cos, degrees, radians, sin

from .rock_log import rock_at
from .shapes import FabricRow, MarkRow, RockRow, RunRow, Site, SurveyRow, chance
from .sites import attitude_at

SETS = {"foliation": (74.0, 262.0), "vein": (63.0, 276.0), "joint": (28.0, 95.0)}
"""Dip and dip direction of the invented plane sets, degrees."""


def core_angles(*, dip_deg: float, dip_direction_deg: float, azimuth_deg: float, plunge_deg: float):
    """Alpha and beta of a plane in a hole: bottom line, lower apex, clockwise looking downhole (derived)."""
    azimuth, plunge = radians(azimuth_deg), radians(plunge_deg)
    dip, direction = radians(dip_deg), radians(dip_direction_deg)
    normal = (sin(dip) * sin(direction), sin(dip) * cos(direction), cos(dip))
    down = (cos(plunge) * sin(azimuth), cos(plunge) * cos(azimuth), -sin(plunge))
    bottom = (-sin(plunge) * sin(azimuth), -sin(plunge) * cos(azimuth), -cos(plunge))
    side = (-cos(azimuth), sin(azimuth), 0.0)
    along = _dot(normal, down)
    if along < 0:
        normal, along = tuple(-part for part in normal), -along
    apex = tuple(-(n - along * d) for n, d in zip(normal, down, strict=True))
    return degrees(asin(min(1.0, along))), degrees(atan2(_dot(apex, side), _dot(apex, bottom))) % 360


def _dot(one, other) -> float:
    return sum(a * b for a, b in zip(one, other, strict=True))


def marks(site: Site, runs: list[RunRow], rock: list[RockRow]) -> list[MarkRow]:
    """A mark at the foot of most sound runs; the line is solid once three marks in a row agree."""
    rng = chance(site.hole_id, "marks")
    rows: list[MarkRow] = []
    agreeing, broken = 0, True
    for run in runs:
        if run.advance_cm < 300 or rock_at(rock, min(run.to_cm, site.total_cm) - 1).weak or run.to_cm < 3_000:
            agreeing, broken = 0, True
            continue
        if rng.random() < 0.12:
            continue
        agreeing += 1
        angle_deg = max(-4.0, min(4.0, rng.gauss(0.0, 1.6)))
        joint = "broken" if broken else rng.choice(("locked",) * 9 + ("uncertain",))
        rows.append(MarkRow(run.to_cm, round(angle_deg, 0) + 0.0, "solid" if agreeing >= 3 else "dashed", joint))
        broken = False
    return rows


def fabric(
    site: Site, rock: list[RockRow], stations: list[SurveyRow], mark_rows: list[MarkRow], line_turn
) -> list[FabricRow]:
    """Foliation every few metres, every logged vein, veinlets in the zones, a few joints."""
    rng = chance(site.hole_id, "fabric")
    rows: list[FabricRow] = []

    def add(depth_cm: int, kind: str, *, length_cm: float | None = None, thickness_mm: float | None = None) -> None:
        dip_deg, direction_deg = SETS[kind]
        azimuth_deg, hole_dip_deg = attitude_at(stations, depth_cm)
        alpha_deg, beta_deg = core_angles(
            dip_deg=dip_deg + rng.gauss(0, 4), dip_direction_deg=direction_deg + rng.gauss(0, 5),
            azimuth_deg=azimuth_deg, plunge_deg=-hole_dip_deg,
        )  # fmt: skip
        if length_cm is not None:
            thickness_mm = 10 * length_cm * sin(radians(alpha_deg))
        oriented = any(abs(mark.depth_cm - depth_cm) <= 600 for mark in mark_rows)
        beta_deg = round(beta_deg + line_turn(depth_cm)) % 360 if oriented else None
        thickness = None if thickness_mm is None else round(thickness_mm)
        rows.append(FabricRow(depth_cm, round(alpha_deg), beta_deg, thickness, kind))

    for row in rock:
        if row.vein:
            add(row.from_cm, "vein", length_cm=row.to_cm - row.from_cm)
        if row.weak or row.rock in ("OVB", "QZV"):
            continue
        depth_cm = row.from_cm + rng.randrange(30, 400)
        while depth_cm < row.to_cm - 20:
            if row.rock == "ALT" and rng.random() < 0.4:
                add(depth_cm, "vein", thickness_mm=rng.uniform(4, 38))
            else:
                add(depth_cm, rng.choice(("foliation",) * 4 + ("joint",)))
            depth_cm += rng.randrange(250, 900)
    return sorted(rows, key=lambda row: row.depth_cm)
