"""The words of the Report screen, by key, in English."""

from __future__ import annotations

REPORT_WORDS: dict[str, str] = {
    "nav.report": "Report",
    "report.title": "QC report",
    "report.from": "Reported from",
    "report.to": "to",
    "report.show": "Show",
    "report.pdf": "Whole report as PDF",
    "report.html": "Whole report as one HTML file",
    "report.short": "In short",
    "report.verdict": "Verdict",
    "report.number": "Number",
    "report.meaning": "Meaning",
    "report.todo": "What to do",
    "report.evidence": "Evidence by criterion",
    "report.unanswered": "{count} questions are not answered by the records; whoever signs answers them.",
    "report.look": "Look at every criterion",
    "report.not_answered": "not answered",
}
