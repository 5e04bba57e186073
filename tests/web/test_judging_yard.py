"""Judging through the store: verdicts, signatures, the request to the laboratory, released assays."""

from __future__ import annotations

import csv
import io
import itertools
import secrets

import pytest
from results_yard import add_certificate, issued, write_results_yard
from web_yard import Yard

from trayside.app.element_view import element_series
from trayside.app.identity import uuid7
from trayside.app.judge_batch import batch_summaries, batch_summary, judge_yard, sign_verdict
from trayside.app.office_acts import Desk, Signer
from trayside.app.reassay_request import laboratory_csv, yard_csv
from trayside.app.released_assays import composites_csv, intercepts_csv, released_assays, released_elements, results_csv
from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.pages.reassay_request import reassay_request_content


@pytest.fixture
def yard(tmp_path):
    write_results_yard(tmp_path)
    made = Yard(tmp_path / "yard.sqlite")
    yield made
    made.engine.dispose()


def desk(yard) -> Desk:
    counted = itertools.count(1)
    return Desk(
        Signer("Demo QC", "desk"),
        yard.clock,
        lambda: uuid7(milliseconds=1_900_000_000_000 + next(counted), random_bytes=secrets.token_bytes(10)),
    )


def summaries(yard):
    with yard.start_work(writing=False) as work:
        return {one.job: one for one in batch_summaries(work)}


def rows_of(text: str) -> list[dict]:
    return list(csv.DictReader(io.StringIO(text)))


def test_only_certificates_that_count_are_judged(yard):
    held = summaries(yard)
    assert set(held) == {"J-1", "J-2"}
    assert [verdict.element for verdict in held["J-1"].verdicts] == ["Au", "Cu"]
    with yard.start_work(writing=False) as work, pytest.raises(NotFound, match="superseded"):
        batch_summary(work, "CT-00001")


def test_the_dirty_blank_asks_for_a_request_that_names_no_control(yard):
    batch = summaries(yard)["J-2"]
    assert batch.word == "re-assay"
    with yard.start_work(writing=False) as work:
        made = judge_yard(work)
        request = made.reassay(batch.certificate_id)
        assert made.reassay("CT-00002") is None
    roles = dict(made.judged.numbers.select("number", "role").iter_rows())
    listed = rows_of(laboratory_csv(request))
    assert len(listed) == request.samples > 0
    assert {roles[row["number"]] for row in listed} <= {"sample", "duplicate"}
    inside = rows_of(yard_csv(request))
    assert {roles[row["number"]] for row in inside if row["kind"] == "control"} <= {"standard", "blank"}
    assert request.controls == sum(row["kind"] == "control" for row in inside)
    assert request.cost is None
    paper = reassay_request_content(request, rules=made.rules, made_at=yard.clock())
    assert [line[1] for line in paper["lines"]] == [row["number"] for row in listed]
    assert not {"standard", "blank", "BLK", "STD-L", "STD-H"} & set(str(paper["lines"]).replace("'", " ").split())


def test_a_signature_counts_and_is_in_the_ledger(yard):
    batch = summaries(yard)["J-1"]
    verdict = batch.verdicts[0]
    signed = sign_verdict(
        batch.certificate_id, verdict.element, word=verdict.word, digest=verdict.digest, desk=desk(yard),
        start_work=yard.start_work,
    )  # fmt: skip
    assert signed.signed is not None
    assert not signed.signed.overrules
    assert not signed.outdated
    with yard.start_work(writing=False) as work:
        (stored,) = work.events_of_objects([("certificate", batch.certificate_id)]).values()
    assert stored[-1].event.kind == "verdict_signed"
    assert stored[-1].event.values["digest"] == verdict.digest


def test_deciding_otherwise_needs_a_reason_and_the_newest_signature_counts(yard):
    batch = summaries(yard)["J-2"]
    verdict = next(one for one in batch.verdicts if one.word == "re-assay")
    ask = {"word": "use with note", "digest": verdict.digest, "desk": desk(yard), "start_work": yard.start_work}
    with pytest.raises(RefusedByRule, match="rules say"):
        sign_verdict(batch.certificate_id, verdict.element, **ask)
    sign_verdict(batch.certificate_id, verdict.element, **ask, reason="the blank was spilled")
    assert next(one for one in summaries(yard)["J-2"].verdicts if one.element == verdict.element).stands == "use with note"
    sign_verdict(batch.certificate_id, verdict.element, **(ask | {"word": "re-assay"}))
    later = next(one for one in summaries(yard)["J-2"].verdicts if one.element == verdict.element)
    assert (later.stands, later.signed.overrules) == ("re-assay", False)


def test_a_verdict_that_changed_meanwhile_is_not_signed(yard):
    batch = summaries(yard)["J-1"]
    with pytest.raises(ChangedMeanwhile):
        sign_verdict(
            batch.certificate_id, "Au", word="use", digest="0" * 64, reason="x", desk=desk(yard), start_work=yard.start_work
        )
    with pytest.raises(NotFound):
        sign_verdict("CT-99999", "Au", word="use", digest="0" * 64, desk=desk(yard), start_work=yard.start_work)


def test_the_same_yard_is_judged_once_and_a_new_certificate_again(yard):
    with yard.start_work(writing=False) as work:
        first = judge_yard(work)
        assert judge_yard(work) is first
    rows = issued(yard)
    add_certificate(yard, rows[:6], job="J-3", day=12, all_rows=rows)
    with yard.start_work(writing=False) as work:
        assert judge_yard(work).fingerprint != first.fingerprint


def test_what_is_held_back_is_a_gap_and_never_a_zero(yard):
    with yard.start_work(writing=False) as work:
        assert set(released_elements(judge_yard(work), "SM-01")) == {"Au", "Cu"}
        made = released_assays(work, "SM-01", "Au")
    held = [row for row in made.results if row.why_not]
    free = [row for row in made.results if not row.why_not]
    assert held
    assert free
    assert all(row.value_ppm is None for row in held)
    assert {row.verdict for row in free} <= {"use", "use with note"}
    assert made.held_back == len(held)
    listed = rows_of(results_csv(made))
    assert [row["number"] for row in listed] == [row.number for row in made.results]
    assert all((row["value_ppm"] == "") == (bool(row["held_back_because"]) or row["censor"] == "lt") for row in listed)
    gaps = [row for row in rows_of(composites_csv(made)) if float(row["gap_m"]) > 0]
    assert gaps
    assert all(row["grade_ppm"] == "" and row["why_none"] for row in gaps)
    for row in rows_of(intercepts_csv(made)):
        assert float(row["grade_ppm"]) >= made.settings.cutoff_ppm
        assert 0 < float(row["top_metal_share"]) <= 1


def test_an_element_page_holds_every_series_of_the_judgement(yard):
    with yard.start_work(writing=False) as work:
        made = judge_yard(work)
    page = element_series(made.judged, "Au", tuple(made.certificates.values()))
    assert {one.material for one in page.standards} <= {"STD-L", "STD-H"}
    assert [one.material for one in page.blanks] == ["BLK"]
    assert sum(one.failures for one in page.blanks) == sum(verdict.blanks for verdict in summaries(yard)["J-2"].verdicts
                                                           if verdict.element == "Au")  # fmt: skip
