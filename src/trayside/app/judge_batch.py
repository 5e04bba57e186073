"""Judge the certificates of a yard, list the batches with their words, and sign a verdict.

What is judged depends on certificates, sheets, the ledger, the rules and the materials. A fingerprint of all these tells
whether the last judgement still holds; then it is not made again.
"""

from __future__ import annotations

import hashlib
import json
from collections import OrderedDict
from collections.abc import Iterable
from dataclasses import dataclass, field

import polars as pl

from trayside.app.judge_ground import certified_frame, number_frame
from trayside.app.judge_mixups import mix_ups
from trayside.app.judge_results import Judged, judge_results
from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.app.reassay_request import reassay_request
from trayside.app.verdict_words import Heard, batch_verdict, pair_statistics_of, rule_set
from trayside.app.yard_rules import rules_of
from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.model.assay import Certificate
from trayside.model.bag_states import state_in_ledger
from trayside.model.result_series import PairSet
from trayside.model.rules import Rules
from trayside.model.verdict import (
    WORDS,
    BatchSummary,
    BatchVerdict,
    MixUpStory,
    ReassayRequest,
    RuleSet,
    SignedVerdict,
    Word,
)

KEPT_JUDGEMENTS = 2
MOST_REASONS = 20


@dataclass(slots=True, eq=False)
class YardJudgement:
    """All that was judged in one state of the yard. Verdicts and statistics are made when they are asked for."""

    fingerprint: str
    judged: Judged
    rule_set: RuleSet
    rules: Rules
    certificates: dict[str, Certificate]
    signed: dict[str, dict[str, SignedVerdict]]
    received_kg: dict[str, dict[str, float]]
    _mix_ups: dict[str, tuple[tuple[MixUpStory, ...], float]] = field(default_factory=dict)
    _pairs: dict[tuple[str, str], tuple[PairSet, ...]] = field(default_factory=dict)
    _verdicts: dict[tuple[str, str], BatchVerdict] = field(default_factory=dict)

    def elements_of(self, certificate_id: str) -> tuple[str, ...]:
        verdicts = self.judged.verdicts
        return tuple(sorted(verdicts.filter(verdicts["certificate_id"] == certificate_id)["element"].to_list()))

    def mix_ups_of(self, certificate_id: str) -> tuple[tuple[MixUpStory, ...], float]:
        """Mix-ups the results of a certificate speak for, and the share of exchanges that would show."""
        if certificate_id not in self._mix_ups:
            received = self.received_kg.get(certificate_id)
            self._mix_ups[certificate_id] = mix_ups(self.judged, certificate_id, received_kg=received)
        return self._mix_ups[certificate_id]

    def pairs_of(self, element: str, laboratory: str) -> tuple[PairSet, ...]:
        """Statistics of every kind of pair of an element at one laboratory."""
        key = (element, laboratory)
        if key not in self._pairs:
            pairs = self.judged.pairs
            held = pairs.filter((pairs["element"] == element) & (pairs["laboratory"] == laboratory))
            self._pairs[key] = pair_statistics_of(self.judged, element, laboratory, held["kind"].unique().to_list())
        return self._pairs[key]

    def verdict(self, certificate_id: str, element: str) -> BatchVerdict:
        key = (certificate_id, element)
        if key not in self._verdicts:
            if element not in self.elements_of(certificate_id):
                raise NotFound(
                    f"{element} is not judged in this certificate",
                    where=certificate_id,
                    remedy="Only elements with a certified standard are; add it to certified_values",
                )
            certificate = self.certificates[certificate_id]
            stories, share = self.mix_ups_of(certificate_id)
            heard = Heard(stories, share, certificate.findings, self.signed.get(certificate_id, {}), certificate.job)
            self._verdicts[key] = batch_verdict(
                self.judged,
                certificate_id,
                element,
                rules=self.rule_set,
                heard=heard,
                pair_statistics=self.pairs_of(element, certificate.laboratory),
            )
        return self._verdicts[key]

    def reassay(self, certificate_id: str) -> ReassayRequest | None:
        """What the laboratory is asked to do again for a certificate; None when nothing."""
        results = self.judged.results
        lines = results.filter(results["certificate_id"] == certificate_id).unique("number", keep="first")
        return reassay_request(
            self.summary(certificate_id),
            places=dict(lines.select("number", "place").iter_rows()),
            kg=dict(self.judged.numbers.select("number", "kg").iter_rows()),
            settings=self.judged.settings,
        )

    def summary(self, certificate_id: str) -> BatchSummary:
        certificate = self.certificates[certificate_id]
        verdicts = tuple(self.verdict(certificate_id, element) for element in self.elements_of(certificate_id))
        grave = ("re-assay", "cannot judge", "use with note", "use")
        return BatchSummary(
            certificate_id,
            certificate.laboratory,
            certificate.job,
            certificate.reported_at.isoformat(),
            tuple(sorted(verdicts, key=lambda one: (grave.index(one.stands), one.element))),
            certificate.findings,
        )


_kept: OrderedDict[str, YardJudgement] = OrderedDict()
"""The last judgements by fingerprint, so that a page does not judge a million results again."""


