import hashlib
import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from tests.paper.paper_cases import (
    HOLE,
    MM_PER_POINT,
    codes_by_page,
    collisions,
    forty_rows,
    outside,
    page_sizes_mm,
    page_texts,
    paper_rules,
    sample,
    sheet_arguments,
    squeezed,
    text_boxes,
)

from trayside.model.rules import CutSettings
from trayside.pages import compile as compiling
from trayside.pages.cut_sheet import cut_sheet_content, cut_sheet_pdf

HOSTILE = r'#panic("x") $a^2$ *b* _c_ \ " @d <e> [f] `g` ~ // h {i} = j'


@pytest.fixture(scope="module")
def issued() -> bytes:
    return cut_sheet_pdf(**sheet_arguments())


@pytest.mark.parametrize("size", ["a4", "us-letter"])
def test_every_code_on_the_sheet_is_read_back(size):
    pdf = cut_sheet_pdf(**sheet_arguments(rules=paper_rules(size=size)))
    read = codes_by_page(pdf)
    expected = {row.number for row in forty_rows()} | {"VR-03 R2 9F3AC1D27BE0"}
    assert {code for page in read for code in page} == expected
    assert sum(len(page) for page in read) == 41


def test_each_code_stands_on_the_page_of_its_number(issued):
    for texts, codes in zip(page_texts(issued), codes_by_page(issued), strict=True):
        assert all(code in texts for code in codes if code.startswith("VR1"))


@pytest.mark.parametrize(("size", "wide_mm", "high_mm"), [("a4", 297.0, 210.0), ("us-letter", 279.4, 215.9)])
def test_the_sheet_is_landscape_and_everything_stays_inside_and_apart(size, wide_mm, high_mm):
    pdf = cut_sheet_pdf(**sheet_arguments(rules=paper_rules(size=size, length_unit="ft", mass_unit="lb")))
    assert all(abs(w - wide_mm) < 0.1 and abs(h - high_mm) < 0.1 for w, h in page_sizes_mm(pdf))
    assert outside(pdf, edge_mm=5.0) == []
    assert collisions(pdf) == []


def test_a_row_says_where_the_core_lies_how_it_is_cut_and_what_is_bagged(issued):
    text = " ".join(page_texts(issued))
    for words in (
        "VR100200", "101.25 m", "102.25 m", "tray 23 · row 1 · 45 cm", "tray 24 · row 2 · 80 cm", "length 1.00 m",
        "SCH · intact · NQ", "automatic saw", "long sound sticks hold in the carriage", "right half",
        "the left half stays in the tray", "1.75–2.31 kg", "expect 2.00", "core there: 1.08 m", "1/40",
        "CAUTION: visible gold: rinse the blade, then a barren cut",
    ):  # fmt: skip
        assert words in text, words
    assert "Cut 3 mm right of the drawn line; the line stays on the left half." in text


def test_the_head_names_hole_revision_signer_digest_and_changes(issued):
    first = page_texts(issued)[0]
    for words in (
        "VR-03", "Vellin Ridge", "revision 2", "2031-05-06 07:30 UTC", "A. Signer", "9F3AC1D27BE0", "Boundaries checked",
        "Changed since revision 1", "VR100203 half to bag: was left, is right",
        "40 bags: 34 samples, 1 DUPLICATE, 3 STANDARDs, 2 BLANKs".lower(),
    ):  # fmt: skip
        assert words in first or words in first.lower(), words
    assert "What the checks say about this hole" in page_texts(issued)[-1]


def test_every_page_repeats_head_table_head_cautions_and_its_number(issued):
    pages = page_texts(issued)
    assert len(pages) > 3
    for at, text in enumerate(pages, start=1):
        assert f"page {at} of {len(pages)}" in text
        assert "No water, no cut." in text
        assert "revision 2" in text
    for text in pages:
        if any(row.number in text for row in forty_rows()):
            assert "Number for the bag" in text


