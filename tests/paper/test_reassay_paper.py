"""The request to assay again on paper: it compiles, and no control, material or reason is on it."""

from __future__ import annotations

from datetime import UTC, datetime

import pypdfium2

from trayside.model.rules import Rules
from trayside.model.verdict import ReassayLine, ReassayRequest, RuleSet
from trayside.pages.compile import compile_page
from trayside.pages.papers import TypstPapers
from trayside.pages.reassay_request import reassay_request_content

WHEN = datetime(2031, 5, 4, 9, 30, tzinfo=UTC)
LINES = tuple(
    ReassayLine(f"K41{at:04d}", at, "control" if at % 20 == 7 else "sample", ("Au", "Cu"), 2.5, "Au: a failed standard (STD-B)")
    for at in range(1, 61)
)
REQUEST = ReassayRequest(
    "CT-00004", "Demo laboratory A", "A-0117-3", ("Au", "Cu"), LINES, 3, 142.5, 0, 1234.5, "DEM",
    ("STD-B as K410007 reads 1.70 g/t.",), RuleSet("Westgard", (), "0" * 64),
)  # fmt: skip


def text_of(pdf: bytes) -> str:
    document = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in document)


def test_the_paper_lists_every_sample_and_no_control():
    text = text_of(TypstPapers().reassay_request(REQUEST, Rules(), WHEN))
    for line in LINES:
        assert (line.number in text) == (line.kind == "sample")
    assert "STD-B" not in text
    assert "standard" not in text
    assert "57 samples" in text
    assert "1,234.50 DEM" in text


def test_the_template_compiles_without_a_warning():
    content = reassay_request_content(REQUEST, rules=Rules(), made_at=WHEN)
    assert compile_page(template="reassay_request.typ", content=content, made_at=WHEN).warnings == ()
