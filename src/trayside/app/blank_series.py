"""Blanks of one material and element, and what they may have taken over from the sample before: chart data and figures."""

from __future__ import annotations

import numpy as np
import polars as pl

from trayside.app.content_words import content
from trayside.app.judge_series import blank_settings
from trayside.app.series_points import points_of
from trayside.core.blanks import blanks_for_claim, carry_over, failure_rate, lot_backgrounds, split_carry_over
from trayside.errors import ImpossibleValue
from trayside.model.result_series import BlankSeries, CarryOverSet, Share
from trayside.model.rules import ResultSettings

LEAST_FOR_SPLIT = 6


def blank_series(
    series: pl.DataFrame, *, settings: ResultSettings, jobs: dict[str, str] | None = None
) -> BlankSeries:
    """Chart data of one blank material, element and laboratory (rows of `judge_blanks`)."""
    held = series.filter(pl.col("value_ppm").is_not_null() & pl.col("reads_like").is_null())
    value = held["value_ppm"].to_numpy()
    above = held["above"].fill_null(False).to_numpy()
    judged = int(held["above"].is_not_null().sum())
    failures = int(above.sum())
    rate = failure_rate(failures=failures, blanks=judged, allowed=settings.blank_rate_allowed) if judged else None
    background, dirty = _background(held, settings)
    element = held["element"][0] if held.height else series["element"][0]
    words = []
    if rate is not None:
        claim = blanks_for_claim(rate=settings.blank_rate_allowed)
        words.append(
            f"{failures} of {judged} blanks above their limit: {rate.rate:.1%} ({rate.low:.1%} to {rate.high:.1%});"
            f" {claim} without a failure are needed to claim less than {settings.blank_rate_allowed:.0%}."
        )
    words.append(f"Background {content(background, element)}" + (": the lot is dirty." if dirty else "."))
    censored = (held["censor"] == "lt").to_numpy()
    if censored.any():
        words.append(f"{int(censored.sum())} of {len(value)} read below a limit and are drawn at it.")
    return BlankSeries(
        material=series["material"][0],
        kind=series["material_kind"][0] or "blank",
        element=element,
        points=points_of(held, jobs=jobs),
        value_ppm=value,
        censored=censored,
        limit_ppm=held["limit_ppm"].fill_null(float("nan")).to_numpy(),
        above=above,
        before_laboratory=tuple(held["before"].to_list()),
        before_laboratory_ppm=held["before_ppm"].fill_null(float("nan")).to_numpy(),
        before_saw=tuple(held["sawn_before"].to_list()),
        before_saw_ppm=held["before_saw_ppm"].fill_null(float("nan")).to_numpy(),
        background_ppm=background,
        dirty_lot=dirty,
        failures=failures,
        failure_low=rate.low if rate else float("nan"),
        failure_high=rate.high if rate else float("nan"),
        sentences=tuple(words),
    )


def _background(held: pl.DataFrame, settings: ResultSettings) -> tuple[float, bool]:
    if held.is_empty():
        return float("nan"), False
    previous = held["before_ppm"].fill_null(0.0).to_numpy()
    limits = held["limit_ppm"].drop_nulls()
    lots = lot_backgrounds(
        blank=held["value_ppm"].to_numpy(),
        lot=held["lot"].fill_null("").to_list(),
        previous=np.maximum(previous, 0.0) if len(np.unique(previous)) > 1 else None,
        limit=float(limits.max()) if len(limits) else None,
        settings=blank_settings(settings),
    )
    return max(lot.median for lot in lots), any(lot.verdict == "dirty" for lot in lots)


def carry_over_sets(blanks: pl.DataFrame, *, settings: ResultSettings) -> tuple[CarryOverSet, ...]:
    """Carry-over of one element at one laboratory, by laboratory order and by sawing order."""
    held = blanks.filter(pl.col("value_ppm").is_not_null() & pl.col("reads_like").is_null())
    made = [
        _one_order(held, "laboratory", "before", "before_ppm", settings),
        _one_order(held, "saw", "sawn_before", "before_saw_ppm", settings),
    ]
    return tuple(one for one in made if one is not None)


