"""Results of a certificate read all at once: plain numbers by columns, whatever else is written once for each distinct text.

A plain number is what `core.assay_value` reads the same way; everything with a sign, a word, a space or a doubt goes to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import polars

from trayside.app.assay_ports import RESULT_ROW
from trayside.core.assay_value import ReadingRules, read_assay_value
from trayside.model.assay import Analyte

ABOVE, BELOW = "above its upper limit: check the unit", "below its lower limit: check the unit"
MORE_THAN_ALL = "more than the whole sample: check the unit"
ZERO = "zero: no result, or below the limit?"
PLAIN = {".": r"^[0-9]{1,18}(?:\.[0-9]{0,18})?$", ",": r"^[0-9]{1,18}(?:,[0-9]{0,18})?$", "ask": r"^[0-9]{1,18}$"}
LARGEST, SMALLEST = 1e30, 1e-30
NOTES = {"place": polars.Int64, "column": polars.Int64, "raw_text": polars.String, "note": polars.String}
READ = {
    "raw_text": polars.String, "of_column": polars.Int64, "own_low": polars.String, "own_high": polars.String,
    "read_value": polars.Float64, "read_censor": polars.String, "read_low": polars.Float64, "read_high": polars.Float64,
    "note": polars.String,
}  # fmt: skip


def read_results(
    cells: polars.DataFrame, *, analytes: Sequence[Analyte], rules: ReadingRules
) -> tuple[polars.DataFrame, polars.DataFrame]:
    """Results (RESULT_ROW without `preferred`) and notes of `cells`, which has place, column, raw_text.

    `cells` may have `own_low` and `own_high`: limits written beside each result, which beat those of the column.
    """
    limits = polars.DataFrame(
        [(one.column, one.lower_limit, one.upper_limit) for one in analytes],
        schema={"column": polars.Int64, "low": polars.Float64, "high": polars.Float64},
        orient="row",
    )
    own = "own_low" in cells.columns
    if not own:
        cells = cells.with_columns(own_low=polars.lit(None, polars.String), own_high=polars.lit(None, polars.String))
    raw = polars.col("raw_text").fill_null("")
    plain = polars.col("raw_text").str.contains(PLAIN[rules.decimal_mark])
    written = polars.col("raw_text").str.replace(",", ".", literal=True) if rules.decimal_mark == "," else polars.col("raw_text")
    rows = cells.with_columns(raw.alias("raw_text")).join(limits, on="column", how="left", maintain_order="left")
    rows = rows.with_columns(
        polars.when(plain).then(written).cast(polars.Float64, strict=False).alias("value"),
    )
    simple = polars.col("value").is_not_null() & (
        (polars.col("value") == 0) | polars.col("value").is_between(SMALLEST, LARGEST)
    )
    if own:
        simple = simple & polars.col("own_low").is_null() & polars.col("own_high").is_null()
    rows = rows.with_columns(simple.alias("simple"))
    rest = rows.filter(~polars.col("simple"))
    note = (
        polars.when(~polars.col("simple"))
        .then(None)
        .when(polars.col("value") == 0)
        .then(polars.lit(ZERO))
        .when(polars.col("value") < polars.col("low"))
        .then(polars.lit(BELOW))
        .when(polars.col("value") > polars.col("high"))
        .then(polars.lit(ABOVE))
    )
    if rest.is_empty():
        done = rows.with_columns(
            note.alias("note"),
            polars.lit("none").alias("censor"),
            polars.lit(None, polars.Float64).alias("lower_limit"),
            polars.lit(None, polars.Float64).alias("upper_limit"),
        )
    else:
        read = _read_distinct(rest, analytes=analytes, rules=rules)
        done = (
            rows.with_columns(note.alias("plain_note"))
            .join(
                read,
                left_on=["raw_text", "column", "own_low", "own_high"],
                right_on=["raw_text", "of_column", "own_low", "own_high"],
                how="left",
                nulls_equal=True,
                maintain_order="left",
            )
            .with_columns(
                polars.when("simple").then("value").otherwise("read_value").alias("value"),
                polars.when("simple").then(polars.lit("none")).otherwise("read_censor").alias("censor"),
                polars.when(~polars.col("simple")).then("read_low").alias("lower_limit"),
                polars.when(~polars.col("simple")).then("read_high").alias("upper_limit"),
                polars.when("simple").then("plain_note").otherwise("note").alias("note"),
            )
        )
    notes = done.filter(polars.col("note").is_not_null()).select(*NOTES)
    return done.select(*(name for name in RESULT_ROW if name != "preferred")), notes


def _read_distinct(rest: polars.DataFrame, *, analytes: Sequence[Analyte], rules: ReadingRules) -> polars.DataFrame:
    by_column = {one.column: one for one in analytes}
    found = []
    for raw, column, own_low, own_high in rest.select("raw_text", "column", "own_low", "own_high").unique().iter_rows():
        found.append((raw, column, own_low, own_high, *_read(raw, by_column[column], own_low, own_high, rules)))
    return polars.DataFrame(found, schema=READ, orient="row")


def _read(raw: str, analyte: Analyte, own_low: str | None, own_high: str | None, rules: ReadingRules) -> tuple:
    """Value, flag, own limits and note of one text. The value of `lt` and `gt` is the limit it names."""
    low, first = _limit(own_low, rules, analyte.lower_limit)
    high, second = _limit(own_high, rules, analyte.upper_limit)
    notes = [note for note in (first, second) if note]
    if low is not None and high is not None and not low < high:
        notes.append(f"its limits {low:g} and {high:g} are no range")
        low, high = analyte.lower_limit, analyte.upper_limit
    one = read_assay_value(raw, lower_limit=low, upper_limit=high, rules=rules)
    lower = None if one.lower_limit is None else float(one.lower_limit)
    upper = None if one.upper_limit is None else float(one.upper_limit)
    value = {"lt": lower, "gt": upper}.get(one.censor, None if one.value is None else float(one.value))
    return (
        value,
        one.censor,
        None if lower == analyte.lower_limit else lower,
        None if upper == analyte.upper_limit else upper,
        "; ".join([*one.notes, *notes]) or None,
    )


def _limit(text: str | None, rules: ReadingRules, of_column: float | None) -> tuple[float | None, str]:
    """A limit written beside one result; the column's when there is none."""
    if text is None or not text.strip():
        return of_column, ""
    limit = limit_of(text, rules)
    return (of_column, f"the limit {text[:40]!r} is no number above 0") if limit is None else (limit, "")


