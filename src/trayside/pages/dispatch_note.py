"""The papers of a load: the yard's own dispatch note with everything on it, and the laboratory's copy with nothing hidden in it.

The laboratory's copy is made from the laboratory's list alone (`app.load_view.laboratory_lines`): kinds, materials, holes,
depths and masses of bags never come near it.
"""

from __future__ import annotations

from collections.abc import Sequence

from trayside.app.custody import custody_of
from trayside.app.load_findings import load_findings
from trayside.app.load_view import LEAST_FOR_MASS, LoadedSack, LoadView, laboratory_lines, list_digest
from trayside.app.written_amounts import mass_text, span_text
from trayside.model.event import moment
from trayside.model.load import Load

from .codes import qr_svg, short_digest
from .compile import compile_page
from .paper_words import KIND_WORDS, plain_text, time_text

SEVERITY_WORDS = {"stop": "STOP", "warn": "warning", "note": "note"}
EMPTY_HAND_OVERS = 4
KEEP_INSIDE = "This note names the controls. It stays in the yard: the laboratory gets its own copy."


def dispatch_note_pdf(view: LoadView) -> bytes:
    """The yard's own note. A load that was not sent says so on every page."""
    return compile_page(
        template="dispatch_note.typ", content=dispatch_note_content(view), made_at=view.load.sent_at
    ).pdf


def laboratory_copy_pdf(view: LoadView) -> bytes:
    """The list for the laboratory: numbers, sacks, seals, and what is asked for."""
    return compile_page(
        template="laboratory_copy.typ", content=laboratory_copy_content(view), made_at=view.load.sent_at
    ).pdf


def dispatch_note_content(view: LoadView) -> dict:
    load, unit = view.load, view.rules.paper.mass_unit
    seq, newest = (load.ledger_seq, load.ledger_hash) if load.sent_at else (view.head.seq, view.head.hash)
    findings = load.findings if load.sent_at else load_findings(view)
    return _head(view) | {
        "keep": KEEP_INSIDE,
        "mass_unit": unit,
        "sent": f"Sent by {plain_text(load.sent_by)}, {time_text(load.sent_at)}" if load.sent_at else "",
        "statement": plain_text(load.statement),
        "packing": plain_text(next((sack.sack.says for sack in view.sacks), "")),
        "sacks": [_sack(sack, unit) for sack in view.sacks],
        "total": {"bags": str(len(view.numbers)), "mass": mass_text(view.mass_kg, unit=unit)},
        "bags": _bags(view),
        "ledger": {"seq": str(seq), "hash": [newest[:32], newest[32:]], "code": qr_svg(newest.upper())},
        "digest": list_digest(view),
        "findings": [
            [SEVERITY_WORDS[finding.severity], plain_text(finding.message)]
            for finding in findings
            if finding.code != "mass.cannot_see"
        ],
        "power": _power(view),
        "holdings": _holdings(view),
        "empty": EMPTY_HAND_OVERS,
    }


def _head(view: LoadView) -> dict:
    """What both papers say at their top. Nothing here is about a single bag."""
    load, request = view.load, view.load.request
    asked = [
        ("Laboratory", request.laboratory),
        ("Custody reference", request.custody_ref),
        ("Order", request.order_number),
        ("Methods", "; ".join(request.methods)),
        ("Instructions", request.instructions),
        ("Rejects and pulps", request.returns),
        ("Carrier", request.carrier),
        ("Consignment", request.consignment),
        ("Contact", request.contact),
    ]
    return {
        "paper": view.rules.paper.size,
        "yard": plain_text(view.rules.yard),
        "load": plain_text(load.load_id, breakable=False),
        "draft": load.sent_at is None,
        "sent_at": time_text(load.sent_at),
        "asked": [[word, plain_text(text)] for word, text in asked if text],
        "hazard": plain_text(request.hazard),
        "code": qr_svg(_code(load, view)),
    }


def _code(load: Load, view: LoadView) -> str:
    return f"{load.load_id} {short_digest(list_digest(view))}"


