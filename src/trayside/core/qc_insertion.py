"""Controls of one hole: which ticket is a standard, a blank or a field duplicate, of what, and why.

`place_controls` draws the places (qc_sequence), chooses the materials, gives each control its reason in words, and
then checks its own plan against every rule; what could not be kept comes back as shortfalls. The records are in
qc_rules.
"""

from collections import Counter

import numpy as np

from trayside.core.qc_materials import with_materials
from trayside.core.qc_rules import (
    BlankStock,
    ControlPlan,
    ControlRow,
    ControlRules,
    Shortfall,
    StandardStock,
)
from trayside.core.qc_sequence import TicketWalk
from trayside.core.qc_shortfalls import rack_contents, shortfalls
from trayside.errors import ImpossibleValue

__all__ = ["BlankStock", "ControlPlan", "ControlRow", "ControlRules", "Shortfall", "StandardStock", "place_controls"]


def place_controls(
    *,
    expected_grade: np.ndarray,
    grade_class: np.ndarray,
    is_high: np.ndarray,
    rules: ControlRules,
    standards: tuple[StandardStock, ...],
    blanks: tuple[BlankStock, ...],
    seed: int,
    rack_phase: int = 0,
    rack_has_standard: bool = False,
    rack_has_blank: bool = False,
) -> ControlPlan:
    """Where standards, blanks and field duplicates stand among one hole's samples, and why.

    Tickets are counted over samples and controls together. Each block of n tickets holds one standard, at a ticket
    drawn by chance, so two standards are never more than 2 n - 1 tickets apart; the same for blanks. A blank stands
    straight behind each run of high samples and behind the highest expected grade of each laboratory rack (when that
    lies in a high run that ends in the rack, the blank behind the run is enough); it then serves its block. A rack left
    without a standard gets one at a place drawn by chance. One sample in each block is drawn for a duplicate, from the
    grade class furthest behind its share. No control stands beside another or first in a rack unless the rules allow
    it, and a hole never opens with a control while its rack is already open. A part rack is treated like a whole one
    from `min_rack_for_controls` samples on. Standards are drawn among those near the median expected grade around them,
    least used first. The same seed gives the same plan.

    Parameters
    ----------
    expected_grade : array (n,) [-]
        Expected grade in ticket order, in the unit of the standards (only ratios are used). NaN where nothing is
        expected.
    grade_class : array (n,) [-]
        Rank of the grade class, whole numbers, higher is richer.
    is_high : array (n,) [-]
        True for visible metal or the highest class.
    rules : ControlRules
        The yard's rules.
    standards : tuple of StandardStock
        Reference materials on the shelf with their sachets.
    blanks : tuple of BlankStock
        Blank materials on the shelf with their bags.
    seed : int
        Seed of the draws; recorded in the plan.
    rack_phase : int
        Places of the current laboratory rack that are already filled, 0 to rack size - 1.
    rack_has_standard : bool
        Whether those places already hold a standard.
    rack_has_blank : bool
        Whether those places already hold a blank.

    Returns
    -------
    ControlPlan
        .rows in ticket order; .shortfalls; .is_control (tickets,); stock used; how the last rack stands for the next
        hole.

    Raises
    ------
    ImpossibleValue
        When the arrays differ in length or are empty, a grade is negative or infinite, a stock code comes twice, or
        the rack phase is outside the rack.

    Valid for: one hole at a time, racks of 4 places and more; rates together up to 0.4 of the tickets.
    Source: design of the plan: derived. Random places within blocks, blank behind high grade: common practice, no
    source.
    Checked by: tests/unit/core/test_qc_insertion.py, tests/properties/test_control_plans.py
    """
    grade, classes, high = _checked(expected_grade, grade_class, is_high)
    if not 0 <= rack_phase < rules.rack_size:
        raise ImpossibleValue(
            f"{rack_phase} places of the rack are said to be filled, the rack has {rules.rack_size}",
            where="controls",
            remedy="Give 0 for a fresh rack",
        )
    for stocks, name in ((standards, "standard"), (blanks, "blank")):
        twice = [code for code, times in Counter(stock.code for stock in stocks).items() if times > 1]
        if twice:
            raise ImpossibleValue(
                f"{name} {twice[0]} is listed twice", where="stock", remedy="Add the counts up into one line"
            )
    rng = np.random.default_rng(seed)
    order = np.lexsort((rng.random(len(grade)), high, classes, np.where(np.isnan(grade), -1.0, grade)))
    rank = np.empty(len(grade), dtype=np.int64)
    rank[order] = np.arange(len(grade))
    walk = TicketWalk(
        rank=rank,
        grade_class=classes,
        is_high=high,
        rules=rules,
        sachets=sum(stock.sachets for stock in standards),
        bags=sum(stock.bags for stock in blanks),
        rng=rng,
        rack_phase=rack_phase,
        rack_has_standard=rack_has_standard,
        rack_has_blank=rack_has_blank,
    )
    tickets, _, lost_duplicates = walk.tickets()
    rows = with_materials(tickets, grade, classes, high, rank, rules, standards, blanks, rng)
    racks = rack_contents(rows, rack_phase, (rack_has_standard, rack_has_blank))
    next_phase = (rack_phase + len(rows)) % rules.rack_size
    last = racks[-1]
    return ControlPlan(
        rows=rows,
        shortfalls=shortfalls(rows, racks, rank, high, rules, standards, blanks, lost_duplicates),
        seed=seed,
        standards_used=_used(rows, "standard", [stock.code for stock in standards]),
        blanks_used=_used(rows, "blank", [stock.code for stock in blanks]),
        next_rack_phase=next_phase,
        rack_has_standard=bool(next_phase and last["standard"]),
        rack_has_blank=bool(next_phase and last["blank"]),
    )


def _checked(expected_grade: object, grade_class: object, is_high: object) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    grade = np.asarray(expected_grade, dtype=float)
    classes = np.asarray(grade_class)
    high = np.asarray(is_high)
    if grade.ndim != 1 or not grade.shape == classes.shape == high.shape:
        raise ImpossibleValue(
            f"expected grades {grade.shape}, classes {classes.shape} and high marks {high.shape} differ in length",
            where="controls",
            remedy="Give one of each per sample",
        )
    if not len(grade):
        raise ImpossibleValue("the hole has no samples", where="controls", remedy="Plan the intervals first")
    bad = np.flatnonzero(np.isinf(grade) | (grade < 0))
    if len(bad):
        raise ImpossibleValue(
            f"expected grade is {grade[bad[0]]}",
            where=f"sample {bad[0] + 1}",
            remedy="Leave it empty when nothing is expected",
        )
    if classes.dtype.kind not in "iu":
        raise ImpossibleValue(
            "grade classes are not whole numbers", where="controls", remedy="Rank the classes 0, 1, 2, ..."
        )
    if high.dtype.kind != "b":
        raise ImpossibleValue("high marks are not true or false", where="controls")
    return grade, classes.astype(np.int64), high


def _used(rows: tuple[ControlRow, ...], kind: str, codes: list[str]) -> dict[str, int]:
    counts = Counter(row.material for row in rows if row.kind == kind)
    return {code: counts.get(code, 0) for code in codes}
