"""A standard in its order: control chart with limits, tabular CUSUM, EWMA."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import altair as alt
import numpy as np

from trayside.app.charts import look
from trayside.app.charts.contents import ContentUnit
from trayside.app.charts.dense import Thinned, bands, even_places, thinned
from trayside.app.charts.figure import Figure, Row, TableLine, counted, figures, first_lines, slug, written
from trayside.model.result_series import StandardSeries

FRAME_SD = 6.0
"""A control chart reaches so many standard deviations; what lies beyond is drawn on its edge with its value."""
BATCHES_NAMED = 16
NAME_NEEDS = 0.05
"""Share of the width a batch takes before its name is written there."""
BEYOND_WRITTEN = 12
LINE_PLACES = 1200
Window = tuple[int, int] | None


def control_figure(series: StandardSeries, unit: ContentUnit, *, window: Window = None) -> Figure:
    """Results of one standard in order, with its certified value and limits at 2 and 3 sds."""
    standing = standings(series)
    odd = standing != look.WITHIN
    drawn = thinned(series.value_ppm, odd=odd, gravity=series.z, window=window)
    centre, sd = series.certified_ppm, series.sd_ppm
    low, high = centre - FRAME_SD * sd, centre + FRAME_SD * sd
    inside = series.value_ppm[drawn.first : drawn.last]
    beyond = int(((inside < low) | (inside > high)).sum())
    says = f"{series.material}, {series.element}: {counted(len(inside), 'result')}, {_counted(standing[drawn.first : drawn.last])}."
    if beyond:
        says += f" {beyond} beyond the frame {'is' if beyond == 1 else 'are'} drawn on its edge with the value beside it."
    rows = {
        "points": _points(series, drawn, standing, unit, low, high),
        "bands": [_scaled(row, unit, low, high) for row in drawn.bands],
        "limits": _limits(series, unit),
        "batches": batch_rows(series.points.job, series.points.certificate_id, drawn),
    }
    edge = 0.06 * (high - low)
    return Figure(
        name=slug("control", series.material),
        title=f"Control chart of {series.material}",
        says=says + drawn.note,
        template=_control_template(unit.label),
        rows=rows,
        table=_table(series, drawn, standing, unit),
        settings={
            "frameLow": figures(unit.of(min(low, centre)) - unit.of(edge)),
            "frameHigh": figures(unit.of(high) + unit.of(edge)),
            "firstPlace": drawn.first + 1,
            "lastPlace": max(drawn.first + 2, drawn.last),
            "isDense": int(drawn.dense),
        },
        height_px=260,
        group=series.material,
    )


def cusum_figure(series: StandardSeries, *, window: Window = None) -> Figure:
    """Both sums in standard deviations, the lower one drawn downwards, with the decision limit."""
    limit = series.cusum_limit
    signal = np.asarray(series.cusum_signal, dtype=bool)
    began = signal & ~np.concatenate(([False], signal[:-1]))
    drawn = thinned(series.z, odd=began, gravity=np.maximum(series.cusum_upper, series.cusum_lower), window=window)
    lines = []
    for side, values in (("upper", series.cusum_upper), ("lower", -series.cusum_lower)):
        lines += _line(values, drawn, side)
    low, high = _frame(lines, limit)
    says = f"{series.material}, {series.element}: cumulative sums with the decision limit at {written(limit)} sds. "
    if signal.any():
        says += f"{int(signal.sum())} results stand beyond the limit."
        if series.shift_began is not None:
            first = series.shift_began
            says += f" The first run that led there began with {series.points.number[first]} (result {first + 1})."
    else:
        says += "No sum went beyond it."
    says += _cut_off(lines, low, high)
    return Figure(
        name=slug("cusum", series.material),
        title=f"CUSUM of {series.material}",
        says=says,
        template=_line_template("cumulative sum, sds", ("upper", "lower")),
        rows={
            "lines": lines,
            "points": _signals(series, drawn, signal, np.where(
                series.cusum_upper >= series.cusum_lower, series.cusum_upper, -series.cusum_lower), low, high),
            "limits": [{"at": limit, "kind": "limit"}, {"at": -limit, "kind": "limit"}, {"at": 0.0, "kind": "centre"}],
            "limitLines": [],
        },
        table=_signal_table(series, signal, ("Upper sum", "Lower sum"), (series.cusum_upper, series.cusum_lower)),
        settings=_line_settings(drawn, low, high),
        height_px=170,
        group=series.material,
    )  # fmt: skip


def ewma_figure(series: StandardSeries, *, window: Window = None) -> Figure:
    """The exponentially weighted average of the scores, in standard deviations, with its widening limits."""
    signal = np.asarray(series.ewma_signal, dtype=bool)
    began = signal & ~np.concatenate(([False], signal[:-1]))
    drawn = thinned(series.ewma, odd=began, gravity=np.abs(series.ewma), window=window)
    lines = _line(series.ewma, drawn, "average")
    limits = _line(series.ewma_low, drawn, "low") + _line(series.ewma_high, drawn, "high")
    low, high = _frame(lines, max([abs(row["value"]) for row in limits], default=1.0))
    says = f"{series.material}, {series.element}: weighted average of the scores. "
    says += f"{int(signal.sum())} stand beyond the limits." if signal.any() else "It stays within its limits."
    return Figure(
        name=slug("ewma", series.material),
        title=f"EWMA of {series.material}",
        says=says + _cut_off(lines, low, high),
        template=_line_template("weighted average, sds", ("average",)),
        rows={
            "lines": lines,
            "points": _signals(series, drawn, signal, series.ewma, low, high),
            "limits": [{"at": 0.0, "kind": "centre"}],
            "limitLines": limits,
        },
        table=_signal_table(
            series, signal, ("Average, sds", "Low", "High"), (series.ewma, series.ewma_low, series.ewma_high)
        ),
        settings=_line_settings(drawn, low, high),
        height_px=170,
        group=series.material,
    )


def standings(series: StandardSeries) -> np.ndarray:
    """Where each result stands, in words."""
    found = np.where(series.rejected, look.OUTSIDE, np.where(series.warned, look.WARNED, look.WITHIN)).astype(object)
    found[np.array([one is not None for one in series.other_material], dtype=bool)] = look.MISTAKEN
    return found


def batch_rows(jobs: tuple[str, ...], certificates: tuple[str, ...], drawn: Thinned) -> list[Row]:
    """Where a batch begins, when there are few enough to be named."""
    rows: list[Row] = []
    for at in range(drawn.first, drawn.last):
        if at == drawn.first or certificates[at] != certificates[at - 1]:
            if len(rows) == BATCHES_NAMED:
                return []
            rows.append({"place": at + 0.5, "job": jobs[at]})
    least = NAME_NEEDS * (drawn.last - drawn.first)
    for row, following in pairwise(rows):
        if following["place"] - row["place"] < least:
            row["job"] = ""
    return rows


def _counted(standing: np.ndarray) -> str:
    told = [f"{int((standing == one).sum())} {one}" for one in look.STANDINGS if (standing == one).any()]
    return ", ".join(told) or "none"


def _points(series: StandardSeries, drawn: Thinned, standing: np.ndarray, unit: ContentUnit, low: float, high: float):
    rows = []
    for at in drawn.points.tolist():
        value = float(series.value_ppm[at])
        if not np.isfinite(value):
            continue
        row = {
            "place": at + 1,
            "number": series.points.number[at],
            "batch": series.points.certificate_id[at],
            "job": series.points.job[at],
            "standing": standing[at],
            "value": figures(unit.of(min(max(value, low), high))),
            "says": _says(series, at, unit),
        }
        if not low <= value <= high:
            row["beyond"] = written(unit.of(value), 3)
        rows.append(row)
    return beyond_written(rows)


def beyond_written(rows: list[Row]) -> list[Row]:
    """Values of points on the frame's edge are written only while there are few; all are in the table."""
    if sum("beyond" in row for row in rows) > BEYOND_WRITTEN:
        for row in rows:
            row.pop("beyond", None)
    return rows


