"""One verdict in words: why a batch can be used for an element, what failed, which stretch to assay again, what could
not be seen. Made from `Judged` for one certificate and element."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from trayside.app.content_words import content
from trayside.app.judge_results import Judged, pairs_by_kind
from trayside.app.judge_series import SeriesFlag
from trayside.app.judge_standards import FAIL, NOT_JUDGED, NOTE
from trayside.app.pair_sets import CANNOT_CONCLUDE, bias_words, pair_set, power_words
from trayside.core import failed_range
from trayside.core.control_rules import RULE_SETS
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.result_series import PairSet
from trayside.model.rules import ResultSettings
from trayside.model.verdict import BatchVerdict, FailedStretch, MixUpStory, Reason, RuleSet, SignedVerdict, Word

POWER_80 = 2.8016  # z(0.975) + z(0.80): sds that the mean of one result must be off to be seen in 4 of 5 cases
WARNING_RULES = frozenset(rule.name for rules in RULE_SETS.values() for rule in rules if rule.warning)


@dataclass(frozen=True, slots=True)
class Heard:
    """What else is known of one certificate: mix-ups, findings of the import, decisions of people."""

    mix_ups: tuple[MixUpStory, ...] = ()
    share_visible: float | None = None
    import_findings: tuple[Finding, ...] = ()
    signed: dict[str, SignedVerdict] = field(default_factory=dict)
    job: str = ""


def rule_set(settings: ResultSettings, certified: pl.DataFrame) -> RuleSet:
    """The rules as printed, with a fingerprint over every setting and certified value."""
    lines = (
        f"Standards: {settings.standard_rules} on scores against the {settings.scores_against}"
        + (f", R4s read as {settings.r4s_reading}" if settings.standard_rules == "Westgard" else ""),
        f"Long runs on one side fail when they are off by more than {settings.bias_that_matters:.0%}, else they are a note",
        f"Blanks: the material's own limit, else {settings.coarse_blank_limits:g} (coarse) or"
        f" {settings.fine_blank_limits:g} (fine) lower limits; within {settings.carry_over_allowed:.1%} of the sample"
        f" before it is a {settings.carried_is}",
        f"Pairs: at most {settings.pairs_failed_share:.0%} outside the hyperbola",
        f"At least {settings.least_standards} standards and {settings.least_blanks} blanks in a batch",
        f"A label holds within chance {1 - settings.own_label_level:.3f} of its certificate",
        f"Mix-ups are told from odds of {settings.mix_up_odds:g} to 1",
    )
    dump = json.dumps(settings.model_dump(mode="json"), sort_keys=True) + certified.sort("material", "element").write_csv()
    return RuleSet(settings.standard_rules, lines, hashlib.sha256(dump.encode()).hexdigest())


def batch_verdict(
    judged: Judged, certificate_id: str, element: str, *, rules: RuleSet, heard: Heard | None = None,
    pair_statistics: Sequence[PairSet] | None = None,
) -> BatchVerdict:  # fmt: skip
    """The verdict on one certificate and element. `pair_statistics` are those of the element, to spare computing them."""
    heard = heard or Heard()
    here = (pl.col("certificate_id") == certificate_id) & (pl.col("element") == element)
    row = judged.verdicts.filter(here).row(0, named=True)
    standards, blanks, pairs = (frame.filter(here) for frame in (judged.standards, judged.blanks, judged.pairs))
    lines = judged.results.filter(here & (pl.col("line_kind") == "sample")).sort("place")
    flags = [flag for flag in judged.flags if flag.element == element and certificate_id in flag.certificate_ids]
    wrong = [one for one in judged.mislabelled if one.certificate_id == certificate_id]
    if pair_statistics is None:
        pair_statistics = pair_statistics_of(judged, element, row["laboratory"], pairs["kind"].unique().to_list())
    sets = [one for one in pair_statistics if one.kind in set(pairs["kind"].to_list())]
    low = [one for one in sets if one.bias_verdict == CANNOT_CONCLUDE and _looks_odd(one)]
    shown = [one for one in sets if one.bias_verdict == "bias shown"]
    reasons = [
        *_import_reasons(heard.import_findings, element),
        *_control_reasons(standards, element, "standards"),
        *_control_reasons(blanks, element, "blanks"),
        *_label_reasons(wrong),
        *(Reason("standards" if "standard" in flag.code else "blanks", "note", f"{flag.sentence}.", _named(flag.numbers))
          for flag in flags),
        *(Reason("labels", "note", f"{story.sentence} {story.settlement}", story.numbers) for story in heard.mix_ups),
        *(Reason("pairs", "note", f"{bias_words(one)} {power_words(one)}") for one in (*shown, *low)),
        *_pairs_outside(pairs, judged.settings, element),
        *_too_few(row, judged.settings, element),
    ]  # fmt: skip
    word: Word = row["word"]
    if word == "use" and any(reason.weight == "note" for reason in reasons):
        word = "use with note"
    failing = {reason.subject for reason in reasons if reason.weight == "fails"}
    if failing == {"import"}:  # a corrected certificate is wanted, not another assay
        word = "cannot judge"
    elif failing:
        word = "re-assay"
    reasons.append(_in_favour(row, element))
    stretches = _stretches(judged, lines, standards, blanks) if word == "re-assay" else ()
    unseen = _unseen(row, standards, sets, heard, judged.settings, element)
    findings = (*_flag_findings(flags), *_control_findings(standards, blanks, element), *_label_findings(wrong),
                *_story_findings(heard.mix_ups), *_pair_findings(low, shown), *_about(heard.import_findings, element))  # fmt: skip
    digest = _digest(certificate_id, element, rules, word, lines, judged, reasons)
    return BatchVerdict(
        certificate_id=certificate_id,
        laboratory=row["laboratory"],
        job=heard.job,
        reported_at=row["reported_at"],
        element=element,
        samples=row["samples"],
        standards=row["standards"],
        blanks=row["blanks"],
        pairs=row["pairs"],
        word=word,
        reasons=tuple(reasons),
        rules=rules,
        findings=findings,
        stretches=stretches,
        unseen=unseen,
        digest=digest,
        signed=heard.signed.get(element),
    )


def pair_statistics_of(
    judged: Judged, element: str, laboratory: str, kinds: Sequence[str]
) -> tuple[PairSet, ...]:
    """Statistics of all pairs of an element at one laboratory, for these kinds: one batch alone has too few."""
    held = judged.pairs.filter((pl.col("element") == element) & (pl.col("laboratory") == laboratory))
    return tuple(
        pair_set(held.filter(pl.col("kind") == kind), settings=judged.settings) for kind in sorted(set(kinds))
    )


def _named(numbers: Sequence[str]) -> tuple[str, ...]:
    return tuple(numbers[:200])


def _looks_odd(one: PairSet) -> bool:
    """Second results look lower or higher by more than matters; somebody will want to conclude from it."""
    return one.mean_ratio is not None and abs(np.log(one.mean_ratio)) > np.log1p(one.bias_that_matters)


# reasons


def _control_reasons(controls: pl.DataFrame, element: str, subject: str) -> list[Reason]:
    reasons = []
    for row in controls.filter(pl.col("outcome").is_in([FAIL, NOTE])).sort("place").iter_rows(named=True):
        weight = "fails" if row["outcome"] == FAIL else "note"
        words = _standard_words(row, element) if subject == "standards" else _blank_words(row, element)
        reasons.append(Reason(subject, weight, words, (row["number"],)))
    unjudged = controls.filter(pl.col("outcome") == NOT_JUDGED)
    if unjudged.height:
        numbers = tuple(unjudged["number"].to_list())
        shown = ", ".join(f"{number} {text}" for number, text in unjudged.head(3).select("number", "raw_text").iter_rows())
        reasons.append(
            Reason(subject, "cannot tell", f"{unjudged.height} {subject} could not be judged ({shown}).", numbers)
        )
    return reasons


def _standard_words(row: dict, element: str) -> str:
    off = row["value_ppm"] / row["certified_ppm"] - 1.0
    run = row["run_bias"]
    run_words = f", the run is off by {run:+.1%}" if run is not None and run == run else ""
    rules = f"rule {_rejecting(row['broken'])}" if row["broken"] else "part of what completes a rule later"
    return (
        f"{row['material']} as {row['number']} reads {content(row['value_ppm'], element)}, certified"
        f" {content(row['certified_ppm'], element)} ({off:+.1%}, {row['score']:+.1f} standard deviations; {rules}{run_words})."
    )


def _rejecting(broken: str) -> str:
    """The rules that reject, without those that only warn."""
    names = [name for name in broken.split("; ") if name not in WARNING_RULES]
    return ", ".join(names) or broken


def _blank_words(row: dict, element: str) -> str:
    before = ""
    if row["before"] is not None and row["before_ppm"] is not None:
        before = f"; the line before it, {row['before']}, holds {content(row['before_ppm'], element)}"
        if row["share_before"] is not None:
            before += f", of which it would be {row['share_before']:.2%}"
    tail = ": no more than carry-over that is allowed" if row["outcome"] == NOTE else ""
    return (
        f"{row['material']} as {row['number']} reads {content(row['value_ppm'], element)}, its limit is"
        f" {content(row['limit_ppm'], element)}{before}{tail}."
    )


def _label_reasons(wrong: Sequence) -> list[Reason]:
    reasons, told = [], set()
    for one in wrong:
        if one.number in told:
            continue
        told |= {one.other_number}
        partner = f"; {one.other_number} reads like {one.label}, so the two were exchanged" if one.other_number else ""
        sure = "" if one.certain else " (others fit too)"
        reasons.append(
            Reason(
                "labels",
                "note",
                f"{one.number} is down as {one.label} and reads like {one.reads_like}{sure} over {one.elements}"
                f" element{'s' * (one.elements != 1)}{partner}: a wrong tag, no failure of the laboratory.",
                tuple(number for number in (one.number, one.other_number) if number),
            )
        )
    return reasons


def _pairs_outside(pairs: pl.DataFrame, settings: ResultSettings, element: str) -> list[Reason]:
    allowed = settings.pairs_failed_share
    return [
        Reason(
            "pairs",
            "note",
            f"{row['pairs_outside']} of {row['pairs']} {row['kind']} pairs of {element} lie outside their hyperbola; accepted are"
            f" {allowed:.0%} (so many by chance: {row['chance']:.3f}).",
        )
        for row in pairs_by_kind(pairs, settings).filter(pl.col("too_many")).sort("kind").iter_rows(named=True)
    ]


def _too_few(row: dict, settings: ResultSettings, element: str) -> list[Reason]:
    reasons = []
    for name, least in (("standards", settings.least_standards), ("blanks", settings.least_blanks)):
        if row[name] < least:
            words = f"{row[name] or 'No'} {name} of {element} could be judged in this batch; the rules ask for {least}."
            reasons.append(Reason("controls", "cannot tell", words))
    return reasons


def _in_favour(row: dict, element: str) -> Reason:
    standards = row["standards"] - row["standards_failed"] - row["standards_noted"]
    blanks = row["blanks"] - row["blanks_failed"] - row["blanks_noted"]
    words = (
        f"{standards} of {row['standards']} standards are within the rules, {blanks} of {row['blanks']} blanks below their"
        f" limit, {row['pairs'] - row['pairs_outside']} of {row['pairs']} pairs inside the hyperbola ({element})."
    )
    return Reason("controls", "in favour", words)


def _about(findings: Sequence[Finding], element: str) -> list[Finding]:
    """Those about this element, or about no single one."""
    return [finding for finding in findings if finding.evidence.get("element") in (None, element)]


def _import_reasons(findings: Sequence[Finding], element: str) -> list[Reason]:
    reasons = []
    for finding in _about(findings, element):
        if finding.severity != "note":
            weight = "fails" if finding.severity == "stop" else "note"
            words = finding.message if finding.message.endswith(".") else f"{finding.message}."
            reasons.append(Reason("import", weight, words, (finding.number,) if finding.number else ()))
    return reasons


# stretches to assay again


def _stretches(
    judged: Judged, lines: pl.DataFrame, standards: pl.DataFrame, blanks: pl.DataFrame
) -> tuple[FailedStretch, ...]:
    """Failed ranges in laboratory order. A control whose tag lies, or that was not judged, bounds nothing."""
    settings = judged.settings
    outcome = {
        row["place"]: (kind, row["outcome"])
        for kind, controls in (("standard", standards), ("blank", blanks))
        for row in controls.select("place", "outcome").iter_rows(named=True)
    }
    kg = dict(judged.numbers.select("number", "kg").iter_rows())
    on_sheet = dict(judged.numbers.select("number", "role").iter_rows())
    # A number that no sheet carries is no sample of this yard: nobody can ask for it again.
    lines = lines.filter(pl.col("number").is_in(list(on_sheet))).unique("place", keep="first", maintain_order=True)
    places, numbers = lines["place"].to_list(), lines["number"].to_list()
    kinds: list[str | None] = []
    verdicts: list[str | None] = []
    for place, number in zip(places, numbers, strict=True):
        kind, result = outcome.get(place, (None, None))
        if kind is None and on_sheet.get(number) in ("standard", "blank"):
            kind, result = on_sheet[number], NOT_JUDGED
        kinds.append(kind)
        verdicts.append(
            None if kind is None else failed_range.PASS if result in ("pass", NOTE)
            else failed_range.FAIL if result == FAIL else failed_range.NOT_JUDGED
        )  # fmt: skip
    mass = np.array([np.nan if kind or not kg.get(number) else kg[number] for kind, number in zip(kinds, numbers, strict=True)])
    made = failed_range.failed_ranges(
        kind=kinds,
        verdict=verdicts,
        mass_kg=mass,
        prices=prices_of(settings),
        rules=failed_range.BoundingRules(bounds=settings.bounds, passes=settings.passes_to_end),
    )
    return tuple(
        FailedStretch(
            first_place=places[one.first],
            last_place=places[one.last],
            failed=tuple(numbers[at] for at in one.failed),
            samples=tuple(numbers[at] for at in one.samples),
            controls=tuple(numbers[at] for at in one.controls),
            pass_before=None if one.pass_before is None else numbers[one.pass_before],
            pass_after=None if one.pass_after is None else numbers[one.pass_after],
            mass_kg=one.mass_kg,
            not_weighed=one.not_weighed,
            cost=one.cost,
            because=" and ".join(sorted({f"a failed {kinds[at]}" for at in one.failed})),
        )
        for one in made.ranges
    )


def prices_of(settings: ResultSettings) -> failed_range.ReassayPrices | None:
    """Prices of the yard; None when it gave none."""
    if not (settings.price_per_result or settings.price_per_kg or settings.price_per_order):
        return None
    return failed_range.ReassayPrices(settings.price_per_result, settings.price_per_kg, settings.price_per_order)


# what could not be seen


def _unseen(
    row: dict, standards: pl.DataFrame, sets: Sequence[PairSet], heard: Heard, settings: ResultSettings, element: str
) -> tuple[str, ...]:
    words = []
    judged = standards.filter(pl.col("score").is_not_null())
    if judged.height:
        relative = float((judged["sd_ppm"] / judged["certified_ppm"]).median())
        off = POWER_80 * relative / np.sqrt(judged.height)
        words.append(
            f"{judged.height} standards: a bias of {element} below {off:.1%} through the whole batch would pass in more than 1"
            " of 5 cases."
        )
    else:
        words.append(f"Without a judged standard no bias of {element} can be seen.")
    if row["blanks"]:
        words.append(
            f"{row['blanks']} blanks: contamination that hits fewer than {1 - 0.05 ** (1 / row['blanks']):.0%} of the samples"
            " may have missed them all (95 %)."
        )
    else:
        words.append("Without a judged blank no contamination can be seen.")
    words += [power_words(one) for one in sets]
    if not sets:
        words.append(f"No pairs of {element} in this batch: nothing is said of sampling and splitting.")
    if heard.share_visible is not None:
        words.append(f"Of exchanges of neighbouring samples the results would show {heard.share_visible:.0%}.")
    return tuple(words)


# findings


def _flag_findings(flags: Sequence[SeriesFlag]) -> list[Finding]:
    return [
        found(flag.code, f"{flag.laboratory}, {flag.element}: {flag.sentence}",
              number=flag.numbers[0] if flag.numbers else None, evidence=flag.evidence)
        for flag in flags
    ]  # fmt: skip


def _control_findings(standards: pl.DataFrame, blanks: pl.DataFrame, element: str) -> list[Finding]:
    findings = []
    for row in standards.filter(pl.col("outcome").is_in([FAIL, NOTE])).iter_rows(named=True):
        code = "result.standard_fails" if row["outcome"] == FAIL else "result.standard_run"
        evidence = {"element": element, "material": row["material"], "value_ppm": row["value_ppm"],
                    "certified_ppm": row["certified_ppm"], "score": round(row["score"], 2), "rules": row["broken"]}  # fmt: skip
        findings.append(
            found(code, _standard_words(row, element).rstrip("."), hole_id=row["hole_id"], number=row["number"],
                  evidence=evidence)
        )  # fmt: skip
    for row in blanks.filter(pl.col("outcome").is_in([FAIL, NOTE])).iter_rows(named=True):
        code = "result.blank_fails" if row["outcome"] == FAIL else "result.blank_carried"
        evidence = {"element": element, "material": row["material"], "value_ppm": row["value_ppm"],
                    "limit_ppm": row["limit_ppm"], "before": row["before"], "before_ppm": row["before_ppm"],
                    "share": None if row["share_before"] is None else round(row["share_before"], 5)}  # fmt: skip
        findings.append(
            found(code, _blank_words(row, element).rstrip("."), hole_id=row["hole_id"], number=row["number"],
                  evidence=evidence)
        )  # fmt: skip
    return findings


def _label_findings(wrong: Sequence) -> list[Finding]:
    return [
        found("result.standards_exchanged" if one.other_number else "result.mislabelled",
              _label_reasons([one])[0].sentence.rstrip("."), number=one.number,
              evidence={"label": one.label, "reads_like": one.reads_like, "elements": one.elements,
                        "other": one.other_number, "own_distance": round(one.own_distance, 1)})
        for one in wrong
    ]  # fmt: skip


def _story_findings(stories: Sequence[MixUpStory]) -> list[Finding]:
    return [
        found("result.mix_up", f"{story.sentence} {story.settlement}".rstrip("."), number=story.numbers[0],
              evidence={"kind": story.kind, "numbers": " ".join(story.numbers[:50]), "odds": round(story.odds, 1),
                        "assay_again": " ".join(story.assay_again)} | story.evidence)
        for story in stories
    ]  # fmt: skip


def _pair_findings(low: Sequence[PairSet], shown: Sequence[PairSet]) -> list[Finding]:
    return [
        found(code, f"{bias_words(one)} {power_words(one)}".rstrip("."),
              evidence={"element": one.element, "kind": one.kind, "pairs": len(one.points),
                        "ratio": round(one.mean_ratio, 4), "low": round(one.ratio_low, 4), "high": round(one.ratio_high, 4),
                        "smallest_bias": one.smallest_bias, "more_pairs": one.more_pairs})
        for code, sets in (("result.pairs_cannot_conclude", low), ("result.pairs_biased", shown))
        for one in sets
    ]  # fmt: skip


def _digest(
    certificate_id: str, element: str, rules: RuleSet, word: Word, lines: pl.DataFrame, judged: Judged,
    reasons: Sequence[Reason],
) -> str:  # fmt: skip
    """Fingerprint of what a person signs: every result as written, the rules, the word and the reasons."""
    told = json.dumps(
        [certificate_id, element, rules.digest, word, [reason.sentence for reason in reasons],
         lines.select("place", "number", "raw_text", "unit").rows()],
        ensure_ascii=False,
    )  # fmt: skip
    return hashlib.sha256(told.encode()).hexdigest()
