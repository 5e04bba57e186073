"""What a control plan would miss: swaps it cannot see, how long a number slip runs, whether its places can be
guessed."""

from dataclasses import dataclass

import numpy as np

from trayside.errors import ImpossibleValue

LAYOUTS = ("one in each block", "fixed", "anywhere")


@dataclass(frozen=True, slots=True)
class SwapShare:
    """Neighbour pairs of a sequence, those that touch a control, and those that only part a duplicate pair."""

    share: float
    pairs: int
    touching: int
    parting: int = 0
    parting_share: float = 0.0


@dataclass(frozen=True, slots=True)
class SlipRun:
    """Ordinary samples that pass before a slip by one number reaches a control."""

    mean: float
    p90: int
    longest: int
    unseen_share: float  # starting places after the last control: the slip is never seen


@dataclass(frozen=True, slots=True)
class SchemePower:
    """The same two answers for an endless sequence of one control in n."""

    swap_share: float
    mean_slip_run: float
    p90_slip_run: int


@dataclass(frozen=True, slots=True)
class GuessTest:
    """Whether the next control can be told from the ones before. The shares are hits of a guesser; each p is against
    chance layouts."""

    guessable: bool
    enough: bool  # False: too few controls to say anything
    why: tuple[str, ...]
    controls: int
    common_gap: int
    common_gap_share: float
    common_gap_chance: float  # what chance layouts of the same size give
    common_gap_p: float
    cycle_gaps: int
    cycle_share: float
    cycle_p: float
    step: int
    step_place: int
    step_share: float
    step_p: float
    gap_entropy_bits: float
    gap_entropy_chance_bits: float
    gap_entropy_p: float


def swap_share(*, is_control: np.ndarray, pair: np.ndarray | None = None) -> SwapShare:
    """Share of swaps of two neighbouring bags that touch a control at all.

    A swap of two ordinary samples leaves every control in its place and shows in no control. Counted over all
    neighbour pairs of the sequence. With k controls, never adjacent and none at an end, the share is 2 k / (tickets -
    1). Controls are bags whose content is known: standards and blanks. A duplicate is known only through its sample.
    Swapped with its own sample it shows nothing. A swap that gives one of the two to a third bag parts the pair; that
    shows only as far as the two samples differ, so it is counted apart.

    Parameters
    ----------
    is_control : array (n,) [-]
        True at each ticket with a standard or blank.
    pair : array (n,) [-]
        The same whole number, 0 or more, at a sample and its duplicate; -1 at every other ticket. None: no duplicates.

    Returns
    -------
    SwapShare
        .share of the pairs; .pairs and .touching counts; .parting and .parting_share of the pairs that touch no control
        but part a duplicate pair.

    Raises
    ------
    ImpossibleValue
        When the sequence has fewer than two tickets, is not true/false, or the pairs are no whole numbers of its
        length.

    Valid for: swaps of direct neighbours; touching a control does not yet mean the control will fail.
    Source: derived.
    Checked by: tests/unit/core/test_qc_power.py
    """
    flags = _flags(is_control, least=2)
    pairs = len(flags) - 1
    touches = flags[1:] | flags[:-1]
    touching, parting = int(touches.sum()), 0
    if pair is not None:
        member = np.asarray(pair)
        if member.shape != flags.shape or member.dtype.kind not in "iu":
            raise ImpossibleValue(
                "the duplicate pairs are no whole numbers, one per ticket",
                where="control plan",
                remedy="Give -1 where there is no duplicate",
            )
        parting = int((~touches & (member[1:] != member[:-1])).sum())
    return SwapShare(touching / pairs, pairs, touching, parting, parting / pairs)


