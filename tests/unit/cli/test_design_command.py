"""`trayside design`: plays a control scheme without any store."""

import json
from datetime import UTC, datetime

import pytest

from trayside import bootstrap
from trayside.cli import commands
from trayside.cli.toolbox import Toolbox
from trayside.files.datapackage import write_datapackage
from trayside.files.yard_folder import read_yard_folder


@pytest.fixture
def run(capsys):
    toolbox = Toolbox(
        open_store=bootstrap.open_store, read_folder=read_yard_folder, describe_folder=write_datapackage,
        papers=bootstrap.papers(), serve=None, clock=lambda: datetime(2031, 5, 4, tzinfo=UTC), make_id=bootstrap.make_id,
        demo_folder=bootstrap.DEMO_FOLDER, write_docs=None,
    )  # fmt: skip

    def ask(*arguments: str) -> tuple[int, str]:
        code = commands.run(toolbox, list(arguments))
        captured = capsys.readouterr()
        return code, captured.out + captured.err

    return ask


def test_the_same_seed_gives_the_same_answer(run):
    ask = ("design", "bias", "0.05", "--campaigns", "400", "--json")
    first, second = run(*ask), run(*ask)
    assert first == second
    code, text = first
    answer = json.loads(text)
    assert code == 0
    seen = [answer["seen"][window]["value"] for window in ("batch", "month", "campaign")]
    assert seen == sorted(seen)
    assert answer["curve"]["campaign"] == sorted(answer["curve"]["campaign"])
    assert json.loads(run(*ask, "--seed", "2")[1])["seen"] != answer["seen"]


def test_blanks_are_recommended_against_contamination(run):
    code, text = run("design", "contamination", "0.01", "--campaigns", "400", "--within", "batch", "--target", "0.5")
    assert code == 0
    assert "seen by blanks" in text
    assert "blanks in" in text


def test_an_unknown_fault_is_refused_with_the_known_ones(run):
    code, text = run("design", "misfortune", "0.1")
    assert code == 2
    assert "contamination" in text
