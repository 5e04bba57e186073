"""`python -m benchmarks [--small] [--json] [measure ...]`: measure, and say what was measured on what.

Nothing fails for being slow: seconds depend on the machine and on what else it is doing.
"""

from __future__ import annotations

import argparse
import importlib
import json
import sys
from dataclasses import asdict

from rich.console import Console
from rich.table import Table

from benchmarks.figures import Figure, machine

MEASURES = (
    "load", "plan", "paper", "screens", "ledger", "bench_tap", "certificates", "cut_plane", "shift", "judge", "element_page"
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description="What Trayside costs on this machine.")
    parser.add_argument(
        "measures", nargs="*", metavar="measure", help=f"of {', '.join(MEASURES)}; all when none is named"
    )
    parser.add_argument("--small", action="store_true", help="small yards: seconds instead of minutes, rougher figures")
    parser.add_argument("--json", action="store_true", help="the figures as JSON on standard output")
    asked = parser.parse_args()
    if unknown := [name for name in asked.measures if name not in MEASURES]:
        parser.error(f"no measure {', '.join(unknown)}; there are {', '.join(MEASURES)}")
    facts = machine()
    figures: list[Figure] = []
    for name in asked.measures or MEASURES:
        print(f"measuring: {name}", file=sys.stderr, flush=True)
        figures += importlib.import_module(f"benchmarks.{name}").measure(small=asked.small)
    if asked.json:
        rows = [{**asdict(figure), "holds": figure.holds} for figure in figures]
        print(json.dumps({"machine": facts, "small": asked.small, "figures": rows}, indent=2))
    else:
        show(facts, figures)


def show(facts: dict[str, str | int], figures: list[Figure]) -> None:
    """The figures as a table."""
    table = Table(title=", ".join(f"{name}: {fact}" for name, fact in facts.items()), title_justify="left")
    for heading, side in (("measure", "left"), ("what", "left"), ("value", "right"), ("goal", "right"), ("", "left")):
        table.add_column(heading, justify=side)
    table.add_column("note", overflow="fold")
    for figure in figures:
        goal = "" if figure.goal is None else f"≤ {figure.goal:g} {figure.unit}"
        met = {True: "holds", False: "missed", None: ""}[figure.holds]
        table.add_row(figure.measure, figure.what, written(figure), goal, met, figure.note)
    Console(width=None if sys.stdout.isatty() else 140).print(table)


def written(figure: Figure) -> str:
    if figure.value is None:
        return "not measured"
    return f"{figure.value:,.3g} {figure.unit}" if figure.value < 1000 else f"{figure.value:,.0f} {figure.unit}"


if __name__ == "__main__":
    main()
