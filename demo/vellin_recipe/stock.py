"""What the whole yard shares: rock codes, standards and blanks, ticket books; and the density sticks."""

from __future__ import annotations

from math import pi

from .shapes import LossRow, RockRow, RunRow, Site, StickRow, chance

ROCK_CODES = (
    ("OVB", "overburden, not cored", 2.00, 0.15),
    ("WTH", "weathered greywacke", 2.45, 0.10),
    ("GWK", "greywacke", 2.72, 0.05),
    ("SLT", "siltstone", 2.74, 0.05),
    ("ALT", "sericite-carbonate alteration", 2.77, 0.06),
    ("QZV", "quartz vein", 2.66, 0.05),
    ("DOL", "dolerite dyke", 2.91, 0.06),
    ("FLT", "fault, broken or clay", 2.40, 0.15),
)
"""Code, name, density t/m3, its standard deviation. Invented yard values inside common ranges for such rocks."""

MATERIALS = (
    ("STD-A", "standard", 60, 60, 0.34, "A-11", "low grade"),
    ("STD-B", "standard", 60, 60, 1.52, "B-07", "near the cut-off"),
    ("STD-C", "standard", 60, 60, 7.80, "C-03", "high grade"),
    ("STD-D", "standard", 4, 60, 33.6, "D-02", "very high grade; a new lot is on order"),
    ("BLK-C", "coarse blank", 220, 1500, None, "K-05", "quarry granite, pieces of 20 to 40 mm"),
    ("BLK-F", "fine blank", 120, 60, None, "F-01", ""),
)
"""Material, kind, insertions in stock, grams of one, grade g/t, lot, remark."""

# Element: certified content, scatter a good laboratory reaches, expanded uncertainty (k = 2), all in ppm.
CERTIFIED = {
    "STD-A": {"Au": (0.34, 0.014, 0.006), "Ag": (0.82, 0.05, 0.02), "As": (118, 5, 2.2), "Cu": (47, 2, 0.9)},
    "STD-B": {"Au": (1.52, 0.055, 0.022), "Ag": (2.15, 0.10, 0.04), "As": (312, 12, 5), "Cu": (96, 3.8, 1.6)},
    "STD-C": {"Au": (7.80, 0.27, 0.11), "Ag": (6.40, 0.28, 0.12), "As": (824, 30, 13), "Cu": (161, 6, 2.6)},
    "STD-D": {"Au": (33.6, 1.15, 0.48), "Ag": (18.3, 0.75, 0.3), "As": (1490, 52, 22), "Cu": (243, 9, 3.8)},
}
"""Invented, as is all of this yard."""
CERTIFIED_LABORATORIES = 12
BLANK_LIMITS = {
    "BLK-C": {"Au": 0.025, "Ag": 0.5, "As": 15, "Cu": 45},
    "BLK-F": {"Au": 0.015, "Ag": 0.5, "As": 15, "Cu": 45},
}
"""A blank above this fails, ppm."""


def certified_lines() -> list[tuple]:
    """The lines of certified_values: standards, then blanks."""
    lines = [
        (material, element, "mg/kg", f"{content:g}", f"{sd:g}", f"{expanded:g}", 2, CERTIFIED_LABORATORIES, "", "")
        for material, elements in CERTIFIED.items()
        for element, (content, sd, expanded) in elements.items()
    ]
    lines += [
        (material, element, "mg/kg", "", "", "", "", "", f"{limit:g}", "")
        for material, elements in BLANK_LIMITS.items()
        for element, limit in elements.items()
    ]
    return lines


TICKETS = (
    ("book-11", "K", 410_001, 410_500, 6, "VR-01", "410017 410203"),
    ("book-12", "K", 410_501, 411_000, 6, "", "410760"),
    ("book-13", "K", 411_001, 411_500, 6, "", ""),
    ("book-14", "K", 411_501, 412_000, 6, "", "411502"),
)
"""Book, prefix, first, last, digits, hole it is kept for, voids."""

DIAMETER_MM = {"NQ": 47.6, "BQ": 36.5}
DENSITY = {rock: (density, spread) for rock, _, density, spread in ROCK_CODES}


def sticks(site: Site, rock: list[RockRow], runs: list[RunRow], losses: list[LossRow]) -> list[StickRow]:
    """A stick about every 10 m in sound rock, weighed in air and in water; each stays within 0.8 of the rock's spread."""
    rng = chance(site.hole_id, "density")
    rows: list[StickRow] = []
    depth_cm = site.casing_cm + rng.randrange(150, 600)
    while depth_cm < site.total_cm - 60:
        length_cm = rng.randrange(10, 16)
        where = next(row for row in rock if row.from_cm <= depth_cm < row.to_cm)
        run = next((run for run in runs if run.from_cm <= depth_cm < run.to_cm), None)
        inside = where.from_cm + 5 <= depth_cm and depth_cm + length_cm <= where.to_cm - 5
        present = run is not None and depth_cm + length_cm <= run.to_cm - 25
        lost = any(
            loss.from_cm < depth_cm + length_cm + 5 and depth_cm < loss.from_cm + loss.lost_cm for loss in losses
        )
        if where.weak or not inside or not present or lost:
            depth_cm += 40
            continue
        mean, spread = DENSITY[where.rock]
        density = mean + spread * max(-0.8, min(0.8, rng.gauss(0, 0.45)))
        volume_cm3 = pi / 4 * (DIAMETER_MM[run.core_size] / 10) ** 2 * length_cm * rng.uniform(0.97, 1.0)
        dry_g = round(volume_cm3 * density, 1)
        if where.rock == "WTH":
            rows.append(StickRow(depth_cm, depth_cm + length_cm, None, None, round(density, 2), "calliper"))
        else:
            in_water_g = round(dry_g - dry_g / density, 1)
            rows.append(StickRow(depth_cm, depth_cm + length_cm, dry_g, in_water_g, None, "immersion"))
        depth_cm += rng.randrange(700, 1_300)
    return rows
