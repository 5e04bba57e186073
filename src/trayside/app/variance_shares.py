"""Where the scatter of one element comes from: sampling, preparation or analysis, out of three kinds of pair.

Everything is relative: variances of the logarithm of a result, so that pairs of all grades count alike. Field pairs of
one kind only are used: half and half, half and quarter, two quarters are never pooled.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trayside.app.judge_pairs import FIELD_KINDS
from trayside.core.robust import algorithm_s
from trayside.core.variance import components_from_pairs, other_core_share, pooled_pair_variance, what_dominates
from trayside.core.variance_intervals import pair_component_intervals
from trayside.errors import ImpossibleValue
from trayside.model.result_series import Component, PairSet, VarianceShares

LEAST_PAIRS = 6
SHARES = {"half/half": (0.5, 0.5), "half/quarter": (0.5, 0.25), "quarter/quarter": (0.25, 0.25)}
PRESENT = {"half/half": 0.5, "half/quarter": 0.5, "quarter/quarter": 0.25}
PORTIONS = {"quarter": 0.25, "half": 0.5, "whole": 1.0}
LAW_OF_MASS = "By the law of mass: metal in clusters gains less from more core than this says."


def variance_shares(sets: Sequence[PairSet]) -> tuple[VarianceShares, ...]:
    """The shares for every kind of field pair that stands beside coarse and pulp pairs of one element and laboratory.

    Without coarse pairs preparation and analysis cannot be told apart, and the answer says so.
    """
    by_kind = {one.kind: one for one in sets if len(one.points) >= LEAST_PAIRS}
    made = [_of_kind(by_kind[kind], by_kind) for kind in FIELD_KINDS if kind in by_kind and "pulp" in by_kind]
    return tuple(one for one in made if one is not None)


def _of_kind(fields: PairSet, by_kind: dict[str, PairSet]) -> VarianceShares | None:
    pulp, coarse = by_kind["pulp"], by_kind.get("coarse")
    try:
        field_variance, pulp_variance = _variance(fields), _variance(pulp)
        middle = coarse if coarse is not None else pulp
        middle_variance = _variance(middle)
        parts = components_from_pairs(
            field_variance=field_variance, preparation_variance=middle_variance, analysis_variance=pulp_variance
        )
        intervals = pair_component_intervals(
            field_variance=field_variance, field_pairs=len(fields.points),
            preparation_variance=middle_variance, preparation_pairs=len(middle.points),
            analysis_variance=pulp_variance, analysis_pairs=len(pulp.points),
        )  # fmt: skip
        dominance = what_dominates(
            sampling=parts.sampling, preparation=parts.preparation if coarse is not None else None, analysis=parts.analysis
        )
    except ImpossibleValue:
        return None
    robust = _robust_parts(fields, middle, pulp)
    names = ("sampling", "preparation", "analysis") if coarse is not None else ("sampling and preparation", "analysis")
    values = [(parts.sampling, intervals[0], robust[0]), (parts.preparation, intervals[1], robust[1]),
              (parts.analysis, intervals[2], robust[2])]  # fmt: skip
    if coarse is None:
        values = [values[0], values[2]]
    shares = list(dominance.shares.values())
    components = tuple(
        Component(name, value, interval.low, interval.high, wild, shares[at] if at < len(shares) else None)
        for at, (name, (value, interval, wild)) in enumerate(zip(names, values, strict=True))
    )
    cautions = [LAW_OF_MASS]
    if coarse is None:
        cautions.append("Without coarse pairs preparation counts with sampling.")
    below = [one.name for one in components if one.variance < 0]
    if below:
        cautions.append(f"{' and '.join(below)} came out below zero: these pairs cannot tell it from nothing.")
    return VarianceShares(
        element=fields.element,
        field_kind=fields.kind,
        components=components,
        sentence=dominance.sentence,
        other_core=_other_core(fields.kind, parts.sampling, middle_variance),
        cautions=tuple(cautions),
    )


def _logs(pairs: PairSet) -> tuple[np.ndarray, np.ndarray]:
    return np.log(pairs.first_ppm), np.log(pairs.second_ppm)


def _variance(pairs: PairSet) -> float:
    return float(pooled_pair_variance(*_logs(pairs)))


def _robust_parts(*sets: PairSet) -> tuple[float | None, float | None, float | None]:
    """The same split with spreads that a few wild pairs cannot drag up; None where half of the pairs agree exactly."""
    variances = []
    for pairs in sets:
        first, second = _logs(pairs)
        try:
            variances.append((algorithm_s(np.abs(first - second)).pooled ** 2) / 2)
        except ImpossibleValue:
            return None, None, None
    field_variance, middle, pulp = variances
    return field_variance - middle, middle - pulp, pulp


def _other_core(kind: str, sampling: float, other: float) -> tuple[tuple[str, float], ...]:
    """Standard deviation of a result against now, for every portion that could be bagged."""
    if sampling <= 0:
        return ()
    first, second = SHARES[kind]
    return tuple(
        (portion, other_core_share(sampling_variance=sampling, other_variance=max(other, 0.0), first_share=first,
                                   second_share=second, present_share=PRESENT[kind], other_share=share).sd_ratio)
        for portion, share in PORTIONS.items()
    )  # fmt: skip


def share_words(made: VarianceShares) -> tuple[str, ...]:
    """The sentence on what dominates, what another portion would change, and the cautions."""
    words = [f"{made.element}, {made.field_kind} pairs: {made.sentence}"]
    if made.other_core:
        words.append(
            "The standard deviation of a result would be "
            + ", ".join(f"{ratio:.0%} of now with {portion} core" for portion, ratio in made.other_core)
            + "."
        )
    return (*words, *made.cautions)
