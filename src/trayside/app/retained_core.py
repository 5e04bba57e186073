"""Kept core: how much of each interval is left, where it lies, and requests for more of it.

Nothing of this is stored. It is added up from what the ledger says was cut, put into bags and taken later:

    whole core 1  ->  half bagged 1/2  ->  a quarter taken 1/4  ->  the last piece 0, and only when somebody asked for it
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from trayside.app.bag_views import Bag, HoleBags, hole_bags
from trayside.app.bag_words import twins
from trayside.app.bench_sheet import keeps_core
from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.bag_states import Fact, ObjectState, state_in_ledger
from trayside.model.event import tray_object
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.hole import HoleCore

SHARE = {"whole": Fraction(1), "half": Fraction(1, 2), "quarter": Fraction(1, 4), "skeleton": Fraction(0), "none": Fraction(0)}
TAKEN = ("whole", "half", "quarter")
OUT_OF_THE_TRAY = ("bagged", "weighed", "sealed", "received")


@dataclass(frozen=True, slots=True)
class Kept:
    """One stretch of core with the same history. `left` is the share of the whole core that should lie in its tray.

    `skeleton`: the rest was left as pieces for reference. `returned` is None where nothing was cut.
    """

    from_mm: int
    to_mm: int
    left: Fraction
    skeleton: bool = False
    returned: bool | None = None
    tray: int | None = None
    numbers: tuple[str, ...] = ()
    requests: tuple[str, ...] = ()

    @property
    def word(self) -> str:
        """The share in the words of the ledger."""
        if self.left == 0:
            return "skeleton" if self.skeleton else "none"
        return next((word for word in TAKEN if SHARE[word] == self.left), str(self.left))


@dataclass(frozen=True, slots=True)
class RackPlace:
    rack: str
    shelf: str
    position: str

    def __str__(self) -> str:
        return " · ".join(part for part in (self.rack, self.shelf, self.position) if part)


@dataclass(frozen=True, slots=True)
class KeptCore:
    """The kept core of one hole, top to bottom, with the place of its trays and what is odd about it."""

    hole_id: str
    stretches: tuple[Kept, ...]
    places: dict[int, RackPlace]
    findings: tuple[Finding, ...]

    def between(self, from_mm: int, to_mm: int) -> tuple[Kept, ...]:
        return tuple(one for one in self.stretches if one.from_mm < to_mm and one.to_mm > from_mm)


def kept_core(work: Work, hole_id: str) -> KeptCore:
    """What is left of a hole by the ledger."""
    core = work.hole_core(hole_id)
    bags = hole_bags(work, hole_id)
    own = state_in_ledger(work.events_of_objects([("hole", hole_id)]).get(("hole", hole_id), ()), machine="hole")
    trays = tuple(tray.tray for tray in core.trays)
    histories = work.events_of_objects(("tray", tray_object(hole_id, tray)) for tray in trays)
    stands = {
        tray: state_in_ledger(histories.get(("tray", tray_object(hole_id, tray)), ()), machine="tray") for tray in trays
    }
    places = {tray: place for tray, state in stands.items() if (place := _place(state)) is not None}
    taken = [fact for fact in own.facts if fact.event.kind == "piece_taken"]
    stretches, findings = _stretches(core, bags, taken)
    return KeptCore(
        hole_id,
        stretches,
        places,
        (*findings, *_not_back(hole_id, bags), *_rack_twice(work, hole_id, places)),
    )


def _place(state: ObjectState) -> RackPlace | None:
    fact = state.latest("rack_placed")
    if fact is None:
        return None
    return RackPlace(*(str(fact.values.get(name) or "") for name in ("rack", "shelf", "position")))


def _stretches(
    core: HoleCore, hole: HoleBags | None, taken: list[Fact]
) -> tuple[tuple[Kept, ...], list[Finding]]:
    bags = [bag for bag in hole.bags if bag.row.is_core and _out(bag)] if hole else []
    keepers = _keepers(hole.bags) if hole else set()
    edges = {edge for tray in core.trays for edge in (tray.from_mm, tray.to_mm)}
    edges |= {edge for bag in bags for edge in (bag.row.from_mm, bag.row.to_mm)}
    edges |= {edge for fact in taken for edge in (fact.values["from_mm"], fact.values["to_mm"])}
    ordered = sorted(edges)
    stretches: list[Kept] = []
    over: dict[str, list[tuple[int, int]]] = {}
    for top, bottom in pairwise(ordered):
        tray = next((one.tray for one in core.trays if one.from_mm <= top and bottom <= one.to_mm), None)
        here = [bag for bag in bags if bag.row.from_mm <= top and bottom <= bag.row.to_mm]
        asked = [fact for fact in taken if fact.values["from_mm"] <= top and bottom <= fact.values["to_mm"]]
        if tray is None and not here and not asked:
            continue
        left, more = Fraction(1), False
        for bag in here:
            left -= SHARE[bag.row.portion or "half"]
        skeleton = left == 0 and any(bag.row.portion == "whole" for bag in here)
        for fact in asked:
            left -= SHARE[fact.values["taken"]]
            if left < 0 or SHARE[fact.values["left"]] > max(left, Fraction(0)):
                more = True
                over.setdefault(fact.event.event_id, []).append((top, bottom))
            left = min(max(left, Fraction(0)), SHARE[fact.values["left"]])
            skeleton = fact.values["left"] == "skeleton"
        back = [bag.stands.latest("kept_half_returned") is not None for bag in here if bag.number in keepers]
        stretches.append(
            Kept(
                top,
                bottom,
                max(left, Fraction(0)),
                skeleton and not more,
                all(back) if back else None,
                tray,
                tuple(bag.number for bag in here),
                tuple(str(fact.values["asked_by"]) for fact in asked),
            )
        )
    hole_id = core.hole.hole_id
    findings = []
    for fact in taken:
        spans = over.get(fact.event.event_id)
        if spans:
            findings.append(
                found(
                    "kept.more_taken",
                    f"{fact.values['taken']} was taken for {fact.values['asked_by']} and {fact.values['left']} said to be"
                    " left: there was less",
                    hole_id=hole_id,
                    from_mm=spans[0][0],
                    to_mm=spans[-1][1],
                    evidence={"event": fact.event.event_id, "taken": fact.values["taken"]},
                )
            )
    merged = _merged(stretches)
    findings += [
        found(
            "kept.none_left",
            f"nothing is left{' but a skeleton' if one.skeleton else ''} ({', '.join(one.numbers + one.requests)})",
            hole_id=hole_id,
            from_mm=one.from_mm,
            to_mm=one.to_mm,
            tray=one.tray,
        )
        for one in merged
        if one.left == 0
    ]
    return merged, findings


def _out(bag: Bag) -> bool:
    """Whether core left the tray for this bag: a void bag's core was cut out all the same once it was bagged."""
    return bag.state in OUT_OF_THE_TRAY or (bag.state == "void" and bag.stands.latest("bagged") is not None)


