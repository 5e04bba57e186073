"""`trayside certificate`: what it would read, what is open, what came in and what can be used of it."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime

import pytest

from trayside import bootstrap
from trayside.cli import commands
from trayside.cli.toolbox import Toolbox
from trayside.files.certificate_reader import open_file
from trayside.files.datapackage import write_datapackage
from trayside.files.yard_folder import read_yard_folder

RAW = "Laboratory: Demo laboratory A\nJob: J1\nReported: 2031-05-02\nSample,Au{unit},Cu ppm\nK1,<0.01,33\nK2,1.5,35\n"


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    path = tmp_path_factory.mktemp("store") / "store.sqlite"
    bootstrap.open_store(str(path)).engine.dispose()
    return path


@pytest.fixture
def run(tmp_path, empty, capsys, monkeypatch):
    """Run `certificate` on a store of its own: (exit code, standard output, standard error)."""
    monkeypatch.setenv("TRAYSIDE_STORE", str(shutil.copy(empty, tmp_path / "store.sqlite")))
    toolbox = Toolbox(
        open_store=bootstrap.open_store,
        read_folder=read_yard_folder,
        describe_folder=write_datapackage,
        papers=None,
        serve=lambda *given: None,
        clock=lambda: datetime(2031, 5, 4, 7, 30, tzinfo=UTC),
        make_id=bootstrap.make_id,
        demo_folder=bootstrap.DEMO_FOLDER,
        write_docs=lambda folder: [],
        open_certificate=open_file,
    )

    def one(raw: str, *more: str) -> tuple[int, str, str]:
        file = tmp_path / "c.csv"
        file.write_text(raw, encoding="utf-8")
        code = commands.run(toolbox, ["certificate", str(file), *more])
        said = capsys.readouterr()
        return code, said.out, said.err

    return one


def test_without_confirm_it_only_says_how_it_would_be_read(run):
    code, out, err = run(RAW.format(unit=" ppm"))
    assert (code, err) == (0, "")
    assert "'Au ppm' is Au, [ppm], limits" in out
    assert "'<0.01' → below 0.01 ppm" in out
    assert "Nothing was stored" in out
    assert json.loads(run(RAW.format(unit=" ppm"), "--json")[1])["remembered"] is False


def test_confirmed_it_comes_in_and_the_next_one_without_a_question(run):
    code, out, _ = run(RAW.format(unit=" ppm"), "--confirm", "--by", "Demo QC")
    assert code == 0
    assert "CT-00001: 4 results on 2 lines" in out
    assert "certificate.unknown_samples" in out
    code, out, _ = run(RAW.format(unit=" ppm"))
    assert (code, "already: nothing changes" in out) == (0, True)
    code, out, _ = run(RAW.format(unit=" ppm").replace("J1", "J2"), "--by", "Demo QC", "--json")
    told = json.loads(out)
    assert (code, told["certificate"], told["new"], told["results"]) == (0, "CT-00002", True, 4)
    assert told["reconciliation"]["against"] == "nothing"
    assert [one["code"] for one in told["findings"]] == ["certificate.unknown_samples"]
    code, out, _ = run(RAW.format(unit=" ppm").replace("J1", "J3"), "--look")
    assert "The mapping that was confirmed for this laboratory fits" in out
    assert "Nothing was stored" in out


def test_open_questions_end_with_their_keys_and_are_settled_by_set_or_a_file(run, tmp_path):
    raw = RAW.format(unit=" oz/t").replace("Job: J1\n", "")
    code, _, err = run(raw, "--confirm", "--by", "Demo QC")
    assert code == 5
    assert "job: Which job" in err
    assert "unit:2: Au oz/t: 'oz/t' does not say which ton" in err
    settled = tmp_path / "settled.json"
    settled.write_text(json.dumps({"unit:2": "[oz_tr]/t"}), encoding="utf-8")
    code, out, _ = run(raw, "--confirm", "--by", "Demo QC", "--mapping", str(settled), "--set", "job=J7")
    assert (code, "CT-00001" in out) == (0, True)


def test_a_bad_file_and_bad_options_are_told(run, tmp_path):
    code, _, err = run(RAW.format(unit=" ppm") + ",1,2\n", "--confirm", "--by", "Demo QC")
    assert code == 3
    assert "row 7: results stand on a line without a sample number" in err
    assert run(RAW.format(unit=" ppm"), "--confirm")[0] == 2, "somebody must sign"
    assert run(RAW.format(unit=" ppm"), "--set", "unit")[0] == 2
    (tmp_path / "no.json").write_text("[1]", encoding="utf-8")
    assert run(RAW.format(unit=" ppm"), "--mapping", str(tmp_path / "no.json"))[0] == 2
