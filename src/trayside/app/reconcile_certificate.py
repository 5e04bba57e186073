"""The numbers of a certificate against what was sent: missing, extra, probably misread, twice, never received."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from trayside.app.ports import Ticket, Work
from trayside.core.misread_numbers import MisreadSuggestion, suggest_numbers
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found

LEAST_OF_LOAD = 0.1
LEAST_OF_CERTIFICATE = 0.5
"""A load counts as the one reported when so much of it is on the certificate, so much of the certificate is of it, or the
job is its own."""
SPARSE = 0.3
"""A certificate with less than this of the numbers between its first and its last is a choice of them: check assays."""
WHOLE_LOAD = 0.8
"""From this part of the load on, a certificate is taken for the report on all of it."""
LONGEST_GAP = 5
"""So many numbers in a row that lie between reported ones are missing; more are a sack that is reported later."""
MOST_NAMED = 40
MOST_COMPARED = 1_000


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """Numbers held against what was sent: by loads, or where none was made, by the issued sheets.

    `elsewhere` were sent and are reported by another certificate, `waiting` by none so far: loads come back in parts.
    `sparse` says that it reports a choice of them, as check assays do.
    `missing` lie among the numbers of this certificate. `loose` are issued and on none of these loads.
    """

    basis: Literal["loads", "sheets", "nothing"]
    loads: tuple[str, ...]
    sent: tuple[str, ...]
    came: tuple[str, ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    doubled: tuple[str, ...]
    loose: tuple[str, ...]
    elsewhere: tuple[str, ...]
    waiting: tuple[str, ...]
    sparse: bool
    suggestions: tuple[MisreadSuggestion, ...]
    holes: dict[str, str]

    @property
    def agrees(self) -> bool:
        return not (self.missing or self.extra or self.doubled)


def reconcile(
    work: Work, lines: Iterable[tuple[str, str]], *, laboratory: str, job: str, leave_out: Sequence[str] = ()
) -> Reconciliation:
    """`lines` are (number, line kind). Certificates in `leave_out` (itself, the one it supersedes) do not count."""
    times = Counter(number for number, kind in lines if kind == "sample")
    numbers = tuple(times)
    tickets = work.tickets(numbers)
    loads = _loads(work, numbers, laboratory=laboratory, job=job)
    basis: Literal["loads", "sheets", "nothing"] = "loads" if loads else "sheets" if tickets else "nothing"
    if loads:
        sent = tuple(number for load_numbers in loads.values() for number in load_numbers)
    else:
        sent = _between(work, tickets)
    sent_set, came = set(sent), set(numbers)
    absent = [number for number in sent if number not in came]
    others = work.assays.certificates_of_numbers(absent)
    elsewhere = tuple(number for number in absent if set(others.get(number, ())) - set(leave_out))
    sparse = _is_sparse(sent, came)
    missing, waiting = ((), ()) if sparse else _missing(sent, came, set(elsewhere))
    extra = tuple(number for number in numbers if number not in tickets and number not in sent_set)
    loose = tuple(number for number in numbers if loads and number in tickets and number not in sent_set)
    if basis == "nothing":
        suggestions: tuple[MisreadSuggestion, ...] = ()
    else:
        suggestions = suggest_numbers(unknown=extra[:MOST_COMPARED], missing=missing[:MOST_COMPARED])
    known = tickets | work.tickets(missing)
    return Reconciliation(
        basis=basis,
        loads=tuple(loads),
        sent=sent,
        came=numbers,
        missing=missing,
        extra=extra,
        doubled=tuple(number for number, count in times.items() if count > 1),
        loose=loose,
        elsewhere=elsewhere,
        waiting=waiting,
        sparse=sparse,
        suggestions=suggestions,
        holes={number: ticket.hole_id for number, ticket in known.items()},
    )


def _is_sparse(sent: Sequence[str], came: set[str]) -> bool:
    places = [place for place, number in enumerate(sent) if number in came]
    return bool(places) and len(places) < SPARSE * (places[-1] - places[0] + 1)


def _missing(sent: Sequence[str], came: set[str], elsewhere: set[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Of the sent numbers that nobody reports: those missing from this certificate, and those that may come later."""
    places = [place for place, number in enumerate(sent) if number in came]
    if not places:
        return (), tuple(number for number in sent if number not in elsewhere)
    whole = len(places) >= WHOLE_LOAD * len(sent)
    missing: list[str] = []
    waiting: list[str] = []
    run: list[str] = []
    for place, number in enumerate((*sent, "")):
        if number and number not in came and number not in elsewhere:
            run.append(number)
            continue
        within = places[0] < place - len(run) and place <= places[-1]
        (missing if whole or (within and len(run) <= LONGEST_GAP) else waiting).extend(run)
        run = []
    return tuple(missing), tuple(waiting)