def _keepers(bags: Iterable[Bag]) -> set[str]:
    """Numbers of the bags after which part of the core goes back to its place."""
    core = [bag.row for bag in bags if bag.row.is_core]
    twin_of = twins(tuple(core))
    return {row.number for row in core if keeps_core(row, twin=twin_of.get(row.number))}


def _merged(stretches: list[Kept]) -> tuple[Kept, ...]:
    merged: list[Kept] = []
    for one in stretches:
        if merged and merged[-1].to_mm == one.from_mm and replace(
            one, from_mm=merged[-1].from_mm, to_mm=merged[-1].to_mm
        ) == merged[-1]:
            merged[-1] = replace(merged[-1], to_mm=one.to_mm)
        else:
            merged.append(one)
    return tuple(merged)


def _not_back(hole_id: str, hole: HoleBags | None) -> list[Finding]:
    if hole is None:
        return []
    keepers = _keepers(hole.bags)
    return [
        found(
            "kept.not_back",
            f"nobody said that the kept core of {bag.number} lies in its tray again",
            hole_id=hole_id,
            tray=bag.tray,
            number=bag.number,
            from_mm=bag.row.from_mm,
            to_mm=bag.row.to_mm,
        )
        for bag in hole.bags
        if bag.number in keepers
        and _out(bag)
        and bag.stands.latest("kept_half_returned") is None
        and bag.tray in hole.trays
        and hole.trays[bag.tray].state in ("closed", "racked")
    ]


def _rack_twice(work: Work, hole_id: str, places: dict[int, RackPlace]) -> list[Finding]:
    """Trays of this hole that lie where another tray of the yard lies."""
    if not places:
        return []
    held = rack_register(work)
    findings = []
    for tray, place in places.items():
        others = [name for name in held.get(place, ()) if name != tray_object(hole_id, tray)]
        if others and place.position:
            findings.append(
                found(
                    "kept.rack_twice",
                    f"tray {tray} and {', '.join(others)} are both said to lie at {place}",
                    hole_id=hole_id,
                    tray=tray,
                    evidence={"place": str(place), "others": " ".join(others)},
                )
            )
    return findings


def rack_register(work: Work) -> dict[RackPlace, tuple[str, ...]]:
    """Every place of the racks with the trays that were last put there."""
    found_at: dict[RackPlace, tuple[str, ...]] = {}
    for (_, name), events in work.events_of_objects(("tray", name) for name in work.loads.racked_trays()).items():
        place = _place(state_in_ledger(events, machine="tray"))
        if place is not None:
            found_at[place] = (*found_at.get(place, ()), name)
    return found_at


# later requests


