"""What the yard's records say, in counts, lengths, masses and dates: the figures that an evidence sheet is made of."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from trayside.app.bag_views import hole_bags
from trayside.app.custody import custody_of
from trayside.app.hole_view import HoleView, view_hole
from trayside.app.load_view import LoadView, view_load
from trayside.app.ports import Work
from trayside.app.receive import confirmed
from trayside.app.run_lines import run_lines
from trayside.app.yard_rules import rules_of
from trayside.model.event import moment
from trayside.model.rules import Rules
from trayside.model.verdict import BatchVerdict


@dataclass
class CoreFacts:
    """The core of the holes: lengths in whole millimetres, counts, and the days of their runs' bags."""

    holes: int = 0
    drilled_mm: int = 0
    recovered_mm: int = 0
    runs: int = 0
    runs_low: int = 0
    losses: int = 0
    lost_mm: int = 0
    size_mm: Counter[str] = field(default_factory=Counter)
    logged_mm: int = 0
    depth_mm: int = 0
    surveyed_holes: int = 0
    survey_stations: int = 0
    instruments: Counter[str] = field(default_factory=Counter)
    oriented_holes: int = 0
    marks: int = 0
    joints: Counter[str] = field(default_factory=Counter)
    planes: int = 0
    planes_with_beta: int = 0
    densities: Counter[str] = field(default_factory=Counter)
    dips_deg: list[float] = field(default_factory=list)
    areas: set[str] = field(default_factory=set)
    trays: int = 0


@dataclass
class SampleFacts:
    """The bags of issued sheets and what was done with them."""

    sheets: int = 0
    revisions: int = 0
    samples: int = 0
    sampled_mm: int = 0
    low_recovery: int = 0
    shortest_mm: int | None = None
    longest_mm: int | None = None
    portions: Counter[str] = field(default_factory=Counter)
    methods: Counter[str] = field(default_factory=Counter)
    controls: Counter[str] = field(default_factory=Counter)
    duplicates: Counter[str] = field(default_factory=Counter)
    cut: int = 0
    weighed: int = 0
    by_scale: int = 0
    outside: int = 0
    voided: int = 0
    corrected: int = 0
    flushes: int = 0
    washes: int = 0
    trays_closed: int = 0
    photographs: int = 0
    people: set[str] = field(default_factory=set)
    first: date | None = None
    last: date | None = None
    masses_kg: list[float] = field(default_factory=list)

    def worked_on(self, captured_at: str) -> None:
        day = moment(captured_at).date()
        self.first = day if self.first is None else min(self.first, day)
        self.last = day if self.last is None else max(self.last, day)


@dataclass
class RoadFacts:
    """Loads, seals, hand-overs and what the laboratory said it received."""

    loads: int = 0
    sent: int = 0
    sacks: int = 0
    sealed: int = 0
    bags: int = 0
    hand_overs: int = 0
    unbroken: int = 0
    received: int = 0
    seals_broken: int = 0
    missing: int = 0
    extra: int = 0
    damaged: int = 0
    misread: int = 0
    laboratories: Counter[str] = field(default_factory=Counter)
    methods: set[str] = field(default_factory=set)


