"""Which samples to assay again after a control failed: back to the last control that passed, on to the next one.

     s s S s s s S s s s S s      S passes, S fails, S passes
             [-----------]        s from behind the last pass to before the next pass

Only a control that can see the fault bounds the range: a blank that passes says nothing of a standard that failed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.number_lists import one_number, whole_count
from trayside.core.refusals import numbers, refuse_where
from trayside.errors import ImpossibleValue

PASS, FAIL, NOT_JUDGED = "pass", "fail", "not judged"
VERDICTS = (PASS, FAIL, NOT_JUDGED)


@dataclass(frozen=True, slots=True)
class BoundingRules:
    """Which controls bound which failure, how many passes in a row it takes, and how far a range may reach.

    bounds: for each kind of control the kinds whose pass bounds its failure; a kind not named is bounded by itself.
    passes: passing controls in a row that end a range; those inside the last count belong to the range's edge.
    """

    bounds: Mapping[str, tuple[str, ...]] = field(default_factory=lambda: MappingProxyType({}))
    passes: int = 1

    def __post_init__(self) -> None:
        whole_count(self.passes, "passes")


DEFAULT_BOUNDS = BoundingRules()


@dataclass(frozen=True, slots=True)
class ReassayPrices:
    """What a re-assay costs, in one currency: of each sample and control, of each kilogram, of each order."""

    per_result: float = 0.0
    per_kg: float = 0.0
    per_order: float = 0.0

    def __post_init__(self) -> None:
        for name in ("per_result", "per_kg", "per_order"):
            one_number(getattr(self, name), name, at_least=0.0)


@dataclass(frozen=True, slots=True)
class FailedRange:
    """One stretch to assay again. Places count from 0 in the order given; `first` and `last` are both in it."""

    first: int
    last: int
    failed: tuple[int, ...]  # controls that failed in it
    samples: tuple[int, ...]
    controls: tuple[int, ...]  # all controls in it: as many go along again
    pass_before: int | None  # None: open, the range starts at the batch's first place
    pass_after: int | None
    mass_kg: float
    not_weighed: int
    cost: float | None

    @property
    def bounded(self) -> bool:
        """True when a passing control stands at both ends."""
        return self.pass_before is not None and self.pass_after is not None


@dataclass(frozen=True, slots=True)
class ReassayRequest:
    """All stretches of a batch and their sums."""

    ranges: tuple[FailedRange, ...]
    samples: int
    controls: int
    mass_kg: float
    not_weighed: int
    cost: float | None


def failed_ranges(
    *,
    kind: Sequence[str | None],
    verdict: Sequence[str | None],
    mass_kg: ArrayLike | None = None,
    prices: ReassayPrices | None = None,
    rules: BoundingRules = DEFAULT_BOUNDS,
) -> ReassayRequest:
    """The samples between the passing controls around each failure, with their mass and what it costs.

    From each failed control the range goes back to behind the last bounding control that passed and on to before the
    next; a control that failed or was not judged bounds nothing. Without a pass the range reaches the end of the batch
    and says so. Ranges that overlap or touch are one. As many fresh controls as stand in the range are counted in.

    Parameters
    ----------
    kind : sequence (n,) of str or None
        Kind of control at each place in laboratory order; None for a sample.
    verdict : sequence (n,) of str or None
        "pass", "fail" or "not judged" of each control; None for a sample.
    mass_kg : array (n,) or None [kg]
        Mass to be sent again of each; NaN where not known.
    prices : ReassayPrices or None
        Prices; None leaves the cost out.
    rules : BoundingRules
        What bounds what; a setting.

    Returns
    -------
    ReassayRequest
        .ranges in order, each with .samples, .controls, .failed, .mass_kg [kg], .cost; and the sums.

    Raises
    ------
    ImpossibleValue
        When the lists differ in length, a verdict is none of the three, a sample has a verdict or a control none, or a
        mass is not more than 0.

    Valid for: one batch in the order in which it was analysed.
    Source: re-assay between passing controls: common practice, no source.
    Checked by: tests/unit/core/test_failed_range.py, tests/properties/test_failed_range_properties.py
    """
    kinds, verdicts = list(kind), list(verdict)
    _check(kinds, verdicts)
    count = len(kinds)
    mass = _masses(mass_kg, count)
    raw = []
    for place in (i for i in range(count) if verdicts[i] == FAIL):
        bounding = rules.bounds.get(kinds[place], (kinds[place],))
        before = _pass(range(place - 1, -1, -1), kinds, verdicts, bounding, rules.passes)
        after = _pass(range(place + 1, count), kinds, verdicts, bounding, rules.passes)
        raw.append(
            (0 if before is None else before + 1, count - 1 if after is None else after - 1, before, after, place)
        )
    raw.sort(key=lambda one: one[:2])
    merged: list[list] = []
    for first, last, before, after, place in raw:
        if merged and first <= merged[-1][1] + 1:
            joined = merged[-1]
            if last > joined[1]:
                joined[1], joined[3] = last, after
            joined[4].append(place)
        else:
            merged.append([first, last, before, after, [place]])
    ranges = tuple(_range(one, kinds, mass, prices) for one in merged)
    known = [one.mass_kg for one in ranges]
    return ReassayRequest(
        ranges=ranges,
        samples=sum(len(one.samples) for one in ranges),
        controls=sum(len(one.controls) for one in ranges),
        mass_kg=math.fsum(known),
        not_weighed=sum(one.not_weighed for one in ranges),
        cost=None if prices is None else math.fsum(one.cost for one in ranges) + (prices.per_order if ranges else 0.0),
    )


def _pass(places: range, kinds: list, verdicts: list, bounding: tuple[str, ...], passes: int) -> int | None:
    """Farthest of the first so many bounding controls in a row that passed."""
    in_row = 0
    for i in places:
        if kinds[i] in bounding:
            in_row = in_row + 1 if verdicts[i] == PASS else 0
            if in_row == passes:
                return i
    return None


def _range(joined: list, kinds: list, mass: np.ndarray | None, prices: ReassayPrices | None) -> FailedRange:
    first, last, before, after, failed = joined
    places = range(first, last + 1)
    samples = tuple(i for i in places if kinds[i] is None)
    controls = tuple(i for i in places if kinds[i] is not None)
    own = np.full(len(samples), np.nan) if mass is None else mass[list(samples)]
    weighed = own[~np.isnan(own)]
    total = float(weighed.sum())
    cost = None
    if prices is not None:
        cost = prices.per_result * (len(samples) + len(controls)) + prices.per_kg * total
    return FailedRange(
        first=first,
        last=last,
        failed=tuple(sorted(failed)),
        samples=samples,
        controls=controls,
        pass_before=before,
        pass_after=after,
        mass_kg=total,
        not_weighed=len(own) - len(weighed),
        cost=cost,
    )


def _check(kinds: list, verdicts: list) -> None:
    if len(kinds) != len(verdicts):
        raise ImpossibleValue(
            f"{len(kinds)} kinds, {len(verdicts)} verdicts", where="verdict", remedy="Give one for each place"
        )
    for i, (kind, verdict) in enumerate(zip(kinds, verdicts, strict=True)):
        if kind is None and verdict is not None:
            raise ImpossibleValue(
                f"a sample is said to {verdict}", where=f"verdict, place {i}", remedy="Only controls pass or fail"
            )
        if kind is not None and verdict not in VERDICTS:
            raise ImpossibleValue(
                f"{verdict!r} is no verdict", where=f"verdict, place {i}", remedy=f"Use one of: {', '.join(VERDICTS)}"
            )


def _masses(mass_kg: ArrayLike | None, count: int) -> np.ndarray | None:
    if mass_kg is None:
        return None
    mass = np.asarray(mass_kg, dtype=np.float64)
    if mass.shape != (count,):
        raise ImpossibleValue(f"{mass.size} masses for {count} places", where="mass_kg", remedy="Give one for each")
    refuse_where(~np.isnan(mass) & ~(mass > 0.0), mass, "mass_kg", "must be more than 0", "Give NaN for not weighed")
    numbers(mass[~np.isnan(mass)], "mass_kg")
    return mass