def slip_run_length(*, is_control: np.ndarray) -> SlipRun:
    """How many ordinary samples pass before a slip by one number reaches a control.

    A slip begins at any ticket, all equally likely, and shifts every number from there on. Samples from the starting
    ticket up to the next control carry a wrong number unseen; a slip that begins at a control is seen at once (0).
    Starting places behind the last control are counted apart and not in the mean. A stretch of g samples before a
    control gives the runs g, g - 1, ..., 1, and the control itself 0, so the mean is the sum of g (g + 1) / 2 over
    the number of such tickets.

    Parameters
    ----------
    is_control : array (n,) [-]
        True at each ticket that is a control.

    Returns
    -------
    SlipRun
        .mean and .p90 (smallest count not passed by at least 90 in 100 starting places), .longest, .unseen_share.
        Mean is NaN and the counts are 0 when there is no control at all.

    Raises
    ------
    ImpossibleValue
        When the sequence is empty or not true/false.

    Valid for: slips that last until a control; the control must then also fail visibly.
    Source: derived.
    Checked by: tests/unit/core/test_qc_power.py
    """
    flags = _flags(is_control, least=1)
    where = np.flatnonzero(flags)
    if not len(where):
        return SlipRun(float("nan"), 0, 0, 1.0)
    starts = np.arange(where[-1] + 1)
    run = where[np.searchsorted(where, starts)] - starts
    p90 = int(np.quantile(run, 0.9, method="inverted_cdf"))
    return SlipRun(float(run.mean()), p90, int(run.max()), 1 - len(starts) / len(flags))


def scheme_power(*, tickets_per_control: int, layout: str = "one in each block") -> SchemePower:
    """What one control in n can show in an endless sequence where no two controls stand side by side.

    Swaps: 2/n whatever the layout. Slip runs: with G tickets from control to control, a random starting ticket has a
    run of k with probability P(G > k)/n, so the mean is (E[G^2]/n - 1)/2. "fixed": G = n, mean (n - 1)/2. "anywhere":
    G - 2 is geometric, mean (n - 1)^2/n. "one in each block": one place in each block of n, drawn evenly but not
    beside the control before; G is summed exactly over pairs of places. Without the never-adjacent clause the mean
    would be (7 n + 1)(n - 1)/(12 n).

    Parameters
    ----------
    tickets_per_control : int
        n of "one in n"; 2 at least.
    layout : str
        How the controls are spread: one of the three above.

    Returns
    -------
    SchemePower
        .swap_share, .mean_slip_run and .p90_slip_run (ordinary samples).

    Raises
    ------
    ImpossibleValue
        When n is below 3 (2 for fixed), or the layout is not known.

    Valid for: long sequences; use slip_run_length and swap_share for a real plan.
    Source: derived.
    Checked by: tests/unit/core/test_qc_power.py
    """
    n = tickets_per_control
    if layout not in LAYOUTS:
        raise ImpossibleValue(
            f"layout {layout!r} is not known", where="control scheme", remedy="Use: " + ", ".join(LAYOUTS)
        )
    if n < (2 if layout == "fixed" else 3):
        raise ImpossibleValue(f"one control in {n} tickets leaves no room between controls", where="control scheme")
    if layout == "fixed":
        chance = np.zeros(n + 1)
        chance[n] = 1.0
    elif layout == "anywhere":
        stay = 1 - 1 / (n - 1)
        gaps = np.arange(60 * n)
        chance = np.where(gaps >= 2, stay ** np.maximum(gaps - 2, 0) / (n - 1), 0.0)
    else:
        chance = _block_gaps(n)
    gaps = np.arange(len(chance))
    mean_gap = float((gaps * chance).sum())
    mean = (float((gaps**2 * chance).sum()) / mean_gap - 1) / 2
    longer = 1 - np.cumsum(chance)  # P(G > k)
    reached = np.cumsum(longer) / mean_gap
    return SchemePower(2 / n, mean, int(np.argmax(reached >= 0.9 - 1e-12)))


