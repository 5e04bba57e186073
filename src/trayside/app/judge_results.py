"""Judge all results of a yard at once: every control of every batch, and a word for each batch and element.

    results ─┬─ standards ─┐                      ┌─ series: drift, shift, bias, carry-over, dirty lots
             ├─ blanks ────┼─ whose tag lies? ────┼─ pass, note, fail of each control
             └─ pairs ─────┘                      └─ the word of each batch and element

Whole columns at a time. The sentences of one verdict are made from this when somebody asks for it (`verdict_words`).
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl
from scipy import stats

from trayside.app.judge_blanks import blank_results, judge_blanks
from trayside.app.judge_labels import Mislabelled, find_mislabelled, mark_mislabelled, suspects
from trayside.app.judge_pairs import pair_results
from trayside.app.judge_series import SeriesFlag, series_flags
from trayside.app.judge_standards import FAIL, MISLABELLED, NOT_JUDGED, NOTE, judge_standards, standard_results
from trayside.model.rules import ResultSettings

BATCH = ("certificate_id", "element")
CHANCE_OUTSIDE = 0.05
COUNTS = ("standards", "standards_failed", "standards_noted", "blanks", "blanks_failed", "blanks_noted",
          "mislabelled", "pairs", "pairs_outside", "kinds_outside", "series_notes")  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Judged:
    """Everything that was judged. `verdicts` has one row a certificate and element with COUNTS and the word."""

    results: pl.DataFrame
    numbers: pl.DataFrame
    certified: pl.DataFrame
    standards: pl.DataFrame
    blanks: pl.DataFrame
    pairs: pl.DataFrame
    mislabelled: tuple[Mislabelled, ...]
    flags: tuple[SeriesFlag, ...]
    verdicts: pl.DataFrame
    settings: ResultSettings


def judged_elements(certified: pl.DataFrame, settings: ResultSettings) -> tuple[str, ...]:
    """The elements the rules name, else all that a standard is certified for."""
    if settings.elements:
        return settings.elements
    known = certified.filter(~pl.col("is_blank") & pl.col("certified_ppm").is_not_null())
    return tuple(sorted(known["element"].unique().to_list()))


def judge_results(
    results: pl.DataFrame, numbers: pl.DataFrame, certified: pl.DataFrame, *, settings: ResultSettings
) -> Judged:
    """Judge results (RESULT_COLUMNS) against what stands behind their numbers (NUMBER_COLUMNS)."""
    elements = judged_elements(certified, settings)
    counted = results.filter(pl.col("preferred") & pl.col("element").is_in(list(elements)))
    on_yard = numbers.filter(pl.col("role").is_in(["standard", "blank"])).select(
        "number", "role", "material", "material_kind", "lot", "hole_id", "sawn_before"
    )
    controls = counted.filter(pl.col("line_kind") == "sample").join(on_yard, on="number", how="inner")
    standards = standard_results(controls, certified)
    blanks = blank_results(controls, counted, certified, settings=settings)
    wanted = suspects(standards, blanks, settings=settings)
    mislabelled = find_mislabelled(wanted, results.filter(pl.col("preferred")), certified, settings=settings)
    standards = judge_standards(mark_mislabelled(standards, mislabelled), settings=settings)
    blanks = judge_blanks(mark_mislabelled(blanks, mislabelled), settings=settings)
    pairs = pair_results(counted, numbers, settings=settings)
    flags = series_flags(standards, blanks, settings=settings)
    verdicts = _verdicts(counted, standards, blanks, pairs, flags, settings)
    return Judged(counted, numbers, certified, standards, blanks, pairs, mislabelled, flags, verdicts, settings)


def _verdicts(
    counted: pl.DataFrame,
    standards: pl.DataFrame,
    blanks: pl.DataFrame,
    pairs: pl.DataFrame,
    flags: tuple[SeriesFlag, ...],
    settings: ResultSettings,
) -> pl.DataFrame:
    batches = (
        counted.group_by(BATCH)
        .agg(pl.col("laboratory").first(), pl.col("reported_at").first(),
             lines=(pl.col("line_kind") == "sample").sum().cast(pl.Int64))
        .sort("reported_at", "certificate_id", "element", descending=(True, True, False))
    )  # fmt: skip
    touched = pl.DataFrame(
        [(certificate, flag.element) for flag in flags for certificate in flag.certificate_ids],
        schema={"certificate_id": pl.String, "element": pl.String},
        orient="row",
    )
    counts = [
        _outcomes(standards, "standards"),
        _outcomes(blanks, "blanks"),
        pl.concat([frame.select(*BATCH, "reads_like") for frame in (standards, blanks)])
        .group_by(BATCH)
        .agg(mislabelled=pl.col("reads_like").is_not_null().sum().cast(pl.Int64)),
        _pairs(pairs, settings),
        touched.group_by(BATCH).agg(series_notes=pl.len().cast(pl.Int64)),
    ]
    for frame in counts:
        batches = batches.join(frame, on=BATCH, how="left", maintain_order="left")
    batches = batches.with_columns(pl.col(list(COUNTS)).fill_null(0))
    failed = (pl.col("standards_failed") > 0) | (pl.col("blanks_failed") > 0)
    too_few = (pl.col("standards") < settings.least_standards) | (pl.col("blanks") < settings.least_blanks)
    noted = pl.sum_horizontal("standards_noted", "blanks_noted", "mislabelled", "series_notes") > 0
    outside = pl.col("kinds_outside") > 0
    word = (
        pl.when(failed).then(pl.lit("re-assay"))
        .when(too_few).then(pl.lit("cannot judge"))
        .when(noted | outside).then(pl.lit("use with note"))
        .otherwise(pl.lit("use"))
    )  # fmt: skip
    controls = pl.col("standards_all") + pl.col("blanks_all")
    return batches.with_columns(
        word=word, samples=pl.col("lines") - pl.sum_horizontal(controls.fill_null(0))
    ).drop("lines")


def pairs_by_kind(pairs: pl.DataFrame, settings: ResultSettings) -> pl.DataFrame:
    """Pairs of each batch and kind, how many lie outside, and whether that is more than the accepted share by chance."""
    counted = pairs.group_by(*BATCH, "kind").agg(
        pairs=pl.col("outside").is_not_null().sum().cast(pl.Int64),
        pairs_outside=pl.col("outside").fill_null(False).sum().cast(pl.Int64),
    )
    chance = stats.binom.sf(
        counted["pairs_outside"].to_numpy() - 1, counted["pairs"].to_numpy(), settings.pairs_failed_share
    )
    too_many = (pl.col("pairs") >= settings.pairs_least) & (pl.Series(chance) < CHANCE_OUTSIDE)
    return counted.with_columns(too_many=too_many, chance=pl.Series(chance))


def _pairs(pairs: pl.DataFrame, settings: ResultSettings) -> pl.DataFrame:
    return (
        pairs_by_kind(pairs, settings)
        .group_by(BATCH)
        .agg(
            pl.col("pairs").sum(),
            pl.col("pairs_outside").sum(),
            kinds_outside=pl.col("too_many").sum().cast(pl.Int64),
        )
    )


def _outcomes(controls: pl.DataFrame, name: str) -> pl.DataFrame:
    """Judged, failed and noted controls of each batch; the ones that could not be judged only in `_all`."""
    outcome = pl.col("outcome")
    return controls.group_by(BATCH).agg(
        (~outcome.is_in([NOT_JUDGED, MISLABELLED])).sum().cast(pl.Int64).alias(name),
        (outcome == FAIL).sum().cast(pl.Int64).alias(f"{name}_failed"),
        (outcome == NOTE).sum().cast(pl.Int64).alias(f"{name}_noted"),
        pl.len().cast(pl.Int64).alias(f"{name}_all"),
    )
