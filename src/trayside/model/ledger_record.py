"""How an event stands in the chain: one flat JSON object, spelled canonically and hashed with the hash before it."""

from __future__ import annotations

import json

from trayside.model.canonical import canonical, chain_hash
from trayside.model.event import FIELDS, Event, Standing, Stored

STORED_FIELDS = ("against", "seq", "standing", "stored_at", "why")


def link(
    event: Event,
    *,
    seq: int,
    stored_at: str,
    prev_hash: str,
    standing: Standing = "stands",
    why: str = "",
    against: str | None = None,
) -> tuple[Stored, str]:
    """The event as the next of the chain, and the canonical text that was hashed."""
    record = canonical(
        {name: getattr(event, name) for name in FIELDS}
        | {"seq": seq, "stored_at": stored_at, "standing": standing, "why": why, "against": against}
    )
    own_hash = chain_hash(prev_hash, record)
    return Stored(event, seq, stored_at, prev_hash, own_hash, standing, why, against), record.decode()


def stored_event(record: str, *, prev_hash: str, own_hash: str) -> Stored:
    """What `link` made, read back from the canonical text."""
    values = json.loads(record)
    against, seq, standing, stored_at, why = (values.pop(name) for name in STORED_FIELDS)
    return Stored(Event(**values), seq, stored_at, prev_hash, own_hash, standing, why, against)


def export_line(record: str, *, prev_hash: str, own_hash: str) -> str:
    """One line of an export: itself canonical JSON, so the record stands in it byte by byte."""
    return f'{{"hash":"{own_hash}","prev_hash":"{prev_hash}","record":{record}}}'
