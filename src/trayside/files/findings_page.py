"""docs/findings.md, from the kinds of finding themselves."""

from __future__ import annotations

from trayside.model.finding_kinds import KINDS

SUBJECTS = {
    "hole": "Loading",
    "run": "Runs and blocks",
    "loss": "Core losses",
    "tray": "Trays",
    "rock": "Rock log",
    "orientation": "Orientation marks",
    "density": "Densities",
    "survey": "Surveys",
    "plan": "Sample plan",
    "control": "Controls",
    "number": "Numbers and names",
    "stock": "Stock",
    "load": "Loads",
    "sack": "Sacks and seals",
    "mass": "Bag masses",
    "saw": "Saw log",
    "custody": "Custody",
    "receipt": "The laboratory's received list",
    "kept": "Kept core",
    "certificate": "Certificates",
    "result": "Results",
}


def findings_page() -> str:
    """Every kind of finding with its gravity and what to do, by subject."""
    lines = [
        "# Findings",
        "",
        "Made by `trayside docs` from `model/finding_kinds.py`; do not edit by hand.",
        "",
        "A `stop` keeps a hole from being planned, its sheet from being issued, or a load from being sent; a `warn` wants a look;",
        "a `note` informs.",
        "`trayside check --json` prints code, severity, where, message, remedy and evidence (the numbers behind the words).",
    ]
    for subject, title in SUBJECTS.items():
        lines += ["", f"## {title}", "", "| code | severity | what | what to do |", "|---|---|---|---|"]
        lines += [
            f"| `{kind.code}` | {kind.severity} | {kind.title} | {kind.remedy} |"
            for kind in KINDS
            if kind.code.split(".")[0] == subject
        ]
    return "\n".join(lines) + "\n"
