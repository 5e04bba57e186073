"""People, sessions, tablets, pairing codes and wrong tries."""

from __future__ import annotations

import json
from datetime import datetime

from sqlalchemy import Connection, delete, insert, select, update

from trayside.model.lockout import Tries
from trayside.model.person import NamedHash, Person
from trayside.model.tablet import PairingCode, Session, Tablet

from .schema import PAIRING_CODES, PEOPLE, PERSON_SESSIONS, TABLETS, WRONG_TRIES, YARD_SETTINGS
from .yard_rows import SET_SETTING

SETTING = "access"
PERSON = (PEOPLE.c.person_id, PEOPLE.c.name, PEOPLE.c.role, PEOPLE.c.active)
TABLET = (TABLETS.c.tablet_id, TABLETS.c.name, TABLETS.c.paired_at, TABLETS.c.paired_by, TABLETS.c.revoked_at)
SESSION = (
    PERSON_SESSIONS.c.token_digest,
    PERSON_SESSIONS.c.person_id,
    PERSON_SESSIONS.c.tablet_id,
    PERSON_SESSIONS.c.created_at,
    PERSON_SESSIONS.c.seen_at,
    PERSON_SESSIONS.c.ends_at,
)
CODE = (
    PAIRING_CODES.c.code_id,
    PAIRING_CODES.c.code_hash,
    PAIRING_CODES.c.made_at,
    PAIRING_CODES.c.made_by,
    PAIRING_CODES.c.ends_at,
    PAIRING_CODES.c.used_at,
)