def _block_gaps(n: int) -> np.ndarray:
    """P(G = g) when each block of n has one control, evenly placed except beside the one before."""
    at_end = (n - 1) / (n * (n - 1) - 1)  # long-run chance of the block's last place: p = (1 - p)/n + p/(n - 1)
    first = np.full(n, (1 - at_end) / n + at_end / (n - 1))
    first[0] = (1 - at_end) / n
    chance = np.zeros(2 * n)
    for place, weight in enumerate(first):
        lowest = 1 if place == n - 1 else 0
        nexts = np.arange(lowest, n)
        chance[n + nexts - place] += weight / len(nexts)
    return chance


def pattern_is_guessable(
    *,
    is_control: np.ndarray,
    seed: int = 1,
    layouts: int = 199,
    longest_step: int = 60,
    longest_cycle: int = 8,
    level: float = 0.01,
) -> GuessTest:
    """Whether somebody who sees the past controls could name the next one.

    Three guessers and one measure of disorder are held against chance layouts with as many tickets and controls
    (never adjacent when the given ones are not). (1) "the commonest gap comes again"; (2) "the gaps repeat in a cycle
    of c", judged against the same gaps in random order; (3) "they stand at the same place of every m tickets". (4)
    Entropy of the gaps. A pattern is called guessable when a guesser is both beyond chance (p at most `level`) and
    useful: right at least 4 times in 10 for (1) and (2), at least 6 in 10 for (3) with m of 4 or more, or the entropy
    is below 0.6 of chance. (1) and (2) need 4 gaps or more.

    Parameters
    ----------
    is_control : array (n,) [-]
        True at each control, or at each control of one kind.
    seed : int
        Seed of the chance layouts.
    layouts : int
        Number of chance layouts; the smallest p is 1/(layouts + 1).
    longest_step : int
        Longest m tried.
    longest_cycle : int
        Longest cycle of gaps tried.
    level : float
        Largest p that counts as beyond chance.

    Returns
    -------
    GuessTest
        .guessable, .enough, .why in words, and the numbers of each guesser.

    Raises
    ------
    ImpossibleValue
        When the sequence is empty or not true/false, or too few layouts are asked for the level.

    Valid for: five controls and more; with fewer .enough is False and nothing is claimed.
    Source: derived; the limits 0.4 and 0.6: site rule.
    Checked by: tests/unit/core/test_qc_power.py, tests/properties/test_control_plans.py
    """
    flags = _flags(is_control, least=1)
    if layouts < 1 or 1 / (layouts + 1) > level:
        raise ImpossibleValue(
            f"{layouts} chance layouts cannot show a p of {level}",
            where="guess test",
            remedy=f"Use {round(1 / level)} or more",
        )
    where = np.flatnonzero(flags)
    if len(where) < 5:
        nan = float("nan")
        return GuessTest(False, False, (), len(where), 0, nan, nan, nan, 0, nan, nan, 0, 0, nan, nan, nan, nan, nan)
    rng = np.random.default_rng(seed)
    gaps = np.diff(where)
    common_gap, common_share = _commonest(gaps)
    entropy = _entropy_bits(gaps)
    cycle, cycle_share = _best_cycle(gaps, longest_cycle)
    step, step_place, step_share, step_score = _best_step(where, longest_step)
    apart = bool((gaps > 1).all())
    chance = np.empty((layouts, 4))
    for k in range(layouts):
        other = _chance_layout(len(flags), len(where), apart, rng)
        other_gaps = np.diff(other)
        chance[k] = (
            _commonest(other_gaps)[1],
            _entropy_bits(other_gaps),
            _best_cycle(rng.permutation(gaps), longest_cycle)[1],
            _best_step(other, longest_step)[3],
        )

    def beyond(hits: np.ndarray) -> float:
        return (1 + int(hits.sum())) / (layouts + 1)

    p_common = beyond(chance[:, 0] >= common_share)
    p_entropy = beyond(chance[:, 1] <= entropy)
    p_cycle = beyond(chance[:, 2] >= cycle_share)
    p_step = beyond(chance[:, 3] >= step_score)
    chance_bits = float(chance[:, 1].mean())
    why = []
    if p_common <= level and common_share >= 0.4:
        why.append(f"{common_share:.0%} of the gaps are {common_gap} tickets (chance: {chance[:, 0].mean():.0%})")
    if p_cycle <= level and cycle_share >= 0.4:
        why.append(f"{cycle_share:.0%} of the gaps repeat the gap {cycle} before")
    if p_step <= level and step_share >= 0.6:
        why.append(f"{step_share:.0%} of the controls stand at place {step_place + 1} of every {step} tickets")
    if p_entropy <= level and entropy < 0.6 * chance_bits:
        why.append(f"the gaps hold {entropy:.1f} bits, chance layouts {chance_bits:.1f}")
    return GuessTest(
        guessable=bool(why),
        enough=True,
        why=tuple(why),
        controls=len(where),
        common_gap=common_gap,
        common_gap_share=common_share,
        common_gap_chance=float(chance[:, 0].mean()),
        common_gap_p=p_common,
        cycle_gaps=cycle,
        cycle_share=cycle_share,
        cycle_p=p_cycle,
        step=step,
        step_place=step_place,
        step_share=step_share,
        step_p=p_step,
        gap_entropy_bits=entropy,
        gap_entropy_chance_bits=chance_bits,
        gap_entropy_p=p_entropy,
    )


