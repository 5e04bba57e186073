"""One physical act, as it was captured on a device, and as it stands in the ledger."""

from __future__ import annotations

import re
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from typing import Literal

from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.event_kinds import (
    BY_NAME,
    LONGEST_LIST,
    LONGEST_TEXT,
    VALUE_NAMES,
    EventKind,
    Value,
)

Standing = Literal["stands", "waits", "conflict"]

UUID7 = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._/+-]{0,79}")
MOMENT = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z")
SHA256 = re.compile(r"[0-9a-f]{64}")
# Control characters, half characters, and the marks that turn the direction of print.
UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\u2028-\u202e\u2066-\u2069\ufeff]")
MOST_REVISIONS = 100_000
MOST_TRAYS = 1_000_000
LONGEST_NAME = 80


@dataclass(frozen=True, slots=True)
class Event:
    """What somebody did to one object, captured where it happened.

    `event_id` is made on the device. `captured_at` is what the device's clock said, in UTC; `utc_offset_min` is what
    that device added for local time. `values` holds what the kind asks for, in whole grams, millimetres and seconds.
    """

    event_id: str
    kind: str
    object_type: str
    object_id: str
    person: str
    device: str
    captured_at: str
    utc_offset_min: int
    software: str
    hole_id: str | None = None
    tray: int | None = None
    sheet_id: str | None = None
    revision: int | None = None
    values: dict[str, object] = field(default_factory=dict)
    reason: str | None = None
    corrects: str | None = None


@dataclass(frozen=True, slots=True)
class Stored:
    """An event in the ledger: its place in the chain, and how it stood when it was stored.

    `standing` is 'stands'; 'waits' when an act that comes before it was not there yet; or 'conflict' when it
    contradicts what the ledger held, `why` in words and `against` by event. A conflict has no effect until a
    'corrected' event says that it stands.
    """

    event: Event
    seq: int
    stored_at: str
    prev_hash: str
    hash: str
    standing: Standing = "stands"
    why: str = ""
    against: str | None = None


FIELDS = tuple(one.name for one in fields(Event))
REQUIRED = FIELDS[: FIELDS.index("hole_id")]


def tray_object(hole_id: str, tray: int) -> str:
    """The name of a tray in the ledger: trays are counted in each hole, the ledger holds many holes."""
    return f"{hole_id}/{tray}"


def moment_text(moment: datetime) -> str:
    """A moment as the ledger writes it: UTC, whole milliseconds (cut off, not rounded)."""
    if moment.tzinfo is None:
        raise ImpossibleValue(f"a time without a zone: {moment.isoformat()}", where="clock", remedy="Hand in UTC")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def moment(text: str) -> datetime:
    """The moment that the ledger's text names."""
    return datetime.fromisoformat(text)


def event_fields(event: Event) -> dict[str, object]:
    """The event as a JSON object."""
    return {name: getattr(event, name) for name in FIELDS}


def checked_event(raw: object) -> Event:
    """The event in a JSON object, or ImpossibleValue that says what is wrong, where, and what to do."""
    if not isinstance(raw, dict):
        raise ImpossibleValue(
            "this is not an event", where="event", remedy="Send a JSON object with the event's fields"
        )
    given = raw.get("event_id")
    where = f"event {given[:40]}" if isinstance(given, str) and given.isprintable() else "event"
    _refuse_fields(raw, where)
    event = Event(**raw) if raw.get("values") is not None else Event(**{**raw, "values": {}})
    _match(event.event_id, UUID7, where, "event_id", "a lower-case UUID of version 7")
    kind = _known(BY_NAME, event.kind, where, "kind")
    if event.object_type not in kind.object_types:
        _refuse(where, "object_type", f"{kind.name} is not about {event.object_type!r}", f"One of: {kind.object_types}")
    _match(event.object_id, CODE, where, "object_id", "a name of letters, digits, space and . _ / + - (up to 80)")
    for name in ("person", "device", "software"):
        _text(getattr(event, name), where, name, longest=LONGEST_NAME)
    _moment(event.captured_at, where)
    _whole(event.utc_offset_min, where, "utc_offset_min", -14 * 60, 14 * 60)
    _place(event, where)
    _reason(event, kind, where)
    _values(event, kind, where)
    return event


