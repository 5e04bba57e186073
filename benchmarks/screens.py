"""Every screen on a store of a thousand planned holes, against the same screen on the planned demo yard.

A third store, ten holes of the same kind as the thousand, tells what of a difference comes from the size of the yard
and what from holes being deeper than the demo's.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from statistics import median
from time import perf_counter

from starlette.testclient import TestClient

from benchmarks.figures import Figure, in_child
from benchmarks.stores import DEMO_YARD, big_folder, planned_store
from trayside.bootstrap import site

GOAL_RATIO = 1.5
YARD_SCREENS = {"yard": "/", "yard, one station": "/?station=to+issue"}
HOLE_SCREENS = {
    "hole": "/hole/{hole}",
    "trays": "/hole/{hole}/trays",
    "trays, a depth": "/hole/{hole}/trays?depth=101.25",
    "sheet": "/hole/{hole}/sheet",
}


def measure(*, small: bool) -> list[Figure]:
    holes, rounds = (60, 3) if small else (1000, 12)
    with tempfile.TemporaryDirectory() as room:
        taken, _ = in_child(_screens, Path(room), holes, rounds)
    figures = []
    for screen, (big, demo, ten) in taken.items():
        figures += [
            Figure("screens", f"{screen}: {holes:,} holes / demo", big / demo, "x", GOAL_RATIO, _seconds(big, demo)),
            Figure("screens", f"{screen}: {holes:,} holes / ten such holes", big / ten, "x", None, _seconds(big, ten)),
        ]
    return figures


def _seconds(big: float, small: float) -> str:
    return f"{1000 * big:.1f} ms / {1000 * small:.1f} ms"


def _screens(room: Path, holes: int, rounds: int) -> dict[str, tuple[float, float, float]]:
    """Median seconds a screen on the large, the demo and the ten-hole store, asked in turns."""
    folders = (
        big_folder(room, holes=holes, metres=300.0),
        DEMO_YARD,
        big_folder(room, holes=10, metres=300.0),
    )
    stores = [planned_store(folder, room / f"store-{place}.sqlite") for place, folder in enumerate(folders)]
    clients = [TestClient(site(start_work), base_url="http://127.0.0.1") for start_work, _ in stores]
    taken = {}
    for screen, address in {**YARD_SCREENS, **HOLE_SCREENS}.items():
        seconds: tuple[list[float], ...] = ([], [], [])
        for turn in range(rounds + 1):
            for place, (client, (_, hole_ids)) in enumerate(zip(clients, stores, strict=True)):
                # Spread over the yard; the first turn only warms up.
                hole = hole_ids[turn * len(hole_ids) // (rounds + 1)]
                begun = perf_counter()
                answer = client.get(address.format(hole=hole))
                if turn:
                    seconds[place].append(perf_counter() - begun)
                answer.raise_for_status()
        taken[screen] = tuple(median(of_store) for of_store in seconds)
    return taken
