"""One element over all batches that count: its series, judged once and kept until anything they depend on changes."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from threading import Lock
from typing import Any, TypeVar

import polars

from trayside.app.blank_series import blank_series, carry_over_sets
from trayside.app.charts.element import CloseLook, FigureGroup, element_figures
from trayside.app.charts.figure import Figure
from trayside.app.judge_batch import judge_yard
from trayside.app.judge_results import Judged
from trayside.app.pair_sets import pair_sets
from trayside.app.ports import StartWork
from trayside.app.standard_series import standard_series
from trayside.app.variance_shares import variance_shares
from trayside.errors import NotFound
from trayside.model.assay import Certificate
from trayside.model.result_series import CarryOverSet, ElementPage, PairSet
from trayside.model.rules import Rules

KEPT = 24
Held = TypeVar("Held", CarryOverSet, PairSet)


@dataclass(frozen=True, slots=True)
class ElementChoice:
    """Which results a page is about; dates as YYYY-MM-DD, both days included, None for no bound."""

    element: str
    laboratory: str | None = None
    since: str | None = None
    until: str | None = None

    def holds(self, certificate: Certificate) -> bool:
        day = certificate.reported_at.date().isoformat()
        return (
            (self.laboratory is None or certificate.laboratory == self.laboratory)
            and (self.since is None or day >= self.since)
            and (self.until is None or day <= self.until)
            and any(analyte.element == self.element for analyte in certificate.analytes)
        )


@dataclass(frozen=True, slots=True)
class ElementView:
    """What an element page shows. `batches` are the certificates chosen, newest first."""

    rules: Rules
    choice: ElementChoice
    page: ElementPage
    groups: tuple[FigureGroup, ...]
    batches: tuple[Certificate, ...]
    laboratories: tuple[str, ...]

    def figure(self, name: str) -> Figure:
        """The figure of that name; NotFound when this choice has none."""
        for group in self.groups:
            for figure in group.figures:
                if figure.name == name:
                    return figure
        raise NotFound("there is no such chart", where=name[:60], remedy="Open the page of the element again")


class ElementShelf:
    """Judged series of the last few choices. What was kept under another stamp is never given out."""

    def __init__(self, most: int = KEPT) -> None:
        self._most, self._lock = most, Lock()
        self._held: OrderedDict[object, tuple[str, Any]] = OrderedDict()

    def get(self, key: object, *, stamp: str, make: Callable[[], Any]) -> Any:
        with self._lock:
            held = self._held.get(key)
            if held is not None and held[0] == stamp:
                self._held.move_to_end(key)
                return held[1]
        made = make()
        with self._lock:
            self._held[key] = (stamp, made)
            self._held.move_to_end(key)
            while len(self._held) > self._most:
                self._held.popitem(last=False)
        return made


def view_element(
    choice: ElementChoice, *, close: CloseLook | None = None, start_work: StartWork, shelf: ElementShelf
) -> ElementView:
    """The page of an element; NotFound when no certificate reports it."""
    with start_work(writing=False) as work:
        judgement = judge_yard(work)
    certificates = tuple(judgement.certificates.values())
    reporting = [one for one in certificates if any(analyte.element == choice.element for analyte in one.analytes)]
    if not reporting:
        raise NotFound(
            "no certificate reports this element",
            where=choice.element[:40],
            remedy="Choose one of the elements on the Results screen",
        )
    chosen = tuple(one for one in certificates if choice.holds(one))
    stamp = judgement.fingerprint
    page = shelf.get(choice, stamp=stamp, make=lambda: element_series(judgement.judged, choice.element, chosen))
    groups = shelf.get((choice, close), stamp=stamp, make=lambda: element_figures(page, close=close))
    return ElementView(
        rules=judgement.rules,
        choice=choice,
        page=page,
        groups=groups,
        batches=chosen,
        laboratories=tuple(sorted({one.laboratory for one in reporting})),
    )


def element_series(judged: Judged, element: str, certificates: tuple[Certificate, ...]) -> ElementPage:
    """The judged series of one element over these certificates, one a material and laboratory."""
    jobs = {one.certificate_id: one.job for one in certificates}
    settings = judged.settings

    def parts(frame: polars.DataFrame, *by: str) -> list[polars.DataFrame]:
        held = frame.filter((polars.col("element") == element) & polars.col("certificate_id").is_in(list(jobs)))
        return held.partition_by(*by, maintain_order=True) if held.height else []

    def usable(part: polars.DataFrame, *columns: str) -> bool:
        return part.filter(polars.col("reads_like").is_null(), *(polars.col(one).is_not_null() for one in columns)).height > 0

    standards = parts(judged.standards, "laboratory", "material")
    blanks = parts(judged.blanks, "laboratory", "material")
    by_laboratory = parts(judged.blanks, "laboratory")
    by_pairs = [pair_sets(part, settings=settings) for part in parts(judged.pairs, "laboratory")]
    pairs = [one for sets in by_pairs for one in sets]
    page = ElementPage(
        element,
        standards=tuple(
            standard_series(one, settings=settings, jobs=jobs) for one in standards if usable(one, "value_ppm", "z")
        ),
        blanks=tuple(blank_series(one, settings=settings, jobs=jobs) for one in blanks if usable(one, "value_ppm")),
        carry_over=tuple(
            _with_jobs(one, jobs) for part in by_laboratory for one in carry_over_sets(part, settings=settings)
        ),
        pairs=tuple(_with_jobs(one, jobs) for one in pairs if len(one.points)),
        shares=tuple(one for sets in by_pairs for one in variance_shares(sets)),
    )
    wrong = [one for one in judged.mislabelled if one.certificate_id in jobs]
    notes = (
        f"{one.number} is labelled {one.label} and reads like {one.reads_like}: it stands in no chart of a standard."
        for one in wrong
    )
    return replace(page, notes=tuple(dict.fromkeys(notes)))


def _with_jobs(held: Held, jobs: dict[str, str]) -> Held:
    """With the laboratory's job beside each point, where it is not there yet."""
    if any(held.points.job):
        return held
    return replace(held, points=replace(held.points, job=tuple(jobs.get(one, "") for one in held.points.certificate_id)))