def _says(series: StandardSeries, at: int, unit: ContentUnit) -> str:
    """What a point tells when it is chosen."""
    told = f"{written(unit.of(series.value_ppm[at]))} {unit.label}, z {series.z[at]:+.2f}"
    broken = [name for name, flags in series.broken.items() if flags[at]]
    if broken:
        told += f", {', '.join(broken)}"
    if series.other_material[at] is not None:
        told += f", reads like {series.other_material[at]}"
    return f"{told}; batch {series.points.job[at]}, {series.points.reported_at[at][:10]}"


def _limits(series: StandardSeries, unit: ContentUnit) -> list[Row]:
    rows = [{"at": figures(unit.of(series.certified_ppm)), "kind": "centre", "label": "certified"}]
    for width, kind in ((2, "warning"), (3, "limit")):
        for sign in (-1, 1):
            at = series.certified_ppm + sign * width * series.sd_ppm
            rows.append({"at": figures(unit.of(at)), "kind": kind, "label": f"{'+' if sign > 0 else '−'}{width} sd"})
    if series.own_ready:
        rows.append({"at": figures(unit.of(series.own_mean_ppm)), "kind": "own", "label": ""})
    return rows


def _scaled(row: Row, unit: ContentUnit, low: float, high: float) -> Row:
    held = {name: figures(unit.of(min(max(row[name], low), high))) for name in ("low", "middle", "high")}
    return {**row, **held}


