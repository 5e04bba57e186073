import time

import pytest
from tests.paper.paper_cases import ISSUED, paper_rules, sheet_arguments

from trayside.errors import TraysideError
from trayside.pages import compile as compiling
from trayside.pages.compile import compile_page
from trayside.pages.cut_sheet import cut_sheet_content
from trayside.pages.tickets import tickets_pdf


@pytest.mark.parametrize("made_at", [None, ISSUED])
def test_the_clock_leaves_no_trace_in_the_paper(made_at):
    arguments = sheet_arguments(issued_at=made_at, revision=1 if made_at else 0)
    content = cut_sheet_content(**arguments)
    tickets = dict(rows=arguments["rows"], hole=arguments["hole"], stock="a4-3x8", rules=paper_rules(), made_at=made_at)
    first = compile_page(template="cut_sheet.typ", content=content, made_at=made_at).pdf, tickets_pdf(**tickets)
    time.sleep(1.1)
    compiling._compiler.cache_clear()
    assert (compile_page(template="cut_sheet.typ", content=content, made_at=made_at).pdf, tickets_pdf(**tickets)) == first


def test_only_the_fonts_of_the_typesetter_are_used():
    assert set(compiling._wheel_fonts().families()) >= {"Libertinus Serif", "DejaVu Sans Mono"}
    families = {font.family for font in compiling._wheel_fonts().fonts()}
    assert families <= {"Libertinus Serif", "DejaVu Sans Mono", "New Computer Modern", "New Computer Modern Math"}


def test_a_page_that_cannot_be_set_is_a_clear_error():
    with pytest.raises(TraysideError, match="could not be set"):
        compile_page(template="cut_sheet.typ", content={"paper": "a4"})


def test_no_template_imports_anything_that_would_be_fetched():
    templates = sorted(compiling.TEMPLATES.glob("*.typ"))
    assert len(templates) >= 3
    assert not [path.name for path in templates if "import" in path.read_text() or "include" in path.read_text()]
