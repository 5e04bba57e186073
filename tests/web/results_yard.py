"""Certificates for the small yard of the screens: two batches of SM-01, one of them issued twice, results by formula."""

from __future__ import annotations

import math
from datetime import UTC, datetime

import polars
from web_yard import Yard, load_into, write_folder

from trayside.app.assay_ports import RESULT_ROW
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.plan_samples import plan_samples
from trayside.model.assay import Analyte, Certificate, CertificateLine

LABORATORY = "Demo laboratory A"
ELEMENTS = (
    Analyte(1, "Au", "g/t", "FA30", 0.005, 10.0, 1.0),
    Analyte(2, "Cu", "[ppm]", "4A-ICP", 1.0, 10_000.0, 1.0),
)
CERTIFIED = {"STD-L": (0.5, 220.0), "STD-H": (7.5, 1800.0), "BLK": (0.002, 8.0)}
CERTIFIED_VALUES = (
    "material,element,unit,certified,performance_sd,expanded_uncertainty,laboratories,upper_limit\n"
    "STD-L,Au,g/t,0.5,0.02,0.01,12,\nSTD-H,Au,g/t,7.5,0.25,0.1,12,\n"
    "STD-L,Cu,mg/kg,220,8,4,12,\nSTD-H,Cu,mg/kg,1800,50,20,12,\n"
    "BLK,Au,g/t,,,,,0.02\nBLK,Cu,mg/kg,,,,,30\n"
)


def issued(yard: Yard, hole_id: str = "SM-01"):
    """The rows of the hole's sheet, planned and issued."""
    if yard.sheet(hole_id) is None:
        plan_samples(hole_id, start_work=yard.start_work, make_id=yard.make_id)
    sheet = yard.sheet(hole_id)
    if not sheet.revision:
        issue_cut_sheet(
            hole_id, version=sheet.version, issued_by="Demo geologist", statement="seen", start_work=yard.start_work,
            clock=yard.clock,
        )  # fmt: skip
    return yard.sheet(hole_id).rows


def value_of(row, element: str, rows, *, offset: int = 0) -> float:
    """A grade that depends on the row alone; duplicates differ from their original by a few percent."""
    if row.material:
        certified = CERTIFIED[row.material][0 if element == "Au" else 1]
        return certified * (1 + 0.02 * math.sin(row.seq + offset))
    original = next((one for one in rows if one.number == row.duplicate_of), row)
    grade = {"high": 12.0, "low": 0.8}.get(original.grade_class or "", 0.03) * (1.2 + math.sin(original.seq))
    grade *= 1.0 if original is row else 1.06
    return grade if element == "Au" else 180.0 + 40.0 * grade


def add_certificate(
    yard: Yard, rows, *, job: str, day: int, all_rows=None, change=None, supersedes: str | None = None, extra: tuple[str, ...] = ()
) -> str:
    """One certificate with a line for every row; `change` may put another value or text in its place."""
    numbers = [row.number for row in rows] + list(extra)
    lines = [CertificateLine(place, number, number, mass_kg=2.5) for place, number in enumerate(numbers, start=1)]
    results = []
    for analyte in ELEMENTS:
        for place, row in enumerate(rows, start=1):
            value = value_of(row, analyte.element, all_rows or rows)
            if change is not None:
                value = change(row, analyte.element, value)
            low = value < analyte.lower_limit
            results.append((place, analyte.column, f"<{analyte.lower_limit:g}" if low else f"{value:.4g}",
                            analyte.lower_limit if low else float(f"{value:.4g}"), "lt" if low else "none", None, None,
                            True))  # fmt: skip
        for at, _ in enumerate(extra, start=len(rows) + 1):
            results.append((at, analyte.column, "1.11", 1.11, "none", None, None, True))
    frame = polars.DataFrame(results, schema=RESULT_ROW, orient="row")
    reported = datetime(2031, 6, day, 9, 0, tzinfo=UTC)
    with yard.start_work() as work:
        certificate_id = work.assays.new_certificate_id()
        certificate = Certificate(
            certificate_id, LABORATORY, job, reported, reported, "Demo operator", f"{job}.csv", job.ljust(64, "0"),
            len(lines), ELEMENTS, supersedes=supersedes,
        )  # fmt: skip
        work.assays.add_certificate(certificate, lines, frame)
        if supersedes:
            work.assays.set_superseded(supersedes, by=certificate_id)
        work.commit()
    return certificate_id


def add_two_batches(yard: Yard) -> tuple[str, ...]:
    """J-1 first issued with copper a thousand times too high, then again as it should be; J-2 with a dirty blank."""
    rows = issued(yard)
    half = len(rows) // 2
    first = add_certificate(
        yard, rows[:half], job="J-1", day=1, all_rows=rows,
        change=lambda row, element, value: value * (1000 if element == "Cu" else 1),
    )  # fmt: skip
    second = add_certificate(yard, rows[:half], job="J-1", day=3, all_rows=rows, supersedes=first)
    third = add_certificate(
        yard, rows[half:], job="J-2", day=9, all_rows=rows, extra=("X-9",),
        change=lambda row, element, value: 0.31 if row.material == "BLK" and element == "Au" else value,
    )  # fmt: skip
    return first, second, third


def write_results_yard(folder) -> None:
    """A store at folder/yard.sqlite with both batches in it, its standards and blanks certified."""
    yard_folder = write_folder(folder / "yard")
    (yard_folder / "certified_values.csv").write_text(CERTIFIED_VALUES, encoding="utf-8")
    load_into(folder / "yard.sqlite", yard_folder)
    yard = Yard(folder / "yard.sqlite")
    add_two_batches(yard)
    yard.engine.dispose()
