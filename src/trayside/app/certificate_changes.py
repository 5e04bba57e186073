"""What a re-issue changed, value by value, and whether a unit was changed underneath."""

from __future__ import annotations

import math
from dataclasses import dataclass

import polars

from trayside.app.certificate_reading import CertificateRead
from trayside.core.units import SHORT_TON_G, TROY_OUNCE_G
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found

KEYS = ("number", "line_kind", "turn", "element")
CHANGE_FRAME = {
    "kind": polars.String,
    "number": polars.String,
    "line_kind": polars.String,
    "element": polars.String,
    "method": polars.String,
    "before_text": polars.String,
    "before_unit": polars.String,
    "after_text": polars.String,
    "after_unit": polars.String,
    "ratio": polars.Float64,
}
UNIT_RATIOS = {
    **{float(power): "" for power in (-6, -4, -3, -2, -1, 1, 2, 3, 4, 6)},
    math.log10(float(TROY_OUNCE_G)): " (the grams of a troy ounce)",
    -math.log10(float(TROY_OUNCE_G)): " (one over the grams of a troy ounce)",
    math.log10(float(TROY_OUNCE_G / SHORT_TON_G) * 1e6): " (the g/t of a troy ounce a short ton)",
    -math.log10(float(TROY_OUNCE_G / SHORT_TON_G) * 1e6): " (one over the g/t of a troy ounce a short ton)",
}
"""Powers of ten by which a whole column moves when its unit is changed and its numbers are not, and what they are."""
NEAR = 0.03
LEAST_PAIRS = 3
LEAST_SHARE = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Changes:
    """Every value that differs (`frame`, CHANGE_FRAME), the findings about it, and how much was compared."""

    frame: polars.DataFrame
    findings: tuple[Finding, ...]
    compared: int


def results_frame(read: CertificateRead) -> polars.DataFrame:
    """The results of a file as read, each with its number, element, method and unit."""
    columns = polars.DataFrame(
        [(a.column, a.element, a.method, a.unit, a.ppm_per_unit) for a in read.analytes],
        schema={
            "column": polars.Int64, "element": polars.String, "method": polars.String, "unit": polars.String,
            "ppm": polars.Float64,
        },
        orient="row",
    )  # fmt: skip
    return (
        read.results.join(columns, on="column", how="inner", maintain_order="left")
        .join(read.lines.select("place", "number", "line_kind"), on="place", how="inner", maintain_order="left")
        .with_columns((polars.col("value") * polars.col("ppm")).alias("value_ppm"))
    )


def compare_issues(before: polars.DataFrame, after: polars.DataFrame, *, superseded: str) -> Changes:
    """Two frames of results of one job: what differs. Methods are matched by name, a renamed one by being alone."""
    old, new = _turned(before), _turned(after)
    old, new = _methods_matched(old, new)
    on = [*KEYS, "method"]
    both = old.join(new, on=on, how="full", suffix="_after", coalesce=True, nulls_equal=True)
    same_text = polars.col("raw_text").str.strip_chars() == polars.col("raw_text_after").str.strip_chars()
    same_unit = polars.col("unit") == polars.col("unit_after")
    same_amount = (
        (polars.col("censor") == polars.col("censor_after"))
        & ((polars.col("value_ppm") - polars.col("value_ppm_after")).abs() <= 1e-9 * polars.col("value_ppm").abs())
    ).fill_null(False)
    kind = (
        polars.when(polars.col("raw_text_after").is_null())
        .then(polars.lit("gone"))
        .when(polars.col("raw_text").is_null())
        .then(polars.lit("added"))
        .when(~same_unit)
        .then(polars.lit("unit"))
        .when(same_text | same_amount)
        .then(None)
        .otherwise(polars.lit("value"))
    )
    number = (polars.col("censor") == "none") & (polars.col("censor_after") == "none") & (polars.col("value_ppm") > 0)
    ratio = polars.when(number).then(polars.col("value_ppm_after") / polars.col("value_ppm"))
    both = both.with_columns(kind.alias("kind"), ratio.alias("ratio"))
    differing = both.filter(polars.col("kind").is_not_null()).sort("element", "method", "number", "line_kind", "turn")
    frame = differing.select(
        "kind", "number", "line_kind", "element", "method",
        polars.col("raw_text").alias("before_text"), polars.col("unit").alias("before_unit"),
        polars.col("raw_text_after").alias("after_text"), polars.col("unit_after").alias("after_unit"), "ratio",
    ).cast(CHANGE_FRAME)  # fmt: skip
    return Changes(frame, tuple(_findings(both, frame, superseded)), both.height)


