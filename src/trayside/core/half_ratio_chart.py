"""Saw alignment from the two halves on the scale: a cumulative sum that notices a blade gone off its line.

Length and density drop out of the ratio of the two halves; what is left is the offset. Each pair's log ratio less that
of the offset the saw is set to, in standard deviations, is z. Two sums gather what exceeds the allowance k:

    high[t] = max(0, high[t-1] + z[t] - k)      near half too heavy: blade moved toward the far half
    low[t]  = max(0, low[t-1]  - z[t] - k)      near half too light: blade moved toward the near half

A sum above h is a signal. The change began after the sum was last 0; how far the blade is off since then follows from
the ratios of those pairs. After a signal the sums start anew, as after a saw that was set up again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.cut_geometry import cut_faces, cut_pieces, offset_from_masses
from trayside.core.number_lists import one_number
from trayside.core.refusals import Floats, checked_cut, numbers, plain, refuse_where, together
from trayside.core.run_length import cusum_arl
from trayside.core.sources import Source, SourcedNumber
from trayside.errors import ImpossibleValue

ALLOWANCE_SD = SourcedNumber(
    0.5, Source("Lucas & Crosier 1982, Technometrics 24:199", "k of Table 1, through a reprint", "from memory")
)
DECISION_SD = SourcedNumber(
    5.0, Source("Montgomery, Introduction to Statistical Quality Control", "h of Table 9.3", "from memory")
)
RATIO_SD = SourcedNumber(
    0.05, Source("no document found", "starting choice, replace by the yard's own", "common practice, no source")
)


@dataclass(frozen=True, slots=True)
class AlignmentSignal:
    """One signal: pair where it came, first pair since the change, offset since then with its standard error."""

    signal: int
    start: int
    toward: str  # "near half" or "far half": where the blade has moved
    offset_mm: float
    offset_standard_error_mm: float
    shift_mm: float  # against the offset the saw is set to


@dataclass(frozen=True, slots=True)
class AlignmentChart:
    """Both sums, pair by pair, and the signals in order."""

    z: Floats
    high: Floats
    low: Floats
    offset_mm: Floats  # of each pair alone
    signals: tuple[AlignmentSignal, ...]
    allowance: float
    decision: float


@dataclass(frozen=True, slots=True)
class AlignmentRunLength:
    """Mean number of pairs until the chart speaks: after a shift, and when nothing is wrong."""

    shift_sd: Any
    pairs_to_signal: Any
    pairs_to_false_alarm: float


def half_ratio_chart(
    *,
    near_kg: ArrayLike,
    far_kg: ArrayLike,
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    target_offset_mm: ArrayLike,
    ratio_sd: ArrayLike = RATIO_SD.value,
    allowance: float = ALLOWANCE_SD.value,
    decision: float = DECISION_SD.value,
) -> AlignmentChart:
    """Two-sided cumulative sum of the log ratio of both halves, in the order they were cut.

    The offset since the start of a change is the mean of the offsets found back from each pair's masses; its standard
    error follows from that of the log ratio.

    Parameters
    ----------
    near_kg : array (n,) [kg]
        Mass of the half on the side that positive offsets point to.
    far_kg : array (n,) [kg]
        Mass of the other half of the same core.
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.
    target_offset_mm : float or array (n,) [mm]
        Offset the saw is set to.
    ratio_sd : float or array (n,) [1]
        Standard deviation of the log ratio when the saw is in line; a setting.
    allowance : float [1]
        k, half the shift to be found, in standard deviations; a setting.
    decision : float [1]
        h, in standard deviations; a setting.

    Returns
    -------
    AlignmentChart
        .z (n,) [1], .high (n,) [1], .low (n,) [1], .offset_mm (n,) [mm], .signals

    Raises
    ------
    ImpossibleValue
        When a mass is not more than 0, the cut is impossible or would leave no near or far half, k is negative or h not
        more than 0.

    Valid for: complete halves; pairs independent of each other.
    Source: Page 1954, Biometrika 41:100 (from memory); offset by cut_geometry (derived).
    Checked by: tests/unit/core/test_half_ratio_chart.py, tests/properties/test_half_ratio_chart_properties.py
    """
    k, h = one_number(allowance, "allowance", at_least=0.0), one_number(decision, "decision", above=0.0)
    radius, kerf, target = checked_cut(core_diameter_mm, kerf_mm, target_offset_mm, offset_name="target_offset_mm")
    near, far, radius, kerf, target, sd = together(
        near_kg=numbers(near_kg, "near_kg", above=0.0),
        far_kg=numbers(far_kg, "far_kg", above=0.0),
        core_diameter_mm=radius,
        kerf_mm=kerf,
        target_offset_mm=target,
        ratio_sd=numbers(ratio_sd, "ratio_sd", above=0.0),
    )
    if near.ndim != 1:
        raise ImpossibleValue(
            "not a list of pairs", where="near_kg", remedy="Give the pairs in the order they were cut"
        )
    expected = _log_area_ratio(2.0 * radius, kerf, target, "target_offset_mm")
    z = (np.log(near / far) - expected) / sd
    offset = offset_from_masses(near_kg=near, far_kg=far, core_diameter_mm=2.0 * radius, kerf_mm=kerf)
    offset_sd = _offset_sd(2.0 * radius, kerf, offset, sd)
    high, low = np.zeros(len(z)), np.zeros(len(z))
    signals: list[AlignmentSignal] = []
    up = down = 0.0
    up_start = down_start = 0
    for t, step in enumerate(z.tolist()):
        if up == 0.0:
            up_start = t
        if down == 0.0:
            down_start = t
        up, down = max(0.0, up + step - k), max(0.0, down - step - k)
        high[t], low[t] = up, down
        if max(up, down) > h:
            start, toward = (up_start, "far half") if up >= down else (down_start, "near half")
            signals.append(_signal(t, start, toward, offset, offset_sd, target))
            up = down = 0.0
    return AlignmentChart(z=z, high=high, low=low, offset_mm=offset, signals=tuple(signals), allowance=k, decision=h)


def alignment_run_length(
    *,
    core_diameter_mm: ArrayLike,
    kerf_mm: ArrayLike,
    target_offset_mm: ArrayLike,
    shift_mm: ArrayLike,
    ratio_sd: ArrayLike = RATIO_SD.value,
    allowance: float = ALLOWANCE_SD.value,
    decision: float = DECISION_SD.value,
) -> AlignmentRunLength:
    """How many pairs of halves the chart needs on average to notice a shift of the blade.

    The log ratio of the areas at target plus shift, less that at the target, over its standard deviation is the shift
    the chart sees; its average run length comes from the integral equation of cusum_arl, both sides at once.

    Parameters
    ----------
    core_diameter_mm : float or array (n,) [mm]
        Diameter of the core.
    kerf_mm : float or array (n,) [mm]
        Width of the slot.
    target_offset_mm : float or array (n,) [mm]
        Offset the saw is set to.
    shift_mm : float or array (n,) [mm]
        Shift of the blade, positive toward the near half.
    ratio_sd : float or array (n,) [1]
        Standard deviation of the log ratio when the saw is in line; a setting.
    allowance : float [1]
        k of the chart.
    decision : float [1]
        h of the chart.

    Returns
    -------
    AlignmentRunLength
        .shift_sd (n,) [1], .pairs_to_signal (n,) [1], .pairs_to_false_alarm [1]

    Raises
    ------
    ImpossibleValue
        When either cut is impossible or leaves nothing of one half, or k or h is out of range.

    Valid for: as half_ratio_chart; a shift that is there from the first pair on.
    Source: cut_geometry and cusum_arl (derived).
    Checked by: tests/unit/core/test_half_ratio_chart.py, tests/published/test_mass_witness_figures.py
    """
    target, shift = together(
        target_offset_mm=numbers(target_offset_mm, "target_offset_mm"), shift_mm=numbers(shift_mm, "shift_mm")
    )
    at_target = _log_area_ratio(core_diameter_mm, kerf_mm, target, "target_offset_mm")
    moved = _log_area_ratio(core_diameter_mm, kerf_mm, target + shift, "shift_mm")
    sd, change = together(ratio_sd=numbers(ratio_sd, "ratio_sd", above=0.0), shift_mm=moved - at_target)
    shift_sd = plain(change / sd)
    return AlignmentRunLength(
        shift_sd=shift_sd,
        pairs_to_signal=cusum_arl(k=allowance, h=decision, shift=shift_sd),
        pairs_to_false_alarm=float(cusum_arl(k=allowance, h=decision, shift=0.0)),
    )


def _log_area_ratio(core_diameter_mm: ArrayLike, kerf_mm: ArrayLike, offset_mm: Floats, name: str) -> Floats:
    """Logarithm of near over far area, refused where one half is sawn away."""
    cut = cut_pieces(core_diameter_mm=core_diameter_mm, kerf_mm=kerf_mm, offset_mm=offset_mm)
    near, far = np.asarray(cut.near_mm2), np.asarray(cut.far_mm2)
    refuse_where(
        np.minimum(near, far) <= 0.0,
        np.broadcast_to(offset_mm, near.shape),
        name,
        "leaves nothing of one half",
        "Check the offset, the kerf and the core size",
    )
    return np.log(near / far)


def _offset_sd(diameter: Floats, kerf: Floats, offset: Floats, ratio_sd: Floats) -> Floats:
    """Standard deviation of one pair's offset: that of the log ratio over how fast the ratio changes with the offset."""
    cut = {"core_diameter_mm": diameter, "kerf_mm": kerf, "offset_mm": offset}
    areas, faces = cut_pieces(**cut), cut_faces(**cut)
    return ratio_sd / (faces.near_face_mm / areas.near_mm2 + faces.far_face_mm / areas.far_mm2)


def _signal(at: int, start: int, toward: str, offset: Floats, offset_sd: Floats, target: Floats) -> AlignmentSignal:
    since = slice(start, at + 1)
    return AlignmentSignal(
        signal=at,
        start=start,
        toward=toward,
        offset_mm=float(offset[since].mean()),
        offset_standard_error_mm=float(np.sqrt((offset_sd[since] ** 2).sum()) / (at + 1 - start)),
        shift_mm=float((offset[since] - target[since]).mean()),
    )
