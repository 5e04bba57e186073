"""Packing, sealing, sending, handing over, receiving and keeping: what is refused, what is told, what stands in the end."""

from __future__ import annotations

import shutil
import sys
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "web"))  # for web_yard.py
sys.path.insert(0, str(Path(__file__).parents[2] / "faults"))  # for road_yard.py

from road_yard import HOLE, RoadYard

from trayside.app.bag_views import hole_bags
from trayside.app.correct import void_number
from trayside.app.custody import custody_of, hand_over
from trayside.app.dispatch import change_load, make_load, send_load
from trayside.app.load_findings import load_findings
from trayside.app.load_view import laboratory_csv, view_load
from trayside.app.pack_sacks import PACKINGS, pack, packings, reseal_sack, seal_sack, trays_to_pack, undo_sack
from trayside.app.receive import ListRead, compare_list, confirm_list, store_list
from trayside.app.retained_core import check_request, kept_core, place_tray, take_piece
from trayside.app.yard_rules import rules_of
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule
from trayside.model.load import ReceivedLine, Request
from trayside.store.connection import open_store

REQUEST = Request("An invented laboratory", ("fire assay 50 g",))


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("road")
    engine = open_store(folder / "yard.sqlite")
    yard = RoadYard(engine)
    yard.issue(folder / "yard").work_through()
    engine.dispose()
    return folder / "yard.sqlite", yard.now, yard.made


class Road:
    """The yard after the bench, and short names for what is done at the desk."""

    def __init__(self, yard: RoadYard) -> None:
        self.yard = yard
        self.how = {"start_work": yard.start_work}

    @property
    def desk(self):
        return self.yard.desk()

    def trays(self) -> list[tuple[str, int]]:
        with self.yard.start_work(writing=False) as work:
            return [(HOLE, one.tray) for one in trays_to_pack(hole_bags(work, HOLE)) if one.ready]

    def pack(self, **more):
        return pack(self.trays(), desk=self.desk, **self.how, **more)

    def seal(self, sack, seal: str, **more) -> None:
        facts = {"seal": seal, "counted": len(sack.numbers)} | more
        seal_sack(sack.sack_id, desk=self.desk, **facts, **self.how)

    def sent(self):
        sacks = self.pack()
        for place, sack in enumerate(sacks):
            self.seal(sack, f"Z-{place}")
        load = make_load(REQUEST, [sack.sack_id for sack in sacks], desk=self.desk, **self.how)
        send_load(load.load_id, version=load.version, statement="looked", desk=self.desk, **self.how)
        return sacks

    def give(self, giver: str, taker: str, *, minutes: int = 1, seals: bool | None = True, sacks: int | None = None):
        at = self.yard.clock() + timedelta(minutes=minutes)
        self.yard.now = max(self.yard.now, at)
        return hand_over("LD-0001", from_person=giver, to_person=taker, place="gate", at=at, seals_intact=seals, sacks=sacks,
                         desk=self.desk, **self.how)  # fmt: skip

    def view(self):
        with self.yard.start_work(writing=False) as work:
            return view_load(work, "LD-0001")

    def codes(self) -> set[str]:
        return {finding.code for finding in load_findings(self.view())}

    def received(self, lines, **more):
        read = ListRead(tuple(lines), source="list.csv", sha256="ab" * 32)
        facts = {"received_at": self.yard.clock(), "received_by": "Laboratory desk"} | more
        return store_list("LD-0001", read, desk=self.desk, **facts, **self.how)

    def kept(self):
        with self.yard.start_work(writing=False) as work:
            return kept_core(work, HOLE)


@pytest.fixture
def road(template, tmp_path):
    path, now, made = template
    engine = open_store(shutil.copy(path, tmp_path / "yard.sqlite"))
    yard = RoadYard(engine)
    yard.now, yard.made = now, made
    yield Road(yard)
    engine.dispose()


# packing and sealing


