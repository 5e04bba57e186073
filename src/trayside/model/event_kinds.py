"""The kinds of physical act the ledger knows: what each is about, what it must say, and whether it needs a reason.

One table; it validates what comes in, and `docs/ledger.md` is made from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ObjectType = Literal["bag", "tray", "sack", "load", "saw", "hole"]
OBJECT_TYPES: tuple[ObjectType, ...] = ("bag", "tray", "sack", "load", "saw", "hole")
ValueKind = Literal["text", "code", "codes", "texts", "whole", "choice", "yes_no", "sha256"]

LONGEST_TEXT = 500
LONGEST_LIST = 500
HEAVIEST_BAG_G = 100_000
HEAVIEST_SACK_G = 2_000_000
DEEPEST_MM = 15_000_000

SIDES = ("right", "left", "none")
FRACTIONS = ("whole", "half", "quarter", "skeleton", "none")
VERDICTS = ("stands", "set_aside", "restated")


@dataclass(frozen=True, slots=True)
class Value:
    """One value of an event. Masses are whole grams, lengths whole millimetres, times whole seconds."""

    name: str
    kind: ValueKind
    meaning: str
    required: bool = False
    low: int = 0
    high: int = 0
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class EventKind:
    name: str
    object_types: tuple[ObjectType, ...]
    meaning: str
    values: tuple[Value, ...] = ()
    needs_reason: bool = False

    def value(self, name: str) -> Value | None:
        return next((value for value in self.values if value.name == name), None)


def _text(name: str, meaning: str, *, required: bool = False) -> Value:
    return Value(name, "text", meaning, required)


def _code(name: str, meaning: str, *, required: bool = False) -> Value:
    return Value(name, "code", meaning, required)


def _whole(name: str, meaning: str, low: int, high: int, *, required: bool = False) -> Value:
    return Value(name, "whole", meaning, required, low, high)


def _choice(name: str, meaning: str, choices: tuple[str, ...], *, required: bool = False) -> Value:
    return Value(name, "choice", meaning, required, choices=choices)


def _mass(heaviest_g: int, *, required: bool = False) -> Value:
    return _whole("mass_g", "mass on the scale, tare taken off", 1, heaviest_g, required=required)


KINDS: tuple[EventKind, ...] = (
    EventKind(
        "staged",
        ("tray",),
        "the tray stands at the saw, its tag was read",
        (_code("tag", "the tag as scanned"), _text("place", "trolley or table")),
    ),
    EventKind(
        "cut",
        ("bag",),
        "the core of this sample was divided, or taken whole",
        (
            _text("method", "how, in the words of the cut sheet", required=True),
            _choice("side", "the half that is for the bag, looking downhole", SIDES),
            _code("saw", "saw"),
            _code("blade", "blade"),
            _whole("line_off_mm", "how far the cut lies from where it should", 0, 200),
            _whole("lasted_s", "time it took", 0, 86_400),
        ),
    ),
    EventKind(
        "could_not_cut",
        ("bag",),
        "the core could not be cut as planned; the reason says why",
        (_text("method", "what was tried"), _code("saw", "saw")),
        needs_reason=True,
    ),
    EventKind(
        "bagged",
        ("bag",),
        "the core is in the bag and the tag was read after that",
        (
            _code("tag", "the tag as scanned or typed", required=True),
            _choice("side", "the half in the bag, looking downhole", SIDES),
            _whole("bags", "how many bags one inside or beside the other", 1, 20),
        ),
    ),
    EventKind(
        "weighed",
        ("bag", "sack"),
        "the bag or sack was weighed",
        (
            _mass(HEAVIEST_SACK_G, required=True),
            _choice("read", "typed by a person or read from the scale", ("typed", "scale"), required=True),
            _code("scale", "scale"),
            _whole("tare_g", "tare that was taken off", 0, HEAVIEST_SACK_G),
            _choice("moisture", "how the core was", ("dry", "damp", "wet")),
        ),
    ),
    EventKind(
        "inserted",
        ("bag",),
        "a standard or a blank was put under this number",
        (
            _code("material", "standard or blank", required=True),
            _code("sachet", "number on the sachet or lot"),
            _mass(HEAVIEST_BAG_G),
        ),
    ),
    EventKind(
        "washed",
        ("saw",),
        "table, cradle and guard were washed",
        (_code("after", "number of the sample cut before"), _code("before", "number of the sample cut next")),
    ),
    EventKind(
        "flush_cut",
        ("saw",),
        "barren material was cut to clean the blade",
        (
            _text("material", "what was cut", required=True),
            _code("after", "number of the sample cut before"),
            _code("before", "number of the sample cut next"),
            _whole("cuts", "how many cuts", 1, 100),
        ),
    ),
    EventKind(
        "tray_closed",
        ("tray",),
        "every sample of the tray is bagged, its kept halves are back",
        (
            _whole("bags", "bags counted", 0, 1000, required=True),
            _whole("tickets", "tickets counted", 0, 1000, required=True),
        ),
    ),
    EventKind(
        "photo_attached",
        OBJECT_TYPES,
        "a photograph belongs to this",
        (
            Value("sha256", "sha256", "fingerprint of the file", True),
            _text("file", "name of the file", required=True),
            _choice(
                "view", "what it shows", ("before_cut", "after_cut", "bag", "seal", "damage", "other"), required=True
            ),
            _whole("bytes", "size of the file", 1, 1_000_000_000),
        ),
    ),
    EventKind(
        "kept_half_returned",
        ("bag",),
        "the kept half lies in its place in the tray again",
        (Value("marks", "texts", "what was marked on it again"),),
    ),
    EventKind(
        "sealed",
        ("bag",),
        "the bag is tied and lies in a sack",
        (_code("sack", "sack", required=True), _code("seal", "seal or tie of the bag itself")),
    ),
    EventKind(
        "sack_sealed",
        ("sack",),
        "the sack is closed with a seal",
        (
            _code("seal", "number of the seal", required=True),
            _whole("bags", "bags in it", 1, 1000, required=True),
            _code("first", "first number in it"),
            _code("last", "last number in it"),
        ),
    ),
    EventKind("loaded", ("sack",), "the sack is on a load", (_code("load", "load", required=True),)),
    EventKind(
        "handed_over",
        ("load",),
        "the load went from one person to another",
        (
            _text("from_person", "who gave it", required=True),
            _text("to_person", "who took it", required=True),
            _text("place", "where"),
            _text("meaning", "what the signature means"),
            _whole("sacks", "sacks counted", 0, 10_000),
            Value("seals_intact", "yes_no", "whether every seal was whole"),
        ),
    ),
    EventKind(
        "received",
        ("bag", "sack", "load"),
        "the laboratory has it",
        (
            _text("by", "who received it", required=True),
            _code("lab_job", "the laboratory's number"),
            _whole("count", "bags counted", 0, 100_000),
            Value("missing", "codes", "numbers that did not come"),
            Value("extra", "codes", "numbers that were not expected"),
            Value("damaged", "codes", "numbers that came damaged"),
            _whole("mass_g", "mass at the laboratory", 1, HEAVIEST_SACK_G),
            Value("seals_intact", "yes_no", "whether every seal was whole"),
        ),
    ),
    EventKind("voided", ("bag",), "the number is used for nothing any more; the reason says why", needs_reason=True),
    EventKind(
        "corrected",
        OBJECT_TYPES,
        "a person settles an earlier event: it stands, it is set aside, or some of its values are restated",
        (_choice("verdict", "what becomes of the event", VERDICTS, required=True),),
        needs_reason=True,
    ),
    EventKind(
        "piece_taken",
        ("hole",),
        "kept core was taken for a later request",
        (
            _whole("from_mm", "top", 0, DEEPEST_MM, required=True),
            _whole("to_mm", "bottom", 0, DEEPEST_MM, required=True),
            _choice("taken", "share of the whole core that was taken", FRACTIONS, required=True),
            _choice("left", "share of the whole core that is left", FRACTIONS, required=True),
            _text("asked_by", "who asked for it", required=True),
            _text("purpose", "what for"),
        ),
    ),
    EventKind(
        "rack_placed",
        ("tray",),
        "the tray lies in the rack",
        (_text("rack", "rack", required=True), _text("shelf", "shelf"), _text("position", "position on the shelf")),
    ),
)
BY_NAME: dict[str, EventKind] = {kind.name: kind for kind in KINDS}
VALUE_NAMES: frozenset[str] = frozenset(value.name for kind in KINDS for value in kind.values)
