"""Masses at the laboratory's door against those of the yard, with an allowance for water that dried out.

A whole load that comes in 6 % lighter has dried. One bag that comes in 20 % lighter than its load has lost rock. Two
that each weigh what the other should have been exchanged. So the drying of each group (load, rock) is estimated
robustly from the other bags of the group, and each bag is judged against that:

    logarithm of laboratory over yard mass = -drying of the group + scatter of the two scales + what happened to the bag
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.identity_search import DEFAULT_SETTINGS, IdentitySearch, SearchSettings, search_identity
from trayside.core.mass_residuals import HEAVY, INSIDE, LIGHT, MEDIAN_VARIANCE, group_rows, middles_without_each
from trayside.core.number_lists import number_list, one_number
from trayside.core.refusals import Floats, numbers
from trayside.core.robust import MAD_TO_SD
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

NOT_RECEIVED = "no mass received"
PLAIN, MUCH_DRIED, GAINED, TOO_FEW = (
    "plain",
    "dried more than usual",
    "heavier at the laboratory",
    "too few bags to say",
)


@dataclass(frozen=True, slots=True)
class DryingSettings:
    """What drying and scatter are usual: starting choices of our own, to be replaced by the yard's own."""

    usual_drying: float = 0.02  # share of the mass at the yard
    usual_drying_sd: float = 0.03  # from group to group
    most_drying: float = 0.10  # more than this is said of the group
    gain_allowed: float = 0.01  # a whole group heavier by more than this is said
    scale_sd: float = 0.01  # of the ratio of the two masses, as a share
    scale_sd_kg: float = 0.02  # of both scales together, whatever the mass
    coverage_factor: float = 4.0
    least_bags: int = 4  # with fewer, drying and loss cannot be told apart
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own", "common practice, no source"
    )


DEFAULT_DRYING = DryingSettings()


@dataclass(frozen=True, slots=True)
class GroupDrying:
    """Drying of one group: share of the yard's mass lost by its middle bag, and what is odd about that."""

    group: Hashable
    bags: int
    drying: float
    spread: float  # of the bags about it, as a share
    verdict: str


@dataclass(frozen=True, slots=True)
class ReceivedMasses:
    """Each bag judged by its group's drying; arrays (n,), NaN where no mass was received."""

    change: Floats  # laboratory over yard mass, less 1
    drying: Floats  # what the other bags of the group say
    expected_kg: Floats  # at the laboratory
    relative_sd: Floats
    difference_kg: Floats
    score: Floats
    verdict: tuple[str, ...]
    groups: tuple[GroupDrying, ...]
    identity: IdentitySearch

    @property
    def lost(self) -> tuple[int, ...]:
        """Bags lighter than their group's drying explains, and not part of an exchange or slip that was found."""
        moved = {bag for one in self.identity.found for bag in range(one.first, one.last + 1)}
        return tuple(i for i, verdict in enumerate(self.verdict) if verdict == LIGHT and i not in moved)


