"""Controls that stay where they were when a plan is changed after it was issued: bags may be filled already."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from trayside.core.qc_rules import BlankStock, ControlPlan, ControlRow, ControlRules, Shortfall, StandardStock
from trayside.core.qc_shortfalls import rack_contents, shortfalls
from trayside.errors import ImpossibleValue

MOVES = {
    "sample gone": "the sample it stood behind is gone",
    "side by side": "the sample it stood behind is gone and another control stands there",
    "first of rack": "the sample it stood behind is gone and no control may come first in a rack",
}
"""Why an issued control stands behind another sample than before."""


@dataclass(frozen=True, slots=True)
class IssuedTicket:
    """One ticket as it was issued; `sample` counts the samples of the issued sheet (for a duplicate: its sample)."""

    kind: str
    sample: int | None = None
    material: str | None = None
    duplicate_type: str | None = None


def keep_controls(
    *,
    issued: tuple[IssuedTicket, ...],
    new_sample: Mapping[int, int],
    issued_bottom_m: np.ndarray,
    new_bottom_m: np.ndarray,
    expected_grade: np.ndarray,
    is_high: np.ndarray,
    rules: ControlRules,
    standards: tuple[StandardStock, ...],
    blanks: tuple[BlankStock, ...],
    seed: int,
) -> ControlPlan:
    """The issued controls round changed samples, and what they no longer keep of the rules.

    A control stays behind the sample it stood behind, and a duplicate goes when its own sample goes. A control whose
    sample is gone moves behind the new sample that ends nearest to where that one ended, between the neighbours that
    are still there; behind the first new sample when all above it is gone. Where it would stand beside another control
    or first in a rack, and the rules want neither, it goes on to the next sample without a control (or back, when
    there is none). Each move is told. New samples get no controls of their own. The rules are then held against the
    result: what they miss is told.

    Parameters
    ----------
    issued : tuple of IssuedTicket
        The issued sheet in ticket order.
    new_sample : mapping of int to int
        For each issued sample that is still there: which new sample it is.
    issued_bottom_m : array (k,) [m]
        Where each issued sample ends.
    new_bottom_m : array (n,) [m]
        Where each new sample ends.
    expected_grade : array (n,) [-]
        Expected grade of the new samples.
    is_high : array (n,) [-]
        True for visible metal or the highest class.
    rules : ControlRules
        The yard's rules.
    standards : tuple of StandardStock
        Stock, the issued ones still counted as on the shelf.
    blanks : tuple of BlankStock
        Stock of blanks, likewise.
    seed : int
        Seed of the issued plan, passed on.

    Returns
    -------
    ControlPlan
        .rows with the position of each kept control in the issued sheet as evidence["issued"] and, when it moved,
        a key of MOVES as evidence["moved"]; .shortfalls, ...

    Raises
    ------
    ImpossibleValue
        When a new sample is claimed twice or is not there, or depths are missing.

    Valid for: new samples in depth order.
    Source: site rule.
    Checked by: tests/unit/core/test_qc_kept.py
    """
    count = len(expected_grade)
    claimed = list(new_sample.values())
    if len(set(claimed)) != len(claimed) or any(not 0 <= one < count for one in claimed):
        raise ImpossibleValue(
            "an issued sample stands for no new sample or for one already taken", where="kept controls"
        )
    issued_count = sum(ticket.kind == "sample" for ticket in issued)
    if len(issued_bottom_m) != issued_count or len(new_bottom_m) != count:
        raise ImpossibleValue(
            f"{len(issued_bottom_m)} and {len(new_bottom_m)} depths for {issued_count} issued and {count} new samples",
            where="kept controls",
            remedy="Give where each sample ends",
        )
    standing = _Standing(issued, new_sample, np.asarray(issued_bottom_m), np.asarray(new_bottom_m), rules)
    kept = _rows(issued, new_sample, standing, count, rules)
    while (early := _first_of_rack(kept, rules)) is not None and standing.on_to_the_next(early):
        kept = _rows(issued, new_sample, standing, count, rules)
    racks = rack_contents(kept, 0, (False, False))
    followed = np.zeros(count)
    followed[[row.after_sample for row in kept if row.kind == "blank" and row.after_sample >= 0]] = 1
    # Of samples with the same expected grade the one with a blank behind it counts as the highest.
    rank = np.argsort(np.lexsort((followed, np.nan_to_num(np.asarray(expected_grade, dtype=float), nan=-1.0))))
    last = racks[-1] if racks else {"standard": False, "blank": False}
    phase = len(kept) % rules.rack_size
    return ControlPlan(
        rows=kept,
        shortfalls=_told_moves(kept)
        + shortfalls(kept, racks, rank, np.asarray(is_high, dtype=bool), rules, standards, blanks, 0),
        seed=seed,
        standards_used=_used(kept, "standard"),
        blanks_used=_used(kept, "blank"),
        next_rack_phase=phase,
        rack_has_standard=bool(phase and last["standard"]),
        rack_has_blank=bool(phase and last["blank"]),
    )


class _Standing:
    """Which issued controls stand behind which new sample (-1: before the first), and why they moved."""

    def __init__(
        self,
        issued: tuple[IssuedTicket, ...],
        new_sample: Mapping[int, int],
        issued_bottom_m: np.ndarray,
        new_bottom_m: np.ndarray,
        rules: ControlRules,
    ) -> None:
        self.issued, self.new_sample, self.rules = issued, new_sample, rules
        self.old_end, self.new_end = issued_bottom_m, new_bottom_m
        self.behind: dict[int, list[int]] = {}
        self.moved: dict[int, str] = {}
        homeless: list[tuple[int, int | None]] = []
        above = None
        for position, ticket in enumerate(issued):
            if ticket.kind == "sample":
                above = ticket.sample
            elif ticket.kind == "duplicate" and ticket.sample not in new_sample:
                continue
            elif above in new_sample:
                self.behind.setdefault(new_sample[above], []).append(position)
            elif above is None and rules.allow_first_of_rack:
                self.behind.setdefault(-1, []).append(position)
            else:
                homeless.append((position, above))
        # Controls whose sample is still there keep their places; then come those whose sample ended where a new one
        # ends, and the others last.
        nearest = [(position, *self._nearest(position, above)) for position, above in homeless]
        for position, near, same_end in sorted(nearest, key=lambda one: not one[2]):
            self._settle(position, near, same_end=same_end)

    def _settle(self, position: int, near: int, *, same_end: bool) -> None:
        """Put a control whose sample is gone behind the nearest new sample, or on from there."""
        if near < 0:
            self.behind.setdefault(near, []).append(position)
            return
        first = self._own_sample(position)
        if self.rules.allow_adjacent or not self.behind.get(near):
            at, why = near, "" if same_end else "sample gone"
        else:
            onward = (*range(near + 1, len(self.new_end)), *range(near - 1, first - 1, -1))
            at, why = next((one for one in onward if not self.behind.get(one)), near), "side by side"
        self.behind.setdefault(at, []).append(position)
        if why:
            self.moved[position] = why

    def _own_sample(self, position: int) -> int:
        """The sample a control may not stand before: a duplicate's own, else the first."""
        ticket = self.issued[position]
        return self.new_sample[ticket.sample] if ticket.kind == "duplicate" else 0

    def _nearest(self, position: int, gone: int | None) -> tuple[int, bool]:
        """The new sample that ends nearest to a gone one, and whether both end at the same depth.

        It lies from the last kept sample above on, and before the next kept one; -1 when there are no samples.
        """
        if not len(self.new_end):
            return -1, False
        if gone is None:
            return 0, False
        above = [new for old, new in self.new_sample.items() if old < gone]
        below = [new for old, new in self.new_sample.items() if old > gone]
        low = max(above, default=0)
        high = max(low + 1, min(below, default=len(self.new_end)))
        near = low + int(np.argmin(np.abs(self.new_end[low:high] - self.old_end[gone])))
        near = max(near, self._own_sample(position))
        return near, bool(abs(self.new_end[near] - self.old_end[gone]) < 1e-6)

    def on_to_the_next(self, position: int) -> bool:
        """Move a control to the next sample below that has none; False when there is none."""
        at = next(sample for sample, held in self.behind.items() if position in held)
        free = next((one for one in range(at + 1, len(self.new_end)) if not self.behind.get(one)), None)
        if free is None:
            return False
        self.behind[at].remove(position)
        self.behind[free] = [position]
        self.moved[position] = "first of rack"
        return True


