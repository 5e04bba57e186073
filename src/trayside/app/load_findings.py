"""What keeps a load from being sent, and what its sender should look at first."""

from __future__ import annotations

from collections.abc import Iterator

from trayside.app.bag_views import Bag, HoleBags
from trayside.app.load_view import LoadedSack, LoadView
from trayside.app.saw_log import flushes_missing
from trayside.model.finding import SEVERITIES, Finding
from trayside.model.finding_kinds import found

CLOSED_TRAY = ("closed", "racked")
IN_ITS_SACK = ("sealed", "received")


def load_findings(view: LoadView) -> tuple[Finding, ...]:
    """Every finding on the load as it stands, gravest first."""
    findings = [
        *_of_load(view),
        *(one for sack in view.sacks for one in _of_sack(sack, view)),
        *_of_trays(view),
        *(one for witness in view.witness.values() for one in witness.findings),
        *view.saws,
        *_of_saw(view),
        *view.blocked_cuts,
    ]
    return tuple(sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)))


def _of_load(view: LoadView) -> Iterator[Finding]:
    name = view.load.load_id
    if not view.sacks:
        yield found("load.empty", f"{name} has no sack", evidence={"load": name})
    if not view.load.request.methods:
        yield found("load.no_methods", f"{name} asks for no method", evidence={"load": name})
    for contradiction in view.stands.conflicts:
        yield _conflict(name, contradiction.why, None)


def _of_sack(sack: LoadedSack, view: LoadView) -> Iterator[Finding]:
    name, numbers = sack.sack_id, sack.sack.numbers
    settings = view.rules.dispatch
    evidence = {"sack": name}
    if sack.sealed is None:
        yield found("sack.no_seal", f"sack {name} is {sack.state}, no seal was entered", evidence=evidence)
    else:
        counted = sack.sealed.values["bags"]
        if counted != len(numbers):
            yield found(
                "sack.count",
                f"sack {name} was sealed with {counted} bags, its list has {len(numbers)}",
                evidence=evidence | {"counted": counted, "listed": len(numbers)},
            )
        others = [other for other in view.seals.get(sack.seal, ()) if other != name]
        if others:
            yield found(
                "sack.seal_twice",
                f"seal {sack.seal} is on sack {name} and on {', '.join(others)}",
                evidence=evidence | {"seal": sack.seal},
            )
    contents, gross = sack.contents_g, sack.gross_g
    if contents is not None and gross is not None:
        expected = contents + settings.sack_tare_kg * 1000
        if abs(gross - expected) > settings.sack_tolerance * expected:
            yield found(
                "sack.mass_differs",
                f"sack {name} weighs {gross / 1000:.2f} kg, its bags and the sack {expected / 1000:.2f} kg",
                evidence=evidence | {"gross_g": gross, "contents_g": contents},
            )
    if contents is not None and contents > settings.sack_kg * 1000 + 0.5:
        yield found(
            "sack.heavy",
            f"sack {name} holds {contents / 1000:.2f} kg, the limit is {settings.sack_kg:g} kg",
            evidence=evidence | {"contents_g": contents},
        )
    for contradiction in sack.stands.conflicts:
        yield _conflict(f"sack {name}", contradiction.why, None)
    for number, bag in zip(numbers, sack.bags, strict=True):
        yield from _of_bag(number, bag, name)


def _of_bag(number: str, bag: Bag | None, sack_id: str) -> Iterator[Finding]:
    if bag is None:
        yield found(
            "load.bag_withdrawn",
            f"{number} stands on no newest revision",
            number=number,
            evidence={"sack": sack_id},
        )
        return
    place = {"hole_id": bag.hole_id, "tray": bag.tray, "number": number}
    if bag.state == "void":
        yield found("load.bag_void", f"{number} is void and in sack {sack_id}", evidence={"sack": sack_id}, **place)
        return
    if bag.state not in IN_ITS_SACK:
        yield found(
            "load.bag_open",
            f"{number} is {bag.state}, not in its sack",
            evidence={"sack": sack_id, "state": bag.state},
            **place,
        )
    if bag.mass_g is None:
        yield found("load.unweighed", f"{number} was never weighed", evidence={"sack": sack_id}, **place)
    fact = bag.stands.latest("sealed")
    if fact is not None and fact.values["sack"] != sack_id:
        yield found(
            "sack.other_bag",
            f"{number} was put into sack {fact.values['sack']}, the list of {sack_id} has it",
            evidence={"listed": sack_id, "recorded": fact.values["sack"]},
            **place,
        )
    for contradiction in bag.stands.conflicts:
        yield _conflict(number, contradiction.why, bag)


def _conflict(what: str, why: str, bag: Bag | None) -> Finding:
    place = {"hole_id": bag.hole_id, "tray": bag.tray, "number": bag.number} if bag else {}
    return found("load.conflict", f"{what}: {why}", evidence={"about": what}, **place)


def _of_trays(view: LoadView) -> Iterator[Finding]:
    """Trays that are not closed, and numbers of these trays that were left behind."""
    if view.load.sent_at is not None:
        return
    for hole_id, tray in view.trays:
        hole = view.holes[hole_id]
        state = hole.trays[tray].state if tray in hole.trays else "unknown"
        if state not in CLOSED_TRAY:
            yield found(
                "load.tray_open",
                f"tray {tray} of {hole_id} is {state}",
                hole_id=hole_id,
                tray=tray,
                evidence={"state": state},
            )
        elif (differs := _count_differs(hole, tray)) is not None:
            yield differs
        for bag in hole.of_trays([tray]):
            if bag.sack_id is None and bag.state not in ("void", *IN_ITS_SACK):
                yield found(
                    "load.left_behind",
                    f"{bag.number} of the same tray is {bag.state} and in no sack",
                    hole_id=hole_id,
                    tray=tray,
                    number=bag.number,
                    evidence={"state": bag.state},
                )


def _count_differs(hole: HoleBags, tray: int | None) -> Finding | None:
    """The bags counted when the tray was closed, against the numbers that are in use there now."""
    closed = hole.trays[tray].latest("tray_closed") if tray in hole.trays else None
    in_use = sum(bag.state != "void" for bag in hole.of_trays([tray]))
    if closed is None or closed.values["bags"] == in_use:
        return None
    counted = closed.values["bags"]
    return found(
        "load.tray_count",
        f"{counted} bags were counted when tray {tray} of {hole.hole_id} was closed, {in_use} numbers of it are in use",
        hole_id=hole.hole_id,
        tray=tray,
        evidence={"counted": counted, "in_use": in_use, "counted_by": closed.event.person},
    )


def _of_saw(view: LoadView) -> Iterator[Finding]:
    for hole_id, hole in view.holes.items():
        trays = {tray for name, tray in view.trays if name == hole_id}
        yield from flushes_missing(hole, rules=view.rules, trays=trays)
