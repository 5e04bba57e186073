"""Sign in with a name and a PIN, stay signed in, sign out.

A try is counted before the PIN is looked at, in a transaction of its own: many tries at once cannot all slip through,
and the count outlives the program. A name that does not exist is treated like any other, and takes as long.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from trayside.app.people import name_subject, settings_of
from trayside.app.people_ports import Secrets
from trayside.app.ports import Clock, StartWork, Work
from trayside.errors import SignInRefused
from trayside.model.lockout import Limits, Tries, counted_try, given_back, lock_after, refused
from trayside.model.person import Person, name_key
from trayside.model.tablet import Session, Tablet

LONGEST_TYPED = 200
TRIES_KEPT_DAYS = 30
TOUCH_EVERY = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class SignedIn:
    """The token goes to the browser and nowhere else."""

    person: Person
    token: str
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Visit:
    """Who is asking: a person, on a paired tablet or not. `touch`: the session was last marked a while ago."""

    any_people: bool
    person: Person | None = None
    tablet: Tablet | None = None
    touch: bool = False


def sign_in(
    name: str, *, pin: str, address: str, tablet_id: str | None, start_work: StartWork, clock: Clock, secrets: Secrets
) -> SignedIn:
    """A new session for the person, or SignInRefused in words."""
    person = proven(name, pin=pin, address=address, start_work=start_work, clock=clock, secrets=secrets)
    token, now = secrets.new_token(), clock()
    with start_work() as work:
        settings = settings_of(work)
        ends_at = now + timedelta(hours=settings.session_h)
        work.people.end_old_sessions(before=now)
        work.people.add_session(Session(secrets.digest(token), person.person_id, tablet_id, now, now, ends_at))
        work.commit()
    return SignedIn(person, token, ends_at)


def proven(name: str, *, pin: str, address: str, start_work: StartWork, clock: Clock, secrets: Secrets) -> Person:
    """The person, when the PIN is theirs."""
    name, pin = name[:LONGEST_TYPED], pin[:LONGEST_TYPED]
    by_name, by_address = name_subject(name, secrets), f"address {address}"
    with start_work() as work:
        settings, now = settings_of(work), clock()
        limits = {by_name: settings.name_limits, by_address: settings.address_limits}
        count_try(work, limits, now, {by_name: "this name", by_address: "this device"})
        known = work.people.named(name_key(name))
        work.commit()
    right = secrets.pin_matches(known.pin_hash if known else secrets.nobody_hash, pin)
    if not right or known is None or not known.person.active:
        raise SignInRefused("the name and the PIN do not go together", where="sign in", remedy="Try once more")
    with start_work() as work:
        again = work.people.named(name_key(name))
        if again != known:
            raise SignInRefused("this person was changed a moment ago", where="sign in", remedy="Try once more")
        work.people.set_tries(by_name, Tries())
        work.people.set_tries(by_address, given_back(work.people.tries(by_address)))
        work.people.forget_tries(before=clock() - timedelta(days=TRIES_KEPT_DAYS))
        work.commit()
    return known.person


def count_try(work: Work, limits: dict[str, Limits], now: datetime, whose: dict[str, str]) -> None:
    """Count a try under every subject, or refuse when one of them has to wait."""
    held = {subject: work.people.tries(subject) for subject in limits}
    for subject, tries in held.items():
        lock = lock_after(tries, limits[subject], now=now)
        if lock.holds:
            raise refused(lock, whose=whose[subject], remedy="ask a lead")
    for subject, tries in held.items():
        work.people.set_tries(subject, counted_try(tries, limits[subject], now=now))


def sign_out(token: str, *, start_work: StartWork, secrets: Secrets) -> None:
    """End the session, here and for good."""
    with start_work() as work:
        work.people.end_session(secrets.digest(token))
        work.commit()


def visit(
    *, session_token: str | None, tablet_token: str | None, start_work: StartWork, clock: Clock, secrets: Secrets
) -> Visit:
    """Whose tokens these are. What has run out, was revoked, or belongs to another device counts as nothing."""
    with start_work(writing=False) as work:
        rows = work.people
        any_people = rows.any_people()
        tablet = rows.tablet_holding(secrets.digest(tablet_token)) if tablet_token else None
        if tablet is not None and tablet.revoked_at is not None:
            tablet = None
        held = rows.session(secrets.digest(session_token)) if session_token else None
        settings = settings_of(work)
    if held is None:
        return Visit(any_people, None, tablet)
    (session, person), now = held, clock()
    on = tablet.tablet_id if tablet else None
    if not person.active or not session.lives(tablet_id=on, now=now, idle_min=settings.idle_min):
        return Visit(any_people, None, tablet)
    return Visit(any_people, person, tablet, touch=now - session.seen_at >= TOUCH_EVERY)


def touch(session_token: str, *, start_work: StartWork, clock: Clock, secrets: Secrets) -> None:
    """Mark the session as used just now."""
    with start_work() as work:
        work.people.touch_session(secrets.digest(session_token), clock())
        work.commit()