def _sack(sack: LoadedSack, unit: str) -> dict:
    numbers = sack.sack.numbers
    kg = [None if grams is None else mass_text(grams / 1000, unit=unit) for grams in (sack.contents_g, sack.gross_g)]
    return {
        "sack": sack.sack_id,
        "seal": plain_text(sack.seal) or "–",
        "bags": str(len(numbers)),
        "first": numbers[0] if numbers else "–",
        "last": numbers[-1] if numbers else "–",
        "mass": kg[0] or "–",
        "gross": kg[1] or "–",
    }


def _bags(view: LoadView) -> list[dict]:
    unit, length = view.rules.paper.mass_unit, view.rules.paper.length_unit
    lines = []
    for sack in view.sacks:
        for number, bag in zip(sack.sack.numbers, sack.bags, strict=True):
            row = bag.row if bag else None
            what = KIND_WORDS[row.kind] if row else "unknown"
            where = row.material if row and row.material else ""
            if row and row.is_core:
                where = f"{bag.hole_id} · {span_text(row.from_mm, row.to_mm, unit=length)}"
            lines.append(
                {
                    "number": plain_text(number, breakable=False),
                    "kind": row.kind if row else "",
                    "what": what,
                    "where": plain_text(where),
                    "mass": mass_text(bag.mass_g / 1000, unit=unit) if bag and bag.mass_g is not None else "–",
                    "sack": sack.sack_id,
                }
            )
    return lines


def _power(view: LoadView) -> str:
    """What the masses of this load could not have shown."""
    pairs = sum(one.pairs for one in view.witness.values())
    if not pairs:
        return "No masses were compared."
    unseen = sum(one.pairs_unseen for one in view.witness.values())
    share = sum(one.share_seen * one.pairs for one in view.witness.values() if one.pairs) / pairs
    return (
        f"Mass would show {share:.0%} of exchanges of neighbouring bags in these trays; at {unseen} of {pairs} pairs it"
        " cannot: they should weigh too much alike."
    )


def _holdings(view: LoadView) -> list[dict]:
    """Hand-overs as they were entered, with the gaps."""
    holders = custody_of(view).holdings
    lines = []
    for at, fact in enumerate(view.hand_overs):
        values = fact.values
        whole = {True: "whole", False: "NOT whole", None: "not said"}[values.get("seals_intact")]
        lines.append(
            {
                "from": plain_text(str(values["from_person"])),
                "to": plain_text(str(values["to_person"])),
                "place": plain_text(str(values.get("place") or "")),
                "time": f"{moment(fact.event.captured_at):%Y-%m-%d %H:%M} UTC{_offset(fact.event.utc_offset_min)}",
                "seals": whole,
                "gap": not holders[at + 1].unbroken,
            }
        )
    return lines


def _offset(minutes: int) -> str:
    if not minutes:
        return ""
    hours, rest = divmod(abs(minutes), 60)
    return f" (local {'+' if minutes > 0 else '−'}{hours:02d}:{rest:02d})"


def laboratory_copy_content(view: LoadView) -> dict:
    lines = laboratory_lines(view)
    sacks: dict[str, dict] = {}
    for _, number, sack_id, seal in lines:
        sack = sacks.setdefault(sack_id, {"sack": sack_id, "seal": plain_text(seal) or "–", "numbers": []})
        sack["numbers"].append(plain_text(number, breakable=False))
    unit = view.rules.paper.mass_unit
    mass = f"about {float(mass_text(view.mass_kg, unit=unit)):.0f} {unit}" if len(lines) >= LEAST_FOR_MASS else ""
    return _head(view) | {
        "sacks": list(sacks.values()),
        "count": _count(len(lines), len(sacks)),
        "mass": mass,
        "digest": list_digest(view),
    }


def _count(bags: int, sacks: int) -> str:
    return f"{bags} bag{'s' * (bags != 1)} in {sacks} sack{'s' * (sacks != 1)}"


def note_lines(view: LoadView) -> Sequence[dict]:
    """The bags as the note lists them, for tests and tables."""
    return _bags(view)
