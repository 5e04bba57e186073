"""The road to the laboratory on the terminal: packed, sealed, sent, handed over, and the received list held against it."""

from __future__ import annotations

import io
import json
import re
import shutil
import sys
from datetime import timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "web"))  # for web_yard.py
sys.path.insert(0, str(Path(__file__).parents[2] / "faults"))  # for road_yard.py

from road_yard import HOLE, RoadYard

from trayside import bootstrap
from trayside.app.load_view import view_load
from trayside.app.people import add_person
from trayside.cli import commands
from trayside.cli.toolbox import Toolbox
from trayside.files.datapackage import write_datapackage
from trayside.files.received_list import read_received
from trayside.files.yard_folder import read_yard_folder
from trayside.store.connection import open_store
from trayside.store.secrets_argon2 import Argon2Secrets

PIN = "193746"


class NotePapers:
    def dispatch_note(self, view) -> bytes:
        return f"note {view.load.load_id}".encode()

    def laboratory_copy(self, view) -> bytes:
        return f"list {view.load.load_id}".encode()


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("loads")
    engine = open_store(folder / "yard.sqlite")
    yard = RoadYard(engine)
    yard.issue(folder / "yard").work_through()
    engine.dispose()
    return folder / "yard.sqlite", yard.now, yard.made


@pytest.fixture
def yard(template, tmp_path):
    path, now, made = template
    engine = open_store(shutil.copy(path, tmp_path / "yard.sqlite"))
    yard = RoadYard(engine)
    yard.now, yard.made = now + timedelta(hours=1), made
    yield yard
    engine.dispose()


@pytest.fixture
def run(yard, tmp_path, capsys, monkeypatch):
    """Run one command on the yard: (exit code, standard output, standard error)."""
    monkeypatch.setenv("TRAYSIDE_STORE", str(tmp_path / "yard.sqlite"))
    toolbox = Toolbox(
        open_store=bootstrap.open_store, read_folder=read_yard_folder, describe_folder=write_datapackage, papers=NotePapers(),
        serve=None, clock=yard.clock, make_id=yard.make_id, demo_folder=bootstrap.DEMO_FOLDER, write_docs=lambda folder: [],
        secrets=Argon2Secrets(passes=1, memory_kib=8, lanes=1), read_received=read_received,
    )  # fmt: skip

    def one(*arguments: str, typed: str = "") -> tuple[int, str, str]:
        if typed:
            monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        code = commands.run(toolbox, list(arguments))
        said = capsys.readouterr()
        return code, said.out, said.err

    return one


def packed(run) -> list[str]:
    code, out, err = run("dispatch", HOLE, "--by", "Ada", "--laboratory", "A laboratory", "--method", "fire assay", "--json")
    assert (code, err) == (0, "")
    return [sack["sack"] for sack in json.loads(out)["sacks"]]


def sent(run) -> dict:
    seals = [word for place, sack in enumerate(packed(run)) for word in ("--seal", f"{sack}=Z-{place}")]
    code, out, err = run("dispatch", "--load", "LD-0001", "--by", "Ada", *seals, "--send", "--statement", "looked", "--json")
    assert (code, err) == (0, "")
    return json.loads(out)


def given(run, yard) -> None:
    at = f"{yard.clock():%Y-%m-%d %H:%M}"
    assert run("hand-over", "LD-0001", "--by", "Ada", "--from", "Ada", "--to", "Laboratory desk", "--place", "door", "--at", at,
               "--seals", "whole")[0] == 0  # fmt: skip


def test_holes_become_sacks_on_a_new_load_in_ticket_order(run):
    code, out, _ = run("dispatch", HOLE, "--by", "Ada", "--laboratory", "A laboratory", "--method", "fire assay")
    assert code == 0
    assert out.startswith("LD-0001 to A laboratory:")
    assert "seal none" in out
    assert "A sack without a seal" in out or "no seal was entered" in out
    firsts = re.findall(r"bags (T\d+)-(T\d+)", out)
    assert firsts == sorted(firsts)
    again = run("dispatch", HOLE, "--by", "Ada", "--laboratory", "A laboratory")
    assert again[0] != 0
    assert "no closed tray of these holes waits for a sack" in again[2].casefold()


def test_what_is_wrong_about_a_request_is_said_before_anything_is_packed(run, yard):
    code, _, err = run("dispatch", HOLE, "--by", "Ada")
    assert code != 0
    assert "no laboratory is named" in err.casefold()
    with yard.start_work(writing=False) as work:
        assert work.loads.sacks() == ()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--by", "Ada"), "name holes or a load"),
        ((HOLE, "--load", "LD-0001", "--by", "Ada"), "name holes or a load"),
        (("--load", "LD-0099", "--by", "Ada"), "there is no such load"),
        (("NO-1", "--by", "Ada", "--laboratory", "x"), "no-1"),
        ((HOLE, "--by", "Ada", "--laboratory", "x", "--way", "somehow"), "no way"),
    ],
)
def test_a_dispatch_that_cannot_be_is_refused_in_words(run, words, told):
    code, _, err = run("dispatch", *words)
    assert code != 0
    assert told in err.casefold()


def test_seals_are_entered_and_the_load_is_sent_with_the_ledgers_hash(run):
    told = sent(run)
    assert told["sent_at"]
    assert re.fullmatch(r"[0-9a-f]{64}", told["ledger_hash"])
    assert {sack["state"] for sack in told["sacks"]} == {"loaded"}
    assert run("ledger", "verify", "--hash", told["ledger_hash"])[0] == 0


