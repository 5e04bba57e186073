"""Invented series for charts: a drifting standard with one exchanged bag, blanks behind rich samples, pairs."""

from __future__ import annotations

import numpy as np

from trayside.core.blanks import carry_over
from trayside.core.control_chart import cusum, ewma
from trayside.core.duplicates import hard_curve, reduced_major_axis, reduced_major_axis_band
from trayside.core.thompson_howarth import thompson_howarth_long
from trayside.model.result_series import (
    Bias,
    BlankSeries,
    CarryOverSet,
    ElementPage,
    PairSet,
    Points,
    RunLength,
    Share,
    StandardSeries,
)


def points(count: int, *, first: int = 1000, batches: int = 6) -> Points:
    batch = [at * batches // count + 1 for at in range(count)]
    return Points(
        number=tuple(f"T{first + at}" for at in range(count)),
        certificate_id=tuple(f"c{one}" for one in batch),
        job=tuple(f"J-{one:03d}" for one in batch),
        laboratory=("Demo laboratory A",) * count,
        reported_at=tuple(f"2031-{(one - 1) % 12 + 1:02d}-14T08:00:00+00:00" for one in batch),
        place=np.arange(1, count + 1) * 7,
        raw_text=("0.5",) * count,
    )


def standard(count: int = 60, *, seed: int = 3, batches: int = 6) -> StandardSeries:
    rng = np.random.default_rng(seed)
    value = rng.normal(0.5, 0.02, count) + np.linspace(0, 0.05, count)
    value[count // 3] = 7.46
    z = (value - 0.5) / 0.02
    own = value.copy()
    own[count // 3] = 0.5  # what reads like another material says nothing of this one's course
    sums = cusum((own - 0.5) / 0.02, target=0.0, k=0.5, h=5.0)
    average = ewma((own - 0.5) / 0.02, target=0.0, sd=1.0)
    other = [None] * count
    other[count // 3] = "STD-H"
    rejected = np.abs(z) > 3
    return StandardSeries(
        material="STD-L", element="Au", points=points(count, batches=batches), value_ppm=value, z=z, z_own=z,
        rejected=rejected, warned=(np.abs(z) > 2) & ~rejected, broken={"1 beyond 3 sd": rejected},
        other_material=tuple(other), certified_ppm=0.5, sd_ppm=0.02, expanded_ppm=0.01, own_mean_ppm=0.52,
        own_sd_ppm=0.024, own_ready=True, cusum_upper=sums.upper, cusum_lower=sums.lower, cusum_limit=5.0,
        cusum_signal=sums.signal_upper | sums.signal_lower, shift_began=sums.shift_began, ewma=average.average,
        ewma_low=average.low, ewma_high=average.high, ewma_signal=average.signal,
        bias=Bias(0.05, 0.03, 0.07, 2.4, 1.2, True, True, 0.02, "The mean stands 5 % above the certificate."),
        drift_per_100=0.08, drift_low_per_100=0.05, drift_high_per_100=0.11, drift_p=0.0001,
        between_sd_ppm=0.01, within_sd_ppm=0.02,
        run_length=RunLength("1 beyond 3 sd", (0.0, 1.0, 2.0), (370.4, 43.9, 6.3), False),
        sentences=("The standard drifts upwards by 0.08 g/t in 100 results.",),
    )  # fmt: skip


def blanks(count: int = 40, *, seed: int = 5) -> BlankSeries:
    rng = np.random.default_rng(seed)
    before = np.exp(rng.normal(0, 1.4, count))
    before[count // 2] = 90.0
    value = np.maximum(0.005, 0.004 + 0.006 * before + rng.normal(0, 0.003, count))
    censored = value <= 0.005
    limit = np.full(count, 0.05)
    return BlankSeries(
        material="BLK", kind="coarse blank", element="Au", points=points(count, first=2000), value_ppm=value,
        censored=censored, limit_ppm=limit, above=value > limit,
        before_laboratory=tuple(f"T{3000 + at}" for at in range(count)), before_laboratory_ppm=before,
        before_saw=tuple(f"T{3000 + at}" for at in range(count)), before_saw_ppm=before, background_ppm=0.004,
        dirty_lot=False, failures=int((value > limit).sum()), failure_low=0.005, failure_high=0.13,
        sentences=("1 of 40 blanks is above its limit.",),
    )  # fmt: skip


def carried(series: BlankSeries | None = None, *, order: str = "laboratory") -> CarryOverSet:
    series = series or blanks()
    found = carry_over(blank=series.value_ppm, previous=series.before_laboratory_ppm)
    return CarryOverSet(
        element="Au", order=order, points=series.points, before=tuple(series.before_laboratory),
        before_ppm=series.before_laboratory_ppm, blank_ppm=series.value_ppm, censored=series.censored,
        share=Share(found.rate, found.low, found.high, found.p_value), background_ppm=found.background,
        rank_p_value=found.rank_p_value, exact_p_value=0.2, verdict=found.verdict, split_saw=None,
        split_laboratory=None, split_why="both orders are the same", allowed=0.01,
        sentences=("About 0.6 % of the sample before is found in the blank.",),
    )  # fmt: skip


def pairs(count: int = 60, *, seed: int = 7, kind: str = "half/half") -> PairSet:
    rng = np.random.default_rng(seed)
    true = np.exp(rng.normal(0, 1.2, count))
    first, second = (true * np.exp(rng.normal(0, 0.2, count)) for _ in range(2))
    fit, curve = reduced_major_axis(first, second), hard_curve(first, second)
    at = np.geomspace(first.min(), first.max(), 40)
    band = reduced_major_axis_band(first, second, at=at)
    line = thompson_howarth_long(first, second)
    ratio = np.log(second / first)
    low, high = ratio.mean() - 1.96 * ratio.std(ddof=1), ratio.mean() + 1.96 * ratio.std(ddof=1)
    return PairSet(
        kind=kind, element="Au", points=points(count, first=4000),
        second_number=tuple(f"T{5000 + at}" for at in range(count)), first_ppm=first, second_ppm=second,
        outside=np.abs(ratio) > 0.5, left_out_censored=2, cv=0.2, cv_low=0.17, cv_high=0.25, cv_low_seen=0.16,
        cv_high_seen=0.26, hard=curve.hard, hard_share=curve.share, hyperbola_m=1.6, hyperbola_b_ppm=0.02,
        failed_share=0.08, accepted_share=0.10, slope=fit.slope, slope_low=fit.slope_low, slope_high=fit.slope_high,
        intercept_ppm=fit.intercept, band_at_ppm=at, band_line_ppm=band.line, band_low_ppm=band.low,
        band_high_ppm=band.high, mean_ratio=float(np.exp(ratio.mean())), ratio_low=0.93, ratio_high=1.05,
        agreement_low=float(np.exp(low)), agreement_high=float(np.exp(high)), sign_p=0.4, wilcoxon_p=0.5,
        bias_verdict="cannot conclude", bias_that_matters=0.05, smallest_bias=0.08, more_pairs=90,
        precision_at_ppm=line.group_mean, precision_sd_ppm=line.group_median_difference * 1.04836,
        precision_s0_ppm=line.s0, precision_k=line.k, precision_cautions=line.cautions,
        sentences=("These pairs cannot conclude: the smallest bias they could show is 8 %.",),
    )  # fmt: skip


def element_page() -> ElementPage:
    held = blanks()
    return ElementPage("Au", (standard(),), (held,), (carried(held),), (pairs(), pairs(kind="pulp", seed=9)))
