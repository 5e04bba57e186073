"""Blanks in their order, and blanks against the sample before them."""

from __future__ import annotations

from functools import cache

import altair as alt
import numpy as np

from trayside.app.charts import look
from trayside.app.charts.contents import ContentUnit
from trayside.app.charts.dense import DENSE, Thinned, thinned
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
from trayside.app.charts.standards import Window, batch_rows, beyond_written
from trayside.model.result_series import BlankSeries, CarryOverSet

STANDINGS = (look.WITHIN, look.OUTSIDE, look.BELOW)
FRAME_LIMITS = 4.0
"""The chart of blanks reaches so many limits up; what lies higher is drawn on its edge with its value."""
FIT_PLACES = 40
KEY = "Blue line: what is found, with its interval. Broken red line: what is accepted."


def blank_figure(series: BlankSeries, unit: ContentUnit, *, window: Window = None) -> Figure:
    """Blanks of one material in order, with the limit of each."""
    values = np.asarray(unit.of(series.value_ppm), dtype=float)
    limits = np.asarray(unit.of(series.limit_ppm), dtype=float)
    standing = np.where(series.above, look.OUTSIDE, np.where(series.censored, look.BELOW, look.WITHIN)).astype(object)
    drawn = thinned(values, odd=np.asarray(series.above), gravity=values, window=window)
    inside = slice(drawn.first, drawn.last)
    highest = np.nanmax(limits[inside], initial=0.0)
    top = min(max(float(np.nanmax(values[inside], initial=0.0)), 1.3 * highest), FRAME_LIMITS * highest or np.inf)
    top = top if np.isfinite(top) and top > 0 else 1.0
    above = int(np.asarray(series.above)[inside].sum())
    says = (
        f"{series.material} ({series.kind}), {series.element}: {counted(drawn.last - drawn.first, 'blank')}, "
        f"{above} above the limit"
        f", {int(np.asarray(series.censored)[inside].sum())} below detection and drawn at their limit of detection."
    )
    if series.dirty_lot:
        says += " The material itself looks dirty."
    return Figure(
        name=slug("blanks", series.material),
        title=f"Blanks: {series.material}",
        says=says + drawn.note,
        template=_blank_template(unit.label),
        rows={
            "points": _points(series, drawn, standing, values, unit, top),
            "bands": [
                {**row, **{name: min(row[name], top) for name in ("low", "middle", "high")}} for row in drawn.bands
            ],
            "limits": _steps(limits, drawn),
            "background": [{"at": figures(unit.of(series.background_ppm)), "label": "background"}]
            if np.isfinite(series.background_ppm)
            else [],
            "batches": batch_rows(series.points.job, series.points.certificate_id, drawn),
        },
        table=_table(series, drawn, standing, unit),
        settings={
            "frameHigh": figures(1.06 * top),
            "firstPlace": drawn.first + 1,
            "lastPlace": max(drawn.first + 2, drawn.last),
        },
        height_px=220,
        group=series.material,
    )


