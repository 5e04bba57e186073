"""The pre-start card and the blade register on paper: everything readable, one page, nothing cut off or printed over."""

from datetime import UTC, date, datetime

import pytest
from tests.paper.paper_cases import collisions, outside, page_sizes_mm, page_texts, paper_rules, squeezed

from trayside.app.blade_state import blade_life
from trayside.app.prestart import CardView
from trayside.app.saw_state import SawNow, SawStop
from trayside.app.saw_views import BladeLine, SawYard
from trayside.model.bag_states import Fact
from trayside.model.event import Event
from trayside.model.prestart_items import ITEMS, card_items, card_print
from trayside.model.rules import SawSettings
from trayside.model.saw import Blade, Saw
from trayside.pages.prestart_card import blade_register_pdf, prestart_card_pdf

PRINTED = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)
SAW = Saw("AUTOMATIC SAW No 2", "automatic", 1425.0, 400.0, 100.0, "fresh")
BLADE = Blade("D-2026/117", "M350", 350.0, 10.0, stamped_rpm=4365.0, bond="medium", kerf_mm=2.5)


def card(*, size: str = "a4", answered: dict | None = None, passed: bool = True, settings: SawSettings | None = None) -> CardView:
    rules = paper_rules(size=size, **({"saws": settings} if settings else {}))
    items = card_items("automatic", rules.saws)
    signed = None
    if answered is not None:
        values = {"passed": passed, "card": card_print(items), "answers": [], "failed": []}
        event = Event("id", "prestart_signed", "saw", SAW.saw, "Demo operator", "tablet 3", "2031-05-04T06:02:00.000Z", 600, "t",
                      values=values)  # fmt: skip
        signed = Fact(event, values)
    stops = () if passed else (SawStop("tagged_out", "It is tagged out by Demo operator", "Have it repaired"),)
    return CardView(SawNow(SAW, stops, card=signed, blade=BLADE), items, card_print(items), rules, answered or {})


def everything(mark: str) -> dict:
    return {item.key: (mark, "a remark that is as long as a remark on a card should ever be" if item.key == "guard" else "")
            for item in ITEMS}  # fmt: skip


@pytest.mark.parametrize("size", ["a4", "us-letter"])
@pytest.mark.parametrize("answers", [None, "ok", "failed"])
def test_a_card_is_one_page_with_every_item_and_nothing_cut_off(size, answers):
    view = card(size=size, answered=None if answers is None else everything(answers), passed=answers != "failed")
    pdf = prestart_card_pdf(view, printed_at=PRINTED)
    (text,) = page_texts(pdf)
    for item in view.items:
        assert squeezed(item.words) in squeezed(text)
    assert outside(pdf, edge_mm=8) == []
    assert collisions(pdf) == []
    wanted = (210.0, 297.0) if size == "a4" else (215.9, 279.4)
    assert page_sizes_mm(pdf)[0] == pytest.approx(wanted, abs=0.5)


def test_a_signed_card_says_by_whom_at_the_local_time_and_whether_it_passed():
    passed = page_texts(prestart_card_pdf(card(answered=everything("ok")), printed_at=PRINTED))[0]
    assert "PASSED" in passed
    assert "2031-05-04 16:02" in passed
    failed = page_texts(prestart_card_pdf(card(answered=everything("failed"), passed=False), printed_at=PRINTED))[0]
    assert "FAILED" in failed
    assert "PASSED" not in failed
    blank = page_texts(prestart_card_pdf(card(), printed_at=PRINTED))[0]
    assert "PASSED" not in blank
    assert "FAILED" not in blank
    assert "Signature" in blank


def test_own_items_are_added_and_left_out_ones_are_gone():
    settings = SawSettings(card_left_out=("latch",), card_more=("Radio charged and on the shift's channel",))
    text = squeezed(page_texts(prestart_card_pdf(card(settings=settings), printed_at=PRINTED))[0])
    assert squeezed("Radio charged") in text
    assert squeezed("lift out of its notch") not in text


def test_the_card_comes_the_same_twice():
    view = card(answered=everything("ok"))
    assert prestart_card_pdf(view, printed_at=PRINTED) == prestart_card_pdf(view, printed_at=PRINTED)


def test_the_register_lists_every_blade_and_says_which_cannot_run():
    rules = paper_rules()
    blades = [BLADE, Blade("D-13", "M350", 350.0, 10.0), Blade("D-14", "M350", 350.0, 10.0, stamped_rpm=4365.0)]
    lines = tuple(
        BladeLine(blade, "SAW-1" if at == 0 else "", at == 2,
                  blade_life(blade, cuts=(), heights=(), rules=rules, mix={}, core_diameter_mm=47.6))
        for at, blade in enumerate(blades)
    )  # fmt: skip
    pdf = blade_register_pdf(SawYard((), lines, (), (), rules, date(2031, 5, 4)), printed_at=PRINTED)
    (text,) = page_texts(pdf)
    assert all(blade.blade in text for blade in blades)
    assert "NONE: does not run" in text
    assert "scrapped" in text
    assert outside(pdf, edge_mm=8) == []
    assert collisions(pdf) == []
