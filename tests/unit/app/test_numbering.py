"""Ticket numbers: from the reserved book first, never twice, kept by what was issued, void when withdrawn."""

from __future__ import annotations

import pytest

from trayside.app.edit_sheet import Edit
from trayside.errors import RefusedByRule


def numbers(yard, hole_id: str = "A-1") -> list[str]:
    return [row.number for row in yard.sheet(hole_id).rows]


def book(name: str, first: int, last: int, *, hole_id: str = "", voids: str = "") -> dict:
    return {"book": name, "prefix": "K", "first": first, "last": last, "digits": 4, "hole_id": hole_id, "voids": voids}


def test_a_fresh_sheet_counts_up_in_ticket_order(planned):
    assert numbers(planned) == [f"K{serial:04d}" for serial in range(101, 101 + len(numbers(planned)))]


def test_planning_again_takes_the_same_numbers(planned):
    before = planned.sheet()
    assert planned.plan().sheet.rows == before.rows


def test_the_next_hole_goes_on_where_the_last_one_ended(planned):
    planned.plan("C-7")
    first, second = numbers(planned), numbers(planned, "C-7")
    assert not set(first) & set(second)
    assert second[0] == f"K{101 + len(first):04d}"


def test_spoiled_tickets_are_passed_over(yard):
    yard.tables["tickets"] = [book("one", 101, 200, voids="102 105")]
    yard.load()
    yard.plan()
    assert numbers(yard)[:4] == ["K0101", "K0103", "K0104", "K0106"]


def test_a_ticket_spoiled_after_planning_leaves_the_draft_with_the_next_plan(planned):
    planned.tables["tickets"] = [book("one", 101, 200, voids="103")]
    planned.load()
    planned.plan()
    assert "K0103" not in numbers(planned)
    assert planned.number_states()["K0103"] == "released"


def test_the_reserved_book_comes_first_and_the_common_one_fills_up(yard):
    yard.tables["tickets"] = [book("common", 101, 200), book("of A-1", 501, 505, hole_id="A-1")]
    yard.load()
    yard.plan()
    yard.plan("C-7")
    assert numbers(yard)[:5] == [f"K{serial:04d}" for serial in (101, 102, 103, 104, 105)]
    assert sorted(number for number in numbers(yard) if number > "K0500") == [f"K050{end}" for end in range(1, 6)]
    assert all(number < "K0500" for number in numbers(yard, "C-7"))


def test_a_book_reserved_for_another_hole_is_never_touched(yard):
    yard.tables["tickets"] = [book("of C-7", 101, 200, hole_id="C-7")]
    yard.load()
    with pytest.raises(RefusedByRule, match="20 ticket numbers are missing for 20 bags"):
        yard.plan()
    assert yard.sheet() is None
    assert yard.number_states() == {}


def test_one_number_too_few_is_refused_and_exactly_enough_are_taken(yard):
    yard.tables["tickets"] = [book("one", 101, 119)]
    yard.load()
    with pytest.raises(RefusedByRule, match="1 ticket number is missing for 20 bags"):
        yard.plan()
    yard.tables["tickets"] = [book("one", 101, 119), book("two", 301, 301)]
    yard.load()
    yard.plan()
    assert numbers(yard)[-2:] == ["K0119", "K0301"]


def test_two_books_that_share_numbers_give_each_once(yard):
    yard.tables["tickets"] = [book("one", 101, 110), book("two", 106, 140)]
    yard.load()
    yard.plan()
    assert numbers(yard) == [f"K{serial:04d}" for serial in range(101, 121)]
    assert yard.plan().sheet.rows == yard.sheet().rows


def test_numbers_given_back_are_used_before_new_ones(planned):
    count = len(numbers(planned))
    planned.edit(Edit("join", 9000), Edit("join", 12_000), Edit("join", 17_000))
    states = planned.number_states()
    given_back = sorted(number for number, state in states.items() if state == "released")
    assert len(given_back) == count - len(numbers(planned)) >= 1
    planned.plan("C-7")
    assert numbers(planned, "C-7")[: len(given_back)] == given_back


def test_a_check_character_stands_at_the_end_of_every_number(yard):
    yard.rules += '[numbers]\ncheck_character = "damm"\n'
    yard.load()
    yard.plan()
    assert all(len(number) == len("K0101") + 1 for number in numbers(yard))


def test_bags_of_an_issued_sheet_keep_their_numbers_when_it_is_edited(planned):
    before = {(row.kind, row.from_mm, row.to_mm): row.number for row in planned.sheet().rows if row.kind == "sample"}
    planned.issue()
    planned.edit(Edit("split", 15_500))
    after = {(row.kind, row.from_mm, row.to_mm): row.number for row in planned.sheet().rows if row.kind == "sample"}
    for key in before.keys() & after.keys():
        assert before[key] == after[key], key
    upper, lower = after[("sample", 15_000, 15_500)], after[("sample", 15_500, 16_000)]
    assert before[("sample", 15_000, 16_000)] in (upper, lower)
    assert upper != lower


def test_a_moved_boundary_leaves_both_bags_their_numbers(planned):
    before = {row.from_mm: row.number for row in planned.sheet().rows if row.kind == "sample"}
    planned.issue()
    planned.edit(Edit("move", 15_000, 15_200))
    after = {row.from_mm: row.number for row in planned.sheet().rows if row.kind == "sample"}
    assert (after[14_000], after[15_200]) == (before[14_000], before[15_000])


