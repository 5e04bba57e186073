"""What an element page draws: one standard, blank, kind of pair or carry-over in its order, with limits and figures.

Arrays of one series have one entry a result, in the order the laboratory ran them. Contents are in ppm; scores, CVs and
shares are plain numbers. NaN stands where there is no number. `number` opens the sample's story.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """Where each result of a series stands: its number, certificate, laboratory order, date, text as written."""

    number: tuple[str, ...]
    certificate_id: tuple[str, ...]
    job: tuple[str, ...]
    laboratory: tuple[str, ...]
    reported_at: tuple[str, ...]
    place: NDArray[np.int64]
    raw_text: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.number)


@dataclass(frozen=True, slots=True)
class Bias:
    """Mean of a standard against its certificate; `relative_*` are fractions of the certified value."""

    relative: float
    relative_low: float
    relative_high: float
    zeta: float
    en: float
    shown: bool
    matters: bool
    smallest_seen: float
    sentence: str


@dataclass(frozen=True, slots=True)
class RunLength:
    """How many results the chosen rules wait on average: for nothing (false alarm), and at a shift in sds."""

    rules: str
    shifts: tuple[float, ...]
    results: tuple[float, ...]
    simulated: bool


@dataclass(frozen=True, slots=True, eq=False)
class StandardSeries:
    """One standard and one element over certificates.

    `broken` maps a rule's name to where it was completed. `signals` of CUSUM and EWMA likewise. `other_material` names
    what a result reads like when it is not what its label says.
    """

    material: str
    element: str
    points: Points
    value_ppm: Floats
    z: Floats
    z_own: Floats
    rejected: Flags
    warned: Flags
    broken: dict[str, Flags]
    other_material: tuple[str | None, ...]
    certified_ppm: float
    sd_ppm: float
    expanded_ppm: float | None
    own_mean_ppm: float
    own_sd_ppm: float
    own_ready: bool
    cusum_upper: Floats
    cusum_lower: Floats
    cusum_limit: float
    cusum_signal: Flags
    shift_began: int | None
    ewma: Floats
    ewma_low: Floats
    ewma_high: Floats
    ewma_signal: Flags
    bias: Bias | None
    drift_per_100: float | None
    drift_low_per_100: float | None
    drift_high_per_100: float | None
    drift_p: float | None
    between_sd_ppm: float | None
    within_sd_ppm: float | None
    run_length: RunLength
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class BlankSeries:
    """One blank material and one element. A censored result is drawn at its limit with `censored` true."""

    material: str
    kind: str
    element: str
    points: Points
    value_ppm: Floats
    censored: Flags
    limit_ppm: Floats
    above: Flags
    before_laboratory: tuple[str | None, ...]
    before_laboratory_ppm: Floats
    before_saw: tuple[str | None, ...]
    before_saw_ppm: Floats
    background_ppm: float
    dirty_lot: bool
    failures: int
    failure_low: float
    failure_high: float
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Share:
    """A share with its interval."""

    value: float
    low: float
    high: float
    p_value: float


@dataclass(frozen=True, slots=True, eq=False)
class CarryOverSet:
    """Blanks against the sample before them, by one order ('laboratory' or 'saw'); the line is background + share x."""

    element: str
    order: str
    points: Points
    before: tuple[str, ...]
    before_ppm: Floats
    blank_ppm: Floats
    censored: Flags
    share: Share | None
    background_ppm: float
    rank_p_value: float | None
    exact_p_value: float | None
    verdict: str
    split_saw: Share | None
    split_laboratory: Share | None
    split_why: str
    allowed: float
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class PairSet:
    """Pairs of one kind, never pooled with another: 'half/half', 'half/quarter', 'quarter/quarter', 'coarse', 'pulp',
    'second laboratory'. `points` are the first results, `second_number` names the others."""

    kind: str
    element: str
    points: Points
    second_number: tuple[str, ...]
    first_ppm: Floats
    second_ppm: Floats
    outside: Flags
    left_out_censored: int
    cv: float | None
    cv_low: float | None
    cv_high: float | None
    cv_low_seen: float | None
    cv_high_seen: float | None
    hard: Floats
    hard_share: Floats
    hyperbola_m: float
    hyperbola_b_ppm: float
    failed_share: float | None
    accepted_share: float
    slope: float | None
    slope_low: float | None
    slope_high: float | None
    intercept_ppm: float | None
    band_at_ppm: Floats
    band_line_ppm: Floats
    band_low_ppm: Floats
    band_high_ppm: Floats
    mean_ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    agreement_low: float | None
    agreement_high: float | None
    sign_p: float | None
    wilcoxon_p: float | None
    bias_verdict: str
    bias_that_matters: float
    smallest_bias: float | None
    more_pairs: int | None
    precision_at_ppm: Floats
    precision_sd_ppm: Floats
    precision_s0_ppm: float | None
    precision_k: float | None
    precision_cautions: tuple[str, ...]
    sentences: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Component:
    """A variance component as a relative variance with its interval; below zero it is reported below zero."""

    name: str
    variance: float
    low: float
    high: float
    robust: float | None
    share: float | None


@dataclass(frozen=True, slots=True)
class VarianceShares:
    """Where the scatter of one element comes from, and what another share of the core would change."""

    element: str
    field_kind: str
    components: tuple[Component, ...]
    sentence: str
    other_core: tuple[tuple[str, float], ...]
    """Portion ('quarter', 'half', 'whole') and the sd of a result relative to now."""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class ElementPage:
    """Everything one element page shows for a choice of period and laboratory."""

    element: str
    standards: tuple[StandardSeries, ...] = ()
    blanks: tuple[BlankSeries, ...] = ()
    carry_over: tuple[CarryOverSet, ...] = ()
    pairs: tuple[PairSet, ...] = ()
    shares: tuple[VarianceShares, ...] = ()
    notes: tuple[str, ...] = field(default=())
