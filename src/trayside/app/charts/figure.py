"""A figure: what is drawn, in words and as rows, and the same as a table for those who do not see it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

Row = dict[str, Any]
SHOWN = 1000
"""Lines of a figure's table; what is left out is said with it."""


@dataclass(frozen=True, slots=True)
class TableLine:
    """One line of the table. `number` is the sample that it opens, '' for none."""

    cells: tuple[str, ...]
    number: str = ""


@dataclass(frozen=True, slots=True)
class FigureTable:
    """What the figure draws, as text. `left_out` counts what has no line; `which` says what the lines are."""

    columns: tuple[str, ...]
    lines: tuple[TableLine, ...]
    which: str = ""
    left_out: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """One chart. `template` is its drawing with named rows and settings, `rows` and `settings` fill it.

    `says` is the sentence read aloud and printed under it.
    """

    name: str
    title: str
    says: str
    template: Mapping[str, Any]
    rows: Mapping[str, list[Row]]
    table: FigureTable
    settings: Mapping[str, Any] = field(default_factory=dict)
    height_px: int = 240
    group: str = ""
    notes: tuple[str, ...] = ()
    """Cautions that belong beside it, one sentence each."""

    def description(self, *, width_px: int | None = None) -> Row:
        """The drawing as Vega-Lite; as wide as the page lets it without `width_px`."""
        named = [one if one["name"] not in self.settings else {**one, "value": self.settings[one["name"]]}
                 for one in self.template.get("params", [])]  # fmt: skip
        return {
            **self.template,
            "params": named,
            "description": self.says,
            "width": width_px or "container",
            "height": self.height_px,
            "datasets": dict(self.rows),
        }


def slug(*parts: str) -> str:
    """A name of a figure as it may stand in an address."""
    return re.sub(r"[^A-Za-z0-9]+", "-", " ".join(parts)).strip("-").casefold()


def figures(value: float, digits: int = 5) -> float | None:
    """A number as it is drawn: five figures, nothing where there is no number."""
    number = float(value)
    return float(f"{number:.{digits}g}") if math.isfinite(number) else None


def written(value: float | None, digits: int = 4) -> str:
    """A number as the table writes it."""
    if value is None or not math.isfinite(value):
        return "–"
    text = f"{value:.{digits}g}"
    return f"{float(text):,.0f}".replace(",", " ") if "e" in text and abs(value) >= 1 else text


def percent_written(fraction: float | None, digits: int = 2) -> str:
    """A fraction as a percentage with its sign, for a sentence."""
    return "–" if fraction is None or not math.isfinite(fraction) else f"{100 * fraction:.{digits}g} %"


def counted(number: int, thing: str) -> str:
    """'1 blank', '3 blanks'."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def first_lines(lines: Iterable[TableLine], *, total: int, columns: tuple[str, ...], which: str = "") -> FigureTable:
    """A table of at most SHOWN lines that says what it leaves out."""
    kept = []
    for line in lines:
        if len(kept) == SHOWN:
            break
        kept.append(line)
    return FigureTable(columns, tuple(kept), which, max(0, total - len(kept)))
