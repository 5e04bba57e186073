"""The records of control insertion: the yard's rules, the stock it draws on, the plan that comes out.

Rates are fractions of all tickets (samples and controls together): one standard in 20 tickets is 0.05.
The defaults are settings. Field duplicates 5-10 % and standards 3-5 % with blanks also included: Abzalov 2008,
Exploration and Mining Geology 17, abstract (seen). Everything else here: common practice, no source.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from trayside.errors import ImpossibleValue

DUPLICATE_TYPES = ("half/half", "half/quarter", "quarter/quarter")
"""First part: what the sample's own bag gets; second: what the duplicate's bag gets. Their statistics are never
pooled."""

DUPLICATE_PLACES = ("straight after", "later in rack")
BLANK_AFTER_HIGH = ("each run", "each sample", "never")
DUPLICATE_SPREADS = ("equal over classes", "in proportion")


@dataclass(frozen=True, slots=True)
class ControlRules:
    """How often, where and where not. Every field is a setting of the yard.

    standard_rate, blank_rate, duplicate_rate: fractions of all tickets; 0 switches the rate off.
    duplicate_shares: (type, fraction of the duplicates) pairs that add up to one.
    duplicate_follows: "straight after" gives the duplicate the next ticket, because both bags are filled from one piece
        while it lies on the saw; "later in rack" draws a later place of the same rack.
    duplicate_spread: "equal over classes" asks as many pairs of every grade class in the hole; "in proportion" follows
        the samples.
    rack_size: places of one laboratory rack, all tickets counted.
    standard_in_every_rack, blank_in_every_rack: the rack is judged by its own controls.
    min_rack_for_controls: a part rack with fewer samples gets no control just for the rack's sake; it is reported.
    blank_after_high: behind the last of an unbroken run of high samples, behind each of them, or never.
    standard_near_factor: standards may be drawn whose distance from the grade around (as a ratio) is at most this many
        times the nearest one's.
    standard_any_share: fraction of the standards drawn from the least used code whatever the ground, so that each grade
        band is watched.
    neighbour_samples: samples looked at on either side of a standard for the expected grade around it.
    """

    standard_rate: float = 0.05
    blank_rate: float = 1 / 30
    duplicate_rate: float = 0.05
    duplicate_shares: tuple[tuple[str, float], ...] = (("quarter/quarter", 1.0),)
    duplicate_follows: str = "straight after"
    duplicate_spread: str = "equal over classes"
    rack_size: int = 50
    standard_in_every_rack: bool = True
    blank_in_every_rack: bool = True
    min_rack_for_controls: int = 2
    blank_after_high: str = "each run"
    standard_near_factor: float = 2.0
    standard_any_share: float = 0.25
    neighbour_samples: int = 5
    allow_adjacent: bool = False
    allow_first_of_rack: bool = False

    def __post_init__(self) -> None:
        for name in ("standard_rate", "blank_rate", "duplicate_rate"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 0 <= value <= 0.25):
                raise ImpossibleValue(
                    f"{name} is {value}, not a fraction of the tickets from 0 to 0.25",
                    where="control rules",
                    remedy="Write one in 20 as 0.05",
                )
        if sum((self.standard_rate, self.blank_rate, self.duplicate_rate)) > 0.4:
            raise ImpossibleValue(
                "the three rates together ask for more than 0.4 of all tickets",
                where="control rules",
                remedy="Lower a rate: controls must not crowd out the samples",
            )
        self._check_choices()
        self._check_counts()

    def _check_choices(self) -> None:
        for name, allowed in (
            ("duplicate_follows", DUPLICATE_PLACES),
            ("duplicate_spread", DUPLICATE_SPREADS),
            ("blank_after_high", BLANK_AFTER_HIGH),
        ):
            if getattr(self, name) not in allowed:
                raise ImpossibleValue(
                    f"{name} is {getattr(self, name)!r}",
                    where="control rules",
                    remedy="Use one of: " + ", ".join(allowed),
                )
        names = [name for name, _ in self.duplicate_shares]
        shares = [share for _, share in self.duplicate_shares]
        if len(set(names)) != len(names) or any(name not in DUPLICATE_TYPES for name in names):
            raise ImpossibleValue(
                f"duplicate types are {names}",
                where="control rules",
                remedy="Name each at most once out of: " + ", ".join(DUPLICATE_TYPES),
            )
        if self.duplicate_rate and not (
            all(math.isfinite(share) and share >= 0 for share in shares)
            and math.isclose(sum(shares), 1.0, abs_tol=1e-9)
        ):
            raise ImpossibleValue(
                f"duplicate shares are {shares}, not fractions that add up to one",
                where="control rules",
                remedy="Give each duplicate type its share of the duplicates",
            )

    def _check_counts(self) -> None:
        if self.rack_size < 4:
            raise ImpossibleValue(
                f"a rack of {self.rack_size} places cannot hold a standard and a blank, each behind a sample",
                where="control rules",
                remedy="Set rack_size to 4 or more",
            )
        if self.min_rack_for_controls < 1 or self.neighbour_samples < 1:
            raise ImpossibleValue(
                "min_rack_for_controls and neighbour_samples count samples and start at 1", where="control rules"
            )
        if not (math.isfinite(self.standard_near_factor) and self.standard_near_factor >= 1):
            raise ImpossibleValue(
                f"standard_near_factor is {self.standard_near_factor}",
                where="control rules",
                remedy="A ratio of 1 (always the nearest) or more",
            )
        if not 0 <= self.standard_any_share <= 1:
            raise ImpossibleValue(
                f"standard_any_share is {self.standard_any_share}, not a fraction of one", where="control rules"
            )


@dataclass(frozen=True, slots=True)
class StandardStock:
    """A reference material on the shelf. The grade is in the unit of the samples' expected grade."""

    code: str
    expected_grade: float
    sachets: int

    def __post_init__(self) -> None:
        if not (math.isfinite(self.expected_grade) and self.expected_grade >= 0):
            raise ImpossibleValue(f"expected grade is {self.expected_grade}", where=f"standard {self.code}")
        if self.sachets < 0:
            raise ImpossibleValue(
                f"stock is {self.sachets} sachets", where=f"standard {self.code}", remedy="Count the shelf again"
            )


