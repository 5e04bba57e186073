import random
from collections import Counter
from dataclasses import replace
from datetime import timedelta

import polars
import pytest
from sqlalchemy import event, text
from store_yard import ISSUED_AT, control, digests, finding, hole_tables, load, revision_of, sample, save, sheet

from trayside.app.ports import StationRow
from trayside.errors import ImpossibleValue
from trayside.model.station import STATIONS, station
from trayside.store.work import SqlWork


def test_the_rule_of_stations():
    assert station(stops=1, version=3, issued_version=3) == "to settle"
    assert station(stops=0, version=None, issued_version=None) == "to plan"
    assert station(stops=0, version=1, issued_version=None) == "to issue"
    assert station(stops=0, version=2, issued_version=1) == "to issue"
    assert station(stops=0, version=2, issued_version=2) == "to cut"


def stations(work) -> dict[str, str]:
    return {row.hole_id: row.station for row in work.station_page(first=0, count=1000).rows}


def test_a_hole_walks_from_station_to_station(start_work):
    rows = (sample(1, 1), sample(2, 2), control(3, 3))
    with start_work() as work:
        load(work, "K-1")
        assert stations(work) == {"K-1": "to plan"}
        work.replace_findings("K-1", [finding("run.gap", "stop", "K-1"), finding("rock.gap", "warn", "K-1")])
        assert stations(work) == {"K-1": "to settle"}
        work.replace_findings("K-1", [finding("rock.gap", "warn", "K-1"), finding("plan.unmet", "note", "K-1")])
        assert stations(work) == {"K-1": "to plan"}
        saved = save(work, sheet("K-1", rows))
        assert stations(work) == {"K-1": "to issue"}
        work.add_revision(revision_of(saved))
        work.commit()
        page = work.station_page(first=0, count=10)
        assert page.rows == (StationRow("K-1", "north", 9000, 3, 3, "to cut", 0, 1, 1, 2, 1, 1),)
        assert page.stations == {"to cut": (1, 9000)}
        changed = save(work, replace(saved, rows=rows[:2]))
        assert stations(work) == {"K-1": "to issue"}
        save(work, replace(changed, rows=rows))
        assert stations(work) == {"K-1": "to cut"}, "the same rows as issued want no new revision"


def test_a_finding_of_the_yard_counts_for_the_hole_it_points_at(start_work):
    with start_work() as work:
        load(work, "K-1", "K-2")
        own = finding("rock.gap", "warn", "K-1")
        of_yard = [finding("number.short", "stop", "K-1"), finding("stock.low", "warn")]
        work.replace_findings("K-1", [own])
        work.replace_findings(None, of_yard)
        assert stations(work) == {"K-1": "to settle", "K-2": "to plan"}
        assert work.findings("K-1") == (of_yard[0], own)
        assert work.findings("K-2") == ()
        assert work.findings() == (*of_yard, own)
        work.replace_findings(None, [])
        assert stations(work) == {"K-1": "to plan", "K-2": "to plan"}
        assert work.findings() == (own,)


def test_findings_keep_their_place_evidence_and_order(start_work):
    full = finding(
        "run.gap",
        "stop",
        "K-1",
        from_mm=1,
        to_mm=2,
        run=3,
        tray=4,
        number="A0001",
        evidence={"step_m": 0.1 + 0.2, "runs": 2, "unit": "m", "ü": None},
    )
    many = [full, *(finding(f"code.{n}", "note", "K-1", from_mm=n) for n in (5, 1, 3))]
    with start_work() as work:
        load(work, "K-1")
        work.replace_findings("K-1", many)
        work.commit()
    with start_work() as work:
        assert work.findings("K-1") == tuple(many)


def test_a_finding_filed_under_a_wrong_hole_is_refused(start_work):
    with start_work() as work:
        load(work, "K-1", "K-2")
        with pytest.raises(ImpossibleValue, match="K-2 among those of K-1"):
            work.replace_findings("K-1", [finding("run.gap", "stop", "K-2")])


def test_pages_follow_each_other_and_know_their_total(start_work):
    names = [f"K-{number:03d}" for number in range(25)]
    with start_work() as work:
        load(work, *names)
        for name in names[::5]:
            work.replace_findings(name, [finding("run.gap", "stop", name)])
        work.commit()
        pages = [work.station_page(first=first, count=10) for first in (0, 10, 20, 30)]
        assert [row.hole_id for page in pages for row in page.rows] == names
        assert [len(page.rows) for page in pages] == [10, 10, 5, 0]
        assert {page.total for page in pages} == {25}
        assert pages[0].stations == {"to settle": (5, 45_000), "to plan": (20, 180_000)}
        settle = work.station_page(first=3, count=10, station="to settle")
        assert [row.hole_id for row in settle.rows] == names[15::5]
        assert settle.total == 5
        assert work.station_page(first=0, count=10, station="to cut").total == 0


