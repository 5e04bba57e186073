"""Pair a tablet with a one-time code; list and revoke paired tablets."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from trayside.app.people import settings_of
from trayside.app.people_ports import Secrets
from trayside.app.ports import Clock, MakeId, StartWork
from trayside.app.sign_in import LONGEST_TYPED, count_try
from trayside.errors import NotFound, RefusedByRule, SignInRefused
from trayside.model.lockout import given_back
from trayside.model.person import checked_name, name_key
from trayside.model.tablet import PairingCode, Tablet, code_as_typed


@dataclass(frozen=True, slots=True)
class NewCode:
    """The code is shown once, to whoever asked for it."""

    code: str
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class Paired:
    """The token goes to the tablet and nowhere else."""

    tablet: Tablet
    token: str


def make_code(*, made_by: str, start_work: StartWork, clock: Clock, make_id: MakeId, secrets: Secrets) -> NewCode:
    """A code for one tablet. An older one that was not used stops working."""
    code = secrets.new_code()
    code_hash = secrets.hash_pin(code)
    with start_work() as work:
        now = clock()
        ends_at = now + timedelta(minutes=settings_of(work).code_min)
        work.people.add_code(PairingCode(make_id(), code_hash, now, made_by, ends_at))
        work.commit()
    return NewCode(code, ends_at)


def pair(
    typed: str,
    *,
    tablet_name: str,
    address: str,
    start_work: StartWork,
    clock: Clock,
    make_id: MakeId,
    secrets: Secrets,
) -> Paired:
    """Let the tablet in, or SignInRefused in words; tries are counted for the address before the code is looked at."""
    name = checked_name(tablet_name, whose="tablet")
    code = code_as_typed(typed[:LONGEST_TYPED])
    subject = f"pairing {address}"
    with start_work() as work:
        now = clock()
        count_try(work, {subject: settings_of(work).address_limits}, now, {subject: "this device"})
        newest = work.people.newest_code()
        work.commit()
    live = newest is not None and newest.used_at is None and now < newest.ends_at
    if not secrets.pin_matches(newest.code_hash if live else secrets.nobody_hash, code) or not live:
        raise SignInRefused(
            "this code does not work", where="pairing", remedy="Check each letter, or ask a lead for a new code"
        )
    token = secrets.new_token()
    tablet = Tablet(make_id(), name, now, newest.made_by)
    with start_work() as work:
        work.people.set_tries(subject, given_back(work.people.tries(subject)))
        if work.people.newest_code() != newest:
            raise SignInRefused("this code was used a moment ago", where="pairing", remedy="Ask a lead for a new code")
        if work.people.tablet_named(name_key(name)) is not None:
            raise RefusedByRule(
                f"a tablet named {name} is paired already",
                where="pairing",
                remedy="Choose another name, or let a lead revoke the old one",
            )
        work.people.add_tablet(tablet, name_key=name_key(name), token_digest=secrets.digest(token))
        work.people.use_code(newest.code_id, tablet_id=tablet.tablet_id, at=now)
        work.commit()
    return Paired(tablet, token)


def revoke_tablet(name: str, *, start_work: StartWork, clock: Clock) -> Tablet:
    """The tablet is let in no more, and whoever is signed in on it is signed out."""
    with start_work() as work:
        tablet = work.people.tablet_named(name_key(name))
        if tablet is None:
            raise NotFound(
                f"no tablet named {name[:80]!r} is paired", where="tablets", remedy="Look at the list of tablets"
            )
        work.people.revoke_tablet(tablet.tablet_id, clock())
        work.people.end_sessions(tablet_id=tablet.tablet_id)
        work.commit()
    return tablet