@dataclass(frozen=True, slots=True)
class BlankStock:
    """Barren material on the shelf, in ready bags."""

    code: str
    bags: int

    def __post_init__(self) -> None:
        if self.bags < 0:
            raise ImpossibleValue(
                f"stock is {self.bags} bags", where=f"blank {self.code}", remedy="Count the shelf again"
            )


REASONS: Mapping[str, str] = MappingProxyType(
    {
        "blank after high run": "Blank straight after sample {sample}, marked high or visible metal ({run} in a row)",
        "blank after rack top": "Blank straight after sample {sample}: highest expected grade ({grade}) in rack {rack}",
        "blank by rate": "Blank by rate, one in {one_in} tickets: place drawn by chance, none was due from the grades",
        "blank to shift": "Extra blank: keeps the blank behind a high sample off the first ticket of rack {next_rack}",
        "standard by rate": "Standard by rate, one in {one_in} tickets: place drawn by chance{choice}",
        "standard for rack": "Standard because rack {rack} had none: place drawn by chance{choice}",
        "standard to shift": "Extra standard: keeps the blank behind a high sample off the first ticket of "
        "rack {next_rack}{choice}",
        "duplicate by rate": "Duplicate ({type}) of sample {sample}, grade class {grade_class}: one in {one_in} "
        "tickets, drawn so that the grade classes are covered",
        "duplicate set back": "Duplicate ({type}) of sample {sample}, grade class {grade_class}: "
        "set back because the ticket straight after the sample was not free",
        "duplicate later": "Duplicate ({type}) of sample {sample}, grade class {grade_class}: one in {one_in} tickets, "
        "at a later ticket drawn by chance",
    }
)
"""Reason codes of a control, with the sentence each stands for. Samples and racks are counted from one in sentences."""


@dataclass(frozen=True, slots=True)
class ControlRow:
    """One ticket of the sequence. A sample has no reason; a control names one with its numbers."""

    kind: str  # "sample", "standard", "blank" or "duplicate"
    sample_index: int | None  # the sample itself, or the sample a duplicate pairs with
    after_sample: int  # the sample that came last before this ticket (-1: none)
    rack: int  # 0 is the rack that was open when the hole began
    rack_place: int  # 0 is the first ticket of the rack
    material: str | None = None
    duplicate_type: str | None = None
    reason: str = ""
    evidence: Mapping[str, object] = field(default_factory=dict)

    @property
    def words(self) -> str:
        """The reason as a sentence."""
        return REASONS[self.reason].format(**self.evidence) + "." if self.reason else ""


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A rule that could not be kept: how much it wanted, how much it got, and why."""

    rule: str
    wanted: int
    placed: int
    words: str
    rack: int | None = None


@dataclass(frozen=True, slots=True)
class ControlPlan:
    """The whole ticket sequence of a hole, what could not be kept, and how the last rack stands."""

    rows: tuple[ControlRow, ...]
    shortfalls: tuple[Shortfall, ...]
    seed: int
    standards_used: Mapping[str, int]
    blanks_used: Mapping[str, int]
    next_rack_phase: int  # hand these three to the next hole that goes into the same rack
    rack_has_standard: bool
    rack_has_blank: bool

    @property
    def is_control(self) -> np.ndarray:
        """True at each ticket that is not an ordinary sample."""
        return np.array([row.kind != "sample" for row in self.rows], dtype=bool)

    def is_kind(self, kind: str) -> np.ndarray:
        """True at each ticket of one kind."""
        return np.array([row.kind == kind for row in self.rows], dtype=bool)


def one_in(rate: float) -> int:
    """Tickets per control of a rate; 0 when the rate is off. Rounded down, so a rate is met rather than missed."""
    return math.floor(1 / rate + 1e-9) if rate else 0


def longest_gap(rate: float) -> int:
    """Most tickets from one control of a kind to the next: one in each block of n, so never more than 2 n - 1."""
    return 2 * one_in(rate) - 1 if rate else 0
