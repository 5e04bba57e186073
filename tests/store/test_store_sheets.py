from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError
from store_yard import ISSUED_AT, control, load, revision_of, sample, save, serials, sheet

from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule

ROWS = (sample(1, 1), sample(2, 2, duplicate_of=None), control(3, 3), sample(4, 4))


@pytest.fixture
def planned(start_work):
    """Hole K-1 planned with ROWS, hole K-2 loaded."""
    with start_work() as work:
        load(work, "K-1", "K-2", "K-3")
        saved = save(work, sheet("K-1", ROWS, by_hand=(1000, 2500)))
        work.commit()
    return saved


def state_of(engine, number: str) -> tuple:
    with engine.connect() as connection:
        asked = text("SELECT state, hole_id, sheet_id FROM sample_numbers WHERE number = :number")
        return tuple(connection.execute(asked, {"number": number}).one())


def test_a_sheet_comes_back_as_it_was_saved(start_work, planned):
    assert planned.version == 1
    with start_work() as work:
        assert work.sheet("K-1") == planned
        assert work.sheet("K-1").rows == ROWS
        assert work.sheet_numbers("K-1") == {f"A{serial:04d}": ("A", serial) for serial in (1, 2, 3, 4)}
        assert work.sheet("K-2") is None
        assert work.sheet_numbers("K-2") == {}


def test_the_second_editor_is_told_who_was_faster_and_loses_nothing(start_work, planned):
    with start_work() as work:
        first = save(work, replace(planned, rows=ROWS[:2], edited_by="ben"))
        work.commit()
    with start_work() as work:
        with pytest.raises(ChangedMeanwhile, match="ben saved version 2 while you were working on version 1"):
            save(work, replace(planned, rows=ROWS[:3]))
        work.commit()
    with start_work() as work:
        assert work.sheet("K-1") == first


def test_two_first_plans_of_one_hole_are_not_both_kept(start_work, planned):
    with start_work() as work, pytest.raises(ChangedMeanwhile, match="ada planned this hole first"):
        save(work, sheet("K-1", ROWS[:1], sheet_id="another"))


def test_a_sheet_of_no_hole_is_refused(start_work):
    with start_work() as work, pytest.raises(NotFound, match="K-9"):
        save(work, sheet("K-9", ROWS))


def test_a_number_of_another_sheet_is_refused_and_names_its_hole(start_work, planned):
    with start_work() as work:
        with pytest.raises(RefusedByRule, match="A0002 belongs to the sheet of hole K-1") as refused:
            save(work, sheet("K-2", (sample(1, 7), sample(2, 2))))
        assert refused.value.where == "K-2"
        work.commit()
    with start_work() as work:
        assert work.sheet("K-2") is None, "a refused sheet must leave nothing behind, even if the work goes on"
        assert work.highest_serial(prefix="A", first=1, last=100) == 4


def test_a_number_twice_on_one_sheet_is_refused(start_work, planned):
    with start_work() as work, pytest.raises(RefusedByRule, match="A0001 stands twice"):
        save(work, replace(planned, rows=(sample(1, 1), sample(2, 1))))


def test_a_number_without_serial_or_with_another_is_refused(start_work, planned):
    with start_work() as work:
        with pytest.raises(ImpossibleValue, match="A0005"):
            work.save_sheet(replace(planned, rows=(sample(1, 5),)), serials={})
        with pytest.raises(ImpossibleValue, match="A0001 has serial A1, not B7"):
            work.save_sheet(replace(planned, rows=(sample(1, 1),)), serials={"A0001": ("B", 7)})


def test_a_ticket_that_is_printed_anew_is_still_one_ticket(start_work, engine, planned):
    again = replace(sample(1, 1), number="A00001")
    with start_work() as work:
        saved = work.save_sheet(replace(planned, rows=(again,)), serials={"A00001": ("A", 1)})
        assert work.sheet_numbers("K-1") == {"A00001": ("A", 1)}
        assert work.serials_of(["A0001", "A00001", "A0002"]) == {"A00001": ("A", 1), "A0002": ("A", 2)}
        taken = replace(sample(1, 2), number="A00002")
        work.save_sheet(sheet("K-2", (taken,)), serials={"A00002": ("A", 2)})
        work.add_revision(revision_of(saved))
        work.commit()
    assert state_of(engine, "A00002") == ("planned", "K-2", "sheet of K-2")
    with engine.connect() as connection:
        assert connection.execute(text("SELECT count(*) FROM sample_numbers WHERE number = 'A0002'")).scalar_one() == 0
    with start_work() as work:
        issued = work.sheet("K-1")
        with pytest.raises(RefusedByRule, match="ticket A1 was issued as A00001"):
            save(work, replace(issued, rows=(sample(1, 1),)))
        with pytest.raises(RefusedByRule, match="A00001 belongs to the sheet of hole K-1"):
            work.save_sheet(sheet("K-3", (sample(1, 1),)), serials={"A0001": ("A", 1)})


