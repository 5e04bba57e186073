"""Is the ledger whole? Check it in the store or in an export, and write the export."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from trayside.app.ports import StartWork
from trayside.model.ledger_chain import ChainReport, check_chain, export_links
from trayside.model.ledger_record import export_line


@dataclass(frozen=True, slots=True)
class LedgerReport:
    """The chain of events, and the chain of what came under an id that was taken (None for an export)."""

    events: ChainReport
    conflicts: ChainReport | None = None

    @property
    def whole(self) -> bool:
        return self.events.whole and (self.conflicts is None or self.conflicts.whole)


def verify_store(*, start_work: StartWork, witness: str | None = None) -> LedgerReport:
    """Read every record of the store; `witness` is a hash that was kept elsewhere and must be among them."""
    with start_work(writing=False) as work:
        return LedgerReport(
            check_chain(work.chain_links("events"), witness=witness), check_chain(work.chain_links("event_conflicts"))
        )


def verify_export(lines: Iterable[bytes], *, witness: str | None = None) -> ChainReport:
    """Check the lines of an export; no store is needed."""
    return check_chain(export_links(lines), witness=witness)


def export_ledger(*, start_work: StartWork) -> Iterator[str]:
    """The ledger as JSON lines, as it is, whole or not: a fault in the store is then a fault in the export."""
    with start_work(writing=False) as work:
        for _, prev_hash, own_hash, record, _, _ in work.chain_links("events"):
            yield export_line(record, prev_hash=prev_hash, own_hash=own_hash) + "\n"
