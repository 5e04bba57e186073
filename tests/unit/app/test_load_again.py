"""A second folder: what the holes share is added to and corrected, and what the folder does not name stays."""

from __future__ import annotations

import pytest

from trayside.errors import LoadRefused

SHARED = ("rock_codes", "materials", "tickets")


def only(yard, hole_id: str, *without: str) -> None:
    """Leave one hole in the folder, and take whole tables out of it."""
    for name in ("holes", "runs", "trays", "rock"):
        yard.tables[name] = yard.rows(name, hole_id)
    for name in without:
        yard.tables.pop(name, None)


def add_hole(yard, hole_id: str, **run) -> None:
    """Leave one new hole in the folder, like the last one of the tables."""
    like = yard.tables["holes"][-1]["hole_id"]
    for name in ("holes", "runs", "trays", "rock"):
        more = run if name == "runs" else {}
        yard.tables[name] = [row | {"hole_id": hole_id} | more for row in yard.rows(name, like)]


def test_a_folder_of_one_new_hole_leaves_what_the_yard_shares(planned):
    before = planned.view()
    add_hole(planned, "D-1")
    for name in SHARED:
        del planned.tables[name]
    planned.rules = None
    report = planned.load()
    assert (report.holes_new, report.tables_changed, report.shared_words) == (("D-1",), (), ())
    after = planned.view()
    assert (after.rules, after.stock) == (before.rules, before.stock)
    assert not after.stale
    planned.plan("D-1")


def test_core_sizes_of_the_yard_stay_and_new_holes_may_use_them(yard):
    yard.tables["core_sizes"] = [
        {"core_size": "NQ", "core_diameter_mm": 47.6},
        {"core_size": "X9", "core_diameter_mm": 41.0},
    ]
    yard.load()
    add_hole(yard, "D-1", core_size="X9")
    yard.tables.pop("core_sizes")
    assert yard.load().tables_changed == ()
    assert set(yard.view("D-1").stock.core_sizes) == {"NQ", "X9"}
    add_hole(yard, "D-2", core_size="HQ")
    with pytest.raises(LoadRefused) as refused:
        yard.load()
    assert {(fault.table, fault.read) for fault in refused.value.faults} == {("runs", "HQ")}


def test_the_first_load_without_core_sizes_brings_the_shipped_ones(yard):
    yard.load()
    assert {"NQ", "HQ", "PQ"} <= set(yard.view().stock.core_sizes)


def test_the_first_load_needs_rock_codes(yard):
    del yard.tables["rock_codes"]
    with pytest.raises(LoadRefused) as refused:
        yard.load()
    assert "rock_codes" in {fault.table for fault in refused.value.faults}


def test_a_log_is_read_with_the_grade_classes_of_the_yard(yard):
    yard.rules += '[[grade_classes]]\nname = "rich"\nexpected_g_t = 9\n'
    for row in yard.tables["rock"]:
        row["grade_class"] = "rich"
    yard.load()
    only(yard, "C-7")
    yard.rows("runs", "C-7")[1]["recovered_m"] = 2.9
    yard.rules = None
    assert yard.load().holes_changed == ("C-7",)
    yard.tables["rock"][0]["grade_class"] = "medium"
    with pytest.raises(LoadRefused):
        yard.load()


def test_rows_are_replaced_by_their_key_and_others_stay(yard):
    yard.load()
    yard.tables["materials"] = [
        yard.tables["materials"][1] | {"in_stock": 44},
        {"material": "STD-C", "kind": "standard", "in_stock": 12, "mass_g": 60, "grade_g_t": 3.1},
    ]
    report = yard.load()
    assert report.tables_changed == ("materials",)
    assert report.shared_words == ("materials: 1 new (STD-C), 1 changed and counted anew (STD-B); 2 not named stay",)
    held = {material.material: material.in_stock for material in yard.view().stock.materials}
    assert held == {"STD-A": 50, "STD-B": 44, "BLK": 80, "STD-C": 12}
    assert list(held) == ["STD-A", "STD-B", "BLK", "STD-C"]
    assert not yard.load().changed_anything


def test_books_stand_in_the_order_of_a_folder_that_names_them_all(yard):
    one = yard.tables["tickets"][0]
    yard.tables["tickets"] = [one, one | {"book": "two", "first": 301, "last": 400}]
    yard.load()
    yard.tables["tickets"].reverse()
    report = yard.load()
    assert report.shared_words == ("tickets: in another order",)
    assert [book.book for book in yard.view().stock.tickets] == ["two", "one"]
    yard.tables["tickets"] = yard.tables["tickets"][1:]
    assert not yard.load().changed_anything


def test_a_renamed_book_beside_the_old_one_is_found(yard, codes):
    """Two names for one range may be one book or two: only a person knows."""
    yard.load()
    yard.tables["tickets"][0]["book"] = "renamed"
    assert codes(yard.load().findings) == ["number.range_overlap"]


def test_a_book_may_be_reserved_for_a_hole_that_came_before(yard):
    yard.load()
    only(yard, "C-7")
    yard.tables["tickets"] = [
        {"book": "two", "prefix": "K", "first": 301, "last": 400, "digits": 4, "hole_id": "A-1", "voids": ""}
    ]
    assert yard.load().tables_changed == ("tickets",)


def test_new_rules_replace_the_old_ones_as_a_whole(yard):
    yard.load()
    yard.rules = "[cut]\nkerf_mm = 3.0\n"
    report = yard.load()
    assert report.shared_words == ("rules: replaced by the rules.toml of the folder",)
    assert (yard.view().rules.cut.kerf_mm, yard.view().rules.controls.standard_every) == (3.0, 20)