def test_a_station_counts_metres_of_core_and_not_of_hole(start_work):
    """A hole cased or drilled without core to 6 m; its second block reads backwards; one hole has no runs yet."""
    tables = hole_tables("K-1", "K-2", runs=4)
    runs = tables["runs"].filter(polars.col("hole_id") == "K-1")[2:]
    back = runs[1:].with_columns(run=polars.col("run") + 5, from_mm=polars.col("to_mm"), to_mm=polars.col("from_mm"))
    with start_work() as work:
        work.replace_holes(tables | {"runs": polars.concat([runs, back])}, digests("K-1", "K-2"))
        page = work.station_page(first=0, count=10)
    assert [row.total_depth_mm for row in page.rows] == [12_000, 12_000]
    assert page.stations == {"to plan": (2, 6000)}


def test_loading_again_moves_the_depth_and_keeps_the_station(start_work):
    with start_work() as work:
        load(work, "K-1", "K-2")
        work.replace_findings("K-1", [finding("run.gap", "stop", "K-1")])
        work.commit()
    with start_work() as work:
        work.replace_holes(hole_tables("K-1", runs=5), digests("K-1", of="second"))
        work.commit()
        page = work.station_page(first=0, count=10)
        assert page.stations == {"to settle": (1, 15_000), "to plan": (1, 9000)}
        assert (page.rows[0].runs, page.rows[0].total_depth_mm) == (5, 15_000)


RECOUNTS = {
    "SELECT station, holes, core_mm FROM station_totals WHERE holes <> 0":
        "SELECT s.station, count(*), sum(r.core_mm) FROM hole_states s JOIN (SELECT hole_id, sum(to_mm - from_mm)"
        " AS core_mm FROM runs GROUP BY hole_id) r ON r.hole_id = s.hole_id GROUP BY s.station",
    "SELECT material, on_drafts FROM material_totals WHERE on_drafts <> 0":
        "SELECT material, count(*) FROM sheet_rows d WHERE revision = 0 AND material IS NOT NULL AND NOT EXISTS"
        " (SELECT 1 FROM sheet_rows i, sheet_revisions v, material_totals t WHERE i.sheet_id = d.sheet_id"
        " AND i.number = d.number AND i.material = d.material AND v.sheet_id = i.sheet_id AND v.revision = i.revision"
        " AND t.material = d.material AND v.issued_at <= t.counted_after) GROUP BY material",
}  # fmt: skip


def test_kept_totals_equal_a_recount_after_any_run_of_acts(engine):
    chance = random.Random(20310504)
    names = [f"K-{number}" for number in range(6)]
    seen: Counter[str] = Counter()
    for step in range(80):
        with SqlWork(engine) as work:
            name = chance.choice(names)
            known = name in work.hole_digests()
            draft = work.sheet(name) if known else None
            act = chance.choice(("load", "find", "save", "save", "issue", "count"))
            if act == "load" or not known:
                load(work, *chance.sample(names, 2), runs=chance.randint(1, 4))
            elif act == "find":
                work.replace_findings(name, [finding("run.gap", chance.choice(("stop", "warn")), name)])
            elif act == "save":
                first = 100 * names.index(name)
                rows = [control(1, first, chance.choice(("S-1", "S-2"))), sample(2, first + 1), control(3, first + 2)]
                save(work, replace(draft or sheet(name, ()), rows=tuple(rows[: chance.randint(0, 3)])))
            elif act == "count":
                work.count_anew([chance.choice(("S-1", "S-2"))])
            elif draft is not None:
                issued_at = ISSUED_AT + timedelta(minutes=step)
                work.add_revision(replace(revision_of(draft, draft.revision + 1), issued_at=issued_at))
            if chance.random() < 0.8:
                work.commit()
            seen[act] += 1
        with engine.connect() as connection:
            for kept, recount in RECOUNTS.items():
                was = sorted(map(tuple, connection.execute(text(kept))))
                assert was == sorted(map(tuple, connection.execute(text(recount)))), (step, act)
    assert min(seen.values()) >= 5
    with SqlWork(engine) as work:
        assert set(work.station_page(first=0, count=9).stations) <= set(STATIONS)


def test_a_page_reads_the_same_number_of_rows_in_a_yard_of_any_size(start_work, engine, backend):
    """What the database says it will do: no scan and no sort over all holes."""
    asked: list[tuple] = []
    event.listen(engine, "before_cursor_execute", lambda *args: asked.append(args[2:4]))
    with start_work() as work:
        load(work, *(f"K-{number:03d}" for number in range(200)), runs=1)
        work.commit()
        asked.clear()
        work.station_page(first=0, count=50)
        work.station_page(first=0, count=50, station="to plan")
    pages = [(statement, values) for statement, values in asked if "hole_states" in statement]
    assert len(pages) == 2
    explain = "EXPLAIN QUERY PLAN " if backend == "sqlite" else "EXPLAIN "
    with engine.connect() as connection:
        if backend == "postgresql":  # over so few rows it would rather scan; off, it shows what the indexes allow
            connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
            connection.exec_driver_sql("SET LOCAL enable_bitmapscan = off")
        for statement, values in pages:
            steps = [str(row[-1]) for row in connection.exec_driver_sql(explain + statement, values)]
            assert not any("TEMP B-TREE" in step or "Sort" in step or "Seq Scan" in step for step in steps), steps
            assert any("USING INDEX" in step or "Index Scan" in step for step in steps), steps