def carry_over_figure(carried: CarryOverSet, unit: ContentUnit) -> Figure:
    """Each blank against the sample before it in one order, with the line of carry-over and its interval."""
    before = np.asarray(unit.of(carried.before_ppm), dtype=float)
    blank = np.asarray(unit.of(carried.blank_ppm), dtype=float)
    known = np.flatnonzero(np.isfinite(before) & np.isfinite(blank))
    kept = known
    if len(kept) > DENSE:
        kept = np.sort(known[np.argsort(-(before[known] + blank[known]), kind="stable")[:DENSE]])
    standing = np.where(carried.censored, look.BELOW, look.MEASURED).astype(object)
    order = "laboratory order" if carried.order == "laboratory" else "sawing order"
    says = f"{carried.element}: {counted(len(known), 'blank')} against the sample before them in {order}."
    if carried.share is not None:
        share = carried.share
        says += (
            f" {percent_written(share.value)} of it is found in the blank ({percent_written(share.low)} to "
            f"{percent_written(share.high)}); {percent_written(carried.allowed)} is accepted. {KEY}"
        )
    if len(known) > len(kept):
        says += f" The {len(kept)} highest are drawn, {len(known) - len(kept)} lower ones are not."
    points = [
        {
            "number": carried.points.number[at],
            "batch": carried.points.certificate_id[at],
            "job": carried.points.job[at],
            "before": figures(before[at]),
            "value": figures(blank[at]),
            "standing": standing[at],
            "says": f"{written(blank[at])} {unit.label} behind {carried.before[at]} with {written(before[at])}; "
            f"batch {carried.points.job[at]}",
        }
        for at in kept.tolist()
    ]
    listed = sorted(kept.tolist(), key=lambda at: -blank[at])
    lines = (
        TableLine(
            (
                carried.points.number[at],
                carried.points.job[at],
                written(blank[at]),
                carried.before[at],
                written(before[at]),
                percent_written(blank[at] / before[at]) if before[at] > 0 else "–",
                standing[at],
            ),
            carried.points.number[at],
        )
        for at in listed
    )
    columns = ("Number", "Batch", f"Blank, {unit.label}", "Behind", f"Sample before, {unit.label}", "Share", "Stands")
    return Figure(
        name=slug("carry-over", carried.order),
        title=f"Carry-over in {order}",
        says=says,
        template=_carry_template(unit.label),
        rows={"points": points, "fit": _fit(carried, before[known], unit)},
        table=first_lines(lines, total=len(known), columns=columns, which="Highest first."),
        height_px=240,
    )


def _points(series: BlankSeries, drawn: Thinned, standing: np.ndarray, values: np.ndarray, unit: ContentUnit, top: float):
    rows = []
    for at in drawn.points.tolist():
        if not np.isfinite(values[at]):
            continue
        before = series.before_laboratory[at]
        row = {
            "place": at + 1,
            "number": series.points.number[at],
            "batch": series.points.certificate_id[at],
            "job": series.points.job[at],
            "standing": standing[at],
            "value": figures(min(values[at], top)),
            "says": f"{series.points.raw_text[at]} {unit.label} as written"
            if series.censored[at]
            else f"{written(values[at])} {unit.label}",
        }
        if before:
            row["says"] += f", behind {before} with {written(unit.of(series.before_laboratory_ppm[at]))}"
        row["says"] += f"; batch {series.points.job[at]}, {series.points.reported_at[at][:10]}"
        if values[at] > top:
            row["beyond"] = written(values[at], 3)
        rows.append(row)
    return beyond_written(rows)


def _steps(limits: np.ndarray, drawn: Thinned) -> list[Row]:
    """The limit where it changes."""
    at = np.arange(drawn.first, drawn.last)
    at = at[np.isfinite(limits[at])]
    at = at[np.concatenate(([True], np.diff(limits[at]) != 0))] if len(at) else at
    rows = [{"place": place + 0.5, "value": figures(limits[place])} for place in at.tolist()]
    return [*rows, {"place": drawn.last + 0.5, "value": rows[-1]["value"]}] if rows else []


def _table(series: BlankSeries, drawn: Thinned, standing: np.ndarray, unit: ContentUnit) -> FigureTable:
    above = np.asarray(series.above, dtype=bool)
    inside = np.arange(drawn.first, drawn.last)
    listed = (inside[above[inside]] if drawn.dense else inside).tolist()
    lines = (
        TableLine(
            (
                str(at + 1),
                series.points.number[at],
                series.points.job[at],
                series.points.reported_at[at][:10],
                ("< " if series.censored[at] else "") + written(unit.of(series.value_ppm[at])),
                written(unit.of(series.limit_ppm[at])),
                series.before_laboratory[at] or "–",
                written(unit.of(series.before_laboratory_ppm[at])),
                standing[at],
            ),
            series.points.number[at],
        )
        for at in listed
    )
    columns = (
        "Order", "Number", "Batch", "Reported", f"{series.element}, {unit.label}", "Limit", "Behind", "Sample before",
        "Stands",
    )  # fmt: skip
    which = f"Those above the limit, of {drawn.last - drawn.first} blanks." if drawn.dense else ""
    return first_lines(lines, total=len(listed), columns=columns, which=which)


