"""Contents as people read them: grams a tonne for precious metals, percent from one percent on, else ppm."""

from __future__ import annotations

PRECIOUS = ("Au", "Ag", "Pt", "Pd", "Rh", "Ir", "Ru", "Os")
PPM_OF_PERCENT = 10_000.0


def unit_word(element: str) -> str:
    """The unit of a chart's axis."""
    return "g/t" if element in PRECIOUS else "ppm"


def content(ppm: float | None, element: str) -> str:
    """'1.52 g/t', '340 ppm', '2.31 %'; a dash where there is none."""
    if ppm is None or ppm != ppm:
        return "–"
    if element not in PRECIOUS and abs(ppm) >= PPM_OF_PERCENT:
        return f"{_digits(ppm / PPM_OF_PERCENT)} %"
    return f"{_digits(ppm)} {unit_word(element)}"


def _digits(value: float) -> str:
    """Three figures, at most four decimals; never in powers of ten."""
    size = abs(value)
    decimals = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 1 else 3 if size >= 0.1 else 4
    return f"{value:.{decimals}f}"
