"""What was concluded about a laboratory batch, element by element: a word, the reasons, what to assay again.

A verdict never stands alone: it names the rules it was judged by, says what it could not see, and may be overruled by
a person who signs and gives a reason. Contents are in ppm (mg/kg, g/t) throughout.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from trayside.model.finding import Finding

Word = Literal["use", "use with note", "re-assay", "cannot judge"]
WORDS: tuple[Word, ...] = ("use", "use with note", "re-assay", "cannot judge")
Subject = Literal["standards", "blanks", "pairs", "labels", "import", "controls"]
SUBJECTS: tuple[Subject, ...] = ("standards", "blanks", "pairs", "labels", "import", "controls")
Weight = Literal["fails", "note", "in favour", "cannot tell"]
"""What a reason does to the verdict: it asks for a re-assay, is worth knowing, speaks for use, or says too little."""


@dataclass(frozen=True, slots=True)
class RuleSet:
    """The settings a batch was judged by: a name to print, the lines to print under it, and a fingerprint."""

    name: str
    lines: tuple[str, ...]
    digest: str


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason of a verdict in a sentence with its numbers, and the sample numbers it speaks of."""

    subject: Subject
    weight: Weight
    sentence: str
    numbers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FailedStretch:
    """Samples to assay again, in laboratory order, between the controls that passed on either side.

    `pass_before` and `pass_after` are numbers of controls; None says that the stretch reaches the end of the batch.
    `cost` is None without prices.
    """

    first_place: int
    last_place: int
    failed: tuple[str, ...]
    samples: tuple[str, ...]
    controls: tuple[str, ...]
    pass_before: str | None
    pass_after: str | None
    mass_kg: float
    not_weighed: int
    cost: float | None
    because: str

    @property
    def in_words(self) -> str:
        start = f"after {self.pass_before}" if self.pass_before else "from the start of the batch"
        end = f"before {self.pass_after}" if self.pass_after else "to its end"
        if not self.samples:
            return f"no sample {start} and {end}"
        return f"{self.samples[0]} to {self.samples[-1]} ({len(self.samples)} samples, {start}, {end})"


@dataclass(frozen=True, slots=True)
class SignedVerdict:
    """A person's decision on one batch and element. `word` is what they decided, `computed` what stood there then."""

    event_id: str
    signed_at: str
    signed_by: str
    word: Word
    computed: Word
    reason: str
    digest: str

    @property
    def overrules(self) -> bool:
        return self.word != self.computed


@dataclass(frozen=True, slots=True)
class BatchVerdict:
    """Verdict on one certificate and one element.

    `word` is computed; `stands` is what counts after a person signed. `unseen` says in sentences what these controls
    could not have shown. `digest` is a fingerprint of results, controls, rules and word: a signature given for another
    digest is `outdated`.
    """

    certificate_id: str
    laboratory: str
    job: str
    reported_at: str
    element: str
    samples: int
    standards: int
    blanks: int
    pairs: int
    word: Word
    reasons: tuple[Reason, ...]
    rules: RuleSet
    findings: tuple[Finding, ...] = ()
    stretches: tuple[FailedStretch, ...] = ()
    unseen: tuple[str, ...] = ()
    digest: str = ""
    signed: SignedVerdict | None = None

    @property
    def stands(self) -> Word:
        return self.signed.word if self.signed is not None and not self.outdated else self.word

    @property
    def outdated(self) -> bool:
        """True when somebody signed and what they signed has changed since."""
        return self.signed is not None and self.signed.digest != self.digest

    @property
    def why(self) -> str:
        """The first sentence that decided the word, for a list of batches."""
        order: dict[Word, tuple[Weight, ...]] = {
            "re-assay": ("fails",),
            "use with note": ("note", "cannot tell"),
            "cannot judge": ("fails", "cannot tell"),
            "use": ("in favour",),
        }
        for weight in order[self.word]:
            for reason in self.reasons:
                if reason.weight == weight:
                    return reason.sentence
        return self.reasons[0].sentence if self.reasons else ""


@dataclass(frozen=True, slots=True)
class BatchSummary:
    """One line of the list of batches: the certificate and its verdicts, gravest first."""

    certificate_id: str
    laboratory: str
    job: str
    reported_at: str
    verdicts: tuple[BatchVerdict, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def word(self) -> Word:
        """The gravest word that stands among the elements."""
        grave: tuple[Word, ...] = ("re-assay", "cannot judge", "use with note", "use")
        held = {verdict.stands for verdict in self.verdicts}
        return next((word for word in grave if word in held), "cannot judge")

    @property
    def why(self) -> str:
        worst = next((verdict for verdict in self.verdicts if verdict.stands == self.word), None)
        return f"{worst.element}: {worst.why}" if worst is not None else "no element was judged"


@dataclass(frozen=True, slots=True)
class ReassayRequest:
    """What the laboratory is asked to do again for one certificate: stretches of all elements joined."""

    certificate_id: str
    laboratory: str
    job: str
    elements: tuple[str, ...]
    lines: tuple[ReassayLine, ...]
    controls: int
    mass_kg: float
    not_weighed: int
    cost: float | None
    currency: str
    because: tuple[str, ...]
    rules: RuleSet

    @property
    def samples(self) -> int:
        return sum(line.kind == "sample" for line in self.lines)


@dataclass(frozen=True, slots=True)
class ReassayLine:
    """One number to assay again: which elements, and why. Controls go along as fresh ones, never the spent sachet."""

    number: str
    place: int
    kind: Literal["sample", "control"]
    elements: tuple[str, ...]
    mass_kg: float | None
    why: str


@dataclass(frozen=True, slots=True)
class MixUpStory:
    """A mix-up the results speak for: which numbers, with which odds, and the smallest re-assay that would settle it."""

    kind: str
    numbers: tuple[str, ...]
    sentence: str
    odds: float
    assay_again: tuple[str, ...]
    settles: bool
    settlement: str
    evidence: dict[str, float] = field(default_factory=dict)
