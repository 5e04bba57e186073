"""The demo yard's line that is drawn 35 degrees off over 60 m: found, priced, put right on the sheet."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
import pytest

from trayside.app.cut_advice import LINE_WILL_DO, TURN, cut_advice
from trayside.app.cut_register import set_cut_line
from trayside.app.cut_stretches import advised_stretches
from trayside.app.hole_view import view_hole
from trayside.app.load_yard import load_yard
from trayside.app.office_acts import Desk, Signer
from trayside.app.plan_samples import plan_samples
from trayside.files.yard_folder import read_yard_folder
from trayside.pages.papers import TypstPapers
from trayside.store.connection import open_store
from trayside.store.work import SqlWork

FOLDER = Path(__file__).resolve().parents[2] / "demo" / "vellin_ridge"
DRIFT_FROM_M, DRIFT_TO_M, DRIFT_DEG = 156.0, 216.0, 35.0


@pytest.fixture(scope="module")
def start_work(tmp_path_factory):
    engine = open_store(tmp_path_factory.mktemp("cut") / "demo.sqlite")

    def start(*, writing: bool = True) -> SqlWork:
        return SqlWork(engine, writing=writing)

    load_yard(FOLDER, read_folder=read_yard_folder, start_work=start)
    plan_samples("VR-02", start_work=start, make_id=lambda: "sheet-1")
    yield start
    engine.dispose()


def seen(start_work, hole_id: str = "VR-02"):
    with start_work(writing=False) as work:
        return view_hole(work, hole_id)


def first_page(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return " ".join(document[0].get_textpage().get_text_range().replace("\ufffe", "").replace("\u200b", "").split())
    finally:
        document.close()


def test_the_line_that_turns_is_found_and_the_rock_is_not_blamed(start_work):
    view = seen(start_work)
    (drift,) = [one for one in view.findings if one.code == "orientation.drift"]
    assert (drift.from_mm / 1000, drift.to_mm / 1000) == (DRIFT_FROM_M, DRIFT_TO_M)
    advice = cut_advice(view)
    assert advice.line_turns_deg == pytest.approx(DRIFT_DEG, abs=4)
    assert len(advice.domains) == 1


def test_the_cut_follows_the_rock_where_the_line_leaves_it(start_work):
    advice = cut_advice(seen(start_work))
    above = [tray for tray in advice.trays if tray.to_mm / 1000 <= DRIFT_FROM_M]
    assert {tray.case for tray in above} == {LINE_WILL_DO}
    last = advice.trays[-1]
    assert last.case == TURN
    assert last.end_deg - advice.hole.cut_deg == pytest.approx(DRIFT_DEG, abs=4)


def test_the_best_plane_and_its_price_against_the_line_are_on_the_cut_sheet(start_work):
    view = seen(start_work)
    text = first_page(TypstPapers().cut_sheet(view, None))
    advice = cut_advice(view)
    price = re.search(r"by ([\d.]+) % at the best plane, ([\d.]+) % along the orientation line", text)
    assert float(price[1]) == pytest.approx(100 * advice.hole.best_imbalance, abs=0.051)
    assert float(price[2]) == pytest.approx(100 * advice.hole.line_imbalance, abs=0.051)
    assert float(price[2]) > 1.2 * float(price[1])
    assert re.search(r"trays \d+–43, [\d.]+–216.00 m", text)
    assert "17 mm clockwise of the orientation line at 216.00 m" in text


def test_the_geologist_sets_it_and_the_halves_get_more_alike(start_work):
    ids = iter(f"01890000-0000-7000-8000-{number:012x}" for number in range(100))
    desk = Desk(Signer("Demo geologist", "desk"), lambda: datetime(2031, 5, 4, tzinfo=UTC), lambda: next(ids))
    before = cut_advice(seen(start_work))
    lines = [one.line for one in advised_stretches(before)]
    set_cut_line("VR-02", lines=lines, reason="the line was drawn askew", desk=desk, start_work=start_work)
    view = seen(start_work)
    after = cut_advice(view)
    assert after.set_imbalance < before.set_imbalance == before.hole.line_imbalance
    assert "the line was drawn askew, Demo geologist" in first_page(TypstPapers().cut_sheet(view, None))


def test_holes_with_a_true_line_need_no_turn_or_a_constant_one(start_work):
    for hole_id in ("VR-01", "VR-O6", "VR-07"):
        assert {domain.case for domain in cut_advice(seen(start_work, hole_id)).domains} <= {
            LINE_WILL_DO,
            "halves alike anyway",
        }
