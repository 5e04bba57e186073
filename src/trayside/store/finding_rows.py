"""Findings as the last check left them, filed under a hole or under the yard."""

from __future__ import annotations

import json
from collections.abc import Iterable

from sqlalchemy import Connection, delete, select

from trayside.errors import ImpossibleValue
from trayside.model.finding import Finding

from .bulk import insert_rows
from .schema import FINDINGS

YARD = ""
COLUMNS = ("code", "severity", "message", "remedy", "hole_id", "from_mm", "to_mm", "run", "tray", "number", "evidence")


def replace_findings(connection: Connection, hole_id: str | None, findings: Iterable[Finding]) -> set[str]:
    """Put these in the place of the findings of one check, and return the holes whose counts may have changed.

    None is the check of the yard as a whole; its findings may still each point at a hole.
    """
    findings = tuple(findings)
    filed_under = YARD if hole_id is None else hole_id
    if hole_id is not None:
        for finding in findings:
            if finding.hole_id != hole_id:
                raise ImpossibleValue(
                    f"a finding of {finding.hole_id or 'the yard'} among those of {hole_id}", where=finding.code
                )
    before = connection.execute(
        select(FINDINGS.c.hole_id).where(FINDINGS.c.filed_under == filed_under).distinct()
    ).scalars()
    touched = {hole for hole in before if hole is not None}
    connection.execute(delete(FINDINGS).where(FINDINGS.c.filed_under == filed_under))
    rows = [(filed_under, order, *_stored(finding)) for order, finding in enumerate(findings)]
    insert_rows(connection, FINDINGS, ("filed_under", "row_order", *COLUMNS), rows)
    return touched | {finding.hole_id for finding in findings if finding.hole_id is not None}


def file_with_hole(connection: Connection, findings: Iterable[Finding]) -> set[str]:
    """Add findings to those of their holes before all others; a hole that holds one of that code already keeps it."""
    findings = tuple(findings)
    codes = {finding.code for finding in findings}
    held = set(
        connection.execute(select(FINDINGS.c.filed_under, FINDINGS.c.code).where(FINDINGS.c.code.in_(codes))).all()
    )
    fresh = [finding for finding in findings if (finding.hole_id, finding.code) not in held]
    first = {code: -1 - place for place, code in enumerate(sorted(codes))}
    rows = [(finding.hole_id, first[finding.code], *_stored(finding)) for finding in fresh]
    insert_rows(connection, FINDINGS, ("filed_under", "row_order", *COLUMNS), rows)
    return {finding.hole_id for finding in fresh}


def yard_findings(connection: Connection) -> tuple[Finding, ...]:
    """Those of the yard's own check that point at no hole."""
    wanted = (
        select(*(FINDINGS.c[name] for name in COLUMNS))
        .where(FINDINGS.c.filed_under == YARD, FINDINGS.c.hole_id.is_(None))
        .order_by(FINDINGS.c.row_order)
    )
    return tuple(Finding(*row[:-1], evidence=json.loads(row[-1])) for row in connection.execute(wanted))


def findings(connection: Connection, hole_id: str | None = None) -> tuple[Finding, ...]:
    """Those of one hole, whichever check made them, or with None all of the yard; the yard's own come first."""
    wanted = select(*(FINDINGS.c[name] for name in COLUMNS)).order_by(FINDINGS.c.filed_under, FINDINGS.c.row_order)
    if hole_id is not None:
        wanted = wanted.where(FINDINGS.c.hole_id == hole_id)
    return tuple(Finding(*row[:-1], evidence=json.loads(row[-1])) for row in connection.execute(wanted))


def _stored(finding: Finding) -> tuple:
    values = (getattr(finding, name) for name in COLUMNS[:-1])
    return (*values, json.dumps(finding.evidence, ensure_ascii=False))
