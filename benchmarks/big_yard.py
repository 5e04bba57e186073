"""Write a large yard without faults, for measuring: `write_big_yard(folder, holes=1000, metres=300, seed=1)`.

Every table comes from arrays in one go, hole after hole laid out in a grid of equal steps. All core is sampled at about
1.5 m, so 1,000 holes of 300 m give about 200,000 samples.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl

CASING_M, RUN_M, TRAY_M, SURVEY_M = 3.0, 3.0, 5.0, 30.0
ROCKS = np.array(["GWK", "SLT", "ALT", "QZV", "DOL"])
DENSITY_T_M3 = np.array([2.72, 2.74, 2.77, 2.66, 2.91])
CLASSES = np.array(["barren", "low", "medium", "high", "visible"])
CLASS_SHARES = (0.55, 0.25, 0.14, 0.05, 0.01)
HARDNESS = np.array(["R3", "R4", "R5"])
NQ_MM = 47.6

RULES = """\
# Rules of an invented yard for measuring: all core is sampled at about 1.5 m.
yard = "A big yard"

[sampling]
nominal_m = 1.5
minimum_m = 0.5
maximum_m = 2.0
sample_classes = "all"
shoulder_m = 0.0

[controls]
seed = 7

[mass]
tier_kg = 6.0
minimum_kg = 0.2
"""


def write_big_yard(folder: Path, *, holes: int = 1000, metres: float = 300.0, seed: int = 1) -> Path:
    """The folder with its CSV tables and rules; the same arguments write the same bytes."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    name = np.array([f"BY-{number:05d}" for number in range(1, holes + 1)])
    rock = _rock(name, metres, rng)
    for table, frame in {
        "holes": _holes(name, metres, rng),
        "surveys": _surveys(name, metres, rng),
        "runs": _runs(name, metres, rng),
        "losses": _losses(name, metres),
        "trays": _trays(name, metres),
        "rock": rock,
        "orientation_marks": _marks(name, metres, rng),
        "fabric": _fabric(name, metres, rng),
        "density": _density(rock, rng),
        **_shared(holes, metres),
    }.items():
        frame.write_csv(folder / f"{table}.csv", float_precision=2)
    (folder / "rules.toml").write_text(RULES, encoding="utf-8", newline="\n")
    return folder


