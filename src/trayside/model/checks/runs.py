"""The driller's runs: rods miscounted, blocks in feet or out of order, gains beside losses, recovery, RQD, losses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trayside.core import run_steps
from trayside.core.recovery import StubBalance, stub_balance
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore, Run
from trayside.model.rules import Rules

MOST_IF_FEET = 1.25
"""A block is not read as feet when that leaves its run shorter than its core by more than this. Site rule."""


@dataclass(frozen=True, slots=True)
class _Blocks:
    """The runs as columns, and which of them a graver finding already explains."""

    hole_id: str
    runs: tuple[Run, ...]
    from_m: NDArray
    to_m: NDArray
    recovered_m: NDArray
    explained: set[int]

    def place(self, index: int) -> dict:
        run = self.runs[index]
        low, high = sorted((run.from_mm, run.to_mm))
        return {"hole_id": self.hole_id, "run": run.run, "from_mm": low, "to_mm": high}


def credited_stubs(*, from_m: NDArray, to_m: NDArray, recovered_m: NDArray, gain_tolerance_m: float) -> StubBalance:
    """The stub balance with gains within the tape's tolerance left alone, so that tape noise moves no run."""
    advance = to_m - from_m
    small = (recovered_m > advance) & (recovered_m <= advance + gain_tolerance_m)
    return stub_balance(advance_m=advance, recovered_m=np.where(small, advance, recovered_m))


def _credited(blocks: _Blocks, tolerance_m: float) -> tuple[float, NDArray, NDArray]:
    """First stub, true loss and corrected recovery by run.

    Runs that do not go deeper, and runs a graver finding explains, take no part: loss 0, recovery NaN.
    """
    deeper = blocks.to_m > blocks.from_m
    deeper[list(blocks.explained)] = False
    balance = credited_stubs(
        from_m=blocks.from_m[deeper],
        to_m=blocks.to_m[deeper],
        recovered_m=blocks.recovered_m[deeper],
        gain_tolerance_m=tolerance_m,
    )
    loss, recovery = np.zeros(len(deeper)), np.full(len(deeper), np.nan)
    if not deeper.any():
        return 0.0, loss, recovery
    loss[deeper], recovery[deeper] = balance.loss_m, balance.corrected_recovery
    return float(balance.stub_m[0]), loss, recovery


def _no_runs(core: HoleCore) -> list[Finding]:
    held = [name for name, part in (("trays", core.trays), ("a log", core.rock)) if part]
    if not held:
        return []
    ends = [end for part in (*core.trays, *core.rock) for end in (part.from_mm, part.to_mm)]
    message = f"The hole has {' and '.join(held)} and no runs"
    return [found("run.none", message, hole_id=core.hole.hole_id, from_mm=min(ends), to_mm=max(ends))]


def check_runs(core: HoleCore, rules: Rules) -> list[Finding]:
    """Findings on the runs and losses of one hole. A graver finding explains the lesser ones of the same run."""
    if not core.runs:
        return _no_runs(core)
    blocks = _Blocks(
        core.hole.hole_id,
        core.runs,
        np.array([run.from_mm for run in core.runs]) / 1000,
        np.array([run.to_mm for run in core.runs]) / 1000,
        np.array([run.recovered_mm for run in core.runs]) / 1000,
        set(),
    )
    findings = [*_feet(blocks), *_rods(blocks, rules)]
    findings += _order(blocks, rules)
    findings += _recovery(core, blocks, rules)
    findings += _losses(core, blocks, rules)
    return sorted(findings, key=lambda finding: (finding.from_mm or 0, finding.code))


def _columns(blocks: _Blocks) -> dict:
    return {"from_m": blocks.from_m, "to_m": blocks.to_m, "recovered_m": blocks.recovered_m}


def _feet(blocks: _Blocks) -> list[Finding]:
    whole = run_steps.hole_in_feet(**_columns(blocks))
    if whole.in_feet:
        blocks.explained.update(range(len(blocks.runs)))
        evidence = {"runs": whole.runs, "recovered_over_advance": round(whole.median_ratio, 4)}
        message = (
            f"In {whole.runs} runs recovered over drilled is near {whole.median_ratio:.3f}, as one foot is to a metre"
        )
        top, bottom = min(run.from_mm for run in blocks.runs), max(run.to_mm for run in blocks.runs)
        return [
            found("run.hole_in_feet", message, hole_id=blocks.hole_id, from_mm=top, to_mm=bottom, evidence=evidence)
        ]
    feet, findings = run_steps.feet_blocks(**_columns(blocks)), []
    columns = (feet.run, feet.written_m, feet.metres_if_feet_m, feet.is_end, feet.recovery_after)
    for index, written, metres, is_end, recovery in zip(*(column.tolist() for column in columns), strict=True):
        if recovery > MOST_IF_FEET:
            continue  # small numbers fit as feet by chance: then the run would hold far more core than it is long
        beside = index + 1 if is_end else index - 1
        blocks.explained.update({index, beside} & set(range(len(blocks.runs))))
        findings.append(
            found(
                "run.block_in_feet",
                f"The block reads {written:g}; as feet it is {metres:.2f} m and fits its neighbours",
                hole_id=blocks.hole_id,
                run=blocks.runs[index].run,
                from_mm=round(metres * 1000),
                to_mm=round(metres * 1000),
                evidence={"written": written, "metres_if_feet_m": round(metres, 3)},
            )
        )
    return findings