class SqlPeople:
    """`app.people_ports.PeopleRows` inside one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # people

    def any_people(self) -> bool:
        return self._connection.execute(select(PEOPLE.c.person_id).limit(1)).first() is not None

    def people(self) -> tuple[Person, ...]:
        return tuple(Person(*row) for row in self._connection.execute(select(*PERSON).order_by(PEOPLE.c.name_key)))

    def named(self, name_key: str) -> NamedHash | None:
        wanted = select(*PERSON, PEOPLE.c.pin_hash).where(PEOPLE.c.name_key == _storable(name_key))
        row = self._connection.execute(wanted).one_or_none()
        return None if row is None else NamedHash(Person(*row[:-1]), row[-1])

    def add_person(self, person: Person, *, name_key: str, pin_hash: str, added_at: datetime) -> None:
        self._connection.execute(
            insert(PEOPLE).values(
                person_id=person.person_id,
                name=person.name,
                name_key=name_key,
                role=person.role,
                active=person.active,
                pin_hash=pin_hash,
                added_at=added_at,
            )
        )

    def set_role(self, person_id: str, role: str) -> None:
        self._connection.execute(update(PEOPLE).where(PEOPLE.c.person_id == person_id).values(role=role))

    def set_active(self, person_id: str, active: bool) -> None:
        self._connection.execute(update(PEOPLE).where(PEOPLE.c.person_id == person_id).values(active=active))

    def set_pin(self, person_id: str, pin_hash: str) -> None:
        self._connection.execute(update(PEOPLE).where(PEOPLE.c.person_id == person_id).values(pin_hash=pin_hash))

    # wrong tries

    def tries(self, subject: str) -> Tries:
        wanted = select(WRONG_TRIES.c.failures, WRONG_TRIES.c.last_at).where(WRONG_TRIES.c.subject == subject)
        row = self._connection.execute(wanted).one_or_none()
        return Tries() if row is None else Tries(*row)

    def set_tries(self, subject: str, tries: Tries) -> None:
        self._connection.execute(delete(WRONG_TRIES).where(WRONG_TRIES.c.subject == subject))
        if tries.failures:
            values = {"subject": subject, "failures": tries.failures, "last_at": tries.last_at}
            self._connection.execute(insert(WRONG_TRIES).values(values))

    def forget_tries(self, *, before: datetime) -> None:
        self._connection.execute(delete(WRONG_TRIES).where(WRONG_TRIES.c.last_at < before))

    # sessions

    def add_session(self, session: Session) -> None:
        values = {column.name: getattr(session, column.name) for column in SESSION}
        self._connection.execute(insert(PERSON_SESSIONS).values(values))

    def session(self, token_digest: str) -> tuple[Session, Person] | None:
        wanted = (
            select(*SESSION, *PERSON)
            .join(PEOPLE, PEOPLE.c.person_id == PERSON_SESSIONS.c.person_id)
            .where(PERSON_SESSIONS.c.token_digest == token_digest)
        )
        row = self._connection.execute(wanted).one_or_none()
        return None if row is None else (Session(*row[: len(SESSION)]), Person(*row[len(SESSION) :]))

    def touch_session(self, token_digest: str, seen_at: datetime) -> None:
        mine = PERSON_SESSIONS.c.token_digest == token_digest
        self._connection.execute(update(PERSON_SESSIONS).where(mine).values(seen_at=seen_at))

    def end_session(self, token_digest: str) -> None:
        self._connection.execute(delete(PERSON_SESSIONS).where(PERSON_SESSIONS.c.token_digest == token_digest))

    def end_sessions(self, *, person_id: str | None = None, tablet_id: str | None = None) -> None:
        """Those of a person, or those on a tablet."""
        if person_id is not None:
            self._connection.execute(delete(PERSON_SESSIONS).where(PERSON_SESSIONS.c.person_id == person_id))
        if tablet_id is not None:
            self._connection.execute(delete(PERSON_SESSIONS).where(PERSON_SESSIONS.c.tablet_id == tablet_id))

    def end_old_sessions(self, *, before: datetime) -> None:
        self._connection.execute(delete(PERSON_SESSIONS).where(PERSON_SESSIONS.c.ends_at < before))

    # tablets

    def add_tablet(self, tablet: Tablet, *, name_key: str, token_digest: str) -> None:
        values = {column.name: getattr(tablet, column.name) for column in TABLET}
        self._connection.execute(insert(TABLETS).values(**values, name_key=name_key, token_digest=token_digest))

    def tablets(self) -> tuple[Tablet, ...]:
        wanted = select(*TABLET).order_by(TABLETS.c.paired_at, TABLETS.c.tablet_id)
        return tuple(Tablet(*row) for row in self._connection.execute(wanted))

    def tablet_named(self, name_key: str) -> Tablet | None:
        mine = (TABLETS.c.name_key == _storable(name_key)) & TABLETS.c.revoked_at.is_(None)
        row = self._connection.execute(select(*TABLET).where(mine)).one_or_none()
        return None if row is None else Tablet(*row)

    def tablet_holding(self, token_digest: str) -> Tablet | None:
        row = self._connection.execute(select(*TABLET).where(TABLETS.c.token_digest == token_digest)).one_or_none()
        return None if row is None else Tablet(*row)

    def revoke_tablet(self, tablet_id: str, at: datetime) -> None:
        self._connection.execute(update(TABLETS).where(TABLETS.c.tablet_id == tablet_id).values(revoked_at=at))

    # pairing codes

    def add_code(self, code: PairingCode) -> None:
        values = {column.name: getattr(code, column.name) for column in CODE}
        self._connection.execute(insert(PAIRING_CODES).values(values))

    def newest_code(self) -> PairingCode | None:
        newest = select(*CODE).order_by(PAIRING_CODES.c.made_at.desc(), PAIRING_CODES.c.code_id.desc()).limit(1)
        row = self._connection.execute(newest).one_or_none()
        return None if row is None else PairingCode(*row)

    def use_code(self, code_id: str, *, tablet_id: str, at: datetime) -> None:
        mine = PAIRING_CODES.c.code_id == code_id
        self._connection.execute(update(PAIRING_CODES).where(mine).values(used_at=at, tablet_id=tablet_id))

    # settings

    def access_settings(self) -> dict[str, int]:
        wanted = select(YARD_SETTINGS.c.value).where(YARD_SETTINGS.c.name == SETTING)
        held = self._connection.execute(wanted).scalar_one_or_none()
        return {} if held is None else json.loads(held)

    def set_access_settings(self, values: dict[str, int]) -> None:
        self._connection.execute(SET_SETTING, {"name": SETTING, "value": json.dumps(values)})


def _storable(name_key: str) -> str:
    """No stored name holds what a database cannot: such a name is simply unknown."""
    return "".join(letter for letter in name_key if letter != "\0" and not "\ud800" <= letter <= "\udfff")
