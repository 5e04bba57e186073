"""The yard's saws as the bench needs them: which to choose from, which runs now and until when, and why another does not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from trayside.app.ports import Work
from trayside.app.saw_state import SawStop, saws_now
from trayside.app.yard_rules import rules_of


@dataclass(frozen=True, slots=True)
class BenchSaw:
    """One saw. `until` is when its card ends (nothing when no card is asked for): after that it does not run unasked."""

    saw: str
    kind: str
    stops: tuple[SawStop, ...]
    cautions: tuple[str, ...]
    until: str | None


def bench_saws(work: Work, *, now: datetime) -> tuple[BenchSaw, ...]:
    """Every saw of the register as it stands; empty in a yard without one, where the bench holds nobody up."""
    states = saws_now(work, now=now)
    needed = bool(states) and rules_of(work).saws.card_needed
    return tuple(
        BenchSaw(
            state.saw.saw,
            state.saw.kind,
            state.stops,
            state.cautions,
            state.valid_until if needed and state.ready else None,
        )
        for state in states
    )
