"""What the tablets at the saw send and ask: acts into the ledger, signed by people who may, and what others did."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from trayside.app.bench_sheet import tray_of_rows
from trayside.app.ports import Clock, StartWork, Work
from trayside.app.record_events import Recorded, record
from trayside.model.event import Stored, tray_object
from trayside.model.person import Person, name_key

BENCH_KINDS = frozenset(
    {
        "staged", "cut", "could_not_cut", "bagged", "weighed", "inserted", "washed", "flush_cut", "kept_half_returned",
        "tray_closed", "photo_attached", "voided", "corrected",
    }
)  # fmt: skip
MOST_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class TrayNews:
    """What happened at one tray since an event, in the order of the ledger, and the newest revision of its sheet."""

    events: tuple[Stored, ...]
    seq: int
    revision: int
    digest: str
    cut_lines: int = 0
    """Place in the ledger of the newest decision on this hole's cut line; a tablet with an older one loads its sheet anew."""


def record_bench(raw: Sequence[object], *, start_work: StartWork, clock: Clock) -> tuple[Recorded, ...]:
    """Record acts of the bench. Once the yard has people, each must be signed by one of them who may record acts.

    Whoever sends them need not be who did them: a tablet goes from hand to hand while the network is down. What is
    refused stays on the tablet.
    """
    with start_work(writing=False) as work:
        refusals = _refusals(raw, work)
    fit = [one for one, refusal in zip(raw, refusals, strict=True) if refusal is None]
    answers = iter(record(fit, start_work=start_work, clock=clock)) if fit else iter(())
    return tuple(next(answers) if refusal is None else refusal for refusal in refusals)


def tray_news(work: Work, *, hole_id: str, tray: int, since: int = 0) -> TrayNews:
    """Acts on the tray, its bags and the saw beside it that were stored after `since`."""
    newest = work.revisions(hole_id)[-1]
    rows = work.revision(hole_id, newest.revision).rows
    bags = [row.number for row, at in zip(rows, tray_of_rows(rows), strict=True) if at == tray]
    objects = {("bag", number) for number in bags} | {("tray", tray_object(hole_id, tray))}
    found = {stored.seq: stored for events in work.events_of_objects(objects).values() for stored in events}
    found |= {stored.seq: stored for stored in work.events_of_tray(hole_id, tray)}
    new = tuple(found[seq] for seq in sorted(found) if seq > since)
    hole_acts = work.events_of_objects([("hole", hole_id)]).get(("hole", hole_id), ())
    decided = max((one.seq for one in hole_acts if one.event.kind in ("cut_line_set", "corrected")), default=0)
    return TrayNews(new, max(found, default=since), newest.revision, newest.digest, decided)


def _refusals(raw: Sequence[object], work: Work) -> list[Recorded | None]:
    people = {name_key(person.name): person for person in work.people.people()}
    corrected = work.events_by_id(
        one["corrects"] for one in raw if isinstance(one, dict) and isinstance(one.get("corrects"), str)
    )
    return [_refusal(one, people, corrected) if isinstance(one, dict) else None for one in raw]


def _refusal(raw: dict, people: dict[str, Person], corrected: dict[str, Stored]) -> Recorded | None:
    """Why an act is not taken from the bench; None when it may be recorded."""
    event_id, kind, name = raw.get("event_id"), raw.get("kind"), raw.get("person")
    event_id = event_id[:40] if isinstance(event_id, str) else None
    if isinstance(kind, str) and kind not in BENCH_KINDS:
        what = f"{kind[:40]!a} is no act of the bench"
        return Recorded(event_id, "refused", why=what, remedy="Record it on the screen it belongs to")
    if not people or not isinstance(name, str):
        return None
    person = people.get(name_key(name))
    if person is None:
        return Recorded(event_id, "refused", why=f"nobody called {name[:80]!a} signs in this yard",
                        remedy="Tell a lead: the act waits on this tablet until somebody of that name is added")  # fmt: skip
    against = corrected.get(raw.get("corrects"))
    settles = against is not None and against.standing == "conflict"
    right = "resolve" if settles else "record"
    # What somebody did while they could still sign stays theirs, so a disabled person's acts are taken.
    if not Person(person.person_id, person.name, person.role, True).may(right):
        told = "settle conflicts" if settles else "record acts of the bench"
        return Recorded(event_id, "refused", why=f"{person.name} signs as {person.role}, who may not {told}",
                        remedy="Ask somebody who may, or tell a lead")  # fmt: skip
    return None
