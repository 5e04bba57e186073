"""The request to the laboratory to assay part of a certificate again. It shows sample numbers; no number is told as a control."""

from __future__ import annotations

import hashlib
from datetime import datetime

from trayside.app.reassay_request import laboratory_lines
from trayside.app.written_amounts import mass_text
from trayside.model.rules import Rules
from trayside.model.verdict import ReassayRequest

from .codes import qr_svg, short_digest
from .compile import compile_page
from .paper_words import plain_text, time_text


def reassay_request_pdf(request: ReassayRequest, *, rules: Rules, made_at: datetime) -> bytes:
    """The paper for the laboratory, with room for its answer."""
    content = reassay_request_content(request, rules=rules, made_at=made_at)
    return compile_page(template="reassay_request.typ", content=content, made_at=made_at).pdf


def reassay_request_content(request: ReassayRequest, *, rules: Rules, made_at: datetime) -> dict:
    lines = laboratory_lines(request)
    digest = hashlib.sha256(repr((request.certificate_id, lines)).encode()).hexdigest()
    unit = rules.paper.mass_unit
    fresh = f"{request.controls} fresh control{'s' * (request.controls != 1)}"
    return {
        "paper": rules.paper.size,
        "yard": plain_text(rules.yard),
        "made_at": time_text(made_at),
        "job": plain_text(request.job, breakable=False),
        "asked": [
            ["Laboratory", plain_text(request.laboratory)],
            ["Job", plain_text(request.job)],
            ["Certificate here", request.certificate_id],
            ["Elements", plain_text(", ".join(request.elements))],
        ],
        "count": f"{len(lines)} sample{'s' * (len(lines) != 1)}",
        "mass": f"about {mass_text(request.mass_kg, unit=unit)} {unit} as sent" if request.mass_kg else "",
        "controls": f"{fresh} come with them under new numbers." if request.controls else "",
        "cost": f"{request.cost:,.2f} {request.currency}".strip() if request.cost is not None else "",
        "lines": [[str(at), plain_text(number, breakable=False), plain_text(elements)] for at, number, elements in lines],
        "digest": digest,
        "code": qr_svg(f"{request.certificate_id} {short_digest(digest)}"),
    }