def _line(values: np.ndarray, drawn: Thinned, side: str) -> list[Row]:
    """A line; where it is dense, the median of each stretch with its lowest and highest beside it for a band."""
    if drawn.dense:
        return [
            {"place": row["place"], "value": row["middle"], "low": row["low"], "high": row["high"], "side": side}
            for row in bands(np.asarray(values), drawn.first, drawn.last)
        ]
    places = drawn.first + even_places(drawn.last - drawn.first, LINE_PLACES)
    return [{"place": int(at) + 1, "value": figures(values[at]), "side": side} for at in places if np.isfinite(values[at])]


def _frame(lines: list[Row], limit: float) -> tuple[float, float]:
    reach = max([abs(row.get(name, 0.0)) for row in lines for name in ("value", "low", "high")], default=limit)
    reach = min(max(reach, 1.15 * limit), 4.0 * limit)
    return -reach, reach


def _cut_off(lines: list[Row], low: float, high: float) -> str:
    beyond = any(not low <= row[name] <= high for row in lines for name in ("value", "low", "high") if name in row)
    return " The line runs out of the frame where it is further off." if beyond else ""


def _signals(series: StandardSeries, drawn: Thinned, signal: np.ndarray, values: np.ndarray, low: float, high: float):
    """A point where a line goes beyond its limits, not for every result that it stays there."""
    return [
        {
            "place": at + 1,
            "number": series.points.number[at],
            "batch": series.points.certificate_id[at],
            "job": series.points.job[at],
            "standing": look.OUTSIDE,
            "value": figures(min(max(float(values[at]), low), high)),
            "says": f"{written(float(values[at]), 3)}; batch {series.points.job[at]}, {series.points.reported_at[at][:10]}",
        }
        for at in drawn.points.tolist()
        if signal[at] and np.isfinite(values[at]) and not (at and signal[at - 1])
    ]


def _line_settings(drawn: Thinned, low: float, high: float) -> Row:
    return {
        "frameLow": figures(low),
        "frameHigh": figures(high),
        "firstPlace": drawn.first + 1,
        "lastPlace": max(drawn.first + 2, drawn.last),
    }


def _table(series: StandardSeries, drawn: Thinned, standing: np.ndarray, unit: ContentUnit):
    inside = np.arange(drawn.first, drawn.last)
    listed = (inside[standing[inside] != look.WITHIN] if drawn.dense else inside).tolist()
    lines = (
        TableLine(
            (
                str(at + 1),
                series.points.number[at],
                series.points.job[at],
                series.points.reported_at[at][:10],
                written(unit.of(series.value_ppm[at])),
                f"{series.z[at]:+.2f}" if np.isfinite(series.z[at]) else "–",
                standing[at] + (f" ({series.other_material[at]})" if series.other_material[at] else ""),
            ),
            series.points.number[at],
        )
        for at in listed
    )
    columns = ("Order", "Number", "Batch", "Reported", f"{series.element}, {unit.label}", "z", "Stands")
    which = f"The odd ones of {drawn.last - drawn.first} results." if drawn.dense else ""
    return first_lines(lines, total=len(listed), columns=columns, which=which)


def _signal_table(series: StandardSeries, signal: np.ndarray, columns: tuple[str, ...], values: tuple[np.ndarray, ...]):
    listed = np.flatnonzero(signal).tolist()
    lines = (
        TableLine(
            (str(at + 1), series.points.number[at], series.points.job[at], *(written(float(one[at])) for one in values)),
            series.points.number[at],
        )
        for at in listed
    )
    which = f"Results beyond the limits, of {len(signal)}."
    return first_lines(lines, total=len(listed), columns=("Order", "Number", "Batch", *columns), which=which)


# templates


