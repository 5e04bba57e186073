"""How an event stands in the chain: one flat JSON object, spelled canonically and hashed with the hash before it."""

from __future__ import annotations

import json
from json.encoder import encode_basestring as _text

from trayside.model.canonical import LARGEST_WHOLE, canonical, chain_hash
from trayside.model.event import Event, Standing, Stored

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
    # Spelled out key by key, in order: this is the costly part of storing many events.
    record = (
        f'{{"against":{_spelled(against)},"captured_at":{_text(event.captured_at)},"corrects":{_spelled(event.corrects)}'
        f',"device":{_text(event.device)},"event_id":{_text(event.event_id)},"hole_id":{_spelled(event.hole_id)}'
        f',"kind":{_text(event.kind)},"object_id":{_text(event.object_id)},"object_type":{_text(event.object_type)}'
        f',"person":{_text(event.person)},"reason":{_spelled(event.reason)},"revision":{_spelled(event.revision)}'
        f',"seq":{_spelled(seq)},"sheet_id":{_spelled(event.sheet_id)},"software":{_text(event.software)}'
        f',"standing":{_text(standing)},"stored_at":{_text(stored_at)},"tray":{_spelled(event.tray)}'
        f',"utc_offset_min":{_spelled(event.utc_offset_min)},"values":{_object(event.values)},"why":{_text(why)}}}'
    )
    own_hash = chain_hash(prev_hash, record.encode())
    return Stored(event, seq, stored_at, prev_hash, own_hash, standing, why, against), record


def _object(values: dict[str, object]) -> str:
    names = "".join(values)
    if not (names.isascii() and names.isidentifier()):
        return canonical(values).decode()
    return "{" + ",".join([f'"{name}":{_spelled(values[name])}' for name in sorted(values)]) + "}"


def _spelled(value: object) -> str:
    kind = type(value)
    if kind is str:
        return _text(value)
    if value is None:
        return "null"
    return str(value) if kind is int and -LARGEST_WHOLE <= value <= LARGEST_WHOLE else canonical(value).decode()


def stored_event(record: str, *, prev_hash: str, own_hash: str) -> Stored:
    """What `link` made, read back from the canonical text."""
    values = json.loads(record)
    against, seq, standing, stored_at, why = (values.pop(name) for name in STORED_FIELDS)
    return Stored(Event(**values), seq, stored_at, prev_hash, own_hash, standing, why, against)


def export_line(record: str, *, prev_hash: str, own_hash: str) -> str:
    """One line of an export: itself canonical JSON, so the record stands in it byte by byte."""
    return f'{{"hash":"{own_hash}","prev_hash":"{prev_hash}","record":{record}}}'