def _steps(name: np.ndarray, start_m: float, end_m: float, step_m: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Equal steps down every hole: hole name, top and bottom of each; the last one may be short."""
    edges = np.append(np.arange(start_m, end_m - 1e-9, step_m), end_m)
    return np.repeat(name, len(edges) - 1), np.tile(edges[:-1], len(name)), np.tile(edges[1:], len(name))


def _holes(name: np.ndarray, metres: float, rng) -> pl.DataFrame:
    at = np.arange(len(name))
    return pl.DataFrame(
        {
            "hole_id": name,
            "area": [f"section {1 + place // 25}" for place in at],
            "east_m": 1000.0 + 40.0 * (at % 25),
            "north_m": 5000.0 + 40.0 * (at // 25),
            "elevation_m": rng.uniform(380, 420, len(at)),
            "azimuth_deg": rng.uniform(85, 95, len(at)),
            "dip_deg": rng.uniform(-75, -50, len(at)),
            "total_depth_m": np.full(len(at), metres),
        }
    )


def _surveys(name: np.ndarray, metres: float, rng) -> pl.DataFrame:
    hole, top, _ = _steps(name, 0.0, metres, SURVEY_M)
    return pl.DataFrame(
        {
            "hole_id": hole,
            "depth_m": top,
            "azimuth_deg": 90.0 + 0.01 * top + rng.uniform(-0.1, 0.1, len(top)),
            "dip_deg": -60.0 + 0.01 * top + rng.uniform(-0.1, 0.1, len(top)),
            "instrument": np.full(len(top), "gyro"),
        }
    )


def _lost_run(top: np.ndarray) -> np.ndarray:
    """Every hundred metres one run loses half a metre, at a known place."""
    return np.rint((top - CASING_M) / RUN_M).astype(int) % 33 == 20


def _runs(name: np.ndarray, metres: float, rng) -> pl.DataFrame:
    hole, top, bottom = _steps(name, CASING_M, metres, RUN_M)
    number = np.rint((top - CASING_M) / RUN_M).astype(int) + 1
    lost = np.where(_lost_run(top) & (bottom - top > 2.9), 0.40, 0.0)
    recovered = bottom - top - lost - rng.integers(0, 4, len(top)) / 100
    solid = np.round(recovered * rng.uniform(0.85, 0.98, len(top)), 2)
    return pl.DataFrame(
        {
            "hole_id": hole,
            "run": number,
            "from_m": top,
            "to_m": bottom,
            "recovered_m": recovered,
            "rqd_m": solid * rng.uniform(0.6, 0.99, len(top)),
            "solid_m": solid,
            "fractures": rng.integers(2, 25, len(top)),
            "core_size": np.full(len(top), "NQ"),
        }
    )


def _losses(name: np.ndarray, metres: float) -> pl.DataFrame:
    hole, top, bottom = _steps(name, CASING_M, metres, RUN_M)
    lost = _lost_run(top) & (bottom - top > 2.9)
    return pl.DataFrame(
        {
            "hole_id": hole[lost],
            "from_m": top[lost] + 1.0,
            "lost_m": np.full(int(lost.sum()), 0.40),
            "position": np.full(int(lost.sum()), "seen"),
        }
    )


def _trays(name: np.ndarray, metres: float) -> pl.DataFrame:
    hole, top, bottom = _steps(name, CASING_M, metres, TRAY_M)
    return pl.DataFrame(
        {
            "hole_id": hole,
            "tray": np.rint((top - CASING_M) / TRAY_M).astype(int) + 1,
            "from_m": top,
            "to_m": bottom,
            "rows": np.full(len(top), 5),
            "row_length_m": np.full(len(top), 1.05),
        }
    )


def _rock(name: np.ndarray, metres: float, rng) -> pl.DataFrame:
    """Overburden, then contacts near every 3 m; one in ten hard, none nearer to the next than 1.6 m."""
    cells = max(1, int((metres - CASING_M) / 3.0))
    edges = CASING_M + 3.0 * np.arange(1, cells) + np.round(rng.uniform(-0.7, 0.7, (len(name), cells - 1)), 2)
    edges = np.hstack([np.full((len(name), 1), CASING_M), edges, np.full((len(name), 1), metres)])
    top = np.hstack([np.zeros((len(name), 1)), edges[:, :-1]]).ravel()
    bottom = edges.ravel()
    count = len(top)
    cased = top == 0.0
    run_tops = np.arange(CASING_M, metres - RUN_M + 1e-9, RUN_M)
    losses = run_tops[_lost_run(run_tops)] + 1.2
    beside_loss = (np.abs(top[:, None] - losses[None, :]) < 1.5).any(axis=1)
    kind = rng.integers(0, len(ROCKS), count)
    return pl.DataFrame(
        {
            "hole_id": np.repeat(name, cells + 1),
            "from_m": top,
            "to_m": bottom,
            "rock": np.where(cased, "OVB", ROCKS[kind]),
            "hardness": np.where(cased, "R0", HARDNESS[rng.integers(0, 3, count)]),
            "condition": np.where(cased, "rubble", np.where(rng.random(count) < 0.15, "blocky", "intact")),
            "grade_class": np.where(cased, "barren", CLASSES[rng.choice(5, count, p=CLASS_SHARES)]),
            "contact": np.where(~cased & ~beside_loss & (rng.random(count) < 0.1), "hard", "soft"),
            "sampling": np.where(cased, "never", "rules"),
        }
    )


def _marks(name: np.ndarray, metres: float, rng) -> pl.DataFrame:
    hole, _, bottom = _steps(name, CASING_M + 30.0, metres, RUN_M)
    return pl.DataFrame(
        {
            "hole_id": hole,
            "depth_m": bottom,
            "angle_deg": np.clip(np.rint(rng.normal(0, 1.5, len(hole))), -4, 4) + 0.0,
            "line": np.full(len(hole), "solid"),
            "joint": np.full(len(hole), "locked"),
        }
    )


def _fabric(name: np.ndarray, metres: float, rng) -> pl.DataFrame:
    hole, top, _ = _steps(name, CASING_M + 30.0, metres, 6.0)
    return pl.DataFrame(
        {
            "hole_id": hole,
            "depth_m": top,
            "alpha_deg": np.rint(rng.uniform(35, 70, len(hole))),
            "beta_deg": np.rint(rng.uniform(140, 220, len(hole))),
            "thickness_mm": np.rint(rng.uniform(1, 40, len(hole))),
            "kind": np.where(rng.random(len(hole)) < 0.3, "vein", "foliation"),
        }
    )


def _density(rock: pl.DataFrame, rng) -> pl.DataFrame:
    """A stick of 12 cm in the middle of every fourth logged interval, weighed dry and in water."""
    cored = rock.filter(pl.col("rock") != "OVB").gather_every(4)
    middle = np.round((cored["from_m"].to_numpy() + cored["to_m"].to_numpy()) / 2, 2)
    kind = np.searchsorted(np.sort(ROCKS), cored["rock"].to_numpy())
    density = DENSITY_T_M3[np.argsort(ROCKS)][kind] + rng.uniform(-0.04, 0.04, len(middle))
    dry_g = np.round(np.pi / 4 * (NQ_MM / 10) ** 2 * 12.0 * density, 1)
    return pl.DataFrame(
        {
            "hole_id": cored["hole_id"],
            "from_m": middle - 0.06,
            "to_m": middle + 0.06,
            "mass_dry_g": dry_g,
            "mass_in_water_g": np.round(dry_g - dry_g / density, 1),
            "method": np.full(len(middle), "immersion"),
        }
    )


def _shared(holes: int, metres: float) -> dict[str, pl.DataFrame]:
    """Rock codes, materials and ticket books large enough for every bag."""
    bags = int(holes * metres * 2) + 1000
    return {
        "rock_codes": pl.DataFrame(
            {
                "rock": ["OVB", *ROCKS],
                "name": ["overburden", "greywacke", "siltstone", "altered greywacke", "quartz vein", "dolerite"],
                "density_t_m3": [2.0, *DENSITY_T_M3],
                "density_sd_t_m3": [0.15, *[0.05] * len(ROCKS)],
            }
        ),
        "materials": pl.DataFrame(
            {
                "material": ["STD-A", "STD-B", "STD-C", "STD-D", "BLK-C", "BLK-F"],
                "kind": [*["standard"] * 4, "coarse blank", "fine blank"],
                "in_stock": [bags] * 6,
                "mass_g": [60, 60, 60, 60, 1500, 60],
                "grade_g_t": [0.34, 1.52, 7.8, 33.6, None, None],
            }
        ),
        "tickets": pl.DataFrame(
            {"book": ["book-1"], "prefix": ["K"], "first": [1_000_001], "last": [1_000_000 + bags], "digits": [7]}
        ),
    }