def _rods(blocks: _Blocks, rules: Rules) -> list[Finding]:
    steps = run_steps.rod_steps(
        **_columns(blocks), rod_lengths_m=rules.depth.rod_lengths_m, tolerance_m=rules.depth.rod_tolerance_m
    )
    likely = set(steps.run[steps.likely].tolist())
    answers = {
        int(cancel) for cancel, sure in zip(steps.cancelled_by_run, steps.likely, strict=True) if sure and cancel >= 0
    }
    findings = []
    for at, index in enumerate(steps.run.tolist()):
        if index in blocks.explained or index not in likely | answers:
            continue
        blocks.explained.add(index)
        sign, step, rod = int(steps.sign[at]), float(steps.step_m[at]), float(steps.rod_m[at])
        later = int(steps.cancelled_by_run[at])
        until = f" until run {blocks.runs[later].run} puts it right" if later >= 0 else ""
        drilled = float(blocks.to_m[index] - blocks.from_m[index])
        findings.append(
            found(
                "run.rod_extra" if sign > 0 else "run.rod_missing",
                f"{drilled:.2f} m between the blocks but {blocks.recovered_m[index]:.2f} m of core: "
                f"a step of {abs(step):.2f} m, near one rod of {rod:g} m{until}",
                **blocks.place(index),
                evidence={
                    "step_m": round(step, 3),
                    "rod_m": rod,
                    "recovery_after": round(float(steps.recovery_after[at]), 4),
                    "put_right_by_run": blocks.runs[later].run if later >= 0 else None,
                },
            )
        )
    return findings


def _order(blocks: _Blocks, rules: Rules) -> list[Finding]:
    tolerance = {"tolerance_m": rules.depth.block_tolerance_m}
    span = {"from_m": blocks.from_m, "to_m": blocks.to_m}
    order = run_steps.out_of_order(**span, **tolerance)
    findings = []
    for index, by in [
        *zip(order.reversed_run.tolist(), order.reversed_m.tolist(), strict=True),
        *zip(order.earlier_run.tolist(), order.earlier_m.tolist(), strict=True),
    ]:
        if {index, index - 1} & blocks.explained:
            continue
        blocks.explained.add(index)
        run = blocks.runs[index]
        message = f"The blocks of run {run.run} read {run.from_mm / 1000:.2f} and {run.to_mm / 1000:.2f} m"
        findings.append(found("run.out_of_order", message, **blocks.place(index), evidence={"up_m": round(by, 3)}))
    for kind, steps in (
        ("run.overlap", run_steps.overlaps(**span, **tolerance)),
        ("run.gap", run_steps.gaps(**span, **tolerance)),
    ):
        for index, by in zip(steps.run.tolist(), steps.length_m.tolist(), strict=True):
            if {index, index - 1} & blocks.explained:
                continue
            above, run = blocks.runs[index - 1], blocks.runs[index]
            low, high = sorted((above.to_mm, run.from_mm))
            message = f"Run {above.run} ends at {above.to_mm / 1000:.2f} m, run {run.run} starts at {run.from_mm / 1000:.2f} m"
            findings.append(
                found(
                    kind,
                    message,
                    hole_id=blocks.hole_id,
                    run=run.run,
                    from_mm=low,
                    to_mm=high,
                    evidence={kind.removeprefix("run.") + "_m": round(by, 3)},
                )
            )
    return findings