def check_correction(correction: Event, corrected: Event) -> None:
    """Refuse a correction that does not fit the event it corrects."""
    where = f"event {correction.event_id}"
    if corrected.kind == "corrected":
        raise RefusedByRule("a correction is not corrected itself", where=where, remedy="Correct the first event again")
    if (correction.object_type, correction.object_id) != (corrected.object_type, corrected.object_id):
        raise RefusedByRule(
            f"it corrects an event of {corrected.object_type} {corrected.object_id}, but names"
            f" {correction.object_type} {correction.object_id}",
            where=where,
            remedy="Correct it on the object it belongs to",
        )
    restated = {name: value for name, value in correction.values.items() if name != "verdict"}
    if bool(restated) != (correction.values["verdict"] == "restated"):
        raise RefusedByRule(
            "values go with the verdict 'restated', and only with it",
            where=where,
            remedy="Give the values that are right, or choose 'stands' or 'set_aside'",
        )
    kind = BY_NAME[corrected.kind]
    for name, value in restated.items():
        described = kind.value(name)
        if described is None:
            _refuse(where, f"values.{name}", f"{kind.name} has no such value", _value_names(kind))
        if value is None and described.required:
            _refuse(where, f"values.{name}", "it cannot be taken away", "Restate it, or set the whole event aside")
        _value(value, described, where)


def _refuse(where: str, name: str, what: str, remedy: str) -> None:
    raise ImpossibleValue(what, where=f"{where}, {name}", remedy=remedy)


def _refuse_fields(raw: dict, where: str) -> None:
    for name in raw:
        if name not in FIELDS:
            _refuse(where, str(name)[:40], "an event has no such field", f"Fields: {', '.join(FIELDS)}")
    for name in REQUIRED:
        if name not in raw:
            _refuse(where, name, "it is missing", "Send it with every event")


def _known(table: dict, name: object, where: str, label: str):
    if not isinstance(name, str) or name not in table:
        _refuse(where, label, f"{_shown(name)} is not known", f"One of: {', '.join(table)}")
    return table[name]


def _match(value: object, pattern: re.Pattern, where: str, name: str, what: str) -> None:
    if not isinstance(value, str) or not pattern.fullmatch(value) or value != value.strip():
        _refuse(where, name, f"{_shown(value)} cannot be", f"It must be {what}")


def _text(value: object, where: str, name: str, *, longest: int = LONGEST_TEXT) -> None:
    if not isinstance(value, str) or not value.strip():
        _refuse(where, name, "there is no text", "Write it out")
    if len(value) > longest:
        _refuse(where, name, f"the text is longer than {longest} characters", "Shorten it")
    if UNPRINTABLE.search(value):
        _refuse(where, name, "it holds a line break or another unprintable character", "Write it on one line")


def _whole(value: object, where: str, name: str, low: int, high: int) -> None:
    if type(value) is not int:
        _refuse(
            where, name, f"{_shown(value)} is not a whole number", "Send grams, millimetres or seconds as whole numbers"
        )
    if not low <= value <= high:
        _refuse(where, name, f"{value} is not between {low} and {high}", "Measure or count again")


def _moment(value: object, where: str) -> None:
    _match(value, MOMENT, where, "captured_at", "UTC with milliseconds, like 2031-05-04T07:30:15.123Z")
    try:
        moment(value)
    except ValueError:
        _refuse(where, "captured_at", f"there is no such moment: {value}", "Set the clock of the device")


