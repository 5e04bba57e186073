"""Which interval is really in which bag: neighbours exchanged and numbers slipped by one, looked for by mass.

Every bag stands in one of these states, and the search finds the likeliest road through them:

      in order --> exchanged (first of the pair: holds the core of the next) --> (second: holds the core before)
         |
         +------> slipped +1 (bag k holds the core of k + 1) ... any number of bags ... --> in order
         +------> slipped -1 (bag k holds the core of k - 1) ... any number of bags ... --> in order

The logarithm of a mass is normal about that of its interval, with a small share of odd bags whose mass may be anything:
one wild bag must not pass for an exchange. Where two intervals should weigh alike nothing can be seen, and the answer
says so instead of "in order".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import logsumexp, ndtr

from trayside.core.number_lists import one_number
from trayside.core.refusals import Floats, numbers, refuse_where, together
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

EXCHANGED, IN_ORDER, CANNOT_SEE = "exchanged", "in order", "cannot be seen by mass"
UNDECIDED, NOT_WEIGHED = "undecided", "not weighed"
ODD_WIDTH = float(np.log(100.0))  # an odd bag: anything within a factor of 10 of its interval, either way
ODD_LOG_DENSITY = -float(np.log(ODD_WIDTH))
ORDER, SWAP_FIRST, SWAP_SECOND, UP_FIRST, UP, DOWN_FIRST, DOWN = range(7)
LAG_OF_STATE = np.array([0, 1, -1, 1, 1, -1, -1])


@dataclass(frozen=True, slots=True)
class SearchSettings:
    """Chances before the scale is read, and when to speak: starting choices of our own, to be replaced by counts."""

    swap_chance: float = 0.001  # of each pair of neighbours
    slip_chance: float = 0.0005  # that a slip starts at a bag, for each direction
    slip_end_chance: float = 0.05  # that a slip ends at a bag
    odd_share: float = 0.01  # of bags whose mass says nothing
    odds_to_speak: float = 20.0  # odds against "nothing happened here", chances counted in
    power_to_clear: float = 0.5  # below this power a pair is not called in order
    source: Source = Source(  # noqa: RUF009 - a frozen record
        "no document found", "starting choice, replace by the yard's own counts", "common practice, no source"
    )

    def __post_init__(self) -> None:
        for name in ("swap_chance", "slip_chance", "slip_end_chance", "power_to_clear"):
            one_number(getattr(self, name), name, above=0.0, below=1.0)
        one_number(self.odd_share, "odd_share", at_least=0.0, below=1.0)
        one_number(self.odds_to_speak, "odds_to_speak", above=0.0)
        if self.swap_chance + 2.0 * self.slip_chance >= 1.0:
            raise ImpossibleValue("the chances add up to 1 or more", where="settings", remedy="Errors are rare")


DEFAULT_SETTINGS = SearchSettings()


@dataclass(frozen=True, slots=True)
class NeighbourPairs:
    """Every pair of neighbours, bag i and bag i + 1; arrays (n - 1,)."""

    log_gain: Floats  # log-likelihood exchanged less log-likelihood as labelled
    odds: Floats  # of exchanged against as labelled, chance counted in
    power: Floats  # chance that an exchange of this pair would be spoken of
    verdict: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MixUp:
    """One exchange (lag 0) or slip (lag -1, +1): bags first to last, both counted, hold the core of bag + lag.

    `first_earliest` to `last_latest` is how far the ends can be told. `passed_over` is the interval whose core is in
    no bag and `doubled` the one two bags claim (None where that lies outside the series).
    """

    kind: str  # "exchange" or "slip"
    first: int
    last: int
    lag: int
    log_gain: float
    odds: float
    first_earliest: int
    first_latest: int
    last_earliest: int
    last_latest: int
    passed_over: int | None
    doubled: int | None


@dataclass(frozen=True, slots=True)
class IdentitySearch:
    """Best explanation of a series of masses. `found` is spoken of; `chance_wrong` is of each bag, over all stories."""

    found: tuple[MixUp, ...]
    interval_of_bag: Any  # (n,) of int, by what was found
    chance_wrong: Floats
    pairs: NeighbourPairs
    share_seen: float  # of exchanges of neighbours these lengths would let us see
    cannot_see: tuple[int, ...]  # first bags of the pairs whose exchange mass cannot show
    log_gain: float  # of the whole explanation over "all in order"


@dataclass(frozen=True, slots=True)
class SwapPower:
    """Chance to see an exchange, pair by pair and over all. `can_see` is False when no pair reaches half a chance."""

    per_pair: Floats
    share_seen: float
    can_see: bool
    says: str


def search_identity(
    *,
    measured_kg: ArrayLike,
    predicted_kg: ArrayLike,
    relative_sd: ArrayLike,
    settings: SearchSettings = DEFAULT_SETTINGS,
) -> IdentitySearch:
    """Find exchanged neighbours and one-number slips in a series of bags in ticket order.

    The likeliest road through the states is found by dynamic programming over all starts, ends and combinations. Of
    the mix-ups on it, those are reported whose gain and chance together reach the odds to speak. The chance that a bag
    is wrong sums over all roads.

    Parameters
    ----------
    measured_kg : array (n,) [kg]
        Mass of each bag in ticket order; NaN where a bag was not weighed.
    predicted_kg : array (n,) [kg]
        Mass expected of each interval, in the same order; NaN where nobody can say. Correct it for the ratio of the
        group first (mass_residuals gives expected_kg).
    relative_sd : float or array (n,) [1]
        Standard deviation of each interval's mass as a share of it.
    settings : SearchSettings
        Chances and odds; a setting.

    Returns
    -------
    IdentitySearch
        .found, .interval_of_bag (n,), .chance_wrong (n,) [1], .pairs, .share_seen [1], .cannot_see, .log_gain [1]

    Raises
    ------
    ImpossibleValue
        When a mass or standard deviation is not more than 0, or the lists differ in length.

    Valid for: errors of neighbours independent of each other; an error all bags share is to be taken out before.
    Source: Viterbi and forward-backward recursions on a hidden Markov chain (derived); chances: common practice, no
        source.
    Checked by: tests/unit/core/test_identity_search.py, tests/properties/test_identity_search_properties.py
    """
    measured, predicted, sd = _series(measured_kg, predicted_kg, relative_sd)
    fit = _fits(measured, predicted, sd, settings.odd_share)
    count = len(measured)
    gain = fit[LAG_OF_STATE + 1].T - fit[1][:, None]  # (n, states), over "in order"
    starts, steps = _steps(settings)
    runs = _runs(_likeliest_road(gain, starts, steps)) if count else ()
    mix_ups = (_mix_up(first, last, state, fit, settings) for first, last, state in runs)
    found = tuple(mix_up for mix_up in mix_ups if mix_up.odds >= settings.odds_to_speak)
    pairs = _neighbour_pairs(measured, predicted, sd, fit, found, settings)
    interval = np.arange(count)
    for one in found:
        if one.kind == "exchange":
            interval[one.first], interval[one.last] = one.last, one.first
        else:
            interval[one.first : one.last + 1] += one.lag
    return IdentitySearch(
        found=found,
        interval_of_bag=interval,
        chance_wrong=_chance_wrong(gain, starts, steps) if count else np.zeros(0),
        pairs=pairs,
        share_seen=float(pairs.power.mean()) if count > 1 else 0.0,
        cannot_see=tuple(i for i, verdict in enumerate(pairs.verdict) if verdict == CANNOT_SEE),
        log_gain=float(sum(one.log_gain for one in found)),
    )


def swap_power(
    *, predicted_kg: ArrayLike, relative_sd: ArrayLike, settings: SearchSettings = DEFAULT_SETTINGS
) -> SwapPower:
    """Share of exchanges of neighbours that the search could see with these expected masses.

    For each pair the chance that its odds, were it exchanged, reach the odds to speak. Without odd bags and with equal
    standard deviations the log-likelihood gain is normal, N(d^2, 2 d^2) with d the difference of the logarithms in
    standard deviations; otherwise the two masses are independent and the sum of their gains is integrated.

    Parameters
    ----------
    predicted_kg : array (n,) [kg]
        Mass expected of each interval in ticket order; NaN where nobody can say.
    relative_sd : float or array (n,) [1]
        Standard deviation of each mass as a share of it.
    settings : SearchSettings
        Chances and odds; a setting.

    Returns
    -------
    SwapPower
        .per_pair (n - 1,) [1], .share_seen [1], .can_see, .says in words

    Raises
    ------
    ImpossibleValue
        When a mass or standard deviation is not more than 0, or the lists differ in length.

    Valid for: pairs of neighbours, each as likely to be exchanged; accurate to 0.002 when odd bags are allowed for.
    Source: distribution of a likelihood ratio of normal values (derived).
    Checked by: tests/unit/core/test_identity_search.py, tests/published/test_mass_witness_figures.py
    """
    _, predicted, sd = _series(predicted_kg, predicted_kg, relative_sd)
    power = _pair_power(np.log(predicted), sd, settings)
    if not len(power):
        return SwapPower(power, 0.0, False, "cannot be seen by mass: there is no pair of neighbours")
    share, blind = float(power.mean()), int((power < settings.power_to_clear).sum())
    if blind == len(power):
        says = "cannot be seen by mass: neighbours should weigh too much alike"
    else:
        says = (
            f"{share:.0%} of exchanges of neighbours would be seen; {blind} of {len(power)} pairs weigh too much alike"
        )
    return SwapPower(power, share, blind < len(power), says)


def limit_test_power(*, log_ratio: ArrayLike, relative_sd: ArrayLike, limit_sd: float = 3.0) -> Any:
    """Chance that an exchange puts at least one of the two bags outside its range.

    Each bag is tested alone: the logarithm of its mass against that of its label, -/+ limit. Exchanged, the two are
    off by plus and minus the log ratio, with independent normal scatter: 1 - [Phi(limit - d) - Phi(-limit - d)]^2,
    d the log ratio in standard deviations. At d = 0 this is the rate of false alarms of a pair.

    Parameters
    ----------
    log_ratio : float or array (n,) [1]
        Natural logarithm of the ratio of the two expected masses.
    relative_sd : float or array (n,) [1]
        Standard deviation of a mass as a share of it, the same for both bags.
    limit_sd : float [1]
        Half width of the range in standard deviations.

    Returns
    -------
    float or array (n,) [1]

    Raises
    ------
    ImpossibleValue
        When the standard deviation or the limit is not more than 0.

    Valid for: scatter normal in the logarithm.
    Source: derived.
    Checked by: tests/published/test_mass_witness_figures.py, tests/unit/core/test_identity_search.py
    """
    ratio, sd = together(
        log_ratio=numbers(log_ratio, "log_ratio"), relative_sd=numbers(relative_sd, "relative_sd", above=0.0)
    )
    limit = one_number(limit_sd, "limit_sd", above=0.0)
    inside = ndtr(limit - ratio / sd) - ndtr(-limit - ratio / sd)
    chance = 1.0 - inside * inside
    return float(chance) if np.ndim(chance) == 0 else chance


def _series(measured_kg: ArrayLike, predicted_kg: ArrayLike, relative_sd: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """The lists at one length; NaN stands for not weighed and not predicted."""
    measured = _masses(measured_kg, "measured_kg")
    predicted = _masses(predicted_kg, "predicted_kg")
    sd = numbers(relative_sd, "relative_sd", above=0.0)
    if len(measured) != len(predicted) or (sd.ndim and sd.shape != measured.shape):
        raise ImpossibleValue(
            f"{len(measured)} masses, {len(predicted)} predictions, {sd.size} standard deviations",
            where="measured_kg",
            remedy="Give one of each for every bag, NaN where a bag was not weighed",
        )
    return measured, predicted, np.broadcast_to(sd, measured.shape)


def _masses(value: ArrayLike, name: str) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    if array.ndim != 1:
        raise ImpossibleValue(f"{array.ndim} dimensions", where=name, remedy="Give one list in ticket order")
    refuse_where(~np.isnan(array) & ~(array > 0.0), array, name, "must be more than 0", "Give NaN for not weighed")
    refuse_where(np.isinf(array), array, name, "infinite", "Give a finite number")
    return array


def _log_density(log_mass: Any, log_expected: Any, sd: Any, odd_share: float) -> Any:
    """Log density of a log mass for its interval: normal, with a share of odd bags that may weigh anything."""
    normal = -0.5 * ((log_mass - log_expected) / sd) ** 2 - np.log(sd * np.sqrt(2.0 * np.pi))
    if odd_share == 0.0:
        return normal
    return np.logaddexp(np.log1p(-odd_share) + normal, np.log(odd_share) + ODD_LOG_DENSITY)


def _fits(measured: Floats, predicted: Floats, sd: Floats, odd_share: float) -> Floats:
    """(3, n) log density of each bag's mass for the interval before it, its own, the one after it.

    Outside the series, or without a prediction, nothing is known of the interval: anything within the odd width.
    A bag that was not weighed says nothing: 0 throughout.
    """
    count = len(measured)
    fits = np.full((3, count), ODD_LOG_DENSITY)
    log_mass, log_expected = np.log(measured), np.log(predicted)
    for row, lag in enumerate((-1, 0, 1)):
        bags = np.arange(max(0, -lag), count - max(0, lag))
        known = bags[~np.isnan(log_expected[bags + lag] + log_mass[bags])]
        fits[row, known] = _log_density(log_mass[known], log_expected[known + lag], sd[known + lag], odd_share)
    fits[:, np.isnan(measured)] = 0.0
    return fits


def _neighbour_pairs(
    measured: Floats,
    predicted: Floats,
    sd: Floats,
    fit: Floats,
    found: tuple[MixUp, ...],
    settings: SearchSettings,
) -> NeighbourPairs:
    gain = fit[2, :-1] + fit[0, 1:] - fit[1, :-1] - fit[1, 1:]
    exchanged = {one.first for one in found if one.kind == "exchange"}
    power = _pair_power(np.log(predicted), sd, settings)
    weighed = ~np.isnan(measured[:-1]) & ~np.isnan(measured[1:])
    verdict = tuple(
        NOT_WEIGHED if not weighed[i]
        else EXCHANGED if i in exchanged
        else CANNOT_SEE if power[i] < settings.power_to_clear
        else IN_ORDER if gain[i] < 0.0
        else UNDECIDED
        for i in range(len(gain))
    )  # fmt: skip
    return NeighbourPairs(gain, _odds(gain, settings.swap_chance), power, verdict)


def _pair_power(log_expected: Floats, sd: Floats, settings: SearchSettings) -> Floats:
    """Chance that the odds of each pair, were it exchanged, reach the odds to speak."""
    threshold = np.log(settings.odds_to_speak) - _log_odds(settings.swap_chance)
    power = np.zeros(max(len(log_expected) - 1, 0))
    for i in range(len(power)):
        a, b, sd_a, sd_b = log_expected[i], log_expected[i + 1], sd[i], sd[i + 1]
        if np.isnan(a) or np.isnan(b) or (a == b and sd_a == sd_b):
            continue
        if settings.odd_share == 0.0 and sd_a == sd_b:
            d = abs(a - b) / sd_a
            power[i] = ndtr((d * d - threshold) / (np.sqrt(2.0) * d))
        else:
            power[i] = _power_by_integration(a, b, sd_a, sd_b, threshold, settings.odd_share)
    return power


def _power_by_integration(a: float, b: float, sd_a: float, sd_b: float, threshold: float, odd_share: float) -> float:
    """P(gain of bag 1 + gain of bag 2 > threshold) when bag 1 holds b and bag 2 holds a, neither of them odd."""
    z = np.linspace(-6.0, 6.0, 801)
    weight = np.exp(-0.5 * z * z)
    weight /= weight.sum()

    def gain(truth: float, sd_truth: float, other: float, sd_other: float) -> Floats:
        mass = truth + sd_truth * z
        return _log_density(mass, truth, sd_truth, odd_share) - _log_density(mass, other, sd_other, odd_share)

    first, second = gain(b, sd_b, a, sd_a), gain(a, sd_a, b, sd_b)
    order = np.argsort(second)
    survivor = 1.0 - np.cumsum(weight[order]) + weight[order] / 2.0
    return float(weight @ np.interp(threshold - first, second[order], survivor, left=1.0, right=0.0))


def _log_odds(chance: float) -> float:
    return float(np.log(chance) - np.log1p(-chance))


def _odds(log_gain: Any, chance: float) -> Any:
    """Odds of a mix-up against nothing; above e^700 they are no longer told apart."""
    return np.exp(np.minimum(log_gain + _log_odds(chance), 700.0))


def _steps(settings: SearchSettings) -> tuple[Floats, Floats]:
    """Log chances of the first state, and of each state (column) after each state (row)."""
    with np.errstate(divide="ignore"):
        nothing = 1.0 - settings.swap_chance - 2.0 * settings.slip_chance
        fresh = np.zeros(7)
        fresh[[ORDER, SWAP_FIRST, UP_FIRST, DOWN_FIRST]] = (
            nothing, settings.swap_chance, settings.slip_chance, settings.slip_chance
        )  # fmt: skip
        steps = np.zeros((7, 7))
        steps[ORDER] = steps[SWAP_SECOND] = fresh
        steps[SWAP_FIRST, SWAP_SECOND] = steps[UP_FIRST, UP] = steps[DOWN_FIRST, DOWN] = 1.0
        for state in (UP, DOWN):
            steps[state] = settings.slip_end_chance * fresh
            steps[state, state] += 1.0 - settings.slip_end_chance
        return np.log(fresh), np.log(steps)


UNFINISHED = [SWAP_FIRST, UP_FIRST, DOWN_FIRST]  # no series ends in the middle of a story


def _likeliest_road(gain: Floats, starts: Floats, steps: Floats) -> Any:
    count = len(gain)
    best = starts + gain[0]
    came_from = np.zeros((count, 7), dtype=np.int8)
    for k in range(1, count):
        ways = best[:, None] + steps
        came_from[k] = ways.argmax(axis=0)  # of equals the first: in order before anything else
        best = ways.max(axis=0) + gain[k]
    best[UNFINISHED] = -np.inf
    road = np.zeros(count, dtype=np.int64)
    road[-1] = best.argmax()
    for k in range(count - 1, 0, -1):
        road[k - 1] = came_from[k, road[k]]
    return road


def _chance_wrong(gain: Floats, starts: Floats, steps: Floats) -> Floats:
    """Chance of each bag to be in any state but "in order", summed over all roads."""
    count = len(gain)
    ahead, behind = np.empty((count, 7)), np.zeros((count, 7))
    ahead[0] = starts + gain[0]
    for k in range(1, count):
        ahead[k] = logsumexp(ahead[k - 1][:, None] + steps, axis=0) + gain[k]
    behind[-1, UNFINISHED] = -np.inf
    for k in range(count - 2, -1, -1):
        behind[k] = logsumexp(steps + gain[k + 1] + behind[k + 1], axis=1)
    joint = ahead + behind
    others = np.arange(7) != ORDER
    return np.exp(logsumexp(joint[:, others], axis=1) - logsumexp(joint, axis=1))


def _runs(road: Any) -> list[tuple[int, int, int]]:
    """First bag, last bag and first state of each exchange and slip on a road."""
    runs = []
    for k, state in enumerate(road.tolist()):
        if state in UNFINISHED:
            runs.append((k, k, state))
        elif state != ORDER:
            first, _, kind = runs[-1]
            runs[-1] = (first, k, kind)
    return runs


def _mix_up(first: int, last: int, state: int, fit: Floats, settings: SearchSettings) -> MixUp:
    count = fit.shape[1]
    if state == SWAP_FIRST:
        gain = float(fit[2, first] + fit[0, last] - fit[1, first] - fit[1, last])
        odds = float(_odds(gain, settings.swap_chance))
        return MixUp("exchange", first, last, 0, gain, odds, first, first, last, last, None, None)
    lag = int(LAG_OF_STATE[state])
    each = fit[lag + 1] - fit[1]
    gain = float(each[first : last + 1].sum())
    length_cost = (last - first - 1) * np.log1p(-settings.slip_end_chance)
    if last < count - 1:
        length_cost += np.log(settings.slip_end_chance)
    near = max(np.log(settings.odds_to_speak), 1e-6)
    heads = each[: last + 1][::-1].cumsum()[::-1][:last]  # gain from each start to the end found; two bags at least
    tails = each[first:].cumsum()[1:]
    starts = np.flatnonzero(heads >= gain - near)
    ends = first + 1 + np.flatnonzero(tails >= gain - near)
    # Slipped up, the core at the first bag is in no bag and the one after the last in two; slipped down, the reverse.
    passed, twice = (first, last + 1) if lag == 1 else (last, first - 1)
    return MixUp(
        kind="slip",
        first=first,
        last=last,
        lag=lag,
        log_gain=gain,
        odds=float(_odds(gain + length_cost, settings.slip_chance)),
        first_earliest=int(starts[0]),
        first_latest=int(starts[-1]),
        last_earliest=int(ends[0]),
        last_latest=int(ends[-1]),
        passed_over=passed if 0 <= passed < count else None,
        doubled=twice if 0 <= twice < count else None,
    )
