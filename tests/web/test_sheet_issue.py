"""Issuing, revisions, and the papers that come of them."""

from __future__ import annotations

import json

import pytest
from web_yard import NOW, RULES

SHEET = "/hole/SM-01/sheet"


def issue(browser, version=1, name="Ada Vale", statement="looked at every line"):
    return browser.post(f"{SHEET}/issue", data={"base_version": version, "issued_by": name, "statement": statement})


def split_first(browser, yard, version):
    row = next(row for row in yard.sheet().rows if row.kind == "sample")
    at = (row.from_mm + row.to_mm) // 20 * 10
    data = {"base_version": version, "edits": json.dumps([{"what": "split", "at_mm": at}]), "edited_by": "Ben"}
    assert browser.post(f"{SHEET}/save", data=data).status_code == 200


def test_an_issued_sheet_is_frozen_with_name_time_and_statement(planned, yard):
    answer = issue(planned)
    assert answer.url.path == f"{SHEET}/1"
    assert f"Issued by Ada Vale, {NOW:%Y-%m-%d %H:%M} UTC" in answer.text
    assert "looked at every line" in answer.text
    assert "data-at-mm" not in answer.text  # nothing on it can be changed
    with yard.start_work(writing=False) as work:
        assert work.revision("SM-01", 1).digest in answer.text
    assert "revision 1 at the saw" in planned.get("/").text


def test_a_second_revision_names_what_changed_and_the_first_stays(planned, yard):
    issue(planned)
    before = planned.get(f"{SHEET}/1").text
    split_first(planned, yard, 1)
    assert "the draft has changed since" in planned.get(SHEET).text
    answer = issue(planned, version=2)
    assert answer.url.path == f"{SHEET}/2"
    assert "added (sample" in answer.text
    assert planned.get(f"{SHEET}/1").text == before
    text = planned.get(SHEET).text
    assert "Revisions (2)" in text
    assert "revision 2 is issued" in text


def test_an_unchanged_draft_is_not_issued_twice(planned):
    issue(planned)
    assert "Nothing changed since revision 1" in planned.get(SHEET).text
    answer = issue(planned)
    assert answer.status_code == 422
    assert "Nothing changed since revision 1" in answer.text


def test_issuing_without_a_name_is_refused_and_the_statement_stays(planned, yard):
    answer = issue(planned, name=" ", statement="all looked at <i>")
    assert answer.status_code == 422
    assert "needs the name" in answer.text
    assert "all looked at &lt;i&gt;" in answer.text
    assert yard.sheet().revision == 0


def test_issuing_with_stops_is_refused_with_every_reason(planned, yard):
    rows = [row for row in yard.sheet().rows if row.kind == "sample"]
    inside = rows[2].from_mm + 100
    edits = [{"what": "add", "at_mm": inside, "to_mm": inside + 200}]
    planned.post(f"{SHEET}/save", data={"base_version": 1, "edits": json.dumps(edits), "edited_by": "Ada"})
    answer = issue(planned, version=2)
    assert answer.status_code == 422
    assert "must be settled before this sheet can be issued" in answer.text
    assert "with another sample" in answer.text
    assert "It cannot be issued yet" in planned.get(SHEET).text
    assert yard.sheet().revision == 0


def test_issuing_an_older_plan_than_the_newest_is_told(planned, yard):
    split_first(planned, yard, 1)
    answer = issue(planned, version=1, statement="my words")
    assert answer.status_code == 409
    assert "you looked at version 1" in answer.text
    assert "my words" in answer.text
    assert yard.sheet().revision == 0


def test_a_plan_that_rests_on_older_rules_says_so_and_is_not_issued(planned, yard):
    yard.set_rules(RULES.replace("tier_kg = 20.0", "tier_kg = 19.0"))
    assert "loaded again after this plan was made" in planned.get(SHEET).text
    assert issue(planned).status_code == 422
    spans = [(row.from_mm, row.to_mm) for row in yard.sheet().rows if row.kind == "sample"]
    data = {"base_version": 1, "edits": "[]", "edited_by": "Ada"}
    assert "loaded again" not in planned.post(f"{SHEET}/save", data=data).text
    assert spans == [(row.from_mm, row.to_mm) for row in yard.sheet().rows if row.kind == "sample"]
    assert issue(planned, version=2).status_code == 200


def test_a_revision_that_is_not_there_is_said_so(planned):
    answer = planned.get(f"{SHEET}/7")
    assert answer.status_code == 404
    assert "no revision 7" in answer.text.casefold()


def test_papers_are_made_of_the_draft_or_of_a_revision(planned, yard):
    draft = planned.get("/hole/SM-01/paper/cut-sheet.pdf")
    assert draft.content.startswith(b"%PDF-")
    assert draft.headers["content-type"] == "application/pdf"
    assert draft.headers["content-disposition"] == 'inline; filename="SM-01-cut-sheet-draft.pdf"'
    issue(planned)
    planned.get("/hole/SM-01/paper/cut-sheet.pdf?revision=1")
    planned.get("/hole/SM-01/paper/tray-sheet.pdf")
    planned.get("/hole/SM-01/paper/tickets.pdf?stock=a4-3x8&revision=1")
    assert yard.papers.asked == [
        ("cut sheet", "SM-01", None),
        ("cut sheet", "SM-01", 1),
        ("tray sheet", "SM-01"),
        ("tickets", "SM-01", 1, "a4-3x8"),
    ]


def test_every_paper_link_of_the_page_answers(planned):
    import html
    import re

    issue(planned)
    links = [html.unescape(link) for link in re.findall(r'href="(/hole/SM-01/paper/[^"]+)"', planned.get(SHEET).text)]
    assert len(links) == 7
    assert all(planned.get(link).status_code == 200 for link in links)


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/hole/SM-01/paper/tickets.pdf?stock=napkin", "no ticket stock"),
        ("/hole/SM-01/paper/cut-sheet.pdf?revision=3", "no revision 3"),
        ("/hole/SM-02/paper/cut-sheet.pdf", "there is no plan to print"),
    ],
)
def test_a_paper_that_cannot_be_is_refused_in_words(planned, address, said):
    answer = planned.get(address)
    assert answer.status_code == 404
    assert said in answer.text.casefold()
