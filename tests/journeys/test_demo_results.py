"""The demo's certificates: every planted fault is named by a verdict, and nothing else; the report tells it."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
import pytest
from floor import FOLDER, Yard

from trayside.app.evidence import evidence_sheet
from trayside.app.evidence_facts import covered_mm, gather_facts
from trayside.app.judge_batch import batch_summaries, sign_verdict
from trayside.app.make_report import make_report
from trayside.app.report import Period, typed_period
from trayside.cli.demo_results import FILES, bring_in_results
from trayside.cli.demo_road import walk_road
from trayside.errors import ImpossibleValue
from trayside.files.certificate_reader import open_file
from trayside.files.received_list import read_received
from trayside.model.rules import Rules
from trayside.pages.report import report_html, report_pdf

RESULTS = FOLDER.with_name("vellin_ridge_results")
PLANTED = json.loads((RESULTS / "planted.json").read_text(encoding="utf-8"))
MADE_AT = datetime(2031, 6, 1, 9, 0, tzinfo=UTC)
QUIET = {"certificate.not_yet", "certificate.part", "certificate.changed"}
"""What is told of any certificate that reports a part of a load, or is issued again."""


@pytest.fixture(scope="module")
def yard(tmp_path_factory):
    made = Yard(tmp_path_factory.mktemp("results") / "yard.sqlite")
    for hole_id in ("VR-01", "VR-02", "VR-04"):
        made.issue(hole_id)
    walk_road(start_work=made.start_work, read_received=read_received)
    made.batches = bring_in_results(RESULTS, open_certificate=open_file, desk=made.desk(), start_work=made.start_work)
    yield made
    made.engine.dispose()


@pytest.fixture(scope="module")
def verdicts(yard):
    return {(batch.job, verdict.element): verdict for batch in yard.batches for verdict in batch.verdicts}


def told(yard) -> dict[str, set[str]]:
    """Which findings the batches give, by code, with the messages."""
    found: dict[str, set[str]] = {}
    for batch in yard.batches:
        for verdict in batch.verdicts:
            for finding in verdict.findings:
                found.setdefault(finding.code, set()).add(finding.message)
    return found


def test_the_verdicts_name_every_planted_fault_and_nothing_else(yard):
    found = told(yard)
    assert set(found) - QUIET == {
        "certificate.missing", "certificate.misread",
        "certificate.unit_alarm", "certificate.unit_changed",
        "result.blank_carried", "result.carry_over",
        "result.standards_exchanged",
        "result.standard_shift", "result.standard_fails",
        "result.pairs_cannot_conclude",
    }  # fmt: skip
    (missing,) = found["certificate.missing"]
    (misread,) = found["certificate.misread"]
    assert PLANTED["missing"] in missing
    assert PLANTED["extra"] in misread
    (carried,) = found["result.blank_carried"]
    assert PLANTED["carried"] in carried
    assert PLANTED["vein"] in carried
    assert all(number in message for number in PLANTED["exchanged"] for message in found["result.standards_exchanged"])
    assert all(PLANTED["drifting"] in message for message in found["result.standard_shift"] | found["result.standard_fails"])
    assert all("Cu" in message for message in found["certificate.unit_alarm"] | found["certificate.unit_changed"])


def test_the_carry_over_is_near_what_was_planted(yard):
    (message,) = told(yard)["result.carry_over"]
    share, low, high = (float(word.strip("(%),")) / 100 for word in message.split() if word.strip("(),").endswith("%"))
    assert low <= PLANTED["carried_share"] <= high
    assert share == pytest.approx(PLANTED["carried_share"], rel=0.2)


def test_thirty_chance_low_second_halves_conclude_nothing(yard):
    (message,) = told(yard)["result.pairs_cannot_conclude"]
    assert message.startswith(f"Second results of {PLANTED['pairs']} half/half pairs of Au read -")
    assert "cannot conclude" in message
    assert "more pairs are needed to show 5%" in message


def test_only_the_drifting_standard_asks_for_another_assay(verdicts):
    words = {key: verdict.word for key, verdict in verdicts.items()}
    assert [key for key, word in words.items() if word == "re-assay"] == [("A-0117-3", "Au")]
    assert {key for key, word in words.items() if word == "cannot judge"} == {("A-0117-2", "Cu"), ("B-340", "Au")}
    assert {word for (job, _), word in words.items() if job == "A-0117-1"} == {"use with note"}


def test_the_script_writes_the_same_certificates_from_the_same_plan(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(FOLDER.parent))
    import generate_certificates

    generate_certificates.write_certificates(tmp_path)
    for name in (*FILES[:-1], "planted.json"):
        assert (tmp_path / name).read_bytes() == (RESULTS / name).read_bytes(), name


def test_a_signature_overrules_only_with_a_reason_and_stands_in_the_report(yard, verdicts):
    verdict = verdicts["A-0117-3", "Au"]
    signed = sign_verdict(
        verdict.certificate_id, "Au", word="use with note", digest=verdict.digest, reason="The client accepts the note.",
        desk=yard.desk(), start_work=yard.start_work,
    )  # fmt: skip
    assert signed.stands == "use with note"
    made = make_report(Period(), made_at=MADE_AT, start_work=yard.start_work)
    assert any("1 were overruled" in line for line in made.summary)
    assert made.requests == ()
    assert "overrules re-assay: The client accepts the note." in _text(report_pdf(made))
    sign_verdict(
        verdict.certificate_id, "Au", word="re-assay", digest=verdict.digest, desk=yard.desk(), start_work=yard.start_work
    )


def _text(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(io.BytesIO(pdf))
    return " ".join(" ".join(page.get_textpage().get_text_bounded().split()) for page in document)


def test_the_report_tells_on_its_first_page_what_can_be_used(yard):
    made = make_report(Period(), made_at=MADE_AT, start_work=yard.start_work)
    assert [word for word, _, _ in made.words] == ["re-assay", "cannot judge", "use with note", "use"]
    assert any(line.startswith("A-0117-3: ask Demo laboratory A to assay Au again") for line in made.todo)
    pdf = report_pdf(made)
    first = " ".join(pypdfium2.PdfDocument(io.BytesIO(pdf))[0].get_textpage().get_text_bounded().split())
    assert "In short" in first
    assert "What to do" in first
    assert report_pdf(made) == pdf, "the same report gives the same bytes"
    html = report_html(made)
    assert "data:image/svg+xml;base64," in html
    assert "<script" not in html


def test_a_period_leaves_out_what_was_reported_outside_it(yard):
    made = make_report(typed_period("2026-10-20", "2026-10-21"), made_at=MADE_AT, start_work=yard.start_work)
    assert [batch.job for batch in made.batches] == ["A-0117-3"]
    none = make_report(typed_period("2030-01-01", ""), made_at=MADE_AT, start_work=yard.start_work)
    assert none.summary == ("No certificate was reported in this period.",)
    assert "No certificate was reported" in _text(report_pdf(none))


@pytest.mark.parametrize(("first", "last"), [("yesterday", ""), ("2026-02-30", ""), ("2026-03-02", "2026-03-01")])
def test_a_period_that_cannot_be_is_refused(first, last):
    with pytest.raises(ImpossibleValue):
        typed_period(first, last)


@pytest.mark.parametrize("code", ["jorc", "43-101"])
def test_evidence_gives_figures_and_lists_what_it_cannot_answer(yard, code):
    with yard.start_work(writing=False) as work:
        facts = gather_facts(work, verdicts=[verdict for batch in batch_summaries(work) for verdict in batch.verdicts])
    sheet = evidence_sheet(facts, code=code)
    answers = {answer.key: answer for criterion in sheet.criteria for answer in criterion.answers}
    assert "half" in answers["subsampling.portion"].text
    assert "custody without a gap on 1" in answers["security.custody"].text
    assert "re-assay 1" in answers["assay.verdicts"].text
    open_keys = {answer.key for _, answer in sheet.unanswered}
    assert "subsampling.preparation" in open_keys
    assert all(answers[key].source == "not answered by the records" for key in open_keys)


def test_a_stretch_that_was_logged_twice_counts_once():
    assert covered_mm([(2000, 2500), (0, 1000), (800, 1500), (900, 1000)]) == 2000


def test_an_answer_in_the_rules_stands_as_the_yards_own_word(yard):
    with yard.start_work(writing=False) as work:
        facts = gather_facts(work)
    answered = Rules(report={"answers": {"drilling.tube": "Triple tube below 40 m."}})
    facts = type(facts)(answered, facts.core, facts.samples, facts.road, facts.results, facts.ledger, facts.findings)
    sheet = evidence_sheet(facts, code="jorc")
    (answer,) = [one for criterion in sheet.criteria for one in criterion.answers if one.key == "drilling.tube"]
    assert (answer.text, answer.source) == ("Triple tube below 40 m.", "stated by the yard")


def test_the_folder_says_that_it_is_invented():
    assert "invented" in Path(RESULTS / "README.md").read_text(encoding="utf-8")
