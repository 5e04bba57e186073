"""Invented campaigns as frames: what a laboratory reported, what stood behind the numbers, what the controls should read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from trayside.app.assay_ports import RESULT_COLUMNS
from trayside.app.judge_ground import CERTIFIED_COLUMNS, NUMBER_COLUMNS

ELEMENTS = ("Au", "Cu", "As")
LIMITS = {"Au": 0.005, "Cu": 1.0, "As": 1.0}
STANDARDS = {
    "S-LOW": {"Au": (0.34, 0.012), "Cu": (120.0, 4.0), "As": (60.0, 2.5)},
    "S-MID": {"Au": (1.52, 0.05), "Cu": (480.0, 14.0), "As": (210.0, 8.0)},
    "S-HIGH": {"Au": (7.80, 0.24), "Cu": (1500.0, 40.0), "As": (900.0, 30.0)},
}
BLANK = "B-1"
BLANK_LIMIT = {"Au": 0.025, "Cu": 20.0, "As": 10.0}
BLANK_CONTENT = {"Au": 0.002, "Cu": 4.0, "As": 1.5}


def certified(elements=ELEMENTS) -> pl.DataFrame:
    rows = [
        (name, element, mean, sd, 2 * sd / 6, 2.0, 12, None, False)
        for name, card in STANDARDS.items()
        for element, (mean, sd) in card.items()
        if element in elements
    ]
    rows += [(BLANK, element, None, None, None, 2.0, None, BLANK_LIMIT[element], True) for element in elements]
    return pl.DataFrame(rows, schema=CERTIFIED_COLUMNS, orient="row")


@dataclass
class Campaign:
    """Batches of 40 lines in ticket order: a standard at every 10th, a blank at every 15th, a pair at every 12th place.

    `change` may alter the contents of a line: it is given batch, place, number, role and the contents by element.
    """

    batches: int = 6
    lines: int = 40
    seed: int = 7
    elements: tuple[str, ...] = ELEMENTS
    laboratory: str = "Demo laboratory A"
    pair_kind: str = "half/half"
    pair_log_sd: float = 0.12
    standard_sd: float = 0.7
    change: Callable[[int, int, str, str, dict[str, float]], dict[str, float]] | None = None
    materials: dict[str, str] = field(default_factory=dict)

    def role(self, place: int) -> str:
        if place % 10 == 5:
            return "standard"
        if place % 15 == 8:
            return "blank"
        if place % 12 == 3:
            return "duplicate"
        return "sample"

    def frames(self) -> tuple[pl.DataFrame, pl.DataFrame]:
        chance = np.random.default_rng(self.seed)
        names = list(STANDARDS)
        results, numbers, shown = [], [], 0
        for batch in range(self.batches):
            before: dict[str, float] = {}
            last_core = None
            for place in range(1, self.lines + 1):
                number = f"{100_000 + batch * 1000 + place}"
                role = self.role(place)
                material = None
                if role == "standard":
                    material = names[shown % len(names)]
                    shown += 1
                    contents = {
                        element: STANDARDS[material][element][0]
                        + self.standard_sd * STANDARDS[material][element][1] * chance.standard_normal()
                        for element in self.elements
                    }
                elif role == "blank":
                    material = BLANK
                    contents = {
                        element: abs(BLANK_CONTENT[element] * (1 + 0.2 * chance.standard_normal()))
                        for element in self.elements
                    }
                elif role == "duplicate" and before:
                    contents = {
                        element: value * float(np.exp(self.pair_log_sd * chance.standard_normal()))
                        for element, value in before.items()
                    }
                else:
                    role = "sample"
                    grade = float(np.exp(chance.normal(-0.5, 1.0)))
                    contents = {"Au": grade, "Cu": 80 + 60 * grade, "As": 30 + 25 * grade}
                    contents = {element: contents[element] for element in self.elements}
                if self.change is not None:
                    contents = self.change(batch, place, number, role, dict(contents))
                numbers.append(
                    self._number(number, role, material, last_core if role == "duplicate" else None, batch, place)
                )
                for column, element in enumerate(self.elements, start=1):
                    results.append(self._result(batch, place, number, column, element, contents[element]))
                if role == "sample":
                    before, last_core = contents, number
        return (
            pl.DataFrame(results, schema=RESULT_COLUMNS, orient="row"),
            pl.DataFrame(numbers, schema=NUMBER_COLUMNS, orient="row"),
        )

    def certificate(self, batch: int) -> str:
        return f"cert-{self.laboratory[-1]}-{batch:03d}"

    def _result(self, batch, place, number, column, element, value) -> tuple:
        limit = LIMITS[element]
        censor = "lt" if value < limit else "none"
        value = limit if censor == "lt" else float(f"{value:.4g}")
        text = f"<{limit}" if censor == "lt" else f"{value}"
        return (
            self.certificate(batch), self.laboratory, f"2031-03-{batch % 28 + 1:02d}T08:00:00.000000+00:00", place, number,
            "sample", f"rack {(place - 1) // 20 + 1}", column, element, "M", "[ppm]", text, value, value, censor, limit,
            None, True,
        )  # fmt: skip

    def _number(self, number, role, material, pair_of, batch, place) -> tuple:
        core = role in ("sample", "duplicate")
        kind = "coarse blank" if role == "blank" else "standard" if role == "standard" else None
        return (
            number, role, self.materials.get(number, material), kind, "L1" if kind else None, pair_of,
            self.pair_kind if pair_of else None, f"TS-{batch:02d}", place, place * 1000 if core else None,
            place * 1000 + 1000 if core else None, 1000 if core else None, "GRD" if core else None,
            "medium" if core else None, 1.5 if core else None, 2.4 if core else 0.06, True, 2.4 if core else None,
            0.05 if core else None, None,
        )  # fmt: skip
