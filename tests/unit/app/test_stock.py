"""What lies on the shelf: a count finds what is free, and every bag is taken from it once."""

from __future__ import annotations

from trayside.app.check_yard import check_all
from trayside.app.edit_sheet import Edit

BLANKS = 2
"""The row of the blank among the materials of the small yard."""


def count(yard, left: int, **more) -> None:
    """Somebody counts the blanks and loads the table."""
    yard.tables["materials"][BLANKS] |= {"in_stock": left, **more}
    yard.load()


def left(yard) -> int | None:
    """What the yard says is left of the blanks; None when that is enough."""
    found = [one for one in check_all(start_work=yard.start_work) if one.code == "stock.low"]
    return next((one.evidence["left"] for one in found if one.evidence["material"] == "BLK"), None)


def blanks(yard, hole_id: str = "A-1") -> int:
    return sum(row.material == "BLK" for row in yard.sheet(hole_id).rows)


def test_a_count_after_issuing_is_not_lowered_by_what_was_set_aside(planned):
    count(planned, 8)
    assert left(planned) == 8 - blanks(planned)
    planned.issue()
    assert left(planned) == 8 - blanks(planned), "issuing takes nothing more"
    count(planned, 7)
    assert left(planned) == 7
    planned.load()
    assert left(planned) == 7


def test_what_is_issued_after_the_count_is_taken_from_it(planned):
    planned.issue()
    count(planned, 9)
    planned.plan("C-7")
    assert left(planned) == 9 - blanks(planned, "C-7") < 9
    planned.issue("C-7")
    assert left(planned) == 9 - blanks(planned, "C-7")
    count(planned, 9 - blanks(planned, "C-7"))
    assert left(planned) == 9 - blanks(planned, "C-7")


def test_the_same_number_counted_again_is_told_by_its_remark(planned):
    count(planned, 9)
    planned.issue()
    assert left(planned) == 9 - blanks(planned)
    count(planned, 9, remark="counted again, new box")
    assert left(planned) == 9


def test_a_count_of_one_material_is_no_count_of_the_others(planned):
    count(planned, 9)
    planned.issue()
    planned.tables["materials"][0]["in_stock"] = 49
    planned.load()
    assert left(planned) == 9 - blanks(planned)


def test_a_sheet_keeps_what_was_set_aside_for_it_when_the_shelf_is_empty(planned):
    before = [row.material for row in planned.sheet().rows if row.kind == "blank"]
    planned.issue()
    count(planned, 0)
    planned.edit(Edit("move", 15_000, 15_200))
    assert [row.material for row in planned.sheet().rows if row.kind == "blank"] == before != []
    planned.plan("C-7")
    assert blanks(planned, "C-7") == 0


def test_only_what_a_revision_adds_is_taken_from_the_new_count(planned):
    planned.issue()
    count(planned, 9)
    before = blanks(planned)
    planned.rules = planned.rules.replace("blank_every = 10", "blank_every = 6\nseed = 7")
    planned.load()
    planned.plan()
    more = blanks(planned) - before
    assert more > 0
    assert left(planned) == 9 - more