def compare_received(
    *,
    yard_kg: ArrayLike,
    laboratory_kg: ArrayLike,
    group: Sequence[Hashable] | None = None,
    settings: DryingSettings = DEFAULT_DRYING,
    search: SearchSettings = DEFAULT_SETTINGS,
) -> ReceivedMasses:
    """Judge received masses bag by bag, with the drying of the group and a search for exchanged numbers.

    The drying that a bag is judged by is the median log ratio of the other bags of its group, drawn toward the usual
    drying: with m others it weighs m T^2 / (m T^2 + 1.57 s^2), T the usual spread of drying between groups and s the
    scatter of a bag (the variance of a median of m is near 1.57 s^2 / m). The spread of the group, from the MAD, only
    ever widens the range, so that bags dried unevenly are not called lost. With fewer than two others the usual drying
    stands alone. The search for exchanges compares with the
    yard's masses after drying.

    Parameters
    ----------
    yard_kg : array (n,) [kg]
        Mass at the yard, in ticket order.
    laboratory_kg : array (n,) [kg]
        Mass at the laboratory; NaN where none was received.
    group : sequence (n,) or None
        Load, rock or other group that dries alike, hashable; None takes all bags as one group.
    settings : DryingSettings
        Usual drying and scatter; a setting.
    search : SearchSettings
        Chances and odds of the search for exchanges; a setting.

    Returns
    -------
    ReceivedMasses
        .change (n,) [1], .drying (n,) [1], .expected_kg (n,) [kg], .relative_sd (n,) [1], .difference_kg (n,) [kg],
        .score (n,) [1], .verdict (n,), .groups, .identity, .lost

    Raises
    ------
    ImpossibleValue
        When a mass is not more than 0, a mass at the yard is missing, or the lists differ in length.

    Valid for: fewer than half of a group wrong. Loss and drying of a single bag cannot be told apart.
    Source: leave-one-out median and MAD with shrinkage (derived); settings: common practice, no source.
    Checked by: tests/unit/core/test_received_masses.py, tests/properties/test_received_masses_properties.py
    """
    _check(settings)
    yard = number_list(numbers(yard_kg, "yard_kg", above=0.0), "yard_kg", least=0)
    laboratory = np.asarray(laboratory_kg, dtype=np.float64)
    has = ~np.isnan(laboratory)
    numbers(laboratory[has], "laboratory_kg", above=0.0)
    if laboratory.shape != yard.shape:
        raise ImpossibleValue(
            f"{yard.size} masses at the yard, {laboratory.size} at the laboratory",
            where="laboratory_kg",
            remedy="Give one for each bag sent, NaN where none came",
        )
    logs = np.log(laboratory / yard)
    scatter = np.hypot(settings.scale_sd, settings.scale_sd_kg / yard)
    usual = np.log1p(-settings.usual_drying)
    middle, wide = np.full(len(yard), usual), np.full(len(yard), settings.usual_drying_sd)
    groups = []
    for rows in group_rows(len(yard), group):
        there = rows[has[rows]]
        name = group[rows[0]] if group is not None else "all bags"
        groups.append(_group_drying(name, logs[there], settings))
        absent = rows[~has[rows]]
        if len(there) > 2:
            medians, mads = middles_without_each(logs[there])
            middle[there], wide[there] = _judged_by(len(there) - 1, medians, mads, scatter[there], usual, settings)
        if len(there) > 1 and len(absent):
            median = np.median(logs[there])
            mad = np.median(np.abs(logs[there] - median))
            middle[absent], wide[absent] = _judged_by(len(there), median, mad, scatter[absent], usual, settings)
    expected = yard * np.exp(middle)
    relative_sd = np.hypot(scatter, wide)
    score = (logs - middle) / relative_sd
    limit = settings.coverage_factor
    return ReceivedMasses(
        change=laboratory / yard - 1.0,
        drying=-np.expm1(middle),
        expected_kg=expected,
        relative_sd=relative_sd,
        difference_kg=laboratory - expected,
        score=score,
        verdict=tuple(
            NOT_RECEIVED if not there else HEAVY if z > limit else LIGHT if z < -limit else INSIDE
            for z, there in zip(score.tolist(), has.tolist(), strict=True)
        ),
        groups=tuple(groups),
        identity=search_identity(
            measured_kg=laboratory, predicted_kg=expected, relative_sd=relative_sd, settings=search
        ),
    )


def _judged_by(
    count: int, median: Any, mad: Any, scatter: Floats, usual: float, settings: DryingSettings
) -> tuple[Floats, Floats]:
    """Middle of so many other bags drawn toward the usual drying, and how unsure drying makes a single bag.

    Fewer than two others are not asked: nothing tells a bag that lost from a load that dried.
    """
    between = settings.usual_drying_sd**2
    bag = np.maximum(MAD_TO_SD * mad, scatter)
    own = MEDIAN_VARIANCE * bag * bag / count
    weight = between / (between + own)
    # What the middle itself may be off, and what the bags of this group scatter beyond the scales.
    unsure = weight * own + bag * bag - scatter * scatter
    return usual + weight * (median - usual), np.sqrt(unsure)


def _group_drying(name: Hashable, logs: Floats, settings: DryingSettings) -> GroupDrying:
    if not len(logs):
        return GroupDrying(name, 0, float("nan"), float("nan"), TOO_FEW)
    median = float(np.median(logs))
    drying = -float(np.expm1(median))
    if len(logs) < settings.least_bags:
        verdict = TOO_FEW
    elif drying > settings.most_drying:
        verdict = MUCH_DRIED
    elif -drying > settings.gain_allowed:
        verdict = GAINED
    else:
        verdict = PLAIN
    return GroupDrying(name, len(logs), drying, MAD_TO_SD * float(np.median(np.abs(logs - median))), verdict)


def _check(settings: DryingSettings) -> None:
    one_number(settings.usual_drying, "usual_drying", at_least=0.0, below=1.0)
    one_number(settings.most_drying, "most_drying", at_least=0.0, below=1.0)
    one_number(settings.gain_allowed, "gain_allowed", at_least=0.0)
    one_number(settings.least_bags, "least_bags", at_least=1.0)
    for name in ("usual_drying_sd", "scale_sd", "coverage_factor"):
        one_number(getattr(settings, name), name, above=0.0)
    one_number(settings.scale_sd_kg, "scale_sd_kg", at_least=0.0)