def _recovery(core: HoleCore, blocks: _Blocks, rules: Rules) -> list[Finding]:
    tolerance = rules.depth.gain_tolerance_m
    findings, netted = [], set()
    nets = run_steps.recovery_over_one_next_to_loss(**_columns(blocks), tolerance_m=tolerance)
    for at, (gained, lost) in enumerate(zip(nets.gain_run.tolist(), nets.loss_run.tolist(), strict=True)):
        if {gained, lost} & blocks.explained:
            continue
        netted.add(gained)
        findings.append(
            found(
                "run.gain_beside_loss",
                f"Run {blocks.runs[gained].run} has {nets.gain_m[at]:.2f} m too much, "
                f"run {blocks.runs[lost].run} lost {nets.loss_m[at]:.2f} m: {nets.net_m[at]:.2f} m may cancel",
                **blocks.place(gained),
                evidence={
                    "gain_m": round(float(nets.gain_m[at]), 3),
                    "loss_m": round(float(nets.loss_m[at]), 3),
                    "net_m": round(float(nets.net_m[at]), 3),
                    "loss_run": blocks.runs[lost].run,
                },
            )
        )
    first_stub_m, true_loss_m, corrected_recovery = _credited(blocks, tolerance)
    if first_stub_m > tolerance and not blocks.explained and not netted:
        message = f"{first_stub_m:.2f} m more core came up than was drilled down to here"
        findings.append(found("run.stub_open", message, **blocks.place(0), evidence={"stub_m": round(first_stub_m, 3)}))
    end_mm = core.hole.total_depth_mm + rules.depth.block_tolerance_m * 1000
    for index, run in enumerate(blocks.runs):
        advance_m = (run.to_mm - run.from_mm) / 1000
        if max(run.rqd_mm or 0, run.solid_mm or 0) > run.recovered_mm:
            message = f"{max(run.rqd_mm or 0, run.solid_mm or 0) / 1000:.2f} m of sound pieces in {run.recovered_mm / 1000:.2f} m"
            evidence = {"rqd_m": _m(run.rqd_mm), "solid_m": _m(run.solid_mm), "recovered_m": _m(run.recovered_mm)}
            findings.append(found("run.rqd_impossible", message, **blocks.place(index), evidence=evidence))
        if index in blocks.explained or advance_m <= 0:
            continue
        if run.to_mm > end_mm:
            message = f"The run ends at {run.to_mm / 1000:.2f} m, the hole at {core.hole.total_depth_mm / 1000:.2f} m"
            findings.append(
                found("run.beyond_hole", message, **blocks.place(index), evidence={"to_m": run.to_mm / 1000})
            )
        if run.recovered_mm / 1000 > advance_m + tolerance and index not in netted:
            message = f"{run.recovered_mm / 1000:.2f} m of core from {advance_m:.2f} m drilled"
            evidence = {"recovery": round(run.recovered_mm / 1000 / advance_m, 4)}
            findings.append(found("run.over_full", message, **blocks.place(index), evidence=evidence))
        corrected = float(corrected_recovery[index])
        if corrected < rules.depth.low_recovery:
            message = f"{100 * corrected:.0f} % recovered ({run.recovered_mm / 1000:.2f} of {advance_m:.2f} m)"
            evidence = {"recovery": round(corrected, 4), "loss_m": round(float(true_loss_m[index]), 3)}
            findings.append(found("run.low_recovery", message, **blocks.place(index), evidence=evidence))
    return findings


def _losses(core: HoleCore, blocks: _Blocks, rules: Rules) -> list[Finding]:
    findings = []
    _, true_loss_m, _ = _credited(blocks, rules.depth.gain_tolerance_m)
    placed = np.zeros(len(blocks.runs))
    for loss in core.losses:
        end_mm = loss.from_mm + loss.lost_mm
        inside = [i for i, run in enumerate(blocks.runs) if run.from_mm <= loss.from_mm and end_mm <= run.to_mm]
        if not inside and _near_explained(blocks, loss.from_mm, end_mm):
            continue  # the block is wrong, not the loss
        if not inside:
            message = f"A loss of {loss.lost_mm / 1000:.2f} m at {loss.from_mm / 1000:.2f} m lies in no single run"
            place = {"hole_id": blocks.hole_id, "from_mm": loss.from_mm, "to_mm": end_mm}
            findings.append(found("loss.outside_runs", message, **place, evidence={"lost_m": loss.lost_mm / 1000}))
        else:
            placed[inside[0]] += loss.lost_mm / 1000
    for index, run in enumerate(blocks.runs):
        if index in blocks.explained or run.to_mm <= run.from_mm:
            continue
        missing, true_loss = (run.to_mm - run.from_mm - run.recovered_mm) / 1000, float(true_loss_m[index])
        if placed[index] > max(missing, true_loss) + rules.depth.gain_tolerance_m:
            message = f"{placed[index]:.2f} m of losses in run {run.run}, which is missing {max(missing, 0):.2f} m"
            evidence = {"placed_m": round(float(placed[index]), 3), "missing_m": round(missing, 3)}
            findings.append(found("loss.more_than_missing", message, **blocks.place(index), evidence=evidence))
        elif true_loss - placed[index] > rules.depth.unplaced_loss_m:
            left = true_loss - float(placed[index])
            message = f"{left:.2f} m lost in run {run.run}, place not given"
            findings.append(
                found("loss.unplaced", message, **blocks.place(index), evidence={"unplaced_m": round(left, 3)})
            )
    return findings


def _near_explained(blocks: _Blocks, from_mm: int, to_mm: int) -> bool:
    """Whether a stretch lies within the reach of a run whose blocks a graver finding calls wrong."""
    for index in blocks.explained:
        near = blocks.runs[max(0, index - 1) : index + 2]
        low = min(min(run.from_mm, run.to_mm) for run in near)
        high = max(max(run.from_mm, run.to_mm) for run in near)
        if low <= from_mm and to_mm <= high:
            return True
    return False


def _m(length_mm: int | None) -> float | None:
    return None if length_mm is None else length_mm / 1000