def _fit(carried: CarryOverSet, before: np.ndarray, unit: ContentUnit) -> list[Row]:
    """The line, its interval and what is accepted, at places even on the square root axis."""
    if carried.share is None or not len(before):
        return []
    background = float(unit.of(carried.background_ppm))
    places = np.linspace(0.0, np.sqrt(max(float(before.max()), 0.0)), FIT_PLACES) ** 2
    return [
        {
            "before": figures(at),
            "line": figures(background + carried.share.value * at),
            "low": figures(max(background + carried.share.low * at, 0.0)),
            "high": figures(background + carried.share.high * at),
            "accepted": figures(background + carried.allowed * at),
        }
        for at in places.tolist()
    ]


@cache
def _blank_template(unit: str) -> Row:
    place = (
        alt.X("place:Q", title="blank, in the laboratory's order")
        .scale(domainMin=alt.ExprRef("firstPlace - 0.5"), domainMax=alt.ExprRef("lastPlace + 0.5"), nice=False, zero=False)
        .axis(tickMinStep=1, labelExpr=look.WHOLE_ONLY, grid=False)
    )
    value = alt.Y("value:Q", title=unit).scale(domainMin=0, domainMax=alt.ExprRef("frameHigh"), nice=False)
    band, batches = alt.Chart(look.rows_of("bands")), alt.Chart(look.rows_of("batches"))
    points, background = alt.Chart(look.rows_of("points")).encode(x=place, y=value), alt.Chart(look.rows_of("background"))
    layers = alt.layer(
        batches.mark_rule(color=look.RULE, strokeDash=[2, 2]).encode(x=place),
        batches.mark_text(align="left", baseline="top", dx=3, dy=2, y=0, fontSize=9, color=look.SOFT).encode(
            x=place, text="job:N"
        ),
        band.mark_area(color=look.BAND, opacity=0.8).encode(x=place, y="low:Q", y2="high:Q"),
        band.mark_line(color=look.SOFT, strokeWidth=1).encode(x=place, y="middle:Q"),
        background.mark_rule(color=look.INK, strokeDash=[2, 3]).encode(y="at:Q"),
        background.mark_text(align="left", baseline="middle", dx=4, fontSize=9, color=look.SOFT, x="width").encode(
            y="at:Q", text="label:N"
        ),
        alt.Chart(look.rows_of("limits"))
        .mark_line(color=look.STOP, strokeWidth=1.2, interpolate="step-after", clip=True)
        .encode(x=place, y=value),
        points.mark_point(**look.POINT).encode(**look.by_standing(STANDINGS)).add_params(look.stretch()),
        points.mark_text(align="left", dx=7, fontSize=10, color=look.STOP)
        .encode(text="beyond:N")
        .transform_filter("isValid(datum.beyond)"),
    )
    return look.finished(layers, *(look.setting(name, 0) for name in ("frameHigh", "firstPlace", "lastPlace")))


@cache
def _carry_template(unit: str) -> Row:
    before = alt.X("before:Q", title=f"sample before, {unit} (square root scale)").scale(type="sqrt", nice=False, domainMin=0)
    low = alt.Y("low:Q", title=f"blank, {unit} (square root scale)").scale(type="sqrt", nice=False, domainMin=0)
    fit = alt.Chart(look.rows_of("fit")).encode(x=before)
    layers = alt.layer(
        fit.mark_area(color=look.BAND, opacity=0.7).encode(y=low, y2="high:Q"),
        fit.mark_line(color=look.MARK, strokeWidth=1.5).encode(y="line:Q"),
        fit.mark_line(color=look.STOP, strokeWidth=1.2, strokeDash=[6, 4]).encode(y="accepted:Q"),
        alt.Chart(look.rows_of("points"))
        .mark_point(**look.POINT)
        .encode(x=before, y="value:Q", **look.by_standing((look.MEASURED, look.BELOW))),
    )
    return look.finished(layers)
