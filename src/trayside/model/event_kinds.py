"""The kinds of physical act the ledger knows: what each is about, what it must say, and whether it needs a reason.

One table; it validates what comes in, and `docs/ledger.md` is made from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

ObjectType = Literal["bag", "tray", "sack", "load", "saw", "blade", "hole", "certificate"]
OBJECT_TYPES: tuple[ObjectType, ...] = ("bag", "tray", "sack", "load", "saw", "blade", "hole", "certificate")
ValueKind = Literal["text", "code", "codes", "texts", "whole", "choice", "yes_no", "sha256"]

LONGEST_TEXT = 500
LONGEST_LIST = 500
HEAVIEST_BAG_G = 100_000
HEAVIEST_SACK_G = 2_000_000
DEEPEST_MM = 15_000_000

SIDES = ("right", "left", "none")
FRACTIONS = ("whole", "half", "quarter", "skeleton", "none")
VERDICTS = ("stands", "set_aside", "restated")
BATCH_WORDS = ("use", "use with note", "re-assay", "cannot judge")
CUT_LINE_BASES = ("orientation line", "best plane", "vein apex", "other")
OFF_BECAUSE = ("worn", "cracked", "segment lost", "glazed", "other rock", "other")
TALLEST_SEGMENT_UM = 50_000


@dataclass(frozen=True, slots=True)
class Value:
    """One value of an event. Masses are whole grams, lengths whole millimetres (`_um`: micrometres), times whole seconds."""

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


def _degrees(name: str, meaning: str) -> Value:
    return _whole(name, meaning, -179, 180, required=True)


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
        "blade_fitted",
        ("saw",),
        "a blade was put on the saw",
        (_code("blade", "blade", required=True), _whole("stamp_rpm", "highest rpm as read on the blade", 1, 50_000)),
    ),
    EventKind(
        "blade_removed",
        ("saw",),
        "the blade was taken off",
        (
            _code("blade", "blade", required=True),
            _choice("because", "why", OFF_BECAUSE, required=True),
            Value("scrapped", "yes_no", "whether it is never fitted again"),
        ),
    ),
    EventKind("blade_dressed", ("saw",), "the blade was dressed in abrasive stone", (_code("blade", "blade"),)),
    EventKind(
        "height_measured",
        ("blade",),
        "the marked segments were measured, blade cold and saw isolated",
        (
            _whole("height_um", "mean height of the segments", 0, TALLEST_SEGMENT_UM, required=True),
            Value("readings", "texts", "the heights as read, in millimetres"),
            _code("saw", "saw it is on"),
        ),
    ),
    EventKind(
        "water_checked",
        ("saw",),
        "flow and state of the water at the blade",
        (
            _whole("flow_ml_min", "flow at the blade in millilitres a minute", 0, 1_000_000),
            Value("dust", "yes_no", "dust leaves the cut"),
            Value("mist", "yes_no", "mist stands round the blade"),
            Value("fines", "yes_no", "fines are washed off the core"),
            Value("gritty", "yes_no", "the water feels gritty"),
            _whole("water_degc", "temperature", 0, 100),
        ),
    ),
    EventKind("water_changed", ("saw",), "the saw has fresh water", (_text("remark", "anything worth saying"),)),
    EventKind("sump_cleaned", ("saw",), "slurry was taken out of the sump, wet", (_text("where_to", "where it went"),)),
    EventKind(
        "cleaned_out",
        ("saw",),
        "the end-of-day clean-out: saw, cradle and floor washed, sump emptied, water drained",
        (Value("drained", "yes_no", "whether the water was let out"), _text("remark", "anything worth saying")),
    ),
    EventKind(
        "prestart_signed",
        ("saw",),
        "the pre-start card was answered and signed",
        (
            Value("passed", "yes_no", "whether the saw may be started", True),
            _code("card", "fingerprint of the items as they were worded", required=True),
            Value("answers", "texts", "every item with its answer", True),
            Value("failed", "codes", "items that failed"),
        ),
    ),
    EventKind(
        "tagged_out",
        ("saw",),
        "the saw is out of use and carries a tag; the reason says why",
        (Value("items", "codes", "items of the card that failed"),),
        needs_reason=True,
    ),
    EventKind(
        "released", ("saw",), "the saw may be used again; the reason says what was done to it", needs_reason=True
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
        "cut_line_set",
        ("hole",),
        "the geologist set where the cut line runs over a stretch, and which half is bagged there; the reason says why",
        (
            _whole("from_mm", "top", 0, DEEPEST_MM, required=True),
            _whole("to_mm", "bottom", 0, DEEPEST_MM, required=True),
            _degrees("start_deg", "cut line from the orientation line at the top, clockwise looking downhole"),
            _degrees("end_deg", "the same at the bottom; it turns evenly between"),
            _choice("side", "the half in the bag, looking downhole with the cut line up", ("right", "left"), required=True),
            _choice("basis", "what it follows", CUT_LINE_BASES, required=True),
        ),
        needs_reason=True,
    ),
    EventKind(
        "cut_line_read",
        ("tray",),
        "the place of the drawn cut line was read at both ends of the tray",
        (
            _degrees("start_deg", "cut line from the orientation line at the start, clockwise looking downhole"),
            _degrees("end_deg", "the same at the end of the tray"),
        ),
    ),
    EventKind(
        "verdict_signed",
        ("certificate",),
        "a person decided whether the results of an element can be used",
        (
            _code("element", "the element", required=True),
            _choice("word", "what they decided", BATCH_WORDS, required=True),
            _choice("computed", "what the rules said", BATCH_WORDS, required=True),
            Value("digest", "sha256", "fingerprint of results, controls and rules they looked at", True),
            Value("reasons", "texts", "the reasons they were shown"),
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
