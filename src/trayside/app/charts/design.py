"""Design of controls: chance of seeing a fault against its size, and against the rate of controls."""

from __future__ import annotations

from functools import cache

import altair as alt

from trayside.app.charts import look
from trayside.app.charts.figure import Figure, FigureTable, Row, TableLine, figures
from trayside.core.scheme_design import CONTAMINATION, DRIFT, DesignCurve, Recommendation

WINDOWS = ("batch", "month", "campaign", "false alarm")
COLOURS = (look.NOTE, look.MARK, look.INK, look.STOP)
DASHES = ([2, 3], [6, 3], [1, 0], [4, 4])
SHAPES = ("circle", "triangle-up", "square", "diamond")


def curve_figure(curve: DesignCurve, *, kind: str, target: float) -> Figure:
    """Share of campaigns that show a fault of a size in its batch, its month, the campaign; and false alarms."""
    held = {"batch": curve.batch, "month": curve.month, "campaign": curve.campaign, "false alarm": curve.alarm}
    rows = [
        {"at": figures(100 * size), "share": figures(100 * float(share)), "window": window}
        for window, shares in held.items()
        for size, share in zip(curve.size, shares, strict=True)
    ]
    unit = {CONTAMINATION: "of the sample before", DRIFT: "a batch"}.get(kind, "of the value")
    reached = [
        f"{window}: from {100 * float(size):.3g} %"
        for window, shares in (("batch", curve.batch), ("month", curve.month), ("campaign", curve.campaign))
        for size in [next((s for s, share in zip(curve.size, shares, strict=True) if share >= target), None)]
        if size is not None
    ]
    says = f"Chance of seeing {kind}. "
    says += (
        f"{target:.0%} is reached within the {', the '.join(reached)}." if reached else f"No size tried reaches {target:.0%}."
    )
    return Figure(
        name="design-curve",
        title="Which faults these controls see",
        says=says,
        template=_template(f"{kind}, % {unit}"),
        rows={"lines": rows, "target": [{"share": 100 * target}]},
        table=_table(f"{kind}, %", curve.size, held),
        height_px=260,
    )


def rate_figure(told: Recommendation, *, within: str, what: str, target: float) -> Figure:
    """Share of campaigns that show the fault against the rate of controls."""
    held = {within: told.seen, "false alarm": told.alarm}
    rows = [
        {"at": figures(100 * rate), "share": figures(100 * float(share)), "window": window}
        for window, shares in held.items()
        for rate, share in zip(told.rates, shares, strict=True)
    ]
    return Figure(
        name="design-rates",
        title="What more controls would bring",
        says=told.says[:1].upper() + told.says[1:] + ".",
        template=_template(f"{what}, % of tickets"),
        rows={"lines": rows, "target": [{"share": 100 * target}]},
        table=_table(f"{what}, % of tickets", told.rates, held),
        height_px=260,
    )


def _table(first: str, places, held) -> FigureTable:
    lines = tuple(
        TableLine((f"{100 * float(at):.3g}", *(f"{float(shares[place]):.1%}" for shares in held.values())))
        for place, at in enumerate(places)
    )
    return FigureTable((first, *held), lines)


@cache
def _template(title: str) -> Row:
    x = alt.X("at:Q", title=title)
    y = alt.Y("share:Q", title="share of campaigns, %").scale(domain=[0, 100])
    lines = alt.Chart(look.rows_of("lines")).encode(x=x, y=y)
    colour = alt.Color("window:N").scale(domain=list(WINDOWS), range=list(COLOURS))
    layers = alt.layer(
        alt.Chart(look.rows_of("target")).mark_rule(color=look.WARN, strokeDash=[6, 4]).encode(y=y),
        lines.mark_line(strokeWidth=1.8).encode(
            color=colour,
            strokeDash=alt.StrokeDash("window:N").scale(domain=list(WINDOWS), range=list(DASHES)),
        ),
        lines.mark_point(size=40, opacity=1).encode(
            color=colour, shape=alt.Shape("window:N").scale(domain=list(WINDOWS), range=list(SHAPES))
        ),
    )
    return look.finished(layers)
