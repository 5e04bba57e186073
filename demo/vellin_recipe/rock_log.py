"""The log: cased start, weathered top, barren hosts with dykes and faults, altered zones with quartz veins.

Hard contacts that a sample must respect stand at least 35 cm apart, and no hard contact of barren ground comes within
3 m of a zone, so every stretch can be sampled between 0.3 and 1.2 m. Only the planted thin vein breaks this.
"""

from __future__ import annotations

from random import Random

from .shapes import RockRow, Site, chance

SAMPLED_SHARE = 0.55
SHOULDER_CM = 200
CLEAR_OF_ZONE_CM = 320
GOLD_CAUTION = "visible gold: flush the blade after this piece, keep every crumb with its half"
WEAK_CAUTION = {
    "clay": "do not wash: clay goes with the water",
    "rubble": "loose pieces: keep their order, take the fines too",
}
SULPHIDE_CAUTION = "massive pyrite in the seam: edges crumble"

Part = tuple[int, str, str, str, str, str, bool, str]
"""Length, rock, hardness, condition, grade class, contact at its top, vein, caution."""


def rock_log(site: Site) -> list[RockRow]:
    """The whole hole from the collar to its end, without gaps."""
    rng = chance(site.hole_id, "rock")
    parts: list[Part] = [(site.casing_cm, "OVB", "", "rubble", "barren", "soft", False, "")]
    weathered = rng.randrange(600, 1200)
    parts.append((weathered, "WTH", "R2", "blocky", "barren", "soft", False, ""))
    gaps, zones = _spread(site, site.total_cm - site.casing_cm - weathered, rng)
    gold_zones = _gold_zones(site.visible_veins, len(zones))
    depth_cm = site.casing_cm + weathered
    for index, gap in enumerate(gaps):
        parts += _barren(gap, depth_cm < site.faults_above_cm, rng)
        depth_cm += gap
        if index < len(zones):
            with_fault = depth_cm < site.faults_above_cm and index % 2 == 1
            parts += _zone(zones[index], gold_zones.count(index), with_fault, rng)
            depth_cm += zones[index]
    return _stacked(parts)


def _spread(site: Site, free_cm: int, rng: Random) -> tuple[list[int], list[int]]:
    """Lengths of the barren gaps and of the zones between them; the zones with shoulders are the sampled share."""
    count = round(site.total_cm / 4_700)
    zone_total = int(SAMPLED_SHARE * site.total_cm) - count * 2 * SHOULDER_CM
    zones = _shares(zone_total, [rng.uniform(0.6, 1.4) for _ in range(count)])
    least = [500, *[900] * (count - 1), 600]
    spare = free_cm - sum(zones) - sum(least)
    extra = _shares(spare, [rng.uniform(0.3, 1.7) for _ in range(count + 1)])
    return [low + more for low, more in zip(least, extra, strict=True)], zones


def _shares(total: int, weights: list[float]) -> list[int]:
    parts = [int(total * weight / sum(weights)) for weight in weights]
    parts[-1] += total - sum(parts)
    return parts


def _gold_zones(visible_veins: int, zones: int) -> list[int]:
    """The zones that hold visible gold, from the middle of the hole outwards."""
    order = sorted(range(zones), key=lambda zone: abs(zone - zones // 2))
    return order[:visible_veins]


def _host(rng: Random) -> tuple[str, str, str]:
    rock = rng.choice(("GWK", "GWK", "SLT"))
    return rock, rng.choice(("R4", "R5") if rock == "GWK" else ("R3", "R4")), rng.choice(("intact",) * 4 + ("blocky",))


def _barren(length: int, faulted: bool, rng: Random) -> list[Part]:
    """Host rock, with a dyke or a fault in the middle of a long gap."""
    top = _host(rng)
    room = length - 2 * CLEAR_OF_ZONE_CM
    draw = rng.random()
    if room < 300 or draw > 0.85:
        return [(length, *top, "barren", "soft", False, "")]
    if faulted and draw < 0.45:
        middle = _fault(rng.randrange(70, 200), "barren", rng)
    else:
        middle = (rng.randrange(200, min(800, room)), "DOL", "R6", "intact", "barren", "hard", False, "")
    above = CLEAR_OF_ZONE_CM + rng.randrange(0, room - middle[0] + 1) if room > middle[0] else CLEAR_OF_ZONE_CM
    below = length - above - middle[0]
    return [(above, *top, "barren", "soft", False, ""), middle, (below, *_host(rng), "barren", "hard", False, "")]


def _zone(length: int, gold: int, with_fault: bool, rng: Random) -> list[Part]:
    """An altered zone: weak halo, veins with sound contacts between altered walls, weak halo, perhaps a fault."""
    count = 1 + (length > 1_100) + (length > 1_500) + (length > 2_000) + (length > 2_600)
    body: list[Part] = []
    for vein in range(count):
        shows_gold = vein < gold
        grade_class = "visible" if shows_gold else rng.choice(("medium", "high", "high"))
        caution = GOLD_CAUTION if shows_gold else (SULPHIDE_CAUTION if rng.random() < 0.25 else "")
        body.append((rng.randrange(36, 110), "QZV", rng.choice(("R5", "R6")), rng.choice(("intact", "intact", "blocky")),
                     grade_class, "hard", True, caution))  # fmt: skip
        body.append((rng.randrange(120, 330), "ALT", "R3", rng.choice(("intact", "intact", "blocky")),
                     "medium", "hard", False, ""))  # fmt: skip
    halo = length - sum(part[0] for part in body)
    head = int(halo * rng.uniform(0.35, 0.55))
    tail = halo - head
    parts: list[Part] = [(head, "ALT", "R4", "intact", "low", "soft", False, ""), *body]
    if not with_fault:
        return [*parts, (tail, "ALT", "R4", rng.choice(("intact", "blocky")), "low", "soft", False, "")]
    fault = rng.randrange(90, 150)
    above = (tail - fault) // 2
    return [
        *parts,
        (above, "ALT", "R4", "blocky", "low", "soft", False, ""),
        _fault(fault, "low", rng),
        (tail - above - fault, "ALT", "R4", "intact", "low", "hard", False, ""),
    ]


def _fault(length: int, grade_class: str, rng: Random) -> Part:
    condition = rng.choice(("rubble", "clay"))
    return length, "FLT", "R1", condition, grade_class, "hard", False, WEAK_CAUTION[condition]


def _stacked(parts: list[Part]) -> list[RockRow]:
    rows, depth_cm = [], 0
    for length, rock, hardness, condition, grade_class, contact, vein, caution in parts:
        sampling = "never" if rock == "OVB" else ""
        rows.append(RockRow(depth_cm, depth_cm + length, rock, hardness, condition, grade_class, contact, vein, sampling,
                            caution))  # fmt: skip
        depth_cm += length
    return rows


def rock_at(rows: list[RockRow], depth_cm: int) -> RockRow:
    return next(row for row in rows if row.from_cm <= depth_cm < row.to_cm)