def test_no_row_is_split_between_pages():
    # Each row carries a word of its own at its top, middle and bottom.
    rows = tuple(
        sample(
            f"T{at:03d}", at * 1000, at * 1000 + 1000, method=f"method{at:03d}", rock=f"rock{at:03d}",
            caution=" ".join(f"caution{at:03d}-{n}" for n in range(at % 7 * 6)),
        )
        for at in range(30)
    )  # fmt: skip
    pages = [squeezed(text) for text in page_texts(cut_sheet_pdf(**sheet_arguments(rows=rows)))]
    for at, row in enumerate(rows):
        words = [row.number, row.method, row.rock, *row.caution.split()]
        holding = [{page for page, text in enumerate(pages) if word in text} for word in words]
        assert all(found == holding[0] for found in holding), row.number
        assert len(holding[0]) == 1, at


def test_a_draft_says_so_on_every_page_and_an_issued_sheet_never(issued):
    draft = cut_sheet_pdf(**sheet_arguments(revision=0, issued_at=None, issued_by="", changes=()))
    assert all("DRAFT – not issued" in text for text in page_texts(draft))
    assert not any("DRAFT" in text for text in page_texts(issued))
    assert outside(draft, edge_mm=5.0) == []
    assert collisions(draft) == []


def test_controls_are_told_by_word_and_say_what_to_insert(issued):
    text = " ".join(page_texts(issued))
    assert text.count("STANDARD") == 3
    assert text.count("BLANK") == 2
    assert text.count("Insert standard STD-12") == 3
    assert text.count("Insert blank BLK-C") == 2
    assert "Why here: follows visible gold" in text
    assert text.count("put in") == 5


def test_both_bags_of_a_duplicate_say_what_to_do(issued):
    text = " ".join(page_texts(issued))
    assert "Cut the bagged half again: one quarter here, the other into VR100211." in text
    assert "Quarter of VR100210: cut the bagged half again, the other quarter goes in here." in text
    assert text.count("DUPLICATE") == 1


@pytest.mark.parametrize(
    ("offset_mm", "side", "words"),
    [
        (3.0, "right", "Cut 3 mm right of the drawn line; the line stays on the left half."),
        (2.5, "left", "Cut 2.5 mm left of the drawn line; the line stays on the right half."),
        (0.0, "right", "Cut along the drawn line."),
        (-2.0, "right", "Cut 2 mm left of the drawn line; the line goes into the bag."),
    ],
)
def test_the_blade_is_placed_against_the_drawn_line(offset_mm, side, words):
    rules = paper_rules(cut=CutSettings(offset_mm=offset_mm))
    pdf = cut_sheet_pdf(**sheet_arguments(rows=(sample("T1", 0, 1000, side=side),), rules=rules))
    assert words in page_texts(pdf)[0]


def test_feet_and_pounds_are_converted_only_on_paper():
    # 1 ft = 0.3048 m (85 FR 62698, seen); 1 lb = 0.45359237 kg (UCUM 2.2, seen): 101.25 m = 332.19 ft, 2.31 kg = 5.09 lb.
    rules = paper_rules(length_unit="ft", mass_unit="lb")
    text = page_texts(cut_sheet_pdf(**sheet_arguments(rules=rules)))[0]
    for words in ("332.19 ft", "335.47 ft", "length 3.28 ft", "3.86–5.09 lb", "expect 4.41"):
        assert words in text, words
    assert "kg" not in text


def test_millimetres_are_shown_where_there_are_any():
    text = page_texts(cut_sheet_pdf(**sheet_arguments(rows=(sample("T1", 12_345, 13_000),))))[0]
    assert "12.345 m" in text
    assert "13.00 m" in text
    assert "length 0.655 m" in text


