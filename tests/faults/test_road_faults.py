"""Whatever statement fails on the road to the laboratory, each step is done whole or not at all, on both databases."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest
from road_yard import HOLE, RoadYard
from sqlalchemy import event as sql_event
from test_store_faults import Trap, contents, postgresql_driver, sqlite_driver

from trayside.app.bag_views import hole_bags
from trayside.app.correct import correct, void_number
from trayside.app.custody import hand_over
from trayside.app.dispatch import change_load, make_load, send_load
from trayside.app.load_view import view_load
from trayside.app.pack_sacks import pack, reseal_sack, seal_sack, trays_to_pack, undo_sack
from trayside.app.receive import ListRead, confirm_list, store_list
from trayside.app.retained_core import place_tray, take_piece
from trayside.app.verify_ledger import verify_store
from trayside.errors import TraysideError
from trayside.model.load import ReceivedLine, Request
from trayside.store.connection import engine_for

REQUEST = Request("An invented laboratory", ("fire assay 50 g",))


@pytest.fixture
def trapped(database_url, backend, tmp_path):
    trap = Trap()
    engine = engine_for(database_url)
    if backend == "sqlite":
        sql_event.listen(engine, "do_connect", lambda d, r, args, more: more.update(factory=sqlite_driver(trap)))
    else:
        connect = postgresql_driver(trap).connect
        sql_event.listen(engine, "do_connect", lambda d, r, args, more: connect(*args, **more))
    yard = RoadYard(engine)
    crew = yard.issue(tmp_path / "yard")
    crew.work_through()
    yield trap, yard, crew
    engine.dispose()


def broken_everywhere(trap, yard, act, count: list[int]) -> None:
    """Do it again and again, each time with a later statement failing, until nothing fails any more."""
    before, nth = contents(yard.engine), 0
    while True:
        nth += 1
        made, trap.left = yard.made, nth
        try:
            act()
        except TraysideError as error:
            told = str(error)
        else:
            break
        finally:
            unused, trap.left = trap.left, None
        assert unused <= 0, f"only the trap may fail: {told}"
        assert "nothing was stored" in told
        assert contents(yard.engine) == before, f"statement {nth} failed and left something behind"
        yard.made = made  # what is sent again carries the ids it had
    assert contents(yard.engine) != before
    count[0] += nth - 1


@pytest.mark.slow
def test_every_step_of_the_road_is_done_whole_or_not_at_all(trapped, capsys, backend):
    trap, yard, _ = trapped
    broken = [0]
    how = {"start_work": yard.start_work}

    def step(act) -> None:
        broken_everywhere(trap, yard, act, broken)

    with yard.start_work(writing=False) as work:
        trays = [(HOLE, one.tray) for one in trays_to_pack(hole_bags(work, HOLE)) if one.ready]
    sacks = []
    step(lambda: sacks.append(pack(trays, desk=yard.desk(), **how)))
    (first, *rest) = sacks[-1]
    step(lambda: undo_sack(first.sack_id, desk=yard.desk(), **how))
    packed_again = []
    with yard.start_work(writing=False) as work:
        trays = [(HOLE, one.tray) for one in trays_to_pack(hole_bags(work, HOLE)) if one.ready]
    step(lambda: packed_again.append(pack(trays, desk=yard.desk(), **how)))
    every = [*rest, *packed_again[-1]]
    for place, sack in enumerate(every):
        sealing = lambda sack=sack, place=place: seal_sack(  # noqa: E731
            sack.sack_id, seal=f"Z-{place}", counted=len(sack.numbers), gross_g=9_000, desk=yard.desk(), **how
        )
        if place == 0:
            step(sealing)
        else:
            sealing()
    step(lambda: reseal_sack(every[0].sack_id, seal="Z-90", reason="read wrongly", desk=yard.desk(), **how))
    step(lambda: make_load(REQUEST, [sack.sack_id for sack in every], desk=yard.desk(), **how))
    step(lambda: change_load("LD-0001", REQUEST, [sack.sack_id for sack in every], version=1, **how))
    step(lambda: send_load("LD-0001", version=2, statement="looked at each", desk=yard.desk(), **how))
    at = yard.clock() + timedelta(minutes=1)
    yard.now += timedelta(minutes=10)
    step(lambda: hand_over("LD-0001", from_person="Demo QC", to_person="Laboratory desk", place="door", at=at,
                           seals_intact=True, desk=yard.desk(), **how))  # fmt: skip
    with yard.start_work(writing=False) as work:
        numbers = view_load(work, "LD-0001").numbers
    lines = tuple(ReceivedLine(place, number, 1_000) for place, number in enumerate(numbers[1:], start=1))
    read = ListRead(lines, source="received.csv", sha256=hashlib.sha256(b"list").hexdigest())
    received_at = yard.clock()
    kept = []
    step(lambda: kept.append(store_list("LD-0001", read, received_at=received_at, received_by="Laboratory desk",
                                        desk=yard.desk(), **how)))  # fmt: skip
    step(lambda: confirm_list(kept[-1].receipt_id, taken_as={}, desk=yard.desk(), **how))
    step(lambda: place_tray(HOLE, 1, rack="A", shelf="1", position="2", desk=yard.desk(), **how))
    with yard.start_work(writing=False) as work:
        bag = next(bag for bag in hole_bags(work, HOLE).bags if bag.row.is_core and bag.row.portion == "half"
                   and bag.row.duplicate_type is None)  # fmt: skip
        weighed = bag.stands.latest("weighed").event
    step(lambda: take_piece(HOLE, from_mm=bag.row.from_mm, to_mm=bag.row.to_mm, take="quarter", asked_by="metallurgy",
                            purpose="", desk=yard.desk(), **how))  # fmt: skip
    step(lambda: correct(weighed.event_id, verdict="restated", reason="wrong line", typed={"mass_g": "777"},
                         desk=yard.desk(), **how))  # fmt: skip
    report = verify_store(start_work=yard.start_work)
    assert report.whole
    with capsys.disabled():
        print(f"\n{backend}: {broken[0]} statements failed on the road, each left the store as it was")
    assert broken[0] > 60


def test_a_voided_number_and_its_event_are_stored_together_or_not_at_all(trapped):
    trap, yard, crew = trapped
    number = next(row.number for row in crew.rows if row.is_core)
    broken = [0]
    broken_everywhere(
        trap, yard,
        lambda: void_number(number, reason="bag burst", desk=yard.desk(), start_work=yard.start_work), broken,
    )  # fmt: skip
    assert broken[0] > 2
    with yard.engine.connect() as connection:
        state = connection.exec_driver_sql(f"SELECT state FROM sample_numbers WHERE number = '{number}'").scalar_one()
    assert state == "void"
