"""The cut line on the cut sheet: the order large, the price of the line, the pictures, and the words beside each bag."""

from __future__ import annotations

import re

import numpy as np
import pytest
from tests.paper.paper_cases import collisions, outside, page_texts, sheet_arguments
from tests.unit.app.cut_cases import cut_hole, scattered

from trayside.app.cut_register import CutLine
from trayside.pages import compile as compiling
from trayside.pages.cut_line import cut_line_content
from trayside.pages.cut_sheet import cut_sheet_content, cut_sheet_pdf
from trayside.pages.papers import TypstPapers

SAMPLES = [(float(at), at + 1.0) for at in range(60)]


def drifting_hole(*, lines: tuple[CutLine, ...] = ()):
    """The line leaves the marks by 35 degrees over the lower 30 m; the rock keeps its plane."""

    def turn(depth: float) -> float:
        return max(0.0, (depth - 30.0) / 30.0) * 35.0

    veins = [(at, alpha, beta + turn(at)) for at, alpha, beta in scattered(60, beta_deg=2, spread_deg=4)]
    marks = [(at, turn(at)) for at in np.arange(3.0, 60.1, 3.0)]
    return cut_hole(veins=veins, marks=marks, samples=SAMPLES, lines=lines)


def set_line(from_mm: int, to_mm: int, start: float, end: float) -> CutLine:
    signed = ("veins measured again", "Demo geologist", "2031-05-04T07:30:00.000Z")
    return CutLine(from_mm, to_mm, start, end, "right", "best plane", *signed)


def test_what_was_computed_and_the_price_of_the_line_stand_on_the_first_page():
    text = page_texts(TypstPapers().cut_sheet(drifting_hole(), None))[0]
    assert "Cut line" in text
    assert "The cut line is the orientation line." in text
    assert "Computed, not ordered:" in text
    line = r"\d+ mm clockwise of the orientation line at [\d.]+ m"
    assert re.search(rf"Draw the cut line from {line} evenly to 1\d mm clockwise", text)
    share = r"([\d.]+) %"
    price = re.search(
        rf"by {share} at the best plane, {share} along the orientation line as drawn, {share} as ordered", text
    )
    best, line, ordered = (float(one) for one in price.groups())
    assert line > best
    assert ordered == line
    assert re.search(r"The drawn line turns 3\d° against the marks", text)


def test_what_the_geologist_set_is_the_order_and_stands_beside_the_bags():
    view = drifting_hole(lines=(set_line(30_000, 60_000, 0, 35),))
    pages = page_texts(TypstPapers().cut_sheet(view, None))
    assert "evenly to 15 mm clockwise of the orientation line at 60.00 m" in pages[0]
    assert "veins measured again, Demo geologist" in pages[0]
    assert "Right and left are looking downhole, the cut line up." in pages[0]
    text = " ".join(pages)
    assert "Cut line: 14 mm clockwise of the orientation line." in text
    assert "Cut 3 mm right of the cut line; the line stays on the left half." in text
    assert "Cut 3 mm right of the drawn line; the line stays on the left half." in text, (
        "above the stretch nothing changes"
    )
    ordered = float(re.search(r"([\d.]+) % as ordered here", text)[1])
    assert ordered < float(re.search(r"([\d.]+) % along the orientation line", text)[1])


MANY = tuple(set_line(at * 3000, at * 3000 + 3000, at * 9 - 90, at * 9 - 85) for at in range(20))


@pytest.mark.parametrize("lines", [(), (set_line(30_000, 60_000, 0, 35),), MANY])
def test_everything_stays_inside_the_page_and_apart(lines):
    pdf = TypstPapers().cut_sheet(drifting_hole(lines=lines), None)
    assert outside(pdf, edge_mm=5.0) == []
    assert collisions(pdf) == []


def test_many_stretches_are_cut_short_on_the_first_page_and_whole_at_the_bags():
    text = page_texts(TypstPapers().cut_sheet(drifting_hole(lines=MANY), None))
    assert "and 15 stretches more: the bags say where." in text[0]


def test_a_hole_where_nothing_was_measured_or_set_keeps_its_sheet_as_it_was():
    assert cut_line_content(cut_hole(veins=[], samples=SAMPLES), ()) is None
    bare = page_texts(TypstPapers().cut_sheet(cut_hole(veins=[], samples=SAMPLES), None))[0]
    assert "orientation line" not in bare
    assert "the drawn line up" in bare


def test_a_line_set_without_any_vein_is_an_order_without_pictures():
    view = cut_hole(veins=[], samples=SAMPLES, lines=(set_line(0, 60_000, 30, 30),))
    content = cut_line_content(view, view.sheet.rows)
    assert content["surface"] == ""
    pdf = TypstPapers().cut_sheet(view, None)
    assert "Draw the cut line 12 mm clockwise of the orientation line." in page_texts(pdf)[0]
    assert collisions(pdf) == []


def test_when_it_does_not_matter_the_sheet_says_so():
    inside = [(at + 0.5, 35.0, 70.0 + at % 5) for at in range(60)]
    text = page_texts(TypstPapers().cut_sheet(cut_hole(veins=inside, samples=SAMPLES), None))[0]
    assert "The halves come out alike: it does not matter which way this core is cut." in text
    assert "Computed, not ordered" not in text


def test_any_reason_is_printed_as_it_stands_and_the_typesetter_is_content():
    odd = CutLine(0, 60_000, 30, 30, "left", "other", '#panic("x") $a$ *b* @c', "N\u91d1", "2031-05-04T07:30:00.000Z")
    view = drifting_hole(lines=(odd,))
    content = cut_sheet_content(**sheet_arguments(cut_line=cut_line_content(view, view.sheet.rows)))
    done = compiling.compile_page(template="cut_sheet.typ", content=content)
    assert done.warnings == ()
    assert '#panic("x") $a$ *b* @c' in page_texts(done.pdf)[0]


def test_the_same_hole_gives_the_same_bytes():
    one, two = (TypstPapers().cut_sheet(drifting_hole(), None) for _ in range(2))
    assert one == two
    assert cut_sheet_pdf(**sheet_arguments()) == cut_sheet_pdf(**sheet_arguments(cut_line=None))