def _place(event: Event, where: str) -> None:
    for name in ("hole_id", "sheet_id"):
        if getattr(event, name) is not None:
            _match(getattr(event, name), CODE, where, name, "a name of letters, digits, space and . _ / + - (up to 80)")
    for name, most in (("tray", MOST_TRAYS), ("revision", MOST_REVISIONS)):
        if getattr(event, name) is not None:
            _whole(getattr(event, name), where, name, 0 if name == "tray" else 1, most)
    if event.revision is not None and event.sheet_id is None:
        _refuse(where, "sheet_id", "there is a revision but no sheet", "Send both, or neither")
    if event.tray is not None and event.hole_id is None:
        _refuse(where, "hole_id", "there is a tray but no hole", "Trays are counted in each hole: send both")
    if event.object_type == "tray" and (
        event.hole_id is None or event.tray is None or event.object_id != tray_object(event.hole_id, event.tray)
    ):
        _refuse(
            where,
            "object_id",
            f"{event.object_id} is not the hole and tray given",
            "Name a tray hole/tray, like K-1/12",
        )
    if event.object_type == "hole" and event.object_id != event.hole_id:
        _refuse(where, "object_id", f"{event.object_id} is not the hole given", "Send the hole's name in both")


def _reason(event: Event, kind: EventKind, where: str) -> None:
    if event.reason is not None:
        _text(event.reason, where, "reason")
    elif kind.needs_reason:
        _refuse(where, "reason", f"{kind.name} needs a reason", "Say why, in a few words")
    if kind.name == "corrected":
        _match(event.corrects, UUID7, where, "corrects", "the id of the event that is corrected")
    elif event.corrects is not None:
        _refuse(where, "corrects", f"{kind.name} corrects nothing", "Only a 'corrected' event names another")


def _values(event: Event, kind: EventKind, where: str) -> None:
    if not isinstance(event.values, dict):
        _refuse(where, "values", "this is not a JSON object", "Send names and values")
    for name, value in event.values.items():
        described = kind.value(name) if isinstance(name, str) else None
        if described is not None:
            if value is not None or described.required:
                _value(value, described, where)
        elif kind.name == "corrected" and name in VALUE_NAMES:
            continue  # held against the corrected event's kind by check_correction
        else:
            _refuse(where, f"values.{_shown(name)}", f"{kind.name} has no such value", _value_names(kind))
    for value in kind.values:
        if value.required and value.name not in event.values:
            _refuse(where, f"values.{value.name}", f"{kind.name} needs it", f"Send {value.meaning}")
    if kind.name in ("piece_taken", "cut_line_set") and event.values["from_mm"] >= event.values["to_mm"]:
        _refuse(where, "values.to_mm", "the bottom does not lie below the top", "Look at both depths")


def _value(value: object, described: Value, where: str) -> None:
    name = f"values.{described.name}"
    if value is None and not described.required:
        return
    if described.kind == "whole":
        _whole(value, where, name, described.low, described.high)
    elif described.kind == "text":
        _text(value, where, name)
    elif described.kind == "code":
        _match(value, CODE, where, name, "a name of letters, digits, space and . _ / + - (up to 80)")
    elif described.kind == "sha256":
        _match(value, SHA256, where, name, "64 hex digits in lower case")
    elif described.kind == "yes_no":
        if not isinstance(value, bool):
            _refuse(where, name, f"{_shown(value)} is neither yes nor no", "Send true or false")
    elif described.kind == "choice":
        if not isinstance(value, str) or value not in described.choices:
            _refuse(where, name, f"{_shown(value)} is not known", f"One of: {', '.join(described.choices)}")
    else:
        _list(value, described, where, name)


def _list(value: object, described: Value, where: str, name: str) -> None:
    if not isinstance(value, list):
        _refuse(where, name, f"{_shown(value)} is not a list", "Send a JSON list")
    if len(value) > LONGEST_LIST:
        _refuse(where, name, f"the list is longer than {LONGEST_LIST}", "Send several events")
    for item in value:
        if described.kind == "codes":
            _match(item, CODE, where, name, "a list of names of letters, digits, space and . _ / + -")
        else:
            _text(item, where, name)


def _value_names(kind: EventKind) -> str:
    return f"It has: {', '.join(value.name for value in kind.values) or 'none'}"


def _shown(value: object) -> str:
    return ascii(value)[:60]