@dataclass(frozen=True, slots=True)
class RequestCheck:
    """What a request for kept core would leave, and why it cannot be, or needs a word first."""

    stretches: tuple[Kept, ...]
    left_after: str
    takes_last: bool
    reasons: tuple[str, ...]


def check_request(kept: KeptCore, *, from_mm: int, to_mm: int, take: str) -> RequestCheck:
    """Whether so much may be taken here. The last piece is never taken unasked: that is told apart from what cannot be."""
    if take not in TAKEN:
        raise ImpossibleValue(f"no share {take[:20]!r}", where="request", remedy=f"One of: {', '.join(TAKEN)}")
    if from_mm >= to_mm or from_mm < 0:
        raise ImpossibleValue(
            "the bottom does not lie below the top", where=kept.hole_id, remedy="Look at both depths again"
        )
    stretches = kept.between(from_mm, to_mm)
    reasons = []
    reached = from_mm
    for one in stretches:
        if one.from_mm > reached:
            reasons.append(f"{_depths(reached, one.from_mm)}: no tray holds it")
        reached = max(reached, one.to_mm)
        if one.left < SHARE[take]:
            reasons.append(
                f"{_depths(max(one.from_mm, from_mm), min(one.to_mm, to_mm))}: {one.word} is left, {take} was asked for"
            )
    if reached < to_mm:
        reasons.append(f"{_depths(reached, to_mm)}: no tray holds it")
    lefts = {one.left - SHARE[take] for one in stretches}
    least = min(lefts, default=Fraction(0))
    word = next((word for word in ("whole", "half", "quarter") if SHARE[word] == least), "none" if least <= 0 else str(least))
    if not reasons and len(lefts) > 1:
        reasons.append("different shares are left along this stretch: ask for each part on its own")
    if not reasons and word not in SHARE:
        reasons.append(f"{least} of the core would be left, which the ledger has no word for")
    return RequestCheck(stretches, word, not reasons and least == 0, tuple(reasons))


def take_piece(
    hole_id: str,
    *,
    from_mm: int,
    to_mm: int,
    take: str,
    asked_by: str,
    purpose: str,
    last_piece: bool = False,
    reason: str = "",
    desk: Desk,
    start_work: StartWork,
) -> KeptCore:
    """Record that kept core was taken. The last piece only when that was said, with a reason."""
    who, why = " ".join(asked_by.split()), " ".join(reason.split())
    if not who:
        raise RefusedByRule("nobody is named who asked for it", where=hole_id, remedy="Say who asked")
    with start_work() as work:
        kept = kept_core(work, hole_id)
        check = check_request(kept, from_mm=from_mm, to_mm=to_mm, take=take)
        if check.reasons:
            raise RefusedByRule(
                "so much cannot be taken here", where=hole_id, remedy="Ask for less", reasons=check.reasons
            )
        if check.takes_last and not (last_piece and why):
            raise RefusedByRule(
                "this would take the last piece of the core",
                where=f"{hole_id} {_depths(from_mm, to_mm)}",
                remedy="Take less, or say that the last piece may go, and why",
            )
        values = {
            "from_mm": from_mm,
            "to_mm": to_mm,
            "taken": take,
            "left": check.left_after,
            "asked_by": who,
            "purpose": " ".join(purpose.split()) or None,
        }
        values = {name: value for name, value in values.items() if value is not None}
        event = desk.act("piece_taken", "hole", hole_id, values=values, hole_id=hole_id, reason=why or None)
        record_all(work, [event], clock=desk.clock, where=hole_id)
        after = kept_core(work, hole_id)
        work.commit()
    return after


def place_tray(
    hole_id: str, tray: int, *, rack: str, shelf: str = "", position: str = "", desk: Desk, start_work: StartWork
) -> None:
    """The tray lies in the rack. A place that is taken is refused at the desk: one of the two entries is wrong."""
    place = RackPlace(*(" ".join(text.split()) for text in (rack, shelf, position)))
    if not place.rack:
        raise RefusedByRule("no rack was named", where=hole_id, remedy="Say in which rack the tray lies")
    name = tray_object(hole_id, tray)
    with start_work() as work:
        if tray not in {one.tray for one in work.hole_core(hole_id).trays}:
            raise RefusedByRule(f"{hole_id} has no tray {tray}", where=hole_id, remedy="Look at the number of the tray")
        others = [other for other in rack_register(work).get(place, ()) if other != name]
        if others and place.position:
            raise RefusedByRule(f"{others[0]} lies at {place}", where=name, remedy="Look there, then enter the right place")
        values = {key: text for key, text in (("rack", place.rack), ("shelf", place.shelf), ("position", place.position)) if text}
        event = desk.act("rack_placed", "tray", name, values=values, hole_id=hole_id, tray=tray)
        record_all(work, [event], clock=desk.clock, where=name)
        work.commit()


def _depths(from_mm: int, to_mm: int) -> str:
    return f"{from_mm / 1000:.2f}–{to_mm / 1000:.2f} m"