def test_a_withdrawn_number_is_void_and_goes_to_no_other_bag(planned):
    planned.issue()
    dropped = next(row.number for row in planned.sheet().rows if row.from_mm == 8000)
    planned.edit(Edit("drop", 8000))
    assert planned.number_states()[dropped] == "void"
    planned.plan("C-7")
    assert dropped not in numbers(planned) + numbers(planned, "C-7")


def test_a_withdrawn_bag_that_comes_back_gets_its_own_number_back(planned):
    planned.issue()
    dropped = next(row for row in planned.sheet().rows if row.from_mm == 8000)
    planned.edit(Edit("drop", 8000))
    planned.plan()
    back = next(row for row in planned.sheet().rows if row.from_mm == 8000)
    assert back.number == dropped.number
    assert planned.number_states()[dropped.number] == "issued"


def test_a_withdrawn_bag_whose_book_is_gone_gets_a_fresh_number(planned):
    planned.issue()
    dropped = next(row.number for row in planned.sheet().rows if row.from_mm == 8000)
    planned.edit(Edit("drop", 8000))
    planned.tables["tickets"] = [book("one", 701, 800)]
    planned.load()
    planned.plan()
    assert dropped not in numbers(planned)
    assert planned.number_states()[dropped] == "void"


def test_no_number_stands_twice_in_the_yard_whatever_was_done(planned):
    planned.issue()
    planned.edit(Edit("split", 12_400), Edit("join", 14_000))
    planned.plan("C-7")
    planned.edit(Edit("drop", 21_000))
    planned.plan("C-7")
    planned.edit(Edit("add", 21_000, 22_000))
    planned.issue()
    planned.plan()
    everything = numbers(planned) + numbers(planned, "C-7")
    assert len(everything) == len(set(everything))


def serials(yard) -> list[int]:
    """The ticket of every number that is on a draft or on paper."""
    with yard.engine.connect() as connection:
        asked = "SELECT serial FROM sample_numbers WHERE state <> 'released'"
        return list(connection.exec_driver_sql(asked).scalars())


def with_check_character(yard, scheme: str) -> None:
    yard.rules = yard.rules.split("[numbers]")[0] + f'[numbers]\ncheck_character = "{scheme}"\n'
    yard.load()


def test_a_ticket_is_on_one_bag_whatever_check_character_was_printed(planned):
    """The same ticket reads K0101 without a check character and K01014 with one: still one piece of paper."""
    with_check_character(planned, "damm")
    planned.plan()
    planned.issue()
    with_check_character(planned, "none")
    planned.plan("C-7")
    planned.issue("C-7")
    assert len(serials(planned)) == len(set(serials(planned)))


def test_more_digits_on_the_tickets_rewrite_the_draft_with_the_next_plan(planned):
    before = numbers(planned)
    planned.tables["tickets"][0]["digits"] = 6
    planned.load()
    planned.plan()
    assert numbers(planned) == [f"K00{number.removeprefix('K')}" for number in before]
    planned.plan("C-7")
    assert numbers(planned, "C-7")[0] == f"K{101 + len(before):06d}"
    assert len(serials(planned)) == len(set(serials(planned)))


def test_a_number_given_back_is_printed_as_tickets_are_printed_now(planned):
    planned.edit(Edit("join", 9000), Edit("join", 12_000), Edit("join", 17_000))
    given_back = [number for number, state in planned.number_states().items() if state == "released"]
    planned.tables["tickets"][0]["digits"] = 5
    planned.load()
    planned.plan("C-7")
    assert numbers(planned, "C-7")[: len(given_back)] == sorted(number.replace("K", "K0") for number in given_back)


def test_numbers_on_paper_stay_as_printed_when_the_tickets_change(planned):
    issued = planned.issue().rows
    dropped = next(row for row in planned.sheet().rows if row.from_mm == 8000)
    planned.edit(Edit("drop", 8000))
    planned.tables["tickets"][0]["digits"] = 6
    with_check_character(planned, "damm")
    planned.plan()
    assert [row.number for row in planned.sheet().rows] == [row.number for row in issued]
    assert dropped.number in numbers(planned)
    planned.edit(Edit("split", 15_500))
    new = set(numbers(planned)) - {row.number for row in issued}
    assert [len(number) for number in new] == [len("K000121") + 1]


def test_a_number_that_reads_like_another_ticket_is_passed_over(yard):
    """K0101 with its check character reads like a ticket of five digits without one."""
    yard.tables["tickets"] = [book("one", 101, 120)]
    with_check_character(yard, "damm")
    yard.plan()
    alike = sorted(int(number.removeprefix("K")) for number in numbers(yard))
    yard.tables["tickets"].append(book("two", alike[0] - 1, alike[0] + 60) | {"digits": 5, "hole_id": "C-7"})
    with_check_character(yard, "none")
    yard.plan("C-7")
    others = [int(number.removeprefix("K")) for number in numbers(yard, "C-7")]
    assert others[0] == alike[0] - 1
    assert alike[0] + 1 in others
    assert not set(others) & set(alike)
