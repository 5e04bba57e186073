"""Several people at once, each with a connection of their own."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Barrier

import pytest
from store_yard import control, load, sample, save, serials, sheet

from trayside.errors import ChangedMeanwhile
from trayside.store.connection import engine_for
from trayside.store.work import SqlWork


@pytest.fixture
def engines(database_url):
    """One engine a person, as if each sat at another machine."""
    made = [engine_for(database_url) for _ in range(4)]
    yield made
    for engine in made:
        engine.dispose()


def test_of_editors_at_once_one_saves_and_the_others_are_told(engines):
    with SqlWork(engines[0]) as work:
        load(work, "K-1")
        save(work, sheet("K-1", (sample(1, 1),)))
        work.commit()
    start = Barrier(len(engines))

    def edit(person: int) -> str:
        with SqlWork(engines[person], writing=False) as work:
            seen = work.sheet("K-1")
        changed = replace(seen, rows=(*seen.rows, sample(2, 10 + person)), edited_by=f"person {person}")
        start.wait()
        try:
            with SqlWork(engines[person]) as work:
                save(work, changed)
                work.commit()
        except ChangedMeanwhile as told:
            return str(told)
        return "saved"

    with ThreadPoolExecutor(len(engines)) as people:
        ends = list(people.map(edit, range(len(engines))))
    assert ends.count("saved") == 1
    winner = f"person {ends.index('saved')}"
    assert all(winner in end for end in ends if end != "saved")
    with SqlWork(engines[0]) as work:
        stored = work.sheet("K-1")
        assert (stored.version, stored.edited_by) == (2, winner)
        assert stored.rows == (sample(1, 1), sample(2, 10 + ends.index("saved")))
        assert work.sheet_numbers("K-1") == serials(stored)


def test_planners_at_once_never_share_a_number_and_none_has_to_plan_twice(engines):
    holes = [f"K-{number:02d}" for number in range(24)]
    with SqlWork(engines[0]) as work:
        load(work, *holes, runs=1)
        work.commit()
    start = Barrier(len(engines))

    def plan(person: int) -> None:
        start.wait()
        for hole_id in holes[person :: len(engines)]:
            with SqlWork(engines[person]) as work:
                highest = work.highest_serial(prefix="A", first=1, last=9999) or 0
                free = [*work.released_serials(prefix="A", first=1, last=9999), *range(highest + 1, highest + 6)][:5]
                rows = [sample(seq, serial) for seq, serial in enumerate(free[:4], 1)]
                saved = save(work, sheet(hole_id, (*rows, control(5, free[4]))))
                save(work, replace(saved, rows=saved.rows[1:]))  # gives one number back
                work.commit()

    with ThreadPoolExecutor(len(engines)) as people:
        list(people.map(plan, range(len(engines))))
    with SqlWork(engines[0]) as work:
        numbers = [number for hole_id in holes for number in work.sheet_numbers(hole_id)]
        assert len(numbers) == len(set(numbers)) == 4 * len(holes)
        assert work.materials_on_sheets(except_hole_id=None) == {"STD-1": len(holes)}
        assert work.station_page(first=0, count=1).stations == {"to issue": (len(holes), 3000 * len(holes))}
