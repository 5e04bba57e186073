"""What the laboratory received against what was sent: missing, extra, misread, damaged, and masses after drying.

A list is stored as it came and compared; nothing is acted on until a person confirmed the differences. Then every bag
that came is received in the ledger, and the load with what did not come and what nobody sent.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Protocol

import numpy as np

from trayside.app.bag_views import Bag
from trayside.app.load_view import LoadView, view_load
from trayside.app.mass_witness import search_settings
from trayside.app.office_acts import Desk, checked_time, record_all
from trayside.app.ports import StartWork
from trayside.app.receipt_masses import ReceivedMass, mass_findings
from trayside.core.misread_numbers import MisreadSuggestion, suggest_numbers
from trayside.core.received_masses import DryingSettings, ReceivedMasses, compare_received
from trayside.errors import ChangedMeanwhile, NotFound, RefusedByRule
from trayside.model.event import LONGEST_LIST, moment
from trayside.model.finding import SEVERITIES, Finding
from trayside.model.finding_kinds import found
from trayside.model.load import Receipt, ReceivedLine
from trayside.model.person import checked_name

DAMAGED = ("damaged", "opened")


@dataclass(frozen=True, slots=True)
class ListRead:
    """A received list out of a file or a text box, with its fingerprint."""

    lines: tuple[ReceivedLine, ...]
    source: str
    sha256: str


class ReadReceived(Protocol):
    """Read a list: LoadRefused with every fault when there is any."""

    def __call__(self, raw: bytes, *, source: str, mass_unit: str | None = None) -> ListRead: ...


@dataclass(frozen=True, slots=True)
class Difference:
    """One list held against what was sent. `line_of` is the line of each sent number that came, suggestions included."""

    sent: tuple[str, ...]
    line_of: dict[str, ReceivedLine]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    doubled: tuple[str, ...]
    damaged: tuple[str, ...]
    suggestions: tuple[MisreadSuggestion, ...]
    taken_as: dict[str, str]
    masses: tuple[ReceivedMass, ...]
    findings: tuple[Finding, ...]
    judged: ReceivedMasses | None = field(default=None, repr=False)

    @property
    def agrees(self) -> bool:
        return not (self.missing or self.extra or self.doubled or self.damaged)


def compare_list(
    view: LoadView, lines: Sequence[ReceivedLine], *, taken_as: Mapping[str, str] | None = None
) -> Difference:
    """The list held against the load. `taken_as` are misread numbers that a person has settled: as written -> as sent."""
    taken, sent = dict(taken_as or {}), view.numbers
    sent_set = set(sent)
    _check_taken(taken, lines, sent_set, view.load.load_id)
    times = Counter(line.number for line in lines)
    line_of: dict[str, ReceivedLine] = {}
    for line in lines:
        number = taken.get(line.number, line.number)
        if number in sent_set:
            line_of.setdefault(number, line)
    doubled = tuple(number for number, count in times.items() if count > 1)
    missing = tuple(number for number in sent if number not in line_of)
    extra = tuple(number for number in times if number not in sent_set and number not in taken)
    damaged = tuple(number for number in sent if number in line_of and line_of[number].condition in DAMAGED)
    suggestions = suggest_numbers(unknown=extra, missing=missing)
    masses, judged = _masses(view, line_of)
    bags = {bag.number: bag for bag in view.bags}
    findings = [
        *_of_numbers(missing, doubled, damaged, suggestions, line_of, bags),
        *_of_sacks(view, line_of, bags),
        *mass_findings(view, masses, judged, bags),
    ]
    return Difference(
        sent=sent,
        line_of=line_of,
        missing=missing,
        extra=extra,
        doubled=doubled,
        damaged=damaged,
        suggestions=suggestions,
        taken_as=taken,
        masses=masses,
        findings=tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity))),
        judged=judged,
    )


def _check_taken(taken: dict[str, str], lines: Sequence[ReceivedLine], sent: set[str], where: str) -> None:
    listed = {line.number for line in lines}
    for written, number in taken.items():
        if written not in listed or written in sent:
            raise NotFound(f"{written[:40]} is no unknown number of this list", where=where, remedy="Look at the list again")
        if number not in sent or number in listed:
            raise RefusedByRule(
                f"{number[:40]} was not sent, or is on the list itself", where=where, remedy="Choose a missing number"
            )
    twice = [number for number, count in Counter(taken.values()).items() if count > 1]
    if twice:
        raise RefusedByRule(f"two numbers are taken as {twice[0]}", where=where, remedy="Settle one of them otherwise")


def _masses(
    view: LoadView, line_of: dict[str, ReceivedLine]
) -> tuple[tuple[ReceivedMass, ...], ReceivedMasses | None]:
    """Bags with a mass at the yard, in ticket order, judged by the drying of their own group."""
    bags = [bag for bag in view.bags if bag.mass_g is not None]
    laboratory_g = [line_of[bag.number].mass_g if bag.number in line_of else None for bag in bags]
    if not any(mass is not None for mass in laboratory_g):
        return (), None
    settings = view.rules.dispatch
    judged = compare_received(
        yard_kg=np.array([bag.mass_g / 1000 for bag in bags]),
        laboratory_kg=np.array([np.nan if mass is None else mass / 1000 for mass in laboratory_g]),
        group=[drying_group(bag) for bag in bags],
        settings=DryingSettings(
            usual_drying=settings.usual_drying,
            usual_drying_sd=settings.usual_drying_sd,
            most_drying=settings.most_drying,
            scale_sd=settings.scale_sd,
            scale_sd_kg=settings.scale_sd_kg,
        ),
        search=search_settings(settings),
    )
    masses = tuple(
        ReceivedMass(
            bag.number,
            bag.mass_g,
            mass,
            float(judged.expected_kg[at]),
            float(judged.score[at]),
            judged.verdict[at],
        )
        for at, (bag, mass) in enumerate(zip(bags, laboratory_g, strict=True))
    )
    return masses, judged


def drying_group(bag: Bag) -> str:
    """What dries alike: one rock, or one material."""
    return f"rock {bag.row.rock}" if bag.row.is_core else f"material {bag.row.material}"


def _of_numbers(
    missing: tuple[str, ...],
    doubled: tuple[str, ...],
    damaged: tuple[str, ...],
    suggestions: tuple[MisreadSuggestion, ...],
    line_of: dict[str, ReceivedLine],
    bags: dict[str, Bag],
) -> list[Finding]:
    findings = []
    for number in missing:
        near = [one.unknown for one in suggestions if one.suggestion == number]
        also = f"; {near[0]} on the list may be it" if near else ""
        findings.append(found("receipt.missing", f"{number} is not on the laboratory's list{also}", **_place(bags, number)))
    for one in suggestions:
        if one.suggestion is None:
            findings.append(
                found("receipt.extra", f"{one.unknown} was not sent, and is near no number that is missing",
                      evidence={"read": one.unknown})
            )  # fmt: skip
            continue
        others = [*one.rivals, *(f"{other} (also written)" for other in one.contested_by)]
        doubt = f"; as near: {', '.join(others)}" if others else ""
        findings.append(
            found(
                "receipt.misread",
                f"{one.unknown} was not sent; it is probably {one.suggestion}{doubt}",
                evidence={"read": one.unknown, "suggestion": one.suggestion, "distance": round(one.distance, 2)},
                **_place(bags, one.suggestion),
            )
        )
    findings += [
        found("receipt.doubled", f"{number} stands more than once on the list", **_place(bags, number))
        for number in doubled
    ]
    for number in damaged:
        line = line_of[number]
        said = f": {line.remark}" if line.remark else ""
        findings.append(found("receipt.damaged", f"{number} came {line.condition}{said}", **_place(bags, number)))
    return findings


def _place(bags: dict[str, Bag], number: str) -> dict:
    bag = bags.get(number)
    return {"number": number} | ({"hole_id": bag.hole_id, "tray": bag.tray} if bag else {})


def _of_sacks(view: LoadView, line_of: dict[str, ReceivedLine], bags: dict[str, Bag]) -> list[Finding]:
    """Seals and sacks the laboratory read, where they differ from what was sent."""
    findings = []
    for sack in view.sacks:
        lines = [line_of[number] for number in sack.sack.numbers if number in line_of]
        seals = sorted({line.seal for line in lines if line.seal and line.seal != sack.seal})
        if seals:
            findings.append(
                found(
                    "receipt.seal_differs",
                    f"sack {sack.sack_id} was sealed with {sack.seal or 'nothing'}, the laboratory read {', '.join(seals)}",
                    evidence={"sack": sack.sack_id, "sent": sack.seal, "read": " ".join(seals)},
                )
            )
        for number in sack.sack.numbers:
            line = line_of.get(number)
            if line is not None and line.sack and line.sack != sack.sack_id:
                findings.append(
                    found(
                        "receipt.other_sack",
                        f"{number} was sent in {sack.sack_id} and found in {line.sack}",
                        evidence={"sent": sack.sack_id, "read": line.sack},
                        **_place(bags, number),
                    )
                )
    return findings


def store_list(
    load_id: str,
    read: ListRead,
    *,
    received_at: datetime,
    received_by: str,
    lab_job: str = "",
    seals_intact: bool | None = None,
    desk: Desk,
    start_work: StartWork,
) -> Receipt:
    """Keep the list as it came; nothing is acted on yet."""
    with start_work() as work:
        view = view_load(work, load_id)
        if view.load.sent_at is None:
            raise RefusedByRule("this load was not sent yet", where=load_id, remedy="Send it first")
        if view.stands.state == "received":
            raise RefusedByRule("this load was received already", where=load_id, remedy="Look at the list that is there")
        now = desk.clock()
        checked_time(received_at, now=now, what="time of receipt")
        if any(one.sha256 == read.sha256 and one.confirmed_at is None for one in view.receipts):
            return next(one for one in view.receipts if one.sha256 == read.sha256 and one.confirmed_at is None)
        receipt = Receipt(
            receipt_id=desk.make_id(),
            load_id=load_id,
            received_at=received_at,
            utc_offset_min=desk.signer.utc_offset_min,
            received_by=checked_name(received_by, whose="received by"),
            lab_job=" ".join(lab_job.split())[:80],
            source=read.source,
            sha256=read.sha256,
            lines=read.lines,
            stored_at=now,
            stored_by=checked_name(desk.signer.person),
            seals_intact=seals_intact,
        )
        work.loads.add_receipt(receipt)
        work.commit()
    return receipt


def confirm_list(
    receipt_id: str, *, taken_as: Mapping[str, str], desk: Desk, start_work: StartWork
) -> Difference:
    """Act on a list: bags, sacks and the load are received in the ledger, with what is missing, extra and damaged."""
    with start_work() as work:
        receipt = work.loads.receipt(receipt_id)
        if receipt.confirmed_at is not None:
            raise ChangedMeanwhile(
                "this list was confirmed before", where=receipt.load_id, remedy="Look at the load again"
            )
        view = view_load(work, receipt.load_id)
        if view.stands.state != "on the road":
            raise RefusedByRule(
                "nobody has taken this load over yet" if view.stands.state == "open" else "this load was received already",
                where=receipt.load_id,
                remedy="Enter the hand-overs first, the last one to the laboratory",
            )
        difference = compare_list(view, receipt.lines, taken_as=taken_as)
        longest = max(len(difference.missing), len(difference.extra), len(difference.damaged))
        if longest > LONGEST_LIST:
            raise RefusedByRule(
                f"{longest} numbers differ", where=receipt.load_id, remedy="This is hardly the list of this load: check it"
            )
        record_all(work, _events(view, receipt, difference, desk), clock=desk.clock, where=receipt.load_id)
        work.loads.confirm_receipt(
            replace(
                receipt,
                confirmed_at=desk.clock(),
                confirmed_by=checked_name(desk.signer.person),
                taken_as=dict(taken_as),
            )
        )
        work.commit()
    return difference


def _events(view: LoadView, receipt: Receipt, difference: Difference, desk: Desk) -> list:
    at, by = receipt.received_at, {"by": receipt.received_by}
    if receipt.lab_job:
        by["lab_job"] = receipt.lab_job
    bags = {bag.number: bag for bag in view.bags}
    events = []
    for number, line in difference.line_of.items():
        bag = bags.get(number)
        if bag is None or bag.state == "void":
            continue
        values = by | ({"mass_g": line.mass_g} if line.mass_g is not None else {})
        reason = f"the laboratory's list says {line.number}" if line.number != number else None
        events.append(
            desk.act("received", "bag", number, at=at, values=values, reason=reason, hole_id=bag.hole_id)
        )
    for sack in view.sacks:
        if any(number in difference.line_of for number in sack.sack.numbers):
            events.append(desk.act("received", "sack", sack.sack_id, at=at, values=dict(by)))
    values = by | {
        "count": len(receipt.lines),
        "missing": list(difference.missing),
        "extra": list(difference.extra),
        "damaged": list(difference.damaged),
    }
    if receipt.seals_intact is not None:
        values["seals_intact"] = receipt.seals_intact
    events.append(desk.act("received", "load", view.load.load_id, at=at, values=values))
    return events


def confirmed(view: LoadView) -> tuple[Receipt, Difference] | None:
    """The list that was acted on, held against the load once more; None while nothing was received."""
    receipt = next((one for one in view.receipts if one.confirmed_at is not None), None)
    return None if receipt is None else (receipt, compare_list(view, receipt.lines, taken_as=receipt.taken_as))


def received_when(view: LoadView) -> datetime | None:
    fact = view.stands.latest("received")
    return moment(fact.event.captured_at) if fact else None