def _loads(work: Work, numbers: Sequence[str], *, laboratory: str, job: str) -> dict[str, tuple[str, ...]]:
    """Numbers by load, of the loads this certificate reports."""
    sacks = work.loads.sack_of(numbers)
    touched: Counter[str] = Counter()
    load_of = {sack_id: work.loads.sack(sack_id).load_id for sack_id in set(sacks.values())}
    for sack_id in sacks.values():
        if load_of[sack_id] is not None:
            touched[load_of[sack_id]] += 1
    found: dict[str, tuple[str, ...]] = {}
    for load in work.loads.loads():
        own_job = bool(job) and any(
            receipt.lab_job == job and load.request.laboratory == laboratory for receipt in work.loads.receipts(load.load_id)
        )
        if not (own_job or touched[load.load_id]):
            continue
        held = tuple(number for sack in work.loads.sacks(load.load_id) for number in sack.numbers)
        enough = touched[load.load_id] >= min(LEAST_OF_LOAD * len(held), LEAST_OF_CERTIFICATE * len(numbers))
        if own_job or enough:
            found[load.load_id] = held
    return found


def _between(work: Work, tickets: dict[str, Ticket]) -> tuple[str, ...]:
    """Without a load: the issued numbers of the same sheets that lie between the first and the last reported."""
    found: list[str] = []
    for hole_id in sorted({ticket.hole_id for ticket in tickets.values()}):
        serials = work.sheet_numbers(hole_id)
        reported: dict[str, list[int]] = {}
        for number, ticket in tickets.items():
            if ticket.hole_id == hole_id and number in serials:
                prefix, serial = serials[number]
                reported.setdefault(prefix, []).append(serial)
        near = [
            number
            for number, (prefix, serial) in serials.items()
            if prefix in reported and min(reported[prefix]) <= serial <= max(reported[prefix])
        ]
        issued = work.tickets(near)
        found += sorted(
            (number for number in near if number in issued and issued[number].revision == issued[number].newest),
            key=lambda number: serials[number],
        )
    return tuple(found)


def reconciliation_findings(held: Reconciliation) -> list[Finding]:
    """What does not agree, number by number, gravest first; long lists are told in one."""

    def place(number: str) -> dict:
        return {"number": number, "hole_id": held.holes.get(number)}

    findings = []
    if held.basis == "nothing":
        count = len(held.came)
        message = f"none of the {count} numbers is on an issued sheet of this yard"
        return [found("certificate.unknown_samples", message, evidence={"numbers": count})] if count else []
    near = {one.suggestion: one.unknown for one in held.suggestions if one.suggestion is not None}
    for number in held.missing[:MOST_NAMED]:
        also = f"; {near[number]} on it may be this one" if number in near else ""
        findings.append(found("certificate.missing", f"{number} was sent and is not on the certificate{also}", **place(number)))
    if len(held.missing) > MOST_NAMED:
        rest = len(held.missing) - MOST_NAMED
        findings.append(
            found("certificate.missing", f"and {rest} more numbers that are not on the certificate", evidence={"numbers": rest})
        )
    for one in held.suggestions[:MOST_NAMED]:
        if one.suggestion is None:
            message = f"{one.unknown} is on the certificate, was never issued and is near no number that is missing"
            findings.append(found("certificate.extra", message, evidence={"read": one.unknown}))
            continue
        rivals = [*one.rivals, *(f"{other} (also written)" for other in one.contested_by)]
        doubt = f"; as near: {', '.join(rivals)}" if rivals else ""
        findings.append(
            found(
                "certificate.misread",
                f"{one.unknown} was never issued; it is probably {one.suggestion}{doubt}",
                evidence={"read": one.unknown, "suggestion": one.suggestion, "distance": round(one.distance, 2)},
                **place(one.suggestion),
            )
        )
    if len(held.extra) > MOST_NAMED:
        rest = len(held.extra) - MOST_NAMED
        findings.append(found("certificate.extra", f"and {rest} more numbers that were never issued", evidence={"numbers": rest}))
    for number in held.doubled[:MOST_NAMED]:
        findings.append(found("certificate.doubled", f"{number} stands on more than one line as a sample", **place(number)))
    if held.sparse:
        message = f"{len(held.came)} numbers out of {len(held.sent)}: taken for a choice of them, so none is missed"
        findings.append(found("certificate.part", message, evidence={"numbers": len(held.came)}))
    if held.waiting:
        message = f"{len(held.waiting)} of {len(held.sent)} numbers sent are on no certificate yet"
        findings.append(found("certificate.not_yet", message, evidence={"numbers": len(held.waiting)}))
    if held.loose:
        some = ", ".join(held.loose[:5])
        message = f"{len(held.loose)} numbers are issued but were not on {' or '.join(held.loads)}: {some}"
        findings.append(found("certificate.not_on_load", message, evidence={"numbers": len(held.loose)}))
    if held.basis == "sheets" and held.came:
        message = f"no load holds these {len(held.came)} numbers; they are held against the issued sheets"
        findings.append(found("certificate.no_load", message, evidence={"numbers": len(held.came)}))
    return findings
