"""Controls that stay where they were when a plan is changed after it was issued: bags may be filled already."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from trayside.core.qc_rules import BlankStock, ControlPlan, ControlRow, ControlRules, StandardStock
from trayside.core.qc_sequence import behind_high_samples
from trayside.core.qc_shortfalls import rack_contents, shortfalls
from trayside.errors import ImpossibleValue


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
    expected_grade: np.ndarray,
    is_high: np.ndarray,
    rules: ControlRules,
    standards: tuple[StandardStock, ...],
    blanks: tuple[BlankStock, ...],
    seed: int,
) -> ControlPlan:
    """The issued controls round changed samples, and what they no longer keep of the rules.

    A standard or blank stays behind the sample it stood behind; when that sample is gone it moves up to the sample
    before. A duplicate stays with its sample and goes with it. New samples stand in depth order without controls of
    their own. The rules are then held against the result: what they miss is told, nothing is added or moved.

    Parameters
    ----------
    issued : tuple of IssuedTicket
        The issued sheet in ticket order.
    new_sample : mapping of int to int
        For each issued sample that is still there: which new sample it is.
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
        .rows with the position of each kept control in the issued sheet as evidence["issued"], .shortfalls, ...

    Raises
    ------
    ImpossibleValue
        When a new sample is claimed twice or is not there.

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
    behind = _followers(issued, new_sample)
    rows: list[ControlRow] = []

    def add(kind: str, sample_index: int | None, **more: object) -> None:
        after = rows[-1].after_sample if rows else -1
        place = len(rows)
        rows.append(
            ControlRow(
                kind=kind,
                sample_index=sample_index,
                after_sample=sample_index if kind == "sample" else after,
                rack=place // rules.rack_size,
                rack_place=place % rules.rack_size,
                **more,
            )
        )

    for sample in range(-1, count):
        if sample >= 0:
            add("sample", sample)
        for position in behind.get(sample, ()):
            ticket = issued[position]
            add(
                ticket.kind,
                new_sample[ticket.sample] if ticket.kind == "duplicate" else None,
                material=ticket.material,
                duplicate_type=ticket.duplicate_type,
                evidence={"issued": position},
            )
    kept = tuple(rows)
    racks = rack_contents(kept, 0, (False, False))
    behind_high = behind_high_samples(is_high=np.asarray(is_high, dtype=bool), rules=rules)
    followed = np.zeros(count)
    followed[[row.after_sample for row in kept if row.kind == "blank" and row.after_sample >= 0]] = 1
    # Of samples with the same expected grade the one with a blank behind it counts as the highest.
    rank = np.argsort(np.lexsort((followed, np.nan_to_num(np.asarray(expected_grade, dtype=float), nan=-1.0))))
    last = racks[-1] if racks else {"standard": False, "blank": False}
    phase = len(kept) % rules.rack_size
    return ControlPlan(
        rows=kept,
        shortfalls=shortfalls(kept, racks, rank, behind_high, rules, standards, blanks, 0),
        seed=seed,
        standards_used=_used(kept, "standard"),
        blanks_used=_used(kept, "blank"),
        next_rack_phase=phase,
        rack_has_standard=bool(phase and last["standard"]),
        rack_has_blank=bool(phase and last["blank"]),
    )


def _followers(issued: tuple[IssuedTicket, ...], new_sample: Mapping[int, int]) -> dict[int, list[int]]:
    """For each new sample (-1: before the first) the positions of the issued controls that stand behind it."""
    behind: dict[int, list[int]] = {}
    at = -1
    for position, ticket in enumerate(issued):
        if ticket.kind == "sample":
            at = new_sample.get(ticket.sample, at)
        elif ticket.kind != "duplicate" or ticket.sample in new_sample:
            behind.setdefault(at, []).append(position)
    return behind


def _used(rows: tuple[ControlRow, ...], kind: str) -> dict[str, int]:
    used: dict[str, int] = {}
    for row in rows:
        if row.kind == kind:
            used[row.material] = used.get(row.material, 0) + 1
    return used
