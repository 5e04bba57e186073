"""Contents in the unit people speak of: grams per tonne, ppm or percent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

PRECIOUS = frozenset({"Au", "Ag", "Pt", "Pd", "Rh", "Ir", "Ru", "Os"})
PERCENT_FROM_PPM = 10_000.0


@dataclass(frozen=True, slots=True)
class ContentUnit:
    """The unit and how many ppm are one of it."""

    label: str
    ppm: float

    def of(self, value_ppm: float | NDArray[np.float64]) -> float | NDArray[np.float64]:
        return value_ppm / self.ppm


def content_unit(element: str, *, typical_ppm: float) -> ContentUnit:
    """g/t for precious metals, percent from 10 000 ppm, else ppm. All three are shares of mass."""
    if element in PRECIOUS:
        return ContentUnit("g/t", 1.0)
    if typical_ppm >= PERCENT_FROM_PPM:
        return ContentUnit("%", PERCENT_FROM_PPM)
    return ContentUnit("ppm", 1.0)
