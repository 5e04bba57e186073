"""Which sample is really behind which number: a search over exchanges, slips, turned racks and exchanged standards.

Every number has what the laboratory reported (elements, received mass); every place in the plan has what was expected
there (the grade class of its rock, a certificate, a predicted mass). A mix-up is a story of which place's sample got
which number:

     as labelled      number   1 2 3 4 5 6        turned rack     number   1 2 3 4 5 6
                      sample   1 2 3 4 5 6                        sample   6 5 4 3 2 1
     exchange         sample   1 3 2 4 5 6        slip by one     sample   1 3 4 5 6 ?

Its gain is the log-likelihood of the reports under the story less that as labelled; its odds count in how rare such a
thing is. Logarithms throughout, with a share of odd results that may be anything, so that one nugget is no mix-up.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from trayside.core.number_lists import one_number, whole_count
from trayside.core.refusals import Floats, refuse_where
from trayside.core.sources import Source
from trayside.core.standard_identity import (
    ExchangedPairs,
    StandardCard,
    StandardIdentity,
    exchanged_pairs,
    nearest_standard,
)
from trayside.errors import ImpossibleValue

__all__ = [
    "ExchangedPairs",
    "Expectations",
    "MixUp",
    "MixUpSearch",
    "MixUpSettings",
    "Reports",
    "Settlement",
    "StandardCard",
    "StandardIdentity",
    "exchanged_pairs",
    "log_expectation",
    "nearest_standard",
    "search_mix_ups",
]

EXCHANGE, SLIP, TURNED_RACK, EXCHANGED_CONTROLS = "exchange", "slip", "turned rack", "exchanged controls"
OUTSIDE = -1  # a sample of no place in the batch


@dataclass(frozen=True, slots=True)
class MixUpSettings:
    """How rare each mix-up is before the results are read, and when to speak: starting choices of our own."""

    exchange_chance: float = 0.001  # of each pair of neighbours
    slip_chance: float = 0.0005  # that a slip starts at a number, for each direction
    slip_end_chance: float = 0.05  # that a slip ends at a number
    turned_rack_chance: float = 0.001  # of each rack
    exchanged_controls_chance: float = 0.01  # that a batch has a pair of them, shared among all pairs
    farthest_exchange: int = 1  # numbers apart; the chance falls with the square of it
    odd_share: float = 0.01  # of results that say nothing
    odd_factor: float = 10_000.0  # an odd result lies anywhere over this range of ratio
    odds_to_speak: float = 100.0
    reassay_log_sd: float = 0.2  # between a result and its re-assay from the core kept, on the logarithm
    settle_odds: float = 100.0
    settle_power: float = 0.95
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own counts", "common practice, no source"
    )

    def __post_init__(self) -> None:
        for name in (
            "exchange_chance",
            "slip_chance",
            "slip_end_chance",
            "turned_rack_chance",
            "exchanged_controls_chance",
            "settle_power",
        ):
            one_number(getattr(self, name), name, above=0.0, below=1.0)
        whole_count(self.farthest_exchange, "farthest_exchange")
        one_number(self.odd_share, "odd_share", at_least=0.0, below=1.0)
        one_number(self.odd_factor, "odd_factor", above=1.0)
        for name in ("odds_to_speak", "settle_odds"):
            one_number(getattr(self, name), name, above=1.0)
        one_number(self.reassay_log_sd, "reassay_log_sd", above=0.0)


DEFAULT_MIX_UPS = MixUpSettings()


@dataclass(frozen=True, slots=True)
class Reports:
    """What the laboratory says of each number, in ticket order: elements (n, e) and received mass (n,), NaN for none."""

    value: Floats
    censored: np.ndarray | None = None  # (n, e) true where the value is a limit the result lies below
    mass_kg: Floats | None = None


@dataclass(frozen=True, slots=True)
class Expectations:
    """What should be at each place: mean and sd of the logarithm of each element (n, e), mass (n,); NaN for no idea."""

    log_mean: Floats
    log_sd: Floats
    mass_kg: Floats | None = None
    mass_relative_sd: Floats | float = 0.1


@dataclass(frozen=True, slots=True)
class Settlement:
    """Smallest set of places to assay again from the core kept that settles a story, whichever way it is.

    Settles: their results alone reach the odds asked for, with the power asked for, for what is true.
    """

    places: tuple[int, ...]
    odds_expected: float  # that their results give, in the middle, for what is true
    says: str

    @property
    def settles(self) -> bool:
        """True when there is such a set."""
        return bool(self.places)


@dataclass(frozen=True, slots=True)
class MixUp:
    """One story: number `numbers[k]` carries the sample of place `holds[k]` (OUTSIDE: of no place in the batch)."""

    kind: str
    numbers: tuple[int, ...]
    holds: tuple[int, ...]
    lag: int  # of a slip, else 0
    log_gain: float
    gain_by_mass: float
    gain_by_controls: float  # elements, where number or sample is a control
    gain_by_samples: float  # elements, all others
    log_odds: float
    settlement: Settlement
    says: str

    @property
    def odds(self) -> float:
        """Odds of the story against "as labelled"; above e^700 no longer told apart."""
        return math.exp(min(self.log_odds, 700.0))


@dataclass(frozen=True, slots=True)
class MixUpSearch:
    """Stories worth speaking of, best first, and what an exchange of neighbours would have to be to show."""

    found: tuple[MixUp, ...]
    sample_of_number: np.ndarray  # (n,) by what was found
    share_visible: float  # of exchanges of neighbours whose expected gain would be spoken of
    hidden_pairs: tuple[int, ...]  # first numbers of the others


def log_expectation(*, mean: ArrayLike, sd: ArrayLike) -> tuple[Floats, Floats]:
    """Mean and standard deviation of the logarithm for a value with this mean and standard deviation.

    With c = sd/mean: variance ln(1 + c^2), mean ln(mean) less half of it. For certificates and for grade classes.

    Parameters
    ----------
    mean : float or array [any]
        Mean, more than 0.
    sd : float or array [any]
        Standard deviation.

    Returns
    -------
    tuple of float array [1]
        Mean and sd of the logarithm.

    Raises
    ------
    ImpossibleValue
        When a mean or an sd is not more than 0.

    Valid for: values taken as lognormal; a standard's scatter of a few per cent is as good as normal.
    Source: moments of the lognormal (derived).
    Checked by: tests/unit/core/test_mixups.py
    """
    centre, scatter = np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64)
    refuse_where(centre <= 0.0, centre, "mean", "must be more than 0", "Give NaN where nothing is expected")
    refuse_where(scatter <= 0.0, scatter, "sd", "must be more than 0", "Give NaN where nothing is expected")
    variance = np.log1p((scatter / centre) ** 2)
    return np.log(centre) - variance / 2.0, np.sqrt(variance)


def search_mix_ups(
    *,
    reports: Reports,
    expected: Expectations,
    control: Sequence[str | None] | None = None,
    rack: Sequence[Hashable] | None = None,
    settings: MixUpSettings = DEFAULT_MIX_UPS,
) -> MixUpSearch:
    """Stories of exchanged, slipped and turned numbers that the results speak for, with odds and what settles them.

    All exchanges up to the farthest, the best slips of one number either way (any start, any length), every rack turned
    end for end, and every pair of controls of different codes are weighed. The story with the best odds is taken, its
    numbers are set aside, and the search goes on until nothing reaches the odds to speak.

    Parameters
    ----------
    reports : Reports
        Results and received masses in ticket order.
    expected : Expectations
        Of each place: grade class or certificate, predicted mass. For a duplicate the result of its partner.
    control : sequence (n,) of str or None
        Code of the standard or blank at each place; None for a sample.
    rack : sequence (n,) or None
        Rack of each number, hashable; None leaves turned racks out.
    settings : MixUpSettings
        Chances and odds; a setting.

    Returns
    -------
    MixUpSearch
        .found with .kind, .numbers, .holds, .odds, .log_gain and its parts, .settlement, .says; .sample_of_number (n,);
        .share_visible [1]; .hidden_pairs.

    Raises
    ------
    ImpossibleValue
        When a result, mass or sd is not more than 0, or the lists differ in length.

    Valid for: elements that scatter independently about their expectation (leave out those that only repeat another),
        stories that do not overlap.
    Source: likelihood ratio (derived); chances: common practice, no source.
    Checked by: tests/unit/core/test_mixups.py, tests/properties/test_mixups_properties.py
    """
    weigh = _Weigher(reports, expected, control, settings)
    racks = _rack_places(rack, weigh.count)
    free = np.ones(weigh.count, dtype=bool)
    threshold = math.log(settings.odds_to_speak)
    found: list[MixUp] = []
    while True:
        best = None
        for kind, numbers, holds, lag, log_prior in _stories(weigh, racks, free, settings):
            odds = float(weigh.gain(numbers, holds).sum()) + log_prior
            if odds >= threshold and (best is None or odds > best[-1]):
                best = (kind, numbers, holds, lag, odds)
        if best is None:
            break
        found.append(_told(best, weigh, settings))
        free[list(best[1])] = False
    sample = np.arange(weigh.count)
    for one in found:
        sample[list(one.numbers)] = one.holds
    visible = _visible(weigh, settings)
    return MixUpSearch(
        found=tuple(sorted(found, key=lambda one: -one.log_odds)),
        sample_of_number=sample,
        share_visible=float(visible.mean()) if len(visible) else 0.0,
        hidden_pairs=tuple(np.flatnonzero(~visible).tolist()),
    )


class _Weigher:
    """Log densities of what is reported for a number, given the sample of a place; by element and by mass."""

    def __init__(
        self,
        reports: Reports,
        expected: Expectations,
        control: Sequence[str | None] | None,
        settings: MixUpSettings,
    ) -> None:
        value = np.asarray(reports.value, dtype=np.float64)
        if value.ndim != 2:
            raise ImpossibleValue(
                f"{value.ndim} dimensions", where="value", remedy="Give one row for each number, one column an element"
            )
        refuse_where(value <= 0.0, value, "value", "must be more than 0", "Give NaN for none, a limit with its flag")
        refuse_where(np.isinf(value), value, "value", "infinite", "Give a finite number")
        self.count = len(value)
        below = np.zeros(value.shape, dtype=bool) if reports.censored is None else np.asarray(reports.censored)
        mean, sd = (np.asarray(one, dtype=np.float64) for one in (expected.log_mean, expected.log_sd))
        self.codes = [None] * self.count if control is None else list(control)
        shapes = {"censored": below.shape, "log_mean": mean.shape, "log_sd": sd.shape}
        for name, shape in shapes.items():
            if shape != value.shape:
                raise ImpossibleValue(
                    f"{shape} for results {value.shape}", where=name, remedy="Give one for each number and element"
                )
        refuse_where(sd <= 0.0, sd, "log_sd", "must be more than 0", "Give NaN where nothing is expected")
        if len(self.codes) != self.count:
            raise ImpossibleValue(
                f"{len(self.codes)} codes for {self.count} numbers", where="control", remedy="Give None for a sample"
            )
        mass, mass_expected = (
            self._masses(one, name)
            for one, name in ((reports.mass_kg, "received mass_kg"), (expected.mass_kg, "expected mass_kg"))
        )
        mass_sd = np.broadcast_to(np.asarray(expected.mass_relative_sd, dtype=np.float64), (self.count,))
        refuse_where(mass_sd <= 0.0, mass_sd, "mass_relative_sd", "must be more than 0", "Give a share of the mass")
        # The mass is one more column; the row at the end is "a sample of no place": nothing is expected of it.
        self.log_value = np.column_stack([np.log(value), np.log(mass)])
        self.below = np.column_stack([below, np.zeros(self.count, dtype=bool)])
        nothing = np.full((1, value.shape[1] + 1), np.nan)
        self.mean = np.vstack([np.column_stack([mean, np.log(mass_expected)]), nothing])
        self.sd = np.vstack([np.column_stack([sd, np.where(np.isnan(mass_expected), np.nan, mass_sd)]), nothing])
        self.is_control = np.array([code is not None for code in self.codes] + [False], dtype=bool)
        self.odd_share, self.odd_width = settings.odd_share, math.log(settings.odd_factor)
        self.own = self.density(np.arange(self.count), np.arange(self.count))

    def _masses(self, value: ArrayLike | None, name: str) -> Floats:
        if value is None:
            return np.full(self.count, np.nan)
        mass = np.asarray(value, dtype=np.float64)
        if mass.shape != (self.count,):
            raise ImpossibleValue(
                f"{mass.size} masses for {self.count} numbers", where=name, remedy="Give one for each, NaN for none"
            )
        refuse_where(mass <= 0.0, mass, name, "must be more than 0", "Give NaN for not weighed")
        return mass

    def density(self, numbers: ArrayLike, holds: ArrayLike) -> Floats:
        """Log densities (k, e + 1); 0 where nothing was reported."""
        value, below = self.log_value[numbers], self.below[numbers]
        mean, sd = self.mean[holds], self.sd[holds]
        z = (value - mean) / sd
        normal = np.where(below, special.log_ndtr(z), -0.5 * z * z - np.log(sd * math.sqrt(2.0 * math.pi)))
        odd = np.where(below, math.log(0.5), -math.log(self.odd_width))
        with np.errstate(divide="ignore", invalid="ignore"):
            mixed = np.logaddexp(np.log1p(-self.odd_share) + normal, np.log(self.odd_share) + odd)
        return np.where(np.isnan(value), 0.0, np.where(np.isnan(z), odd, mixed))

    def gain(self, numbers: ArrayLike, holds: ArrayLike) -> Floats:
        """Log density under the story less that as labelled (k, e + 1)."""
        rows = np.asarray(numbers)
        return self.density(rows, np.asarray(holds)) - self.own[rows]


def _stories(weigh: _Weigher, racks: list, free: np.ndarray, settings: MixUpSettings):
    """Candidates of every kind whose numbers are all free: kind, numbers, holds, lag, log prior odds."""
    count = weigh.count
    for apart in range(1, min(settings.farthest_exchange, count - 1) + 1):
        first = np.arange(count - apart)
        first = first[free[first] & free[first + apart]]
        if len(first):
            gain = (weigh.gain(first, first + apart) + weigh.gain(first + apart, first)).sum(axis=1)
            i = int(first[np.argmax(gain)])
            yield EXCHANGE, (i, i + apart), (i + apart, i), 0, _log_odds(settings.exchange_chance / apart**2)
    for lag in (1, -1):
        slip = _best_slip(weigh, free, lag, settings)
        if slip is not None:
            yield slip
    for places in racks:
        if len(places) > 1 and free[places].all():
            yield TURNED_RACK, tuple(places), tuple(places[::-1]), 0, _log_odds(settings.turned_rack_chance)
    controls = [i for i in range(count) if weigh.codes[i] is not None and free[i]]
    pairs = [(i, j) for i, j in combinations(controls, 2) if weigh.codes[i] != weigh.codes[j]]
    if pairs:
        one, other = np.array(pairs).T
        gain = (weigh.gain(one, other) + weigh.gain(other, one)).sum(axis=1)
        i, j = pairs[int(np.argmax(gain))]
        yield (
            EXCHANGED_CONTROLS, (i, j), (j, i), 0, _log_odds(settings.exchanged_controls_chance / len(pairs)),
        )  # fmt: skip


def _best_slip(weigh: _Weigher, free: np.ndarray, lag: int, settings: MixUpSettings):
    """The slip by this lag with the best odds: two numbers or more in a row, all free."""
    count = weigh.count
    numbers = np.arange(count)
    holds = numbers + lag
    holds[(holds < 0) | (holds >= count)] = OUTSIDE
    each = weigh.gain(numbers, holds).sum(axis=1)
    stay, end = math.log1p(-settings.slip_end_chance), math.log(settings.slip_end_chance)
    best, found = -math.inf, None
    start, running = 0, -math.inf  # best run of one or more ending at the number before
    for k in range(count):
        if not free[k]:
            running = -math.inf
            continue
        if running > -math.inf:
            total = running + each[k] + stay
            closed = total + (0.0 if k == count - 1 else end)
            if closed > best:
                best, found = closed, (start, k)
            if total > each[k]:
                running = total
                continue
        start, running = k, float(each[k])
    if found is None:
        return None
    first, last = found
    length_cost = (last - first) * stay + (0.0 if last == count - 1 else end)
    story = tuple(range(first, last + 1))
    return (
        SLIP,
        story,
        tuple(int(i) for i in holds[first : last + 1]),
        lag,
        _log_odds(settings.slip_chance) + length_cost,
    )


def _told(best: tuple, weigh: _Weigher, settings: MixUpSettings) -> MixUp:
    kind, numbers, holds, lag, log_odds = best
    gain = weigh.gain(numbers, holds)
    touched = weigh.is_control[list(numbers)] | weigh.is_control[list(holds)]
    elements = gain[:, :-1].sum(axis=1)
    settlement = _settlement(numbers, holds, weigh, settings)
    names = {
        EXCHANGE: f"numbers {numbers[0]} and {numbers[-1]} exchanged",
        SLIP: f"numbers {numbers[0]} to {numbers[-1]} each carry the sample {'after' if lag == 1 else 'before'} theirs",
        TURNED_RACK: f"rack of numbers {numbers[0]} to {numbers[-1]} turned end for end",
        EXCHANGED_CONTROLS: (
            f"controls {weigh.codes[numbers[0]]} (number {numbers[0]}) and {weigh.codes[numbers[1]]} "
            f"(number {numbers[1]}) exchanged"
        )
        if kind == EXCHANGED_CONTROLS
        else "",
    }
    odds = f"{math.exp(log_odds):,.0f} to 1" if log_odds < math.log(1e6) else "more than a million to 1"
    return MixUp(
        kind=kind,
        numbers=numbers,
        holds=holds,
        lag=lag,
        log_gain=float(gain.sum()),
        gain_by_mass=float(gain[:, -1].sum()),
        gain_by_controls=float(elements[touched].sum()),
        gain_by_samples=float(elements[~touched].sum()),
        log_odds=log_odds,
        settlement=settlement,
        says=f"{names[kind]}: odds {odds}",
    )


def _settlement(numbers: tuple, holds: tuple, weigh: _Weigher, settings: MixUpSettings) -> Settlement:
    """Fewest places to assay again. Each tells the two stories apart by d, their difference in sds; d^2 adds up."""
    elsewhere = {place: number for number, place in zip(numbers, holds, strict=True) if place != OUTSIDE}
    samples = [place for place in sorted(elsewhere) if not weigh.is_control[place] and elsewhere[place] != place]
    if not samples:
        return Settlement((), 1.0, "no core is kept of a control: compare the tags and the count of sachets in stock")
    here = weigh.log_value[samples, :-1]
    there = weigh.log_value[[elsewhere[place] for place in samples], :-1]
    # Original and re-assay both scatter; a story's value is one result, the re-assay another.
    apart = np.nansum(((here - there) / settings.reassay_log_sd) ** 2, axis=1)
    z = float(stats.norm.ppf(settings.settle_power))
    needed = (z + math.sqrt(z * z + 2.0 * math.log(settings.settle_odds))) ** 2
    order = np.argsort(-apart, kind="stable")
    total = np.cumsum(apart[order])
    enough = np.flatnonzero(total >= needed)
    if not len(enough):
        return Settlement(
            (),
            math.exp(min(float(total[-1]) / 2.0, 700.0)),
            "cannot be settled by assays: what was reported for these samples is too much alike",
        )
    chosen = tuple(sorted(samples[int(i)] for i in order[: enough[0] + 1]))
    some = ", ".join(str(place) for place in chosen)
    return Settlement(
        chosen,
        math.exp(min(float(total[enough[0]]) / 2.0, 700.0)),
        f"assay place{'s' if len(chosen) > 1 else ''} {some} again from the core kept",
    )


def _visible(weigh: _Weigher, settings: MixUpSettings) -> np.ndarray:
    """For each pair of neighbours: would the expected gain of an exchange be spoken of?

    Expected gain of two normal expectations: the sum of both divergences, for each element that was reported.
    """
    mean, sd = weigh.mean[: weigh.count], weigh.sd[: weigh.count]
    one, other = sd[:-1] ** 2, sd[1:] ** 2
    shift = (mean[:-1] - mean[1:]) ** 2
    each = 0.5 * ((one + shift) / other + (other + shift) / one) - 1.0
    if settings.odd_share > 0.0:  # no result weighs more than its mixture with odd ones allows
        cap = np.log(1.0 / settings.odd_share) + np.log(weigh.odd_width / np.sqrt(2.0 * np.pi * one * other) ** 0.5)
        each = np.minimum(each, 2.0 * np.maximum(cap, 0.0))
    reported = ~np.isnan(weigh.log_value[:-1]) & ~np.isnan(weigh.log_value[1:])
    gain = np.nansum(np.where(reported, each, 0.0), axis=1)
    return gain >= math.log(settings.odds_to_speak) - _log_odds(settings.exchange_chance)


def _rack_places(rack: Sequence[Hashable] | None, count: int) -> list[list[int]]:
    if rack is None:
        return []
    if len(rack) != count:
        raise ImpossibleValue(
            f"{len(rack)} racks for {count} numbers", where="rack", remedy="Give the rack of each number"
        )
    places: dict[Hashable, list[int]] = {}
    for i, name in enumerate(rack):
        places.setdefault(name, []).append(i)
    return list(places.values())


def _log_odds(chance: float) -> float:
    return math.log(chance) - math.log1p(-chance)
