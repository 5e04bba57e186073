"""The best cut plane of 100,000 veins, beside the plain numpy time of its own objective, once per candidate plane.

The objective by absolute values is the sum of weight |sin(theta - beta)| at every beta that was read: readings are whole
degrees, so there are 180 candidates. The objective of the samples is their root mean square imbalance at the angles of
its curve, from exact shares of every vein that a sample end clips.
"""

from __future__ import annotations

from statistics import median
from time import perf_counter

import numpy as np

from benchmarks.figures import Figure, in_child
from trayside.core.cut_domains import cut_domains
from trayside.core.cut_plane import absolute_cut, cost_curve, squares_cut, vein_weight
from trayside.core.sample_cut import sample_imbalances

GOAL_S, GOAL_TIMES = 1.0, 2.0
CURVE = np.arange(0.0, 180.0, 5.0)


def measure(*, small: bool) -> list[Figure]:
    veins = 10_000 if small else 100_000
    seconds, _ = in_child(_seconds, veins, 3 if small else 5)
    plane = seconds["squares"] + seconds["absolute"] + seconds["curve"]
    return [
        Figure(
            "cut plane", f"best plane of {veins:,} veins", plane, "s", GOAL_S, "squares, absolute values, cost curve"
        ),
        Figure(
            "cut plane", "against its objective once per candidate", plane / seconds["objective"], "times", GOAL_TIMES
        ),
        Figure(
            "cut plane", "absolute values, the objective alone", seconds["objective"], "s", note="180 candidates, numpy"
        ),
        Figure("cut plane", f"exact curve over {CURVE.size} planes", seconds["samples"], "s", note="1 m samples"),
        Figure("cut plane", "that curve a plane", seconds["samples"] / CURVE.size, "s"),
        Figure("cut plane", "domains", seconds["domains"], "s", note="199 shuffles, a break tried every metre"),
    ]


def _seconds(veins: int, rounds: int) -> dict[str, float]:
    """Median seconds of each part."""
    chance = np.random.default_rng(7)
    beta = np.round(chance.normal(65.0, 20.0, veins)) % 360.0
    alpha = np.clip(chance.normal(35.0, 8.0, veins), 5.0, 85.0)
    thickness = chance.exponential(8.0, veins) + 0.5
    depth = np.sort(chance.uniform(0.0, veins / 5.0, veins))  # five veins a metre
    ends = np.arange(0.0, veins / 5.0 + 1.0)
    weight = vein_weight(alpha_deg=alpha, thickness_mm=thickness)
    candidates = np.radians(np.arange(180.0))
    laid = dict(
        radius_mm=23.8, alpha_deg=alpha, beta_deg=beta, thickness_mm=thickness, centre_mm=depth * 1000,
        sample_from_mm=ends[:-1] * 1000, sample_to_mm=ends[1:] * 1000,
    )  # fmt: skip

    def objective() -> None:
        turned = np.radians(beta)
        for angle in candidates:
            (weight * np.abs(np.sin(angle - turned))).sum()

    parts = {
        "objective": objective,
        "squares": lambda: squares_cut(beta_deg=beta, weight=weight),
        "absolute": lambda: absolute_cut(beta_deg=beta, weight=weight),
        "curve": lambda: cost_curve(beta_deg=beta, weight=weight, cut_deg=CURVE, measure="absolute"),
        "samples": lambda: sample_imbalances(**laid, cut_deg=CURVE),
        "domains": lambda: cut_domains(depth_m=depth, beta_deg=beta, weight=weight, seed=1),
    }
    found = {}
    for name, part in parts.items():
        spent = []
        for _ in range(1 if name in ("samples", "domains") else rounds):
            begun = perf_counter()
            part()
            spent.append(perf_counter() - begun)
        found[name] = median(spent)
    return found