def _place() -> alt.X:
    return (
        alt.X("place:Q", title="result, in the laboratory's order")
        .scale(domainMin=alt.ExprRef("firstPlace - 0.5"), domainMax=alt.ExprRef("lastPlace + 0.5"), nice=False, zero=False)
        .axis(tickMinStep=1, labelExpr=look.WHOLE_ONLY, grid=False)
    )


def _value(title: str) -> alt.Y:
    return alt.Y("value:Q", title=title).scale(
        domainMin=alt.ExprRef("frameLow"), domainMax=alt.ExprRef("frameHigh"), zero=False, nice=False
    )


def _limit_rules() -> alt.Chart:
    kinds = ["centre", "own", "warning", "limit"]
    return (
        alt.Chart(look.rows_of("limits"))
        .mark_rule(strokeWidth=1.2)
        .encode(
            y="at:Q",
            color=alt.Color("kind:N", legend=None).scale(domain=kinds, range=[look.INK, look.NOTE, look.WARN, look.STOP]),
            strokeDash=alt.StrokeDash("kind:N", legend=None).scale(domain=kinds, range=[[1, 0], [2, 3], [6, 4], [1, 0]]),
        )
    )


FRAME = ("frameLow", "frameHigh", "firstPlace", "lastPlace")


@cache
def _control_template(unit: str) -> Row:
    band = alt.Chart(look.rows_of("bands"))
    place, value = _place(), _value(unit)
    batches = alt.Chart(look.rows_of("batches"))
    points = alt.Chart(look.rows_of("points")).encode(x=place, y=value)
    layers = alt.layer(
        batches.mark_rule(color=look.RULE, strokeDash=[2, 2]).encode(x=place),
        batches.mark_text(align="left", baseline="top", dx=3, dy=2, y=0, fontSize=9, color=look.SOFT).encode(
            x=place, text="job:N"
        ),
        band.mark_area(color=look.BAND, opacity=0.8).encode(x=place, y="low:Q", y2="high:Q"),
        band.mark_line(color=look.SOFT, strokeWidth=1).encode(x=place, y="middle:Q"),
        _limit_rules(),
        alt.Chart(look.rows_of("limits"))
        .mark_text(align="left", baseline="middle", dx=4, fontSize=9, color=look.SOFT, x="width")
        .encode(y="at:Q", text="label:N"),
        points.mark_line(color=look.RULE, strokeWidth=1).transform_filter("isDense == 0"),
        points.mark_point(**look.POINT).encode(**look.by_standing(look.STANDINGS[:4])).add_params(look.stretch()),
        points.mark_text(align="left", dx=7, fontSize=10, color=look.STOP)
        .encode(text="beyond:N")
        .transform_filter("isValid(datum.beyond)"),
    ).resolve_scale(color="independent", shape="independent", strokeDash="independent")
    return look.finished(layers, *(look.setting(name, 0) for name in FRAME), look.setting("isDense", 0))


@cache
def _line_template(title: str, sides: tuple[str, ...]) -> Row:
    place, value = _place(), _value(title)
    layers = alt.layer(
        alt.Chart(look.rows_of("limitLines"))
        .mark_line(color=look.STOP, strokeWidth=1.2, interpolate="step-after", clip=True)
        .encode(x=place, y=value, detail="side:N"),
        _limit_rules(),
        alt.Chart(look.rows_of("lines"))
        .mark_area(color=look.BAND, opacity=0.9, clip=True)
        .transform_filter("isValid(datum.low)")
        .encode(x=place, y="low:Q", y2="high:Q", detail="side:N"),
        alt.Chart(look.rows_of("lines"))
        .mark_line(strokeWidth=1.4, clip=True)
        .encode(
            x=place,
            y=value,
            color=alt.Color("side:N", legend=None).scale(domain=list(sides), range=[look.MARK, look.NOTE][: len(sides)]),
            strokeDash=alt.StrokeDash("side:N", legend=None).scale(
                domain=list(sides), range=[[1, 0], [5, 2]][: len(sides)]
            ),
        ),
        alt.Chart(look.rows_of("points"))
        .mark_point(**look.POINT)
        .encode(x=place, y=value, **look.by_standing((look.OUTSIDE,)))
        .encode(color=alt.value(look.STOP), shape=alt.value("square"))
        .add_params(look.stretch()),
    ).resolve_scale(color="independent", shape="independent", strokeDash="independent")
    return look.finished(layers, *(look.setting(name, 0) for name in FRAME))