def test_one_ticket_twice_on_one_sheet_is_refused(start_work, planned):
    rows = (sample(1, 1), replace(sample(2, 1), number="A00001"))
    with start_work() as work, pytest.raises(RefusedByRule, match="A0001, A00001 stand on one ticket"):
        work.save_sheet(replace(planned, rows=rows), serials={"A0001": ("A", 1), "A00001": ("A", 1)})


def test_a_dropped_number_is_released_and_can_be_taken_by_any_hole(start_work, engine, planned):
    with start_work() as work:
        save(work, replace(planned, rows=ROWS[:3]))
        assert work.released_serials(prefix="A", first=1, last=100) == (4,)
        assert work.released_serials(prefix="A", first=5, last=100) == ()
        assert work.released_serials(prefix="B", first=1, last=100) == ()
        work.commit()
    assert state_of(engine, "A0004") == ("released", None, None)
    with start_work() as work:
        save(work, sheet("K-2", (sample(1, 4),)))
        assert work.released_serials(prefix="A", first=1, last=100) == ()
        work.commit()
    assert state_of(engine, "A0004") == ("planned", "K-2", "sheet of K-2")


def test_a_number_that_stood_on_paper_becomes_void_and_goes_to_no_other_hole(start_work, engine, planned):
    with start_work() as work:
        work.add_revision(revision_of(planned))
        issued = work.sheet("K-1")
        dropped = save(work, replace(issued, rows=ROWS[:3]))
        assert work.released_serials(prefix="A", first=1, last=100) == ()
        assert "A0004" not in work.sheet_numbers("K-1")
        assert work.highest_serial(prefix="A", first=1, last=100) == 4
        work.commit()
    assert state_of(engine, "A0004") == ("void", "K-1", "sheet of K-1")
    with start_work() as work, pytest.raises(RefusedByRule, match="A0004 was issued for and voided on"):
        save(work, sheet("K-2", (sample(1, 4),)))
    with start_work() as work:
        save(work, replace(dropped, rows=ROWS))
        work.commit()
    assert state_of(engine, "A0004") == ("issued", "K-1", "sheet of K-1")


def test_the_highest_serial_counts_only_its_prefix_and_range(start_work, planned):
    with start_work() as work:
        assert work.highest_serial(prefix="A", first=1, last=3) == 3
        assert work.highest_serial(prefix="A", first=5, last=9) is None
        assert work.highest_serial(prefix="", first=1, last=9) is None


def test_materials_on_drafts_are_counted_without_the_hole_being_planned(start_work, planned):
    with start_work() as work:
        save(work, sheet("K-2", (control(1, 8), control(2, 9, "BL-1"), sample(3, 10))))
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 2, "BL-1": 1}
        assert work.materials_on_sheets(except_hole_id="K-2") == {"STD-1": 1}
        save(work, replace(planned, rows=ROWS[:2]))
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 1, "BL-1": 1}
        assert work.materials_on_sheets(except_hole_id="K-9") == {"STD-1": 1, "BL-1": 1}


def test_a_count_leaves_out_what_was_issued_before_it(start_work, planned):
    with start_work() as work:
        save(work, sheet("K-2", (control(1, 8), control(2, 9, "BL-1"))))
        work.add_revision(revision_of(planned))
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 2, "BL-1": 1}
        work.count_anew(["STD-1", "NEW-1"])
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 1, "BL-1": 1}
        assert work.materials_on_sheets(except_hole_id="K-1") == {"BL-1": 1}
        second = save(work, replace(work.sheet("K-1"), rows=(*ROWS, control(5, 5))))
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 2, "BL-1": 1}
        later = replace(revision_of(second, 2), issued_at=ISSUED_AT + timedelta(days=1))
        work.add_revision(later)
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 2, "BL-1": 1}
        save(work, replace(work.sheet("K-1"), rows=ROWS[:2]))
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": 1, "BL-1": 1}


def test_an_issued_revision_keeps_its_rows_while_the_draft_moves_on(start_work, engine, planned):
    first = revision_of(planned)
    with start_work() as work:
        work.add_revision(first)
        work.commit()
    assert state_of(engine, "A0001")[0] == "issued"
    with start_work() as work:
        draft = work.sheet("K-1")
        assert (draft.revision, draft.version) == (1, 1)
        changed = save(work, replace(draft, rows=(*ROWS[:3], replace(ROWS[3], side="left"))))
        assert changed.revision == 1
        work.add_revision(revision_of(changed, 2, rows=changed.rows))
        work.commit()
    with start_work() as work:
        assert work.revision("K-1", 1) == replace(first, rows=ROWS)
        assert work.revision("K-1", 2).rows[3].side == "left"
        assert work.revisions("K-1") == (first, revision_of(changed, 2))
        assert work.revisions("K-2") == ()
        with pytest.raises(NotFound, match="revision 3"):
            work.revision("K-1", 3)