def limit_of(text: str, rules: ReadingRules) -> float | None:
    """A stated limit, with or without its sign; None when it is no number of more than 0."""
    one = read_assay_value(text.lstrip("<> "), rules=rules)
    return float(one.value) if one.censor == "none" and one.value is not None and one.value > Decimal(0) else None


def beyond_all(results: polars.DataFrame, analytes: Sequence[Analyte]) -> polars.DataFrame:
    """A note on every amount that would be more than the whole sample: no limit of its column need say so."""
    whole = polars.DataFrame(
        [(one.column, 1e6 / one.ppm_per_unit) for one in analytes if one.ppm_per_unit],
        schema={"column": polars.Int64, "whole": polars.Float64},
        orient="row",
    )
    more = results.join(whole, on="column", how="inner", maintain_order="left").filter(
        polars.col("censor").is_in(["none", "gt"]) & (polars.col("value") > polars.col("whole") * (1 + 1e-9))
    )
    return more.select("place", "column", "raw_text", polars.lit(MORE_THAN_ALL).alias("note"))


def preferred(results: polars.DataFrame, *, analytes: Sequence[Analyte], chosen: Sequence[int] = ()) -> polars.DataFrame:
    """The results with `preferred`: of several columns of one element, the first that says an amount.

    A result above its range gives way to one that has a number. Columns a person chose come first, repeats last.
    """
    named = polars.DataFrame(
        [(a.column, a.element, 0 if a.column in chosen else 2 if "repeat" in a.method.split() else 1) for a in analytes],
        schema={"column": polars.Int64, "element": polars.String, "order": polars.Int64},
        orient="row",
    )
    several = named.group_by("element").len().filter(polars.col("len") > 1)["element"]
    if several.is_empty():
        return results.with_columns(polars.lit(True).alias("preferred"))
    shared = named.filter(polars.col("element").is_in(several.implode()))
    says = (
        polars.when(polars.col("censor").is_in(["none", "lt"]))
        .then(0)
        .when(polars.col("censor") == "gt")
        .then(1)
        .otherwise(2)
    )
    best = (
        results.select("place", "column", says.alias("says"))
        .join(shared, on="column", how="inner")
        .sort("place", "element", "says", "order", "column")
        .unique(subset=["place", "element"], keep="first", maintain_order=True)
        .select("place", "column", polars.lit(True).alias("best"))
    )
    is_shared = polars.col("column").is_in(shared["column"].implode())
    return results.join(best, on=["place", "column"], how="left", maintain_order="left").with_columns(
        (~is_shared | polars.col("best").is_not_null()).alias("preferred")
    ).drop("best")
