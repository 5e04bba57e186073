"""One standard and one element at one laboratory over all its batches: what its chart shows, and the figures beside it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import polars as pl

from trayside.app.content_words import content
from trayside.app.judge_standards import FAIL, own_scores, rules_in_use
from trayside.app.series_points import points_of
from trayside.core.certificate_tests import certificate_bias, en_number, power_of_standards, zeta_score
from trayside.core.control_chart import cusum, drift, ewma
from trayside.core.control_rules import Rule, apply_rules
from trayside.core.robust import huber_proposal_2
from trayside.core.run_length import runs_rules_arl, simulated_arl
from trayside.core.variance import between_within
from trayside.errors import ImpossibleValue
from trayside.model.result_series import Bias, RunLength, StandardSeries
from trayside.model.rules import ResultSettings

SHIFTS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0)
LEAST_FOR_DRIFT = 10
SEED = 20310501
POWER_80 = 2.8016  # z(0.975) + z(0.80), for the smallest shift the mean of n results shows


def standard_series(
    series: pl.DataFrame, *, settings: ResultSettings, jobs: dict[str, str] | None = None
) -> StandardSeries:
    """Chart data of one series of judged standards (rows of `judge_standards`, in their order)."""
    held = series.filter(pl.col("value_ppm").is_not_null() & pl.col("z").is_not_null() & pl.col("reads_like").is_null())
    value = held["value_ppm"].to_numpy()
    target, sd = held["certified_ppm"][0], held["sd_ppm"][0]
    expanded = held["expanded_ppm"][0]
    z = (value - target) / sd
    own_z = own_scores(held, settings=settings)
    own_ready = bool(len(value)) and not np.isnan(own_z).any()
    centre = _centre(value)
    batches = _codes(held["certificate_id"])
    rules = rules_in_use(settings)
    hits = apply_rules(held["score"].to_numpy(), rules=rules, batches=batches)
    sums = cusum(z, target=0.0, k=settings.cusum_k, h=settings.cusum_h)
    smooth = ewma(z, target=0.0, sd=1.0, weight=settings.ewma_weight, limit=settings.ewma_limit)
    trend = drift(value) if len(value) >= LEAST_FOR_DRIFT and np.ptp(value) > 0 else None
    spread = _spread(value, batches)
    series_made = StandardSeries(
        material=held["material"][0],
        element=held["element"][0],
        points=points_of(held, jobs=jobs),
        value_ppm=value,
        z=z,
        z_own=own_z,
        rejected=(held["outcome"] == FAIL).to_numpy(),
        warned=held["warned"].to_numpy(),
        broken=hits.by_rule,
        other_material=(None,) * len(value),
        certified_ppm=target,
        sd_ppm=sd,
        expanded_ppm=expanded,
        own_mean_ppm=centre[0],
        own_sd_ppm=centre[1],
        own_ready=own_ready,
        cusum_upper=sums.upper,
        cusum_lower=sums.lower,
        cusum_limit=settings.cusum_h,
        cusum_signal=sums.signal_upper | sums.signal_lower,
        shift_began=sums.shift_began,
        ewma=smooth.average,
        ewma_low=smooth.low,
        ewma_high=smooth.high,
        ewma_signal=smooth.signal,
        bias=_bias(value, held, settings),
        drift_per_100=None if trend is None else 100 * trend.slope / target,
        drift_low_per_100=None if trend is None else 100 * trend.low / target,
        drift_high_per_100=None if trend is None else 100 * trend.high / target,
        drift_p=None if trend is None else trend.p_value,
        between_sd_ppm=spread[0],
        within_sd_ppm=spread[1],
        run_length=run_length(rules, name=settings.standard_rules),
    )
    fields = {name: getattr(series_made, name) for name in StandardSeries.__slots__}
    left_out = series.height - held.height
    return StandardSeries(**fields | {"sentences": _words(series_made, left_out)})


@lru_cache(maxsize=16)
def run_length(rules: tuple[Rule, ...], *, name: str) -> RunLength:
    """How long the rules wait on average, exactly where that is known, else by seeded simulation."""
    try:
        results = runs_rules_arl(rules=rules, shift=np.array(SHIFTS))
        return RunLength(name, SHIFTS, tuple(float(one) for one in results), simulated=False)
    except ImpossibleValue:
        results = [simulated_arl(rules=rules, shift=shift, seed=SEED, series=500).mean for shift in SHIFTS]
        return RunLength(name, SHIFTS, tuple(results), simulated=True)


def _codes(column: pl.Series) -> np.ndarray:
    return column.rle_id().to_numpy().astype(np.int64)


def _centre(value: np.ndarray) -> tuple[float, float]:
    try:
        found = huber_proposal_2(value)
    except ImpossibleValue:
        return (float(value.mean()) if len(value) else np.nan, np.nan)
    return found.mean, found.sd


def _spread(value: np.ndarray, batches: np.ndarray) -> tuple[float | None, float | None]:
    """Between-batch and within-batch standard deviation; a between variance below zero is given as below zero."""
    try:
        found = between_within(value, batches)
    except ImpossibleValue:
        return None, None
    between = np.sign(found.between) * np.sqrt(abs(found.between))
    return float(between), float(np.sqrt(found.within))


def _bias(value: np.ndarray, held: pl.DataFrame, settings: ResultSettings) -> Bias | None:
    target, sd, expanded = (held[name][0] for name in ("certified_ppm", "sd_ppm", "expanded_ppm"))
    u = expanded / held["coverage_factor"][0] if expanded else 0.0
    try:
        found = certificate_bias(value, certified=target, certified_u=u)
    except ImpossibleValue:
        return None
    mean_u = found.sd / np.sqrt(found.results)
    zeta = float(zeta_score(value=found.mean, value_u=mean_u, certified=target, certified_u=u))
    en = float(
        en_number(value=found.mean, value_expanded=2 * mean_u, certified=target, certified_expanded=expanded or 0.0)
    )
    smallest = POWER_80 * sd / np.sqrt(found.results) / target
    matters = abs(found.relative_bias) > settings.bias_that_matters
    chance = float(power_of_standards(results=found.results, bias_in_sd=settings.bias_that_matters * target / sd))
    state = "shown" if found.shown else "not shown"
    sentence = (
        f"Bias {found.relative_bias:+.1%} ({found.relative_low:+.1%} to {found.relative_high:+.1%}), {state};"
        f" {found.results} results would show {settings.bias_that_matters:.0%} with a chance of {chance:.0%}."
    )
    return Bias(found.relative_bias, found.relative_low, found.relative_high, zeta, en, found.shown, matters, smallest, sentence)


def _words(made: StandardSeries, left_out: int) -> tuple[str, ...]:
    words = []
    if made.bias is not None:
        words += [made.bias.sentence, f"zeta {made.bias.zeta:+.2f} (action beyond 3), En {made.bias.en:+.2f} (beyond 1)."]
    if made.drift_p is not None:
        words.append(
            f"Drift {made.drift_per_100:+.1%} per 100 results"
            f" ({made.drift_low_per_100:+.1%} to {made.drift_high_per_100:+.1%}), p {made.drift_p:.3f}."
        )
    if made.within_sd_ppm is not None and made.between_sd_ppm is not None:
        between = (
            content(made.between_sd_ppm, made.element)
            if made.between_sd_ppm >= 0
            else "below zero: the batches cannot be told apart"
        )
        words.append(f"Standard deviation within batches {content(made.within_sd_ppm, made.element)}, between {between}.")
    length = made.run_length
    words.append(
        f"The rules ({length.rules}) give a false alarm every {length.results[0]:.0f} results on average and see a shift of"
        f" one standard deviation in {length.results[SHIFTS.index(1.0)]:.0f}{' (simulated)' if length.simulated else ''}."
    )
    if left_out:
        words.append(f"{left_out} results are not on the chart: no number, or the tag named another material.")
    return tuple(words)
