"""What is planned for the road to the laboratory: sacks of bags, loads of sacks, and lists of what the laboratory has.

What happened to them (sealed, loaded, handed over, received) is not here: it is in the ledger.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import datetime

from trayside.errors import ImpossibleValue
from trayside.model.event import CODE, UNPRINTABLE
from trayside.model.finding import Finding

LONGEST_LINE = 200
LONGEST_NOTE = 2000
MOST_METHODS = 40
CONDITIONS = ("", "damaged", "wet", "opened")
"""How a bag came to the laboratory; empty when nothing is said."""


@dataclass(frozen=True, slots=True)
class Sack:
    """Bags that belong into one sack, in ticket order. `says` is what the packing came to, in words."""

    sack_id: str
    numbers: tuple[str, ...]
    packed_at: datetime
    packed_by: str
    says: str = ""
    load_id: str | None = None


@dataclass(frozen=True, slots=True)
class Request:
    """What the laboratory is asked to do, and who carries. The laboratory's name is free text."""

    laboratory: str
    methods: tuple[str, ...]
    custody_ref: str = ""
    order_number: str = ""
    instructions: str = ""
    returns: str = ""
    """What becomes of rejects and pulps."""
    hazard: str = ""
    carrier: str = ""
    consignment: str = ""
    contact: str = ""


@dataclass(frozen=True, slots=True)
class Load:
    """One dispatch. Once sent it is frozen, with the findings that were known and the newest hash of the ledger.

    `version` counts saves and tells a second editor that somebody was faster.
    """

    load_id: str
    request: Request
    version: int
    made_at: datetime
    made_by: str
    sent_at: datetime | None = None
    sent_by: str = ""
    statement: str = ""
    """What the sender says to the findings that warn."""
    ledger_seq: int = 0
    ledger_hash: str = ""
    digest: str = ""
    """SHA-256 over the laboratory's list of numbers and sacks."""
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class ReceivedLine:
    """One bag on the laboratory's list, as the laboratory wrote it. `line` counts from the first line of the list."""

    line: int
    number: str
    mass_g: int | None = None
    condition: str = ""
    sack: str = ""
    seal: str = ""
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Receipt:
    """A received list: stored when it comes in, acted on when somebody confirmed the differences."""

    receipt_id: str
    load_id: str
    received_at: datetime
    utc_offset_min: int
    received_by: str
    lab_job: str
    source: str
    sha256: str
    lines: tuple[ReceivedLine, ...]
    stored_at: datetime
    stored_by: str
    seals_intact: bool | None = None
    confirmed_at: datetime | None = None
    confirmed_by: str = ""
    taken_as: dict[str, str] = field(default_factory=dict)
    """Number as the laboratory wrote it -> number it was taken as."""


def checked_request(request: Request) -> Request:
    """The request with its texts trimmed, or ImpossibleValue for what cannot be printed or is missing."""
    methods = tuple(one for one in (_line(method, "method") for method in request.methods) if one)
    if len(methods) > MOST_METHODS:
        raise ImpossibleValue(
            f"{len(methods)} methods", where="methods", remedy=f"Ask for at most {MOST_METHODS} in one load"
        )
    checked = Request(
        laboratory=_line(request.laboratory, "laboratory"),
        methods=methods,
        custody_ref=_line(request.custody_ref, "custody reference"),
        order_number=_line(request.order_number, "order number"),
        instructions=_note(request.instructions, "instructions"),
        returns=_note(request.returns, "rejects and pulps"),
        hazard=_note(request.hazard, "hazard note"),
        carrier=_line(request.carrier, "carrier"),
        consignment=_line(request.consignment, "consignment number"),
        contact=_line(request.contact, "contact"),
    )
    if not checked.laboratory:
        raise ImpossibleValue("no laboratory is named", where="load", remedy="Type the laboratory's name")
    return checked


def checked_code(text: str, what: str) -> str:
    """A seal, a sack or a number as it is kept: one short word or two, of the characters that codes hold."""
    code = " ".join(text.split())
    if not CODE.fullmatch(code):
        shown = f"{code[:40]!r} cannot be" if code else "nothing was typed"
        raise ImpossibleValue(shown, where=what, remedy="Use letters, digits, space and . _ / + - (up to 80)")
    return code


def _line(text: str, what: str) -> str:
    line = " ".join(text.split())
    return _printable(line, what, LONGEST_LINE)


def _note(text: str, what: str) -> str:
    lines = (" ".join(line.split()) for line in re.split(r"\r\n|\r|\n", text.strip()))
    note = "\n".join(lines)
    _printable(note.replace("\n", " "), what, LONGEST_NOTE)
    return note


def _printable(text: str, what: str, longest: int) -> str:
    if UNPRINTABLE.search(text):
        raise ImpossibleValue("it holds an unprintable character", where=what, remedy="Type it again")
    if len(text) > longest:
        raise ImpossibleValue(f"the text is longer than {longest} characters", where=what, remedy="Shorten it")
    return text
