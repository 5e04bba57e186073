"""People, tablets and pairing on the terminal; and who may sign there."""

from __future__ import annotations

import io
import json
import re
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
import typer

from trayside import bootstrap
from trayside.app.pairing import pair
from trayside.cli import commands
from trayside.cli.toolbox import Toolbox
from trayside.files.datapackage import write_datapackage
from trayside.files.yard_folder import read_yard_folder
from trayside.store.connection import open_store
from trayside.store.secrets_argon2 import Argon2Secrets

PIN = "193746"
PAGE = Path(__file__).resolve().parents[3] / "docs" / "commands.md"


@pytest.fixture(scope="module")
def empty_store(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("people") / "yard.sqlite"
    open_store(path).dispose()
    return path


@pytest.fixture
def store(empty_store, tmp_path) -> Path:
    return Path(shutil.copy(empty_store, tmp_path / "yard.sqlite"))


@pytest.fixture
def served() -> list[dict]:
    return []


@pytest.fixture
def toolbox(served) -> Toolbox:
    return Toolbox(
        open_store=bootstrap.open_store,
        read_folder=read_yard_folder,
        describe_folder=write_datapackage,
        papers=None,
        serve=lambda start_work, host, port: served.append({"host": host, "port": port}),
        clock=lambda: datetime(2031, 5, 4, 7, 30, tzinfo=UTC),
        make_id=bootstrap.make_id,
        demo_folder=bootstrap.DEMO_FOLDER,
        write_docs=lambda folder: [],
        secrets=Argon2Secrets(passes=1, memory_kib=8, lanes=1),
        serve_lan=lambda start_work, **how: served.append(how),
    )


@pytest.fixture
def run(toolbox, store, capsys, monkeypatch):
    """One command on the store, with what is typed on standard input."""

    def running(*arguments: str, typed: str = "") -> tuple[int, str, str]:
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        code = commands.run(toolbox, [*arguments, "--store", str(store)])
        out, err = capsys.readouterr()
        return code, out, err

    return running


def add(run, name: str, role: str, pin: str = PIN):
    return run("people", "add", name, "--role", role, "--pin-stdin", typed=f"{pin}\n")


def test_people_are_added_listed_and_disabled(run):
    assert add(run, "Lea", "lead") == (0, "Lea may sign in as lead.\n", "")
    assert add(run, "Otto", "OPERATOR")[0] == 0
    code, out, _ = run("people", "list", "--json")
    assert code == 0
    assert [(one["name"], one["role"], one["active"]) for one in json.loads(out)] == [
        ("Lea", "lead", True),
        ("Otto", "operator", True),
    ]
    assert "hash" not in out
    assert run("people", "disable", "otto")[0] == 0
    assert "Otto: operator, disabled" in run("people", "list")[1]


def test_a_pin_asked_on_the_terminal_is_asked_twice_and_never_shown(run, monkeypatch):
    asked = []

    def answers(text, **how):
        asked.append((text, how))
        return PIN

    monkeypatch.setattr(typer, "prompt", answers)
    code, out, err = run("people", "add", "Lea", "--role", "lead")
    assert code == 0
    assert PIN not in out + err
    [(_, how)] = asked
    assert how["hide_input"]
    assert how["confirmation_prompt"]


@pytest.mark.parametrize(
    ("name", "role", "pin", "code", "told"),
    [
        ("Otto", "operator", PIN, 5, "the first person must be a lead"),
        ("Lea", "boss", PIN, 2, "there is no role"),
        ("Lea", "lead", "1234", 2, "6 to 12 digits"),
        ("Lea", "lead", "", 2, "6 to 12 digits"),
        (" ", "lead", PIN, 2, "there is no name"),
    ],
)
def test_somebody_who_cannot_be_added_is_refused_in_words(run, name, role, pin, code, told):
    answer = add(run, name, role, pin)
    assert answer[0] == code
    assert told in answer[2]
    assert run("people", "list")[1] == "Nobody has been added yet.\n"


def test_the_last_lead_cannot_be_disabled_and_nobody_unknown(run):
    add(run, "Lea", "lead")
    assert run("people", "disable", "Lea")[0] == 5
    assert run("people", "disable", "Nobody")[0] == 4


def test_a_new_pin_is_given(run):
    add(run, "Lea", "lead")
    assert run("people", "pin", "lea", "--pin-stdin", typed="482915\n")[1] == "Lea has a new PIN.\n"


def test_a_code_pairs_a_tablet_that_is_listed_and_revoked(run, toolbox, store):
    code, out, _ = run("pair")
    assert code == 0
    shown = re.match(r"[A-Z2-9]{4}-[A-Z2-9]{4}\n", out)[0]
    assert "until 07:40:00 UTC" in out
    pair(
        shown,
        tablet_name="Saw 1",
        address="10.0.0.1",
        start_work=toolbox.open_store(str(store)),
        clock=toolbox.clock,
        make_id=toolbox.make_id,
        secrets=toolbox.secrets,
    )
    assert "Saw 1: paired 2031-05-04 07:30 UTC" in run("tablets", "list")[1]
    assert json.loads(run("tablets", "list", "--json")[1])[0]["revoked_at"] is None
    assert run("tablets", "revoke", "saw 1")[0] == 0
    assert "revoked" in run("tablets", "list")[1]
    assert run("tablets", "revoke", "Saw 1")[0] == 4


def test_limits_are_shown_and_changed_within_bounds(run):
    assert "session_h=14\n" in run("people", "limits")[1]
    assert json.loads(run("people", "limits", "session_h=9", "--json")[1])["session_h"] == 9
    assert "session_h=9\n" in run("people", "limits")[1]
    for wrong in ("session_h", "session_h=0", "session_h=-1", "colour=1", "session_h=٣"):
        assert run("people", "limits", wrong)[0] == 2


def issue(run, name: str, typed: str = ""):
    return run("issue", "K-1", "--by", name, "--pin-stdin", typed=typed)


def test_once_there_are_people_a_signature_on_the_terminal_needs_their_pin(run):
    assert "K-1" in issue(run, "Anybody")[2]  # no people: it gets as far as the hole, which is not there
    add(run, "Lea", "lead")
    add(run, "Otto", "operator")
    for name, typed in (("Anybody", f"{PIN}\n"), ("Lea", "193747\n"), ("Lea", "")):
        code, _, err = issue(run, name, typed)
        assert code == 5
        assert "do not go together" in err
    assert "who may not issue" in issue(run, "Otto", f"{PIN}\n")[2]
    assert issue(run, "Lea", f"{PIN}\n")[0] == 4  # let through, to the hole that is not there


def test_serve_stays_on_this_machine_unless_lan_is_asked_for(run, served, store, tmp_path):
    run("serve")
    run("serve", "--lan", "--address", "10.1.2.3", "--address", "10.1.2.4", "--port", "9000")
    run("serve", "--lan", "--keys", str(tmp_path / "k"))
    assert served == [
        {"host": "127.0.0.1", "port": 8377},
        {"addresses": ("10.1.2.3", "10.1.2.4"), "port": 9000, "keys": store.parent / "keys"},
        {"addresses": (), "port": 8377, "keys": tmp_path / "k"},
    ]


def test_every_command_here_is_on_the_page_with_its_options(toolbox):
    rows = {
        row[1].strip(" `"): row[2]
        for row in (line.split("|") for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| `"))
    }
    tree = typer.main.get_command(commands.build(toolbox)).commands
    for group in ("people", "tablets"):
        for name, command in tree[group].commands.items():
            options = {option for one in command.params for option in one.opts if option.startswith("--")}
            assert set(re.findall(r"--[a-z-]+", rows[f"{group} {name}"])) == options - {"--help"}, name


def test_the_demo_adds_one_person_a_role_with_pins_that_are_shown_once(toolbox, tmp_path, capsys):
    from trayside.cli.demo_run import _add_people

    start_work = toolbox.open_store(str(tmp_path / "demo.sqlite"))
    _add_people(toolbox, start_work)
    out = capsys.readouterr().out
    told = re.findall(r"  (Demo \w+): (\d{6})\n", out)
    with start_work(writing=False) as work:
        people = {person.name: person.role for person in work.people.people()}
        hashes = {name: work.people.named(name.casefold()).pin_hash for name, _ in told}
    assert people == {f"Demo {role}": role for role in ("lead", "operator", "geologist", "QC", "viewer")}
    assert len({pin for _, pin in told}) == 5
    assert all(toolbox.secrets.pin_matches(hashes[name], pin) for name, pin in told)