def test_every_way_of_packing_holds_the_limits_and_the_order(road):
    with road.yard.start_work(writing=False) as work:
        settings = rules_of(work).dispatch
    mass_kg = [2.0, 7.5, 7.5, 7.5, 0.06, 1.5, 3.0, 6.0, 6.0, 6.0]
    for option in packings(mass_kg, group=["A"] * 10, settings=settings):
        held = [range(sack.first, sack.last + 1) for sack in option.plan.sacks]
        assert [bag for one in held for bag in one] == list(range(10)), option.way
        assert all(sum(mass_kg[bag] for bag in one) <= settings.sack_kg + 1e-9 for one in held), option.way
    counts = {option.way: {sack.bags for sack in option.plan.sacks[:-1]} for option in packings(
        mass_kg, group=["A"] * 10, settings=settings)}  # fmt: skip
    assert len(counts["alike"]) == 1, "the count of bags tells nothing"


def test_one_bag_above_the_limit_is_refused_for_every_way(road):
    with road.yard.start_work(writing=False) as work:
        settings = rules_of(work).dispatch
    with pytest.raises((ImpossibleValue, RefusedByRule)):
        packings([1.0, settings.sack_kg + 1], group=["A", "A"], settings=settings)


def test_an_unknown_way_or_tray_is_refused_and_nothing_is_packed(road):
    with pytest.raises(ImpossibleValue, match="no way"):
        road.pack(way="somehow")
    with pytest.raises(RefusedByRule) as refused:
        pack([(HOLE, 99), ("NO", 1)], desk=road.desk, **road.how)
    assert len(refused.value.reasons) == 2
    assert road.trays()
    assert {"alike", "fewest", "balanced", "together"} == set(PACKINGS)


def test_a_sack_is_counted_before_it_is_sealed_and_sealed_once(road):
    first, *_ = road.pack()
    with pytest.raises(RefusedByRule, match="bags were counted"):
        road.seal(first, "Z-1", counted=len(first.numbers) + 1)
    with pytest.raises(ImpossibleValue):
        road.seal(first, "<b>")
    road.seal(first, "Z-1")
    with pytest.raises(RefusedByRule, match="sealed already"):
        road.seal(first, "Z-2")
    with pytest.raises(RefusedByRule, match="bags were put into this sack"):
        undo_sack(first.sack_id, desk=road.desk, **road.how)


def test_one_seal_is_on_one_sack_also_after_a_correction(road):
    first, second, *_ = road.pack()
    road.seal(first, "Z-1")
    with pytest.raises(RefusedByRule, match="seal Z-1 is on sack"):
        road.seal(second, "Z-1")
    reseal_sack(first.sack_id, seal="Z-7", reason="misread", desk=road.desk, **road.how)
    road.seal(second, "Z-1")
    with pytest.raises(RefusedByRule, match="needs a reason"):
        reseal_sack(first.sack_id, seal="Z-8", reason=" ", desk=road.desk, **road.how)
    with pytest.raises(RefusedByRule, match="is not void"):
        reseal_sack(first.sack_id, seal="Z-8", reason="x", leave_out=[first.numbers[0]], desk=road.desk, **road.how)


def test_a_bag_voided_in_its_sack_keeps_the_load_until_it_is_taken_out(road):
    sacks = road.pack()
    for place, sack in enumerate(sacks):
        road.seal(sack, f"Z-{place}")
    load = make_load(REQUEST, [sack.sack_id for sack in sacks], desk=road.desk, **road.how)
    number = sacks[0].numbers[0]
    void_number(number, reason="bag burst", desk=road.desk, **road.how)
    assert {"load.bag_void"} <= road.codes()
    with pytest.raises(RefusedByRule) as refused:
        send_load(load.load_id, version=load.version, statement="x", desk=road.desk, **road.how)
    assert any(number in reason for reason in refused.value.reasons)
    reseal_sack(sacks[0].sack_id, seal="Z-90", reason="void bag out", leave_out=[number], desk=road.desk, **road.how)
    assert "load.bag_void" not in road.codes()
    assert number not in road.view().numbers
    assert "load.tray_count" in road.codes(), "its tray was closed with one bag more than it has now"
    assert "sack.count" not in road.codes(), "the new seal tells the new count"


# sending


def test_a_load_without_sacks_methods_or_name_is_not_sent(road):
    with pytest.raises(ImpossibleValue, match="no laboratory is named"):
        make_load(Request("", ("x",)), [], desk=road.desk, **road.how)
    empty = make_load(Request("A laboratory", ()), [], desk=road.desk, **road.how)
    assert road.codes() == {"load.empty", "load.no_methods"}
    with pytest.raises(RefusedByRule, match="2 findings must be settled"):
        send_load(empty.load_id, version=empty.version, statement="x", desk=road.desk, **road.how)


