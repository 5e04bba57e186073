import xml.etree.ElementTree as ElementTree

import pytest
import segno
from tests.paper.paper_cases import codes_by_page

from trayside.errors import ImpossibleValue
from trayside.pages.codes import QUIET_MODULES, qr_matrix, qr_modules, qr_svg, sheet_code
from trayside.pages.compile import compile_page


@pytest.mark.parametrize("number", ["1", "VR100200", "ABCDEFGHIJ", "0123456789"])
def test_an_upper_case_id_of_ten_characters_fits_the_smallest_symbol(number):
    # ISO/IEC 18004 version 1 is 21 modules wide and holds 10 alphanumeric characters at level H (segno's tables, seen).
    assert len(qr_matrix(number)) == 21
    assert segno.make_qr(number, error="h", boost_error=False).designator == "1-H"


def test_a_longer_or_lower_case_id_takes_a_larger_symbol_and_is_no_micro_symbol():
    assert len(qr_matrix("ABCDEFGHIJK")) == 25
    assert len(qr_matrix("abcdefgh")) == 25
    assert min(len(qr_matrix(str(digit))) for digit in range(10)) >= 21


def test_the_path_fills_exactly_the_dark_squares():
    number = "VR100207"
    side = qr_modules(number)
    root = ElementTree.fromstring(qr_svg(number))
    assert root.get("viewBox") == f"0 0 {side} {side}"
    filled = set()
    for part in root[1].get("d").split("M")[1:]:
        place, rest = part.split("h", 1)
        x, y = map(int, place.split(","))
        filled |= {(x + step, y) for step in range(int(rest.split("v")[0]))}
    expected = {
        (x + QUIET_MODULES, y + QUIET_MODULES) for y, row in enumerate(qr_matrix(number)) for x, dark in enumerate(row) if dark
    }
    assert filled == expected


def test_a_code_too_long_or_empty_is_refused():
    for text in ("", "X" * 120):
        with pytest.raises(ImpossibleValue):
            qr_svg(text)


@pytest.mark.parametrize("text", ["VR100200", "1", "vr-3/a b", sheet_code(hole_id="VR_03 b", revision=12, digest="0af3" * 16)])
def test_a_symbol_set_on_a_page_is_read_back(text):
    ticket = {"part": "bag", "number": "n", "qr": qr_svg(text), "size_mm": 25.0, "lines": []}
    page = dict(
        page_width_mm=100, page_height_mm=50, columns=1, rows=1, width_mm=100, height_mm=50, left_mm=0, top_mm=0,
        column_gap_mm=0, number_on_top=False,
    )  # fmt: skip
    content = {"page": page, "edge_mm": 2.0, "dot_mm": 0.01, "number_share": 0.2, "tickets": [ticket]}
    assert codes_by_page(compile_page(template="tickets.typ", content=content).pdf) == [[text]]


def test_the_sheet_code_names_hole_revision_and_digest():
    assert sheet_code(hole_id="VR-03", revision=2, digest="9f3ac1d27be04455") == "VR-03 R2 9F3AC1D27BE0"
