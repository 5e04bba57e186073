"""Blanks of all batches at once: their limits, what came before them in the laboratory and on the saw, and the verdict."""

from __future__ import annotations

import polars as pl

from trayside.app.judge_standards import FAIL, MISLABELLED, NOT_JUDGED, NOTE, PASS
from trayside.model.rules import ResultSettings

FINE = "fine blank"


def blank_results(
    controls: pl.DataFrame, results: pl.DataFrame, certified: pl.DataFrame, *, settings: ResultSettings
) -> pl.DataFrame:
    """Results of blanks with `limit_ppm`, `above`, and the sample before them in either order.

    The limit is the material's own, else so many lower limits of the method. `above` is null where it cannot be said:
    no limit known, no number, or a "less than" whose limit is above that of the blank.
    """
    upper = certified.filter(pl.col("is_blank")).select("material", "element", "upper_ppm")
    factor = (
        pl.when(pl.col("material_kind") == FINE)
        .then(settings.fine_blank_limits)
        .otherwise(settings.coarse_blank_limits)
    )
    limit = pl.coalesce(pl.col("upper_ppm"), factor * pl.col("lower_limit_ppm"))
    censor, value = pl.col("censor"), pl.col("value_ppm")
    above = (
        pl.when((censor == "none") & value.is_not_null()).then(value > pl.col("limit_ppm"))
        .when((censor == "not_detected") | ((censor == "lt") & (value <= pl.col("limit_ppm")))).then(False)
        .when((censor == "gt") & (value >= pl.col("limit_ppm"))).then(True)
    )  # fmt: skip
    blanks = (
        controls.filter(pl.col("role") == "blank")
        .join(upper, on=("material", "element"), how="left")
        .with_columns(limit_ppm=limit)
        .with_columns(above=above)
        .sort("laboratory", "element", "material", "reported_at", "certificate_id", "place")
    )
    return _sample_sawn_before(_sample_before(blanks, results), results)


def _sample_before(blanks: pl.DataFrame, results: pl.DataFrame) -> pl.DataFrame:
    """`before`, `before_ppm`: what the laboratory had on the line before, control or sample."""
    wanted = blanks.select("certificate_id", "element", place=pl.col("place") - 1).unique()
    found = (
        results.filter(pl.col("place").is_in(wanted["place"].unique().implode()))
        .select("certificate_id", "place", "element", before="number", before_ppm="value_ppm", sign="censor")
        .join(wanted, on=("certificate_id", "place", "element"), how="semi")
        .unique(("certificate_id", "element", "place"), keep="first", maintain_order=True)
        .with_columns(place=pl.col("place") + 1, before_ppm=_content())
        .drop("sign")
    )
    return blanks.join(found, on=("certificate_id", "place", "element"), how="left", maintain_order="left")


def _sample_sawn_before(blanks: pl.DataFrame, results: pl.DataFrame) -> pl.DataFrame:
    """`before_saw_ppm`: what the sample sawn before reads, in whichever certificate it came back."""
    wanted = blanks.select("laboratory", "element", number="sawn_before").drop_nulls().unique()
    found = (
        results.filter(pl.col("number").is_in(wanted["number"].unique().implode()))
        .select("laboratory", "number", "element", before_saw_ppm="value_ppm", sign="censor")
        .join(wanted, on=("laboratory", "number", "element"), how="semi")
        .unique(("laboratory", "number", "element"), keep="last", maintain_order=True)
        .with_columns(before_saw_ppm=_content("before_saw_ppm"))
        .drop("sign")
        .rename({"number": "sawn_before"})
    )
    return blanks.join(found, on=("laboratory", "sawn_before", "element"), how="left", maintain_order="left")


def _content(name: str = "before_ppm") -> pl.Expr:
    """A number, or what the result is at least or at most; null where nothing was measured."""
    return pl.when(pl.col("sign").is_in(["none", "lt", "gt"])).then(pl.col(name))


def judge_blanks(blanks: pl.DataFrame, *, settings: ResultSettings) -> pl.DataFrame:
    """`blank_results` with `share_before` and `outcome`; a blank that really is another material is no failure.

    All that a blank above its limit holds may have been carried over from the sample before, when that share is within
    what the yard allows: then the setting decides whether it is a note or a failure.
    """
    share = pl.when(pl.col("before_ppm") > 0).then(pl.col("value_ppm") / pl.col("before_ppm"))
    carried = NOTE if settings.carried_is == "note" else FAIL
    outcome = (
        pl.when(pl.col("reads_like").is_not_null()).then(pl.lit(MISLABELLED))
        .when(pl.col("above").is_null()).then(pl.lit(NOT_JUDGED))
        .when(~pl.col("above")).then(pl.lit(PASS))
        .when(pl.col("share_before") <= settings.carry_over_allowed).then(pl.lit(carried))
        .otherwise(pl.lit(FAIL))
    )  # fmt: skip
    return blanks.with_columns(share_before=share).with_columns(outcome=outcome)
