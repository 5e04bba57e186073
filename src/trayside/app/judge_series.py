"""What only a whole series shows: a standard that drifts, shifts or is biased, a dirty lot of blanks, carry-over.

A series is one material and element at one laboratory. What is found counts as a note in the batches it touches; what
fails a batch are its own controls.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import polars as pl

from trayside.app.content_words import content
from trayside.app.judge_standards import SERIES
from trayside.core.blanks import BlankSettings, carry_over, lot_backgrounds
from trayside.core.certificate_tests import certificate_bias
from trayside.core.control_chart import cusum, drift
from trayside.errors import ImpossibleValue
from trayside.model.rules import ResultSettings

LEAST_FOR_DRIFT = 10
LEAST_FOR_BIAS = 6
LEAST_FOR_SHIFT = 5
WILD = 3.0
CARRY_OVER, LOT_DIRTY = "result.carry_over", "result.blank_lot_dirty"
DRIFT, SHIFT, BIAS = "result.standard_drift", "result.standard_shift", "result.standard_bias"


@dataclass(frozen=True, slots=True)
class SeriesFlag:
    """One thing a series shows, and the certificates it touches."""

    code: str
    laboratory: str
    element: str
    material: str
    sentence: str
    certificate_ids: tuple[str, ...]
    numbers: tuple[str, ...]
    evidence: dict[str, float | int | str | None] = field(default_factory=dict)


def blank_settings(settings: ResultSettings) -> BlankSettings:
    return BlankSettings(
        coarse_factor=settings.coarse_blank_limits,
        pulp_factor=settings.fine_blank_limits,
        carry_over_allowed=settings.carry_over_allowed,
        level=settings.carry_over_level,
    )


def series_flags(
    standards: pl.DataFrame, blanks: pl.DataFrame, *, settings: ResultSettings
) -> tuple[SeriesFlag, ...]:
    """Every flag of every series of these judged frames."""
    flags: list[SeriesFlag] = []
    scored = standards.filter(pl.col("score").is_not_null())
    for series in _parts(scored, SERIES):
        flag = standard_flag(series, settings=settings)
        if flag is not None:
            flags.append(flag)
    for part in _parts(blanks, ("laboratory", "element")):
        flags += blank_flags(part, settings=settings)
    return tuple(flags)


def _parts(frame: pl.DataFrame, by: tuple[str, ...]) -> Iterator[pl.DataFrame]:
    if frame.is_empty():
        return
    code = frame.select(pl.struct(by).rle_id()).to_series().to_numpy()
    edges = [*np.flatnonzero(np.diff(code, prepend=-1)).tolist(), len(code)]
    for first, last in pairwise(edges):
        yield frame.slice(first, last - first)


def standard_flag(series: pl.DataFrame, *, settings: ResultSettings) -> SeriesFlag | None:
    """The gravest of drift, shift and bias; None when the series shows none that matters."""
    count = series.height
    if count < LEAST_FOR_BIAS:
        return None
    value = series["value_ppm"].to_numpy()
    target, sd = series["certified_ppm"][0], series["sd_ppm"][0]
    matters = settings.bias_that_matters
    name, element = series["material"][0], series["element"][0]
    try:
        if count >= LEAST_FOR_DRIFT and abs(_change(value)) > matters * target:
            trend = drift(value)
            change = trend.change / target
            if max(trend.p_value, trend.kendall_p) < settings.drift_level and abs(change) > matters:
                words = (
                    f"{name} drifts: {change:+.1%} of its certified {content(target, element)} over {count} results"
                    f" (straight line p {_p(trend.p_value)}, ranks p {_p(trend.kendall_p)})"
                )
                evidence = {"results": count, "change": round(change, 4), "p": trend.p_value}
                return _flag(DRIFT, series, words, evidence, since=count // 2)
        shift = _shift((value - target) / sd, settings)
        if shift is not None:
            began, end = shift
            off = float(np.median(value[began:end])) / target - 1.0
            if abs(off) > matters and end - began >= LEAST_FOR_SHIFT:
                last = "" if end == count else f" to {series['number'][end - 1]}"
                words = (
                    f"{name} shifted by {off:+.1%} of its certified {content(target, element)}: the cumulative sum stands"
                    f" off zero from {series['number'][began]}{last} ({end - began} results)"
                )
                evidence = {"results": end - began, "shift": round(off, 4)}
                return _flag(SHIFT, series, words, evidence, since=began, until=end)
        if abs(value.mean() / target - 1.0) <= matters:
            return None
        expanded = series["expanded_ppm"][0]
        u = expanded / series["coverage_factor"][0] if expanded else 0.0
        bias = certificate_bias(value, certified=target, certified_u=u)
        if bias.shown and abs(bias.relative_bias) > matters:
            words = (
                f"{name} reads {bias.relative_bias:+.1%} against its certified {content(target, element)}"
                f" ({bias.relative_low:+.1%} to {bias.relative_high:+.1%}, {count} results)"
            )
            evidence = {"results": count, "bias": round(bias.relative_bias, 4)}
            return _flag(BIAS, series, words, evidence, since=0)
    except ImpossibleValue:
        return None  # nothing scatters: rounded too coarsely to say
    return None


def _change(value: np.ndarray) -> float:
    """Change over the series along a straight line; spares the full tests where it is less than matters."""
    place = np.arange(len(value)) - (len(value) - 1) / 2
    return float(place @ value / (place @ place)) * (len(value) - 1)


def _shift(z: np.ndarray, settings: ResultSettings) -> tuple[int, int] | None:
    """Where the first signalled shift begins and where its sum is back at zero.

    A score beyond 3 counts as 3 here: one wild result is the business of the control rules, not a shift.
    """
    sums = cusum(np.clip(z, -WILD, WILD), target=0.0, k=settings.cusum_k, h=settings.cusum_h)
    if sums.first_signal is None:
        return None
    side = sums.upper if sums.signal_upper[sums.first_signal] else sums.lower
    back = np.flatnonzero(side[sums.first_signal :] == 0.0)
    return sums.shift_began or 0, sums.first_signal + int(back[0]) if len(back) else len(z)


def _flag(
    code: str, series: pl.DataFrame, words: str, evidence: dict, *, since: int, until: int | None = None
) -> SeriesFlag:
    touched = series.slice(since, None if until is None else until - since)
    return SeriesFlag(
        code,
        series["laboratory"][0],
        series["element"][0],
        series["material"][0],
        words,
        tuple(touched["certificate_id"].unique(maintain_order=True).to_list()),
        tuple(touched["number"].to_list()),
        evidence | {"material": series["material"][0], "element": series["element"][0]},
    )


def blank_flags(part: pl.DataFrame, *, settings: ResultSettings) -> list[SeriesFlag]:
    """Carry-over and dirty lots among the blanks of one element at one laboratory.

    A blank below a limit counts as reading that limit: what it hides can only be less.
    """
    usable = part.filter(pl.col("value_ppm").is_not_null() & pl.col("above").is_not_null() & pl.col("reads_like").is_null())
    if usable.filter(pl.col("above")).is_empty():
        return []
    flags = []
    after = usable.filter(pl.col("before_ppm").is_not_null() & (pl.col("before_ppm") >= 0))
    if after.height >= 3 and after["before_ppm"].n_unique() > 1:
        found = carry_over(
            blank=after["value_ppm"].to_numpy(),
            previous=after["before_ppm"].to_numpy(),
            settings=blank_settings(settings),
        )
        if found.verdict == "carry-over":
            element = part["element"][0]
            over = " which is more than allowed" if found.rate > settings.carry_over_allowed else ""
            words = (
                f"blanks hold {found.rate:.2%} ({found.low:.2%} to {found.high:.2%}) of the sample before them in the"
                f" laboratory,{over or ' within what is allowed'} ({after.height} blanks of {element})"
            )
            touched = after.filter(pl.col("above"))
            evidence = {"share": round(found.rate, 6), "low": round(found.low, 6), "high": round(found.high, 6),
                        "blanks": after.height, "allowed": settings.carry_over_allowed}  # fmt: skip
            flags.append(_flag(CARRY_OVER, touched, words, evidence, since=0))
    flags += _dirty_lots(usable, settings)
    return flags


def _dirty_lots(usable: pl.DataFrame, settings: ResultSettings) -> list[SeriesFlag]:
    lots = usable["lot"].fill_null("") + " " + usable["material"]
    limits = usable["limit_ppm"].drop_nulls()
    previous = usable["before_ppm"].fill_null(0.0).to_numpy()
    backgrounds = lot_backgrounds(
        blank=usable["value_ppm"].to_numpy(),
        lot=lots.to_list(),
        previous=np.maximum(previous, 0.0) if len(np.unique(previous)) > 1 else None,
        limit=float(limits.max()) if len(limits) else None,
        settings=blank_settings(settings),
    )
    flags = []
    for lot in backgrounds:
        if lot.verdict != "dirty":
            continue
        own = usable.filter(lots == lot.lot)
        if not own["above"].any():
            continue  # it reads higher than the others, and all of it lies below the limit
        element = own["element"][0]
        words = (
            f"lot {own['lot'][0]} of {own['material'][0]} holds {content(lot.median, element)} of its own"
            f" ({lot.blanks} blanks, p {_p(lot.p_value)}): the material is dirty, not the laboratory"
        )
        evidence = {"lot": str(own["lot"][0]), "median_ppm": round(lot.median, 6), "blanks": lot.blanks}
        flags.append(_flag(LOT_DIRTY, own, words, evidence, since=0))
    return flags


def _p(value: float) -> str:
    return "below 0.001" if value < 0.001 else f"{value:.3f}"
