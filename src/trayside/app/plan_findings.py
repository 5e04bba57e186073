"""Which findings belong to a plan rather than to the hole it was made for."""

from __future__ import annotations

from trayside.model.finding import Finding


def is_sheet_finding(finding: Finding) -> bool:
    """Findings on intervals and controls go and come with the sheet."""
    return finding.code.startswith(("plan.", "control."))
