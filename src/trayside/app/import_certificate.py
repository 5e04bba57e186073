"""Bring a certificate in: propose how to read it, show what it would bring, then store all of it or nothing.

    look      reads everything, changes nothing: the proposal, what is open, reconciliation, differences, findings
    bring_in  the same once more inside one writing transaction, then certificate, lines, results, changes and mapping

A re-issue (same laboratory and job, results for the same numbers and elements) supersedes; the file of a certificate
that is there already changes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import polars

from trayside.app.assay_ports import Progress
from trayside.app.certificate_changes import Changes, compare_issues, results_frame
from trayside.app.certificate_findings import result_findings
from trayside.app.certificate_reading import CertificateRead, OpenedCertificate, Proposal, Question
from trayside.app.office_acts import Desk
from trayside.app.ports import StartWork, Work
from trayside.app.reconcile_certificate import Reconciliation, reconcile, reconciliation_findings
from trayside.errors import RefusedByRule
from trayside.model.assay import Certificate, ColumnMapping
from trayside.model.finding import SEVERITIES, Finding
from trayside.model.person import checked_name

LEAST_COVERED = 0.5
"""A file of the same job that repeats less than this of the earlier results may be a part of it: that is asked."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """What a file would bring. Without an answer to `questions` there is no more than the proposal.

    `known` is the certificate this very file became before, read the same way.
    """

    proposal: Proposal
    questions: tuple[Question, ...]
    known: Certificate | None = None
    read: CertificateRead | None = None
    supersedes: Certificate | None = None
    changes: Changes | None = None
    reconciliation: Reconciliation | None = None
    findings: tuple[Finding, ...] = ()

    @property
    def ready(self) -> bool:
        return self.read is not None and not self.questions


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """A certificate that is now there; `new` is False when it was there already."""

    certificate: Certificate
    new: bool
    results: int
    changed: int
    reconciliation: Reconciliation | None


def look(opened: OpenedCertificate, settled: Mapping[str, str], *, start_work: StartWork) -> Look:
    """All that can be said before anything is stored."""
    with start_work(writing=False) as work:
        proposal = opened.propose(settled, remembered=work.assays.mappings())
        known = _known(work, opened, proposal)
        if known is not None or proposal.questions:
            return Look(proposal, proposal.questions, known)
        return _weighed(work, opened.read(proposal), proposal)


def bring_in(
    opened: OpenedCertificate,
    settled: Mapping[str, str],
    *,
    confirmed: bool,
    desk: Desk,
    start_work: StartWork,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] = lambda: False,
) -> BroughtIn:
    """Store the certificate, or RefusedByRule with what is open. A mapping that is not remembered must be `confirmed`."""

    def step(done: int, total: int, what: str) -> None:
        if cancelled():
            raise RefusedByRule(
                "the import was stopped, nothing was stored", where=opened.source, remedy="Import it again when wanted"
            )
        if progress is not None:
            progress(done, total, what)

    step(0, 1, "reading")
    with start_work(writing=False) as work:
        proposal = opened.propose(settled, remembered=work.assays.mappings())
        known = _known(work, opened, proposal)
    if known is not None:
        return BroughtIn(known, new=False, results=0, changed=0, reconciliation=None)
    _refuse_open(proposal, proposal.questions)
    if not (proposal.remembered or confirmed):
        said = (*proposal.changed, "nobody has confirmed yet how this file is read")
        raise RefusedByRule(
            "the mapping must be confirmed first",
            where=opened.source,
            remedy="Look at how the first lines would be read, then confirm",
            reasons=said,
        )
    read = opened.read(proposal)
    step(0, read.results.height, "comparing")
    with start_work() as work:
        known = _known(work, opened, proposal)  # somebody else may have brought it in meanwhile
        if known is not None:
            return BroughtIn(known, new=False, results=0, changed=0, reconciliation=None)
        weighed = _weighed(work, read, proposal)
        _refuse_open(proposal, weighed.questions)
        certificate = _store(work, weighed, desk, step)
        step(read.results.height, read.results.height, "closing")
        work.commit()
    changed = weighed.changes.frame.height if weighed.changes else 0
    return BroughtIn(certificate, True, read.results.height, changed, weighed.reconciliation)


def _refuse_open(proposal: Proposal, questions: tuple[Question, ...]) -> None:
    if questions:
        raise RefusedByRule(
            f"{len(questions)} question{'s are' if len(questions) != 1 else ' is'} open, nothing was stored",
            where=proposal.source,
            remedy="Settle each one",
            reasons=tuple(f"{one.key}: {one.asks}" for one in questions),
        )


def _known(work: Work, opened: OpenedCertificate, proposal: Proposal) -> Certificate | None:
    """The certificate that this file became, when it was read the same way."""
    before = work.assays.certificate_of_file(opened.sha256)
    if before is None:
        return None
    same_reading = before.mapping.get("reading") == _reading(proposal)
    same_name = (before.laboratory, before.job) == (proposal.laboratory, proposal.job)
    return before if same_reading and (same_name or proposal.questions) else None


def _reading(proposal: Proposal) -> dict[str, object]:
    """What decides how a file is read: its columns and the settlements that are not about where it is filed."""
    about = ("laboratory", "job", "reported", "supersedes")
    columns = [[c.key, c.element, c.unit, c.method, c.lower_limit, c.upper_limit, c.used] for c in proposal.columns]
    return {"columns": columns, "settled": {k: v for k, v in sorted(proposal.settled.items()) if k not in about}}


def _weighed(work: Work, read: CertificateRead, proposal: Proposal) -> Look:
    """The file as read, held against what is there: what it supersedes, what it changes, which numbers agree."""
    read = _own_tickets(work, read)
    supersedes, questions, changes = _supersedes(work, read, proposal)
    lines = list(zip(read.lines["number"], read.lines["line_kind"], strict=True))
    leave_out = [] if supersedes is None else [supersedes.certificate_id]
    held = reconcile(work, lines, laboratory=proposal.laboratory, job=proposal.job, leave_out=leave_out)
    findings = [*reconciliation_findings(held), *result_findings(read, holes=held.holes)]
    if changes is not None:
        findings += changes.findings
    return Look(
        proposal=proposal,
        questions=tuple(questions),
        read=read,
        supersedes=supersedes,
        changes=changes,
        reconciliation=held,
        findings=tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))),
    )


def _own_tickets(work: Work, read: CertificateRead) -> CertificateRead:
    """A number that is an issued ticket is a sample, even when its name begins like a standard of the laboratory."""
    looks_own = read.lines.filter(polars.col("line_kind").is_in(["laboratory standard", "laboratory blank"]))
    tickets = work.tickets(looks_own["number"].unique().to_list())
    if not tickets:
        return read
    mine = polars.col("number").is_in(list(tickets)) & polars.col("line_kind").str.starts_with("laboratory")
    kind = polars.when(mine).then(polars.lit("sample")).otherwise("line_kind").alias("line_kind")
    return replace(read, lines=read.lines.with_columns(kind))


def _supersedes(
    work: Work, read: CertificateRead, proposal: Proposal
) -> tuple[Certificate | None, list[Question], Changes | None]:
    """The certificate this one takes the place of, as settled or by laboratory and job."""
    settled = proposal.settled.get("supersedes", "")
    if settled == "none":
        return None, [], None
    if settled:
        before = work.assays.certificate(settled)
        if before.superseded_by is not None:
            asks = f"{settled} was superseded by {before.superseded_by}; which certificate does this one replace, or none?"
            return None, [Question("supersedes", asks)], None
        return before, [], _changes(work, before, results_frame(read))
    earlier = work.assays.certificates_of_job(proposal.laboratory, proposal.job)
    if not earlier:
        return None, [], None
    candidates = []
    new = results_frame(read)
    pairs = new.select("number", "element").unique()
    for before in earlier:
        old = work.assays.results(certificate_ids=[before.certificate_id])
        had = old.filter(polars.col("censor") != "not_analysed").select("number", "element").unique()
        again = had.join(pairs, on=["number", "element"], how="semi").height
        if again:
            candidates.append((again, again / had.height, before))
    if not candidates:
        return None, [], None
    again, share, before = max(candidates, key=lambda one: one[0])
    choices = ((before.certificate_id, f"it replaces {before.certificate_id}"), ("none", "it stands beside it"))
    if proposal.reported_at is not None and proposal.reported_at < before.reported_at:
        asks = (
            f"{before.certificate_id} of the same job was reported later ({before.reported_at:%Y-%m-%d}): "
            "does this older file replace it, or stand beside it?"
        )
        return None, [Question("supersedes", asks, choices, "none")], None
    if share < LEAST_COVERED:
        asks = (
            f"it repeats {again} results ({100 * share:.0f} %) of {before.certificate_id} of the same job: "
            "does it replace that one, or add to it?"
        )
        return None, [Question("supersedes", asks, choices)], None
    return before, [], _changes(work, before, new)


def _changes(work: Work, before: Certificate, new: polars.DataFrame) -> Changes:
    old = work.assays.results(certificate_ids=[before.certificate_id])
    return compare_issues(old, new, superseded=before.certificate_id)


def _store(work: Work, weighed: Look, desk: Desk, step: Progress) -> Certificate:
    proposal, read = weighed.proposal, weighed.read
    assert read is not None
    assert proposal.reported_at is not None
    person = checked_name(desk.signer.person)
    certificate = Certificate(
        certificate_id=work.assays.new_certificate_id(),
        laboratory=proposal.laboratory,
        job=proposal.job,
        reported_at=proposal.reported_at,
        imported_at=desk.clock(),
        imported_by=person,
        source=proposal.source,
        sha256=proposal.sha256,
        lines=read.lines.height,
        analytes=read.analytes,
        supersedes=weighed.supersedes.certificate_id if weighed.supersedes else None,
        mapping={"layout": proposal.layout, "reading": _reading(proposal), "places": proposal.places},
        findings=weighed.findings,
    )
    work.assays.add_certificate(certificate, read.lines, read.results, progress=step)
    if weighed.supersedes is not None:
        work.assays.set_superseded(weighed.supersedes.certificate_id, by=certificate.certificate_id)
    if weighed.changes is not None:
        work.assays.add_changes(certificate.certificate_id, weighed.changes.frame)
    work.assays.save_mapping(
        ColumnMapping(
            laboratory=proposal.laboratory,
            layout=proposal.layout,
            more=proposal.to_remember(),
            header_digest=proposal.header_digest,
            confirmed_by=person,
            confirmed_at=desk.clock(),
        )
    )
    return certificate
