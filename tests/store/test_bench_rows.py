"""What the bench chooses from: only issued sheets, at their newest revision, with their trays and numbers."""

from __future__ import annotations

from store_yard import load, revision_of, sample, save, serials, sheet

from trayside.app.ports import IssuedSheet


def issue(work, hole_id: str, rows, *, number: int = 1):
    saved = save(work, sheet(hole_id, rows))
    work.add_revision(revision_of(saved, number))
    return saved


def test_a_draft_is_not_offered(start_work):
    with start_work() as work:
        load(work, "A-1")
        save(work, sheet("A-1", (sample(1, 1),)))
        assert work.issued_sheets() == ()


def test_issued_sheets_come_by_name_with_trays_and_ranges(start_work):
    with start_work() as work:
        load(work, "B-2", "A-1")
        issue(work, "B-2", tuple(sample(seq, 100 + seq) for seq in range(1, 4)))
        issue(work, "A-1", tuple(sample(seq, seq) for seq in range(1, 6)))
        work.commit()
        found = work.issued_sheets()
        first, second = found
        assert [one.hole_id for one in found] == ["A-1", "B-2"]
        assert isinstance(first, IssuedSheet)
        assert sum(bags for _, bags in first.trays) == 5
        assert [len(one.ranges) for one in found] == [1, 1]
        assert first.ranges[0] == (sample(1, 1).number, sample(5, 5).number)
        assert second.ranges[0] == (sample(1, 101).number, sample(3, 103).number)


def test_only_the_newest_revision_says_which_trays_have_bags(start_work):
    with start_work() as work:
        load(work, "A-1")
        saved = issue(work, "A-1", tuple(sample(seq, seq) for seq in range(1, 4)))
        fewer = sheet("A-1", saved.rows[:2], version=saved.version, revision=1)
        again = work.save_sheet(fewer, serials=serials(fewer))
        work.add_revision(revision_of(again, 2))
        (found,) = work.issued_sheets()
        assert found.revision == 2
        assert sum(bags for _, bags in found.trays) == 2
