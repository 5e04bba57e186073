"""Judging a million results: standards, blanks, pairs and the word of every batch and element, against a plain scan.

The baseline reads the same file, all columns, and groups it by batch and element (count, mean, deviation, median,
least, most); both begin at the file. And what a campaign of 10,000 plays of a control scheme takes.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import numpy as np
import polars as pl

from benchmarks.figures import Figure, in_child

ELEMENTS = 20
LINES = 100
BATCHES, SMALL_BATCHES = 500, 50
ROUNDS = 3
MATERIALS = ("S-1", "S-2", "S-3", "S-4")
GOAL_RATIO = 6.0
CAMPAIGNS = 10_000
GOAL_CAMPAIGNS_S = 60.0


def measure(*, small: bool) -> list[Figure]:
    batches = SMALL_BATCHES if small else BATCHES
    (plain_s, judge_s, verdicts), memory_mb = in_child(_judging, batches)
    results = batches * LINES * ELEMENTS
    campaigns = CAMPAIGNS // 10 if small else CAMPAIGNS
    played_s, _ = in_child(_playing, campaigns)
    return [
        Figure("judge", f"{results:,} results scanned and grouped", plain_s, "s", note="the baseline"),
        Figure("judge", f"{results:,} results judged, {verdicts:,} verdicts", judge_s, "s", note=f"{memory_mb:.0f} MB"),
        Figure("judge", "judged / scanned and grouped", judge_s / plain_s, "times", GOAL_RATIO),
        Figure("judge", f"{campaigns:,} campaigns of a control scheme", played_s, "s", GOAL_CAMPAIGNS_S),
    ]


def _judging(batches: int) -> tuple[float, float, int]:
    from trayside.app.judge_results import judge_results
    from trayside.model.rules import ResultSettings

    results, numbers, certified = _campaign(batches)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "results.parquet"
        results.write_parquet(path)
        del results
        plain, judging, verdicts = [], [], 0
        for _ in range(ROUNDS):
            start = time.perf_counter()
            _scan_and_group(path)
            plain.append(time.perf_counter() - start)
            start = time.perf_counter()
            judged = judge_results(pl.read_parquet(path), numbers, certified, settings=ResultSettings())
            judging.append(time.perf_counter() - start)
            verdicts = judged.verdicts.height
    return min(plain), min(judging), verdicts


def _scan_and_group(path: Path) -> pl.DataFrame:
    value = pl.col("value_ppm")
    return (
        pl.read_parquet(path)
        .group_by("certificate_id", "element")
        .agg(pl.len(), value.mean(), value.std().alias("sd"), value.median().alias("middle"), value.min().alias("least"),
             value.max().alias("most"), (pl.col("censor") == "lt").sum().alias("below"))
    )  # fmt: skip


def _campaign(batches: int) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Results in laboratory order, what stands behind the numbers, and what the standards should read. All invented."""
    from trayside.app.assay_ports import RESULT_COLUMNS
    from trayside.app.judge_ground import CERTIFIED_COLUMNS, NUMBER_COLUMNS

    chance = np.random.default_rng(1)
    elements = np.array([f"E{at:02d}" for at in range(ELEMENTS)])
    lines = batches * LINES
    line = np.arange(lines)
    place = line % LINES + 1
    role = np.where(place % 20 == 7, "standard", np.where(place % 25 == 13, "blank", np.where(place % 25 == 4, "duplicate",
                                                                                               "sample")))  # fmt: skip
    which = (np.cumsum(role == "standard") - 1) % len(MATERIALS)
    number = np.array([f"{1_000_000 + at}" for at in line])
    means = np.outer(10.0 ** np.arange(len(MATERIALS)), 1.0 + np.arange(ELEMENTS) / 10)
    value = np.exp(chance.normal(1.0, 1.0, (lines, ELEMENTS)))
    value[1:][role[1:] == "duplicate"] = value[:-1][role[1:] == "duplicate"] * np.exp(
        chance.normal(0.0, 0.1, (int((role == "duplicate").sum()), ELEMENTS))
    )
    held = role == "standard"
    value[held] = means[which[held]] * (1 + 0.02 * chance.standard_normal((int(held.sum()), ELEMENTS)))
    value[role == "blank"] = 0.01
    certificate = np.array([f"CT-{at // LINES:05d}" for at in line])
    reported = np.array([f"2031-01-01T{at // LINES % 24:02d}:00:00.{at // LINES:06d}+00:00" for at in line])
    repeat = np.repeat(line, ELEMENTS)
    flat = value.ravel()
    below = flat <= 0.01
    frame = {
        "certificate_id": certificate[repeat], "laboratory": np.full(len(repeat), "Demo laboratory A"),
        "reported_at": reported[repeat], "place": place[repeat], "number": number[repeat],
        "line_kind": np.full(len(repeat), "sample"), "rack": np.full(len(repeat), ""),
        "column": np.tile(np.arange(1, ELEMENTS + 1), lines), "element": np.tile(elements, lines),
        "method": np.full(len(repeat), "M"), "unit": np.full(len(repeat), "[ppm]"),
        "raw_text": np.full(len(repeat), ""), "value": flat, "value_ppm": flat,
        "censor": np.where(below, "lt", "none"), "lower_limit_ppm": np.full(len(repeat), 0.01),
        "upper_limit_ppm": np.full(len(repeat), 1e5), "preferred": np.full(len(repeat), True),
    }  # fmt: skip
    results = pl.DataFrame(frame).cast(RESULT_COLUMNS)
    core = (role == "sample") | (role == "duplicate")
    before = np.concatenate(([""], number[:-1]))
    behind = {
        "number": number, "role": role,
        "material": np.where(held, np.array(MATERIALS)[which], np.where(role == "blank", "B", None)),
        "material_kind": np.where(held, "standard", np.where(role == "blank", "coarse blank", None)),
        "lot": np.where(core, None, "L"), "pair_of": np.where(role == "duplicate", before, None),
        "pair_kind": np.where(role == "duplicate", "half/half", None), "hole_id": certificate, "seq": line,
        "from_mm": line * 1000, "to_mm": line * 1000 + 1000, "recovered_mm": np.full(lines, 1000),
        "rock": np.full(lines, "R"), "grade_class": np.full(lines, "low"), "expected_ppm": np.full(lines, 0.3),
        "kg": np.full(lines, 2.0), "weighed": np.full(lines, True), "expected_kg": np.full(lines, 2.0),
        "expected_rel_sd": np.full(lines, 0.05), "sawn_before": np.where(role == "blank", before, None),
    }  # fmt: skip
    texts = {name: pl.Series(name, list(column), dtype=kind) for (name, column), kind in
             zip(behind.items(), NUMBER_COLUMNS.values(), strict=True)}  # fmt: skip
    cards = [
        (material, element, means[m, e], 0.03 * means[m, e], 0.01 * means[m, e], 2.0, 10, None, False)
        for m, material in enumerate(MATERIALS)
        for e, element in enumerate(elements)
    ]
    return results, pl.DataFrame(texts), pl.DataFrame(cards, schema=CERTIFIED_COLUMNS, orient="row")


def _playing(campaigns: int) -> float:
    from trayside.core.scheme_design import BIAS, ControlScheme, Fault, LaboratoryModel, play_scheme

    start = time.perf_counter()
    play_scheme(
        scheme=ControlScheme(), laboratory=LaboratoryModel(), fault=Fault(BIAS, 0.05), campaigns=campaigns, seed=1
    )
    return time.perf_counter() - start
