"""Loading: all or nothing, a second time changes nothing, and only what changed is replaced and checked."""

from __future__ import annotations

import pytest

from trayside.app.check_yard import check_all
from trayside.errors import LoadRefused, NotFound, RefusedByRule


def test_the_first_load_says_what_came(yard):
    report = yard.load()
    assert report.holes_new == ("A-1", "C-7")
    assert (report.holes_changed, report.holes_unchanged) == ((), 0)
    assert "rules" in report.tables_changed
    assert report.rows["runs"] == 14
    assert report.changed_anything
    assert report.findings == ()


def test_loading_the_same_folder_again_changes_nothing(yard):
    yard.load()
    yard.plan()
    counts, sheet = yard.row_counts(), yard.sheet()
    report = yard.load()
    assert not report.changed_anything
    assert (report.holes_new, report.holes_changed, report.holes_unchanged, report.tables_changed) == ((), (), 2, ())
    assert yard.row_counts() == counts
    assert yard.sheet() == sheet


def test_a_refused_load_leaves_an_empty_store_empty(yard):
    yard.rows("runs", "C-7")[1]["recovered_m"] = "three"
    empty = yard.row_counts()
    with pytest.raises(LoadRefused) as refused:
        yard.load()
    assert any(fault.table == "runs" and fault.read == "three" for fault in refused.value.faults)
    assert yard.row_counts() == empty


def test_a_refused_load_leaves_what_was_there(yard):
    yard.load()
    yard.plan()
    before, counts = yard.view(), yard.row_counts()
    yard.rows("rock", "A-1")[1]["caution"] = "new"
    yard.rows("runs", "C-7")[1]["core_size"] = "??"
    with pytest.raises(LoadRefused):
        yard.load()
    assert yard.row_counts() == counts
    after = yard.view()
    assert (after.core, after.sheet, after.findings) == (before.core, before.sheet, before.findings)


def test_only_the_changed_hole_is_replaced(yard):
    yard.load()
    with yard.start_work(writing=False) as work:
        before = work.hole_digests()
    yard.rows("runs", "C-7")[1]["recovered_m"] = 2.9
    report = yard.load()
    assert (report.holes_changed, report.holes_unchanged, report.tables_changed) == (("C-7",), 1, ())
    with yard.start_work(writing=False) as work:
        after = work.hole_digests()
    assert after["A-1"] == before["A-1"]
    assert after["C-7"] != before["C-7"]
    assert yard.view("C-7").core.runs[1].recovered_mm == 2900


def test_a_row_that_is_gone_from_the_folder_is_gone_from_the_hole(yard):
    yard.tables["losses"] = [{"hole_id": "A-1", "from_m": 5.0, "lost_m": 0.1, "position": "seen"}]
    yard.rows("runs", "A-1")[1]["recovered_m"] = 2.9
    yard.load()
    yard.tables["losses"] = []
    assert yard.load().holes_changed == ("A-1",)
    assert yard.view().core.losses == ()


def test_holes_that_are_not_in_the_folder_stay(yard):
    yard.load()
    for table in ("holes", "runs", "trays", "rock"):
        yard.tables[table] = yard.rows(table, "C-7")
    report = yard.load()
    assert not report.changed_anything
    assert yard.view("A-1").core.hole.hole_id == "A-1"


def test_a_folder_with_fewer_rock_codes_takes_none_away(yard):
    """Planning a hole that needs them would have no density to compute with."""
    yard.load()
    for table in ("holes", "runs", "trays", "rock"):
        yard.tables[table] = yard.rows(table, "C-7")
    yard.tables["rock_codes"] = yard.tables["rock_codes"][:1]
    assert not yard.load().changed_anything
    assert set(yard.view("A-1").stock.rock_codes) == {"GRD", "QZV"}
    yard.tables["rock_codes"][0]["density_t_m3"] = 2.71
    report = yard.load()
    assert report.shared_words == ("rock_codes: 1 changed (GRD); 1 not named stays",)
    assert yard.plan("A-1").sheet.rows


def test_new_rules_are_checked_against_every_hole(yard, codes):
    yard.rows("runs", "A-1")[1]["recovered_m"] = 2.8
    yard.load()
    assert codes(yard.view().findings) == []
    yard.rules += "[depth]\nlow_recovery = 0.95\n"
    report = yard.load()
    assert report.tables_changed == ("rules",)
    assert codes(report.findings) == ["run.low_recovery"]


def test_findings_of_the_plan_outlive_another_check(planned, codes):
    before = codes(planned.view().findings)
    assert "control.power" in before
    check_all(start_work=planned.start_work)
    assert codes(planned.view().findings) == before


def test_checking_answers_each_finding_once_and_only_of_the_holes_asked_for(planned, codes):
    planned.plan("C-7")
    planned.tables["materials"][0]["in_stock"] = 3
    planned.load()
    everything = check_all(start_work=planned.start_work)
    assert codes(everything).count("control.power") == 2
    assert codes(everything).count("stock.low") == 1
    one = check_all(start_work=planned.start_work, hole_ids=("A-1",))
    assert {finding.hole_id for finding in one} == {None, "A-1"}
    with pytest.raises(NotFound):
        check_all(start_work=planned.start_work, hole_ids=("Z-9",))


def test_stock_counts_what_stands_on_the_sheets(planned, codes):
    used = sum(row.material == "BLK" for row in planned.sheet().rows)
    planned.tables["materials"][2]["in_stock"] = 10 + used
    planned.load()
    assert "stock.low" not in codes(check_all(start_work=planned.start_work))
    planned.tables["materials"][2]["in_stock"] = 9 + used
    planned.load()
    low = [one for one in check_all(start_work=planned.start_work) if one.code == "stock.low"]
    assert [one.evidence["left"] for one in low] == [9]


def test_an_overfull_tray_starts_above_its_tolerance(yard, codes):
    tray = yard.rows("trays", "A-1")[0]
    tray["rows"], tray["row_length_m"] = 5, 1.15
    yard.load()
    assert codes(yard.view().findings) == []
    tray["row_length_m"] = 1.149
    yard.load()
    (finding,) = yard.view().findings
    assert (finding.code, finding.tray, finding.evidence["over_m"]) == ("tray.overfull", 1, 0.255)


def test_holes_whose_names_look_alike_are_noted_for_the_yard(yard, codes):
    yard.tables["holes"].append(yard.rows("holes", "A-1")[0] | {"hole_id": "A-I"})
    report = yard.load()
    assert codes(report.findings) == ["number.look_alike"]
    assert report.findings[0].hole_id is None


def test_a_hole_that_was_stored_but_not_checked_says_so_and_cannot_be_planned(yard, monkeypatch):
    """The checks may be cut off after the store: nothing unchecked is planned."""

    def cut_off(*_args, **_more):
        raise KeyboardInterrupt

    monkeypatch.setattr("trayside.app.load_yard.check_yard", cut_off)
    with pytest.raises(KeyboardInterrupt):
        yard.load()
    assert [finding.code for finding in yard.view().findings] == ["hole.unchecked"]
    with pytest.raises(RefusedByRule, match="must be settled"):
        yard.plan()
    check_all(start_work=yard.start_work)
    assert "hole.unchecked" not in {finding.code for finding in yard.view().findings}
    assert yard.plan().sheet.rows
