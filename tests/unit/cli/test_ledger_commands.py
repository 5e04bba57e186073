"""`trayside ledger`: export, verify, exit codes, and what they say when the ledger was touched."""

from __future__ import annotations

import json
import sqlite3
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest

from trayside import bootstrap
from trayside.app.record_events import record
from trayside.cli import commands
from trayside.cli.ledger_commands import NOT_WHOLE
from trayside.cli.toolbox import Toolbox
from trayside.errors import NotFound, TraysideError
from trayside.files.datapackage import write_datapackage
from trayside.files.yard_folder import read_yard_folder
from trayside.model.ledger_chain import GENESIS

sys.path.insert(0, str(Path(__file__).parents[2] / "store"))
from ledger_yard import act


@pytest.fixture
def store(tmp_path) -> Path:
    path = tmp_path / "store.sqlite"
    events = [act("washed", "SAW-1", number, object_type="saw") for number in range(1, 8)]
    record(events, start_work=bootstrap.open_store(str(path)), clock=lambda: datetime(2031, 5, 4, 7, 30, tzinfo=UTC))
    return path


@pytest.fixture
def run(store, capsys):
    toolbox = Toolbox(
        open_store=bootstrap.open_store,
        read_folder=read_yard_folder,
        describe_folder=write_datapackage,
        papers=None,
        serve=lambda *_: None,
        clock=lambda: datetime(2031, 5, 4, 7, 30, tzinfo=UTC),
        make_id=bootstrap.make_id,
        demo_folder=bootstrap.DEMO_FOLDER,
        write_docs=lambda folder: [],
    )

    def one(*arguments: str, at: Path | None = store) -> tuple[int, str, str]:
        options = ["--store", str(at)] if at else []
        code = commands.run(toolbox, ["ledger", *arguments, *options])
        said = capsys.readouterr()
        return code, said.out, said.err

    return one


def test_a_whole_ledger_and_its_export_tell_the_same_hash(run, tmp_path):
    code, out, _ = run("verify")
    assert code == 0
    newest = out.split()[-1].rstrip(".")
    assert out == f"Whole: 7 events, newest hash {newest}.\n"
    export = tmp_path / "export.jsonl"
    assert run("export", str(export))[:2] == (0, f"7 events written to {export}.\n")
    assert not list(tmp_path.glob("*.part"))
    assert run("verify", "--file", str(export), "--hash", newest, at=None)[:2] == (0, out)
    lines = [json.loads(line) for line in export.read_text(encoding="utf-8").splitlines()]
    assert [line["record"]["seq"] for line in lines] == [1, 2, 3, 4, 5, 6, 7]
    assert (lines[0]["prev_hash"], lines[-1]["hash"]) == (GENESIS, newest)


def test_a_touched_store_ends_with_eight_and_so_does_its_export(run, store, tmp_path):
    connection = sqlite3.connect(store)
    connection.execute("DROP TRIGGER events_keep_delete")
    connection.execute("DELETE FROM events WHERE seq = 4")
    connection.commit()
    connection.close()
    code, out, _ = run("verify")
    assert code == NOT_WHOLE
    assert "missing row at event 4" in out
    code, out, _ = run("verify", "--json")
    report = json.loads(out)
    assert (code, report["whole"], report["events"]["fault"]["kind"]) == (NOT_WHOLE, False, "missing row")
    export = tmp_path / "export.jsonl"
    run("export", str(export))
    code, out, _ = run("verify", "--file", str(export), at=None)
    assert code == NOT_WHOLE
    assert "missing row at line 4, event 4" in out


def test_a_hash_that_is_not_in_the_ledger_is_told(run):
    code, out, _ = run("verify", "--hash", "0f" * 32)
    assert code == NOT_WHOLE
    assert "kept elsewhere" in out


@pytest.mark.parametrize("wrong", ["short", "0F" * 32, "zz" * 32])
def test_what_is_no_hash_is_refused(run, wrong):
    code, out, err = run("verify", "--hash", wrong)
    assert (code, out) == (TraysideError.exit_code, "")
    assert "not a hash" in err


def test_an_export_is_never_written_over_another_file(run, tmp_path):
    there = tmp_path / "there.jsonl"
    there.write_text("mine")
    code, _, err = run("export", str(there))
    assert code == TraysideError.exit_code
    assert "there already" in err
    assert there.read_text() == "mine"


def test_files_and_stores_that_are_not_there_end_in_words(run, tmp_path):
    assert run("verify", at=tmp_path / "none.sqlite")[0] == NotFound.exit_code
    code, _, err = run("verify", "--file", str(tmp_path / "none.jsonl"), at=None)
    assert code == TraysideError.exit_code
    assert "none.jsonl" in err
    assert run("export", str(tmp_path / "none" / "out.jsonl"))[0] == TraysideError.exit_code
