"""Make the QC report of a period: judge the yard, gather its facts and charts, put them together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from trayside.app.charts.element import element_figures
from trayside.app.element_view import element_series
from trayside.app.evidence import Code, evidence_sheet
from trayside.app.evidence_facts import gather_facts
from trayside.app.judge_batch import YardJudgement, judge_yard
from trayside.app.ports import StartWork, Work
from trayside.app.reassay_request import reassay_request
from trayside.app.report import ElementPart, Period, QcReport, build_report
from trayside.model.verdict import BatchSummary, ReassayRequest

FIGURES_A_GROUP = 2
"""Charts printed of one group; the screens show them all."""


def make_report(
    period: Period, *, codes: Sequence[Code] = ("jorc", "43-101"), made_at: datetime, start_work: StartWork
) -> QcReport:
    """Everything the report prints. It reads and changes nothing."""
    with start_work(writing=False) as work:
        judgement = judge_yard(work)
        summaries = [judgement.summary(certificate_id) for certificate_id in judgement.certificates]
        held = [batch for batch in summaries if period.holds(batch.reported_at)]
        facts = gather_facts(work, verdicts=[verdict for batch in held for verdict in batch.verdicts])
        requests = [request for batch in held if (request := _request(work, judgement, batch)) is not None]
    return build_report(
        facts=facts,
        period=period,
        made_at=made_at,
        batches=summaries,
        elements=_elements(judgement, held),
        requests=requests,
        evidence=[evidence_sheet(facts, code=code) for code in codes],
    )


def _request(work: Work, judgement: YardJudgement, batch: BatchSummary) -> ReassayRequest | None:
    lines = work.assays.lines(batch.certificate_id)
    return reassay_request(
        batch,
        places={line.number: line.place for line in lines},
        kg={line.number: line.mass_kg for line in lines},
        settings=judgement.rules.results,
    )


def _elements(judgement: YardJudgement, batches: Sequence[BatchSummary]) -> tuple[ElementPart, ...]:
    """The charts of every judged element over the certificates of the period; the steering element first."""
    chosen = tuple(judgement.certificates[batch.certificate_id] for batch in batches)
    steering = judgement.rules.results.steering_element
    elements = sorted({verdict.element for batch in batches for verdict in batch.verdicts}, key=lambda one: (one != steering, one))
    parts = []
    for element in elements:
        page = element_series(judgement.judged, element, chosen)
        groups = tuple(
            type(group)(
                group.kind, group.name, group.title, group.results, group.sentences, group.figures[:FIGURES_A_GROUP]
            )
            for group in element_figures(page)
        )
        shares = tuple(one.sentence for one in page.shares)
        parts.append(ElementPart(element, groups, (*page.notes, *shares)))
    return tuple(parts)