def _flags(is_control: object, *, least: int) -> np.ndarray:
    flags = np.asarray(is_control)
    if flags.ndim != 1 or flags.dtype.kind != "b":
        raise ImpossibleValue("the sequence is not a list of true and false", where="control plan")
    if len(flags) < least:
        raise ImpossibleValue(
            f"a sequence of {len(flags)} tickets has nothing to look at",
            where="control plan",
            remedy="Plan the samples first",
        )
    return flags


def _chance_layout(tickets: int, controls: int, apart: bool, rng: np.random.Generator) -> np.ndarray:
    """Places of controls dropped anywhere with equal chance, with a sample between any two when `apart`."""
    room = tickets - controls + 1 if apart else tickets
    places = np.sort(rng.choice(room, size=controls, replace=False))
    return places + np.arange(controls) if apart else places


def _commonest(gaps: np.ndarray) -> tuple[int, float]:
    counts = np.bincount(gaps)
    return int(counts.argmax()), float(counts.max() / len(gaps))


def _entropy_bits(gaps: np.ndarray) -> float:
    counts = np.bincount(gaps)
    share = counts[counts > 0] / len(gaps)
    return float(-(share * np.log2(share)).sum()) + 0.0


def _best_cycle(gaps: np.ndarray, longest: int) -> tuple[int, float]:
    """The cycle length whose repetition guesses most gaps right; at least four guesses must be possible."""
    best = (0, 0.0)
    for cycle in range(1, min(longest, len(gaps) - 4) + 1):
        share = int(np.count_nonzero(gaps[cycle:] == gaps[:-cycle])) / (len(gaps) - cycle)
        if share > best[1]:
            best = (cycle, share)
    return best


def _best_step(where: np.ndarray, longest: int) -> tuple[int, int, float, float]:
    """The step m of 4 or more whose commonest place is most crowded: standard score of its count against 1 in m."""
    steps = np.arange(4, min(longest, int(where[-1] - where[0]) // 3) + 1)
    if not len(steps):
        return (0, 0, 0.0, 0.0)
    wide = int(steps[-1])
    cell = where % steps[:, None] + wide * np.arange(len(steps))[:, None]  # one row of places for each step
    counts = np.bincount(cell.ravel(), minlength=wide * len(steps)).reshape(len(steps), wide)
    crowd = counts.max(axis=1)
    expected = len(where) / steps
    scores = (crowd - expected) / np.sqrt(expected * (1 - 1 / steps))
    best = int(scores.argmax())
    if scores[best] <= 0.0:
        return (0, 0, 0.0, 0.0)
    return int(steps[best]), int(counts[best].argmax()), float(crowd[best] / len(where)), float(scores[best])
