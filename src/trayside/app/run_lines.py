"""The run table as people read it: one line a run, in the order of the runs, faulty runs included."""

from __future__ import annotations

from dataclasses import dataclass

from trayside.app.hole_view import HoleView
from trayside.core.recovery import fracture_frequency, rqd_class, rqd_of_length
from trayside.model.hole import Run


@dataclass(frozen=True, slots=True)
class RunLine:
    """One run. A run that cannot be right (`usable` False) has no figures until its findings are settled.

    `corrected_recovery` credits core left in the hole to the run that cut it; `closure_mm` is core recovered less
    length drilled, summed from the top. None where it was not measured or cannot be said.
    """

    run: Run
    usable: bool
    advance_mm: int | None = None
    loss_mm: int | None = None
    gain_mm: int | None = None
    recovery: float | None = None
    corrected_recovery: float | None = None
    closure_mm: int | None = None
    rqd: float | None = None
    rqd_class: str = ""
    fractures_per_m: float | None = None


def run_lines(view: HoleView) -> tuple[RunLine, ...]:
    """Every loaded run with what it lost or gained, its recovery, RQD and fractures."""
    depth = view.depth
    place = {run.run: index for index, run in enumerate(depth.runs)}
    table, corrected = depth.run_table, depth.balance.corrected_recovery
    lines = []
    for run in view.core.runs:
        index = place.get(run.run)
        if index is None or depth.runs[index] != run:
            lines.append(RunLine(run, usable=False))
            continue
        rqd, words = _rqd(run)
        lines.append(
            RunLine(
                run,
                usable=True,
                advance_mm=run.to_mm - run.from_mm,
                loss_mm=_mm(table.loss_m[index]),
                gain_mm=_mm(table.gain_m[index]),
                recovery=float(table.raw_recovery[index]),
                corrected_recovery=float(corrected[index]),
                closure_mm=_mm(table.closure_m[index]),
                rqd=rqd,
                rqd_class=words,
                fractures_per_m=_fractures(run),
            )
        )
    return tuple(lines)


def _rqd(run: Run) -> tuple[float | None, str]:
    advance_mm = run.to_mm - run.from_mm
    if run.rqd_mm is None or run.rqd_mm > advance_mm:
        return None, ""  # longer than the run: refused by the finding, not shown as a figure
    share = float(rqd_of_length(sound_m=run.rqd_mm / 1000, run_m=advance_mm / 1000))
    return share, rqd_class(rqd_fraction=share)


def _fractures(run: Run) -> float | None:
    if run.fractures is None or run.recovered_mm <= 0:
        return None
    return float(fracture_frequency(fractures=run.fractures, length_m=run.recovered_mm / 1000))


def _mm(length_m) -> int:
    return round(float(length_m) * 1000)
