"""Rules that read standard scores in a row: Western Electric, Nelson, Westgard. A set is a tuple of rules.

Every rule flags the result that completes it. A result exactly on a limit is inside it. Rules never reach from one
series (standard and element) into another.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from trayside.core.number_lists import number_list
from trayside.core.refusals import Floats
from trayside.core.sources import Source
from trayside.errors import ImpossibleValue

KINDS = ("same side", "either side", "within", "trend", "alternating", "opposite")
R4S_READINGS = ("both beyond 2", "range over 4")

_WESTERN = Source("Western Electric 1956, as tested in Champ & Woodall 1987, Technometrics 29:393", "Table 1", "seen")
_NELSON = Source("Nelson 1984, J. Qual. Technol. 16:237", "rules 1 to 8", "from memory")
_WESTGARD = Source("Westgard et al. 1981, Clin. Chem. 27:493", "control rules", "seen")


@dataclass(frozen=True, slots=True)
class Rule:
    """`count` of the last `of` scores: beyond `limit` on the same side or on either, within it, in a trend, ...

    For "opposite", `reading` says which of the two readings of R4s holds. A warning rule does not reject.
    """

    name: str
    kind: str
    count: int
    of: int
    limit: float
    source: Source
    warning: bool = False
    reading: str = R4S_READINGS[0]

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ImpossibleValue(
                f"{self.kind!r} is no kind of rule", where=self.name, remedy=f"Use: {', '.join(KINDS)}"
            )
        if not 1 <= self.count <= self.of:
            raise ImpossibleValue(
                f"{self.count} of {self.of}", where=self.name, remedy="Count at most as many as looked at"
            )
        if self.kind in ("within", "trend", "alternating") and self.count != self.of:
            raise ImpossibleValue(
                f"{self.count} of {self.of}", where=self.name, remedy="A rule of this kind needs all in a row"
            )
        if self.kind in ("trend", "alternating") and self.count < 3:
            raise ImpossibleValue(f"{self.count} in a row", where=self.name, remedy="Give three or more")
        if self.limit < 0.0 or not np.isfinite(self.limit):
            raise ImpossibleValue(f"limit {self.limit:g}", where=self.name, remedy="Give 0 or more standard deviations")
        if self.reading not in R4S_READINGS:
            raise ImpossibleValue(
                f"{self.reading!r} is no reading of R4s", where=self.name, remedy=f"Use: {', '.join(R4S_READINGS)}"
            )


def _same(name: str, count: int, of: int, limit: float, source: Source, *, warning: bool = False) -> Rule:
    return Rule(name, "same side", count, of, limit, source, warning)


SHEWHART = (Rule("beyond 3", "either side", 1, 1, 3.0, _WESTERN),)
WESTERN_ELECTRIC = (
    *SHEWHART,
    _same("2 of 3 beyond 2", 2, 3, 2.0, _WESTERN),
    _same("4 of 5 beyond 1", 4, 5, 1.0, _WESTERN),
    _same("8 on one side", 8, 8, 0.0, _WESTERN),
)
NELSON = (
    Rule("1: beyond 3", "either side", 1, 1, 3.0, _NELSON),
    _same("2: 9 on one side", 9, 9, 0.0, _NELSON),
    Rule("3: 6 steadily up or down", "trend", 6, 6, 0.0, _NELSON),
    Rule("4: 14 up and down in turn", "alternating", 14, 14, 0.0, _NELSON),
    _same("5: 2 of 3 beyond 2", 2, 3, 2.0, _NELSON),
    _same("6: 4 of 5 beyond 1", 4, 5, 1.0, _NELSON),
    Rule("7: 15 within 1", "within", 15, 15, 1.0, _NELSON),
    Rule("8: 8 beyond 1, either side", "either side", 8, 8, 1.0, _NELSON),
)
WESTGARD = (
    Rule("1_2s", "either side", 1, 1, 2.0, _WESTGARD, warning=True),
    Rule("1_3s", "either side", 1, 1, 3.0, _WESTGARD),
    _same("2_2s", 2, 2, 2.0, _WESTGARD),
    Rule("R_4s", "opposite", 2, 2, 2.0, _WESTGARD),
    _same("4_1s", 4, 4, 1.0, _WESTGARD),
    _same("10_x", 10, 10, 0.0, _WESTGARD),
)
RULE_SETS = {"Shewhart": SHEWHART, "Western Electric": WESTERN_ELECTRIC, "Nelson": NELSON, "Westgard": WESTGARD}


@dataclass(frozen=True, slots=True)
class RuleHits:
    """Where each rule was completed, and the two summaries."""

    by_rule: dict[str, np.ndarray]
    rejected: np.ndarray
    warned: np.ndarray  # by a warning rule, rejected or not


def westgard_rules(*, r4s_reading: str) -> tuple[Rule, ...]:
    """The Westgard set with the chosen reading of R4s.

    "both beyond 2": one score above +2 and another below -2. "range over 4": the two differ by more than 4, such as
    +1.5 and -2.7, which the first reading lets pass.

    Parameters
    ----------
    r4s_reading : str
        One of R4S_READINGS.

    Returns
    -------
    tuple of Rule

    Raises
    ------
    ImpossibleValue
        When the reading is not known.

    Valid for: R4s is meant within one batch; give apply_rules the batches.
    Source: Westgard et al. 1981 for the first; teaching texts for the second (both seen).
    Checked by: tests/unit/core/test_control_rules.py
    """
    return tuple(replace(rule, reading=r4s_reading) if rule.kind == "opposite" else rule for rule in WESTGARD)


def apply_rules(
    z: ArrayLike,
    *,
    rules: tuple[Rule, ...],
    batches: ArrayLike | None = None,
    series: ArrayLike | None = None,
) -> RuleHits:
    """Where each rule of a set is completed in one or many series of scores.

    Every rule looks back over its own window inside the series and flags the result that completes it. R4s looks at
    all earlier scores of the same batch, or at the one score before when no batches are given.

    Parameters
    ----------
    z : array (n,) [1]
        Scores, each series in order of time.
    rules : tuple of Rule
        One of RULE_SETS or a set of your own.
    batches : array (n,) of labels or None
        Batch of each score; results of a batch stand together.
    series : array (n,) of labels or None
        Standard and element of each score; results of a series stand together.

    Returns
    -------
    RuleHits
        .by_rule name to (n,) true or false, .rejected, .warned (n,).

    Raises
    ------
    ImpossibleValue
        When a score is missing, labels do not fit, a series or batch is torn apart, or rules share a name.

    Valid for: scores that do not depend on their neighbours; every further rule adds false alarms, see run_length.
    Source: as named with each rule.
    Checked by: tests/unit/core/test_control_rules.py, tests/properties/test_control_chart_properties.py,
        tests/published/test_run_length_published.py
    """
    scores = number_list(z, "z", least=0)
    names = [rule.name for rule in rules]
    if len(set(names)) < len(names):
        raise ImpossibleValue("two rules share a name", where="rules", remedy="Name each rule once")
    first = _starts(series, len(scores), "series")
    batch_first = None
    if batches is not None:
        batch_first = np.maximum(_starts(batches, len(scores), "batches", within=first), first)
    by_rule = {rule.name: _hits(rule, scores, first, batch_first) for rule in rules}
    none = np.zeros(len(scores), dtype=bool)
    rejected, warned = none.copy(), none.copy()
    for rule in rules:
        target = warned if rule.warning else rejected
        target |= by_rule[rule.name]
    return RuleHits(by_rule, rejected, warned)


def _starts(labels: ArrayLike | None, count: int, name: str, within: np.ndarray | None = None) -> np.ndarray:
    """Place where the stretch of each score begins; a label that comes back after another is a torn stretch."""
    if labels is None or count == 0:
        return np.zeros(count, dtype=np.int64)
    label = np.asarray(labels)
    if label.shape != (count,):
        raise ImpossibleValue(f"{label.size} labels for {count} scores", where=name, remedy="Give one for each score")
    _, code = np.unique(label, return_inverse=True)
    change = np.concatenate(([True], code[1:] != code[:-1]))
    if within is not None:
        change |= np.concatenate(([True], within[1:] != within[:-1]))
        keys = np.stack((within[change], code[change]), axis=1)
        torn = len(np.unique(keys, axis=0)) < int(change.sum())
    else:
        torn = int(change.sum()) > int(code.max()) + 1
    if torn:
        raise ImpossibleValue(
            "results that belong together are torn apart", where=name, remedy="Sort the results first"
        )
    return np.maximum.accumulate(np.where(change, np.arange(count), 0))


def _hits(rule: Rule, z: Floats, first: np.ndarray, batch_first: np.ndarray | None) -> np.ndarray:
    if not len(z):
        return np.zeros(0, dtype=bool)
    if rule.kind == "same side":
        return _many(z > rule.limit, rule, first) | _many(z < -rule.limit, rule, first)
    if rule.kind == "either side":
        return _many(np.abs(z) > rule.limit, rule, first)
    if rule.kind == "within":
        return _many(np.abs(z) < rule.limit, rule, first)
    if rule.kind == "opposite":
        return _opposite(rule, z, first, batch_first)
    step = np.concatenate(([0.0], np.diff(z)))
    step[first == np.arange(len(z))] = 0.0
    sign = np.sign(step)
    if rule.kind == "alternating":
        turned = np.concatenate(([0.0], sign[1:] * sign[:-1])) < 0.0
        return _in_a_row(turned, rule.count - 2)
    return _in_a_row(sign > 0.0, rule.count - 1) | _in_a_row(sign < 0.0, rule.count - 1)


def _many(flag: np.ndarray, rule: Rule, first: np.ndarray) -> np.ndarray:
    """Enough flags in the window that ends here, this one flagged itself."""
    total = np.concatenate(([0], np.cumsum(flag)))
    place = np.arange(len(flag))
    begin = np.maximum(place - rule.of + 1, first)
    return flag & (total[1:] - total[begin] >= rule.count)


def _in_a_row(flag: np.ndarray, count: int) -> np.ndarray:
    """So many flags without a break. A series start is never flagged, so no run crosses it."""
    place = np.arange(1, len(flag) + 1)
    return place - np.maximum.accumulate(np.where(flag, 0, place)) >= count


def _opposite(rule: Rule, z: Floats, first: np.ndarray, batch_first: np.ndarray | None) -> np.ndarray:
    place = np.arange(len(z))
    begin = np.maximum(place - rule.of + 1, first) if batch_first is None else batch_first
    highest, lowest = z.copy(), z.copy()
    # Widest window first known: step back one place at a time; batches hold few standards.
    for back in range(1, int((place - begin).max(initial=0)) + 1):
        reach = place - begin >= back
        here = place[reach]
        highest[here] = np.maximum(highest[here], z[here - back])
        lowest[here] = np.minimum(lowest[here], z[here - back])
    if rule.reading == R4S_READINGS[1]:
        completes = (highest - z > 2.0 * rule.limit) | (z - lowest > 2.0 * rule.limit)
    else:
        completes = ((z > rule.limit) & (lowest < -rule.limit)) | ((z < -rule.limit) & (highest > rule.limit))
    return completes
