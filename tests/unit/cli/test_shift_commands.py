"""`trayside shift`: plan, show, plan again, print, refuse."""

import json
from datetime import UTC, datetime

import pytest

from trayside import bootstrap
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import plan_yard
from trayside.cli import commands
from trayside.cli.toolbox import Toolbox
from trayside.files.datapackage import write_datapackage
from trayside.files.yard_folder import read_yard_folder

NOW = datetime(2031, 5, 4, 5, 0, tzinfo=UTC)
TABLES = {
    "holes": "hole_id,east_m,north_m,elevation_m,azimuth_deg,dip_deg,total_depth_m\nB-1,1,2,3,90,-60,24\nB-2,1,2,3,90,-60,12\n",
    "runs": "hole_id,run,from_m,to_m,recovered_m,core_size\n"
    + "".join(f"B-1,{at + 1},{3 * at},{3 * at + 3},3,NQ\n" for at in range(8))
    + "".join(f"B-2,{at + 1},{3 * at},{3 * at + 3},3,NQ\n" for at in range(4)),
    "trays": "hole_id,tray,from_m,to_m,rows,row_length_m\n"
    + "".join(f"B-1,{at + 1},{4 * at},{4 * at + 4},4,1.05\n" for at in range(6))
    + "".join(f"B-2,{at + 1},{4 * at},{4 * at + 4},4,1.05\n" for at in range(3)),
    "rock": "hole_id,from_m,to_m,rock,condition,grade_class,contact\n"
    "B-1,0,12,SLT,intact,low,hard\nB-1,12,24,SLT,intact,medium,hard\nB-2,0,12,SLT,intact,low,hard\n",
    "rock_codes": "rock,name,density_t_m3,density_sd_t_m3\nSLT,siltstone,2.7,0.05\n",
    "materials": "material,kind,in_stock,mass_g,grade_g_t\n"
    "S-L,standard,60,100,0.5\nS-H,standard,60,100,2\nBLK,coarse blank,60,1500,\n",
    "tickets": "book,prefix,first,last,digits\nA,T,1000,1999,4\n",
}


class Paper:
    def shift_plan(self, plan, rules) -> bytes:
        return f"plan {plan.plan_id} of {rules.yard}".encode()


@pytest.fixture
def run(tmp_path, capsys, monkeypatch):
    """Commands on a store with two issued holes: (exit code, standard output, standard error)."""
    folder, store = tmp_path / "folder", tmp_path / "store.sqlite"
    folder.mkdir()
    for name, text in TABLES.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    monkeypatch.setenv("TRAYSIDE_STORE", str(store))
    start_work = bootstrap.open_store(str(store))
    load_yard(folder, read_folder=read_yard_folder, start_work=start_work)
    plan_yard(start_work=start_work, make_id=bootstrap.make_id)
    for hole in ("B-1", "B-2"):
        issue_cut_sheet(hole, version=1, issued_by="Demo geologist", start_work=start_work, clock=lambda: NOW)
    toolbox = Toolbox(
        open_store=bootstrap.open_store, read_folder=read_yard_folder, describe_folder=write_datapackage, papers=Paper(),
        serve=None, clock=lambda: NOW, make_id=bootstrap.make_id, demo_folder=bootstrap.DEMO_FOLDER, write_docs=None,
    )  # fmt: skip

    def one(*arguments: str) -> tuple[int, str, str]:
        code = commands.run(toolbox, list(arguments))
        said = capsys.readouterr()
        return code, said.out, said.err

    return one


def planned(run, *more) -> dict:
    code, out, err = run("shift", "--by", "Demo lead", "--json", *more)
    assert (code, err) == (0, "")
    return json.loads(out)


def test_a_plan_in_words_and_the_same_plan_again_without_a_name(run):
    code, out, _ = run("shift", "--by", "Demo lead", "--saw", "SAW-1=Demo operator", "--saw", "SAW-2")
    assert code == 0
    assert "first come, first served" in out
    assert "SAW-1 Demo operator\n" in out
    assert "07:28–" in out  # 07:00, 20 min to start up, 8 min to lay out the first hole
    assert run("shift")[1] == out


def test_a_plan_as_json_has_every_tray_once(run):
    plan = planned(run, "--lorry", "B-2", "--lorry-at", "09:30")
    assert plan["day"] == "2031-05-04"
    pieces = [line["piece"] for line in plan["lines"]]
    assert len(pieces) == len(set(pieces)) == 9
    assert {line["saw"] for line in plan["lines"]} == {"SAW-1", "SAW-2"}
    assert plan["figures"]["cost_min"] <= plan["first_come"]["cost_min"]
    assert 0.0 <= plan["at_most_better"] < 0.2
    assert all(line["ends"].startswith("2031-05-04T") for line in plan["lines"] if line["end_min"] < 500)


def test_only_some_holes_with_a_priority(run):
    plan = planned(run, "--hole", "B-2=first")
    assert {line["hole"] for line in plan["lines"]} == {"B-2"}


def test_a_stopped_saw(run):
    first = planned(run)
    again = planned(run, "--stopped", "SAW-2", "--at", "08:00")
    assert again["replaces"] == first["plan_id"]
    assert "SAW-2 stopped at 08:00" in again["changed"]
    assert {line["saw"] for line in again["lines"]} == {"SAW-1"}


def test_the_paper_is_written(run, tmp_path):
    plan = planned(run, "--paper", str(tmp_path / "out" / "plan.pdf"))
    assert (tmp_path / "out" / "plan.pdf").read_bytes() == f"plan {plan['plan_id']} of A core yard".encode()


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        ((), 4, "no shift is planned yet"),
        (("--by", "Demo lead", "--stopped", "SAW-1"), 4, "no shift is planned yet"),
        (("--by", "Demo lead", "--hole", "Z-1"), 2, "no core of Z-1 waits"),
        (("--by", "Demo lead", "--hole", "B-1=at once"), 2, "no priority is called"),
        (("--by", "Demo lead", "--hole", "B-1", "--lorry", "B-2"), 2, "B-2 is not among the holes"),
        (("--by", "Demo lead", "--saw", "SAW-9"), 2, "no saw is called SAW-9"),
        (("--by", "Demo lead", "--day", "2031-13-01"), 2, "is no day"),
    ],
)
def test_what_cannot_be_is_refused_with_its_exit_code(run, arguments, code, words):
    found, out, err = run("shift", *arguments)
    assert (found, out) == (code, "")
    assert words in err