def _rows(
    issued: tuple[IssuedTicket, ...],
    new_sample: Mapping[int, int],
    standing: _Standing,
    count: int,
    rules: ControlRules,
) -> tuple[ControlRow, ...]:
    """Samples and controls in ticket order."""
    rows: list[ControlRow] = []
    for sample in range(-1, count):
        if sample >= 0:
            rack, place = divmod(len(rows), rules.rack_size)
            rows.append(ControlRow("sample", sample, sample, rack, place))
        for position in standing.behind.get(sample, ()):
            ticket, (rack, place) = issued[position], divmod(len(rows), rules.rack_size)
            evidence = {"issued": position}
            if position in standing.moved:
                evidence["moved"] = standing.moved[position]
            rows.append(
                ControlRow(
                    ticket.kind,
                    new_sample[ticket.sample] if ticket.kind == "duplicate" else None,
                    sample,
                    rack,
                    place,
                    material=ticket.material,
                    duplicate_type=ticket.duplicate_type,
                    evidence=evidence,
                )
            )
    return tuple(rows)


def _first_of_rack(rows: tuple[ControlRow, ...], rules: ControlRules) -> int | None:
    """A moved control that stands first in a rack although the rules want none there."""
    if rules.allow_first_of_rack:
        return None
    early = (row for row in rows if row.rack_place == 0 and "moved" in row.evidence)
    return next((row.evidence["issued"] for row in early), None)


def _told_moves(rows: tuple[ControlRow, ...]) -> tuple[Shortfall, ...]:
    controls = [row for row in rows if row.kind != "sample"]
    moved = [row for row in controls if "moved" in row.evidence]
    if not moved:
        return ()
    told = "; ".join(
        f"{row.kind} now behind sample {row.after_sample + 1}: {MOVES[row.evidence['moved']]}" for row in moved[:8]
    )
    told += f"; and {len(moved) - 8} more" if len(moved) > 8 else ""
    return (Shortfall("control moved", len(controls), len(controls) - len(moved), f"Issued controls moved. {told}."),)


def _used(rows: tuple[ControlRow, ...], kind: str) -> dict[str, int]:
    used: dict[str, int] = {}
    for row in rows:
        if row.kind == kind:
            used[row.material] = used.get(row.material, 0) + 1
    return used
