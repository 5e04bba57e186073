"""Eight inclined holes, fanned on three sections 40 m apart: collars, lengths, and how the holes bend."""

from __future__ import annotations

from itertools import pairwise

from .shapes import Site, SurveyRow, chance

SITES: tuple[Site, ...] = (
    Site("VR-01", "section 1000 N", 5210.4, 1000.6, 412.3, 91.5, -62.0, 31_000, 450, visible_veins=4, bq_from_cm=24_750),
    Site("VR-02", "section 1000 N", 5212.1, 1000.2, 412.4, 90.5, -48.0, 21_600, 600, visible_veins=2,
         faults_above_cm=14_000),
    Site("VR-03", "section 1000 N", 5208.9, 1001.1, 412.1, 90.0, -73.0, 22_200, 450, visible_veins=2),
    Site("VR-04", "section 1040 N", 5224.7, 1040.3, 409.8, 89.0, -50.0, 18_800, 600, visible_veins=2, row_length_cm=100),
    Site("VR-05", "section 1040 N", 5223.0, 1039.8, 409.7, 91.0, -64.0, 21_000, 750, visible_veins=1),
    Site("VR-06", "section 1080 N", 5236.2, 1080.4, 407.2, 90.0, -58.0, 19_800, 600, visible_veins=1),
    Site("VR-O6", "section 1080 N", 5238.0, 1080.9, 407.1, 92.0, -47.0, 14_200, 450, visible_veins=1,
         remark="offset of VR-06 from the same pad"),
    Site("VR-07", "section 1040 N", 5221.5, 1040.9, 409.9, 88.5, -75.0, 17_400, 900, visible_veins=1),
)  # fmt: skip


def surveys(site: Site) -> list[SurveyRow]:
    """Stations every 30 m and one near the end: the hole swings right and lifts a little, smoothly."""
    rng = chance(site.hole_id, "surveys")
    swing_per_m, lift_per_m = rng.uniform(0.008, 0.020), rng.uniform(0.006, 0.016)
    depths = [*range(0, site.total_cm - 1_500, 3_000), site.total_cm - 200]
    rows = []
    for depth_cm in depths:
        noise = (0.0, 0.0) if depth_cm == 0 else (rng.uniform(-0.1, 0.1), rng.uniform(-0.1, 0.1))
        azimuth_deg = site.azimuth_deg + swing_per_m * depth_cm / 100 + noise[0]
        dip_deg = site.dip_deg + lift_per_m * depth_cm / 100 + noise[1]
        rows.append(SurveyRow(depth_cm, round(azimuth_deg, 1), round(dip_deg, 1)))
    return rows


def attitude_at(stations: list[SurveyRow], depth_cm: int) -> tuple[float, float]:
    """Azimuth and dip between two stations, by straight interpolation (enough for invented core angles)."""
    for above, below in pairwise(stations):
        if depth_cm <= below.depth_cm:
            part = (depth_cm - above.depth_cm) / (below.depth_cm - above.depth_cm)
            return (
                above.azimuth_deg + part * (below.azimuth_deg - above.azimuth_deg),
                above.dip_deg + part * (below.dip_deg - above.dip_deg),
            )
    return stations[-1].azimuth_deg, stations[-1].dip_deg