@dataclass
class ResultFacts:
    """What came back and what was made of it."""

    certificates: int = 0
    superseded: int = 0
    laboratories: Counter[str] = field(default_factory=Counter)
    methods: dict[str, set[str]] = field(default_factory=dict)
    first: str = ""
    last: str = ""
    words: Counter[str] = field(default_factory=Counter)
    signed: int = 0
    overruled: int = 0
    signers: set[str] = field(default_factory=set)
    judged: dict[str, Counter[str]] = field(default_factory=dict)
    reasons: list[tuple[str, str, str]] = field(default_factory=list)
    """Element, job, and the sentence that decided, of every verdict that is not 'use'."""


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything an evidence sheet is made of. `ledger` is the count and hash of the newest event."""

    rules: Rules
    core: CoreFacts
    samples: SampleFacts
    road: RoadFacts
    results: ResultFacts
    ledger: tuple[int, str]
    findings: Counter[str]


def gather_facts(work: Work, *, hole_ids: Sequence[str] | None = None, verdicts: Iterable[BatchVerdict] = ()) -> Facts:
    """Read the records of these holes, or of all. Loads and certificates are those of the whole yard."""
    rules, core, samples = rules_of(work), CoreFacts(), SampleFacts()
    findings: Counter[str] = Counter()
    for hole_id in hole_ids if hole_ids is not None else work.hole_ids():
        view = view_hole(work, hole_id)
        _add_core(core, view)
        _add_samples(samples, view, work)
        findings.update(finding.severity for finding in view.findings)
    road = RoadFacts()
    for load in work.loads.loads():
        _add_load(road, view_load(work, load.load_id))
    head = work.ledger_head()
    return Facts(
        rules, core, samples, road, _results(work, tuple(verdicts)), (head.seq, head.hash), findings
    )


def _add_core(facts: CoreFacts, view: HoleView) -> None:
    core = view.core
    facts.holes += 1
    facts.depth_mm += core.hole.total_depth_mm
    facts.trays += len(core.trays)
    facts.dips_deg.append(core.hole.dip_deg)
    if core.hole.area:
        facts.areas.add(core.hole.area)
    for line in run_lines(view):
        if not line.usable:
            continue
        facts.runs += 1
        facts.drilled_mm += line.advance_mm
        facts.recovered_mm += min(line.run.recovered_mm, line.advance_mm)
        facts.runs_low += line.recovery < view.rules.depth.low_recovery
        facts.size_mm[line.run.core_size] += line.advance_mm
    facts.losses += len(core.losses)
    facts.lost_mm += sum(loss.lost_mm for loss in core.losses)
    facts.logged_mm += covered_mm((rock.from_mm, rock.to_mm) for rock in core.rock)
    facts.surveyed_holes += bool(core.surveys)
    facts.survey_stations += len(core.surveys)
    facts.instruments.update(survey.instrument or "not said" for survey in core.surveys)
    facts.oriented_holes += bool(core.marks)
    facts.marks += len(core.marks)
    facts.joints.update(mark.joint or "not said" for mark in core.marks)
    facts.planes += len(core.fabric)
    facts.planes_with_beta += sum(plane.beta_deg is not None for plane in core.fabric)
    facts.densities.update(density.method for density in core.densities)


def covered_mm(stretches: Iterable[tuple[int, int]]) -> int:
    """Length that these stretches cover; where two overlap it counts once."""
    covered, reached = 0, 0
    for top, bottom in sorted(stretches):
        covered += max(0, bottom - max(top, reached))
        reached = max(reached, bottom)
    return covered


def _add_samples(facts: SampleFacts, view: HoleView, work: Work) -> None:
    hole = hole_bags(work, view.hole_id)
    if hole is None:
        return
    facts.sheets += 1
    facts.revisions += hole.revision
    for bag in hole.bags:
        row = bag.row
        if row.is_core:
            length_mm = row.to_mm - row.from_mm
            facts.portions[row.portion or "whole"] += 1
            facts.methods[row.method] += 1
            if row.kind == "sample":
                facts.samples += 1
                facts.sampled_mm += length_mm
                facts.low_recovery += row.recovered_mm < view.rules.sampling.low_recovery * length_mm
                facts.shortest_mm = min(facts.shortest_mm or length_mm, length_mm)
                facts.longest_mm = max(facts.longest_mm or length_mm, length_mm)
            else:
                facts.duplicates[row.duplicate_type or "not said"] += 1
        else:
            facts.controls[row.kind] += 1
        facts.voided += bag.state == "void"
        _add_acts(facts, bag)
    facts.flushes += sum(one.event.kind == "flush_cut" for one in hole.saw_acts)
    facts.washes += sum(one.event.kind == "washed" for one in hole.saw_acts)
    for stands in hole.trays.values():
        facts.trays_closed += stands.state in ("closed", "racked")
        facts.photographs += sum(fact.event.kind == "photo_attached" for fact in stands.facts)


def _add_acts(facts: SampleFacts, bag) -> None:
    for fact in bag.stands.facts:
        facts.people.add(fact.event.person)
        if fact.event.kind in ("cut", "bagged", "inserted"):
            facts.worked_on(fact.event.captured_at)
        facts.photographs += fact.event.kind == "photo_attached"
    facts.cut += bag.stands.latest("cut") is not None
    weighed = bag.stands.latest("weighed")
    if weighed is None or not bag.row.is_core:
        return
    facts.weighed += 1
    facts.by_scale += weighed.values.get("read") == "scale"
    mass_kg = weighed.values["mass_g"] / 1000
    facts.masses_kg.append(mass_kg)
    facts.outside += not bag.row.low_kg <= mass_kg <= bag.row.high_kg


def _add_load(facts: RoadFacts, view: LoadView) -> None:
    facts.loads += 1
    facts.sacks += len(view.sacks)
    facts.sealed += sum(bool(sack.seal) for sack in view.sacks)
    facts.bags += len(view.numbers)
    facts.laboratories[view.load.request.laboratory] += 1
    facts.methods |= set(view.load.request.methods)
    if view.load.sent_at is None:
        return
    facts.sent += 1
    facts.hand_overs += len(view.hand_overs)
    facts.unbroken += custody_of(view).unbroken
    facts.seals_broken += sum(fact.values.get("seals_intact") is False for fact in view.hand_overs)
    settled = confirmed(view)
    if settled is not None:
        _, difference = settled
        facts.received += 1
        facts.missing += len(difference.missing)
        facts.extra += len(difference.extra)
        facts.damaged += len(difference.damaged)
        facts.misread += len(difference.taken_as)


def _results(work: Work, verdicts: tuple[BatchVerdict, ...]) -> ResultFacts:
    facts = ResultFacts()
    for certificate in work.assays.certificates(superseded=True):
        if certificate.superseded_by is not None:
            facts.superseded += 1
            continue
        facts.certificates += 1
        facts.laboratories[certificate.laboratory] += 1
        for analyte in certificate.analytes:
            facts.methods.setdefault(analyte.element, set()).add(analyte.method or "not said")
        day = f"{certificate.reported_at:%Y-%m-%d}"
        facts.first = min(facts.first or day, day)
        facts.last = max(facts.last, day)
    for verdict in verdicts:
        facts.words[verdict.stands] += 1
        counts = facts.judged.setdefault(verdict.element, Counter())
        counts.update(
            samples=verdict.samples, standards=verdict.standards, blanks=verdict.blanks, pairs=verdict.pairs
        )
        if verdict.signed is not None:
            facts.signed += 1
            facts.overruled += verdict.signed.overrules
            facts.signers.add(verdict.signed.signed_by)
        if verdict.word != "use":
            facts.reasons.append((verdict.element, verdict.job, f"{verdict.word}: {verdict.why}"))
    return facts
