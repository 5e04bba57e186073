"""Where every metre of a hole lies: run table, depth registration, tray map, metre marks."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trayside.core.depth import MetreMarks, Registration, metre_marks, register
from trayside.core.recovery import RunTable, StubBalance, run_table
from trayside.core.tray_map import TrayMap, tray_map
from trayside.errors import ImpossibleValue
from trayside.model.checks.runs import credited_stubs
from trayside.model.cut_sheet import Place
from trayside.model.hole import HoleCore, Loss, Run, Tray
from trayside.model.rules import Rules

MARK_STEP_M = {"1 m": 1.0, "5 ft": 1.524, "10 ft": 3.048}
END_NUDGE_M = 0.0005
"""Half a millimetre: the end of a sample is looked up on the core above it, so it stays in the row it ends in."""


@dataclass(frozen=True, slots=True)
class HoleDepth:
    """The depths of one hole. `runs`, `losses` and `trays` are those that could be used; the others have findings."""

    runs: tuple[Run, ...]
    losses: tuple[Loss, ...]
    trays: tuple[Tray, ...]
    run_table: RunTable
    balance: StubBalance
    registration: Registration
    tray_map: TrayMap
    marks: MetreMarks
    stubs_used: bool

    def core_size_at(self, depth_m: NDArray) -> list[str]:
        """Core size of the run that owns each depth; the nearest run's where no run does."""
        index = np.atleast_1d(self.registration.run_at(depth_m=depth_m))
        starts = np.array([run.from_mm for run in self.runs]) / 1000
        near = np.clip(np.searchsorted(starts, depth_m, side="right") - 1, 0, len(self.runs) - 1)
        return [self.runs[at].core_size for at in np.where(index >= 0, index, near)]

    def places_at(self, depth_m: NDArray, *, end: bool = False) -> list[Place | None]:
        """Tray, row and centimetres of each depth; None outside every tray. `end`: the lower end of something."""
        depth = np.atleast_1d(np.asarray(depth_m, dtype=np.float64))
        found = self.tray_map.place_at(depth_m=depth - END_NUDGE_M if end else depth)
        nudge_cm = END_NUDGE_M * 100 if end else 0.0
        return [
            Place(self.trays[tray].tray, row, round(left + nudge_cm, 1)) if tray >= 0 else None
            for tray, row, left in zip(
                found.tray_index.tolist(), found.row.tolist(), found.left_cm.tolist(), strict=True
            )
        ]


def register_hole(core: HoleCore, rules: Rules) -> HoleDepth:
    """Compute where every metre lies from what was loaded, leaving out runs, losses and trays that cannot be right."""
    runs = usable_runs(core.runs)
    from_m = np.array([run.from_mm for run in runs]) / 1000
    to_m = np.array([run.to_mm for run in runs]) / 1000
    recovered_m = np.array([run.recovered_mm for run in runs]) / 1000
    table = run_table(from_m=from_m, to_m=to_m, recovered_m=recovered_m)
    balance = credited_stubs(
        from_m=from_m, to_m=to_m, recovered_m=recovered_m, gain_tolerance_m=rules.depth.gain_tolerance_m
    )
    losses = usable_losses(core.losses, runs)
    registration, stubs_used = _registration(from_m, to_m, recovered_m, balance.stub_m, losses, rules)
    trays = tuple(tray for tray in core.trays if tray.to_mm > tray.from_mm)
    return HoleDepth(
        runs=runs,
        losses=losses,
        trays=trays,
        run_table=table,
        balance=balance,
        registration=registration,
        tray_map=_tray_map(trays, registration, rules),
        marks=metre_marks(registration=registration, step_m=MARK_STEP_M[rules.depth.mark_every]),
        stubs_used=stubs_used,
    )


def usable_runs(runs: tuple[Run, ...]) -> tuple[Run, ...]:
    """The longest chain of runs that go deeper one after another; one wrong block takes out no more than its own runs."""
    deeper = [run for run in runs if run.to_mm > run.from_mm]
    if all(_follows(above, below) for above, below in pairwise(deeper)):
        return tuple(deeper)
    length, came_from = [1] * len(deeper), [-1] * len(deeper)
    for here, run in enumerate(deeper):
        for above in range(here):
            if length[above] + 1 > length[here] and _follows(deeper[above], run):
                length[here], came_from[here] = length[above] + 1, above
    here = max(range(len(deeper)), key=length.__getitem__)
    chain = []
    while here >= 0:
        chain.append(deeper[here])
        here = came_from[here]
    return tuple(reversed(chain))


def _follows(above: Run, below: Run) -> bool:
    return below.from_mm >= above.from_mm and below.to_mm > above.to_mm


def usable_losses(losses: tuple[Loss, ...], runs: tuple[Run, ...]) -> tuple[Loss, ...]:
    """Losses that lie inside one run, do not overlap, and leave room for the core that came up."""
    room = {run.run: run.to_mm - run.from_mm - run.recovered_mm for run in runs}
    kept: list[Loss] = []
    for loss in losses:
        run = next(
            (run for run in runs if run.from_mm <= loss.from_mm and loss.from_mm + loss.lost_mm <= run.to_mm), None
        )
        clear = not kept or kept[-1].from_mm + kept[-1].lost_mm <= loss.from_mm
        if run is not None and clear and loss.lost_mm > 0 and loss.lost_mm <= room[run.run] + 1:
            room[run.run] -= loss.lost_mm
            kept.append(loss)
    return tuple(kept)


def _registration(from_m, to_m, recovered_m, stub_m, losses, rules) -> tuple[Registration, bool]:
    settings = dict(
        run_from_m=from_m,
        run_to_m=to_m,
        recovered_m=recovered_m,
        loss_depth_m=[loss.from_mm / 1000 for loss in losses],
        loss_length_m=[loss.lost_mm / 1000 for loss in losses],
        loss_rule=rules.depth.loss_place,
        long_rule=rules.depth.long_core,
    )
    credit = rules.depth.credit_stubs and bool(stub_m.any()) and stub_m[0] == 0
    if credit:
        # Stubs may contradict a placed loss or a wrong block: the findings name it, the blocks decide meanwhile.
        try:
            credited = register(**settings, stub_m=stub_m)
        except ImpossibleValue:
            return register(**settings), False
        if not (credited.long_m > rules.depth.gain_tolerance_m).any():
            return credited, True
    return register(**settings), False


def _tray_map(trays: tuple[Tray, ...], registration: Registration, rules: Rules) -> TrayMap:
    return tray_map(
        tray_from_m=np.array([tray.from_mm for tray in trays]) / 1000,
        tray_to_m=np.array([tray.to_mm for tray in trays]) / 1000,
        rows=np.array([tray.rows for tray in trays], dtype=np.int64),
        row_length_m=np.array([tray.row_length_mm for tray in trays]) / 1000,
        registration=registration,
        direction=rules.trays.direction,
        loss_spacer=rules.trays.loss_spacer,
        fixed_spacer_m=rules.trays.fixed_spacer_m,
        block_m=rules.trays.block_m,
        row_end_m=[_row_ends_m(tray) for tray in trays],
    )


def _row_ends_m(tray: Tray) -> NDArray | None:
    """Measured depths at the row ends, when there is one for every row but the last and they go deeper."""
    ends = [tray.from_mm, *tray.row_ends_mm, tray.to_mm]
    if len(tray.row_ends_mm) != tray.rows - 1 or tray.rows == 1 or any(b <= a for a, b in pairwise(ends)):
        return None
    return np.array(tray.row_ends_mm) / 1000
