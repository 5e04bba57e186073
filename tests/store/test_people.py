"""People, sessions, tablets and codes on both databases, through the use cases."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count

import pytest
from sqlalchemy import inspect

from trayside.app.pairing import make_code, pair, revoke_tablet
from trayside.app.people import add_first_lead, add_person, change_role, change_settings, disable_person, new_pin
from trayside.app.sign_in import sign_in, sign_out, touch, visit
from trayside.errors import ImpossibleValue, NotFound, RefusedByRule, SignInRefused
from trayside.model.tablet import code_in_groups
from trayside.store.secrets_argon2 import Argon2Secrets
from trayside.store.work import SqlWork

START = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
PIN = "193746"
SCRIPT = "<script>alert('yard')</script>"


class Yard:
    def __init__(self, engine) -> None:
        self.engine, self.now, self._ids = engine, START, count(1)
        self.secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)

    def start_work(self, *, writing: bool = True) -> SqlWork:
        return SqlWork(self.engine, writing=writing)

    def clock(self) -> datetime:
        return self.now

    def make_id(self) -> str:
        return f"id-{next(self._ids)}"

    @property
    def all(self) -> dict:
        return {"start_work": self.start_work, "clock": self.clock, "secrets": self.secrets}

    def add(self, name: str, role: str = "lead", pin: str = PIN):
        return add_person(name, role=role, pin=pin, make_id=self.make_id, **self.all)

    def sign_in(self, name: str, pin: str = PIN, tablet_id: str | None = None) -> str:
        return sign_in(name, pin=pin, address="10.0.0.1", tablet_id=tablet_id, **self.all).token

    def visit(self, session: str | None = None, tablet: str | None = None):
        return visit(session_token=session, tablet_token=tablet, **self.all)

    def code(self) -> str:
        return make_code(made_by="Ada", make_id=self.make_id, **self.all).code

    def pair(self, code: str, name: str = "Saw 1"):
        return pair(code, tablet_name=name, address="10.0.0.9", make_id=self.make_id, **self.all)

    def revoke(self, name: str) -> None:
        revoke_tablet(name, start_work=self.start_work, clock=self.clock)

    def names(self) -> list[str]:
        with self.start_work(writing=False) as work:
            return [person.name for person in work.people.people()]


@pytest.fixture
def yard(engine) -> Yard:
    return Yard(engine)


@pytest.fixture
def staffed(yard) -> Yard:
    yard.add("Ada")
    yard.add("Ben", "operator")
    return yard


def test_the_first_person_must_be_a_lead(yard):
    with pytest.raises(RefusedByRule, match="first person must be a lead"):
        yard.add("Ben", "operator")
    assert not yard.visit().any_people
    assert add_first_lead("Ada", pin=PIN, make_id=yard.make_id, **yard.all).role == "lead"
    with pytest.raises(RefusedByRule, match="people already"):
        add_first_lead("Eve", pin=PIN, make_id=yard.make_id, **yard.all)
    assert yard.names() == ["Ada"]


@pytest.mark.parametrize("name", ["ada", " ADA ", "\uff21da"])
def test_a_name_is_given_once_also_after_it_was_disabled(staffed, name):
    staffed.add("Eve")
    disable_person("Ada", start_work=staffed.start_work)
    with pytest.raises(RefusedByRule, match="there already and disabled"):
        staffed.add(name)


@pytest.mark.parametrize("name", [SCRIPT, "../../etc/passwd", "'; DROP TABLE people; --", "Zoë 💎", "%s {x}"])
def test_any_text_may_be_a_name_and_stays_what_it_is(staffed, name):
    staffed.add(name, "viewer")
    assert name in staffed.names()
    assert staffed.visit(staffed.sign_in(name)).person.name == name


def test_pins_and_tokens_are_nowhere_in_the_database(staffed):
    token, code = staffed.sign_in("Ada"), staffed.code()
    paired = staffed.pair(code)
    held = []
    with staffed.engine.connect() as connection:
        for table in ("people", "tablets", "person_sessions", "pairing_codes", "wrong_tries"):
            assert inspect(connection).has_table(table)
            held += [str(row) for row in connection.exec_driver_sql(f"SELECT * FROM {table}")]
    everything = "\n".join(held)
    assert "$argon2id$" in everything
    for secret in (PIN, token, code, code_in_groups(code), paired.token):
        assert secret not in everything


def test_the_last_lead_stays(staffed):
    with pytest.raises(RefusedByRule, match="last lead"):
        disable_person("Ada", start_work=staffed.start_work)
    staffed.add("Eve")
    disable_person("Ada", start_work=staffed.start_work)
    with pytest.raises(RefusedByRule, match="last lead"):
        disable_person("Eve", start_work=staffed.start_work)


def test_who_is_disabled_is_signed_out_at_once_and_cannot_come_back(staffed):
    token = staffed.sign_in("Ben")
    assert staffed.visit(token).person.name == "Ben"
    disable_person("ben", start_work=staffed.start_work)
    assert staffed.visit(token).person is None
    with pytest.raises(SignInRefused):
        staffed.sign_in("Ben")


def test_a_new_pin_takes_the_place_of_the_old_and_signs_out(staffed):
    token = staffed.sign_in("Ben")
    new_pin("Ben", pin="482915", start_work=staffed.start_work, secrets=staffed.secrets)
    assert staffed.visit(token).person is None
    with pytest.raises(SignInRefused):
        staffed.sign_in("Ben")
    assert staffed.visit(staffed.sign_in("Ben", "482915")).person.name == "Ben"


def test_a_name_that_is_not_there_is_said_so(staffed):
    with pytest.raises(NotFound):
        disable_person("Nobody", start_work=staffed.start_work)
    with pytest.raises(NotFound):
        new_pin("Nobody", pin=PIN, start_work=staffed.start_work, secrets=staffed.secrets)


def test_a_session_ends_when_its_time_is_up_even_when_it_is_used(staffed):
    token = staffed.sign_in("Ada")
    for _ in range(14 * 60 // 100):
        staffed.now += timedelta(minutes=100)
        assert staffed.visit(token).person.name == "Ada"
        touch(token, **staffed.all)
    staffed.now = START + timedelta(hours=14)
    assert staffed.visit(token).person is None


def test_a_session_ends_when_nobody_touches_it(staffed):
    token = staffed.sign_in("Ada")
    staffed.now += timedelta(minutes=239)
    assert staffed.visit(token).touch
    staffed.now += timedelta(minutes=1)
    assert staffed.visit(token).person is None


def test_a_session_used_just_now_is_not_marked_again(staffed):
    assert not staffed.visit(staffed.sign_in("Ada")).touch


def test_signing_out_ends_that_session_only(staffed):
    one, other = staffed.sign_in("Ada"), staffed.sign_in("Ada")
    sign_out(one, start_work=staffed.start_work, secrets=staffed.secrets)
    assert staffed.visit(one).person is None
    assert staffed.visit(other).person.name == "Ada"


def test_sessions_whose_time_is_up_are_swept_when_somebody_signs_in(staffed):
    staffed.sign_in("Ada")
    staffed.now += timedelta(days=2)
    staffed.sign_in("Ben")
    with staffed.engine.connect() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM person_sessions").scalar_one() == 1


@pytest.mark.parametrize("token", ["", "nonsense", "\ud800", "x" * 10_000])
def test_a_made_up_token_is_nobody(staffed, token):
    assert staffed.visit(token, token) == replace(staffed.visit(), touch=False)


def test_a_session_counts_only_on_the_tablet_it_was_made_on(staffed):
    one, other = staffed.pair(staffed.code()), staffed.pair(staffed.code(), "Saw 2")
    session = staffed.sign_in("Ben", tablet_id=one.tablet.tablet_id)
    assert staffed.visit(session, one.token).person.name == "Ben"
    assert staffed.visit(session, other.token).person is None
    assert staffed.visit(session).person is None
    assert staffed.visit(staffed.sign_in("Ben"), one.token).person is None


def test_a_code_works_once(staffed):
    code = staffed.code()
    assert staffed.visit(tablet=staffed.pair(code_in_groups(code).lower()).token).tablet.paired_by == "Ada"
    with pytest.raises(SignInRefused, match="does not work"):
        staffed.pair(code, "Saw 2")


def test_a_code_lives_for_minutes(staffed):
    code = staffed.code()
    staffed.now += timedelta(minutes=10)
    with pytest.raises(SignInRefused, match="does not work"):
        staffed.pair(code)


def test_a_newer_code_takes_the_place_of_an_unused_one(staffed):
    older, newer = staffed.code(), None
    staffed.now += timedelta(seconds=1)
    newer = staffed.code()
    with pytest.raises(SignInRefused):
        staffed.pair(older)
    assert staffed.pair(newer).tablet.name == "Saw 1"


def test_without_any_code_nothing_pairs(staffed):
    with pytest.raises(SignInRefused):
        staffed.pair("ABCD2345")


def test_two_tablets_do_not_share_a_name_and_the_code_is_not_lost_over_it(staffed):
    staffed.pair(staffed.code())
    code = staffed.code()
    with pytest.raises(RefusedByRule, match="paired already"):
        staffed.pair(code, "SAW  1")
    with pytest.raises(ImpossibleValue):
        staffed.pair(code, " ")
    assert staffed.pair(code, "Saw 2").tablet.name == "Saw 2"


def test_a_revoked_tablet_and_whoever_is_on_it_are_out_and_its_name_is_free(staffed):
    paired = staffed.pair(staffed.code())
    session = staffed.sign_in("Ben", tablet_id=paired.tablet.tablet_id)
    staffed.revoke("saw 1")
    seen = staffed.visit(session, paired.token)
    assert seen.tablet is None
    assert seen.person is None
    with pytest.raises(NotFound):
        staffed.revoke("Saw 1")
    assert staffed.visit(tablet=staffed.pair(staffed.code()).token).tablet.name == "Saw 1"


def test_settings_are_kept_and_used(staffed):
    assert change_settings({"session_h": 1}, start_work=staffed.start_work).idle_min == 240
    change_settings({"code_min": 2}, start_work=staffed.start_work)
    token, code = staffed.sign_in("Ada"), staffed.code()
    staffed.now += timedelta(minutes=2)
    with pytest.raises(SignInRefused):
        staffed.pair(code)
    staffed.now = START + timedelta(hours=1)
    assert staffed.visit(token).person is None
    with pytest.raises(ImpossibleValue):
        change_settings({"session_h": 0}, start_work=staffed.start_work)


def test_what_was_not_committed_did_not_happen(yard):
    with yard.start_work() as work:
        from trayside.model.person import Person

        work.people.add_person(Person("p", "Ada", "lead", True), name_key="ada", pin_hash="x", added_at=START)
    assert yard.names() == []


def test_argon2id_is_what_pins_are_hashed_with_by_default():
    hashed = Argon2Secrets().hash_pin(PIN)
    assert hashed.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert Argon2Secrets().pin_matches(hashed, PIN)
    assert not Argon2Secrets().pin_matches(hashed, PIN + "1")
    assert not Argon2Secrets().pin_matches("not a hash", PIN)


def test_made_up_pins_codes_and_tokens_do_not_repeat():
    secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)
    for make in (secrets.new_code, secrets.new_token):
        assert len({make() for _ in range(500)}) == 500
    assert len({secrets.new_pin() for _ in range(500)}) > 480


def test_another_role_holds_at_once_and_signs_the_person_out(yard):
    yard.add("Lea")
    yard.add("Otto", "operator")
    session = yard.sign_in("Otto")
    changed = change_role("otto", role="geologist", start_work=yard.start_work)
    assert (changed.name, changed.role) == ("Otto", "geologist")
    assert yard.visit(session).person is None, "an open screen must not keep the old role"
    assert yard.visit(yard.sign_in("Otto")).person.role == "geologist"


def test_the_last_lead_stays_lead_until_there_is_another(yard):
    yard.add("Lea")
    with pytest.raises(RefusedByRule, match="last lead"):
        change_role("Lea", role="viewer", start_work=yard.start_work)
    yard.add("Ben")
    assert change_role("Lea", role="viewer", start_work=yard.start_work).role == "viewer"
    with pytest.raises(RefusedByRule, match="last lead"):
        change_role("Ben", role="operator", start_work=yard.start_work)


@pytest.mark.parametrize(("name", "role", "error"), [("Nobody", "lead", NotFound), ("Lea", "king", ImpossibleValue)])
def test_a_role_change_that_cannot_be_is_refused(yard, name, role, error):
    yard.add("Lea")
    with pytest.raises(error):
        change_role(name, role=role, start_work=yard.start_work)
