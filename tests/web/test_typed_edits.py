"""Edits on their way between page and yard."""

from __future__ import annotations

import pytest

from trayside.app.edit_sheet import Edit
from trayside.errors import ImpossibleValue
from trayside.web.addresses import hole_address, hole_of
from trayside.web.sheet_edits import edits_from_text, edits_to_text, seen_from_text, tidied
from trayside.web.words import COUNTED, WORDS, counted, say


def test_edits_survive_the_way_to_the_page_and_back():
    edits = (
        Edit("move", 1000, 1100),
        Edit("split", 2000),
        Edit("add", 3000, 4000),
        Edit("drop", 5000),
        Edit("join", 7),
    )
    assert edits_from_text(edits_to_text(edits), unit="m") == edits


def test_a_boundary_moved_twice_is_moved_once():
    assert tidied([Edit("move", 1, 2), Edit("move", 2, 3)]) == (Edit("move", 1, 3),)


def test_a_boundary_moved_back_is_not_moved():
    assert tidied([Edit("move", 1, 2), Edit("move", 2, 1)]) == ()


def test_moves_of_other_boundaries_stay_apart():
    edits = [Edit("move", 1, 2), Edit("split", 9), Edit("move", 2, 3)]
    assert tidied(edits) == tuple(edits)


@pytest.mark.parametrize(
    "text", ["x", "{}", '[{"what":"move","at_mm":1}]', '[{"what":"split","at_mm":-1}]', "[1]", "[" * 99999]
)
def test_unreadable_edits_are_refused(text):
    with pytest.raises(ImpossibleValue):
        edits_from_text(text, unit="m")


@pytest.mark.parametrize("text", ["", "x", "7", "[[1]]", '[["a","b"]]', "[[1,2,3]]"])
def test_a_page_that_does_not_say_what_it_showed_is_not_guessed(text):
    assert seen_from_text(text) is None


@pytest.mark.parametrize("hole_id", ["VR-01", "A/B 7", "x+y", "a.b_c"])
def test_a_hole_is_found_again_from_its_address(hole_id):
    from urllib.parse import unquote

    address = hole_address(hole_id, "sheet")
    assert address.count("/") == 3
    assert hole_of(unquote(address.split("/")[2])) == hole_id


def test_words_are_filled_in_and_counted():
    assert say("yard.shown", first=1, last=2, total=3) == "1–2 of 3"
    assert [counted(n, "sample") for n in (0, 1, 2)] == ["0 samples", "1 sample", "2 samples"]


def test_every_key_used_has_words_and_every_word_is_used():
    """The words in one table and the keys in code and templates are the same."""
    import re
    from pathlib import Path

    import trayside.web as web

    folder = Path(web.__file__).parent
    files = [path for path in folder.rglob("*") if path.suffix in (".py", ".html") and path.name != "words.py"]
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    quoted = set(re.findall(r"""["']([a-z_]+(?:\.[A-Za-z0-9_-]+)*)["']""", text))
    stems = set(re.findall(r"""["']([a-z_.]+\.)["'] ~""", text)) | set(re.findall(r"""f"([a-z_.]+\.)\{""", text))
    stems |= set(re.findall(r"""["']edit\.["'] ~""", text)) and {"edit."}
    unused = {key for key in WORDS if key not in quoted and not any(key.startswith(stem) for stem in stems)}
    assert unused == set()
    assert {key for key in re.findall(r"""say\(["']([^"']+)["'][,)]""", text)} <= WORDS.keys()
    assert COUNTED.keys() >= set(re.findall(r"""counted\([^()]*(?:\([^()]*\))?[^()]*, ["']([a-z]+)["']\)""", text))
