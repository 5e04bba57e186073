"""The commands as a person or a script meets them: answers, errors in words, exit codes, JSON."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from trayside import __version__, bootstrap, errors
from trayside.cli import commands
from trayside.cli.ledger_commands import NOT_WHOLE
from trayside.cli.toolbox import Toolbox
from trayside.files.certificate_reader import open_file
from trayside.files.datapackage import write_datapackage
from trayside.files.received_list import read_received
from trayside.files.yard_folder import read_yard_folder

COMMANDS_PAGE = Path(__file__).resolve().parents[3] / "docs" / "commands.md"
TABLES = {
    "holes": (
        "hole_id,east_m,north_m,elevation_m,azimuth_deg,dip_deg,total_depth_m\n"
        "G-1,0,0,0,90,-60,12\n"
        "B-2,0,0,0,90,-60,6\n"
    ),
    "runs": (
        "hole_id,run,from_m,to_m,recovered_m,core_size\n"
        "G-1,1,0,3,3,NQ\nG-1,2,3,6,3,NQ\nG-1,3,6,9,3,NQ\nG-1,4,9,12,3,NQ\n"
        "B-2,1,0,3,3,NQ\nB-2,2,3,6,3,NQ\n"
    ),
    "trays": "hole_id,tray,from_m,to_m,rows,row_length_m\nG-1,1,0,6,6,1\nG-1,2,6,12,6,1\nB-2,1,0,6,6,1\n",
    "rock": (
        "hole_id,from_m,to_m,rock,condition,grade_class,contact\n"
        "G-1,0,12,GRD,intact,low,soft\n"
        "B-2,0,4,GRD,intact,low,soft\nB-2,3,6,GRD,intact,low,soft\n"
    ),
    "rock_codes": "rock,name,density_t_m3,density_sd_t_m3\nGRD,granodiorite,2.7,0.05\n",
    "materials": "material,kind,in_stock,mass_g,grade_g_t\nSTD,standard,50,60,0.4\nBLK,coarse blank,50,1500,\n",
    "tickets": "book,prefix,first,last,digits\none,K,1,200,4\n",
}


class FakePapers:
    """Says what it was asked to print."""

    def cut_sheet(self, view, revision) -> bytes:
        return f"cut sheet {view.hole_id} {revision.revision if revision else 'draft'}".encode()

    def tray_sheet(self, view) -> bytes:
        if not view.depth.trays:
            raise errors.NotFound("no trays", where=view.hole_id, remedy="Load them")
        return f"tray sheet {view.hole_id}".encode()

    def tickets(self, view, revision, stock) -> bytes:
        return f"tickets {view.hole_id} {stock}".encode()


@pytest.fixture
def served() -> list[tuple]:
    return []


@pytest.fixture
def toolbox(served) -> Toolbox:
    return Toolbox(
        open_store=bootstrap.open_store,
        read_folder=read_yard_folder,
        describe_folder=write_datapackage,
        papers=FakePapers(),
        serve=lambda start_work, host, port: served.append((host, port)),
        clock=lambda: datetime(2031, 5, 4, 7, 30, tzinfo=UTC),
        make_id=bootstrap.make_id,
        demo_folder=bootstrap.DEMO_FOLDER,
        write_docs=lambda folder: [folder / "formats.md"],
        read_received=read_received,
        open_certificate=open_file,
    )


@pytest.fixture
def folder(tmp_path) -> Path:
    path = tmp_path / "folder"
    path.mkdir()
    for name, text in TABLES.items():
        (path / f"{name}.csv").write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def run(toolbox, tmp_path, capsys, monkeypatch):
    """Run one command on a store of its own: (exit code, standard output, standard error)."""
    monkeypatch.setenv("TRAYSIDE_STORE", str(tmp_path / "yard" / "store.sqlite"))

    def one(*arguments: str) -> tuple[int, str, str]:
        code = commands.run(toolbox, list(arguments))
        said = capsys.readouterr()
        return code, said.out, said.err

    return one


@pytest.fixture
def loaded(run, folder):
    assert run("load", str(folder))[0] == 0
    return run


def test_load_says_what_came_and_the_second_time_that_nothing_changed(run, folder):
    code, out, err = run("load", str(folder))
    assert (code, err) == (0, "")
    assert "2 holes new" in out
    assert "rock.overlap: 1" in out
    code, out, _ = run("load", str(folder))
    assert (code, out) == (0, "Nothing changed: 2 holes are as they were.\n")


def test_load_as_json(run, folder):
    code, out, _ = run("load", str(folder), "--json")
    answer = json.loads(out)
    assert code == 0
    assert (sorted(answer["holes_new"]), answer["holes_unchanged"]) == (["B-2", "G-1"], 0)
    assert answer["rows"]["runs"] == 6
    assert [finding["code"] for finding in answer["findings"]] == ["rock.overlap"]


def test_a_refused_load_lists_every_fault_on_standard_error(run, folder):
    (folder / "runs.csv").write_text(TABLES["runs"].replace("G-1,2,3,6,3,NQ", "G-1,two,3,6,x,NQ"), encoding="utf-8")
    code, out, err = run("load", str(folder))
    assert (code, out) == (errors.LoadRefused.exit_code, "")
    assert "2 faults in the yard folder, nothing was loaded" in err
    assert "runs row 3 column run" in err
    assert "runs row 3 column recovered" in err
    assert run("check")[1] == "No findings.\n"


def test_a_folder_that_is_not_there(run, tmp_path):
    code, out, err = run("load", str(tmp_path / "nowhere"))
    assert (code, out) == (errors.LoadRefused.exit_code, "")
    assert "nowhere" in err


def test_plan_all_goes_on_past_a_hole_that_must_be_settled(loaded):
    code, out, err = loaded("plan")
    assert (code, err) == (0, "")
    assert re.search(r"^G-1: 12 samples, \d+ standards, \d+ blanks, \d+ duplicates$", out, re.MULTILINE)
    assert "B-2: 1 finding must be settled" in out


def test_a_named_hole_that_cannot_be_planned_is_an_error_for_scripts(loaded):
    code, out, _ = loaded("plan", "B-2", "--json")
    assert code == errors.RefusedByRule.exit_code
    answer = json.loads(out)
    assert answer["B-2"]["planned"] is False
    assert "3.00–4.00 m" in answer["B-2"]["reasons"][0]
    assert loaded("plan", "G-1")[0] == 0


def test_plan_as_json(loaded):
    code, out, _ = loaded("plan", "--json")
    answer = json.loads(out)
    assert code == 0
    assert (answer["G-1"]["planned"], answer["G-1"]["version"], answer["G-1"]["samples"]) == (True, 1, 12)
    assert {finding["code"] for finding in answer["G-1"]["findings"]} <= {
        "control.power",
        "control.guessable",
        "control.shortfall",
        "plan.shoulder_at_end",
    }


def test_check_exits_with_seven_when_a_finding_says_stop(loaded):
    code, out, _ = loaded("check")
    assert code == commands.STOPS_FOUND == 7
    assert "■ stop: 1" in out
    assert "B-2, 3.00–4.00 m: Two logged intervals share 3.00–4.00 m [rock.overlap]" in out
    assert loaded("check", "G-1")[:2] == (0, "No findings.\n")


def test_check_as_json_gives_code_severity_place_message_and_evidence(loaded):
    code, out, _ = loaded("check", "--json")
    assert code == 7
    (finding,) = json.loads(out)
    assert finding == {
        "code": "rock.overlap",
        "severity": "stop",
        "where": {"hole_id": "B-2", "from_m": 3.0, "to_m": 4.0, "run": None, "tray": None, "number": None},
        "message": "Two logged intervals share 3.00–4.00 m",
        "remedy": finding["remedy"],
        "evidence": {"overlap_m": 1.0},
    }
    assert finding["remedy"]


def test_issue_freezes_the_plan_and_writes_its_papers(loaded, tmp_path):
    loaded("plan", "G-1")
    code, out, err = loaded("issue", "G-1", "--by", "Ada", "--papers", str(tmp_path / "papers"))
    assert (code, err) == (0, "")
    assert "G-1: revision 1 issued by Ada, fingerprint " in out
    papers = {path.name: path.read_text() for path in (tmp_path / "papers").iterdir()}
    assert papers == {
        "G-1-cut-sheet-revision-1.pdf": "cut sheet G-1 1",
        "G-1-tray-sheet.pdf": "tray sheet G-1",
        "G-1-tickets-revision-1.pdf": "tickets G-1 a4-3x8",
    }


def test_issue_as_json(loaded):
    loaded("plan", "G-1")
    code, out, _ = loaded("issue", "G-1", "--by", "Ada", "--json")
    answer = json.loads(out)
    assert code == 0
    assert (answer["hole_id"], answer["revision"], answer["issued_by"], answer["changes"]) == ("G-1", 1, "Ada", [])
    assert (len(answer["digest"]), answer["issued_at"]) == (64, "2031-05-04T07:30:00+00:00")


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("issue", "G-1", "--by", " "), errors.RefusedByRule.exit_code, "needs the name"),
        (("issue", "B-2", "--by", "Ada"), errors.NotFound.exit_code, "no plan to issue"),
        (("issue", "Z-9", "--by", "Ada"), errors.NotFound.exit_code, "no such hole"),
        (
            ("issue", "G-1", "--by", "Ada", "--version", "7"),
            errors.ChangedMeanwhile.exit_code,
            "you looked at version 7",
        ),
        (("plan", "Z-9"), errors.NotFound.exit_code, "Z-9"),
        (("check", "Z-9"), errors.NotFound.exit_code, "Z-9"),
        (("print", "Z-9"), errors.NotFound.exit_code, "Z-9"),
        (("print", "G-1", "--tickets", "a0"), errors.TraysideError.exit_code, "no ticket stock 'a0'"),
        (("check", "--store", "sqlite://"), errors.TraysideError.exit_code, "would be lost"),
    ],
)
def test_an_error_ends_as_words_on_standard_error_with_its_exit_code(loaded, arguments, code, said):
    loaded("plan", "G-1")
    found, out, err = loaded(*arguments)
    assert (found, out) == (code, "")
    assert said in err
    assert "Traceback" not in err


@pytest.mark.parametrize(
    "command", [("check",), ("plan",), ("issue", "G-1", "--by", "Ada"), ("print", "G-1"), ("serve",)]
)
def test_a_mistyped_store_is_not_an_empty_yard(run, tmp_path, served, command):
    path = tmp_path / "typo.sqlite"
    code, out, err = run(*command, "--store", str(path))
    assert (code, out) == (errors.NotFound.exit_code, "")
    assert f"{path}: there is no store" in err
    assert not path.exists()
    assert served == []


def test_a_file_that_is_no_store(run, tmp_path):
    path = tmp_path / "text.sqlite"
    path.write_text("this is a letter\n" * 200)
    code, _, err = run("check", "--store", str(path))
    assert code == errors.TraysideError.exit_code
    assert "not a sound store" in err


@pytest.mark.parametrize(
    "arguments", [("chek",), ("check", "--jsn"), ("issue", "G-1"), ("serve", "--port", "many"), ()]
)
def test_a_command_that_is_not_understood_exits_with_two(run, arguments):
    code, out, err = run(*arguments)
    assert code == 2
    assert out + err


def test_papers_that_cannot_be_written_end_in_words(loaded, tmp_path):
    loaded("plan", "G-1")
    taken = tmp_path / "taken"
    taken.write_text("a file")
    code, _, err = loaded("print", "G-1", "--out", str(taken))
    assert code == errors.TraysideError.exit_code
    assert str(taken) in err


def test_print_before_and_after_planning(loaded, tmp_path):
    out = tmp_path / "papers"
    assert loaded("print", "G-1", "--out", str(out))[0] == 0
    assert [path.name for path in out.iterdir()] == ["G-1-tray-sheet.pdf"]
    loaded("plan", "G-1")
    assert loaded("print", "G-1", "--out", str(out), "--tickets", "label-50x30")[0] == 0
    assert (out / "G-1-cut-sheet-draft.pdf").read_text() == "cut sheet G-1 draft"
    assert (out / "G-1-tickets-draft.pdf").read_text() == "tickets G-1 label-50x30"


def test_serve_is_for_this_machine_only(loaded, served):
    assert loaded("serve", "--port", "8400")[0] == 0
    assert served == [("127.0.0.1", 8400)]


def test_describe_writes_a_data_package(run, folder):
    code, out, _ = run("describe", str(folder))
    assert code == 0
    assert json.loads(Path(out.strip()).read_text(encoding="utf-8"))["resources"]


def test_version_through_the_entry_point(capsys):
    with pytest.raises(SystemExit) as end:
        bootstrap.main(["version"])
    assert end.value.code == 0
    assert capsys.readouterr().out == f"{__version__}\n"


def test_the_demo_does_the_whole_job_and_can_be_run_again(run, tmp_path, served):
    folder = tmp_path / "demo"
    code, out, err = run("demo", "--folder", str(folder), "--no-serve")
    assert (code, err, served) == (0, "", [])
    assert "8 holes" in out
    assert "revision 1, fingerprint" in out
    assert "in a draft of revision 2" in out
    assert "LD-0001 was received" in out
    assert "mass.other_half: 1" in out
    assert "A-0117-3: Au re-assay" in out
    printed = [Path(line.strip()) for line in out.splitlines() if line.strip().endswith(".pdf")]
    assert len(printed) >= 9
    assert all(path.is_file() for path in printed)
    code, out, _ = run("check", "--store", str(folder / "demo.sqlite"), "--json")
    assert code == commands.STOPS_FOUND
    assert len(json.loads(out)) >= 25


def test_the_demo_never_empties_a_folder_somebody_else_filled(run, tmp_path):
    kept = tmp_path / "mine" / "notes.txt"
    kept.parent.mkdir()
    kept.write_text("do not lose this")
    code, _, err = run("demo", "--folder", str(kept.parent), "--no-serve")
    assert (code, kept.read_text()) == (1, "do not lose this")
    assert "was not made by the demo" in err
    code, _, err = run("demo", "--folder", str(kept), "--no-serve")
    assert (code, kept.read_text()) == (1, "do not lose this")
    assert "this is a file" in err


def test_the_demo_outside_a_checkout_says_where_it_looked(toolbox, tmp_path, capsys):
    elsewhere = replace(toolbox, demo_folder=tmp_path / "gone")
    assert commands.run(elsewhere, ["demo", "--folder", str(tmp_path / "d"), "--no-serve"]) == 1
    assert str(tmp_path / "gone") in capsys.readouterr().err


def documented(heading: str) -> dict[str, str]:
    """Rows of the table below a heading of docs/commands.md: first cell (bare) to second cell."""
    part = COMMANDS_PAGE.read_text(encoding="utf-8").split(f"## {heading}\n", 1)[1].split("\n## ", 1)[0]
    cells = [
        [cell.strip() for cell in line.strip("| \n").split(" | ")] for line in part.splitlines() if line.startswith("|")
    ]
    return {row[0].strip("`"): row[1] for row in cells[2:]}


def test_the_exit_codes_on_the_page_are_those_of_the_program():
    family = [errors.TraysideError, *errors.TraysideError.__subclasses__()]
    codes = {str(kind.exit_code): kind.__name__ for kind in family}
    codes |= {str(commands.STOPS_FOUND): "check", str(NOT_WHOLE): "ledger verify"}
    page = documented("Exit codes")
    assert set(page) == {*codes, "0", "130"}
    assert len(codes) == len(family) + 2
    for code, name in codes.items():
        assert f"`{name}`" in page[code], code


def test_every_command_on_the_page_is_there_and_every_command_is_on_the_page(toolbox):
    import typer

    names = set()
    for name, command in typer.main.get_command(commands.build(toolbox)).commands.items():
        inner = getattr(command, "commands", None)
        names |= {f"{name} {one}" for one in inner} if inner else {name} - {name if command.hidden else ""}
    assert set(documented("Commands")) == names


@pytest.mark.parametrize("name", ["demo", "load", "plan", "check", "issue", "print", "serve", "describe", "version"])
def test_every_option_of_a_command_is_on_the_page_and_no_other(toolbox, name):
    import typer

    command = typer.main.get_command(commands.build(toolbox)).commands[name]
    options = {
        option for parameter in command.params for option in parameter.opts + parameter.secondary_opts
        if option.startswith("--")
    }  # fmt: skip
    told = set(re.findall(r"--[a-z-]+", documented("Commands")[name]))
    assert told == options - {"--help", "--serve"}


def test_printing_a_hole_without_trays_says_what_is_missing(run, folder, tmp_path):
    """Its sheet was planned while the trays were there; then a folder came without them."""
    assert run("load", str(folder))[0] == run("plan", "G-1")[0] == 0
    (folder / "trays.csv").write_text("hole_id,tray,from_m,to_m,rows,row_length_m\nB-2,1,0,6,6,1\n", encoding="utf-8")
    assert run("load", str(folder))[0] == 0
    code, out, err = run("print", "G-1", "--out", str(tmp_path / "papers"))
    assert code == 0
    assert sorted(path.name for path in (tmp_path / "papers").iterdir()) == [
        "G-1-cut-sheet-draft.pdf",
        "G-1-tickets-draft.pdf",
    ]
    assert "tray-sheet" not in out
    assert err == "Not written: G-1: no trays. Load them.\n"


def test_printing_a_hole_with_neither_plan_nor_trays_is_refused(run, folder, tmp_path):
    (folder / "trays.csv").write_text("hole_id,tray,from_m,to_m,rows,row_length_m\nB-2,1,0,6,6,1\n", encoding="utf-8")
    run("load", str(folder))
    code, _, err = run("print", "G-1", "--out", str(tmp_path / "papers"))
    assert code == errors.NotFound.exit_code
    assert err == "G-1: no trays. Load them.\n"
    assert not (tmp_path / "papers").exists()


def test_a_load_says_in_words_what_became_of_shared_tables(loaded, folder):
    (folder / "materials.csv").write_text("material,kind,in_stock,mass_g,grade_g_t\nSTD,standard,40,60,0.4\n")
    code, out, _ = loaded("load", str(folder))
    assert code == 0
    assert "  materials: 1 changed and counted anew (STD); 1 not named stays\n" in out
