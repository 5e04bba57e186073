"""Certificates and results come out of the store as they went in, on both databases."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import polars
import pytest

from trayside.app.assay_ports import RESULT_COLUMNS
from trayside.errors import ChangedMeanwhile, NotFound
from trayside.model.assay import Analyte, Certificate, CertificateChange, CertificateLine, ColumnMapping
from trayside.model.finding import Finding

REPORTED = datetime(2031, 6, 2, 14, 0, tzinfo=UTC)
GOLD = Analyte(1, "Au", "[ppb]", "FA30", 5.0, 10000.0, 0.001, "Au ppb")
GOLD_OVER = Analyte(2, "Au", "[ppm]", "GRAV", 0.5, None, 1.0)
LOSS = Analyte(3, "LOI", "%", "", None, None, None)
FINDING = Finding("certificate.missing", "warn", "one", "do", number="S1", evidence={"a": 1, "b": None})


def certificate(serial: int = 1, **more) -> Certificate:
    made = Certificate(
        certificate_id=f"CT-{serial:05d}",
        laboratory="Demo laboratory A",
        job=f"J{serial}",
        reported_at=REPORTED + timedelta(days=serial),
        imported_at=REPORTED + timedelta(days=9),
        imported_by="Demo operator",
        source="a.csv",
        sha256=f"{serial:064d}",
        lines=2,
        analytes=(GOLD, GOLD_OVER, LOSS),
        mapping={"layout": "wide"},
        findings=(FINDING,),
    )
    return replace(made, **more)


LINES = (
    CertificateLine(1, "S1", "s1 ", "sample", "R1", 3.25),
    CertificateLine(2, "S2", "S2", "pulp duplicate"),
)
RESULTS = polars.DataFrame(
    [
        (1, 1, ">10000", 10000.0, "gt", None, 10000.0, False),
        (2, 1, "<5", 5.0, "lt", 5.0, None, True),
        (1, 2, "12.5", 12.5, "none", None, None, True),
        (2, 2, "", None, "not_analysed", None, None, False),
        (1, 3, "1,5", 1.5, "none", None, None, True),
        (2, 3, 'say "x", \\N', None, "review", None, None, True),
    ],
    schema=["place", "column", "raw_text", "value", "censor", "lower_limit", "upper_limit", "preferred"],
    orient="row",
)


def stored(start_work, *certificates):
    with start_work() as work:
        for one in certificates:
            work.assays.add_certificate(one, LINES, RESULTS)
        work.commit()


def test_a_certificate_comes_back_as_it_went_in(start_work):
    stored(start_work, certificate())
    with start_work() as work:
        assert work.assays.certificates() == (certificate(),)
        assert work.assays.certificate("CT-00001") == certificate()
        assert work.assays.lines("CT-00001") == LINES
        assert work.assays.certificate_of_file(certificate().sha256) == certificate()
        assert work.assays.certificate_of_file("other") is None
        assert work.assays.new_certificate_id() == "CT-00002"


def test_results_are_one_frame_with_what_their_column_and_line_say(start_work):
    stored(start_work, certificate())
    with start_work() as work:
        frame = work.assays.results()
    assert dict(frame.schema) == RESULT_COLUMNS
    assert frame["place"].to_list() == [1, 1, 1, 2, 2, 2]
    rows = {(row["place"], row["column"]): row for row in frame.iter_rows(named=True)}
    over = rows[1, 1]
    assert (over["raw_text"], over["value"], over["censor"], over["upper_limit_ppm"]) == (">10000", 10000.0, "gt", 10.0)
    assert (over["number"], over["rack"], over["element"], over["method"], over["unit"]) == ("S1", "R1", "Au", "FA30", "[ppb]")
    assert over["preferred"] is False
    assert over["reported_at"] == "2031-06-03T14:00:00+00:00"
    assert (rows[1, 2]["value"], rows[1, 2]["value_ppm"], rows[1, 2]["lower_limit_ppm"]) == (12.5, 12.5, 0.5)
    assert (rows[1, 3]["value"], rows[1, 3]["value_ppm"]) == (1.5, None)
    assert rows[2, 1]["lower_limit_ppm"] == pytest.approx(0.005)
    assert (rows[2, 3]["raw_text"], rows[2, 3]["line_kind"]) == ('say "x", \\N', "pulp duplicate")
    assert rows[2, 2]["raw_text"] == ""


def test_results_are_asked_for_by_certificate_element_and_number(start_work):
    stored(start_work, certificate(), certificate(2))
    with start_work() as work:
        ask = work.assays.results
        assert set(ask(certificate_ids=["CT-00002"])["certificate_id"]) == {"CT-00002"}
        assert ask(elements=["LOI"]).height == 4
        only = ask(elements=["Au"], numbers=["S2", "S9"], certificate_ids=["CT-00001"])
        assert [(row["number"], row["column"]) for row in only.iter_rows(named=True)] == [("S2", 1), ("S2", 2)]
        for none in (ask(certificate_ids=[]), ask(elements=[]), ask(numbers=[]), ask(numbers=["S9"])):
            assert none.is_empty()
            assert dict(none.schema) == RESULT_COLUMNS


def test_a_superseded_certificate_counts_no_more_but_is_kept(start_work):
    stored(start_work, certificate(), certificate(2, job="J1", supersedes="CT-00001"))
    change = CertificateChange("value", "S1", "sample", "Au", "FA30", "5", "[ppb]", "7", "[ppb]", 1.4)
    gone = CertificateChange("gone", "S2", "sample", "Au", "FA30", "5", "[ppb]", None, None)
    with start_work() as work:
        work.assays.set_superseded("CT-00001", by="CT-00002")
        work.assays.add_changes("CT-00002", [change, gone])
        work.commit()
    with start_work() as work:
        assert [one.certificate_id for one in work.assays.certificates()] == ["CT-00002"]
        assert [one.certificate_id for one in work.assays.certificates(superseded=True)] == ["CT-00002", "CT-00001"]
        assert [one.certificate_id for one in work.assays.certificates_of_job("Demo laboratory A", "J1")] == ["CT-00002"]
        assert set(work.assays.results()["certificate_id"]) == {"CT-00002"}
        assert set(work.assays.results(superseded=True)["certificate_id"]) == {"CT-00001", "CT-00002"}
        assert work.assays.certificates_of_numbers(["S1", "S7"]) == {"S1": ("CT-00002",)}
        assert work.assays.changes("CT-00002") == (change, gone)
        with pytest.raises(ChangedMeanwhile):
            work.assays.set_superseded("CT-00001", by="CT-00002")


def test_a_name_no_certificate_has_is_said(start_work):
    for name in ("CT-00009", "", "CT-", "CT-٣", "x" * 300):
        with start_work() as work, pytest.raises(NotFound):
            work.assays.certificate(name)
        with start_work() as work:
            assert work.assays.lines(name) == ()
            assert work.assays.changes(name) == ()


def test_a_mapping_is_remembered_by_laboratory_and_header_the_last_used_first(start_work):
    one = ColumnMapping("A", "wide", {"decimal_mark": ",", "columns": [1, 2]}, "h1", "Demo operator", REPORTED)
    two = ColumnMapping("A", "long", {}, "h2")
    with start_work() as work:
        assert work.assays.mapping("A") is None
        for mapping in (one, two, ColumnMapping("B", "wide")):
            work.assays.save_mapping(mapping)
        assert work.assays.mappings("A") == (two, one)
        again = replace(one, more={"decimal_mark": "."})
        work.assays.save_mapping(again)
        assert work.assays.mapping("A") == again
        assert len(work.assays.mappings()) == 3
        work.commit()


def test_storing_says_how_far_it_is(start_work):
    said = []
    with start_work() as work:
        work.assays.add_certificate(certificate(), LINES, RESULTS, progress=lambda *more: said.append(more))
    assert said == [(6, 6, "storing")]
    with start_work() as work:
        assert work.assays.certificates() == ()