def test_warnings_need_a_statement_and_another_version_is_told(road):
    sacks = road.pack()
    for place, sack in enumerate(sacks):
        road.seal(sack, f"Z-{place}", gross_g=30_000)
    load = make_load(REQUEST, [sack.sack_id for sack in sacks], desk=road.desk, **road.how)
    assert "sack.mass_differs" in road.codes()
    with pytest.raises(RefusedByRule, match="nothing was said to them"):
        send_load(load.load_id, version=load.version, statement="  ", desk=road.desk, **road.how)
    with pytest.raises(ChangedMeanwhile):
        send_load(load.load_id, version=load.version + 1, statement="looked", desk=road.desk, **road.how)
    sent = send_load(load.load_id, version=load.version, statement="looked", desk=road.desk, **road.how)
    assert sent.load.ledger_hash == sent.head.hash
    with pytest.raises(RefusedByRule, match="frozen"):
        change_load(load.load_id, REQUEST, [], version=sent.load.version, **road.how)


def test_a_sack_on_one_load_is_not_put_on_another(road):
    first, *_ = road.pack()
    make_load(REQUEST, [first.sack_id], desk=road.desk, **road.how)
    with pytest.raises(RefusedByRule, match="is on load LD-0001"):
        make_load(REQUEST, [first.sack_id], desk=road.desk, **road.how)
    with pytest.raises(NotFound):
        make_load(REQUEST, ["SK-99999"], desk=road.desk, **road.how)


def test_the_laboratorys_list_holds_numbers_sacks_and_seals_only(road):
    road.sent()
    head, *lines = laboratory_csv(road.view()).splitlines()
    assert head == "line,number,sack,seal"
    assert [line.split(",")[1] for line in lines] == list(road.view().numbers)


# custody


def test_custody_without_a_gap_is_unbroken_to_the_laboratory(road):
    road.sent()
    road.give("Demo QC", "Driver")
    custody = road.give("driver", "Laboratory desk", minutes=5)
    assert custody.unbroken
    assert custody.findings == ()
    assert [one.holder for one in custody.holdings] == ["Demo QC", "Driver", "Laboratory desk"]
    assert custody.holder == "Laboratory desk"


def test_a_holder_nobody_named_is_a_gap_and_the_missing_hand_over_closes_it(road):
    road.sent()
    early = road.yard.clock()
    road.yard.now += timedelta(minutes=30)
    road.give("Night watch", "Laboratory desk")
    assert [one.code for one in custody_of(road.view()).findings] == ["custody.start"]
    hand_over("LD-0001", from_person="Demo QC", to_person="Night watch", place="depot", at=early + timedelta(minutes=2),
              seals_intact=True, desk=road.desk, **road.how)  # fmt: skip
    custody = custody_of(road.view())
    assert custody.unbroken, "entered late, it stands where it was signed"
    assert [one.holder for one in custody.holdings] == ["Demo QC", "Night watch", "Laboratory desk"]


def test_broken_seals_unsaid_seals_and_a_wrong_count_are_told(road):
    sacks = road.sent()
    road.give("Demo QC", "Driver", seals=None)
    custody = road.give("Driver", "Laboratory desk", seals=False, sacks=len(sacks) + 1)
    assert {"custody.seal_unsaid", "custody.seal_broken", "custody.count"} <= {one.code for one in custody.findings}
    assert custody.holder == "Laboratory desk"


@pytest.mark.parametrize(
    ("giver", "taker", "minutes", "told"),
    [("Ada", "ada", 1, "both names are the same"), ("", "Ada", 1, "name"), ("Ada", "Ben", 60 * 24, "has not come yet"),
     ("Ada", "Ben", -60 * 24 * 500, "more than a year back")],
)  # fmt: skip
def test_a_hand_over_that_cannot_be_is_refused(road, giver, taker, minutes, told):
    road.sent()
    at = road.yard.clock() + timedelta(minutes=minutes)
    with pytest.raises((ImpossibleValue, RefusedByRule), match=told):
        hand_over("LD-0001", from_person=giver, to_person=taker, place="gate", at=at, seals_intact=True, desk=road.desk, **road.how)
    assert road.view().hand_overs == ()