def test_times_are_kept_to_the_microsecond_in_utc_and_a_bare_time_is_refused(start_work, planned):
    elsewhere = ISSUED_AT.astimezone(timezone(timedelta(hours=-7)))
    with start_work() as work:
        work.add_revision(replace(revision_of(planned), issued_at=elsewhere))
        kept = work.revision("K-1", 1).issued_at
        assert kept == ISSUED_AT
        assert kept.utcoffset() == timedelta(0)
    with start_work() as work, pytest.raises(Exception, match="without a zone"):
        work.add_revision(replace(revision_of(planned), issued_at=datetime(2031, 5, 4)))


def test_a_revision_out_of_turn_or_of_other_rows_is_refused(start_work, planned):
    with start_work() as work:
        with pytest.raises(ChangedMeanwhile, match="revision 0 is the newest"):
            work.add_revision(revision_of(planned, 2))
        with pytest.raises(ChangedMeanwhile, match="ada saved other rows"):
            work.add_revision(revision_of(planned, 1, rows=ROWS[:2]))
        with pytest.raises(NotFound):
            work.add_revision(revision_of(sheet("K-2", ROWS)))
        work.add_revision(revision_of(planned))
        with pytest.raises(ChangedMeanwhile, match="revision 1 is the newest"):
            work.add_revision(revision_of(planned))


TAMPERING = (
    "UPDATE sheet_revisions SET issued_by = 'eve'",
    "DELETE FROM sheet_revisions",
    "UPDATE sheet_rows SET side = 'left' WHERE revision = 1",
    "UPDATE sheet_rows SET revision = 1, seq = 9 WHERE revision = 0 AND seq = 1",
    "DELETE FROM sheet_rows WHERE revision = 1",
    "UPDATE sheet_rows SET revision = 0, seq = 9 WHERE revision = 1 AND seq = 1",
)
ADD_ROW = """INSERT INTO sheet_rows (sheet_id, revision, seq, kind, number, method, method_reason, portion, side,
             top_reason, bottom_reason, reason, caution, rack)
             SELECT sheet_id, 1, 99, kind, 'A9999', method, method_reason, portion, side,
             top_reason, bottom_reason, reason, caution, rack FROM sheet_rows WHERE revision = 0 AND seq = 1"""
REPLACE_HEAD = """INSERT OR REPLACE INTO sheet_revisions
                  SELECT sheet_id, revision, hole_id, issued_at, 'eve', statement, digest, changes FROM sheet_revisions"""
WHOLE_TABLE = ("TRUNCATE sheet_revisions", "TRUNCATE sheet_rows")


def test_the_database_itself_refuses_to_touch_what_was_issued(start_work, engine, planned, backend):
    with start_work() as work:
        work.add_revision(revision_of(planned))
        work.commit()
        frozen = work.revision("K-1", 1)
    for statement in (*TAMPERING, ADD_ROW, *((REPLACE_HEAD,) if backend == "sqlite" else WHOLE_TABLE)):
        with engine.connect().execution_options(writing=True) as connection, pytest.raises(DBAPIError, match="frozen"):
            connection.exec_driver_sql(statement)
    with engine.connect().execution_options(writing=True) as connection:
        assert connection.exec_driver_sql("UPDATE sheet_rows SET side = 'left' WHERE revision = 0").rowcount == len(
            ROWS
        )
    with start_work() as work:
        assert work.revision("K-1", 1) == frozen


def test_the_key_refuses_a_number_twice_even_behind_our_back(start_work, engine, planned):
    with engine.connect().execution_options(writing=True) as connection, pytest.raises(DBAPIError, match=r"(?i)unique"):
        connection.exec_driver_sql(
            "INSERT INTO sample_numbers VALUES ('A0001', 'A', 9, 'planned', 'K-1', 'sheet of K-1')"
        )


def test_the_store_refuses_a_ticket_twice_even_behind_our_back(start_work, engine, planned):
    with engine.connect().execution_options(writing=True) as connection, pytest.raises(DBAPIError, match=r"(?i)unique"):
        connection.exec_driver_sql(
            "INSERT INTO sample_numbers VALUES ('A00001', 'A', 1, 'planned', 'K-1', 'sheet of K-1')"
        )


def test_hundreds_of_numbers_are_looked_up_and_given_back(start_work, planned):
    rows = tuple(sample(seq, 1000 + seq) for seq in range(1, 1201))
    with start_work() as work:
        long = save(work, sheet("K-2", rows))
        assert work.sheet_numbers("K-2") == serials(long)
        with pytest.raises(RefusedByRule, match="and 695 more") as refused:
            save(work, replace(planned, rows=rows[:700]))
        assert len(refused.value.reasons) == 700
        save(work, replace(long, rows=rows[:1]))
        assert work.released_serials(prefix="A", first=1, last=9999) == tuple(range(1002, 2201))
