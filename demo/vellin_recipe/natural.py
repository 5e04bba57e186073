"""Notes that belong to any real yard: low recovery in broken ground, and what each plan's controls would miss.

They are not planted, but they are expected, each one by name. A value that lies near a limit of the rules is refused
here, so that a finding never hangs on the last centimetre.
"""

from __future__ import annotations

from .shapes import Expected, HoleRows

LOW_RECOVERY, UNPLACED_CM, GAIN_CM = 0.85, 30, 5
PLANNED = ("VR-01", "VR-02", "VR-04", "VR-O6")
"""Holes without a finding that stops a sheet: these can be planned and issued."""


def natural_notes(holes: dict[str, HoleRows], planted: list[Expected]) -> list[Expected]:
    """The expected notes besides the planted faults; LookupError when a value is too near to a limit."""
    told = {(row.hole_id, row.run) for row in planted if row.run is not None}
    notes = []
    for hole_id, hole in holes.items():
        for run in hole.runs:
            below_gain = (hole_id, run.run + 1) in told
            beside_feet = not 0 < run.advance_cm <= 600
            if (hole_id, run.run) in told or below_gain or beside_feet:
                continue
            recovery = run.recovered_cm / run.advance_cm
            placed = sum(loss.lost_cm for loss in hole.losses if run.from_cm <= loss.from_cm < run.to_cm)
            unplaced = run.advance_cm - run.recovered_cm - placed
            near = abs(recovery - LOW_RECOVERY) < 0.015 or unplaced > UNPLACED_CM - 8 or unplaced < 4 - GAIN_CM - 1
            if near:
                raise LookupError(
                    f"{hole_id} run {run.run}: recovery {recovery:.3f}, unplaced {unplaced} cm, near a limit"
                )
            if recovery < LOW_RECOVERY:
                notes.append(
                    Expected("natural", hole_id, "run.low_recovery", "note",
                             f"{run.recovered_cm / 100:.2f} m of {run.advance_cm / 100:.2f} m, broken ground",
                             run.from_cm, run.to_cm, run=run.run)
                )  # fmt: skip
    notes += [
        Expected(
            "natural", hole_id, "control.power", "note", "every plan says what its controls would miss", stage="plan"
        )
        for hole_id in PLANNED
    ]
    return notes
