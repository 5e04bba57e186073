"""Pairs of one kind: one result against the other, HARD curve, scatter against grade, log ratio."""

from __future__ import annotations

from functools import cache

import altair as alt
import numpy as np

from trayside.app.charts import look
from trayside.app.charts.contents import ContentUnit
from trayside.app.charts.dense import even_places
from trayside.app.charts.figure import (
    Figure,
    FigureTable,
    Row,
    TableLine,
    counted,
    figures,
    first_lines,
    percent_written,
    slug,
    written,
)
from trayside.model.result_series import PairSet

MOST_PAIRS = 1500
CURVE_PLACES = 300
RATIO_TICKS = (0.05, 0.1, 0.2, 0.33, 0.5, 0.67, 0.8, 0.9, 0.95, 0.98, 1, 1.02, 1.05, 1.1, 1.25, 1.5, 2, 3, 5, 10, 20)
STANDINGS = (look.WITHIN, look.OUTSIDE)


def pair_figures(pairs: PairSet, unit: ContentUnit) -> tuple[Figure, ...]:
    """The four charts of a kind of pair; those that need positive results leave the others out and say so."""
    return (axis_figure(pairs, unit), ratio_figure(pairs, unit), hard_figure(pairs), precision_figure(pairs, unit))


def axis_figure(pairs: PairSet, unit: ContentUnit) -> Figure:
    """First against second result with the reduced major axis, its band and the line of equality."""
    at, without, left_out = _drawn(pairs)
    first, second = _in_unit(pairs, unit)
    ends = [float(f(np.concatenate([first[at], second[at]]))) for f in (np.min, np.max)] if len(at) else [1.0, 2.0]
    says = f"{counted(len(pairs.points), 'pair')} {pairs.kind}, {pairs.element}."
    if pairs.slope is not None:
        says += (
            f" Slope {written(pairs.slope, 3)} ({written(pairs.slope_low, 3)} to {written(pairs.slope_high, 3)}),"
            f" intercept {written(float(unit.of(pairs.intercept_ppm)), 2)} {unit.label}."
        )
    band = [
        {"first": figures(x), "line": figures(line), "low": figures(low), "high": figures(high)}
        for x, line, low, high in zip(
            *(unit.of(one) for one in (pairs.band_at_ppm, pairs.band_line_ppm, pairs.band_low_ppm, pairs.band_high_ppm)),
            strict=True,
        )
        if x > 0 and line > 0
    ]
    floor = ends[0] / 2
    for row in band:
        row["low"] = max(row["low"], figures(floor))
    return Figure(
        name=slug("axis", pairs.kind),
        title="One result against the other",
        says=says + _left_out_words(pairs, without, left_out),
        template=_axis_template(unit.label),
        rows={
            "points": _points(pairs, at, unit, lambda place: {"first": figures(first[place]), "value": figures(second[place])}),
            "band": band,
            "equal": [{"first": figures(one), "value": figures(one)} for one in ends],
        },
        table=_table(pairs, at, unit, without + left_out),
        settings={"frameLow": figures(ends[0] / 1.15), "frameHigh": figures(ends[1] * 1.15)},
        height_px=300,
        group=pairs.kind,
    )


