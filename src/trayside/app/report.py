"""The QC report of a period: a first page to decide by, then what it rests on, then the evidence for a public report."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from trayside.app.charts.element import FigureGroup
from trayside.app.evidence import EvidenceSheet
from trayside.app.evidence_facts import Facts
from trayside.errors import ImpossibleValue
from trayside.model.finding import Finding
from trayside.model.verdict import WORDS, BatchSummary, ReassayRequest, RuleSet

GRAVE = ("re-assay", "cannot judge", "use with note", "use")
MEANING = {
    "use": "can be used",
    "use with note": "can be used; the note goes with it",
    "re-assay": "must not be used before the part named is assayed again",
    "cannot judge": "no verdict: too few controls, or a unit in doubt",
}


@dataclass(frozen=True, slots=True)
class Period:
    """From the first day to the last, both counted, by the day a certificate was reported; None is open."""

    first: date | None = None
    last: date | None = None

    def holds(self, reported_at: str) -> bool:
        day = reported_at[:10]
        return (self.first is None or day >= self.first.isoformat()) and (
            self.last is None or day <= self.last.isoformat()
        )

    @property
    def in_words(self) -> str:
        if self.first is None and self.last is None:
            return "all certificates"
        if self.last is None:
            return f"certificates reported from {self.first}"
        if self.first is None:
            return f"certificates reported to {self.last}"
        return f"certificates reported {self.first} to {self.last}"


def typed_period(first: str, last: str) -> Period:
    """A period out of two typed days; '' leaves a side open."""
    days = []
    for text, what in ((first, "from"), (last, "to")):
        try:
            days.append(date.fromisoformat(text.strip()) if text.strip() else None)
        except ValueError:
            raise ImpossibleValue(
                f"{text.strip()[:20]!r} is no day", where=what, remedy="Type it like 2026-10-31"
            ) from None
    if None not in days and days[0] > days[1]:
        raise ImpossibleValue(
            f"{days[0]} is after {days[1]}", where="from, to", remedy="Put the earlier day first"
        )
    return Period(*days)


@dataclass(frozen=True, slots=True)
class CountLine:
    """How many of a kind of control the sheets planned, and how many results of it were judged."""

    kind: str
    planned: int
    judged: int


@dataclass(frozen=True, slots=True)
class ElementPart:
    """The charts of one element with what is said of them."""

    element: str
    groups: tuple[FigureGroup, ...]
    shares: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class QcReport:
    """Everything the report prints. `summary` are the sentences of the first page."""

    yard: str
    period: Period
    made_at: datetime
    paper: str
    summary: tuple[str, ...]
    words: tuple[tuple[str, int, str], ...]
    """Verdict word, batches and elements it stands on, what it means."""
    todo: tuple[str, ...]
    batches: tuple[BatchSummary, ...]
    requests: tuple[ReassayRequest, ...]
    counts: tuple[CountLine, ...]
    elements: tuple[ElementPart, ...]
    findings: tuple[Finding, ...]
    unseen: tuple[str, ...]
    rules: tuple[RuleSet, ...]
    evidence: tuple[EvidenceSheet, ...]
    ledger: tuple[int, str]


def build_report(
    *,
    facts: Facts,
    period: Period,
    made_at: datetime,
    batches: Sequence[BatchSummary],
    elements: Sequence[ElementPart],
    requests: Sequence[ReassayRequest] = (),
    evidence: Sequence[EvidenceSheet] = (),
) -> QcReport:
    """Put the report together from what was judged; it judges nothing itself."""
    held = tuple(batch for batch in batches if period.holds(batch.reported_at))
    kept = {batch.certificate_id for batch in held}
    asked = tuple(request for request in requests if request.certificate_id in kept)
    verdicts = [verdict for batch in held for verdict in batch.verdicts]
    words = Counter(verdict.stands for verdict in verdicts)
    findings = [finding for batch in held for finding in batch.findings]
    findings += [finding for verdict in verdicts for finding in verdict.findings]
    return QcReport(
        yard=facts.rules.yard,
        period=period,
        made_at=made_at,
        paper=facts.rules.paper.size,
        summary=_summary(held, words, asked, facts),
        words=tuple((word, words[word], MEANING[word]) for word in GRAVE if words[word]),
        todo=_todo(held, asked, facts),
        batches=held,
        requests=asked,
        counts=_counts(facts, held),
        elements=tuple(elements),
        findings=_once(findings),
        unseen=tuple(dict.fromkeys(sentence for verdict in verdicts for sentence in verdict.unseen)),
        rules=tuple({verdict.rules.digest: verdict.rules for verdict in verdicts}.values()),
        evidence=tuple(evidence),
        ledger=facts.ledger,
    )


def _summary(
    batches: Sequence[BatchSummary], words: Counter[str], requests: Sequence[ReassayRequest], facts: Facts
) -> tuple[str, ...]:
    """What came in, what can be used, what not: a few sentences."""
    if not batches:
        return ("No certificate was reported in this period.",)
    samples = sum(max((verdict.samples for verdict in batch.verdicts), default=0) for batch in batches)
    days = sorted(batch.reported_at[:10] for batch in batches)
    spread = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    elements = sorted({verdict.element for batch in batches for verdict in batch.verdicts})
    said = [
        f"{_some(len(batches), 'certificate')} with {samples:,} lines of samples came in ({spread});"
        f" judged for {', '.join(elements) or 'no element'}."
    ]
    total = sum(words[word] for word in WORDS)
    if total:
        good = words["use"] + words["use with note"]
        said.append(
            f"Of {total} verdicts (one a certificate and element) {good} say the results can be used,"
            f" {words['use with note']} of them with a note; asking for another assay: {words['re-assay']};"
            f" without a verdict: {words['cannot judge']}."
        )
    if requests:
        lines = sum(request.samples for request in requests)
        mass_kg = sum(request.mass_kg for request in requests)
        said.append(f"To be assayed again: {lines:,} samples on {_some(len(requests), 'request')}, {mass_kg:.1f} kg.")
    unsigned = sum(verdict.signed is None for batch in batches for verdict in batch.verdicts)
    overruled = facts.results.overruled
    said.append(
        f"{unsigned} of {total} verdicts are not signed yet; {overruled} were overruled by a person with a reason."
    )
    return tuple(said)


def _todo(batches: Sequence[BatchSummary], requests: Sequence[ReassayRequest], facts: Facts) -> tuple[str, ...]:
    """What somebody has to do, gravest first."""
    lines = []
    for request in requests:
        first, last = request.lines[0].number, request.lines[-1].number
        lines.append(
            f"{request.job}: ask {request.laboratory} to assay {', '.join(request.elements)} again on"
            f" {request.samples} samples ({first} to {last})."
        )
    for batch in batches:
        for verdict in batch.verdicts:
            if verdict.stands in ("re-assay", "cannot judge"):
                lines.append(f"{batch.job}, {verdict.element}: {verdict.why}")
    remedies: dict[str, list[str]] = {}
    for batch in batches:
        for finding in batch.findings:
            if finding.severity != "note":
                remedies.setdefault(f"{finding.message}: {finding.remedy}", []).append(batch.job)
    lines += [f"{', '.join(dict.fromkeys(jobs))}: {text}" for text, jobs in remedies.items()]
    if facts.road.missing or facts.road.extra:
        lines.append(
            f"Loads: {facts.road.missing} bags missing and {facts.road.extra} not sent stand on received lists."
        )
    return tuple(dict.fromkeys(lines))


def _counts(facts: Facts, batches: Sequence[BatchSummary]) -> tuple[CountLine, ...]:
    """Planned controls beside judged ones; of the element with the most results."""
    most: Counter[str] = Counter()
    for batch in batches:
        for name in ("standards", "blanks", "pairs"):
            most[name] += max((getattr(verdict, name) for verdict in batch.verdicts), default=0)
    planned = facts.samples
    return (
        CountLine("standards", planned.controls["standard"], most["standards"]),
        CountLine("blanks", planned.controls["blank"], most["blanks"]),
        CountLine("field and laboratory pairs", sum(planned.duplicates.values()), most["pairs"]),
    )


def _once(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Each message once, gravest first."""
    order = {"stop": 0, "warn": 1, "note": 2}
    kept = {finding.message: finding for finding in findings}
    return tuple(sorted(kept.values(), key=lambda finding: (order[finding.severity], finding.code)))


def _some(count: int, word: str) -> str:
    return f"{count:,} {word}{'' if count == 1 else 's'}"
