"""Invented results for the bags of the demo's first load, with planted faults; the same seed gives the same numbers.

Planted, and to be found:
    carry-over    a blank after a vein of 90 g/t holds 0.6 % of it
    exchange      two standards carry each other's number
    unit          the re-issue of the second certificate names % where the first said ppm, with the same numbers
    extra         one number that was never sent, its digits turned round; the number that was sent is missing
    drift         STD-B climbs from certificate to certificate
    halves        30 second halves that read low by chance: too few to conclude anything
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from .stock import CERTIFIED

SEED = 90_117
ELEMENTS = ("Au", "Ag", "As", "Cu")
CLASS_MEAN_AU = {"barren": 0.012, "low": 0.3, "medium": 1.5, "high": 8.0, "visible": 24.0}
GRADE_LOG_SD = 0.45
HALF_LOG_SD = 0.24
"""Scatter of the logarithm of gold between two halves of the same core, each half about the core's own content."""
CHANCE_LOW = -0.11
"""Mean of ln(second half / first half) over the 30 pairs; their true mean is zero."""
ANALYSIS_CV = {"Au": 0.035, "Ag": 0.05, "As": 0.04, "Cu": 0.03}
STANDARD_SCATTER = 0.55
"""Scatter of a standard as a share of the scatter its certificate allows."""
VEIN_AU, CARRIED = 90.0, 0.006
DRIFT_SDS = 3.2
BLANK = {"Au": 0.002, "Ag": 0.12, "As": 3.0, "Cu": 12.0}


@dataclass(frozen=True, slots=True)
class Bag:
    """What the generator knows of a bag: who it is and what the plan says of it."""

    number: str
    kind: str
    hole_id: str
    material: str | None
    grade_class: str | None
    duplicate_of: str | None
    mass_kg: float


@dataclass
class Planted:
    """Which numbers carry which fault; goes into expected-verdicts.json."""

    vein: str = ""
    carried: str = ""
    exchanged: tuple[str, str] = ("", "")
    missing: str = ""
    extra: str = ""
    drifting: str = "STD-B"
    pairs: int = 0
    second_halves_low: float = 0.0
    contents: dict[str, dict[str, float]] = field(default_factory=dict, repr=False)


def contents(bags: Sequence[Bag], *, middle: int) -> Planted:
    """The content of every bag, ppm, in the order of the list. The exchange is planted after place `middle`."""
    rng = np.random.default_rng(SEED)
    planted = Planted()
    _plant_vein(bags, planted, limit=middle)
    true = {bag.number: _core(bag, planted, rng) for bag in bags if bag.kind == "sample"}
    _second_halves(bags, true, planted, rng)
    climbing = [bag.number for bag in bags if bag.material == planted.drifting]
    for place, bag in enumerate(bags):
        if bag.kind == "standard":
            true[bag.number] = _standard(bag, climbing, planted, rng)
        elif bag.kind == "blank":
            true[bag.number] = _blank(bags[place - 1], true, rng)
            if bag.number == planted.carried:
                true[bag.number]["Au"] = BLANK["Au"] + CARRIED * VEIN_AU
    planted.exchanged = _exchange(bags[middle:], true)
    planted.missing, planted.extra = _misread(bags[:middle], {bag.number for bag in bags})
    planted.contents = true
    return planted


def _plant_vein(bags: Sequence[Bag], planted: Planted, *, limit: int) -> None:
    """The first sample with visible metal that is straight before a blank."""
    for one, other in itertools.pairwise(bags[:limit]):
        if one.kind == "sample" and one.grade_class == "visible" and other.kind == "blank":
            planted.vein, planted.carried = one.number, other.number
            return
    raise LookupError("no blank follows a sample with visible metal")


def _core(bag: Bag, planted: Planted, rng: np.random.Generator) -> dict[str, float]:
    mean = CLASS_MEAN_AU[bag.grade_class]
    au = mean * float(np.exp(rng.normal(-(GRADE_LOG_SD**2) / 2, GRADE_LOG_SD)))
    if bag.number == planted.vein:
        au = VEIN_AU
    elif bag.grade_class == "visible":
        au = min(au, 0.5 * VEIN_AU)
    as_ppm = 70 * au**0.35 * float(np.exp(rng.normal(0, 0.3))) + 12
    ag_ppm = 0.45 * au**0.5 * float(np.exp(rng.normal(0, 0.25))) + 0.12
    return {"Au": au, "Ag": ag_ppm, "As": as_ppm, "Cu": 62 * float(np.exp(rng.normal(0, 0.35)))}


def _second_halves(bags, true, planted: Planted, rng: np.random.Generator) -> None:
    """Both halves scatter about the core; the drawn scatter is moved so that the second reads low by CHANCE_LOW."""
    twins = [(bag.duplicate_of, bag.number) for bag in bags if bag.kind == "duplicate"]
    ratios = rng.normal(0, HALF_LOG_SD * np.sqrt(2), len(twins))
    ratios += CHANCE_LOW - ratios.mean()
    for (first, second), ratio in zip(twins, ratios, strict=True):
        true[second] = {
            name: value * float(np.exp(rng.normal(0, 0.08))) for name, value in true[first].items() if name != "Au"
        }
        true[second]["Au"] = true[first]["Au"] * float(np.exp(ratio))
    planted.pairs, planted.second_halves_low = len(twins), round(float(ratios.mean()), 4)


def _standard(bag: Bag, climbing: list[str], planted: Planted, rng: np.random.Generator) -> dict[str, float]:
    found = {}
    for element, (content, sd, _) in CERTIFIED[bag.material].items():
        score = float(np.clip(rng.normal(0, STANDARD_SCATTER), -1.3, 1.3))
        if bag.number in climbing and element == "Au":
            score = 0.5 * score + DRIFT_SDS * (climbing.index(bag.number) / (len(climbing) - 1)) ** 1.2
        found[element] = content + score * sd
    return found


def _blank(before: Bag, true, rng: np.random.Generator) -> dict[str, float]:
    found = {name: value * float(np.exp(rng.normal(0, 0.2))) for name, value in BLANK.items()}
    if before.number in true:
        found["Au"] += 0.0002 * true[before.number]["Au"]
    return found


def _exchange(bags: Sequence[Bag], true) -> tuple[str, str]:
    """The nearest two standards of different materials, neither of them the drifting one, change places."""
    standards = [(place, bag) for place, bag in enumerate(bags) if bag.kind == "standard" and bag.material != "STD-B"]
    near = min(
        ((b[0] - a[0], a[1], b[1]) for a in standards for b in standards if b[0] > a[0] and a[1].material != b[1].material),
        key=lambda found: found[0],
    )
    one, other = near[1].number, near[2].number
    true[one], true[other] = true[other], true[one]
    return one, other


def _misread(bags: Sequence[Bag], numbers: set[str]) -> tuple[str, str]:
    """A sample whose number with two digits turned round is nobody's."""
    paired = {bag.duplicate_of for bag in bags}
    for bag in bags[20:]:
        turned = bag.number[:2] + bag.number[3] + bag.number[2] + bag.number[4:]
        plain = bag.kind == "sample" and bag.grade_class in ("low", "barren") and bag.number not in paired
        if plain and turned != bag.number and turned not in numbers:
            return bag.number, turned
    raise LookupError("every number with turned digits is taken")


def analysed(true_ppm: float, element: str, rng: np.random.Generator, *, exact: bool) -> float:
    """One analysis; standards bring their scatter with them."""
    return true_ppm if exact else true_ppm * float(np.exp(rng.normal(0, ANALYSIS_CV[element])))