def ratio_figure(pairs: PairSet, unit: ContentUnit) -> Figure:
    """Ratio second to first against grade on a log scale: its mean with interval and the limits of agreement."""
    at, without, left_out = _drawn(pairs)
    first, second = _in_unit(pairs, unit)
    grade, ratio = np.sqrt(first[at] * second[at]), second[at] / first[at]
    lines: list[Row] = [{"at": 1.0, "kind": "equal", "label": ""}]
    says = f"{counted(len(at), 'pair')} {pairs.kind}, {pairs.element}: ratio of the second result to the first."
    if pairs.mean_ratio is not None:
        lines.append({"at": figures(pairs.mean_ratio), "kind": "mean", "label": "mean"})
        says += f" On average {written(pairs.mean_ratio, 3)}"
        if pairs.ratio_low is not None:
            says += f" ({written(pairs.ratio_low, 3)} to {written(pairs.ratio_high, 3)})"
        says += "."
    for limit in (pairs.agreement_low, pairs.agreement_high):
        if limit is not None:
            lines.append({"at": figures(limit), "kind": "agreement", "label": ""})
    if pairs.agreement_low is not None and pairs.agreement_high is not None:
        says += f" 95 % of pairs lie between {written(pairs.agreement_low, 2)} and {written(pairs.agreement_high, 2)}."
    says += f" Bias: {pairs.bias_verdict}."
    if pairs.smallest_bias is not None:
        says += f" The smallest bias so many pairs show at 80 % is {percent_written(pairs.smallest_bias)}."
    if pairs.more_pairs:
        says += f" {pairs.more_pairs} more would show {percent_written(pairs.bias_that_matters)}."
    mean_band = (
        [{"low": figures(pairs.ratio_low), "high": figures(pairs.ratio_high)}] if pairs.ratio_low is not None else []
    )
    extra = {place: (figures(g), figures(r)) for place, g, r in zip(at.tolist(), grade, ratio, strict=True)}
    return Figure(
        name=slug("ratio", pairs.kind),
        title="Ratio of the two results",
        says=says + _left_out_words(pairs, without, left_out),
        template=_ratio_template(unit.label),
        rows={
            "points": _points(pairs, at, unit, lambda place: {"grade": extra[place][0], "value": extra[place][1]}),
            "lines": lines,
            "meanBand": mean_band,
        },
        table=_table(pairs, at, unit, without + left_out),
        height_px=260,
        group=pairs.kind,
    )


def hard_figure(pairs: PairSet) -> Figure:
    """Share of pairs whose half absolute relative difference stays below a value."""
    places = even_places(len(pairs.hard), CURVE_PLACES)
    rows = [{"hard": figures(100 * pairs.hard[at]), "share": figures(100 * pairs.hard_share[at])} for at in places.tolist()]
    says = f"{counted(len(pairs.hard), 'pair')} {pairs.kind}, {pairs.element}."
    lines = []
    if len(pairs.hard):
        p90 = float(np.interp(0.9, pairs.hard_share, pairs.hard))
        says += f" Nine in ten have a half difference below {percent_written(p90)} of their mean."
        lines.append({"hard": figures(100 * p90), "share": 90.0})
    if pairs.cv is not None:
        says += f" CV by root mean square {percent_written(pairs.cv)}"
        if pairs.cv_low is not None:
            says += f" ({percent_written(pairs.cv_low)} to {percent_written(pairs.cv_high)})"
        says += "."
    table = FigureTable(
        ("Share of pairs", "Half difference below"),
        tuple(
            TableLine((f"{share:.0%}", percent_written(float(np.interp(share, pairs.hard_share, pairs.hard)))))
            for share in (0.1, 0.25, 0.5, 0.75, 0.8, 0.9, 0.95, 1.0)
        )
        if len(pairs.hard)
        else (),
    )
    return Figure(
        name=slug("hard", pairs.kind),
        title="HARD curve",
        says=says,
        template=_hard_template(),
        rows={"curve": rows, "nine": lines},
        table=table,
        height_px=240,
        group=pairs.kind,
    )


def precision_figure(pairs: PairSet, unit: ContentUnit) -> Figure:
    """Difference of a pair against its mean, and the line of sd against grade from groups of pairs."""
    at, without, left_out = _drawn(pairs)
    first, second = _in_unit(pairs, unit)
    mean, apart = (first + second) / 2, np.abs(first - second)
    drawn = at[apart[at] > 0]
    line: list[Row] = []
    says = f"{counted(len(drawn), 'pair')} {pairs.kind}, {pairs.element}: how far two results are apart at their grade."
    if pairs.precision_s0_ppm is not None and pairs.precision_k is not None and len(at):
        s0, k = float(unit.of(pairs.precision_s0_ppm)), pairs.precision_k
        line = [
            {"mean": figures(x), "sd": figures(s0 + k * x)}
            for x in np.geomspace(mean[at].min(), mean[at].max(), 40).tolist()
            if s0 + k * x > 0
        ]
        says += f" sd = {written(s0, 2)} {unit.label} + {written(k, 2)} × grade."
    else:
        says += " Too few pairs for a line of sd against grade."
    if len(at) > len(drawn):
        says += f" {len(at) - len(drawn)} pairs are equal and have no place on the log scale."
    groups = [
        {"mean": figures(x), "sd": figures(sd)}
        for x, sd in zip(unit.of(pairs.precision_at_ppm), unit.of(pairs.precision_sd_ppm), strict=True)
        if x > 0 and sd > 0
    ]
    return Figure(
        name=slug("precision", pairs.kind),
        title="Scatter against grade (Thompson–Howarth)",
        says=says + _left_out_words(pairs, without, left_out),
        template=_precision_template(unit.label),
        rows={
            "points": _points(pairs, drawn, unit, lambda place: {"mean": figures(mean[place]), "value": figures(apart[place])}),
            "line": line,
            "groups": groups,
        },
        table=_table(pairs, at, unit, without + left_out),
        height_px=260,
        group=pairs.kind,
        notes=pairs.precision_cautions,
    )