def test_an_unsealed_sack_keeps_the_load(run):
    packed(run)
    code, _, err = run("dispatch", "--load", "LD-0001", "--by", "Ada", "--send", "--statement", "x")
    assert code != 0
    assert "must be settled" in err


def test_a_seal_without_its_sack_is_refused(run):
    packed(run)
    code, _, err = run("dispatch", "--load", "LD-0001", "--by", "Ada", "--seal", "Z-1")
    assert code != 0
    assert "is no pair" in err


def test_the_papers_are_written_and_the_laboratorys_list_tells_no_kind(run, tmp_path):
    packed(run)
    code, out, _ = run("dispatch", "--load", "LD-0001", "--by", "Ada", "--papers", str(tmp_path / "papers"), "--json")
    assert code == 0
    names = {Path(path).name for path in json.loads(out)["papers"]}
    assert names == {"LD-0001-dispatch-note.pdf", "LD-0001-sample-list.pdf", "LD-0001-sample-list.csv"}
    table = (tmp_path / "papers" / "LD-0001-sample-list.csv").read_text()
    assert table.startswith("line,number,sack,seal")
    assert not re.search(r"blank|standard|duplicate|STD|BLK", table)


def test_a_hand_over_tells_the_holders_and_a_gap(run, yard):
    sent(run)
    at = f"{yard.clock():%Y-%m-%d %H:%M}"
    words = ("hand-over", "LD-0001", "--by", "Ada", "--to", "Driver", "--place", "gate", "--at", at)
    code, out, _ = run(*words, "--from", "Ada", "--seals", "whole", "--json")
    told = json.loads(out)
    assert (code, told["holder"], told["unbroken"], told["findings"]) == (0, "Driver", True, [])
    code, out, _ = run("hand-over", "LD-0001", "--by", "Ada", "--from", "A stranger", "--to", "Desk", "--place", "door", "--at",
                       f"{yard.clock():%Y-%m-%d %H:%M}", "--seals", "whole")  # fmt: skip
    assert code == 0
    assert "with a gap" in out
    assert run(*words, "--from", "Ada", "--seals", "maybe")[0] != 0
    assert run(*words[:-1], "soon", "--from", "Ada")[0] != 0


def received(yard, tmp_path, *, wrong: bool = False) -> tuple[Path, str, str]:
    with yard.start_work(writing=False) as work:
        bags = view_load(work, "LD-0001").bags
    number = bags[2].number
    read = number.replace("0", "O", 1) if wrong else number
    rows = [f"{read if bag.number == number else bag.number},{bag.mass_g * 0.98 / 1000:.3f}" for bag in bags]
    path = tmp_path / "received.csv"
    path.write_text("number,mass_kg\n" + "\n".join(rows) + "\n")
    return path, read, number


def test_a_received_list_is_compared_and_recorded_only_with_confirm(run, yard, tmp_path):
    sent(run)
    given(run, yard)
    path, read, number = received(yard, tmp_path, wrong=True)
    at = f"{yard.clock():%Y-%m-%d %H:%M}"
    words = ("receive", str(path), "--load", "LD-0001", "--by", "Ada", "--received-by", "Laboratory desk", "--at", at)
    code, out, _ = run(*words, "--json")
    told = json.loads(out)
    assert (code, told["recorded"], told["missing"], told["extra"]) == (0, False, [number], [read])
    assert told["suggestions"] == [{"read": read, "number": number, "clear": True}]
    with yard.start_work(writing=False) as work:
        assert work.loads.receipts("LD-0001") == ()
    code, out, _ = run(*words, "--take", f"{read}={number}", "--confirm")
    assert code == 0
    assert "0 missing, 0 not sent" in out
    assert "Recorded." in out
    with yard.start_work(writing=False) as work:
        assert view_load(work, "LD-0001").stands.state == "received"
    assert run(*words, "--confirm")[0] != 0


def test_a_list_that_is_not_there_or_no_list_is_told(run, yard, tmp_path):
    sent(run)
    words = ("--load", "LD-0001", "--by", "Ada", "--received-by", "Desk", "--at", "2031-05-04 09:30")
    code, _, err = run("receive", str(tmp_path / "none.csv"), *words)
    assert code != 0
    assert "the list cannot be read" in err.casefold()
    (tmp_path / "bad.csv").write_text("number,mass_kg\nK1,heavy\n")
    code, _, err = run("receive", str(tmp_path / "bad.csv"), *words)
    assert code != 0
    assert "this is no mass of a bag" in err


def test_once_there_are_people_the_name_is_proven_and_the_role_decides(run, yard):
    secrets = Argon2Secrets(passes=1, memory_kib=8, lanes=1)
    for name, role in (("Lea", "lead"), ("Otto", "operator")):
        add_person(name, role=role, pin=PIN, start_work=yard.start_work, clock=yard.clock, make_id=yard.make_id, secrets=secrets)
    words = ("dispatch", HOLE, "--laboratory", "A laboratory", "--method", "fire assay", "--pin-stdin")
    code, _, err = run(*words, "--by", "Otto", typed=f"{PIN}\n")
    assert code != 0
    assert "may not dispatch" in err
    assert run(*words, "--by", "Lea", typed="000000\n")[0] != 0
    assert run(*words, "--by", "Lea", typed=f"{PIN}\n")[0] == 0
