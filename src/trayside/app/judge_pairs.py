"""Pairs of all batches at once: two results that should be one, kind by kind, and which lie outside their hyperbola.

Kinds are never pooled. A pair belongs to the batch of its second result.
"""

from __future__ import annotations

import polars as pl

from trayside.model.rules import PAIR_SLOPES, ResultSettings

FIELD_KINDS = ("half/half", "half/quarter", "quarter/quarter")
LABORATORY_KINDS = {"coarse duplicate": "coarse", "pulp duplicate": "pulp"}
SECOND_LABORATORY = "second laboratory"
PAIR_COLUMNS = (
    "certificate_id", "laboratory", "reported_at", "place", "element", "kind", "number", "second_number",
    "first_certificate_id", "first_place", "first_ppm", "second_ppm", "first_text", "second_text", "censored",
    "lower_limit_ppm",
)  # fmt: skip


def pair_results(results: pl.DataFrame, numbers: pl.DataFrame, *, settings: ResultSettings) -> pl.DataFrame:
    """Every pair of results with PAIR_COLUMNS and `outside`; null where a result is below or above a limit."""
    lines = results.filter(pl.col("line_kind") == "sample")
    found = [_field(lines, numbers), _in_laboratory(results, lines), _second_laboratory(lines)]
    pairs = pl.concat([frame.select(PAIR_COLUMNS) for frame in found])
    return _outside(pairs, settings).sort("laboratory", "element", "kind", "reported_at", "certificate_id", "place")


def _field(lines: pl.DataFrame, numbers: pl.DataFrame) -> pl.DataFrame:
    """Samples and their field duplicates; each result once, the newest when one came back twice."""
    duplicates = (
        numbers.filter(pl.col("role") == "duplicate")
        .select("number", first_number="pair_of", kind="pair_kind")
        .drop_nulls()
    )
    second = lines.join(duplicates, on="number", how="inner")
    first = lines.filter(pl.col("number").is_in(duplicates["first_number"].unique().implode()))
    return _join(first, second, on=("laboratory", "element"), left="number", right="first_number")


def _in_laboratory(results: pl.DataFrame, lines: pl.DataFrame) -> pl.DataFrame:
    """The laboratory's own second splits and second weighings of a line in the same certificate."""
    second = results.filter(pl.col("line_kind").is_in(list(LABORATORY_KINDS))).with_columns(
        kind=pl.col("line_kind").replace_strict(LABORATORY_KINDS, default=None), first_number=pl.col("number")
    )
    wanted = second.select("certificate_id", "number").unique()
    first = lines.filter(pl.col("number").is_in(wanted["number"].unique().implode())).join(
        wanted, on=("certificate_id", "number"), how="semi"
    )
    return _join(first, second, on=("certificate_id", "laboratory", "element"), left="number", right="first_number")


def _second_laboratory(lines: pl.DataFrame) -> pl.DataFrame:
    """The same number from another laboratory: the earlier report is the first of the pair."""
    laboratories = lines["laboratory"].unique()
    schema = lines.schema | {"kind": pl.String, "first_number": pl.String}
    if len(laboratories) < 2:
        nothing = pl.DataFrame(schema=schema)
        return _join(nothing.drop("kind", "first_number"), nothing, on=("element",), left="number", right="first_number")
    at = lines.select("number", "laboratory").unique()
    twice = at.group_by("number").agg(pl.len()).filter(pl.col("len") > 1).select("number")
    both = lines.join(twice, on="number", how="semi").sort("reported_at", "certificate_id", "place")
    first_laboratory = both.unique("number", keep="first", maintain_order=True).select("number", home="laboratory")
    both = both.join(first_laboratory, on="number", how="left")
    second = both.filter(pl.col("laboratory") != pl.col("home")).with_columns(
        kind=pl.lit(SECOND_LABORATORY), first_number=pl.col("number")
    )
    first = both.filter(pl.col("laboratory") == pl.col("home"))
    return _join(first.drop("home"), second.drop("home"), on=("element",), left="number", right="first_number")


def _join(first: pl.DataFrame, second: pl.DataFrame, *, on: tuple[str, ...], left: str, right: str) -> pl.DataFrame:
    """Each second result beside the newest first one."""
    keep = ("place", "number", "value_ppm", "censor", "raw_text")
    beside = {name: f"_first_{name}" for name in keep}
    more = [name for name in ("certificate_id",) if name not in on]
    ahead = first.sort("reported_at", "certificate_id", "place").select(
        *on, *(pl.col(name).alias(new) for name, new in beside.items()),
        *(pl.col(name).alias(f"_first_{name}") for name in more), key=pl.col(left),
    )  # fmt: skip
    ahead = ahead.unique((*on, "key"), keep="last", maintain_order=True)
    joined = second.join(ahead, left_on=(*on, right), right_on=(*on, "key"), how="inner")
    home = "_first_certificate_id" if more else "certificate_id"
    counts = (pl.col("censor") == "none") & (pl.col("_first_censor") == "none")
    present = pl.col("value_ppm").is_not_null() & pl.col("_first_value_ppm").is_not_null()
    return joined.filter(present).select(
        "certificate_id", "laboratory", "reported_at", "place", "element", "kind",
        pl.col("_first_number").alias("number"), pl.col("number").alias("second_number"),
        pl.col(home).alias("first_certificate_id"), pl.col("_first_place").alias("first_place"),
        pl.col("_first_value_ppm").alias("first_ppm"), pl.col("value_ppm").alias("second_ppm"),
        pl.col("_first_raw_text").alias("first_text"), pl.col("raw_text").alias("second_text"),
        (~counts).alias("censored"), "lower_limit_ppm",
    )  # fmt: skip


def _outside(pairs: pl.DataFrame, settings: ResultSettings) -> pl.DataFrame:
    """larger^2 > m^2 smaller^2 + b^2; null for pairs below or above a limit."""
    limits = {kind: settings.hyperbola(kind, lower_limit_ppm=1.0) for kind in PAIR_SLOPES}
    m = pl.col("kind").replace_strict({kind: m for kind, (m, _) in limits.items()}, default=None, return_dtype=pl.Float64)
    zero = pl.col("kind").replace_strict(
        {kind: b for kind, (_, b) in limits.items()}, default=None, return_dtype=pl.Float64
    )
    larger = pl.max_horizontal("first_ppm", "second_ppm")
    smaller = pl.min_horizontal("first_ppm", "second_ppm")
    return pairs.with_columns(m=m, b_ppm=zero * pl.col("lower_limit_ppm").fill_null(0.0)).with_columns(
        outside=pl.when(~pl.col("censored")).then(
            larger**2 > pl.col("m") ** 2 * smaller**2 + pl.col("b_ppm") ** 2
        )
    )
