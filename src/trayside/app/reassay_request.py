"""What the laboratory is asked to assay again: the failed stretches of one certificate, all elements joined.

The paper and the list for the laboratory hold sample numbers alone: they never tell which number was a control.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

from trayside.app.verdict_words import prices_of
from trayside.model.rules import ResultSettings
from trayside.model.verdict import BatchSummary, ReassayLine, ReassayRequest


def reassay_request(
    batch: BatchSummary, *, places: Mapping[str, int], kg: Mapping[str, float | None], settings: ResultSettings
) -> ReassayRequest | None:
    """The request for a batch; None when no verdict that stands asks for one.

    `places` and `kg` are of the certificate's numbers. Controls of a stretch are in it as places for fresh ones.
    """
    asking = [verdict for verdict in batch.verdicts if verdict.stands == "re-assay" and verdict.stretches]
    if not asking:
        return None
    elements: dict[str, list[str]] = {}
    why: dict[str, list[str]] = {}
    controls: dict[str, None] = {}
    for verdict in asking:
        for stretch in verdict.stretches:
            controls |= dict.fromkeys(stretch.controls)
            for number in (*stretch.samples, *stretch.controls):
                elements.setdefault(number, []).append(verdict.element)
                why.setdefault(number, []).append(f"{verdict.element}: {stretch.because} ({', '.join(stretch.failed)})")
    order = sorted(elements, key=lambda number: (places.get(number, 0), number))
    lines = tuple(
        ReassayLine(
            number=number,
            place=places.get(number, 0),
            kind="control" if number in controls else "sample",
            elements=tuple(dict.fromkeys(elements[number])),
            mass_kg=None if number in controls else kg.get(number),
            why="; ".join(dict.fromkeys(why[number])),
        )
        for number in order
    )
    samples = [line for line in lines if line.kind == "sample"]
    mass_kg = sum(line.mass_kg or 0.0 for line in samples)
    return ReassayRequest(
        certificate_id=batch.certificate_id,
        laboratory=batch.laboratory,
        job=batch.job,
        elements=tuple(verdict.element for verdict in asking),
        lines=lines,
        controls=len(controls),
        mass_kg=mass_kg,
        not_weighed=sum(line.mass_kg is None for line in samples),
        cost=_cost(lines, mass_kg, settings),
        currency=settings.currency,
        because=tuple(
            reason.sentence for verdict in asking for reason in verdict.reasons if reason.weight == "fails"
        ),
        rules=asking[0].rules,
    )


def _cost(lines: tuple[ReassayLine, ...], mass_kg: float, settings: ResultSettings) -> float | None:
    """Each element of each line is a result to pay for."""
    prices = prices_of(settings)
    if prices is None:
        return None
    results = sum(len(line.elements) for line in lines)
    return prices.per_order + prices.per_result * results + prices.per_kg * mass_kg


def laboratory_lines(request: ReassayRequest) -> tuple[tuple[int, str, str], ...]:
    """Count, number, elements: what the laboratory may see. Numbers of spent controls are left out."""
    samples = [line for line in request.lines if line.kind == "sample"]
    return tuple((at, line.number, " ".join(line.elements)) for at, line in enumerate(samples, start=1))


def laboratory_csv(request: ReassayRequest) -> str:
    """The list for the laboratory."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(("laboratory", "job", "line", "number", "elements"))
    rows.writerows((request.laboratory, request.job, *line) for line in laboratory_lines(request))
    return text.getvalue()


def yard_csv(request: ReassayRequest) -> str:
    """The yard's own list, with controls, masses and reasons."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(("number", "place", "kind", "elements", "mass_kg", "why"))
    for line in request.lines:
        mass = "" if line.mass_kg is None else f"{line.mass_kg:.3f}"
        rows.writerow((line.number, line.place, line.kind, " ".join(line.elements), mass, line.why))
    return text.getvalue()