def test_nothing_is_handed_over_or_received_before_it_is_sent(road):
    (first, *_) = road.pack()
    road.seal(first, "Z-0")
    make_load(REQUEST, [first.sack_id], desk=road.desk, **road.how)
    with pytest.raises(RefusedByRule, match="not sent yet"):
        road.give("Ada", "Ben")
    with pytest.raises(RefusedByRule, match="not sent yet"):
        road.received([ReceivedLine(1, first.numbers[0])])


# receipt


def lines_of(road, *, drying: float = 0.02, leave_out=()) -> list[ReceivedLine]:
    bags = [bag for bag in road.view().bags if bag.number not in leave_out]
    return [ReceivedLine(at, bag.number, round(bag.mass_g * (1 - drying))) for at, bag in enumerate(bags, start=1)]


def test_a_list_that_agrees_is_received_whole_and_once(road):
    road.sent()
    road.give("Demo QC", "Laboratory desk")
    receipt = road.received(lines_of(road))
    assert road.received(lines_of(road)) == receipt, "the same file again is the same list"
    difference = confirm_list(receipt.receipt_id, taken_as={}, desk=road.desk, **road.how)
    assert difference.agrees
    assert {bag.state for bag in road.view().bags} == {"received"}
    assert road.view().stands.state == "received"
    with pytest.raises(ChangedMeanwhile):
        confirm_list(receipt.receipt_id, taken_as={}, desk=road.desk, **road.how)
    with pytest.raises(RefusedByRule, match="received already"):
        road.received(lines_of(road)[1:])


def test_a_list_is_not_confirmed_while_nobody_took_the_load(road):
    road.sent()
    receipt = road.received(lines_of(road))
    with pytest.raises(RefusedByRule, match="nobody has taken this load over yet"):
        confirm_list(receipt.receipt_id, taken_as={}, desk=road.desk, **road.how)


def test_missing_extra_doubled_and_damaged_are_told_and_a_misread_number_is_suggested(road):
    road.sent()
    numbers = road.view().numbers
    gone, misread = numbers[0], numbers[3]
    wrong = misread.replace("0", "O", 1)
    assert wrong not in numbers
    lines = [line for line in lines_of(road, leave_out=(gone,)) if line.number != misread]
    lines += [ReceivedLine(90, wrong, 900), ReceivedLine(91, numbers[5], 1000), ReceivedLine(92, "XX-9")]
    lines[2] = ReceivedLine(3, lines[2].number, lines[2].mass_g, "damaged", remark="torn")
    difference = compare_list(road.view(), lines)
    assert set(difference.missing) == {gone, misread}
    assert set(difference.extra) == {wrong, "XX-9"}
    assert difference.doubled == (numbers[5],)
    assert difference.damaged == (lines[2].number,)
    assert {one.unknown: one.suggestion for one in difference.suggestions} == {wrong: misread, "XX-9": None}
    settled = compare_list(road.view(), lines, taken_as={wrong: misread})
    assert settled.missing == (gone,)
    with pytest.raises(RefusedByRule):
        compare_list(road.view(), lines, taken_as={wrong: numbers[5]})
    with pytest.raises(NotFound):
        compare_list(road.view(), lines, taken_as={"nobody": misread})
    with pytest.raises(RefusedByRule, match="two numbers are taken"):
        compare_list(road.view(), lines, taken_as={wrong: misread, "XX-9": misread})


def test_drying_that_all_bags_share_is_no_loss_and_one_burst_bag_is(road):
    road.sent()
    lines = lines_of(road, drying=0.05)
    assert not {"receipt.lost_mass", "receipt.gained_mass", "receipt.exchanged"} & {
        finding.code for finding in compare_list(road.view(), lines).findings
    }
    core = next(at for at, line in enumerate(lines) if line.mass_g > 1000)
    lines[core] = ReceivedLine(lines[core].line, lines[core].number, round(lines[core].mass_g * 0.5))
    told = [finding for finding in compare_list(road.view(), lines).findings if finding.code == "receipt.lost_mass"]
    assert [finding.number for finding in told] == [lines[core].number]


