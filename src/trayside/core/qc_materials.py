"""Which standard, which blank and which kind of duplicate goes to a drawn place, and the numbers behind the reason."""

import math
from collections import Counter

import numpy as np

from trayside.core.qc_rules import BlankStock, ControlRow, ControlRules, StandardStock, one_in
from trayside.core.qc_sequence import Ticket


class _StandardShelf:
    """Draws a standard for a place: near the grade around it and little used; never more sachets than there are."""

    def __init__(self, standards: tuple[StandardStock, ...], rules: ControlRules, rng: np.random.Generator) -> None:
        self.standards, self.rules, self.rng = standards, rules, rng
        self.left = [stock.sachets for stock in standards]
        self.times = [0] * len(standards)
        positive = [stock.expected_grade for stock in standards if stock.expected_grade > 0]
        floor = min(positive) / 10 if positive else 1.0
        self.floor = floor
        self.logs = [math.log(stock.expected_grade + floor) for stock in standards]

    def take(self, around: float) -> tuple[str, str]:
        """The code taken and the end of its sentence."""
        on_hand = [k for k, left in enumerate(self.left) if left > 0]
        for_any_band = self.rng.random() < self.rules.standard_any_share
        if math.isnan(around) or for_any_band:
            near = on_hand
            why = "no grade is expected around it" if math.isnan(around) else "so that every grade band is watched"
        else:
            distance = {k: abs(self.logs[k] - math.log(around + self.floor)) for k in on_hand}
            limit = min(distance.values()) + math.log(self.rules.standard_near_factor)
            near = [k for k in on_hand if distance[k] <= limit + 1e-12]
            why = f"near the {around:.3g} expected around it"
        least = min(self.times[k] for k in near)
        # The least used are favoured, not certain: a strict rota could be read off.
        weights = np.array([0.5 ** min(self.times[k] - least, 20) for k in near])
        if for_any_band:
            weights = np.array([float(self.times[k] == least) for k in near])
        pick = near[int(self.rng.choice(len(near), p=weights / weights.sum()))]
        self.left[pick] -= 1
        self.times[pick] += 1
        stock = self.standards[pick]
        return stock.code, f"; {stock.code} ({stock.expected_grade:g}), {why}"


class _BlankShelf:
    def __init__(self, blanks: tuple[BlankStock, ...], rng: np.random.Generator) -> None:
        self.blanks, self.rng = blanks, rng
        self.left = [stock.bags for stock in blanks]

    def take(self) -> str:
        on_hand = [k for k, left in enumerate(self.left) if left > 0]
        pick = on_hand[int(self.rng.integers(len(on_hand)))]
        self.left[pick] -= 1
        return self.blanks[pick].code


class _DuplicateTypes:
    """Deals duplicate types by their shares, spread over the grade classes, order left to chance among equals."""

    def __init__(self, rules: ControlRules, rng: np.random.Generator) -> None:
        self.shares = [(name, share) for name, share in rules.duplicate_shares if share > 0]
        self.rng = rng
        self.all: Counter[str] = Counter()
        self.by_class: Counter[tuple[str, int]] = Counter()
        self.class_totals: Counter[int] = Counter()

    def take(self, grade_class: int) -> str:
        total, in_class = sum(self.all.values()) + 1, self.class_totals[grade_class] + 1
        draws = self.rng.random(len(self.shares))
        behind = [
            (
                share * total
                - self.all[name]
                + 0.5 * (share * in_class - self.by_class[name, grade_class])
                + 0.25 * draw,
                name,
            )
            for (name, share), draw in zip(self.shares, draws, strict=True)
        ]
        chosen = max(behind)[1]
        self.all[chosen] += 1
        self.by_class[chosen, grade_class] += 1
        self.class_totals[grade_class] += 1
        return chosen


def with_materials(
    tickets: list[Ticket],
    grade: np.ndarray,
    classes: np.ndarray,
    high: np.ndarray,
    rank: np.ndarray,
    rules: ControlRules,
    standards: tuple[StandardStock, ...],
    blanks: tuple[BlankStock, ...],
    rng: np.random.Generator,
) -> tuple[ControlRow, ...]:
    """The tickets with material, duplicate type and the numbers behind each reason."""
    standard_shelf, blank_shelf, types = (
        _StandardShelf(standards, rules, rng),
        _BlankShelf(blanks, rng),
        _DuplicateTypes(rules, rng),
    )
    rows = []
    for ticket in tickets:
        kind, sample, after, rack, place, reason = ticket
        if kind == "sample":
            rows.append(ControlRow(kind, sample, after, rack, place))
            continue
        evidence: dict[str, object] = {"rack": rack + 1, "next_rack": rack + 2}
        material = duplicate_type = None
        if kind == "standard":
            material, evidence["choice"] = standard_shelf.take(_grade_around(grade, after, rules.neighbour_samples))
            evidence["one_in"] = one_in(rules.standard_rate)
        elif kind == "blank":
            material = blank_shelf.take()
            evidence["one_in"] = one_in(rules.blank_rate)
            if after >= 0:
                evidence |= {"sample": after + 1, "grade": _spoken(grade[after]), "run": _run_length(high, after)}
        else:
            duplicate_type = types.take(int(classes[sample]))
            evidence |= {
                "type": duplicate_type,
                "sample": sample + 1,
                "grade_class": int(classes[sample]),
                "one_in": one_in(rules.duplicate_rate),
            }
            if reason == "duplicate set back" and rules.duplicate_follows == "later in rack":
                reason = "duplicate later"
        rows.append(
            ControlRow(
                kind,
                sample if kind == "duplicate" else None,
                after,
                rack,
                place,
                material,
                duplicate_type,
                reason,
                evidence,
            )
        )
    return tuple(rows)


def _grade_around(grade: np.ndarray, after: int, reach: int) -> float:
    near = grade[max(0, after - reach + 1) : after + reach + 1]
    near = near[~np.isnan(near)]
    return float(np.median(near)) if len(near) else math.nan


def _spoken(grade: float) -> str:
    return "not given" if math.isnan(grade) else f"{grade:.3g}"


def _run_length(high: np.ndarray, last: int) -> int:
    first = last
    while first >= 0 and high[first]:
        first -= 1
    return last - first
