"""Certificates brought in: all or nothing, once, re-issues compared, numbers held against what was issued or sent."""

from __future__ import annotations

import polars
import pytest

from trayside.app.import_certificate import bring_in, look
from trayside.app.office_acts import Desk, Signer
from trayside.errors import RefusedByRule
from trayside.files.certificate_reader import open_file
from trayside.model.load import Load, Request, Sack

HEAD = "Laboratory: {lab}\nJob: {job}\nReported: {day}\nSample,Type,Au {unit},Cu ppm,Ag ppm (0.1-100)\n"


@pytest.fixture
def issued(planned):
    planned.issue()
    return planned


def numbers_of(yard) -> list[str]:
    return [row.number for row in yard.sheet().rows]


def text(numbers, *, job="J1", day="2031-06-02", unit="ppm", lab="Demo laboratory A", au=None, more="") -> str:
    lines = [f"{n},SMP,{(au or {}).get(n, f'{0.5 + place / 10:.2f}')},{30 + place},0.5" for place, n in enumerate(numbers)]
    return HEAD.format(lab=lab, job=job, day=day, unit=unit) + "\n".join(lines) + "\n" + more


def desk(yard) -> Desk:
    return Desk(Signer("Demo QC", "terminal"), yard.clock, yard.make_id)


def bring(yard, raw: str, settled: dict | None = None, *, confirmed: bool = True, **more):
    opened = open_file(raw.encode(), source="c.csv")
    return bring_in(opened, settled or {}, confirmed=confirmed, desk=desk(yard), start_work=yard.start_work, **more)


def seen(yard, raw: str, settled: dict | None = None):
    return look(open_file(raw.encode(), source="c.csv"), settled or {}, start_work=yard.start_work)


def codes(findings) -> set[str]:
    return {finding.code for finding in findings}


def test_nothing_is_stored_before_somebody_confirmed_the_mapping(issued):
    raw = text(numbers_of(issued))
    before = issued.row_counts()
    assert seen(issued, raw).ready
    with pytest.raises(RefusedByRule, match="must be confirmed"):
        bring(issued, raw, confirmed=False)
    assert issued.row_counts() == before
    assert bring(issued, raw).certificate.certificate_id == "CT-00001"


def test_with_a_remembered_mapping_the_next_file_comes_in_without_a_question(issued):
    numbers = numbers_of(issued)
    bring(issued, text(numbers[:5]))
    brought = bring(issued, text(numbers[5:], job="J2"), confirmed=False)
    assert brought.new
    with issued.start_work(writing=False) as work:
        assert len(work.assays.certificates()) == 2
        assert work.assays.mapping("Demo laboratory A").confirmed_by == "Demo QC"


def test_the_same_file_twice_changes_nothing(issued):
    raw = text(numbers_of(issued))
    first = bring(issued, raw)
    before = issued.row_counts()
    again = bring(issued, raw)
    assert (first.new, again.new, again.certificate) == (True, False, first.certificate)
    assert issued.row_counts() == before
    assert seen(issued, raw).known == first.certificate


def test_the_same_file_read_otherwise_supersedes_and_says_what_changed(issued):
    raw = text(numbers_of(issued))
    bring(issued, raw)
    again = bring(issued, raw, {"unit:3": "[ppb]"})
    assert again.certificate.supersedes == "CT-00001"
    assert again.changed == len(numbers_of(issued))
    assert "certificate.unit_changed" in codes(again.certificate.findings)


def test_open_questions_keep_a_file_out(issued):
    raw = text(numbers_of(issued)).replace("Au ppm", "Au oz/t").replace("Job: J1\n", "")
    with pytest.raises(RefusedByRule) as refused:
        bring(issued, raw)
    assert [reason.split(":")[0] for reason in refused.value.reasons] == ["job", "unit"]


