"""Drawing a page from its template: words, amounts in the yard's units, shapes for status."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from html import escape

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse

from trayside.app.charts.figure import slug
from trayside.app.written_amounts import depth_text, mass_text, span_text
from trayside.model.finding import SEVERITIES, Finding
from trayside.model.rules import Rules

from .addresses import element_address, hole_address, sample_address, yard_address
from .visitor import VISITOR
from .words import counted, say

SEVERITY_SHAPES = {"stop": "■", "warn": "▲", "note": "●"}
STATION_SHAPES = {"to settle": "■", "to plan": "□", "to issue": "▲", "to cut": "●"}
PROGRAM = "Trayside"
POSTING_FORM = re.compile(r"<form\b[^>]*\bmethod=\"post\"[^>]*>", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Amounts:
    """Depths and masses as this yard writes them."""

    unit: str
    mass_unit: str

    def depth(self, depth_mm: int) -> str:
        return depth_text(depth_mm, unit=self.unit)

    def depth_with_unit(self, depth_mm: int) -> str:
        return f"{self.depth(depth_mm)} {self.unit}"

    def span(self, from_mm: int, to_mm: int) -> str:
        return span_text(from_mm, to_mm, unit=self.unit)

    def mass(self, mass_kg: float) -> str:
        return mass_text(mass_kg, unit=self.mass_unit)


def amounts_of(rules: Rules) -> Amounts:
    return Amounts(rules.paper.length_unit, rules.paper.mass_unit)


def gravest_first(findings: Iterable[Finding]) -> list[Finding]:
    return sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))


def time_text(moment: datetime) -> str:
    return f"{moment:%Y-%m-%d %H:%M} {moment.tzname() or ''}".strip()


def rounded(value: float) -> str:
    """Two figures: enough for an estimate."""
    return f"{value:.2g}" if abs(value) < 10 else f"{value:.0f}"


def percent(fraction: float | None) -> str:
    return "–" if fraction is None else f"{100 * fraction:.0f}"


def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("trayside.web"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        say=say,
        counted=counted,
        element_address=element_address,
        slug=slug,
        hole_address=hole_address,
        sample_address=sample_address,
        yard_address=yard_address,
        severity_shapes=SEVERITY_SHAPES,
        station_shapes=STATION_SHAPES,
        program=PROGRAM,
        visitor=VISITOR.get,
    )
    environment.filters.update(percent=percent, rounded=rounded, time=time_text)
    return environment


ENVIRONMENT = _environment()


def part(template: str, **values: object) -> str:
    """A piece of a page."""
    return _with_token(ENVIRONMENT.get_template(template).render(**values))


def _with_token(html: str) -> str:
    """Every form that posts carries the token of its browser: put in here, so that no template can forget it."""
    token = VISITOR.get().form_token
    if not token:
        return html
    field = f'<input type="hidden" name="form_token" value="{escape(token)}">'
    return POSTING_FORM.sub(lambda form: form[0] + field, html)


def page(template: str, *, status: int = 200, yard: str = PROGRAM, **values: object) -> HTMLResponse:
    """A whole page; `yard` is the name in its head."""
    return HTMLResponse(part(template, yard=yard, **values), status_code=status)
