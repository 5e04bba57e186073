"""The documentation says what the code does: generated pages are current, and what they list is all there is."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from trayside.bootstrap import generated_pages
from trayside.files.findings_page import SUBJECTS
from trayside.model.finding_kinds import KINDS

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


@pytest.mark.parametrize("name", sorted(generated_pages()))
def test_a_generated_page_is_current(name):
    committed = (DOCS / name).read_text(encoding="utf-8")
    assert committed == generated_pages()[name](), f"run `make docs` and commit docs/{name}"


def test_every_kind_of_finding_has_a_subject_on_the_page():
    assert {kind.code.split(".")[0] for kind in KINDS} <= set(SUBJECTS)


def test_finding_codes_are_used_somewhere_and_no_other_code_is():
    text = "\n".join(path.read_text(encoding="utf-8") for path in (ROOT / "src" / "trayside").rglob("*.py"))
    for kind in KINDS:
        assert text.count(f'"{kind.code}"') >= 2, f"{kind.code} is listed but never found"
    for code in re.findall(r'found\(\s*"([a-z_.]+)"', text):
        assert code in {kind.code for kind in KINDS}, f"{code} is found but not listed"


def test_links_between_pages_lead_somewhere():
    for page in [ROOT / "README.md", *DOCS.rglob("*.md")]:
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name} links to {target}"


def test_the_readme_shows_both_commands_on_its_first_screen():
    top = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()[:25]
    assert any("make demo" in line for line in top)
    assert any("make test" in line for line in top)