def _in_unit(pairs: PairSet, unit: ContentUnit) -> tuple[np.ndarray, np.ndarray]:
    return np.asarray(unit.of(pairs.first_ppm), dtype=float), np.asarray(unit.of(pairs.second_ppm), dtype=float)


def _drawn(pairs: PairSet) -> tuple[np.ndarray, int, int]:
    """Places of pairs drawn, how many have no place on a log scale, how many are left out of a crowd.

    Of a crowd every pair outside is drawn as far as there is room, and of the others an even choice by grade.
    """
    known = np.flatnonzero((pairs.first_ppm > 0) & (pairs.second_ppm > 0))
    without = len(pairs.points) - len(known)
    if len(known) <= MOST_PAIRS:
        return known, without, 0
    outside = np.asarray(pairs.outside)
    odd = known[outside[known]][: MOST_PAIRS // 2]
    rest = known[~outside[known]]
    rest = rest[np.argsort(pairs.first_ppm[rest], kind="stable")]
    kept = np.sort(np.concatenate([odd, rest[even_places(len(rest), MOST_PAIRS - len(odd))]]))
    return kept, without, len(known) - len(kept)


def _left_out_words(pairs: PairSet, without: int, left_out: int) -> str:
    told = ""
    if without:
        told += f" {without} pairs hold a result of 0 or less and have no place on the log scale."
    if pairs.left_out_censored:
        told += f" {pairs.left_out_censored} pairs below detection are left out."
    if left_out:
        told += f" {left_out} pairs among the others are not drawn."
    return told


def _points(pairs: PairSet, at: np.ndarray, unit: ContentUnit, where) -> list[Row]:
    first, second = _in_unit(pairs, unit)
    return [
        {
            **where(place),
            "number": pairs.points.number[place],
            "batch": pairs.points.certificate_id[place],
            "job": pairs.points.job[place],
            "standing": look.OUTSIDE if pairs.outside[place] else look.WITHIN,
            "says": f"{written(first[place])} and {written(second[place])} {unit.label} "
            f"({pairs.points.number[place]}, {pairs.second_number[place]}); batch {pairs.points.job[place]}",
        }
        for place in at.tolist()
    ]


def _table(pairs: PairSet, at: np.ndarray, unit: ContentUnit, not_drawn: int) -> FigureTable:
    first, second = _in_unit(pairs, unit)
    apart = np.abs(np.log(second[at] / first[at]))
    listed = at[np.argsort(-apart, kind="stable")].tolist()
    lines = (
        TableLine(
            (
                pairs.points.number[place],
                pairs.second_number[place],
                pairs.points.job[place],
                written(first[place]),
                written(second[place]),
                written(second[place] / first[place], 3),
                look.OUTSIDE if pairs.outside[place] else look.WITHIN,
            ),
            pairs.points.number[place],
        )
        for place in listed
    )
    columns = ("First", "Second", "Batch", f"First, {unit.label}", f"Second, {unit.label}", "Ratio", "Stands")
    which = "Furthest apart first."
    return first_lines(lines, total=len(listed) + not_drawn, columns=columns, which=which)


# templates


def _log(name: str, title: str, **domain: object) -> dict:
    return {"shorthand": f"{name}:Q", "title": title, "scale": alt.Scale(type="log", nice=False, **domain),
            "axis": alt.Axis(tickCount=6)}  # fmt: skip


@cache
def _axis_template(unit: str) -> Row:
    frame = {"domainMin": alt.ExprRef("frameLow"), "domainMax": alt.ExprRef("frameHigh")}
    x, y = alt.X(**_log("first", f"first, {unit}", **frame)), alt.Y(**_log("value", f"second, {unit}", **frame))
    band = alt.Chart(look.rows_of("band")).encode(x=x)
    layers = alt.layer(
        band.mark_area(color=look.BAND, opacity=0.8, clip=True).encode(y="low:Q", y2="high:Q"),
        alt.Chart(look.rows_of("equal")).mark_line(color=look.SOFT, strokeWidth=1, strokeDash=[4, 3]).encode(x=x, y=y),
        band.mark_line(color=look.MARK, strokeWidth=1.5, clip=True).encode(y="line:Q"),
        alt.Chart(look.rows_of("points")).mark_point(**look.POINT).encode(x=x, y=y, **look.by_standing(STANDINGS)),
    )
    return look.finished(layers, look.setting("frameLow", 1), look.setting("frameHigh", 10))


@cache
def _ratio_template(unit: str) -> Row:
    x, y = alt.X(**_log("grade", f"grade of the pair, {unit}")), alt.Y(**_log("value", "second / first"))
    y = y.axis(values=list(RATIO_TICKS), format="~g")
    kinds = ["equal", "mean", "agreement"]
    lines = alt.Chart(look.rows_of("lines"))
    layers = alt.layer(
        alt.Chart(look.rows_of("meanBand")).mark_rect(color=look.BAND, opacity=0.8).encode(y="low:Q", y2="high:Q"),
        lines.mark_rule(strokeWidth=1.2).encode(
            y="at:Q",
            color=alt.Color("kind:N", legend=None).scale(domain=kinds, range=[look.INK, look.MARK, look.WARN]),
            strokeDash=alt.StrokeDash("kind:N", legend=None).scale(domain=kinds, range=[[1, 0], [1, 0], [6, 4]]),
        ),
        lines.mark_text(align="left", baseline="middle", dx=4, fontSize=9, color=look.SOFT, x="width").encode(
            y="at:Q", text="label:N"
        ),
        alt.Chart(look.rows_of("points")).mark_point(**look.POINT).encode(x=x, y=y, **look.by_standing(STANDINGS)),
    ).resolve_scale(color="independent", shape="independent", strokeDash="independent")
    return look.finished(layers)


@cache
def _hard_template() -> Row:
    x = alt.X("hard:Q", title="half absolute relative difference, %").scale(type="sqrt", nice=False, domainMin=0)
    y = alt.Y("share:Q", title="share of pairs, %").scale(domain=[0, 100])
    nine = alt.Chart(look.rows_of("nine"))
    layers = alt.layer(
        nine.mark_rule(color=look.WARN, strokeDash=[6, 4]).encode(x=x),
        nine.mark_rule(color=look.WARN, strokeDash=[6, 4]).encode(y=y),
        alt.Chart(look.rows_of("curve")).mark_line(color=look.MARK, strokeWidth=1.8).encode(x=x, y=y),
    )
    return look.finished(layers)


@cache
def _precision_template(unit: str) -> Row:
    x, y = alt.X(**_log("mean", f"mean of the pair, {unit}")), alt.Y(**_log("value", f"difference, {unit}"))
    layers = alt.layer(
        alt.Chart(look.rows_of("points")).mark_point(**look.POINT).encode(x=x, y=y, **look.by_standing(STANDINGS)),
        alt.Chart(look.rows_of("line")).mark_line(color=look.INK, strokeWidth=1.6).encode(x=x, y="sd:Q"),
        alt.Chart(look.rows_of("groups"))
        .mark_point(filled=False, size=90, color=look.INK, shape="cross")
        .encode(x=x, y="sd:Q"),
    ).resolve_scale(color="independent", shape="independent")
    return look.finished(layers)