def _turned(frame: polars.DataFrame) -> polars.DataFrame:
    """Each result with its turn among the lines of its number and kind, so that a repeated line meets its like."""
    lines = frame.select("place", "number", "line_kind").unique().sort("place")
    lines = lines.with_columns(polars.int_range(polars.len()).over("number", "line_kind").alias("turn"))
    wanted = ["number", "line_kind", "turn", "element", "method", "unit", "raw_text", "value_ppm", "censor"]
    return frame.join(lines.select("place", "turn"), on="place").select(wanted)


def _methods_matched(old: polars.DataFrame, new: polars.DataFrame) -> tuple[polars.DataFrame, polars.DataFrame]:
    """Where an element has one method on each side and they differ in name, they are taken as one."""
    before, after = (
        frame.select("element", "method").unique().group_by("element").agg("method") for frame in (old, new)
    )
    pairs = before.join(after, on="element", suffix="_after")
    renamed = {
        (element, then[0]): now[0]
        for element, then, now in pairs.iter_rows()
        if len(then) == len(now) == 1 and then[0] != now[0]
    }
    for (element, then), now in renamed.items():
        mine = (polars.col("element") == element) & (polars.col("method") == then)
        old = old.with_columns(polars.when(mine).then(polars.lit(now)).otherwise("method").alias("method"))
    return old, new


def _findings(both: polars.DataFrame, frame: polars.DataFrame, superseded: str) -> list[Finding]:
    findings = []
    for (element, method), group in both.group_by("element", "method", maintain_order=True):
        name = f"{element} {method}".strip()
        shift = _unit_shift(group)
        units = group.filter(polars.col("unit").is_not_null() & polars.col("unit_after").is_not_null())
        relabelled = units.filter(polars.col("unit") != polars.col("unit_after"))
        written = ""
        if relabelled.height:
            then, now = (relabelled[name][0].strip("[]{}") for name in ("unit", "unit_after"))
            written = f"; the unit was written {then}, is {now}"
        if shift is not None:
            said, count, ratio = shift
            findings.append(
                found(
                    "certificate.unit_changed",
                    f"{count} amounts of {name} are {_times(ratio)}{said} what they were in {superseded}{written}",
                    evidence={"element": element, "method": method, "values": count, "ratio": round(ratio, 6)},
                )
            )
        elif relabelled.height:
            findings.append(
                found(
                    "certificate.unit_restated",
                    f"{name} is reported in another unit than in {superseded}, and the amounts agree{written}",
                    evidence={"element": element, "method": method, "values": relabelled.height},
                )
            )
    if frame.height:
        kinds = dict(frame["kind"].value_counts().iter_rows())
        parts = [f"{kinds[kind]} {said}" for kind, said in SAID.items() if kind in kinds]
        evidence = {"compared": both.height} | {kind: int(count) for kind, count in sorted(kinds.items())}
        findings.append(found("certificate.changed", f"against {superseded}: {', '.join(parts)}", evidence=evidence))
    gone = frame.filter(polars.col("kind") == "gone")
    if gone.height:
        numbers = gone["number"].unique(maintain_order=True)
        some = ", ".join(numbers.head(5))
        findings.append(
            found(
                "certificate.gone",
                f"{gone.height} values of {len(numbers)} numbers stood in {superseded} and are not in this one: {some}",
                evidence={"values": gone.height, "numbers": len(numbers)},
            )
        )
    return findings


def _times(ratio: float) -> str:
    return f"about {ratio:,.0f} times" if ratio >= 10 else f"about {ratio:.3g} times"


SAID = {"value": "values differ", "unit": "in another unit", "added": "added", "gone": "gone"}


def _unit_shift(group: polars.DataFrame) -> tuple[str, int, float] | None:
    """The step by which most amounts of a column moved, when it is one that a changed unit makes."""
    ratios = group.filter(polars.col("ratio").is_not_null() & (polars.col("ratio") > 0))["ratio"]
    limits = group.filter(
        (polars.col("censor") == polars.col("censor_after"))
        & polars.col("censor").is_in(["lt", "gt"])
        & (polars.col("value_ppm") > 0)
        & (polars.col("value_ppm_after") > 0)
    ).select((polars.col("value_ppm_after") / polars.col("value_ppm")).alias("ratio"))["ratio"]
    logs = polars.concat([ratios, limits]).log10()
    relabelled = bool((group["unit"] != group["unit_after"]).any())
    if len(logs) < (1 if relabelled else LEAST_PAIRS):
        return None
    middle = float(logs.median())
    step = min(UNIT_RATIOS, key=lambda one: abs(one - middle))
    near = int(((logs - step).abs() <= NEAR).sum())
    if abs(step - middle) > NEAR or near < LEAST_SHARE * len(logs):
        return None
    return UNIT_RATIOS[step], near, 10.0**middle
