"""Evidence by criterion for a public report: counts, dates, figures and rules out of the records, and no opinion.

The criteria are those of the JORC Code 2012, Table 1 section 1 (names: public form of the code; the last six from
memory), and of Form 43-101F1 item 11 (seen as quoted in a technical report). What the records cannot answer is listed as
not answered, so that the person who signs the report answers it; `[report] answers` in rules.toml may hold the yard's words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from trayside.app.evidence_facts import Facts

Code = Literal["jorc", "43-101"]
CODES: dict[Code, str] = {
    "jorc": "JORC Code 2012, Table 1 section 1",
    "43-101": "NI 43-101, Form 43-101F1 item 11",
}
STATED = "stated by the yard"
NOT_ANSWERED = "not answered by the records"
MOST_REASONS = 12


@dataclass(frozen=True, slots=True)
class Answer:
    """One line of evidence. `key` names the question in rules.toml; `text` is None where the records do not answer."""

    key: str
    question: str
    text: str | None
    source: str


@dataclass(frozen=True, slots=True)
class Criterion:
    name: str
    answers: tuple[Answer, ...]


@dataclass(frozen=True, slots=True)
class EvidenceSheet:
    """All criteria of one code."""

    code: Code
    title: str
    criteria: tuple[Criterion, ...]

    @property
    def unanswered(self) -> tuple[tuple[str, Answer], ...]:
        return tuple(
            (criterion.name, answer) for criterion in self.criteria for answer in criterion.answers if answer.text is None
        )


Question = tuple[str, str, Callable[[Facts], str | None], str]
"""Key, question, what the records say, and where that comes from."""


def evidence_sheet(facts: Facts, *, code: Code) -> EvidenceSheet:
    """Every criterion of the code with what the records say to it."""
    stated = facts.rules.report.answers
    criteria = []
    for name, questions in ITEMS[code]:
        answers = []
        for key, question, asked, source in questions:
            text = asked(facts)
            words = stated.get(key, "").strip()
            if words:
                text, source = (words, STATED) if text is None else (f"{text} {words}", f"{source}; {STATED}")
            answers.append(Answer(key, question, text, source if text is not None else NOT_ANSWERED))
        criteria.append(Criterion(name, tuple(answers)))
    return EvidenceSheet(code, CODES[code], tuple(criteria))


# What the records say


def _metres(length_mm: int) -> str:
    return f"{length_mm / 1000:,.1f} m"


def _share(part: int, whole: int) -> str:
    return "–" if not whole else f"{part / whole:.1%}"


def _counted(counts: Counter | dict, *, unit: Callable[[int], str] = str) -> str:
    return ", ".join(f"{name} {unit(count)}" for name, count in sorted(counts.items(), key=lambda item: (-item[1], item[0])))


def _listed(words: Iterable[str]) -> str:
    return ", ".join(sorted(words))


def _plural(count: int, word: str) -> str:
    return f"{count:,} {word}{'' if count == 1 else 's'}"


def _sampling_rules(facts: Facts) -> str:
    rules = facts.rules.sampling
    return (
        f"Sample lengths are planned between {rules.minimum_m:g} and {rules.maximum_m:g} m about {rules.nominal_m:g} m; hard"
        f" contacts are never crossed; losses from {rules.isolate_loss_m:g} m stand alone; expected grade classes sampled:"
        f" {rules.sample_classes if isinstance(rules.sample_classes, str) else _listed(rules.sample_classes)}; shoulders"
        f" {rules.shoulder_m:g} m."
    )


def _samples(facts: Facts) -> str | None:
    one = facts.samples
    if not one.samples:
        return None
    return (
        f"{_plural(one.samples, 'sample')} over {_metres(one.sampled_mm)} on {_plural(one.sheets, 'issued cut sheet')}"
        f" ({_plural(one.revisions, 'revision')}); shortest {one.shortest_mm / 1000:.2f} m, longest"
        f" {one.longest_mm / 1000:.2f} m."
    )


def _dates(facts: Facts) -> str | None:
    one = facts.samples
    if one.first is None:
        return None
    return f"Cut and bagged from {one.first} to {one.last}; people who recorded acts: {len(one.people)}."


def _scale(facts: Facts) -> str | None:
    one = facts.samples
    if not one.weighed:
        return None
    mean = sum(one.masses_kg) / len(one.masses_kg)
    return (
        f"{_plural(one.weighed, 'bag')} of core weighed, {one.by_scale:,} read from the scale and the rest typed; mean"
        f" {mean:.2f} kg; {one.outside:,} outside the range predicted from diameter, kerf, density and recovered length."
    )


def _core_sizes(facts: Facts) -> str | None:
    sizes = facts.core.size_mm
    return f"Core sizes by length drilled: {_counted(sizes, unit=_metres)}." if sizes else None


def _orientation(facts: Facts) -> str | None:
    one = facts.core
    if not one.marks:
        return None
    return (
        f"{one.oriented_holes} of {_plural(one.holes, 'hole')} with orientation marks; {_plural(one.marks, 'mark')};"
        f" joints: {_counted(one.joints)}."
    )


def _recovery(facts: Facts) -> str | None:
    one = facts.core
    if not one.drilled_mm:
        return None
    return (
        f"{_plural(one.runs, 'run')} over {_metres(one.drilled_mm)}: {_share(one.recovered_mm, one.drilled_mm)} recovered;"
        f" runs under {facts.rules.depth.low_recovery:.0%}: {one.runs_low:,}; losses placed: {one.losses:,}"
        f" ({_metres(one.lost_mm)})."
    )


def _recovery_of_samples(facts: Facts) -> str | None:
    one = facts.samples
    if not one.samples:
        return None
    return (
        f"{one.low_recovery:,} of {_plural(one.samples, 'sample')} hold less than"
        f" {facts.rules.sampling.low_recovery:.0%} of their length."
    )


def _logging(facts: Facts) -> str | None:
    one = facts.core
    if not one.logged_mm:
        return None
    return f"{_metres(one.logged_mm)} logged of {_metres(one.depth_mm)} of hole ({_share(one.logged_mm, one.depth_mm)})."


def _photographs(facts: Facts) -> str | None:
    one = facts.samples
    return f"{_plural(one.photographs, 'photograph')} attached in the ledger." if one.photographs else None


def _portions(facts: Facts) -> str | None:
    one = facts.samples
    if not one.portions:
        return None
    return f"Share of the core bagged: {_counted(one.portions)}; methods: {_counted(one.methods)}."


def _cut_line(facts: Facts) -> str:
    cut = facts.rules.cut
    return (
        f"The blade runs {cut.offset_mm:g} mm beside the drawn line, kerf {cut.kerf_mm:g} mm; the {cut.bag_side} side looking"
        f" downhole is bagged unless the sheet says otherwise."
    )


def _cleaning(facts: Facts) -> str | None:
    one = facts.samples
    if not one.cut:
        return None
    return f"{_plural(one.cut, 'bag')} cut; flush cuts recorded: {one.flushes:,}; washes recorded: {one.washes:,}."


def _duplicates(facts: Facts) -> str | None:
    one = facts.samples
    return f"Field duplicates bagged, never pooled: {_counted(one.duplicates)}." if one.duplicates else None


def _controls(facts: Facts) -> str | None:
    one, rules = facts.samples, facts.rules.controls
    if not one.controls:
        return None
    total = sum(one.controls.values())
    return (
        f"{_counted(one.controls)} among {one.samples + total + sum(one.duplicates.values()):,} bags"
        f" ({_share(total, one.samples + total + sum(one.duplicates.values()))}); rule: a standard every"
        f" {rules.standard_every}, a blank every {rules.blank_every}, a duplicate every {rules.duplicate_every} bags, from"
        f" recorded seed {rules.seed}."
    )


def _methods(facts: Facts) -> str | None:
    one = facts.results
    if not one.methods:
        return f"Asked for on dispatch: {_listed(facts.road.methods)}." if facts.road.methods else None
    return "As named on the certificates: " + "; ".join(
        f"{element}: {_listed(methods)}" for element, methods in sorted(one.methods.items())
    ) + "."


def _judged(facts: Facts) -> str | None:
    one = facts.results
    if not one.judged:
        return None
    parts = [
        f"{element}: {counts['standards']} standards, {counts['blanks']} blanks, {counts['pairs']} pairs beside"
        f" {counts['samples']} samples"
        for element, counts in sorted(one.judged.items())
    ]
    return "Judged results by element: " + "; ".join(parts) + "."


def _verdicts(facts: Facts) -> str | None:
    one = facts.results
    if not one.words:
        return None
    return f"Verdicts on batch and element: {_counted(one.words)}; {one.signed} signed, {one.overruled} overruled with a reason."


def _reasons(facts: Facts) -> str | None:
    one = facts.results
    if not one.words:
        return None
    if not one.reasons:
        return "No batch was found wanting."
    alike: dict[tuple[str, str], list[str]] = {}
    for element, job, sentence in one.reasons:
        alike.setdefault((job, sentence.rstrip(".")), []).append(element)
    said = [f"{job} ({', '.join(elements)}): {sentence}." for (job, sentence), elements in alike.items()]
    more = f" And {len(said) - MOST_REASONS} more." if len(said) > MOST_REASONS else ""
    return " ".join(said[:MOST_REASONS]) + more


def _certificates(facts: Facts) -> str | None:
    one = facts.results
    if not one.certificates:
        return None
    return (
        f"{_plural(one.certificates, 'certificate')} reported {one.first} to {one.last}; {one.superseded} superseded and kept;"
        f" laboratories: {_counted(one.laboratories)}."
    )


def _records(facts: Facts) -> str:
    seq, newest = facts.ledger
    if not seq:
        return "No act is in the ledger yet."
    return (
        f"{seq:,} acts in an append-only ledger chained by hashes, newest {newest[:16]}…; a correction is a new act with a"
        f" reason, the first value stays. Certificates keep every value as it was written."
    )


def _collars(facts: Facts) -> str | None:
    one = facts.core
    if not one.holes:
        return None
    return (
        f"{_plural(one.holes, 'hole')}, {_metres(one.depth_mm)}; dips {min(one.dips_deg):g}° to {max(one.dips_deg):g}°;"
        f" {one.surveyed_holes} surveyed at {_plural(one.survey_stations, 'station')}"
        + (f" ({_counted(one.instruments)})." if one.instruments else ".")
    )


def _areas(facts: Facts) -> str | None:
    return f"Sections or prospects: {_listed(facts.core.areas)}." if facts.core.areas else None


def _composites(facts: Facts) -> str:
    rules = facts.rules.results
    return f"Composites of {rules.composite_m:g} m, weighted by length; a gap gives: {rules.gaps}."


def _structures(facts: Facts) -> str | None:
    one = facts.core
    if not one.planes:
        return None
    return f"{_plural(one.planes, 'plane')} measured on core, {one.planes_with_beta:,} of them with both angles."


def _custody(facts: Facts) -> str | None:
    one = facts.road
    if not one.loads:
        return None
    return (
        f"{_plural(one.loads, 'load')} of {_plural(one.bags, 'bag')} in {_plural(one.sacks, 'sack')}, {one.sealed} sealed by"
        f" number; {one.sent} sent, {_plural(one.hand_overs, 'hand-over')} signed, custody without a gap on {one.unbroken};"
        f" seals broken at {one.seals_broken}."
    )


def _receipt(facts: Facts) -> str | None:
    one = facts.road
    if not one.received:
        return None
    return (
        f"{_plural(one.received, 'load')} reconciled with the laboratory's list: {one.missing} missing, {one.extra} not sent,"
        f" {one.damaged} damaged, {one.misread} misread numbers settled."
    )


def _laboratories(facts: Facts) -> str | None:
    names = facts.results.laboratories or facts.road.laboratories
    return f"Laboratories: {_listed(names)}." if names else None


def _densities(facts: Facts) -> str | None:
    return f"Density measured on core: {_counted(facts.core.densities)}." if facts.core.densities else None


def _open_findings(facts: Facts) -> str:
    if not facts.findings:
        return "The yard's checks find nothing in these holes."
    return f"The yard's checks find: {_counted(facts.findings)} (stop, warn and note as in its list of findings)."


def _nothing(facts: Facts) -> None:
    return None


LOADED, SHEETS, LEDGER = "holes, runs and log as loaded", "issued cut sheets", "ledger"
CERTIFICATES_OR_LOADS = "certificates, else what loads asked for"
RULES, CERTIFICATES, LOADS = "rules.toml", "certificates and verdicts", "loads, hand-overs and received lists"

ITEMS: dict[Code, tuple[tuple[str, tuple[Question, ...]], ...]] = {
    "jorc": (
        ("Sampling techniques", (
            ("sampling.rules", "How sample boundaries are set", _sampling_rules, RULES),
            ("sampling.count", "What was sampled", _samples, SHEETS),
            ("sampling.scale", "Masses, and how they were read", _scale, LEDGER),
            ("sampling.scale_checks", "Check masses of scale and balance", _nothing, ""),
            ("sampling.mineralisation", "How mineralisation was determined", _nothing, ""),
        )),
        ("Drilling techniques", (
            ("drilling.sizes", "Core sizes", _core_sizes, LOADED),
            ("drilling.tube", "Standard or triple tube, bit and rig", _nothing, ""),
            ("drilling.orientation", "Whether the core is oriented", _orientation, LOADED),
        )),
        ("Drill sample recovery", (
            ("recovery.runs", "Recovery of runs", _recovery, LOADED),
            ("recovery.samples", "Recovery of samples", _recovery_of_samples, SHEETS),
            ("recovery.measures", "Measures taken to raise recovery", _nothing, ""),
            ("recovery.grade", "Relation of recovery and grade", _nothing, ""),
        )),
        ("Logging", (
            ("logging.length", "Length logged", _logging, LOADED),
            ("logging.photographs", "Photographs", _photographs, LEDGER),
            ("logging.detail", "Whether the detail serves its purpose", _nothing, ""),
        )),
        ("Sub-sampling techniques and sample preparation", (
            ("subsampling.portion", "Quarter, half or all core, and how it was divided", _portions, SHEETS),
            ("subsampling.line", "Where the blade runs and which side is bagged", _cut_line, RULES),
            ("subsampling.cleaning", "Cleaning between samples", _cleaning, LEDGER),
            ("subsampling.duplicates", "Field duplicates", _duplicates, SHEETS),
            ("subsampling.preparation", "Preparation in the laboratory and its quality control", _nothing, ""),
            ("subsampling.grain", "Sample size against grain size", _nothing, ""),
        )),
        ("Quality of assay data and laboratory tests", (
            ("assay.methods", "Methods", _methods, CERTIFICATES_OR_LOADS),
            ("assay.controls", "Standards and blanks inserted", _controls, SHEETS),
            ("assay.judged", "Controls and pairs that were judged", _judged, CERTIFICATES),
            ("assay.verdicts", "Verdicts", _verdicts, CERTIFICATES),
            ("assay.reasons", "What was found wanting", _reasons, CERTIFICATES),
            ("assay.total", "Whether the methods are partial or total", _nothing, ""),
        )),
        ("Verification of sampling and assaying", (
            ("verification.records", "Primary records and their storage", _records, LEDGER),
            ("verification.certificates", "Certificates", _certificates, CERTIFICATES),
            ("verification.intersections", "Significant intersections checked by others", _nothing, ""),
            ("verification.twins", "Twinned holes", _nothing, ""),
            ("verification.adjustments", "Adjustments to assays", _nothing, ""),
        )),
        ("Location of data points", (
            ("location.holes", "Holes and surveys", _collars, LOADED),
            ("location.grid", "Grid system and accuracy of collars", _nothing, ""),
            ("location.topography", "Topographic control", _nothing, ""),
        )),
        ("Data spacing and distribution", (
            ("spacing.areas", "Sections", _areas, LOADED),
            ("spacing.composites", "Compositing", _composites, RULES),
            ("spacing.continuity", "Whether the spacing establishes continuity", _nothing, ""),
        )),
        ("Orientation of data in relation to geological structure", (
            ("structure.planes", "Structures measured", _structures, LOADED),
            ("structure.bias", "Whether the direction of drilling biases the sampling", _nothing, ""),
        )),
        ("Sample security", (
            ("security.custody", "Custody", _custody, LOADS),
            ("security.receipt", "Receipt at the laboratory", _receipt, LOADS),
        )),
        ("Audits or reviews", (
            ("audits.checks", "The yard's own checks", _open_findings, "findings"),
            ("audits.results", "Audits and reviews by others", _nothing, ""),
        )),
    ),
    "43-101": (
        ("Preparation and quality control before dispatch", (
            ("subsampling.portion", "How the core was divided", _portions, SHEETS),
            ("subsampling.line", "Where the blade runs and which side is bagged", _cut_line, RULES),
            ("sampling.count", "What was sampled", _samples, SHEETS),
            ("sampling.dates", "When, and by how many people", _dates, LEDGER),
            ("sampling.scale", "Masses, and how they were read", _scale, LEDGER),
            ("subsampling.cleaning", "Cleaning between samples", _cleaning, LEDGER),
            ("density.measured", "Density", _densities, LOADED),
            ("assay.controls", "Standards and blanks inserted", _controls, SHEETS),
            ("subsampling.duplicates", "Field duplicates", _duplicates, SHEETS),
        )),
        ("Security of samples", (
            ("security.custody", "Custody", _custody, LOADS),
            ("security.receipt", "Receipt at the laboratory", _receipt, LOADS),
            ("verification.records", "Records", _records, LEDGER),
        )),
        ("Preparation and analysis in the laboratory", (
            ("laboratory.names", "Names and places of the laboratories", _laboratories, CERTIFICATES_OR_LOADS),
            ("laboratory.relation", "Relation of the laboratories to the issuer", _nothing, ""),
            ("laboratory.certification", "Certification of the laboratories", _nothing, ""),
            ("subsampling.preparation", "Preparation procedures", _nothing, ""),
            ("assay.methods", "Analytical procedures", _methods, CERTIFICATES_OR_LOADS),
        )),
        ("Nature, extent and results of quality control", (
            ("assay.judged", "Controls and pairs that were judged", _judged, CERTIFICATES),
            ("assay.verdicts", "Verdicts", _verdicts, CERTIFICATES),
            ("assay.reasons", "What was found wanting", _reasons, CERTIFICATES),
            ("verification.certificates", "Certificates", _certificates, CERTIFICATES),
            ("assay.actions", "Actions taken by hand", _nothing, ""),
        )),
        ("Opinion on adequacy", (
            ("opinion.adequacy", "The author's opinion", _nothing, ""),
        )),
    ),
}  # fmt: skip
