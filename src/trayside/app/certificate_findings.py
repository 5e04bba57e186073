"""What is odd about the results of a certificate, told column by column with the numbers behind it."""

from __future__ import annotations

import polars

from trayside.app.certificate_reading import CertificateRead
from trayside.model.assay import Analyte
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found

NAMED = 5
MORE_THAN_ALL = "more than the whole sample"
BY_NOTE = (
    ("certificate.unit_alarm", (MORE_THAN_ALL,)),
    ("certificate.unit_alarm", ("check the unit", "are no range", "is no number above 0")),
    ("certificate.zero", ("zero:",)),
    ("certificate.negative", ("negative number",)),
    ("certificate.no_limit", ("no limit is stated",)),
    ("certificate.other_limit", ("limit differs",)),
)
SAID = {
    "certificate.unit_alarm": "lie outside their limits",
    "certificate.zero": "are zero",
    "certificate.negative": "are negative",
    "certificate.no_limit": "are below a limit nobody states",
    "certificate.other_limit": "are below another limit than the column's",
    "certificate.review": "cannot be read",
    "certificate.over_range": "are above range, and no other column has their amount",
    "certificate.no_sample": "were listed and not received",
    "certificate.little_sample": "had too little sample",
}


def result_findings(read: CertificateRead, *, holes: dict[str, str]) -> list[Finding]:
    """Findings on what was read; `holes` gives the hole of a number that has one."""
    flagged = read.results.filter(polars.col("censor") != "none")
    reviewed = flagged.filter(polars.col("censor") == "review").select("place", "column")
    notes = read.notes.join(reviewed, on=["place", "column"], how="anti").partition_by("column", as_dict=True)
    findings = []
    for analyte in read.analytes:
        own = notes.get((analyte.column,))
        if own is None:
            continue
        for code, parts in BY_NOTE:
            said = polars.any_horizontal([polars.col("note").str.contains(part, literal=True) for part in parts])
            whole = polars.col("note").str.contains(MORE_THAN_ALL, literal=True)
            said = said & (whole if MORE_THAN_ALL in parts else ~whole)
            findings += _told(code, own.filter(said), analyte, read, holes, more_than_all=MORE_THAN_ALL in parts)
    of_column = flagged.partition_by("column", as_dict=True)
    for analyte in read.analytes:
        own = of_column.get((analyte.column,))
        if own is None:
            continue
        for code, rows in (
            ("certificate.review", own.filter(polars.col("censor") == "review")),
            ("certificate.over_range", own.filter((polars.col("censor") == "gt") & polars.col("preferred"))),
            ("certificate.no_sample", own.filter(polars.col("censor") == "listed_not_received")),
            ("certificate.little_sample", own.filter(polars.col("censor") == "insufficient")),
        ):
            findings += _told(code, rows, analyte, read, holes)
    findings += _without_result(read)
    for note, group in read.line_notes.group_by("note", maintain_order=True):
        places = group["place"].to_list()
        lines = read.lines.filter(polars.col("place").is_in(places))["line"].head(NAMED).to_list()
        message = f"{note[0]} ({_count(len(places), 'line')}: {', '.join(map(str, lines))})"
        findings.append(found("certificate.odd_line", message, evidence={"lines": len(places)}))
    return findings


def _told(
    code: str,
    rows: polars.DataFrame,
    analyte: Analyte,
    read: CertificateRead,
    holes: dict[str, str],
    *,
    more_than_all: bool = False,
) -> list[Finding]:
    """One finding for all results of a column that are odd in the same way."""
    if rows.is_empty():
        return []
    some = (
        rows.sort("place")
        .head(NAMED)
        .join(read.lines.select("place", "number", "line"), on="place", how="left", maintain_order="left")
    )
    name = f"{analyte.element} {analyte.method}".strip()
    shown = ", ".join(
        f"{row['number']} {row['raw_text'].strip()[:30]!r} (line {row['line']})" for row in some.iter_rows(named=True)
    )
    more = f" and {rows.height - NAMED} more" if rows.height > NAMED else ""
    said, limits = SAID[code], ""
    if more_than_all:
        said = f"would be more than all of the sample ({analyte.unit.strip('[]{}')})"
    elif code == "certificate.unit_alarm":
        limits = f" {_limit(analyte.lower_limit)} to {_limit(analyte.upper_limit)} {analyte.unit.strip('[]{}')}"
    evidence: dict[str, float | int | str | None] = {"element": analyte.element, "method": analyte.method, "values": rows.height}
    number = some["number"][0] if rows.height == 1 else None
    hole_id = holes.get(number) if number is not None else None
    message = f"{_count(rows.height, 'result')} of {name} {said}{limits}: {shown}{more}"
    return [found(code, message, hole_id=hole_id, evidence=evidence, number=number)]


def _limit(limit: float | None) -> str:
    return "–" if limit is None else f"{limit:g}"


def _count(count: int, noun: str) -> str:
    return f"{count} {noun}{'s' * (count != 1)}"


def _without_result(read: CertificateRead) -> list[Finding]:
    """Samples that have no result of an element at all, where most others have one."""
    samples = read.lines.filter(polars.col("line_kind") == "sample").select("place", "number")
    elements = polars.DataFrame(
        [(analyte.column, analyte.element) for analyte in read.analytes],
        schema={"column": polars.Int64, "element": polars.String},
        orient="row",
    )
    counted = (
        read.results.join(samples.select("place"), on="place", how="semi")
        .join(elements, on="column")
        .group_by("element")
        .agg(polars.col("place").n_unique())
    )
    short = counted.filter((polars.col("place") < samples.height) & (polars.col("place") >= samples.height / 2))
    findings = []
    for element in elements.filter(polars.col("element").is_in(short["element"].implode()))["element"].unique(maintain_order=True):
        columns = elements.filter(polars.col("element") == element)["column"]
        have = read.results.filter(polars.col("column").is_in(columns.implode())).select("place")
        without = samples.join(have, on="place", how="anti")
        some = ", ".join(without["number"].head(NAMED))
        message = f"{_count(without.height, 'sample')} without a result of {element}: {some}"
        findings.append(found("certificate.no_result", message, evidence={"element": element, "samples": without.height}))
    return findings
