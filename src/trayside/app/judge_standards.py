"""Standards of all batches at once: scores, the rules of the yard, and which of them pass, fail or deserve a note.

A rule that looks for a gross error or for two results far out fails the control. A rule that looks for a long run on
one side of the target fails it only when the mean of that run is off by what matters; else it is a note.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import polars as pl

from trayside.core.control_rules import RULE_SETS, Rule, RuleHits, apply_rules, westgard_rules
from trayside.core.robust import huber_proposal_2
from trayside.errors import ImpossibleValue
from trayside.model.rules import ResultSettings

PASS, FAIL, NOTE, MISLABELLED, NOT_JUDGED = "pass", "fail", "note", "mislabelled", "not judged"
GROSS_LIMIT = 2.0
SERIES = ("laboratory", "element", "material")


def rules_in_use(settings: ResultSettings) -> tuple[Rule, ...]:
    if settings.standard_rules == "Westgard":
        return westgard_rules(r4s_reading=settings.r4s_reading)
    return RULE_SETS[settings.standard_rules]


def is_gross(rule: Rule) -> bool:
    """Whether the rule speaks of results far out, not of many on one side."""
    return rule.kind in ("either side", "same side", "opposite") and rule.limit >= GROSS_LIMIT


def standard_results(controls: pl.DataFrame, certified: pl.DataFrame) -> pl.DataFrame:
    """Results of standards with their certificate, in the order of their series, scored against it.

    A result below or above a limit has a score only when the limit alone is already further than 3 deviations off.
    """
    known = certified.filter(pl.col("certified_ppm").is_not_null() & pl.col("sd_ppm").is_not_null())
    z = (pl.col("value_ppm") - pl.col("certified_ppm")) / pl.col("sd_ppm")
    censor = pl.col("censor")
    scored = (
        pl.when(censor == "none").then(z)
        .when((censor == "lt") & (z < -3.0)).then(z)
        .when((censor == "gt") & (z > 3.0)).then(z)
    )  # fmt: skip
    return (
        controls.filter(pl.col("role") == "standard")
        .join(known, on=("material", "element"), how="inner")
        .with_columns(z=scored)
        .sort("laboratory", "element", "material", "reported_at", "certificate_id", "place")
    )


def judge_standards(standards: pl.DataFrame, *, settings: ResultSettings) -> pl.DataFrame:
    """`standard_results` with `score` (what the rules read), `broken` (names of the rules), `run_bias`, `warned` and `outcome`.

    Rows whose `reads_like` names another material are taken out of the series of their label.
    """
    mislabelled = pl.col("reads_like").is_not_null()
    frame = standards.with_row_index("row")
    judged = frame.filter(~mislabelled & pl.col("z").is_not_null() & pl.col("z").is_finite())
    used = judged["z"].to_numpy()
    if settings.scores_against == "own history":
        own = own_scores(judged, settings=settings)
        used = np.where(np.isnan(own), used, own)
    hits = _hits(judged, used, settings)
    frame = frame.join(hits, on="row", how="left")
    outcome = (
        pl.when(mislabelled).then(pl.lit(MISLABELLED))
        .when(pl.col("outcome").is_null()).then(pl.lit(NOT_JUDGED))
        .otherwise(pl.col("outcome"))
    )  # fmt: skip
    return frame.with_columns(outcome=outcome, warned=pl.col("warned").fill_null(False)).drop("row")


def series_starts(frame: pl.DataFrame, by: tuple[str, ...]) -> np.ndarray:
    """Code of the stretch each row lies in; rows of one series stand together."""
    if frame.is_empty():
        return np.zeros(0, dtype=np.int64)
    return frame.select(pl.struct(by).rle_id()).to_series().to_numpy().astype(np.int64)


def own_scores(judged: pl.DataFrame, *, settings: ResultSettings) -> np.ndarray:
    """Scores against the robust mean and scatter of the series itself; NaN while it has too few results."""
    scores = np.full(judged.height, np.nan)
    value = judged["value_ppm"].to_numpy()
    code = series_starts(judged, SERIES)
    edges = np.flatnonzero(np.diff(code, prepend=-1, append=-2))
    for first, last in pairwise(edges):
        if last - first >= settings.own_history_least:
            centre = _centre(value[first:last])
            if centre is not None:
                scores[first:last] = (value[first:last] - centre[0]) / centre[1]
    return scores


def _centre(values: np.ndarray) -> tuple[float, float] | None:
    try:
        found = huber_proposal_2(values)
    except ImpossibleValue:
        return None
    return (found.mean, found.sd) if found.sd > 0.0 else None


def _hits(judged: pl.DataFrame, z: np.ndarray, settings: ResultSettings) -> pl.DataFrame:
    rules = rules_in_use(settings)
    series, batch = series_starts(judged, SERIES), series_starts(judged, (*SERIES, "certificate_id"))
    opposite = tuple(rule for rule in rules if rule.kind == "opposite")
    across = opposite if settings.r4s_across_materials else ()
    own = tuple(rule for rule in rules if rule not in across)
    hits = apply_rules(z, rules=own, batches=batch, series=series)
    by_rule = dict(hits.by_rule)
    if across:
        by_rule |= _across_materials(judged, z, across).by_rule
    value = judged["value_ppm"].to_numpy() / judged["certified_ppm"].to_numpy() - 1.0
    failed, noted, warned = (np.zeros(len(z), dtype=bool) for _ in range(3))
    run_bias = np.full(len(z), np.nan)
    for rule in rules:
        hit = by_rule[rule.name]
        if rule.warning:
            warned |= hit
        elif is_gross(rule):
            failed |= hit | _partners(rule, hit, z, series, batch)
        else:
            mean = _window_mean(value, rule.of, series)
            off = hit & (np.abs(mean) > settings.bias_that_matters)
            failed |= off | _window_before(off, rule.of, batch)
            noted |= hit
            run_bias[hit] = mean[hit]
    names = [rule.name for rule in rules]
    broken = np.full(len(z), "", dtype=object)
    any_hit = np.flatnonzero(np.logical_or.reduce([by_rule[name] for name in names]) if names else warned)
    for place in any_hit:
        broken[place] = "; ".join(name for name in names if by_rule[name][place])
    return pl.DataFrame(
        {
            "row": judged["row"],
            "score": z,
            "broken": pl.Series(broken, dtype=pl.String),
            "run_bias": run_bias,
            "warned": warned,
            "outcome": pl.Series(np.where(failed, FAIL, np.where(noted, NOTE, PASS)), dtype=pl.String),
        }
    )


def _across_materials(judged: pl.DataFrame, z: np.ndarray, rules: tuple[Rule, ...]) -> RuleHits:
    """Rules that hold standards of one batch against each other, whatever material they are."""
    at = judged.select("laboratory", "element", "reported_at", "certificate_id", "place").with_row_index("at")
    ordered = at.sort("laboratory", "element", "reported_at", "certificate_id", "place")
    order = ordered["at"].to_numpy()
    series = series_starts(ordered, ("laboratory", "element"))
    batch = series_starts(ordered, ("laboratory", "element", "reported_at", "certificate_id"))
    hits = apply_rules(z[order], rules=rules, batches=batch, series=series)
    by_rule = {}
    for name, flags in hits.by_rule.items():
        back = np.zeros(len(z), dtype=bool)
        back[order] = flags
        by_rule[name] = back
    return RuleHits(by_rule, np.logical_or.reduce(list(by_rule.values())), np.zeros(len(z), dtype=bool))


def _partners(rule: Rule, hit: np.ndarray, z: np.ndarray, series: np.ndarray, batch: np.ndarray) -> np.ndarray:
    """Earlier results of the batch that make the rule complete: they fail with the one that completes it."""
    partner = np.zeros(len(z), dtype=bool)
    if rule.kind != "same side" or rule.count < 2:
        return partner
    for back in range(1, rule.of):
        at = np.flatnonzero(hit)
        at = at[at >= back]
        before = at - back
        same = (batch[before] == batch[at]) & (np.sign(z[before]) == np.sign(z[at])) & (np.abs(z[before]) > rule.limit)
        partner[before[same]] = True
    return partner


def _window_mean(value: np.ndarray, of: int, series: np.ndarray) -> np.ndarray:
    """Mean over the last `of` results of the series, or as many as there are."""
    if not len(value):
        return value
    total = np.concatenate(([0.0], np.cumsum(value)))
    place = np.arange(len(value))
    first = np.maximum.accumulate(np.where(np.diff(series, prepend=-1) != 0, place, 0))
    begin = np.maximum(place - of + 1, first)
    return (total[1:] - total[begin]) / (place - begin + 1)


def _window_before(hit: np.ndarray, of: int, batch: np.ndarray) -> np.ndarray:
    """The other results of the window, as far as they lie in the batch of the one that completes it."""
    marked = np.zeros(len(hit), dtype=bool)
    at = np.flatnonzero(hit)
    for back in range(1, of):
        here = at[at >= back]
        before = here - back
        marked[before[batch[before] == batch[here]]] = True
    return marked
