from dataclasses import replace

import pytest
from tests.paper.paper_cases import (
    HOLE,
    codes_by_page,
    collisions,
    forty_rows,
    outside,
    page_sizes_mm,
    page_texts,
    paper_rules,
    sample,
    squeezed,
)

from trayside.errors import ImpossibleValue
from trayside.pages.codes import qr_modules
from trayside.pages.tickets import STOCKS, _code_size_mm, tickets_pdf

ROLLS = [name for name, layout in STOCKS.items() if layout.roll]
SHEETS = [name for name, layout in STOCKS.items() if not layout.roll]
SIZES_MM = {"label-50x30": (50, 30), "label-100x50": (100, 50), "a4-3x8": (210, 297), "letter-3x10": (215.9, 279.4)}


def tickets(stock: str, **more) -> bytes:
    return tickets_pdf(**dict(rows=forty_rows()[:12], hole=HOLE, stock=stock, rules=paper_rules()) | more)


@pytest.mark.parametrize("stock", ROLLS)
@pytest.mark.parametrize("dots_per_inch", [203, 300])
def test_every_label_of_a_roll_is_read_back_as_the_printer_draws_it(stock, dots_per_inch):
    rows = forty_rows()[:12]
    pdf = tickets(stock, dots_per_inch=dots_per_inch)
    read = codes_by_page(pdf, dots_per_inch=dots_per_inch, black_and_white=True)
    assert read == [[row.number] for row in rows for _ in range(3)]


@pytest.mark.parametrize("stock", SHEETS)
def test_every_ticket_of_a_sheet_is_read_back_three_times(stock):
    rows = forty_rows()[:12]
    read = [code for page in codes_by_page(tickets(stock), dots_per_inch=300) for code in page]
    assert sorted(read) == sorted(row.number for row in rows for _ in range(3))


@pytest.mark.parametrize("stock", STOCKS)
def test_pages_have_the_size_of_the_stock_and_its_number_of_labels(stock):
    layout, sizes = STOCKS[stock], page_sizes_mm(tickets(stock))
    assert all(abs(a - b) < 0.02 for size in sizes for a, b in zip(size, SIZES_MM[stock], strict=True))
    assert len(sizes) == -(-36 // (layout.columns * layout.rows))


@pytest.mark.parametrize("stock", STOCKS)
def test_nothing_leaves_the_label_and_nothing_lies_on_anything(stock):
    long = [sample("X" * 30, 14_999_001, 14_999_999), replace(forty_rows()[4], material="M" * 40)]
    long.append(replace(long[0], kind="duplicate", number="Y" * 30, duplicate_of="X" * 30, duplicate_type="quarter/quarter"))
    for rows, hole in ((forty_rows()[:12], HOLE), (tuple(long), replace(HOLE, hole_id="H" * 40))):
        pdf = tickets(stock, rows=rows, hole=hole)
        assert outside(pdf, edge_mm=1.0) == []
        assert collisions(pdf, depth_pt=0.6) == []


@pytest.mark.parametrize("stock", STOCKS)
def test_the_tag_for_the_bag_is_the_same_paper_for_a_sample_and_for_a_control(stock):
    number = "VR100204"
    control = replace(forty_rows()[4], number=number)
    kinds = [sample(number, 1000, 2000), control, replace(control, kind="blank", material="BLK-C")]
    papers = {tickets(stock, rows=(row,), parts=("bag",)) for row in kinds}
    assert len(papers) == 1
    assert page_texts(papers.pop()) == [number]


@pytest.mark.parametrize("stock", ROLLS)
def test_only_the_stub_names_the_material_and_the_bag_learns_neither_hole_nor_depth(stock):
    rows = forty_rows()
    for row, (bag, tray, stub) in zip(rows, zip(*[iter(page_texts(tickets(stock, rows=rows)))] * 3, strict=True), strict=True):
        assert bag == row.number
        assert row.number in tray
        assert "VR-03" in tray
        assert row.number in stub
        if row.is_core:
            assert f"{row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m" in tray
            assert f"{row.from_mm / 1000:.2f}–{row.to_mm / 1000:.2f} m" in stub
            assert "tray 23, row 1" in tray
        else:
            assert row.material in stub
            assert row.material not in tray
            assert "no core" in tray
        if row.kind == "duplicate":
            assert f"quarter/quarter of {row.duplicate_of}" in stub


def test_depths_can_be_left_out_and_are_in_feet_where_the_yard_says_so():
    row = sample("T1", 30_480, 60_960)
    with_depths = page_texts(tickets("label-100x50", rows=(row,), rules=paper_rules(length_unit="ft")))
    without = page_texts(tickets("label-100x50", rows=(row,), depths=False))
    assert "100.00–200.00 ft" in with_depths[1]
    assert "100.00–200.00 ft" in with_depths[2]
    assert not any("30.48" in text or "–" in text for text in without)
    assert "VR-03" in without[1]


@pytest.mark.parametrize("dots_per_inch", [203, 300])
@pytest.mark.parametrize("number", ["1", "VR100200", "ABCDEFGHIJK", "X" * 30])
def test_squares_of_a_code_are_whole_printer_dots_and_fill_the_room(dots_per_inch, number):
    dot_mm = 25.4 / dots_per_inch
    size_mm = _code_size_mm(number, room_mm=19.0, dot_mm=dot_mm)
    dots = size_mm / qr_modules(number) / dot_mm
    assert dots == pytest.approx(round(dots), abs=1e-9)
    assert size_mm <= 19.0 < size_mm + qr_modules(number) * dot_mm


def test_markup_in_a_name_is_printed_as_it_stands():
    row = replace(forty_rows()[4], material='#x $y$ *z* @"\\')
    text = page_texts(tickets("label-100x50", rows=(row,)))[2]
    assert squeezed('STANDARD #x $y$ *z* @"\\') in squeezed(text)


def test_unknown_stock_part_and_a_code_too_fine_are_refused():
    with pytest.raises(ImpossibleValue, match="label stock"):
        tickets("label-1x1")
    with pytest.raises(ImpossibleValue, match="part"):
        tickets("a4-3x8", parts=("lid",))
    with pytest.raises(ImpossibleValue, match="part"):
        tickets("a4-3x8", parts=())
    with pytest.raises(ImpossibleValue, match="dots"):
        tickets("label-50x30", dots_per_inch=0)
    with pytest.raises(ImpossibleValue, match="too long"):
        tickets("label-50x30", rows=(sample("x" * 100, 0, 1000),))


def test_no_rows_make_one_empty_page_and_the_same_rows_the_same_bytes():
    assert page_texts(tickets("label-50x30", rows=())) == [""]
    assert tickets("a4-3x8") == tickets("a4-3x8")
