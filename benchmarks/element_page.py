"""The page of an element over 100,000 controls: median time of the page, and of the page with every chart on it.

Certificates, materials and rules stand in a real store; their results are judged beforehand and handed to the
program's memory, as they are when anybody looked at any page of results before. All of it is invented.
"""

from __future__ import annotations

import re
import tempfile
import time
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from statistics import median

import numpy as np
import polars as pl
from starlette.testclient import TestClient

from benchmarks.figures import Figure, in_child

GOAL_MS = 300.0
BATCHES, SMALL_BATCHES, LINES = 500, 50, 400
MATERIALS = {"S-1": 0.5, "S-2": 2.0, "S-3": 8.0}
CHART = re.compile(r'data-chart="([^"]+)"')


def measure(*, small: bool) -> list[Figure]:
    batches, rounds = (SMALL_BATCHES, 5) if small else (BATCHES, 21)
    with tempfile.TemporaryDirectory() as room:
        (controls, first_s, page_s, charts_s, kilobytes), _ = in_child(_page, Path(room), batches, rounds)
    of = f"{controls:,} controls"
    return [
        Figure("element page", f"{of}, median of {rounds}", 1000 * page_s, "ms", GOAL_MS),
        Figure("element page", f"{of}, with every chart", 1000 * charts_s, "ms", None, f"{kilobytes:,.0f} kB together"),
        Figure("element page", f"{of}, the first time", 1000 * first_s, "ms", None, "series computed, results judged before"),
    ]


def _page(room: Path, batches: int, rounds: int) -> tuple[int, float, float, float, float]:
    from trayside.bootstrap import open_store, site

    start_work = open_store(str(room / "yard.sqlite"))
    controls = fill(start_work, batches)
    with TestClient(site(start_work), base_url="http://127.0.0.1") as client:
        began = time.perf_counter()
        page = client.get("/results/element/Au")
        first = time.perf_counter() - began
        page.raise_for_status()
        alone, together, size = [], [], 0.0
        for _ in range(rounds):
            began = time.perf_counter()
            text = client.get("/results/element/Au").text
            alone.append(time.perf_counter() - began)
            charts = [client.get(unescape(address)).content for address in CHART.findall(text)]
            together.append(time.perf_counter() - began)
            size = (len(text) + sum(len(chart) for chart in charts)) / 1000
    assert charts, "the page has no chart"
    return controls, first, median(alone), median(together), size


def fill(start_work, batches: int) -> int:
    """Certificates into the store, their judged results into the memory of the program; how many controls there are."""
    from trayside.app.assay_ports import RESULT_ROW
    from trayside.app.judge_batch import YardJudgement, _fingerprint, _kept, rule_set
    from trayside.app.judge_results import judge_results
    from trayside.app.yard_rules import rules_of
    from trayside.model.assay import Analyte, Certificate

    analytes = (Analyte(1, "Au", "g/t", "FA", 0.005, 100.0, 1.0),)
    day = datetime(2029, 1, 1, tzinfo=UTC)
    with start_work() as work:
        for at in range(batches):
            name, when = work.assays.new_certificate_id(), day + timedelta(days=at)
            work.assays.add_certificate(
                Certificate(name, "Demo laboratory A", f"J-{at + 1}", when, when, "Demo operator", f"{at}.csv",
                            f"{at:064d}", LINES, analytes),
                [], pl.DataFrame(schema=RESULT_ROW),
            )  # fmt: skip
        work.commit()
    results, numbers, certified = invented(batches, day)
    with start_work(writing=False) as work:
        certificates, rules = work.assays.certificates(), rules_of(work)
        fingerprint = _fingerprint(work, certificates)
    judged = judge_results(results, numbers, certified, settings=rules.results)
    held = {one.certificate_id: one for one in certificates}
    _kept[fingerprint] = YardJudgement(fingerprint, judged, rule_set(rules.results, certified), rules, held, {}, {})
    return judged.standards.height + judged.blanks.height + judged.pairs.height


def invented(batches: int, day: datetime) -> tuple[pl.DataFrame, pl.DataFrame, pl.DataFrame]:
    """Every other line is a control: standards that drift a little, blanks behind samples, duplicates of halves."""
    from trayside.app.assay_ports import RESULT_COLUMNS
    from trayside.app.judge_ground import CERTIFIED_COLUMNS, NUMBER_COLUMNS

    chance, lines = np.random.default_rng(5), batches * LINES
    line = np.arange(lines)
    role = np.array(["sample", "standard", "sample", "blank", "sample", "standard", "sample", "duplicate", "sample", "standard"])
    role = role[line % 10]
    number = np.array([f"N{1_000_000 + at}" for at in line])
    names = np.array(list(MATERIALS))
    which = (np.cumsum(role == "standard") - 1) % len(names)
    value = np.exp(chance.normal(0.0, 1.2, lines))
    standard, blank, duplicate = (role == one for one in ("standard", "blank", "duplicate"))
    target = np.array(list(MATERIALS.values()))[which]
    value = np.where(standard, target * (1 + 0.03 * chance.standard_normal(lines) + 0.02 * line / lines), value)
    value = np.where(blank, 0.004 + 0.003 * np.roll(value, 1) + np.abs(0.002 * chance.standard_normal(lines)), value)
    value = np.where(duplicate, np.roll(value, 1) * np.exp(0.15 * chance.standard_normal(lines)), value)
    before, none = np.roll(number, 1), np.full(lines, None)
    reported = np.array([(day + timedelta(days=at)).isoformat() for at in range(batches)])[line // LINES]
    held = {
        "certificate_id": np.array([f"CT-{at + 1:05d}" for at in range(batches)])[line // LINES],
        "laboratory": np.full(lines, "Demo laboratory A"), "reported_at": reported, "place": line % LINES + 1,
        "number": number, "line_kind": np.full(lines, "sample"), "rack": np.full(lines, ""), "column": np.ones(lines),
        "element": np.full(lines, "Au"), "method": np.full(lines, "FA"), "unit": np.full(lines, "g/t"),
        "raw_text": np.char.mod("%.4g", value), "value": value, "value_ppm": value, "censor": np.full(lines, "none"),
        "lower_limit_ppm": np.full(lines, 0.005), "upper_limit_ppm": np.full(lines, 100.0),
        "preferred": np.full(lines, True),
    }  # fmt: skip
    behind = {name: none for name in NUMBER_COLUMNS} | {
        "number": number, "role": role, "material": np.where(standard, names[which], np.where(blank, "B-1", None)),
        "material_kind": np.where(standard, "standard", np.where(blank, "coarse blank", None)),
        "lot": np.where(standard | blank, "L-1", None), "pair_of": np.where(duplicate, before, None),
        "pair_kind": np.where(duplicate, "half/half", None), "hole_id": np.full(lines, "H-1"), "seq": line,
        "weighed": np.full(lines, False), "sawn_before": np.where(blank, before, None),
    }  # fmt: skip
    cards = [(name, "Au", mean, 0.03 * mean, 0.01 * mean, 2.0, 12, None, False) for name, mean in MATERIALS.items()]
    cards.append(("B-1", "Au", None, None, None, None, None, 0.025, True))
    return (
        pl.DataFrame(held).cast(RESULT_COLUMNS),
        pl.DataFrame({name: pl.Series(values.tolist(), dtype=NUMBER_COLUMNS[name]) for name, values in behind.items()}),
        pl.DataFrame(cards, schema=CERTIFIED_COLUMNS, orient="row"),
    )
