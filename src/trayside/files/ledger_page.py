"""docs/ledger.md, from the kinds of event, the states and the moves themselves."""

from __future__ import annotations

from trayside.model.bag_states import MACHINES, Machine
from trayside.model.event_kinds import KINDS, LONGEST_LIST, LONGEST_TEXT, EventKind, Value

TITLES = {
    "bag": "Bag of core",
    "control": "Bag with a standard or a blank",
    "tray": "Tray",
    "sack": "Sack",
    "load": "Load",
    "saw": "Saw",
    "blade": "Blade",
    "hole": "Kept core of a hole",
    "certificate": "Certificate of a laboratory",
}
TOP = """# The ledger

Made by `trayside docs` from `model/event_kinds.py` and `model/bag_states.py`; do not edit by hand.

What was planned is a table; what happened is the ledger. Each physical act is one event. Events are only ever added:
the database refuses to change or remove one. A correction is a new event with a reason, and the first value stays.

## One record

Each event is stored as one flat JSON object in the spelling of RFC 8785, with `seq` (1, 2, 3… without gaps), `stored_at`
(the server's clock), `standing`, and `why` and `against` where it contradicts something. `captured_at` is what the
device's clock said, in UTC with milliseconds; `utc_offset_min` is what the device adds for local time. `event_id` is a
UUID of version 7, made on the device.

The hash of a record is SHA-256 over the hash before it, as 64 hex digits, followed by the record in UTF-8. The first
record follows 64 zeros. With an export (`trayside ledger export FILE`), whose lines are
`{"hash":…,"prev_hash":…,"record":{…}}`, anybody can check this: `trayside ledger verify --file FILE`, or on a machine
without Trayside's libraries `python -m trayside.ledger_verify FILE`.

A chain cannot show by itself that its newest records were cut off, or that all of it was written anew. For that somebody
else must keep a hash: `--hash` takes one, for instance from a dispatch note, and it must be in the chain.

## Sent twice, sent late, contradicting
"""
ANSWERS = (
    ("a new event", "`stored`", "It is in the ledger and counts."),
    (
        "an act whose forerunner is missing (bagged, but never cut)",
        "`stored`, standing `waits`",
        "It counts as soon as the missing act arrives, from whichever device.",
    ),
    ("the same event again", "`already stored`", "Nothing changes; the answer names its place."),
    (
        "an act that can no more be (cut twice), or that the sheets contradict"
        " (another hole, a withdrawn number, another tag)",
        "`conflict`",
        "It is stored, because it happened, with why and against which event."
        " It counts for nothing until a person settles it.",
    ),
    (
        "another event under an id that is taken",
        "`conflict`",
        "Both are kept, the second in a chain beside the ledger.",
    ),
    (
        "something that cannot be read",
        "`refused`",
        "Nothing is stored; the device keeps it and shows what is wrong and what to do.",
    ),
)
SETTLING = """
A person settles an event with `corrected`, naming it in `corrects`, with a reason and a verdict:

- `stands`: it counts, even against the table. It never takes an object back to an earlier state.
- `set_aside`: it counts no more. Both stay visible.
- `restated`: some of its values were wrong; the right ones are given by their names. The first ones stay visible.

A correction is not corrected itself: the first event is corrected again, and the last verdict holds.
Late, once: the act could be left out, so its event may come after later ones; it counts if none of its kind did before.
A state is never stored. It is read off the events in the order of the ledger, not by the clocks of the devices.
"""


def ledger_page() -> str:
    """The ledger in words, every kind of event, every state and every move."""
    lines = [TOP, "| sent | answer | what happens |", "|---|---|---|"]
    lines += [f"| {' | '.join(row)} |" for row in ANSWERS]
    lines += [SETTLING, "## States and moves", ""]
    for machine in MACHINES.values():
        lines += _machine_lines(machine)
    lines += [
        "## Kinds of event",
        "",
        f"Texts have up to {LONGEST_TEXT} characters on one line; lists up to {LONGEST_LIST} entries. Values without a"
        " mark may be left out.",
        "",
        "| kind | about | meaning | values (* needed) | reason |",
        "|---|---|---|---|---|",
        *(_kind_line(kind) for kind in KINDS),
    ]
    return "\n".join(lines) + "\n"


def _machine_lines(machine: Machine) -> list[str]:
    lines = [f"### {TITLES[machine.name]}", "", f"States: {', '.join(machine.states)}.", ""]
    lines += ["| act | may happen when it is | then it is |", "|---|---|---|"]
    for move in machine.moves:
        when = "anything" if set(move.from_states) == set(machine.states) else ", ".join(move.from_states)
        if move.late_in:
            when += f"; late, once: {', '.join(move.late_in)}"
        lines.append(f"| `{move.kind}` | {when} | {move.to or 'as it was'} |")
    return [*lines, ""]


def _kind_line(kind: EventKind) -> str:
    values = "; ".join(_value_words(value) for value in kind.values) or "none"
    about = ", ".join(kind.object_types)
    return f"| `{kind.name}` | {about} | {kind.meaning} | {values} | {'needed' if kind.needs_reason else ''} |"


def _value_words(value: Value) -> str:
    words = {
        "text": "text",
        "code": "name",
        "codes": "list of names",
        "texts": "list of texts",
        "whole": f"{value.low} to {value.high}",
        "choice": " / ".join(value.choices),
        "yes_no": "true or false",
        "sha256": "64 hex digits",
    }[value.kind]
    return f"`{value.name}`{'*' if value.required else ''} {value.meaning} ({words})"
