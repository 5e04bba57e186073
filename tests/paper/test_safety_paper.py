"""The safety page on paper: plain words first, every limit with document and date, nothing cut off or on top of each other."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from tests.paper.paper_cases import collisions, outside, page_sizes_mm, page_texts, squeezed

from trayside.app.record_exposure import Correction, ShiftView
from trayside.app.shift_safety import assess_shift
from trayside.core.planning_aid import PLANNING_AID
from trayside.model.exposure_record import (
    AirTask,
    Lift,
    Lifting,
    NoiseTask,
    Protector,
    RecordedShift,
    ShiftExposure,
    Surroundings,
    VibrationTask,
    changes,
)
from trayside.model.rules import PaperSettings, Rules
from trayside.pages.safety_page import safety_page_content, safety_page_pdf

AT = datetime(2031, 5, 4, 17, 30, tzinfo=UTC)
SHIFT = ShiftExposure(
    date(2031, 5, 4),
    "Demo operator",
    10.0,
    noise=(NoiseTask("sawing", 97.0, 5.0, True), NoiseTask("packing", 71.0, 4.0)),
    protector=Protector(24.0, "muff", "osha_half"),
    air=(AirTask("saw", 240.0, mass_ug=20.6, flow_l_min=1.7), AirTask("rest", 300.0, 0.005, below=True)),
    lifting=Lifting(
        (Lift("tray", 27.0, 40.0, 20.0, 100.0, 0.2, "fair"), Lift("sack", 20.0, 64.0, 30.0, 60.0, 0.2, "poor")), 1.5, 1.0,
        Surroundings(floor_wet=True),
    ),
    vibration=(VibrationTask("cutter", 4.5, 120.0), VibrationTask("drill", 3.0, 240.0)),
    remark="a dull blade",
)  # fmt: skip


def view_of(exposure: ShiftExposure, *, rules: Rules | None = None, corrected: bool = False) -> ShiftView:
    rules = rules or Rules(yard="Vellin Ridge")
    recorded = RecordedShift(exposure, 1, AT, "Demo operator")
    history = [Correction(recorded, (), ())]
    if corrected:
        before = replace(exposure, shift_h=9.0)
        recorded = RecordedShift(exposure, 2, AT, "Demo lead", "stayed on")
        history = [
            Correction(RecordedShift(before, 1, AT, "Demo operator"), (), ()),
            Correction(recorded, changes(before, exposure), (("remark", "late"),)),
        ]
    return ShiftView(rules, recorded, assess_shift(exposure, rules.safety), tuple(history), None)


@pytest.fixture(scope="module")
def full() -> bytes:
    return safety_page_pdf(view_of(SHIFT, corrected=True))


def test_the_result_stands_first_with_the_caution(full):
    first = page_texts(full)[0]
    place = first.index("ABOVE A LIMIT")
    assert place < first.index("At the open ear")
    assert place < first.index(PLANNING_AID[:40]) < first.index("At the open ear")
    for told in ("Demo operator", "2031-05-04", "HIGHLY STRESSFUL", "A(8) 3.1 m/s² · 153 points", "20.6 µg in 408 L", "<0.005",
                 "a dull blade"):  # fmt: skip
        assert squeezed(told) in squeezed(" ".join(page_texts(full))), told


def test_every_limit_is_printed_with_document_and_date(full):
    text = squeezed(" ".join(page_texts(full)))
    held = [one for hazard in view_of(SHIFT).safety.hazards for verdict in hazard.verdicts for one in verdict.held]
    assert len(held) == 19
    for one in held:
        assert squeezed(one.limit.source.document) in text
        assert squeezed(one.limit.date) in text
    assert "checkforlaterstays" in text


def test_what_was_first_said_is_printed(full):
    text = " ".join(page_texts(full))
    assert "length of the shift: 9 h" in text
    assert "reason: stayed on" in text
    assert "revision 2" in text


def test_a_lift_that_may_not_be_has_no_index(full):
    lifts = next(part for part in safety_page_content(view_of(SHIFT))["parts"] if part["name"] == "Lifting")
    # 23 kg, H 40, V 20, D 80, moderate, fair: the factors of NIOSH 94-110 (seen in a public copy).
    tray = 27.0 / (23.0 * 25 / 40 * (1 - 0.003 * 55) * (0.82 + 4.5 / 80) * 0.95 * 0.95)
    assert [row[5] for row in lifts["tables"][0]["rows"]] == [f"{tray:.1f}", "∞"]


@pytest.mark.parametrize("size", ["a4", "us-letter"])
def test_nothing_runs_off_the_page_or_into_each_other(size):
    long = "a very long description of work that goes on and on without any end to it at all"[:80]
    exposure = replace(
        SHIFT,
        person="Demo " + "operator" * 8,
        noise=tuple(NoiseTask(f"{place} {long}"[:80], 90.0 + place, 0.5, place % 2 == 0) for place in range(16)),
        air=tuple(AirTask(f"{place} {long}"[:80], 30.0, 0.01) for place in range(12)),
        remark="x" * 500,
    )
    rules = Rules(paper=PaperSettings(size=size))
    pdf = safety_page_pdf(view_of(exposure, rules=rules, corrected=True))
    assert outside(pdf, edge_mm=8) == []
    assert collisions(pdf) == []
    wide = {"a4": 210.0, "us-letter": 215.9}[size]
    assert {round(page[0], 1) for page in page_sizes_mm(pdf)} == {wide}


def test_an_almost_empty_shift_prints():
    exposure = ShiftExposure(date(2031, 5, 4), "操作 <b>", 8.0, vibration=(VibrationTask("saw", 0.0, 5.0),))
    text = " ".join(page_texts(safety_page_pdf(view_of(exposure))))
    assert "not entered" in text
    assert "‹U+64CD›" in text
    assert "<b>" in text


def test_the_same_shift_gives_the_same_bytes():
    assert safety_page_pdf(view_of(SHIFT)) == safety_page_pdf(view_of(SHIFT))
