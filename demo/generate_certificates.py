"""Write the certificates that belong to the demo's first load: `python demo/generate_certificates.py [folder]`.

The yard is loaded, planned, issued and sent in a store that is thrown away; the numbers of its first load get invented
results from vellin_recipe/results.py. Run it again whenever the demo's plan changes.
"""

from __future__ import annotations

import csv
import io
import json
import sys
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from openpyxl import Workbook
from vellin_recipe import results
from vellin_recipe.results import ELEMENTS, Bag, Planted

from trayside.app.bag_views import hole_bags
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_view import view_load
from trayside.app.load_yard import load_yard
from trayside.app.plan_samples import plan_yard
from trayside.bootstrap import make_id, open_store
from trayside.cli.demo_road import LABORATORY, SENT_HOLES, walk_road
from trayside.files.received_list import read_received
from trayside.files.yard_folder import read_yard_folder

HERE = Path(__file__).resolve().parent
ISSUED_AT = datetime(2026, 9, 1, 8, 0, tzinfo=UTC)
RACK = 50
JOBS = (("A-0117-1", "2026-10-12"), ("A-0117-2", "2026-10-14"), ("A-0117-3", "2026-10-21"))
AGAIN = "2026-10-19"
# Column, method, lower and upper limit in ppm, decimals.
COLUMNS = (
    ("Au", "FA50", 0.005, 10.0, 3),
    ("Au", "FA50-GRAV", 0.5, 1000.0, 1),
    ("Ag", "4A-MS", 0.05, 100.0, 2),
    ("As", "4A-MS", 1.0, 10_000.0, 0),
    ("Cu", "4A-MS", 1.0, 10_000.0, 0),
)
CHECKS = 24
CHECKING = "Demo laboratory B"


def sent_bags() -> list[Bag]:
    """The bags of the demo's first load, in the laboratory's order, with the masses it received."""
    with tempfile.TemporaryDirectory() as folder:
        start_work = open_store(str(Path(folder) / "demo.sqlite"))
        load_yard(HERE / "vellin_ridge", read_folder=read_yard_folder, start_work=start_work)
        planned = plan_yard(start_work=start_work, make_id=make_id)
        for hole_id in ("VR-01", "VR-02", "VR-04"):
            version = planned[hole_id].sheet.version
            issue_cut_sheet(
                hole_id, version=version, issued_by="Demo geologist", start_work=start_work, clock=lambda: ISSUED_AT
            )
        road = walk_road(start_work=start_work, read_received=read_received)
        with start_work(writing=False) as work:
            view = view_load(work, road.sent)
            rows = {bag.number: bag.row for hole_id in SENT_HOLES for bag in hole_bags(work, hole_id).bags}
            hole_of = {bag.number: bag.hole_id for hole_id in SENT_HOLES for bag in hole_bags(work, hole_id).bags}
            mass_g = {line.number: line.mass_g for line in view.receipts[-1].lines}
        start_work.engine.dispose()
    return [
        Bag(
            number,
            rows[number].kind,
            hole_of[number],
            rows[number].material,
            rows[number].grade_class,
            rows[number].duplicate_of,
            round(mass_g[number] / 1000, 3),
        )
        for number in view.numbers
    ]


def certificate_parts(bags: Sequence[Bag]) -> list[list[Bag]]:
    """VR-01 in two jobs, VR-04 in one."""
    first = [bag for bag in bags if bag.hole_id == SENT_HOLES[0]]
    middle = len(first) // 2
    return [first[:middle], first[middle:], [bag for bag in bags if bag.hole_id != SENT_HOLES[0]]]


def written(value_ppm: float, lower: float, upper: float, decimals: int) -> str:
    if value_ppm < lower:
        return f"<{lower:g}"
    if value_ppm > upper:
        return f">{upper:g}"
    return f"{value_ppm:.{decimals}f}"


