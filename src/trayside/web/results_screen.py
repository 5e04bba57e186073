"""Results: the batches of the laboratories, newest first, each with its word and why."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from trayside.app.judge_batch import YardJudgement, judge_yard
from trayside.errors import NotFound
from trayside.model.assay import Certificate
from trayside.model.verdict import WORDS, BatchSummary

from .asking import services_of, whole_number
from .element_screen import day_asked
from .page import page
from .words import say

BATCHES_A_PAGE = 50


@dataclass(frozen=True, slots=True)
class Asked:
    """Which batches are listed."""

    laboratory: str | None
    element: str | None
    word: str | None
    since: str | None
    until: str | None

    def holds(self, certificate: Certificate) -> bool:
        day = certificate.reported_at.date().isoformat()
        return (
            (self.laboratory is None or certificate.laboratory == self.laboratory)
            and (self.element is None or any(one.element == self.element for one in certificate.analytes))
            and (self.since is None or day >= self.since)
            and (self.until is None or day <= self.until)
        )


@dataclass(frozen=True, slots=True)
class BatchLine:
    """One line of the list. `unsigned` names the elements nobody signed for yet."""

    certificate_id: str
    job: str
    laboratory: str
    reported_at: str
    elements: tuple[str, ...]
    word: str
    why: str
    signed_by: tuple[str, ...]
    unsigned: tuple[str, ...]


def results_screen(request: Request) -> Response:
    query = request.query_params
    asked = Asked(
        laboratory=query.get("laboratory") or None,
        element=query.get("element") or None,
        word=query.get("word") or None,
        since=day_asked(query.get("since", ""), say("results.since")),
        until=day_asked(query.get("until", ""), say("results.until")),
    )
    with services_of(request).start_work(writing=False) as work:
        made = judge_yard(work)
    lines, pages, at = _lines(made, asked, whole_number(query.get("page", "1"), say("page.label")))
    certificates = made.certificates.values()

    def page_address(number: int) -> str:
        kept = {name: query[name] for name in ("laboratory", "element", "word", "since", "until") if query.get(name)}
        return f"/results?{urlencode({**kept, 'page': number})}#batches"

    return page(
        "results.html",
        yard=made.rules.yard,
        asked=asked,
        lines=lines,
        total=len(made.certificates),
        pages=pages,
        at=at,
        page_address=page_address,
        words=WORDS,
        elements=sorted({analyte.element for one in certificates for analyte in one.analytes}),
        laboratories=sorted({one.laboratory for one in certificates}),
        may_import=any(getattr(route, "path", "") == "/results/import" for route in request.app.routes),
    )


def _lines(made: YardJudgement, asked: Asked, number: int) -> tuple[list[BatchLine], int, int]:
    """One page of the list. Only the batches on it are put into words, unless the word itself is asked for."""
    held = [certificate_id for certificate_id, one in made.certificates.items() if asked.holds(one)]
    summaries = None
    if asked.word is not None:
        summaries = {one: made.summary(one) for one in held}
        held = [one for one in held if _word_held(summaries[one], asked)]
    pages = max(1, -(-len(held) // BATCHES_A_PAGE))
    if not 1 <= number <= pages:
        raise NotFound(f"there is no page {number} of batches", where=say("results.title"), remedy="Choose one of the pages")
    shown = held[(number - 1) * BATCHES_A_PAGE : number * BATCHES_A_PAGE]
    return [_line(summaries[one] if summaries else made.summary(one), made) for one in shown], pages, number


def _word_held(summary: BatchSummary, asked: Asked) -> bool:
    """Of the batch, or of the element where one is asked for."""
    if asked.element is None:
        return summary.word == asked.word
    return any(one.element == asked.element and one.stands == asked.word for one in summary.verdicts)


def _line(summary: BatchSummary, made: YardJudgement) -> BatchLine:
    signed = [one for one in summary.verdicts if one.signed is not None and not one.outdated]
    names = tuple(dict.fromkeys(one.signed.signed_by for one in signed if one.signed is not None))
    return BatchLine(
        certificate_id=summary.certificate_id,
        job=summary.job,
        laboratory=summary.laboratory,
        reported_at=summary.reported_at,
        elements=tuple(dict.fromkeys(one.element for one in made.certificates[summary.certificate_id].analytes)),
        word=summary.word,
        why=summary.why,
        signed_by=names,
        unsigned=tuple(sorted(one.element for one in summary.verdicts if one not in signed)),
    )
