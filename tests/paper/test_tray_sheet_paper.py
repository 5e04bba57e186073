import pypdfium2
import pytest
from tests.paper.paper_cases import (
    HOLE,
    ISSUED,
    MM_PER_POINT,
    codes_by_page,
    collisions,
    outside,
    page_sizes_mm,
    page_texts,
    paper_rules,
    sample,
)

from trayside.app.hole_view import HoleView
from trayside.app.register_depth import register_hole
from trayside.app.tray_picture import TrayPicture, TrayPiece, tray_pictures
from trayside.errors import ImpossibleValue, NotFound
from trayside.model.cut_sheet import SheetRow
from trayside.model.hole import HoleCore, Loss, Rock, Run, Tray
from trayside.model.stock import Stock
from trayside.pages.papers import TypstPapers
from trayside.pages.tray_sheet import scale_for, tray_sheet_pdf

ROWS = (
    sample("VR100200", 1200, 2200), sample("VR100201", 2200, 2500),
    sample("VR100202", 2500, 2560, caution="visible gold"), sample("VR100203", 2560, 3600),
    SheetRow(5, "duplicate", "VR100204", 2560, 3600, side="right", portion="quarter", duplicate_of="VR100203"),
    SheetRow(6, "blank", "VR100205", material="BLK-C"), sample("VR100206", 3600, 5000),
)  # fmt: skip


def trays(*, rows: int = 5, row_length_mm: int = 1000) -> tuple[TrayPicture, ...]:
    runs = tuple(Run(at + 1, at * 3000, at * 3000 + 3000, 3000 if at else 2600, "NQ") for at in range(3))
    held_mm = rows * row_length_mm
    boxes = tuple(
        Tray(at + 1, at * held_mm, min((at + 1) * held_mm, 9000), rows, row_length_mm) for at in range(-(-9000 // held_mm))
    )
    core = HoleCore(HOLE, (), runs, (Loss(400, 400, "seen"),), boxes, (Rock(0, 9000, "SCH", "intact", "low", "hard"),))
    return tray_pictures(hole_id="VR-03", depth=register_hole(core, paper_rules()), rows=ROWS, rock=core.rock)


def sheet(pictures: tuple[TrayPicture, ...], **more) -> bytes:
    facts = dict(yard="Vellin Ridge", hole=HOLE, trays=pictures, rules=paper_rules(), rows=ROWS, revision=2, made_at=ISSUED)
    return tray_sheet_pdf(**facts | more)


def places_mm(pdf: bytes, words: str) -> list[tuple[float, float]]:
    """Middle of each place of these words on the first page."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        text = document[0].get_textpage()
        search, found = text.search(words), []
        while (hit := search.get_next()) is not None:
            boxes = [text.get_charbox(at) for at in range(hit[0], hit[0] + hit[1])]
            left, right = min(b[0] for b in boxes), max(b[2] for b in boxes)
            found.append(((left + right) / 2 * MM_PER_POINT, boxes[0][1] * MM_PER_POINT))
        return found
    finally:
        document.close()


@pytest.mark.parametrize("size", ["a4", "us-letter"])
def test_one_page_a_tray_with_numbers_depths_and_tape_places(size):
    pdf = sheet(trays(), rules=paper_rules(size=size))
    pages = page_texts(pdf)
    assert len(pages) == 2
    for words in (
        "Tray 1", "0.00–5.00 m", "VR100200", "VR100203 + VR100204", "from row 2, 20 cm to row 3, 20 cm", "lost 0.40 m",
        "caution: visible gold", "along the core 1 : 4", "cut sheet revision 2", "3 m", "VR100205 (blank)",
        "the cut (dashed) runs 3 mm right of it",
    ):  # fmt: skip
        assert words in pages[0], words
    assert "No sample in these rows." in pages[1]
    assert all(f"page {at} of 2" in text for at, text in enumerate(pages, start=1))
    assert outside(pdf, edge_mm=5.0) == []
    assert collisions(pdf) == []


def test_the_print_is_true_to_its_scale():
    # 900 mm of tray between the ruler's 10 and 100 at 1 : 4 are 225 mm of paper.
    pdf = sheet(trays())
    ruler_y = max(y for _, y in places_mm(pdf, "100"))
    along = {words: [x for x, y in places_mm(pdf, words) if abs(y - ruler_y) < 0.3] for words in ("90", "100")}
    tens = [x for x, y in places_mm(pdf, "10") if abs(y - ruler_y) < 0.3]
    assert max(along["100"]) - min(tens) == pytest.approx(225.0, abs=0.3)
    assert max(along["100"]) - along["90"][0] == pytest.approx(25.0, abs=0.3)


def test_a_tall_tray_goes_over_several_pages_and_loses_no_row():
    pdf = sheet(trays(rows=9))
    pages = page_texts(pdf)
    assert "rows 1 to" in pages[0]
    assert any("to 9 of 9" in text for text in pages)
    assert outside(pdf, edge_mm=5.0) == []
    assert {abs(w - 297) < 0.1 for w, _ in page_sizes_mm(pdf)} == {True}
    assert "VR100206" in " ".join(pages)


@pytest.mark.parametrize(
    ("longest_mm", "paper", "scale"), [(1000, "a4", 4), (1050, "a4", 4), (1050, "us-letter", 5), (1500, "a4", 6), (500, "a4", 2)]
)
def test_the_scale_is_the_largest_usual_one_that_fits(longest_mm, paper, scale):
    assert scale_for(longest_mm=longest_mm, paper=paper) == scale


def test_an_absurd_row_is_refused():
    with pytest.raises(ImpossibleValue):
        scale_for(longest_mm=1e6, paper="a4")


def test_a_draft_says_so_and_the_same_trays_give_the_same_bytes():
    assert "draft – not issued" in page_texts(sheet(trays(), revision=0))[0]
    assert sheet(trays()) == sheet(trays())


def test_any_text_is_printed_as_it_stands_and_feet_are_feet():
    pieces = (TrayPiece("core", 1, 0.0, 914.4, 0.0, 914.4, 1),)
    picture = TrayPicture("VR-03", 1, 0, 3048, 1, 1000.0, (False,), pieces)
    text = page_texts(sheet((picture,), yard='#x $y$ *z* @"\\', rules=paper_rules(length_unit="ft")))[0]
    assert '#x $y$ *z* @"\\' in text
    assert "0.00–10.00 ft" in text


def test_a_hole_without_trays_is_refused_in_words_and_gives_no_blank_page():
    core = HoleCore(HOLE, runs=(Run(1, 0, 3000, 3000, "NQ"),), trays=())
    rules = paper_rules()
    view = HoleView(core, Stock({}, {}, (), ()), rules, register_hole(core, rules), None, (), ())
    with pytest.raises(NotFound, match=r"there are no trays to mark up\. Enter its trays"):
        TypstPapers().tray_sheet(view)


def test_every_tray_carries_the_code_that_the_bench_takes_for_it():
    pictures = trays()
    codes = codes_by_page(sheet(pictures))
    assert codes == [[f"VR-03/{picture.tray}"] for picture in pictures]


def test_a_tray_over_several_pages_carries_its_code_on_each():
    codes = codes_by_page(sheet(trays(rows=9)))
    assert len(codes) > 1
    assert {tuple(page) for page in codes} == {("VR-03/1",)}