def lines(part: Sequence[Bag], planted: Planted, rng: np.random.Generator) -> list[list[str]]:
    """The lines of one certificate; every twentieth sample's pulp is analysed twice."""
    found = []
    for place, bag in enumerate(part):
        number = planted.extra if bag.number == planted.missing else bag.number
        true = planted.contents[bag.number]
        exact = bag.kind == "standard"
        kinds = ["sample", "pulp duplicate"] if bag.kind == "sample" and place % 20 == 7 else ["sample"]
        for kind in kinds:
            value = {name: results.analysed(true[name], name, rng, exact=exact) for name in ELEMENTS}
            cells = [number, kind, f"{bag.mass_kg:.3f}" if kind == "sample" else "", str(place // RACK + 1)]
            for element, method, lower, upper, decimals in COLUMNS:
                over = method.endswith("GRAV") and value[element] <= 10
                cells.append("" if over else written(value[element], lower, upper, decimals))
            found.append(cells)
    return found


def wide(job: str, reported: str, rows: list[list[str]], *, copper_unit: str = "ppm") -> str:
    """A wide certificate: title, header, method, unit and limits above the lines."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    units = ["ppm"] * 4 + [copper_unit]
    uppers = [f"{upper:g}" for *_, upper, _ in COLUMNS]
    lowers = [f"{lower:g}" for _, _, lower, _, _ in COLUMNS]
    writer.writerows(
        [
            ["Certificate of analysis", "invented for the demo yard"],
            ["Laboratory", LABORATORY],
            ["Job", job],
            ["Reported", reported],
            [],
            ["Sample", "Type", "Received kg", "Rack", *(element for element, *_ in COLUMNS)],
            ["Method", "", "", "", *(method for _, method, *_ in COLUMNS)],
            ["Unit", "", "kg", "", *units],
            ["Lower limit", "", "", "", *lowers],
            ["Upper limit", "", "", "", *uppers],
            *rows,
        ]
    )
    return text.getvalue()


def checks(bags: Sequence[Bag], planted: Planted, rng: np.random.Generator) -> Workbook:
    """Pulps that a second laboratory analysed again: one line a result, values in g/t with a decimal comma."""
    book = Workbook()
    sheet = book.active
    sheet.title = "Results"
    titles = (["Check analyses", "invented for the demo yard"], ["Laboratory", CHECKING])
    for row in (*titles, ["Job", "B-340"], ["Reported", "2026-10-28"], []):
        sheet.append(row)
    sheet.append(["Job", "Sample", "Analyte", "Method", "Unit", "Lower limit", "Upper limit", "Result"])
    again = [bag for bag in bags if bag.kind == "sample" and bag.grade_class in ("medium", "high")]
    for bag in again[:: max(1, len(again) // CHECKS)][:CHECKS]:
        value = results.analysed(planted.contents[bag.number]["Au"], "Au", rng, exact=False)
        text = written(value, 0.01, 100.0, 2).replace(".", ",")
        sheet.append(["B-340", bag.number, "Au", "FA30", "g/t", "0,01", "100", text])
    return book


def write_certificates(folder: Path) -> Planted:
    bags = sent_bags()
    parts = certificate_parts(bags)
    order = [bag for part in parts for bag in part]
    planted = results.contents(order, middle=len(parts[0]))
    rng = np.random.default_rng(results.SEED + 1)
    folder.mkdir(parents=True, exist_ok=True)
    for (job, reported), part in zip(JOBS, parts, strict=True):
        rows = lines(part, planted, rng)
        (folder / f"{job}.csv").write_text(wide(job, reported, rows), encoding="utf-8", newline="\n")
        if job == JOBS[1][0]:
            again = wide(job, AGAIN, rows, copper_unit="%")
            (folder / f"{job}-again.csv").write_text(again, encoding="utf-8", newline="\n")
    checks(order, planted, rng).save(folder / "B-340.xlsx")
    expected = {name: getattr(planted, name) for name in planted.__dataclass_fields__ if name != "contents"}
    expected |= {"carried_share": results.CARRIED, "vein_ppm": results.VEIN_AU, "unit_changed": JOBS[1][0]}
    (folder / "planted.json").write_text(json.dumps(expected, indent=2) + "\n", encoding="utf-8", newline="\n")
    return planted


if __name__ == "__main__":
    write_certificates(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "vellin_ridge_results")
