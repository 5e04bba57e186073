"""The shift plan on paper: every tray of the shift in its saw's order, what it saves, what changed, any text."""

from dataclasses import replace
from datetime import UTC, datetime

import pypdfium2
import pytest

from trayside.core.planning_aid import PLANNING_AID
from trayside.core.shift_plan import Piece, Saw, plan_shift, replan
from trayside.model.rules import Rules
from trayside.model.shift import (
    Change,
    HoleWish,
    LeftOut,
    SavedPlan,
    SawWish,
    ShiftHours,
    ShiftRequest,
    TrayToCut,
)
from trayside.pages.shift_plan import shift_plan_content, shift_plan_pdf

MADE = datetime(2031, 5, 4, 6, 0, tzinfo=UTC)
ODD = 'Demo <b>#"operator" $x$ 鉆'


def a_plan(trays=60) -> SavedPlan:
    pieces = tuple(
        Piece(f"K/{at % 3}/{at}", f"K/{at % 3}", 20.0 + at % 7, 4.0, grade=at % 5, due_min=300.0 if at % 3 == 0 else None)
        for at in range(trays)
    )
    saws = (Saw("SAW-1"), Saw("SAW-2"))
    plan = plan_shift(pieces=pieces, saws=saws)
    grades = [one.name for one in Rules().grade_classes]
    return SavedPlan(
        plan_id="one", made_at=MADE, made_by="Demo lead",
        request=ShiftRequest("2031-05-04", "07:00", 10.0, (SawWish("SAW-1", ODD), SawWish("SAW-2")),
                             (HoleWish("K/0", "normal", True),), lorry_at="14:00"),
        hours=ShiftHours("2031-05-04", "07:00", 10.0, ((570, 20), (750, 40)), 20.0, 20.0, 0),
        trays=tuple(TrayToCut(one.name, one.hole, int(one.name.split("/")[-1]), ("T1",), 4.0, one.minutes,
                              grades[one.grade]) for one in pieces),
        pieces=pieces, saws=saws, lines=plan.lines, figures=plan.figures, first_come=plan.first_come,
        bound_min=plan.bound_min, left_out=(LeftOut("SAW-3", f"tagged out: {ODD}"),), says="", looked_s=1.0,
    )  # fmt: skip


@pytest.fixture(scope="module")
def plan() -> SavedPlan:
    return a_plan()


def pages_of(pdf: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(pdf)
    return [page.get_textpage().get_text_range().replace("\u200b", "").replace("\ufffe", "") for page in document]


def test_every_tray_that_is_begun_in_the_shift_stands_on_paper_in_its_order(plan):
    content = shift_plan_content(plan, Rules())
    for saw in content["saws"]:
        own = [line for line in plan.lines if line.saw == saw["saw"]]
        begun = [line for line in own if line.start_min < plan.hours.productive_min]
        assert [row["tray"] for row in saw["rows"]] == [line.piece.split("/")[-1] for line in begun]
        later = len(own) - len(begun)
        assert (f"{later} tray" in saw["later"]) is bool(later)
    assert any(saw["later"] for saw in content["saws"])


def test_the_pdf_says_what_it_saves_and_that_it_is_an_aid(plan):
    first, *others = pages_of(shift_plan_pdf(plan, Rules()))
    assert "2031-05-04" in first
    assert f"{100 * plan.saved:.1f} % better than first come, first served" in " ".join(first.split())
    assert "lorry 14:00" in first
    assert "SAW-3" in first
    assert PLANNING_AID in " ".join(first.split())
    assert any(page.strip().startswith("Shift plan") and "SAW-2" in page for page in others)
    assert "page 1 of" in first


def test_text_is_printed_as_it_stands(plan):
    printed = " ".join(" ".join(pages_of(shift_plan_pdf(plan, Rules()))).split())
    assert 'Demo <b>#"operator" $x$ ‹U+9246›' in printed


def test_what_changed_is_on_the_first_page(plan):
    new = replan(
        plan=plan_shift(pieces=plan.pieces, saws=plan.saws), pieces=plan.pieces, saws=plan.saws, at_min=100.0,
        stopped="SAW-2",
    )  # fmt: skip
    change = Change("SAW-2", 100.0, None, False, new.done, new.moved, new.cut_off, (), new.says)
    again = replace(plan, lines=new.plan.lines, figures=new.plan.figures, first_come=new.plan.first_come, change=change)
    first = " ".join(pages_of(shift_plan_pdf(again, Rules()))[0].split())
    assert "What changed: SAW-2 stopped at 09:00" in first
    assert shift_plan_content(plan, Rules())["changed"] == ""


def test_the_same_plan_prints_the_same_bytes_on_either_paper(plan):
    assert shift_plan_pdf(plan, Rules()) == shift_plan_pdf(plan, Rules())
    letter = Rules.model_validate({"paper": {"size": "us-letter", "length_unit": "ft"}})
    document = pypdfium2.PdfDocument(shift_plan_pdf(plan, letter))
    assert [round(side) for side in document[0].get_size()] == [792, 612]
    assert "Core, ft" in pages_of(shift_plan_pdf(plan, letter))[1]
