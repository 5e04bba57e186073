"""Turns a page template and its content into a PDF: no machine fonts, no clock, no network.

The templates import no packages (a test holds them to it), so the typesetter has nothing to fetch.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from threading import Lock

import typst

from trayside.errors import TraysideError

TEMPLATES = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class Compiled:
    """A finished PDF and what the typesetter complained about."""

    pdf: bytes
    warnings: tuple[str, ...]


_one_at_a_time = Lock()


@lru_cache(maxsize=1)
def _wheel_fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True)


@lru_cache(maxsize=8)
def _compiler(template: str) -> typst.Compiler:
    return typst.Compiler(
        input=str(TEMPLATES / template),
        root=str(TEMPLATES),
        font_paths=_wheel_fonts(),
        ignore_system_fonts=True,
    )


def compile_page(*, template: str, content: dict, made_at: datetime | None = None) -> Compiled:
    """Set `template` with `content`; the same content and time give the same bytes.

    Content travels as JSON and is never read as markup, so any character in it is printed as it stands.
    Without `made_at` the PDF carries no date.
    """
    inputs = {"content": json.dumps(content | {"dated": made_at is not None}, ensure_ascii=False)}
    # Without a timestamp the typesetter would look at the machine's clock.
    timestamp = 0 if made_at is None else int(made_at.timestamp())
    try:
        with _one_at_a_time:
            pdf, warnings = _compiler(template).compile_with_warnings(
                format="pdf", sys_inputs=inputs, timestamp=timestamp, pdf_tags=True
            )
    except (typst.TypstError, RuntimeError) as error:
        raise TraysideError(
            f"the page could not be set: {error}",
            where=template,
            remedy="Look for an odd character or an empty field in what was to be printed.",
        ) from error
    return Compiled(pdf=pdf, warnings=tuple(str(warning) for warning in warnings))
