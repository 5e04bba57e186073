"""One batch: the verdict of every element with its reasons, what to assay again, and the signature."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from trayside.app.judge_batch import batch_summary, judge_yard, sign_verdict
from trayside.app.ports import Work
from trayside.app.reassay_request import laboratory_csv, reassay_request, yard_csv
from trayside.app.reconcile_certificate import reconcile
from trayside.app.yard_rules import rules_of
from trayside.errors import ChangedMeanwhile, ImpossibleValue, NotFound, RefusedByRule, TraysideError
from trayside.model.event import moment
from trayside.model.verdict import WORDS, ReassayRequest

from .asking import Form, one, read_rules, services_of
from .desk import desk_of
from .faults import status_of
from .page import amounts_of, gravest_first, page
from .services import Services
from .words import say

REFUSALS = (ImpossibleValue, RefusedByRule, ChangedMeanwhile)
MOST_CHANGES = 200


def batch_screen(request: Request) -> Response:
    return draw_batch(services_of(request), request.path_params["certificate_id"])


def draw_batch(
    services: Services, certificate_id: str, *, refusal: TraysideError | None = None, typed: Form | None = None
) -> Response:
    with services.start_work(writing=False) as work:
        rules = rules_of(work)
        certificate = work.assays.certificate(certificate_id)
        lines = work.assays.lines(certificate_id)
        changes = work.assays.changes(certificate_id) if certificate.supersedes else ()
        numbers = reconcile(
            work,
            ((line.number, line.line_kind) for line in lines),
            laboratory=certificate.laboratory,
            job=certificate.job,
            leave_out=[one for one in (certificate_id, certificate.supersedes) if one],
        )
        counts = certificate.superseded_by is None
        summary = batch_summary(work, certificate_id) if counts else None
        mix_ups = judge_yard(work).mix_ups_of(certificate_id)[0] if counts else ()
        reassay = request_of(work, certificate_id) if counts else None
    of_all = {(one.code, one.message) for one in certificate.findings}
    return page(
        "batch.html",
        status=200 if refusal is None else status_of(refusal),
        yard=rules.yard,
        amounts=amounts_of(rules),
        certificate=certificate,
        judged=summary.verdicts if summary else (),
        batch_word=summary.word if summary and summary.verdicts else None,
        words=WORDS,
        mix_ups=mix_ups,
        reassay=reassay,
        numbers=numbers,
        findings=gravest_first(certificate.findings),
        own_findings={
            one.element: [held for held in one.findings if (held.code, held.message) not in of_all]
            for one in (summary.verdicts if summary else ())
        },
        changes=changes,
        most_changes=MOST_CHANGES,
        moment=moment,
        odds_text=odds_text,
        refusal=refusal,
        typed=typed or {},
    )


def odds_text(odds: float) -> str:
    """Odds as a person reads them."""
    return f"{odds:,.0f}".replace(",", "\u202f") if odds < 1e6 else "more than a million"


def request_of(work: Work, certificate_id: str) -> ReassayRequest | None:
    """What to assay again of a batch, with the masses the yard knows."""
    made = judge_yard(work)
    numbers = made.judged.numbers
    return reassay_request(
        batch_summary(work, certificate_id),
        places={line.number: line.place for line in work.assays.lines(certificate_id)},
        kg=dict(zip(numbers["number"].to_list(), numbers["kg"].to_list(), strict=True)),
        settings=made.rules.results,
    )


def request_table(request: Request) -> Response:
    """The request as CSV: for the laboratory without controls, or for the yard with them."""
    asked, name = _asked(request), request.path_params["name"]
    written = {"laboratory": laboratory_csv, "yard": yard_csv}.get(name)
    if written is None:
        raise NotFound(say("fault.no_page"), where=request.url.path, remedy=say("fault.no_page.do"))
    return _file(written(asked).encode(), "text/csv; charset=utf-8", f"{asked.certificate_id}-request-{name}.csv")


def request_paper(request: Request) -> Response:
    """The request as the laboratory gets it."""
    services, asked = services_of(request), _asked(request)
    content = services.papers.reassay_request(asked, read_rules(services), services.clock())
    return _file(content, "application/pdf", f"{asked.certificate_id}-request.pdf", inline=True)


def _asked(request: Request) -> ReassayRequest:
    certificate_id = request.path_params["certificate_id"]
    with services_of(request).start_work(writing=False) as work:
        asked = request_of(work, certificate_id)
    if asked is None:
        raise NotFound("nothing of this batch is to be assayed again", where=certificate_id, remedy="Look at its verdicts")
    return asked


def _file(content: bytes, media_type: str, name: str, *, inline: bool = False) -> Response:
    shown = "inline" if inline else "attachment"
    return Response(content, media_type=media_type, headers={"Content-Disposition": f'{shown}; filename="{name}"'})


def sign(request: Request, form: Form) -> Response:
    """Sign the verdict that was looked at."""
    services, certificate_id = services_of(request), request.path_params["certificate_id"]
    element = one(form, "element")
    try:
        sign_verdict(
            certificate_id,
            element,
            word=one(form, "word"),
            digest=one(form, f"digest-{element}"),
            reason=one(form, "reason"),
            desk=desk_of(services, form, utc_offset_min=read_rules(services).dispatch.utc_offset_min),
            start_work=services.start_work,
        )
    except REFUSALS as refusal:
        return draw_batch(services, certificate_id, refusal=refusal, typed=form)
    return RedirectResponse(f"/results/{certificate_id}#verdicts", status_code=303)
