"""The QC report as PDF and as one HTML file: the same content, the same charts."""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path

import jinja2

from trayside.app.evidence import EvidenceSheet
from trayside.app.report import QcReport

from .compile import compile_page
from .figures import figure_svg
from .paper_words import plain_text, time_text

TITLE = "QC report"
SEVERITY_WORDS = {"stop": "STOP", "warn": "warning", "note": "note"}
COUNTS_NOTE = (
    "Judged: results of controls on these certificates, of the element with the most. Planned: on all issued sheets, "
    "whatever was sent so far."
)
FIGURE_WIDTH_PX = 430


def report_pdf(report: QcReport) -> bytes:
    return compile_page(template="report.typ", content=report_content(report, text=plain_text), made_at=report.made_at).pdf


def report_html(report: QcReport) -> str:
    """One file that needs nothing else: styles and charts are in it."""
    content = report_content(report, text=_as_it_is)
    for part in content["elements"]:
        for group in part["groups"]:
            for figure in group["figures"]:
                figure["src"] = "data:image/svg+xml;base64," + base64.b64encode(figure["svg"].encode()).decode()
    return _template().render(c=content)


def report_content(report: QcReport, *, text=plain_text) -> dict:
    """What both show, as plain words."""
    seq, newest = report.ledger
    return {
        "title": TITLE,
        "paper": report.paper,
        "yard": text(report.yard),
        "period": report.period.in_words,
        "made": time_text(report.made_at),
        "foot": f"Ledger: {seq:,} events, newest {newest[:16]}" if seq else "The ledger is empty.",
        "draft": "",
        "summary": [text(line) for line in report.summary],
        "words": [{"word": word, "count": str(count), "meaning": meaning} for word, count, meaning in report.words],
        "todo": [text(line) for line in report.todo],
        "batches": [
            {
                "job": text(batch.job or batch.certificate_id),
                "reported": batch.reported_at[:10],
                "element": text(verdict.element),
                "word": verdict.stands,
                "why": text(verdict.why),
                "signed": text(_signed(verdict)),
            }
            for batch in report.batches
            for verdict in batch.verdicts
        ],
        "requests": [
            {
                "title": text(f"{request.job}: {', '.join(request.elements)}"),
                "says": text(
                    f"{request.samples} samples and {request.controls} fresh controls, {request.mass_kg:.1f} kg"
                    + (f", {request.cost:,.2f} {request.currency}" if request.cost is not None else "")
                    + ". "
                    + " ".join(request.because)
                ),
                "numbers": " ".join(line.number for line in request.lines),
            }
            for request in report.requests
        ],
        "counts": [[line.kind, f"{line.planned:,}", f"{line.judged:,}"] for line in report.counts],
        "counts_note": COUNTS_NOTE,
        "findings": [[SEVERITY_WORDS[one.severity], text(f"{one.message} {one.remedy}")] for one in report.findings],
        "elements": [
            {
                "title": text(part.element),
                "shares": [text(line) for line in part.shares],
                "groups": [
                    {
                        "title": text(group.title),
                        "sentences": [text(line) for line in group.sentences],
                        "figures": [
                            {
                                "title": text(figure.title),
                                "says": text(figure.says),
                                "notes": [text(line) for line in figure.notes],
                                "svg": figure_svg(figure, width_px=FIGURE_WIDTH_PX),
                            }
                            for figure in group.figures
                        ],
                    }
                    for group in part.groups
                ],
            }
            for part in report.elements
        ],
        "unseen": [text(line) for line in report.unseen],
        "rules": [
            {"name": text(one.name), "lines": [text(line) for line in one.lines], "digest": one.digest}
            for one in report.rules
        ],
        "evidence": [_evidence(sheet, text) for sheet in report.evidence],
    }


def _signed(verdict) -> str:
    signed = verdict.signed
    if signed is None:
        return ""
    if verdict.outdated:
        return f"signed by {signed.signed_by} for an earlier state: sign again"
    words = f"signed by {signed.signed_by}, {signed.signed_at[:10]}"
    return f"{words}, overrules {signed.computed}: {signed.reason}" if signed.overrules else words


def _evidence(sheet: EvidenceSheet, text) -> dict:
    return {
        "title": sheet.title,
        "criteria": [
            {
                "name": item.name,
                "answers": [
                    {
                        "question": answer.question,
                        "text": text(answer.text or ""),
                        "source": answer.source if answer.text is not None else "",
                    }
                    for answer in item.answers
                ],
            }
            for item in sheet.criteria
        ],
        "unanswered": [
            {"criterion": name, "question": answer.question, "key": answer.key} for name, answer in sheet.unanswered
        ],
    }


def _as_it_is(text: str | None) -> str:
    return text or ""


@cache
def _template() -> jinja2.Template:
    places = jinja2.FileSystemLoader(Path(__file__).parent)
    return jinja2.Environment(loader=places, autoescape=True, undefined=jinja2.StrictUndefined).get_template("report.html")
