"""The demo's certificates come in: read, confirmed and judged as any other."""

from __future__ import annotations

from pathlib import Path

from trayside.app.certificate_reading import OpenCertificate
from trayside.app.import_certificate import bring_in
from trayside.app.judge_batch import batch_summaries
from trayside.app.office_acts import Desk
from trayside.app.ports import StartWork
from trayside.model.verdict import BatchSummary

# In the order they came; the second certificate was issued again.
FILES = ("A-0117-1.csv", "A-0117-2.csv", "A-0117-2-again.csv", "A-0117-3.csv", "B-340.xlsx")


def bring_in_results(
    folder: Path, *, open_certificate: OpenCertificate, desk: Desk, start_work: StartWork
) -> tuple[BatchSummary, ...]:
    """All certificates of the demo, and what was made of them."""
    for name in FILES:
        opened = open_certificate((folder / name).read_bytes(), source=name)
        bring_in(opened, {}, confirmed=True, desk=desk, start_work=start_work)
    with start_work(writing=False) as work:
        return batch_summaries(work)
