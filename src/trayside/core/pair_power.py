"""What so many pairs could show at all: smallest bias, pairs needed, and the limits of the sign test.

Results are taken as lognormal: a CV c of one result gives the logarithm of the ratio of two results the standard
deviation sqrt(2 ln(1 + c^2)). A bias b multiplies the second result by 1 + b (or divides it: the same power).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scipy import optimize, stats

from trayside.core.number_lists import fraction, one_number, whole_count
from trayside.errors import ImpossibleValue


@dataclass(frozen=True, slots=True)
class SignLimit:
    """Largest count of the rarer sign that is still too few for chance; None when the pairs are too few to show any."""

    count: int | None
    p_value: float  # two-sided, at that count
    next_p_value: float  # two-sided, one count further


def log_ratio_sd(*, pair_cv: float) -> float:
    """Standard deviation of ln(second/first) for results of this CV.

    sqrt(2 ln(1 + c^2)).

    Parameters
    ----------
    pair_cv : float [1]
        CV of one result from the pairs, such as rms_cv.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When the CV is not more than 0.

    Valid for: lognormal results.
    Source: variance of the lognormal (derived).
    Checked by: tests/published/test_pair_power_published.py, tests/unit/core/test_pair_power.py
    """
    cv = one_number(pair_cv, "pair_cv", above=0.0)
    return math.sqrt(2.0 * math.log1p(cv * cv))


def power_of_pairs(*, pairs: int, pair_cv: float, bias: float, level: float = 0.05, sd_known: bool = False) -> float:
    """Chance that a two-sided test on the log ratios shows a bias of this size.

    With the scatter estimated from the pairs: noncentral t. With the scatter known: normal.

    Parameters
    ----------
    pairs : int
        Number of pairs.
    pair_cv : float [1]
        CV of one result.
    bias : float [1]
        True bias of the second result, above -1; -0.1 is 10 % low.
    level : float [1]
        Two-sided level of the test.
    sd_known : bool
        Take the CV as known.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When there are fewer than two pairs (one when known), or a value is out of range.

    Valid for: lognormal results.
    Source: noncentral t (derived).
    Checked by: tests/published/test_pair_power_published.py, tests/unit/core/test_pair_power.py
    """
    count = whole_count(pairs, "pairs", least=1 if sd_known else 2)
    distance = abs(math.log1p(one_number(bias, "bias", above=-1.0))) / log_ratio_sd(pair_cv=pair_cv)
    return _power(count, distance, fraction(level, "level"), sd_known)


def smallest_bias(
    *, pairs: int, pair_cv: float, level: float = 0.05, power: float = 0.8, sd_known: bool = False
) -> float:
    """Smallest bias that so many pairs show with the stated power, as a fraction upward.

    With the scatter known: exp((z_level + z_power) sd/sqrt(n)) - 1, the short form. With the scatter estimated from
    the same pairs the answer is larger, much so below ten pairs. The same power holds downward for 1/(1 + bias) - 1.

    Parameters
    ----------
    pairs : int
        Number of pairs.
    pair_cv : float [1]
        CV of one result.
    level : float [1]
        Two-sided level of the test.
    power : float [1]
        Wanted chance of showing it.
    sd_known : bool
        Take the CV as known.

    Returns
    -------
    float [1]

    Raises
    ------
    ImpossibleValue
        When there are fewer than two pairs (one when known), the power is not above the level, or a value is out of
        range.

    Valid for: lognormal results.
    Source: derived.
    Checked by: tests/published/test_pair_power_published.py, tests/unit/core/test_pair_power.py,
        tests/properties/test_pair_power_properties.py
    """
    count = whole_count(pairs, "pairs", least=1 if sd_known else 2)
    alpha, wanted = _level_and_power(level, power)
    spread = log_ratio_sd(pair_cv=pair_cv)
    if sd_known:
        distance = _z_sum(alpha, wanted) / math.sqrt(count)
    else:
        top = 1.0
        while _power(count, top, alpha, False) < wanted:
            top *= 2.0
        distance = float(optimize.brentq(lambda d: _power(count, d, alpha, False) - wanted, 0.0, top, xtol=1e-12))
    reach = distance * spread
    if reach > 700.0:
        raise ImpossibleValue(
            "so few pairs of such scatter could not show any bias", where="pairs", remedy="Take more pairs"
        )
    return math.expm1(reach)


def pairs_needed(
    *, pair_cv: float, bias: float, level: float = 0.05, power: float = 0.8, sd_known: bool = False
) -> int:
    """Pairs needed to show a bias with the stated power.

    With the scatter known: ((z_level + z_power) sd/ln(1 + bias))^2, rounded up. With the scatter estimated: the
    smallest count whose noncentral t power is enough, one to three more.

    Parameters
    ----------
    pair_cv : float [1]
        CV of one result.
    bias : float [1]
        Bias to be shown, above -1 and not 0.
    level : float [1]
        Two-sided level of the test.
    power : float [1]
        Wanted chance of showing it.
    sd_known : bool
        Take the CV as known.

    Returns
    -------
    int

    Raises
    ------
    ImpossibleValue
        When the bias is 0, or a value is out of range.

    Valid for: lognormal results. A bias of -0.1 needs more pairs than +0.1: it is 1/0.9.
    Source: derived.
    Checked by: tests/published/test_pair_power_published.py, tests/unit/core/test_pair_power.py,
        tests/properties/test_pair_power_properties.py
    """
    alpha, wanted = _level_and_power(level, power)
    size = abs(math.log1p(one_number(bias, "bias", above=-1.0)))
    if size == 0.0:
        raise ImpossibleValue(
            "no number of pairs shows a bias of 0", where="bias", remedy="Say which bias would matter"
        )
    distance = size / log_ratio_sd(pair_cv=pair_cv)
    rough = (_z_sum(alpha, wanted) / distance) ** 2
    if rough > 1e9:
        raise ImpossibleValue(
            f"{rough:.2g} pairs would be needed", where="bias", remedy="Ask for a bias that pairs can show"
        )
    count = max(1, math.ceil(rough - 1e-9))
    if sd_known:
        return count
    count = max(2, count)
    while _power(count, distance, alpha, False) < wanted:
        count += 1
    return count


def more_pairs_needed(*, pairs: int, pair_cv: float, bias: float, level: float = 0.05, power: float = 0.8) -> int:
    """How many pairs are still missing before a bias of this size would show.

    pairs_needed less the pairs at hand, 0 when they are enough.

    Parameters
    ----------
    pairs : int
        Pairs at hand.
    pair_cv : float [1]
        CV of one result.
    bias : float [1]
        Bias to be shown.
    level : float [1]
        Two-sided level of the test.
    power : float [1]
        Wanted chance of showing it.

    Returns
    -------
    int

    Raises
    ------
    ImpossibleValue
        As pairs_needed.

    Valid for: lognormal results.
    Source: derived.
    Checked by: tests/unit/core/test_pair_power.py
    """
    needed = pairs_needed(pair_cv=pair_cv, bias=bias, level=level, power=power)
    return max(0, needed - whole_count(pairs, "pairs", least=0))


def sign_limit(*, pairs: int, level: float = 0.05) -> SignLimit:
    """Largest count of the rarer sign among so many differing pairs that chance alone would not give.

    Exact two-sided binomial: the largest k with 2 P(X <= k) at most the level.

    Parameters
    ----------
    pairs : int
        Pairs that differ.
    level : float [1]
        Two-sided level.

    Returns
    -------
    SignLimit
        .count (None when even 0 would not do), .p_value at it, .next_p_value one further.

    Raises
    ------
    ImpossibleValue
        When there is no pair, or the level is not between 0 and 1.

    Valid for: any pairs.
    Source: binomial with one half (derived).
    Checked by: tests/published/test_pair_power_published.py, tests/unit/core/test_pair_power.py
    """
    count = whole_count(pairs, "pairs")
    alpha = fraction(level, "level")

    def chance(k: int) -> float:
        return min(1.0, 2.0 * float(stats.binom.cdf(k, count, 0.5)))

    limit = int(stats.binom.ppf(alpha / 2.0, count, 0.5))
    while limit >= 0 and chance(limit) > alpha:
        limit -= 1
    while chance(limit + 1) <= alpha:
        limit += 1
    if limit < 0:
        return SignLimit(None, float("nan"), chance(0))
    return SignLimit(limit, chance(limit), chance(limit + 1))


def sign_limit_short_form(*, pairs: int) -> int:
    """The same limit at 5 % by the short formula INT((n - 1)/2 - 0.98 sqrt(n + 1)).

    Reads "this count or fewer".

    Parameters
    ----------
    pairs : int
        Pairs that differ, 10 or more.

    Returns
    -------
    int

    Raises
    ------
    ImpossibleValue
        When there are fewer than 10 pairs.

    Valid for: a level of 5 %; at some counts it differs by one from sign_limit, which is exact.
    Source: normal form of the sign test, in teaching slides on recovery and grade (seen).
    Checked by: tests/published/test_pair_power_published.py, tests/unit/core/test_pair_power.py
    """
    count = whole_count(pairs, "pairs", least=10)
    return int((count - 1) / 2.0 - 0.98 * math.sqrt(count + 1.0))


def _level_and_power(level: float, power: float) -> tuple[float, float]:
    alpha, wanted = fraction(level, "level"), fraction(power, "power")
    if wanted <= alpha:
        raise ImpossibleValue(
            f"power {wanted:g} is no more than the level {alpha:g}", where="power", remedy="0.8 is usual"
        )
    return alpha, wanted


def _z_sum(alpha: float, power: float) -> float:
    return float(stats.norm.isf(alpha / 2.0) + stats.norm.ppf(power))


def _power(count: int, distance: float, alpha: float, sd_known: bool) -> float:
    """Both tails of the test, for a shift of `distance` standard deviations of one difference."""
    shift = distance * math.sqrt(count)
    if sd_known or count > 2000:  # from there on t and normal are one
        z = float(stats.norm.isf(alpha / 2.0))
        return float(stats.norm.sf(z - shift) + stats.norm.cdf(-z - shift))
    limit = float(stats.t.isf(alpha / 2.0, count - 1))
    if shift > limit + 30.0 and count > 30:
        return 1.0
    # The far tail is below 1e-9 from a shift of 6 on, where the library's noncentral t loses it altogether.
    far = float(stats.nct.cdf(-limit, count - 1, shift)) if shift < 6.0 else 0.0
    return float(stats.nct.sf(limit, count - 1, shift)) + far
