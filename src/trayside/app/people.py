"""Add people, give them new PINs and other roles, disable them. The first one is always a lead."""

from __future__ import annotations

from dataclasses import asdict

from trayside.app.people_ports import PeopleRows, Secrets
from trayside.app.ports import Clock, MakeId, StartWork, Work
from trayside.errors import NotFound, RefusedByRule
from trayside.model.access_settings import AccessSettings, checked_settings
from trayside.model.lockout import Tries
from trayside.model.person import Person, checked_name, checked_pin, checked_role, name_key


def add_person(
    name: str, *, role: str, pin: str, start_work: StartWork, clock: Clock, make_id: MakeId, secrets: Secrets
) -> Person:
    """Somebody new. Refused when the name is taken, also by somebody disabled: names stand under what was signed."""
    return _added(name, role, pin, start_work, clock, make_id, secrets, first=False)


def add_first_lead(
    name: str, *, pin: str, start_work: StartWork, clock: Clock, make_id: MakeId, secrets: Secrets
) -> Person:
    """The first person of the yard. Refused once there is anybody."""
    return _added(name, "lead", pin, start_work, clock, make_id, secrets, first=True)


def _added(
    name: str,
    role: str,
    pin: str,
    start_work: StartWork,
    clock: Clock,
    make_id: MakeId,
    secrets: Secrets,
    *,
    first: bool,
) -> Person:
    person = Person(make_id(), checked_name(name), checked_role(role), True)
    pin_hash = secrets.hash_pin(checked_pin(pin))
    with start_work() as work:
        if first and work.people.any_people():
            raise RefusedByRule("there are people already", where="people", remedy="Sign in as a lead and add more")
        if not work.people.any_people() and person.role != "lead":
            raise RefusedByRule("the first person must be a lead", where=person.name, remedy="Add a lead first")
        taken = work.people.named(name_key(person.name))
        if taken is not None:
            state = "" if taken.person.active else " and disabled"
            raise RefusedByRule(
                f"{taken.person.name} is there already{state}",
                where="people",
                remedy="Choose a name that tells them apart",
            )
        work.people.add_person(person, name_key=name_key(person.name), pin_hash=pin_hash, added_at=clock())
        work.commit()
    return person


def disable_person(name: str, *, start_work: StartWork) -> Person:
    """They can no longer sign in; what they signed stays. The last lead cannot be disabled."""
    with start_work() as work:
        person = _found(work.people, name)
        leads = [one for one in work.people.people() if one.active and one.role == "lead"]
        if leads == [person]:
            raise RefusedByRule("this is the last lead", where=person.name, remedy="Add another lead first")
        work.people.set_active(person.person_id, False)
        work.people.end_sessions(person_id=person.person_id)
        work.commit()
    return Person(person.person_id, person.name, person.role, False)


def change_role(name: str, *, role: str, start_work: StartWork) -> Person:
    """Another role from now on; signed out everywhere, so that no open screen keeps the old one. A lead must be left."""
    wanted = checked_role(role)
    with start_work() as work:
        person = _found(work.people, name)
        leads = [one for one in work.people.people() if one.active and one.role == "lead"]
        if leads == [person] and wanted != "lead":
            raise RefusedByRule("this is the last lead", where=person.name, remedy="Add another lead first")
        if person.role != wanted:
            work.people.set_role(person.person_id, wanted)
            work.people.end_sessions(person_id=person.person_id)
            work.commit()
    return Person(person.person_id, person.name, wanted, person.active)


def new_pin(name: str, *, pin: str, start_work: StartWork, secrets: Secrets) -> Person:
    """A new PIN in place of the old; opens a name that was shut, and signs it out everywhere."""
    pin_hash = secrets.hash_pin(checked_pin(pin))
    with start_work() as work:
        person = _found(work.people, name)
        work.people.set_pin(person.person_id, pin_hash)
        work.people.set_active(person.person_id, True)
        work.people.set_tries(name_subject(person.name, secrets), Tries())
        work.people.end_sessions(person_id=person.person_id)
        work.commit()
    return Person(person.person_id, person.name, person.role, True)


def name_subject(name: str, secrets: Secrets) -> str:
    """What wrong tries for a name are counted under, known or not; the name itself may be a PIN typed in the wrong box."""
    return f"name {secrets.digest(name_key(name))}"


def settings_of(work: Work) -> AccessSettings:
    """The settings of signing in and pairing."""
    return checked_settings(work.people.access_settings())


def change_settings(changes: dict[str, int], *, start_work: StartWork) -> AccessSettings:
    """Change some of them; what was not named stays."""
    with start_work() as work:
        settings = checked_settings(work.people.access_settings() | changes)
        if changes:
            work.people.set_access_settings(asdict(settings))
            work.commit()
    return settings


def _found(rows: PeopleRows, name: str) -> Person:
    known = rows.named(name_key(name))
    if known is None:
        raise NotFound(f"there is nobody named {name[:80]!r}", where="people", remedy="Look at the list of people")
    return known.person