def judge_yard(work: Work) -> YardJudgement:
    """Judge every certificate that counts. Nothing is stored: the same yard gives the same judgement."""
    certificates = work.assays.certificates()
    fingerprint = _fingerprint(work, certificates)
    if fingerprint in _kept:
        _kept.move_to_end(fingerprint)
        return _kept[fingerprint]
    rules, stock = rules_of(work), work.stock()
    certified = certified_frame(stock)
    results = _without_doubted(work.assays.results(), certificates)
    numbers = number_frame(work, results["number"].unique().to_list(), rules=rules, stock=stock)
    judged = judge_results(results, numbers, certified, settings=rules.results)
    made = YardJudgement(
        fingerprint,
        judged,
        rule_set(rules.results, certified),
        rules,
        {one.certificate_id: one for one in certificates},
        _signed(work, [one.certificate_id for one in certificates]),
        {one.certificate_id: _masses(work, one.certificate_id) for one in certificates},
    )
    _kept[fingerprint] = made
    while len(_kept) > KEPT_JUDGEMENTS:
        _kept.popitem(last=False)
    return made


UNIT_IN_DOUBT = ("certificate.unit_alarm", "certificate.unit_changed")


def _without_doubted(results: pl.DataFrame, certificates: Iterable[Certificate]) -> pl.DataFrame:
    """Contents whose unit is in doubt are nobody's evidence: they are taken out of every judgement, the texts stay."""
    doubted = [
        (one.certificate_id, finding.evidence["element"])
        for one in certificates
        for finding in one.findings
        if finding.code in UNIT_IN_DOUBT and finding.severity == "stop" and "element" in finding.evidence
    ]
    if not doubted:
        return results
    columns = pl.DataFrame(
        [*dict.fromkeys(doubted)], schema={"certificate_id": pl.String, "element": pl.String}, orient="row"
    ).with_columns(doubted=pl.lit(True))
    marked = results.join(columns, on=("certificate_id", "element"), how="left", maintain_order="left")
    value = pl.when(pl.col("doubted")).then(None).otherwise(pl.col("value_ppm"))
    return marked.with_columns(value_ppm=value).drop("doubted")


def batch_summaries(work: Work, *, laboratory: str | None = None) -> tuple[BatchSummary, ...]:
    """All batches that count, newest report first."""
    made = judge_yard(work)
    return tuple(
        made.summary(certificate_id)
        for certificate_id, certificate in made.certificates.items()
        if laboratory is None or certificate.laboratory == laboratory
    )


def batch_summary(work: Work, certificate_id: str) -> BatchSummary:
    """One batch with the verdict of every element that is judged."""
    made = judge_yard(work)
    if certificate_id not in made.certificates:
        work.assays.certificate(certificate_id)  # NotFound says so when there is none
        raise NotFound(
            "this certificate was superseded and counts no more", where=certificate_id, remedy="Look at the one that replaced it"
        )
    return made.summary(certificate_id)


def sign_verdict(
    certificate_id: str,
    element: str,
    *,
    word: Word,
    digest: str,
    reason: str = "",
    desk: Desk,
    start_work: StartWork,
) -> BatchVerdict:
    """Sign the verdict on one element; `digest` is that of the verdict looked at.

    Deciding otherwise than the rules needs a reason. A later signature counts instead of an earlier one.
    """
    where = f"{certificate_id}, {element}"
    if word not in WORDS:
        raise RefusedByRule(f"{word!r} is no verdict", where=where, remedy=f"One of: {', '.join(WORDS)}")
    with start_work() as work:
        made = judge_yard(work)
        if certificate_id not in made.certificates:
            raise NotFound("no certificate that counts", where=certificate_id, remedy="Look at the list of batches")
        verdict = made.verdict(certificate_id, element)
        if verdict.digest != digest:
            raise ChangedMeanwhile(
                "the results, controls or rules changed since this verdict was shown",
                where=where,
                remedy="Look at the verdict again, then sign it",
            )
        told = " ".join(reason.split())
        if word != verdict.word and not told:
            raise RefusedByRule(
                f"the rules say {verdict.word!r}", where=where, remedy="Give the reason for deciding otherwise"
            )
        values = {
            "element": element,
            "word": word,
            "computed": verdict.word,
            "digest": verdict.digest,
            "reasons": [one.sentence[:480] for one in verdict.reasons[:MOST_REASONS]],
        }
        event = desk.act("verdict_signed", "certificate", certificate_id, values=values, reason=told or None)
        record_all(work, [event], clock=desk.clock, where=where)
        signed = judge_yard(work).verdict(certificate_id, element)
        work.commit()
    return signed


def _signed(work: Work, certificate_ids: Iterable[str]) -> dict[str, dict[str, SignedVerdict]]:
    """The last signature of each certificate and element that was not set aside."""
    histories = work.events_of_objects([("certificate", one) for one in certificate_ids])
    signed: dict[str, dict[str, SignedVerdict]] = {}
    for (_, certificate_id), stored in histories.items():
        for fact in state_in_ledger(stored, machine="certificate").facts:
            if fact.event.kind == "verdict_signed":
                values = fact.values
                signed.setdefault(certificate_id, {})[values["element"]] = SignedVerdict(
                    fact.event.event_id,
                    fact.event.captured_at,
                    fact.event.person,
                    values["word"],
                    values["computed"],
                    fact.event.reason or "",
                    values["digest"],
                )
    return signed


def _masses(work: Work, certificate_id: str) -> dict[str, float]:
    """Masses the laboratory received, by number."""
    return {
        line.number: line.mass_kg
        for line in work.assays.lines(certificate_id)
        if line.mass_kg is not None and line.line_kind == "sample"
    }


def _fingerprint(work: Work, certificates: Iterable[Certificate]) -> str:
    head = work.ledger_head()
    told = [
        [(one.certificate_id, one.sha256) for one in certificates],
        work.rules_text(),
        sorted(work.shared_digests().items()),
        [(one.sheet_id, one.revision) for one in work.issued_sheets()],
        head.seq,
        head.hash,
    ]
    return hashlib.sha256(json.dumps(told).encode()).hexdigest()