def test_bags_exchanged_between_the_doors_are_told_when_their_masses_differ(road):
    road.sent()
    lines = lines_of(road)
    at = next(i for i in range(len(lines) - 1) if abs(lines[i].mass_g - lines[i + 1].mass_g) > 0.4 * lines[i].mass_g
              and min(lines[i].mass_g, lines[i + 1].mass_g) > 500)  # fmt: skip
    one, other = lines[at], lines[at + 1]
    lines[at : at + 2] = [ReceivedLine(one.line, one.number, other.mass_g), ReceivedLine(other.line, other.number, one.mass_g)]
    told = [finding for finding in compare_list(road.view(), lines).findings if finding.code == "receipt.exchanged"]
    assert [(finding.evidence["first"], finding.evidence["last"]) for finding in told] == [(one.number, other.number)]


# kept core


def half_stretch(road):
    return next(one for one in road.kept().stretches if one.word == "half" and one.to_mm - one.from_mm > 300)


def test_kept_core_is_taken_down_to_the_last_piece_and_that_only_when_asked(road):
    half = half_stretch(road)
    take = {"from_mm": half.from_mm, "to_mm": half.to_mm, "take": "quarter", "asked_by": "metallurgy", "purpose": "leach test"}
    after = take_piece(HOLE, **take, desk=road.desk, **road.how)
    assert after.between(half.from_mm, half.to_mm)[0].word == "quarter"
    with pytest.raises(RefusedByRule, match="the last piece"):
        take_piece(HOLE, **take, desk=road.desk, **road.how)
    with pytest.raises(RefusedByRule, match="the last piece"):
        take_piece(HOLE, **take, last_piece=True, desk=road.desk, **road.how)
    gone = take_piece(HOLE, **take, last_piece=True, reason="owner asked", desk=road.desk, **road.how)
    assert gone.between(half.from_mm, half.to_mm)[0].left == 0
    with pytest.raises(RefusedByRule) as refused:
        take_piece(HOLE, **take, last_piece=True, reason="more", desk=road.desk, **road.how)
    assert "none is left" in refused.value.reasons[0]


@pytest.mark.parametrize(
    ("change", "error"),
    [({"take": "all"}, ImpossibleValue), ({"to_mm": 0}, ImpossibleValue), ({"asked_by": " "}, RefusedByRule),
     ({"to_mm": 90_000_000}, RefusedByRule), ({"take": "whole"}, RefusedByRule)],
)  # fmt: skip
def test_a_request_that_cannot_be_is_refused(road, change, error):
    half = half_stretch(road)
    take = {"from_mm": half.from_mm, "to_mm": half.to_mm, "take": "quarter", "asked_by": "x", "purpose": ""}
    with pytest.raises(error):
        take_piece(HOLE, **take | change, desk=road.desk, **road.how)
    assert half_stretch(road) == half


def test_a_request_over_different_shares_is_asked_for_part_by_part(road):
    kept = road.kept()
    edge = next(a for a, b in pairwise(kept.stretches)
                if {a.word, b.word} == {"whole", "half"} and a.to_mm == b.from_mm)  # fmt: skip
    check = check_request(kept, from_mm=edge.to_mm - 100, to_mm=edge.to_mm + 100, take="quarter")
    assert any("different shares" in reason for reason in check.reasons)


def test_a_tray_lies_in_one_place_and_a_place_holds_one_tray(road):
    place_tray(HOLE, 1, rack="A", shelf="1", position="2", desk=road.desk, **road.how)
    with pytest.raises(RefusedByRule, match="SM-01/1 lies at A"):
        place_tray(HOLE, 2, rack="A", shelf="1", position="2", desk=road.desk, **road.how)
    place_tray(HOLE, 1, rack="B", desk=road.desk, **road.how)
    place_tray(HOLE, 2, rack="A", shelf="1", position="2", desk=road.desk, **road.how)
    assert {tray: str(place) for tray, place in road.kept().places.items()} == {1: "B", 2: "A · 1 · 2"}
    with pytest.raises(RefusedByRule, match="has no tray 99"):
        place_tray(HOLE, 99, rack="A", desk=road.desk, **road.how)

