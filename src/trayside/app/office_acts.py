"""Acts recorded at a desk rather than on the floor: sacks sealed, loads handed over, lists received."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from trayside import __version__
from trayside.app.ports import Clock, MakeId, Work
from trayside.app.record_events import CLOCK_AHEAD, MOST_EVENTS, record_in
from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.event import Event, moment_text
from trayside.model.person import checked_name

SOFTWARE = f"trayside {__version__}"
OLDEST = timedelta(days=400)


@dataclass(frozen=True, slots=True)
class Signer:
    """Who does it, on which device, and what their clock adds to UTC."""

    person: str
    device: str
    utc_offset_min: int = 0


@dataclass(frozen=True, slots=True)
class Desk:
    """What every act at a desk needs."""

    signer: Signer
    clock: Clock
    make_id: MakeId

    def act(
        self, kind: str, object_type: str, object_id: str, *, at: datetime | None = None, **more: object
    ) -> Event:
        """An event by this signer, now or at a time that was written down; `more` are fields of the event."""
        return Event(
            event_id=self.make_id(),
            kind=kind,
            object_type=object_type,
            object_id=object_id,
            person=checked_name(self.signer.person),
            device=self.signer.device,
            captured_at=moment_text(at or self.clock()),
            utc_offset_min=self.signer.utc_offset_min,
            software=SOFTWARE,
            **more,
        )


def record_all(work: Work, events: Sequence[Event], *, clock: Clock, where: str) -> None:
    """Store all of these or none: what the ledger holds against one of them is told to the person at the desk.

    The caller commits; on a refusal nothing was stored.
    """
    for first in range(0, len(events), MOST_EVENTS):
        answers = record_in(work, events[first : first + MOST_EVENTS], clock=clock)
        refused = [one for one in answers if one.status in ("refused", "conflict") or one.standing == "waits"]
        if refused:
            by_id = {event.event_id: event for event in events}
            reasons = []
            for one in refused[:20]:
                event = by_id.get(one.event_id)
                name = f"{event.object_type} {event.object_id}, {event.kind.replace('_', ' ')}" if event else "event"
                reasons.append(f"{name}: {one.why}")
            raise RefusedByRule(
                f"the ledger says otherwise about {len(refused)} of {len(events)} acts",
                where=where,
                remedy="Settle what is named, then do it again",
                reasons=tuple(reasons),
            )


def checked_time(at: datetime, *, now: datetime, what: str) -> datetime:
    """A typed time, refused when it lies ahead or more than a year back."""
    if at.tzinfo is None:
        raise ImpossibleValue("a time without its offset from UTC", where=what, remedy="Type it like 2031-05-04 09:30 +02:00")
    if at - now > CLOCK_AHEAD:
        raise ImpossibleValue("this time has not come yet", where=what, remedy="Look at the day, the hour and the offset")
    if now - at > OLDEST:
        raise ImpossibleValue("this time is more than a year back", where=what, remedy="Look at the year")
    return at
