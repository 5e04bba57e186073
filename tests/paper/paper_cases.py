"""Sheets to print in tests, and eyes to read a PDF back: text, boxes, codes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pypdfium2
import zxingcpp

from trayside.model.cut_sheet import Place, SheetRow
from trayside.model.hole import Hole
from trayside.model.rules import PaperSettings, Rules

MM_PER_POINT = 25.4 / 72
HOLE = Hole("VR-03", "Section 2", 1000.0, 2000.0, 350.0, 90.0, -60.0, 250_000, "250")
ISSUED = datetime(2031, 5, 6, 7, 30, tzinfo=UTC)
SAW = dict(method="automatic saw", method_reason="long sound sticks hold in the carriage", portion="half", side="right")


def sample(number: str, from_mm: int, to_mm: int, **more) -> SheetRow:
    facts = dict(
        seq=1, kind="sample", number=number, from_mm=from_mm, to_mm=to_mm, from_place=Place(23, 1, 45.0),
        to_place=Place(24, 2, 80.0), core_size="NQ", rock="SCH", condition="intact", recovered_mm=to_mm - from_mm,
        expected_kg=2.0, low_kg=1.75, high_kg=2.31, **SAW,
    )  # fmt: skip
    return SheetRow(**facts | more)


def forty_rows() -> tuple[SheetRow, ...]:
    """Samples of several kinds with three standards, two blanks, a duplicate and a caution among them."""
    rows: list[SheetRow] = []
    depth_mm = 101_250
    for at in range(40):
        number = f"VR{100_200 + at}"
        if at % 13 == 4:
            row = SheetRow(at + 1, "standard", number, material="STD-12", reason="near the grade expected here")
        elif at % 17 == 8:
            row = SheetRow(at + 1, "blank", number, material="BLK-C", reason="follows visible gold")
        elif at == 11:
            rows[-1] = replace(rows[-1], portion="quarter")
            row = replace(
                rows[-1], number=number, kind="duplicate", duplicate_of=rows[-1].number, duplicate_type="quarter/quarter"
            )
        else:
            length_mm = (1000, 1000, 500, 1200, 350)[at % 5]
            row = sample(number, depth_mm, depth_mm + length_mm)
            if at % 5 == 3:
                row = replace(row, method="half by mass", side="", condition="rubble", recovered_mm=length_mm - 120)
            if at == 7:
                row = replace(row, caution="visible gold: rinse the blade, then a barren cut")
            depth_mm += length_mm
        rows.append(replace(row, seq=at + 1))
    return tuple(rows)


def sheet_arguments(**more) -> dict:
    facts = dict(
        yard="Vellin Ridge", hole=HOLE, rows=forty_rows(), revision=2, issued_by="A. Signer", issued_at=ISSUED,
        statement="Boundaries checked on the core.", digest="9f3ac1d27be04455aa",
        changes=("VR100203 half to bag: was left, is right",), rules=paper_rules(), findings_notes=("Low recovery, run 7.",),
    )  # fmt: skip
    return facts | more


def paper_rules(*, size: str = "a4", length_unit: str = "m", mass_unit: str = "kg", **more) -> Rules:
    return Rules(paper=PaperSettings(size=size, length_unit=length_unit, mass_unit=mass_unit), **more)


def page_texts(pdf: bytes) -> list[str]:
    """The text of each page, breaks and break marks taken out, so that a wrapped sentence is found whole."""
    document = pypdfium2.PdfDocument(pdf)
    try:
        texts = [page.get_textpage().get_text_range() for page in document]
    finally:
        document.close()
    return [" ".join(text.replace("\u200b", "").replace("\ufffe", "").split()) for text in texts]


def squeezed(text: str) -> str:
    """Text without any white space: where a long word was broken no longer matters."""
    return "".join(text.split())


def page_sizes_mm(pdf: bytes) -> list[tuple[float, float]]:
    document = pypdfium2.PdfDocument(pdf)
    try:
        return [tuple(round(side * MM_PER_POINT, 2) for side in page.get_size()) for page in document]
    finally:
        document.close()


def text_boxes(pdf: bytes) -> list[list[tuple[float, float, float, float, str]]]:
    """For each page the boxes of its pieces of text: left, bottom, right, top in points, and the text."""
    document = pypdfium2.PdfDocument(pdf)
    pages = []
    try:
        for page in document:
            text = page.get_textpage()
            boxes = [text.get_rect(at) for at in range(text.count_rects())]
            pages.append([(*box, text.get_text_bounded(*box)) for box in boxes if box[2] > box[0] and box[3] > box[1]])
    finally:
        document.close()
    return pages


def outside(pdf: bytes, *, edge_mm: float) -> list[str]:
    """Pieces of text that come nearer to the edge of the page than this."""
    edge = edge_mm / MM_PER_POINT
    found = []
    for boxes, (wide_mm, high_mm) in zip(text_boxes(pdf), page_sizes_mm(pdf), strict=True):
        wide, high = wide_mm / MM_PER_POINT, high_mm / MM_PER_POINT
        found += [box[4] for box in boxes if box[0] < edge or box[1] < edge or box[2] > wide - edge or box[3] > high - edge]
    return found


def collisions(pdf: bytes, *, depth_pt: float = 1.2) -> list[tuple[str, str]]:
    """Pairs of pieces of text that lie on each other by more than a hair."""
    found = []
    for boxes in text_boxes(pdf):
        for at, a in enumerate(boxes):
            for b in boxes[at + 1 :]:
                wide, high = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
                if wide > depth_pt and high > depth_pt:
                    found.append((a[4], b[4]))
    return found


def codes_by_page(pdf: bytes, *, dots_per_inch: int = 200, black_and_white: bool = False) -> list[list[str]]:
    """What a reader sees on each page, drawn as a printer of this fineness would draw it."""
    document = pypdfium2.PdfDocument(pdf)
    pages = []
    try:
        for page in document:
            picture = page.render(scale=dots_per_inch / 72, grayscale=True).to_pil()
            if black_and_white:
                picture = picture.point(lambda level: 255 if level > 127 else 0)
            found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
            pages.append([code.text for code in found])
    finally:
        document.close()
    return pages
