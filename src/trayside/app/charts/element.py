"""All figures of an element page, in groups: one a standard, a blank, the carry-over, one a kind of pair."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

import numpy as np

from trayside.app.charts.blanks import blank_figure, carry_over_figure
from trayside.app.charts.contents import ContentUnit, content_unit
from trayside.app.charts.figure import Figure, slug
from trayside.app.charts.pairs import pair_figures
from trayside.app.charts.standards import control_figure, cusum_figure, ewma_figure
from trayside.model.result_series import BlankSeries, CarryOverSet, ElementPage, PairSet, StandardSeries

Series = TypeVar("Series", StandardSeries, BlankSeries, CarryOverSet, PairSet)

LEAST_FOR_A_LINE = 3
GroupKind = Literal["standard", "blank", "carry-over", "pairs"]


@dataclass(frozen=True, slots=True)
class CloseLook:
    """A stretch of one series, first and last place from 1, that is drawn result by result."""

    group: str
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class FigureGroup:
    """Figures that belong together, with what is said of them. `results` counts what they are made of."""

    kind: GroupKind
    name: str
    title: str
    results: int
    sentences: tuple[str, ...]
    figures: tuple[Figure, ...]

    @property
    def anchor(self) -> str:
        return slug(self.kind, self.name)


def unit_of(page: ElementPage) -> ContentUnit:
    """The unit of a page: by its highest certified value, else its pairs."""
    typical = [one.certified_ppm for one in page.standards]
    typical += [float(np.nanmax(one.first_ppm)) for one in page.pairs if len(one.first_ppm)]
    return content_unit(page.element, typical_ppm=max(typical, default=0.0))


def element_figures(page: ElementPage, *, close: CloseLook | None = None) -> tuple[FigureGroup, ...]:
    """The groups of an element page. Carry-over in both orders is one group."""
    unit, groups = unit_of(page), []

    def window(name: str) -> tuple[int, int] | None:
        return (close.first, close.last) if close is not None and close.group == slug(name) else None

    for name, series in _named(page.standards, lambda one: one.material):
        at = window(name)
        drawn = (control_figure(series, unit, window=at),)
        if len(series.points) >= LEAST_FOR_A_LINE:
            drawn += (cusum_figure(series, window=at), ewma_figure(series, window=at))
        groups.append(_group("standard", name, f"Standard {name}", series, series.sentences, drawn, series.material))
    for name, blank in _named(page.blanks, lambda one: one.material):
        title = f"{blank.kind[:1].upper()}{blank.kind[1:]} {name}"
        drawn_blank = (blank_figure(blank, unit, window=window(name)),)
        groups.append(_group("blank", name, title, blank, blank.sentences, drawn_blank, blank.material))
    if page.carry_over:
        sentences = tuple(dict.fromkeys(sentence for one in page.carry_over for sentence in one.sentences))
        drawn_carry = tuple(
            replace(carry_over_figure(one, unit), name=slug("carry-over", name))
            for name, one in _named(page.carry_over, lambda one: one.order)
        )
        most = max(len(one.points) for one in page.carry_over)
        groups.append(FigureGroup("carry-over", "carry-over", "Carry-over", most, sentences, drawn_carry))
    for name, pairs in _named(page.pairs, lambda one: one.kind):
        drawn_pairs = pair_figures(pairs, unit)
        groups.append(_group("pairs", name, f"Pairs {name}", pairs, pairs.sentences, drawn_pairs, pairs.kind))
    return tuple(groups)


def _named(held: tuple[Series, ...], name_of: Callable[[Series], str]) -> list[tuple[str, Series]]:
    """Each with a name of its own: with its laboratory, or a number, where another has the same."""
    found: list[tuple[str, Series]] = []
    times = Counter(name_of(one) for one in held)
    for one in held:
        name = name_of(one)
        if times[name] > 1:
            name += f", {one.points.laboratory[0]}" if one.points.laboratory else ""
            taken = sum(other == name or other.startswith(f"{name} (") for other, _ in found)
            name += f" ({taken + 1})" if taken else ""
        found.append((name, one))
    return found


def _group(
    kind: GroupKind,
    name: str,
    title: str,
    series: Series,
    sentences: tuple[str, ...],
    drawn: tuple[Figure, ...],
    plain: str,
) -> FigureGroup:
    """A group whose figures carry its name where that is more than the `plain` one."""
    if name != plain:
        drawn = tuple(replace(one, name=one.name.removesuffix(slug(plain)) + slug(name)) for one in drawn)
    return FigureGroup(kind, name, title, len(series.points), sentences, drawn)
