"""One kind of pair of one element at one laboratory, with every statistic that its page shows and what it could not see."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np
import polars as pl

from trayside.app.content_words import content
from trayside.app.series_points import points_of
from trayside.core.duplicates import hard_curve, reduced_major_axis, reduced_major_axis_band, rms_cv_interval
from trayside.core.pair_power import more_pairs_needed, smallest_bias
from trayside.core.pair_tests import VERDICTS, bias_verdict, bland_altman_ratio, sign_test, wilcoxon_test
from trayside.core.thompson_howarth import thompson_howarth_long
from trayside.errors import ImpossibleValue
from trayside.model.result_series import PairSet
from trayside.model.rules import ResultSettings

CANNOT_CONCLUDE = VERDICTS[2]
TOO_FEW = "too few pairs"
BAND_POINTS = 60
NOTHING = np.zeros(0)
Answer = TypeVar("Answer")


def pair_set(pairs: pl.DataFrame, *, settings: ResultSettings) -> PairSet:
    """Statistics of pairs of one kind, element and laboratory (rows of `judge_pairs.pair_results`).

    Ratios use every pair that has two numbers; precision only pairs whose mean is well above the lower limit.
    """
    kind, element = pairs["kind"][0], pairs["element"][0]
    used = pairs.filter(~pl.col("censored") & (pl.col("first_ppm") > 0) & (pl.col("second_ppm") > 0))
    first, second = used["first_ppm"].to_numpy(), used["second_ppm"].to_numpy()
    limit = used["lower_limit_ppm"].fill_null(0.0).to_numpy()
    clear = (first + second) / 2 >= settings.pairs_above_limits * limit
    a, b = first[clear], second[clear]
    precision = _or_none(lambda: rms_cv_interval(a, b))
    hard = _or_none(lambda: hard_curve(a, b))
    line = _or_none(lambda: reduced_major_axis(first, second))
    at, band = _band(first, second) if line is not None else (NOTHING, None)
    agreement = _or_none(lambda: bland_altman_ratio(first, second))
    verdict = _or_none(lambda: bias_verdict(first, second, bias_that_matters=settings.bias_that_matters))
    enough = len(first) >= settings.pairs_least and verdict is not None
    pair_cv = verdict.pair_cv if verdict is not None else None
    outside = used["outside"].fill_null(False).to_numpy()
    by_grade = _or_none(lambda: thompson_howarth_long(a, b))
    sign = _or_none(lambda: sign_test(first, second)) if len(first) else None
    ranks = _or_none(lambda: wilcoxon_test(np.log(first), np.log(second))) if len(first) else None
    made = PairSet(
        kind=kind,
        element=element,
        points=points_of(used, number="number", text="first_text", certificate="first_certificate_id", place="first_place"),
        second_number=tuple(used["second_number"].to_list()),
        first_ppm=first,
        second_ppm=second,
        outside=outside,
        left_out_censored=pairs.height - used.height,
        cv=precision.cv if precision else None,
        cv_low=precision.low if precision else None,
        cv_high=precision.high if precision else None,
        cv_low_seen=precision.low_seen if precision else None,
        cv_high_seen=precision.high_seen if precision else None,
        hard=hard.hard if hard else NOTHING,
        hard_share=hard.share if hard else NOTHING,
        hyperbola_m=settings.hyperbola(kind, lower_limit_ppm=1.0)[0],
        hyperbola_b_ppm=float(np.median(used["b_ppm"].to_numpy())) if used.height else 0.0,
        failed_share=float(outside.mean()) if used.height else None,
        accepted_share=settings.pairs_failed_share,
        slope=line.slope if line else None,
        slope_low=line.slope_low if line else None,
        slope_high=line.slope_high if line else None,
        intercept_ppm=line.intercept if line else None,
        band_at_ppm=at,
        band_line_ppm=band.line if band else NOTHING,
        band_low_ppm=band.low if band else NOTHING,
        band_high_ppm=band.high if band else NOTHING,
        mean_ratio=verdict.ratio if verdict else None,
        ratio_low=verdict.low if verdict else None,
        ratio_high=verdict.high if verdict else None,
        agreement_low=1 / agreement.upper if agreement else None,
        agreement_high=1 / agreement.lower if agreement else None,
        sign_p=sign.p_value if sign else None,
        wilcoxon_p=ranks.p_value if ranks else None,
        bias_verdict=verdict.verdict if enough else TOO_FEW,
        bias_that_matters=settings.bias_that_matters,
        smallest_bias=_or_none(lambda: smallest_bias(pairs=len(first), pair_cv=pair_cv)) if pair_cv else None,
        more_pairs=_or_none(
            lambda: more_pairs_needed(pairs=len(first), pair_cv=pair_cv, bias=settings.bias_that_matters)
        )
        if pair_cv
        else None,
        precision_at_ppm=by_grade.group_mean if by_grade else NOTHING,
        precision_sd_ppm=by_grade.group_median_difference if by_grade else NOTHING,
        precision_s0_ppm=by_grade.s0 if by_grade else None,
        precision_k=by_grade.k if by_grade else None,
        precision_cautions=by_grade.cautions if by_grade else (),
    )
    return _with_words(made, pairs_above=int(clear.sum()), settings=settings)


def pair_sets(pairs: pl.DataFrame, *, settings: ResultSettings) -> tuple[PairSet, ...]:
    """One set a kind, element and laboratory; kinds are never pooled."""
    parts = pairs.partition_by("laboratory", "element", "kind", maintain_order=True) if pairs.height else []
    return tuple(pair_set(part, settings=settings) for part in parts)


def power_words(made: PairSet) -> str:
    """What so many pairs could show, and how many more it would take."""
    if made.smallest_bias is None:
        return f"{len(made.points)} {made.kind} pairs of {made.element} are too few to show any bias."
    words = (
        f"{len(made.points)} {made.kind} pairs of {made.element} would show a bias of {made.smallest_bias:.0%} in 4 of 5"
        " cases, nothing smaller"
    )
    if made.more_pairs:
        more = "1 more pair is" if made.more_pairs == 1 else f"{made.more_pairs} more pairs are"
        words += f"; {more} needed to show {made.bias_that_matters:.0%}"
    return words + "."


def bias_words(made: PairSet) -> str:
    """Whether second results are lower or higher than first ones, or that nobody can say."""
    if made.mean_ratio is None or made.bias_verdict == TOO_FEW:
        return f"{len(made.points)} {made.kind} pairs of {made.element}: too few to judge a bias."
    return (
        f"Second results of {len(made.points)} {made.kind} pairs of {made.element} read {made.mean_ratio - 1:+.1%} against"
        f" the first ({made.ratio_low - 1:+.1%} to {made.ratio_high - 1:+.1%}): {made.bias_verdict}."
    )


def _with_words(made: PairSet, *, pairs_above: int, settings: ResultSettings) -> PairSet:
    words = [bias_words(made), power_words(made)]
    if made.cv is not None:
        words.append(
            f"Precision of one result {made.cv:.1%} ({made.cv_low_seen:.1%} to {made.cv_high_seen:.1%} as the pairs"
            f" scatter), from {pairs_above} pairs whose mean is above {settings.pairs_above_limits:g} lower limits."
        )
    if made.failed_share is not None:
        words.append(
            f"{int(made.outside.sum())} of {len(made.points)} pairs lie outside the hyperbola (slope {made.hyperbola_m:g},"
            f" {content(made.hyperbola_b_ppm, made.element)} at zero); accepted are {made.accepted_share:.0%}."
        )
    if made.left_out_censored:
        words.append(f"{made.left_out_censored} pairs with a result below or above a limit are left out.")
    fields = {name: getattr(made, name) for name in PairSet.__slots__}
    return PairSet(**fields | {"sentences": tuple(words)})


def _band(first: np.ndarray, second: np.ndarray):
    at = np.linspace(0.0, float(first.max()), BAND_POINTS)
    return at, _or_none(lambda: reduced_major_axis_band(first, second, at=at))


def _or_none(ask: Callable[[], Answer]) -> Answer | None:
    """The answer, or None where the calculation says that these pairs cannot give one."""
    try:
        return ask()
    except ImpossibleValue:
        return None
