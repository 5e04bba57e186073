import polars
import pytest
from store_yard import digests, frame, hole_tables, lengths, load

from trayside.errors import NotFound
from trayside.model.hole import Density, Fabric, Hole, Loss, OrientationMark, Rock, Run, Survey, Tray


def test_a_loaded_hole_comes_back_as_it_was(start_work):
    with start_work() as work:
        load(work, "K-1", "K-2")
        work.commit()
    with start_work() as work:
        core = work.hole_core("K-1")
        assert work.hole_ids() == ("K-1", "K-2")
        assert work.hole_digests() == digests("K-1", "K-2")
    assert core.hole == Hole("K-1", "north", 1000.1, 2000.2, 0.1 + 0.2, 90.0, -60.0, 9000, "9.0 m", None)
    assert core.surveys == (Survey(0, 90.5, -60.5), Survey(3000, 90.5, -60.5))
    assert core.runs[1] == Run(2, 3000, 6000, 2900, "NQ", 2000, None, None, "3.0 m", "6.0 m")
    assert core.losses == (Loss(1000, 100, "seen", ""),)
    assert core.trays[0] == Tray(1, 0, 3000, 3, 1000, (1000, 2000))
    assert core.rock[0] == Rock(0, 3000, "GRD", "intact", "low", "hard")
    assert core.rock[1] == Rock(
        3000, 6000, "GRD", "intact", "low", "hard", None, True, "always", 'says "mind", twice\nand \\N'
    )
    assert core.marks == (OrientationMark(1500, -3.5, "solid"),)
    assert core.fabric == (Fabric(1600, 45.0, "vein"),)
    assert core.densities == (Density(100, 200, "given", None, None, 2.7),)


def test_nothing_and_empty_text_stay_apart(start_work):
    tables = hole_tables("K-1")
    remarks = ["", None, "\\N"]
    tables["runs"] = tables["runs"].with_columns(polars.Series("remark", remarks, dtype=polars.String))
    with start_work() as work:
        work.replace_holes(tables, digests("K-1"))
        work.commit()
    with start_work() as work:
        assert [run.remark for run in work.hole_core("K-1").runs] == remarks


def test_replacing_a_hole_replaces_all_of_it_and_nothing_else(start_work):
    with start_work() as work:
        load(work, "K-1", "K-2")
        before = work.hole_core("K-2")
        work.commit()
    again = {name: table for name, table in hole_tables("K-1", "K-2", runs=1).items() if name != "fabric"}
    with start_work() as work:
        work.replace_holes(again, digests("K-1", of="second"))
        work.commit()
    with start_work() as work:
        core = work.hole_core("K-1")
        assert core.hole.total_depth_mm == 3000
        assert len(core.runs) == len(core.trays) == len(core.rock) == 1
        assert core.fabric == ()
        assert work.hole_core("K-2") == before
        assert work.hole_digests() == {"K-1": "second K-1", "K-2": "first K-2"}


def test_rows_stand_by_number_or_depth_and_equal_ones_in_file_order(start_work):
    tables = hole_tables("K-1", runs=1)
    spans = ((2, 3000, "second"), (1, 0, "first"), (2, 6000, "doubled tray"))
    tables["trays"] = frame(
        "trays",
        [
            {"hole_id": "K-1", "tray": tray, "rows": 3, "remark": remark}
            | lengths(**{"from": from_mm, "to": from_mm + 3000, "row_length": 1000})
            for tray, from_mm, remark in spans
        ],
    )
    with start_work() as work:
        work.replace_holes(tables, digests("K-1"))
        trays = work.hole_core("K-1").trays
    assert [tray.remark for tray in trays] == ["first", "second", "doubled tray"]


def test_many_holes_come_in_the_order_asked_for_over_several_batches(start_work):
    names = [f"K-{number}" for number in range(120)]
    with start_work() as work:
        load(work, *names, runs=1)
        work.commit()
    asked = names[::-1]
    with start_work() as work:
        cores = list(work.hole_cores(iter(asked)))
        assert [core.hole.hole_id for core in cores] == asked
        assert cores[7] == work.hole_core(asked[7])
        assert all(len(core.runs) == 1 for core in cores)


def test_a_hole_without_a_collar_is_refused_and_nothing_is_stored(start_work):
    with start_work() as work:
        with pytest.raises(NotFound, match="K-2"):
            work.replace_holes(hole_tables("K-1"), digests("K-1", "K-2"))
        work.commit()
    with start_work() as work:
        assert work.hole_ids() == ()


def test_an_unknown_hole_is_named(start_work):
    with start_work() as work, pytest.raises(NotFound, match="K-9"):
        work.hole_core("K-9")


def test_names_sort_by_their_bytes_on_both_databases(start_work):
    names = ["a-1", "B 1", "B-1", "b_1", "A.1", "A-10", "A-2"]
    with start_work() as work:
        load(work, *names)
        assert work.hole_ids() == tuple(sorted(names))
