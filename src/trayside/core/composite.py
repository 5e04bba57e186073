"""Averages over lengths of core: composites, intercepts, how much hangs on one sample, recovery against grade.

Weighted by length, and by length times density where a cubic metre of the rich rock weighs more:

     g by length            sum(l g) / sum(l)
     g by length x density  sum(l rho g) / sum(l rho)

A length without a result is never a length of zero grade. What becomes of it is a rule that somebody chose (`GapRule`),
and the result says how much length it touched.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trayside.core.number_lists import fraction, number_list, one_number, paired
from trayside.core.refusals import Floats, numbers, refuse_where
from trayside.errors import ImpossibleValue

NO_RESULT, LEAVE_OUT, AS_GRADE = "no result", "leave out", "as grade"
GAP_CHOICES = (NO_RESULT, LEAVE_OUT, AS_GRADE)
NANOMETRE_M = 1e-9
SHORT_ENDS = ("keep", "join", "leave out")


@dataclass(frozen=True, slots=True)
class GapRule:
    """What to do with length that has no result.

    "no result": a composite that touches such length has none. "leave out": averaged over the rest, as long as it
    covers `least_covered` of the length and no gap is longer than `longest_gap_m`. "as grade": the gap counts with
    `grade` (and `density_t_m3` when weighted so), which somebody has to state.
    """

    choice: str = NO_RESULT
    grade: float | None = None
    density_t_m3: float | None = None
    least_covered: float = 0.0
    longest_gap_m: float = math.inf

    def __post_init__(self) -> None:
        if self.choice not in GAP_CHOICES:
            raise ImpossibleValue(
                f"{self.choice!r} is no choice", where="gap rule", remedy=f"Use one of: {', '.join(GAP_CHOICES)}"
            )
        if (self.choice == AS_GRADE) != (self.grade is not None):
            raise ImpossibleValue(
                "a grade for gaps goes with 'as grade' and with nothing else",
                where="gap rule",
                remedy="State the grade that unsampled length is to count with, or choose another rule",
            )
        if self.grade is not None:
            one_number(self.grade, "grade", at_least=0.0)
        one_number(self.least_covered, "least_covered", at_least=0.0, at_most=1.0)
        if not self.longest_gap_m >= 0.0:
            raise ImpossibleValue(f"{self.longest_gap_m}", where="longest_gap_m", remedy="Give 0 or more")


STRICT = GapRule()


@dataclass(frozen=True, slots=True)
class Composites:
    """Averages over each stretch; arrays (k,). Grades are NaN where the gap rule allows none, `why` says so."""

    from_m: Floats
    to_m: Floats
    grade: Floats  # by length
    grade_by_mass: Floats  # by length x density, NaN without densities
    density_t_m3: Floats  # of the length that has one
    sampled_m: Floats
    gap_m: Floats
    longest_gap_m: Floats
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Intercept:
    """One stretch at or above the cut-off, and how much of it hangs on its best sample."""

    from_m: float
    to_m: float
    length_m: float
    gap_m: float
    grade: float  # by length, over the sampled length unless the gap rule counts gaps
    grade_by_mass: float
    samples: tuple[int, ...]
    top_sample: int
    top_length_share: float
    top_metal_share: float  # of length x grade
    grade_without_top: float  # of the rest of the length, NaN when nothing else is there
    below_cutoff_m: float  # sampled length inside that is below the cut-off


@dataclass(frozen=True, slots=True)
class RecoveryGrade:
    """How grade goes with core recovery. `smallest_seen` is the rank correlation so many samples show at 80 %."""

    samples: int
    rank_correlation: float
    p_value: float  # two-sided
    smallest_seen: float
    class_edges: Floats
    class_count: np.ndarray
    class_mean: Floats  # by length
    class_median: Floats
    verdict: str


def composites(
    *,
    from_m: ArrayLike,
    to_m: ArrayLike,
    grade: ArrayLike,
    stretch_from_m: ArrayLike,
    stretch_to_m: ArrayLike,
    density_t_m3: ArrayLike | None = None,
    gaps: GapRule = STRICT,
) -> Composites:
    """Grade of each stretch by length and by length times density.

    Each sample counts with the length it shares with the stretch. Samples without a result are gaps like length never
    sampled. With densities, a sample that has a result and no density leaves the grade by mass without an answer.

    Parameters
    ----------
    from_m : array (n,) [m]
        Top of each sample.
    to_m : array (n,) [m]
        Bottom of each sample.
    grade : array (n,) [any]
        Result of each; NaN where there is none.
    stretch_from_m : array (k,) [m]
        Top of each composite.
    stretch_to_m : array (k,) [m]
        Bottom of each composite.
    density_t_m3 : array (n,) or None [t/m3]
        Density of each sample; NaN where not known.
    gaps : GapRule
        What becomes of length without a result.

    Returns
    -------
    Composites
        .grade (k,), .grade_by_mass (k,), .density_t_m3 (k,) [t/m3], .sampled_m (k,) [m], .gap_m (k,) [m],
        .longest_gap_m (k,) [m], .why (k,) in words, empty where a grade is given.

    Raises
    ------
    ImpossibleValue
        When samples overlap, a length is not more than 0, a grade is negative or a density not more than 0, or lists
        differ in length.

    Valid for: samples of one core size taken evenly along their length.
    Source: length weighting (foot-ounce method) as in an old mine-examination text, mineralprospector.com/high-assays
        (seen); by mass: derived.
    Checked by: tests/published/test_composite_published.py, tests/unit/core/test_composite.py,
        tests/properties/test_composite_properties.py
    """
    top, bottom, result = _samples(from_m, to_m, grade)
    start, end = _stretch(stretch_from_m, stretch_to_m, "stretch")
    dense = _densities(density_t_m3, len(top))
    known = ~np.isnan(result)
    shared = np.clip(np.minimum(end[:, None], bottom) - np.maximum(start[:, None], top), 0.0, None)
    shared[:, ~known] = 0.0
    shared[shared < NANOMETRE_M] = 0.0
    length, sampled = end - start, shared.sum(axis=1)
    gap = np.round(length - sampled, 9)
    longest = np.array(
        [_longest_gap(a, b, top[known], bottom[known]) for a, b in zip(start, end, strict=True)], dtype=np.float64
    )
    metal = shared @ np.where(known, result, 0.0)
    mass = shared @ np.where(np.isnan(dense), 0.0, dense)
    heavy = np.where(known & ~np.isnan(dense), dense * np.where(known, result, 0.0), 0.0)
    mass_metal = shared @ heavy
    without_density = (shared[:, known & np.isnan(dense)] > 0.0).any(axis=1)
    weighed = shared[:, ~np.isnan(dense)].sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        density = mass / weighed
        if gaps.choice == AS_GRADE:
            by_length = (metal + gap * gaps.grade) / length
            gap_mass = gap * (np.nan if gaps.density_t_m3 is None else gaps.density_t_m3)
            gap_mass = np.where(gap > 0.0, gap_mass, 0.0)
            by_mass = (mass_metal + gap_mass * gaps.grade) / (mass + gap_mass)
        else:
            by_length, by_mass = metal / sampled, mass_metal / mass
    why = tuple(
        _why(gaps, missing, part, hole) for missing, part, hole in zip(gap, sampled / length, longest, strict=True)
    )
    given = np.array([not words for words in why], dtype=bool)
    return Composites(
        from_m=start,
        to_m=end,
        grade=np.where(given, by_length, np.nan),
        grade_by_mass=np.where(given & ~without_density, by_mass, np.nan),
        density_t_m3=np.where(weighed > 0.0, density, np.nan),
        sampled_m=sampled,
        gap_m=gap,
        longest_gap_m=longest,
        why=why,
    )


def even_stretches(
    *, from_m: float, to_m: float, length_m: float, short_end: str = "keep", shortest: float = 0.5
) -> tuple[Floats, Floats]:
    """Tops and bottoms of composites of one length, counted from the top.

    What is left at the bottom is a stretch of its own; when it is shorter than `shortest` of the length it is kept,
    joined to the one above, or left out, as told.

    Parameters
    ----------
    from_m : float [m]
        Top.
    to_m : float [m]
        Bottom.
    length_m : float [m]
        Length of each.
    short_end : str
        "keep", "join" or "leave out".
    shortest : float [1]
        Share of the length below which the last one counts as short.

    Returns
    -------
    tuple of float arrays (k,) [m]
        Tops and bottoms.

    Raises
    ------
    ImpossibleValue
        When the bottom is not below the top, the length is not more than 0, or the choice is unknown.

    Valid for: one hole, contacts as ends of stretches given by the caller.
    Source: site rule.
    Checked by: tests/unit/core/test_composite.py
    """
    start, end = one_number(from_m, "from_m"), one_number(to_m, "to_m")
    step = one_number(length_m, "length_m", above=0.0)
    least = one_number(shortest, "shortest", at_least=0.0, at_most=1.0)
    if short_end not in SHORT_ENDS:
        raise ImpossibleValue(
            f"{short_end!r} is no choice", where="short_end", remedy=f"Use one of: {', '.join(SHORT_ENDS)}"
        )
    _stretch([start], [end], "from_m")
    whole = math.floor((end - start) / step + NANOMETRE_M)
    edges = [round(start + k * step, 9) for k in range(whole + 1)]
    rest = end - edges[-1]
    if rest <= NANOMETRE_M:
        edges[-1] = end
    elif rest >= least * step or short_end == "keep" or (short_end == "join" and whole == 0):
        edges.append(end)
    elif short_end == "join":
        edges[-1] = end
    return np.array(edges[:-1]), np.array(edges[1:])


def intercepts(
    *,
    from_m: ArrayLike,
    to_m: ArrayLike,
    grade: ArrayLike,
    cutoff: float,
    density_t_m3: ArrayLike | None = None,
    longest_waste_m: float = 0.0,
    least_length_m: float = 0.0,
    gaps: GapRule = STRICT,
) -> tuple[Intercept, ...]:
    """Stretches at or above a cut-off, with the share of the best sample and the grade without it.

    Runs of samples at or above the cut-off. From the top, a run is joined to the next when the length between them is
    no longer than the waste allowed and the joined stretch still averages the cut-off. Length without a result between
    two runs parts them unless the gap rule allows it. Stretches shorter than the least length are left out.

    Parameters
    ----------
    from_m : array (n,) [m]
        Top of each sample, in order down the hole.
    to_m : array (n,) [m]
        Bottom of each sample.
    grade : array (n,) [any]
        Result of each; NaN where there is none.
    cutoff : float [any]
        Grade at and above which a sample counts.
    density_t_m3 : array (n,) or None [t/m3]
        Density of each sample.
    longest_waste_m : float [m]
        Longest stretch below the cut-off (gaps counted in) that may lie inside.
    least_length_m : float [m]
        Shortest intercept.
    gaps : GapRule
        What becomes of length without a result.

    Returns
    -------
    tuple of Intercept
        .grade, .grade_by_mass, .top_sample (row), .top_length_share [1], .top_metal_share [1], .grade_without_top,
        .below_cutoff_m [m], .gap_m [m].

    Raises
    ------
    ImpossibleValue
        When samples overlap or are out of order, the cut-off is not more than 0, or as for composites.

    Valid for: lengths along the hole; true width is another question.
    Source: derived; share of the top sample and grade without it: common practice, no source.
    Checked by: tests/published/test_composite_published.py, tests/unit/core/test_composite.py,
        tests/properties/test_composite_properties.py
    """
    top, bottom, result = _samples(from_m, to_m, grade)
    refuse_where(np.diff(top, prepend=-np.inf) < 0.0, top, "from_m", "out of order", "Sort the samples down the hole")
    limit = one_number(cutoff, "cutoff", above=0.0)
    waste = one_number(longest_waste_m, "longest_waste_m", at_least=0.0)
    least = one_number(least_length_m, "least_length_m", at_least=0.0)

    def average(first: int, last: int) -> Composites:
        return composites(
            from_m=top, to_m=bottom, grade=result, density_t_m3=density_t_m3, gaps=gaps,
            stretch_from_m=[top[first]], stretch_to_m=[bottom[last]],
        )  # fmt: skip

    joined: list[tuple[int, int]] = []
    for row in np.flatnonzero(result >= limit).tolist():
        if joined:
            first, last = joined[-1]
            between = float(top[row] - bottom[last])
            if between <= waste + NANOMETRE_M and float(average(first, row).grade[0]) >= limit - 1e-12 * limit:
                joined[-1] = (first, row)
                continue
        joined.append((row, row))
    found = []
    for first, last in joined:
        if bottom[last] - top[first] >= least - NANOMETRE_M:
            found.append(_intercept(first, last, top, bottom, result, limit, gaps, average(first, last)))
    return tuple(found)


def recovery_grade(
    *,
    recovery: ArrayLike,
    grade: ArrayLike,
    length_m: ArrayLike | None = None,
    class_edges: ArrayLike = (0.7, 0.85, 0.95),
    level: float = 0.05,
) -> RecoveryGrade:
    """Whether poorly recovered core reads richer or poorer than the rest.

    Spearman's rank correlation, two-sided, and averages by classes of recovery. The smallest correlation that so many
    samples show at 80 % is tanh(2.802 / sqrt(n - 3)) at the usual level; when nothing is shown it says what could hide.

    Parameters
    ----------
    recovery : array (n,) [1]
        Core recovery of each sample.
    grade : array (n,) [any]
        Result of each.
    length_m : array (n,) or None [m]
        Weights of the class averages.
    class_edges : array (c,) [1]
        Edges between the classes of recovery, ascending; a setting.
    level : float [1]
        Of the test.

    Returns
    -------
    RecoveryGrade
        .rank_correlation, .p_value, .smallest_seen; .class_count (c + 1,), .class_mean (c + 1,), .class_median
        (c + 1,), NaN for an empty class; .verdict in words.

    Raises
    ------
    ImpossibleValue
        When there are fewer than four samples, a recovery or grade is negative, the edges do not ascend, or lists
        differ in length.

    Valid for: samples of one kind of ground; rock that breaks and carries grade looks the same as grade lost.
    Source: Spearman 1904; Fisher's z for the power (from memory); edges: common practice, no source.
    Checked by: tests/unit/core/test_composite.py
    """
    share, result = paired(recovery, grade, names=("recovery", "grade"), least=4, at_least=0.0)
    weight = np.ones(len(share)) if length_m is None else number_list(length_m, "length_m")
    if len(weight) != len(share):
        raise ImpossibleValue(
            f"{len(weight)} lengths, {len(share)} samples", where="length_m", remedy="Give one for each sample"
        )
    numbers(weight, "length_m", above=0.0)
    edges = number_list(class_edges, "class_edges", least=0)
    if (np.diff(edges) <= 0.0).any():
        raise ImpossibleValue("the edges do not ascend", where="class_edges", remedy="Give them from low to high")
    chance = fraction(level, "level")
    seen = math.tanh(float(stats.norm.isf(chance / 2.0) + stats.norm.isf(0.2)) / math.sqrt(len(share) - 3))
    group = np.searchsorted(edges, share, side="right")
    classes = range(len(edges) + 1)
    if np.ptp(share) == 0.0 or np.ptp(result) == 0.0:
        rho, p_value = math.nan, 1.0
        verdict = "cannot conclude: all samples have the same recovery or the same grade"
    else:
        rho, p_value = (float(one) for one in stats.spearmanr(share, result))
        if p_value <= chance:
            verdict = f"poorly recovered core reads {'poorer' if rho > 0.0 else 'richer'} (rank correlation {rho:+.2f})"
        else:
            verdict = f"no relation shown; a rank correlation below {seen:.2f} would not show in {len(share)} samples"
    return RecoveryGrade(
        samples=len(share),
        rank_correlation=rho,
        p_value=p_value,
        smallest_seen=seen,
        class_edges=edges,
        class_count=np.array([int((group == k).sum()) for k in classes]),
        class_mean=np.array(
            [
                np.average(result[group == k], weights=weight[group == k]) if (group == k).any() else np.nan
                for k in classes
            ]
        ),
        class_median=np.array([np.median(result[group == k]) if (group == k).any() else np.nan for k in classes]),
        verdict=verdict,
    )


def _intercept(
    first: int,
    last: int,
    top: Floats,
    bottom: Floats,
    result: Floats,
    limit: float,
    gaps: GapRule,
    whole: Composites,
) -> Intercept:
    rows = [row for row in range(first, last + 1) if not np.isnan(result[row])]
    length, metal = bottom[rows] - top[rows], (bottom[rows] - top[rows]) * result[rows]
    best = int(np.argmax(metal))
    counted, covered = float(metal.sum()), float(length.sum())
    if gaps.choice == AS_GRADE:
        counted, covered = counted + float(whole.gap_m[0]) * gaps.grade, covered + float(whole.gap_m[0])
    rest = covered - float(length[best])
    return Intercept(
        from_m=float(top[first]),
        to_m=float(bottom[last]),
        length_m=float(bottom[last] - top[first]),
        gap_m=float(whole.gap_m[0]),
        grade=float(whole.grade[0]),
        grade_by_mass=float(whole.grade_by_mass[0]),
        samples=tuple(rows),
        top_sample=rows[best],
        top_length_share=float(length[best]) / covered,
        top_metal_share=float(metal[best]) / counted,
        grade_without_top=(counted - float(metal[best])) / rest if rest > NANOMETRE_M else math.nan,
        below_cutoff_m=float(length[result[rows] < limit].sum()),
    )


def _why(gaps: GapRule, missing: float, part: float, hole: float) -> str:
    """Why there is no grade, or nothing."""
    if gaps.choice == AS_GRADE:
        if hole > gaps.longest_gap_m + NANOMETRE_M:
            return f"a gap of {hole:g} m, more than {gaps.longest_gap_m:g} m"
        if part < gaps.least_covered - 1e-12:
            return f"{part:.0%} of the length has a result, {gaps.least_covered:.0%} needed"
        return ""
    if part <= 0.0:
        return "no result in this length"
    if missing > NANOMETRE_M and gaps.choice == NO_RESULT:
        return f"{missing:g} m without a result"
    if hole > gaps.longest_gap_m + NANOMETRE_M:
        return f"a gap of {hole:g} m, more than {gaps.longest_gap_m:g} m"
    if part < gaps.least_covered - 1e-12:
        return f"{part:.0%} of the length has a result, {gaps.least_covered:.0%} needed"
    return ""


def _longest_gap(start: float, end: float, top: Floats, bottom: Floats) -> float:
    inside = np.flatnonzero((bottom > start) & (top < end))
    order = inside[np.argsort(top[inside], kind="stable")]
    edges_down = np.concatenate([[start], np.minimum(bottom[order], end)])
    edges_up = np.concatenate([np.maximum(top[order], start), [end]])
    return float(np.round(max((edges_up - edges_down).max(), 0.0), 9))


def _stretch(start: ArrayLike, end: ArrayLike, name: str) -> tuple[Floats, Floats]:
    top, bottom = number_list(start, f"{name}, top"), number_list(end, f"{name}, bottom")
    if len(top) != len(bottom):
        raise ImpossibleValue(f"{len(top)} tops, {len(bottom)} bottoms", where=name, remedy="Give both ends of each")
    refuse_where(~(bottom > top), bottom, f"{name}, bottom", "is not below its top", "Check the depths")
    return top, bottom


def _samples(from_m: ArrayLike, to_m: ArrayLike, grade: ArrayLike) -> tuple[Floats, Floats, Floats]:
    top, bottom = _stretch(from_m, to_m, "sample")
    result = np.asarray(grade, dtype=np.float64)
    if result.shape != top.shape:
        raise ImpossibleValue(
            f"{result.size} results for {len(top)} samples", where="grade", remedy="Give one each, NaN for none"
        )
    refuse_where(result < 0.0, result, "grade", "is negative", "Read censored results before averaging")
    refuse_where(np.isinf(result), result, "grade", "infinite", "Give a finite number")
    order = np.argsort(top, kind="stable")
    over = bottom[order][:-1] - top[order][1:]
    if len(over) and over.max() > NANOMETRE_M:
        at = int(np.argmax(over))
        raise ImpossibleValue(
            f"samples {order[at]} and {order[at + 1]} overlap by {over[at]:.3f} m",
            where="from_m",
            remedy="Give each metre to one sample",
        )
    return top, bottom, result


def _densities(density_t_m3: ArrayLike | None, count: int) -> Floats:
    if density_t_m3 is None:
        return np.full(count, np.nan)
    dense = np.asarray(density_t_m3, dtype=np.float64)
    if dense.shape != (count,):
        raise ImpossibleValue(
            f"{dense.size} densities for {count} samples", where="density_t_m3", remedy="Give one each, NaN for none"
        )
    refuse_where(dense <= 0.0, dense, "density_t_m3", "must be more than 0", "Give NaN where it is not known")
    return dense