def test_any_text_is_printed_as_it_stands():
    row = sample("T1", 0, 1000, rock="R", method=HOSTILE, method_reason=HOSTILE, caution=HOSTILE)
    control = replace(forty_rows()[4], material=HOSTILE, reason=HOSTILE)
    pdf = cut_sheet_pdf(
        **sheet_arguments(
            yard=HOSTILE, rows=(row, control), issued_by=HOSTILE, statement=HOSTILE, changes=(HOSTILE,), findings_notes=(HOSTILE,)
        )
    )
    text = squeezed(" ".join(page_texts(pdf)))
    assert text.count(squeezed(HOSTILE)) == 10
    assert outside(pdf, edge_mm=5.0) == []


def test_letters_of_four_languages_are_printed_and_an_unknown_one_is_spelled():
    row = sample("T1", 0, 1000, caution="Öl, façade, São, ñandú, œuvre, cafe\u0301, 金 \x00 😀")
    text = squeezed(page_texts(cut_sheet_pdf(**sheet_arguments(rows=(row,))))[0])
    assert "Öl,façade,São,ñandú,œuvre,café,‹U+91D1›‹U+0000›‹U+1F600›" in text


def test_the_longest_texts_without_a_blank_stay_in_their_columns():
    long = "W" * 500
    row = sample(
        "X" * 30, 14_999_001, 14_999_999, rock="R" * 40, method=long, method_reason=long, caution=long, core_size="C" * 40,
        expected_kg=123_456.0, low_kg=100_000.0, high_kg=999_999.0,
    )  # fmt: skip
    hole = replace(HOLE, hole_id="H" * 40, area="A" * 500)
    pdf = cut_sheet_pdf(
        **sheet_arguments(hole=hole, rows=(row,), yard="Y" * 80, issued_by="N" * 80, statement=long, changes=(long,))
    )
    assert outside(pdf, edge_mm=5.0) == []
    assert collisions(pdf) == []
    number = next(box for page in text_boxes(pdf) for box in page if "X" * 20 in box[4])
    assert number[2] * MM_PER_POINT < 8 + 17 + 42 + 0.1


def test_a_sheet_without_rows_and_one_with_missing_facts_can_be_printed():
    bare = sample("T1", 0, 1000, from_place=None, to_place=None, rock=None, condition=None, core_size=None, method="",
                  method_reason="", expected_kg=None, low_kg=None, high_kg=None, recovered_mm=None)  # fmt: skip
    assert "No bags on this sheet." in page_texts(cut_sheet_pdf(**sheet_arguments(rows=())))[0]
    assert "T1" in page_texts(cut_sheet_pdf(**sheet_arguments(rows=(bare,))))[0]


def test_the_same_sheet_gives_the_same_bytes_in_another_process_and_zone(issued):
    assert cut_sheet_pdf(**sheet_arguments()) == issued
    script = (
        "import sys, hashlib; sys.path.insert(0, sys.argv[1]); from tests.paper.paper_cases import sheet_arguments; "
        "from trayside.pages.cut_sheet import cut_sheet_pdf; "
        "print(hashlib.sha256(cut_sheet_pdf(**sheet_arguments())).hexdigest())"
    )
    answer = subprocess.run(
        [sys.executable, "-c", script, str(Path(__file__).parents[2])],
        env=os.environ | {"TZ": "Asia/Tokyo", "PYTHONHASHSEED": "7"}, capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert answer.stdout.strip() == hashlib.sha256(issued).hexdigest()


def test_the_typesetter_has_nothing_to_complain_about():
    content = cut_sheet_content(**sheet_arguments())
    assert compiling.compile_page(template="cut_sheet.typ", content=content).warnings == ()


def test_forty_rows_are_set_in_a_moment():
    cut_sheet_pdf(**sheet_arguments())
    rows = tuple(replace(row, number=row.number.replace("VR1", "VR7"), duplicate_of=None) for row in forty_rows())
    start = time.perf_counter()
    cut_sheet_pdf(**sheet_arguments(rows=rows))
    assert time.perf_counter() - start < 5.0