def _one_order(
    held: pl.DataFrame, order: str, name: str, column: str, settings: ResultSettings
) -> CarryOverSet | None:
    known = held.filter(pl.col(column).is_not_null() & (pl.col(column) >= 0))
    if known.is_empty():
        return None
    blank, before = known["value_ppm"].to_numpy(), known[column].to_numpy()
    element = known["element"][0]
    words, share, background, ranks, verdict = [], None, float("nan"), None, "too few blanks"
    try:
        found = carry_over(blank=blank, previous=before, settings=blank_settings(settings))
    except ImpossibleValue as nothing:
        words.append(f"{nothing.what[:1].upper()}{nothing.what[1:]}: no share can be given.")
    else:
        share = Share(found.rate, found.low, found.high, found.p_value)
        background, ranks, verdict = found.background, found.rank_p_value, found.verdict
        words.append(
            f"By {order} order {_share(found.rate)} of the sample before ({_share(found.low)} to {_share(found.high)}, p"
            f" {found.p_value:.3f}): {verdict}. A share of {found.smallest_seen:.2%} would have been seen in 4 of 5 cases."
        )
        if found.largest_leverage > 0.5:
            words.append("One rich sample decides the line: look at the ranks, which do not follow it.")
    exact = _after_rich(known, before, settings)
    if exact is not None:
        words.append(exact[1])
    split = _split(held, settings)
    return CarryOverSet(
        element=element,
        order=order,
        points=points_of(known),
        before=tuple(known[name].to_list()),
        before_ppm=before,
        blank_ppm=blank,
        censored=(known["censor"] == "lt").to_numpy(),
        share=share,
        background_ppm=background,
        rank_p_value=ranks,
        exact_p_value=exact[0] if exact else None,
        verdict=verdict,
        split_saw=split[0],
        split_laboratory=split[1],
        split_why=split[2],
        allowed=settings.carry_over_allowed,
        sentences=tuple(words),
    )


def _after_rich(known: pl.DataFrame, before: np.ndarray, settings: ResultSettings) -> tuple[float, str] | None:
    """Exact count of blanks above their limit among those that follow a sample whose allowed share would show."""
    limit = known["limit_ppm"].fill_null(float("inf")).to_numpy()
    rich = (before * settings.carry_over_allowed > limit) & known["above"].is_not_null().to_numpy()
    count = int(rich.sum())
    if not count:
        return None
    above = int((known["above"].fill_null(False).to_numpy() & rich).sum())
    found = failure_rate(failures=above, blanks=count, allowed=settings.blank_rate_allowed)
    return found.p_value, (
        f"{above} of {count} blanks behind samples rich enough to show {settings.carry_over_allowed:.0%} are above their"
        f" limit (chance of so many at {settings.blank_rate_allowed:.0%}: p {found.p_value:.3f})."
    )


def _split(held: pl.DataFrame, settings: ResultSettings) -> tuple[Share | None, Share | None, str]:
    both = held.filter(
        pl.col("before_ppm").is_not_null() & pl.col("before_saw_ppm").is_not_null()
        & (pl.col("before_ppm") >= 0) & (pl.col("before_saw_ppm") >= 0)
    )  # fmt: skip
    if both.height < LEAST_FOR_SPLIT:
        return None, None, f"{both.height} blanks have a sample before them in both orders: too few to part saw and laboratory"
    found = split_carry_over(
        blank=both["value_ppm"].to_numpy(),
        previous_on_saw=both["before_saw_ppm"].to_numpy(),
        previous_in_laboratory=both["before_ppm"].to_numpy(),
        settings=blank_settings(settings),
    )
    parts = [None if one is None else Share(one.rate, one.low, one.high, one.p_value) for one in (found.saw, found.laboratory)]
    return parts[0], parts[1], found.why


def _share(value: float) -> str:
    """A share in percent, never written as a negative zero."""
    return f"{value + 0.0 if abs(value) >= 5e-5 else 0.0:.2%}"
