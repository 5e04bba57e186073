"""Write the invented demo yard Vellin Ridge: `python demo/generate_vellin_ridge.py [folder]`.

The seed is recorded in vellin_recipe/shapes.py; the same seed writes the same bytes. The planted faults and the
findings that must come of them are in vellin_recipe/plants.py. Rules and README of the yard are written by hand here.
"""

from __future__ import annotations

import sys
from pathlib import Path

from vellin_recipe import drilling, oriented, plants, rock_log, sites, stock
from vellin_recipe.natural import natural_notes
from vellin_recipe.shapes import HoleRows, Site
from vellin_recipe.words import README, RULES
from vellin_recipe.writing import write_expected, write_tables

HERE = Path(__file__).resolve().parent


def hole_rows(site: Site) -> HoleRows:
    """One hole as it would be without faults, but for a missed rod, which is drilled in."""
    rock = rock_log.rock_log(site)
    runs, losses = drilling.drilled(site, rock, plants.MISSED_RODS.get(site.hole_id))
    stations = sites.surveys(site)
    marks = oriented.marks(site, runs, rock)
    return HoleRows(
        site=site,
        surveys=stations,
        runs=runs,
        losses=losses,
        trays=drilling.tagged(site, runs),
        rock=rock,
        marks=marks,
        fabric=oriented.fabric(site, rock, stations, marks, plants.line_turn(site.hole_id, site.total_cm)),
        sticks=stock.sticks(site, rock, runs, losses),
    )


def write_yard(folder: Path) -> None:
    """All files of the yard folder."""
    holes = {site.hole_id: hole_rows(site) for site in sites.SITES}
    expected = plants.planted(holes)
    expected += natural_notes(holes, expected)
    write_tables(folder, list(holes.values()))
    write_expected(folder / "expected-findings.json", expected)
    for name, text in (("rules.toml", RULES), ("README.md", README)):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write_yard(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "vellin_ridge")