def test_a_reissue_supersedes_and_every_changed_value_is_told_and_kept(issued):
    numbers = numbers_of(issued)
    bring(issued, text(numbers))
    again = bring(issued, text(numbers[1:], day="2031-06-09", au={numbers[2]: "<0.01"}))
    with issued.start_work(writing=False) as work:
        assert [one.certificate_id for one in work.assays.certificates()] == ["CT-00002"]
        assert work.assays.certificate("CT-00001").superseded_by == "CT-00002"
        told = [(one.kind, one.number, one.element, one.before_text, one.after_text) for one in work.assays.changes("CT-00002")]
        assert ("value", numbers[2], "Au", "0.70", "<0.01") in told
        gone = [one for one in told if one[0] == "gone"]
        assert {one[1] for one in gone} == {numbers[0]}
        assert work.assays.change_counts("CT-00002")["gone"] == len(gone) == 3
        assert set(work.assays.results()["certificate_id"]) == {"CT-00002"}
    assert {"certificate.gone", "certificate.changed"} <= codes(again.certificate.findings)
    assert "certificate.unit_changed" not in codes(again.certificate.findings)


@pytest.mark.parametrize("factor", [1000, 0.001, 31.1035, 34.2857])
def test_a_whole_column_moved_like_a_changed_unit_is_found_without_any_word_of_it(issued, factor):
    numbers = numbers_of(issued)
    first = {n: f"{0.5 + place / 10:.4f}" for place, n in enumerate(numbers)}
    bring(issued, text(numbers, au=first))
    moved = {n: f"{float(value) * factor:.7f}" for n, value in first.items()}
    held = seen(issued, text(numbers, day="2031-06-09", au=moved))
    found = [finding for finding in held.findings if finding.code == "certificate.unit_changed"]
    assert [finding.evidence["element"] for finding in found] == ["Au"]
    assert found[0].evidence["ratio"] == pytest.approx(factor, rel=1e-3)
    assert found[0].severity == "stop"


def test_the_same_amounts_in_another_unit_are_only_noted(issued):
    numbers = numbers_of(issued)
    first = {n: f"{0.5 + place / 10:.2f}" for place, n in enumerate(numbers)}
    bring(issued, text(numbers, au=first))
    again = {n: f"{float(value) * 1000:.0f}" for n, value in first.items()}
    held = seen(issued, text(numbers, day="2031-06-09", unit="ppb", au=again))
    assert "certificate.unit_restated" in codes(held.findings)
    assert "certificate.unit_changed" not in codes(held.findings)
    assert held.proposal.changed == ("column 3 was 'Au ppm', is 'Au ppb'",)


def test_other_elements_of_the_same_job_stand_beside_the_first(issued):
    numbers = numbers_of(issued)
    bring(issued, text(numbers))
    other = f"Laboratory: Demo laboratory A\nJob: J1\nReported: 2031-06-05\nSample,Zn ppm\n{numbers[0]},44\n"
    assert bring(issued, other).certificate.supersedes is None
    with issued.start_work(writing=False) as work:
        assert set(work.assays.results(numbers=numbers[:1])["element"]) == {"Au", "Cu", "Ag", "Zn"}


def test_a_small_part_of_an_earlier_certificate_is_asked_about(issued):
    numbers = numbers_of(issued)
    bring(issued, text(numbers))
    part = text(numbers[:2], day="2031-06-20")
    held = seen(issued, part)
    assert [one.key for one in held.questions] == ["supersedes"]
    with pytest.raises(RefusedByRule):
        bring(issued, part)
    assert bring(issued, part, {"supersedes": "none"}).certificate.supersedes is None


def test_an_older_issue_that_comes_late_does_not_push_the_newer_one_out(issued):
    numbers = numbers_of(issued)
    bring(issued, text(numbers, day="2031-06-20"))
    held = seen(issued, text(numbers, day="2031-06-02", au={numbers[0]: "9"}))
    assert [one.key for one in held.questions] == ["supersedes"]


def test_missing_and_misread_numbers_are_told_against_the_issued_sheet(issued):
    numbers = numbers_of(issued)
    written = numbers[3][:-2] + numbers[3][-1] + numbers[3][-2]
    assert written not in numbers
    listed = [*numbers[:3], written, *numbers[4:]]
    held = seen(issued, text(listed)).reconciliation
    assert (held.basis, held.missing, held.extra) == ("sheets", (numbers[3],), (written,))
    assert held.suggestions[0].suggestion == numbers[3]
    brought = bring(issued, text(listed), {f"take:{written}": numbers[3]})
    assert not {"certificate.misread", "certificate.missing"} & codes(brought.certificate.findings)
    with issued.start_work(writing=False) as work:
        line = next(line for line in work.assays.lines("CT-00001") if line.as_written == written)
    assert line.number == numbers[3]


