"""How charts look: ink on warm white, a shape beside every colour, nothing that moves."""

from __future__ import annotations

from typing import Any

import altair as alt

INK, SOFT, RULE, GROUND = "#2b2622", "#6d6356", "#d9cfbd", "#fffdf8"
STOP, WARN, NOTE, MARK = "#8c2f1b", "#b07400", "#46566b", "#24506e"
BAND = "#e2d4b9"
FONT = "DejaVu Sans"

WITHIN, WARNED, OUTSIDE, MISTAKEN = "within", "warned", "outside", "reads like another"
BELOW, MEASURED = "below detection", "measured"
STANDINGS = (WITHIN, WARNED, OUTSIDE, MISTAKEN, BELOW, MEASURED)
SHAPES = ("circle", "triangle-up", "square", "diamond", "triangle-down", "circle")
COLOURS = (MARK, WARN, STOP, INK, SOFT, MARK)

CONFIG: dict[str, Any] = {
    "background": GROUND,
    "font": FONT,
    "padding": 6,
    "view": {"stroke": RULE},
    "axis": {
        "labelColor": SOFT,
        "titleColor": SOFT,
        "titleFontWeight": "normal",
        "labelFontSize": 11,
        "titleFontSize": 11,
        "gridColor": "#efe8da",
        "domainColor": SOFT,
        "tickColor": SOFT,
        "labelOverlap": True,
        "titlePadding": 8,
    },
    "legend": {
        "orient": "top",
        "title": None,
        "labelColor": INK,
        "labelFontSize": 11,
        "symbolSize": 60,
        "padding": 0,
        "offset": 4,
        "labelLimit": 260,
    },
    "point": {"filled": True},
}

WHOLE_ONLY = "datum.value % 1 == 0 ? datum.label : ''"
"""Results are counted: an axis of them has no halves."""
PICKED = "picked != '' && datum.number == picked || pickedBatch != '' && datum.batch == pickedBatch"
"""What is chosen on the page, in this chart or another: a number, or everything of one batch."""


def setting(name: str, value: Any = None) -> alt.Parameter:
    return alt.param(name=name, value=value)


def rows_of(name: str) -> alt.NamedData:
    return alt.NamedData(name=name)


def by_standing(standings: tuple[str, ...] = STANDINGS) -> dict[str, Any]:
    """Colour, shape and size of a point by where it stands; larger when it is chosen."""
    places = [STANDINGS.index(one) for one in standings]
    return {
        "color": alt.Color("standing:N").scale(domain=list(standings), range=[COLOURS[place] for place in places]),
        "shape": alt.Shape("standing:N").scale(domain=list(standings), range=[SHAPES[place] for place in places]),
        "size": alt.when(PICKED).then(alt.value(170)).otherwise(alt.value(34)),
        "stroke": alt.when(PICKED).then(alt.value(INK)).otherwise(alt.value(GROUND)),
    }


POINT = {"opacity": 0.9, "strokeWidth": 0.8}


def stretch() -> alt.Parameter:
    """Dragging over the chart chooses a stretch of its x axis; the page offers to look at it closely."""
    return alt.selection_interval(name="stretch", encodings=["x"])


def finished(chart: alt.LayerChart | alt.Chart, *named: alt.Parameter) -> dict[str, Any]:
    """The template as plain values, with the look and the settings every chart has."""
    whole = chart.add_params(setting("picked", ""), setting("pickedBatch", ""), *named)
    described = whole.to_dict(context={"pre_transform": False})
    described.pop("config", None)
    described.pop("datasets", None)
    return {**described, "config": CONFIG, "autosize": {"type": "fit-x", "contains": "padding"}}
