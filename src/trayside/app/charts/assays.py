"""Released grades down a hole, with intercepts and what is held back."""

from __future__ import annotations

from functools import cache

import altair as alt
import numpy as np

from trayside.app.charts import look
from trayside.app.charts.contents import ContentUnit
from trayside.app.charts.figure import Figure, Row, TableLine, counted, figures, first_lines, slug, written
from trayside.app.released_assays import ReleasedAssays, ReleasedResult

MOST_SAMPLES = 3000
RELEASED, BELOW, HELD_BACK = "released", "below detection", "held back"


def grade_figure(made: ReleasedAssays, unit: ContentUnit) -> Figure:
    """Grade of every sample against depth on a square root scale, the cut-off, and the intercepts behind."""
    rows, left_out = made.results, 0
    if len(rows) > MOST_SAMPLES:  # the richest of so deep a hole; the table says how many are left out
        order = np.argsort([-(row.value_ppm or 0.0) for row in rows], kind="stable")[:MOST_SAMPLES]
        left_out, rows = len(rows) - MOST_SAMPLES, tuple(rows[at] for at in sorted(order.tolist()))
    highest = max((row.value_ppm or 0.0 for row in rows), default=0.0)
    top = float(unit.of(max(highest, made.settings.cutoff_ppm)))
    says = f"{made.element} in {made.hole_id}: {counted(len(made.results), 'sample')}, {made.held_back} held back, "
    says += f"{made.below_limit} below detection, {counted(len(made.intercepts), 'intercept')} above the cut-off of "
    says += f"{written(float(unit.of(made.settings.cutoff_ppm)))} {unit.label}."
    if left_out:
        says += f" The {MOST_SAMPLES} richest are drawn, {left_out} are not."
    return Figure(
        name=slug("grades", made.element),
        title=f"{made.element} down the hole",
        says=says,
        template=_template(unit.label),
        rows={
            "points": [_bar(row, unit, top) for row in rows],
            "intercepts": [
                {"from": figures(one.from_m), "to": figures(one.to_m), "low": 0.0, "high": top} for one in made.intercepts
            ],
            "cutoff": [{"value": figures(float(unit.of(made.settings.cutoff_ppm)))}],
        },
        table=first_lines(
            (
                TableLine(
                    (
                        row.number,
                        f"{row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f}",
                        row.raw_text or "–",
                        written(None if row.value_ppm is None else float(unit.of(row.value_ppm))),
                        row.verdict or "–",
                        row.why_not or "–",
                        "; ".join(row.others) or "–",
                    ),
                    row.number,
                )
                for row in made.results
            ),
            total=len(made.results),
            columns=("Number", "Depth, m", "As written", f"Released, {unit.label}", "Batch", "Held back because", "Others"),
        ),
        height_px=240,
    )


def _bar(row: ReleasedResult, unit: ContentUnit, top: float) -> Row:
    held = HELD_BACK if row.why_not else BELOW if row.censor == "lt" else RELEASED
    value = None if row.value_ppm is None else float(unit.of(row.value_ppm))
    return {
        "number": row.number,
        "batch": row.certificate_id,
        "from": row.from_mm / 1000,
        "to": row.to_mm / 1000,
        "value": figures(top) if row.why_not else figures(value or 0.0),
        "held": held,
        "says": f"{row.from_mm / 1000:.2f} to {row.to_mm / 1000:.2f} m: "
        + (row.why_not or (f"{row.raw_text} as written" if value is None else f"{written(value)} {unit.label}")),
    }


@cache
def _template(unit: str) -> Row:
    kinds = [RELEASED, BELOW, HELD_BACK]
    x = alt.X("from:Q", title="depth, m").scale(zero=False, nice=False)
    y = alt.Y("value:Q", title=f"{unit} (square root scale)").scale(type="sqrt", nice=False, domainMin=0)
    layers = alt.layer(
        alt.Chart(look.rows_of("intercepts"))
        .mark_rect(color=look.BAND, opacity=0.6)
        .encode(x=x, x2="to:Q", y="low:Q", y2="high:Q"),
        alt.Chart(look.rows_of("points"))
        .mark_rect(strokeWidth=1)
        .encode(
            x=x,
            x2="to:Q",
            y=y,
            y2=alt.datum(0),
            color=alt.Color("held:N").scale(domain=kinds, range=[look.MARK, look.SOFT, look.RULE]),
            stroke=alt.when(look.PICKED).then(alt.value(look.INK)).otherwise(alt.value(look.GROUND)),
        ),
        alt.Chart(look.rows_of("cutoff")).mark_rule(color=look.STOP, strokeDash=[6, 4]).encode(y=y),
    )
    return look.finished(layers)