def test_a_load_that_comes_back_in_parts_is_not_called_missing(issued):
    numbers = numbers_of(issued)
    with issued.start_work() as work:
        now = issued.clock()
        work.loads.save_load(Load("LD-0001", Request("Demo laboratory A", ("fire assay",)), 0, now, "Demo lead"))
        work.loads.add_sacks([Sack("SK-00001", tuple(numbers), now, "Demo operator", load_id="LD-0001")])
        work.commit()
    half = len(numbers) // 2
    first = bring(issued, text([*numbers[:2], *numbers[3:half]])).reconciliation
    assert (first.basis, first.loads, first.missing) == ("loads", ("LD-0001",), (numbers[2],))
    assert first.waiting == tuple(numbers[half:])
    second = bring(issued, text(numbers[half:], job="J2")).reconciliation
    assert (second.missing, second.elsewhere) == ((), tuple([*numbers[:2], *numbers[3:half]]))
    assert second.waiting == (numbers[2],)


def test_a_certificate_of_another_yard_is_not_told_number_by_number(issued):
    held = seen(issued, text([f"X{n}" for n in range(300)]))
    assert held.reconciliation.basis == "nothing"
    assert codes(held.findings) == {"certificate.unknown_samples"}


def test_an_issued_ticket_whose_name_begins_like_a_standard_stays_a_sample(issued):
    numbers = numbers_of(issued)
    raw = text(numbers).replace(f"{numbers[0]},SMP", f"{numbers[0]},")
    done = bring(issued, raw, {f"start:{numbers[0]}": "laboratory standard"})
    with issued.start_work(writing=False) as work:
        assert work.assays.lines(done.certificate.certificate_id)[0].line_kind == "sample"


def test_odd_results_are_told_by_column_with_their_numbers(issued):
    numbers = numbers_of(issued)
    au = {numbers[0]: "0", numbers[1]: "1-5", numbers[2]: ">10", numbers[3]: "LNR", numbers[4]: "IS"}
    raw = text(numbers, au=au).replace(",0.5\n", ",500\n", 1)
    found = {f.code: f for f in bring(issued, raw).certificate.findings}
    assert {
        "certificate.zero", "certificate.review", "certificate.over_range", "certificate.no_sample",
        "certificate.little_sample", "certificate.unit_alarm",
    } <= set(found)  # fmt: skip
    assert found["certificate.zero"].number == numbers[0]
    assert found["certificate.zero"].hole_id == "A-1"
    assert "0.1 to 100 ppm" in found["certificate.unit_alarm"].message


def test_an_over_range_result_that_comes_later_becomes_the_preferred_one(issued):
    numbers = numbers_of(issued)
    bring(issued, text(numbers, au={numbers[0]: ">10"}))
    more = f"Laboratory: Demo laboratory A\nJob: J1-OVER\nReported: 2031-06-12\nSample,Au ppm GRAV\n{numbers[0]},14.2\n"
    bring(issued, more)
    with issued.start_work(writing=False) as work:
        for asked in ({}, {"certificate_ids": ["CT-00001"]}, {"numbers": numbers[:1]}, {"elements": ["Au"]}):
            frame = work.assays.results(**asked).filter(
                (polars.col("number") == numbers[0]) & (polars.col("element") == "Au")
            )
            held = {row["raw_text"]: row["preferred"] for row in frame.iter_rows(named=True)}
            assert held[">10"] is False, asked
            assert held.get("14.2", True) is True


@pytest.mark.parametrize("at", range(1, 6))
def test_a_stopped_import_leaves_no_residue(issued, at):
    raw, asked, before = text(numbers_of(issued)), [], issued.row_counts()

    def stop() -> bool:
        asked.append(1)
        return len(asked) == at

    try:
        brought = bring(issued, raw, cancelled=stop)
    except RefusedByRule as stopped:
        brought = None
        what = stopped.what
    if brought is None:
        assert "stopped" in what
        assert issued.row_counts() == before
    else:
        assert len(asked) < at


def test_progress_is_said_in_order(issued):
    said = []
    bring(issued, text(numbers_of(issued)), progress=lambda done, total, what: said.append((what, done <= total)))
    assert [what for what, _ in said] == ["reading", "comparing", "storing", "closing"]
    assert all(fine for _, fine in said)
