"""Sacks, loads and received lists on both databases: names are never given twice, what was sent is frozen."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from ledger_yard import issued_sheet, samples

from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.model.finding import Finding
from trayside.model.load import Load, Receipt, ReceivedLine, Request, Sack
from trayside.store.work import SqlWork

NOW = datetime(2031, 5, 4, 9, 0, tzinfo=UTC)
REQUEST = Request("An invented laboratory", ("fire assay 50 g", "multi-element"), custody_ref="C-1", hazard="dust\nquartz")


@pytest.fixture
def start(engine):
    """Opens transactions on a store with A0001 to A0012 issued."""

    def opened(*, writing=True):
        return SqlWork(engine, writing=writing)

    with opened() as work:
        issued_sheet(work, "K-1", samples(12))
        work.commit()
    return opened


def packed(start, *lists: tuple[str, ...]) -> tuple[Sack, ...]:
    with start() as work:
        names = work.loads.new_sack_ids(len(lists))
        sacks = tuple(Sack(name, numbers, NOW, "Ada", "as told") for name, numbers in zip(names, lists, strict=True))
        work.loads.add_sacks(sacks)
        work.commit()
    return sacks


def made(start, *sacks: Sack) -> Load:
    with start() as work:
        load = work.loads.save_load(Load(work.loads.new_load_id(), REQUEST, 0, NOW, "Ada"))
        work.loads.set_load([sack.sack_id for sack in sacks], load.load_id)
        work.commit()
    return load


def test_sacks_come_back_with_their_bags_in_ticket_order(start):
    first, second = packed(start, ("A0003", "A0001"), ("A0002",))
    assert (first.sack_id, second.sack_id) == ("SK-00001", "SK-00002")
    with start(writing=False) as work:
        assert work.loads.sack(first.sack_id) == first, "in the order they were listed"
        assert work.loads.sacks() == (first, second)
        assert work.loads.sack_of(["A0001", "A0002", "A0009"]) == {"A0001": "SK-00001", "A0002": "SK-00002"}
        with pytest.raises(NotFound):
            work.loads.sack("SK-99999")


def test_a_bag_is_in_one_sack_only(start):
    packed(start, ("A0001", "A0002"))
    with pytest.raises(RefusedByRule, match="A0002 is in sack SK-00001 already"):
        packed(start, ("A0002", "A0003"))
    with start(writing=False) as work:
        assert len(work.loads.sacks()) == 1, "nothing of the second was stored"


def test_a_sack_taken_back_frees_its_bags_and_its_name_is_never_given_again(start):
    (first,) = packed(start, ("A0001", "A0002"))
    with start() as work:
        work.loads.undo_sack(first.sack_id, at=NOW, by="Ada")
        work.commit()
    (again,) = packed(start, ("A0002", "A0001"))
    assert again.sack_id == "SK-00002"
    with start(writing=False) as work:
        assert [sack.sack_id for sack in work.loads.sacks()] == ["SK-00002"]


def test_bags_left_out_of_a_sack_are_free(start):
    (sack,) = packed(start, ("A0001", "A0002", "A0003"))
    with start() as work:
        work.loads.leave_out(sack.sack_id, ["A0002"])
        work.commit()
    with start(writing=False) as work:
        assert work.loads.sack(sack.sack_id).numbers == ("A0001", "A0003")
        assert work.loads.sack_of(["A0002"]) == {}


def test_a_load_comes_back_whole_and_counts_its_saves(start):
    sacks = packed(start, ("A0001",), ("A0002",))
    load = made(start, *sacks)
    assert (load.load_id, load.version) == ("LD-0001", 1)
    with start(writing=False) as work:
        assert work.loads.load("LD-0001") == load
        assert [sack.sack_id for sack in work.loads.sacks("LD-0001")] == ["SK-00001", "SK-00002"]
        assert work.loads.free_sacks() == ()
        with pytest.raises(NotFound):
            work.loads.load("LD-0099")


def test_two_who_change_one_load_do_not_overwrite_each_other(start):
    load = made(start, *packed(start, ("A0001",)))
    with start() as work:
        saved = work.loads.save_load(replace(load, request=replace(REQUEST, carrier="first")))
        work.commit()
    assert saved.version == 2
    with start() as work, pytest.raises(ChangedMeanwhile):
        work.loads.save_load(replace(load, request=replace(REQUEST, carrier="second")))
    with start(writing=False) as work:
        assert work.loads.load("LD-0001").request.carrier == "first"


def test_a_sent_load_keeps_its_findings_and_the_ledgers_hash(start):
    load = made(start, *packed(start, ("A0001",)))
    warned = Finding("mass.light", "warn", "A0001 0.2 kg light", "Open it", hole_id="K-1", number="A0001", evidence={"mass_g": 3})
    sent = replace(load, sent_at=NOW, sent_by="Ada", statement="looked", ledger_seq=7, ledger_hash="ab" * 32, digest="cd" * 32,
                   findings=(warned,))  # fmt: skip
    with start() as work:
        kept = work.loads.save_load(sent)
        work.commit()
    with start(writing=False) as work:
        assert work.loads.load("LD-0001") == kept
    assert kept.findings == (warned,)
    assert kept.sent_at == NOW


def receipt(name: str = "r-1", **more) -> Receipt:
    facts = dict(
        receipt_id=name, load_id="LD-0001", received_at=NOW, utc_offset_min=120, received_by="Laboratory desk", lab_job="J-1",
        source="list.csv", sha256="ef" * 32, lines=(ReceivedLine(2, "A0001", 1200, "wet", "SK-00001", "Z-1", "a remark"),),
        stored_at=NOW, stored_by="Ada", seals_intact=True,
    )  # fmt: skip
    return Receipt(**facts | more)


def test_a_received_list_is_kept_as_it_came_and_confirmed_once(start):
    made(start, *packed(start, ("A0001", "A0002")))
    with start() as work:
        work.loads.add_receipt(receipt())
        work.loads.add_receipt(receipt("r-2", lines=(), seals_intact=None))
        work.commit()
    confirmed = receipt(confirmed_at=NOW + timedelta(hours=1), confirmed_by="Lea", taken_as={"A00O1": "A0001"})
    with start() as work:
        work.loads.confirm_receipt(confirmed)
        work.commit()
    with start(writing=False) as work:
        assert work.loads.receipt("r-1") == confirmed
        assert {one.receipt_id: one.confirmed_at is None for one in work.loads.receipts("LD-0001")} == {"r-1": False, "r-2": True}
        with pytest.raises(NotFound):
            work.loads.receipt("r-3")
    with start() as work, pytest.raises(ChangedMeanwhile):
        work.loads.confirm_receipt(replace(confirmed, confirmed_by="Otto"))


def test_nothing_is_kept_of_a_transaction_that_was_not_committed(start):
    with start() as work:
        work.loads.add_sacks([Sack(*work.loads.new_sack_ids(1), ("A0001",), NOW, "Ada")])
    with start(writing=False) as work:
        assert work.loads.sacks() == ()
