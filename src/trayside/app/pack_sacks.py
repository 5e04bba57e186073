"""Weighed bags into sacks, in ticket order, under a limit of mass and of bags; and the sacks sealed.

Four ways of packing. `alike` is the one that tells a laboratory nothing: every sack but the last holds as many bags, the
most that fit wherever the heaviest stretch of bags lies. In the other ways light controls let more bags into a sack, so
that its count says something about what is in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trayside.app.bag_views import Bag, HoleBags, hole_bags, ticket_order
from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.app.yard_rules import rules_of
from trayside.core.sack_packing import SackPlan, pack_sacks
from trayside.errors import ImpossibleValue, RefusedByRule
from trayside.model.bag_states import ObjectState, state_in_ledger
from trayside.model.load import Sack, checked_code
from trayside.model.person import checked_name
from trayside.model.rules import DispatchSettings

PACKINGS = ("alike", "fewest", "balanced", "together")
IN_SACK_ALREADY = ("sealed", "received", "void")


@dataclass(frozen=True, slots=True)
class TrayReady:
    """A tray with bags that are in no sack yet, and what keeps it from being packed ('' when nothing does)."""

    hole_id: str
    tray: int
    bags: tuple[Bag, ...]
    why_not: tuple[str, ...]

    @property
    def ready(self) -> bool:
        return not self.why_not

    @property
    def mass_kg(self) -> float:
        return sum(bag.mass_g or 0 for bag in self.bags) / 1000


@dataclass(frozen=True, slots=True)
class Packing:
    """One way of filling the sacks."""

    way: str
    plan: SackPlan
    says: str


def trays_to_pack(hole: HoleBags) -> tuple[TrayReady, ...]:
    """The trays of a hole at which something was done and whose bags are not all in sacks, top to bottom."""
    waiting = []
    for tray, stands in sorted(hole.trays.items()):
        bags = hole.of_trays([tray])
        left = tuple(bag for bag in bags if bag.sack_id is None and bag.state not in IN_SACK_ALREADY)
        begun = stands.facts or any(bag.stands.facts for bag in bags)
        if not left or not begun:
            continue
        why_not = [f"{bag.number} is {_open_word(bag)}" for bag in left if not bag.ready]
        if stands.state not in ("closed", "racked"):
            why_not.insert(0, f"the tray is {stands.state}, not closed")
        waiting.append(TrayReady(hole.hole_id, tray, left, tuple(why_not)))
    return tuple(waiting)


def _open_word(bag: Bag) -> str:
    if bag.mass_g is None and bag.state in ("bagged", "inserted"):
        return f"{bag.state}, not weighed"
    return bag.state


def packings(
    mass_kg: Sequence[float], *, group: Sequence[str], settings: DispatchSettings
) -> tuple[Packing, ...]:
    """Every way of filling sacks with these bags in this order; the same refusal for all when one bag is too heavy."""
    limits = {"mass_kg": mass_kg, "most_kg": settings.sack_kg, "most_bags": settings.sack_bags}
    fewest = pack_sacks(**limits, way="fewest", group=group)
    alike = _alike(mass_kg, fewest, settings, group)
    balanced = pack_sacks(**limits, way="balanced", group=group)
    together = pack_sacks(**limits, way="together", group=group)
    return (
        Packing("alike", alike, _alike_says(alike, fewest)),
        Packing("fewest", fewest, fewest.says),
        Packing("balanced", balanced, balanced.says),
        Packing("together", together, together.says),
    )


def _alike(
    mass_kg: Sequence[float], fewest: SackPlan, settings: DispatchSettings, group: Sequence[str]
) -> SackPlan:
    """As many bags in each sack as fit into the heaviest stretch of that many."""
    sums = np.concatenate([[0.0], np.cumsum(np.asarray(mass_kg, dtype=np.float64))])
    most = min(settings.sack_bags, len(mass_kg))
    limit = settings.sack_kg + 1e-9
    count = next((n for n in range(most, 1, -1) if (sums[n:] - sums[:-n]).max() <= limit), 1)
    plan = pack_sacks(mass_kg=mass_kg, most_kg=settings.sack_kg, most_bags=count, way="fewest", group=group)
    return replace(
        plan,
        way="alike",
        fewest_sacks=fewest.fewest_sacks,
        heaviest_when_fewest_kg=fewest.heaviest_when_fewest_kg,
        torn_when_fewest=fewest.torn_when_fewest,
    )


def _alike_says(plan: SackPlan, fewest: SackPlan) -> str:
    if not plan.sacks:
        return plan.says
    count, each = len(plan.sacks), plan.sacks[0].bags
    return (
        f"{count} sack{'s' * (count != 1)} of {each} bag{'s' * (each != 1)}, heaviest {plan.heaviest_kg:.2f} kg; the count"
        f" of bags says nothing about what is in them; filled in turn: {fewest.fewest_sacks}, heaviest"
        f" {fewest.heaviest_kg:.2f} kg"
    )


def chosen_trays(work: Work, trays: Sequence[tuple[str, int]]) -> tuple[list[Bag], dict[str, str]]:
    """The bags of these trays in ticket order, with the hole of each; RefusedByRule when one is not ready."""
    holes = {hole_id: hole_bags(work, hole_id) for hole_id in dict.fromkeys(hole_id for hole_id, _ in trays)}
    bags: list[Bag] = []
    serials: dict[str, tuple[str, int]] = {}
    reasons: list[str] = []
    for hole_id, tray in dict.fromkeys(trays):
        hole = holes[hole_id]
        waiting = next((one for one in trays_to_pack(hole) if one.tray == tray), None) if hole else None
        if waiting is None:
            reasons.append(f"{hole_id} tray {tray}: no bag of it waits for a sack")
            continue
        reasons += [f"{hole_id} tray {tray}: {why}" for why in waiting.why_not]
        bags += waiting.bags
        serials |= hole.serials
    if reasons or not bags:
        raise RefusedByRule(
            "these trays cannot be packed yet",
            where="sacks",
            remedy="Finish, weigh or void the bags that are named and close their trays",
            reasons=tuple(reasons),
        )
    return ticket_order(bags, serials), {bag.number: bag.hole_id for bag in bags}


def pack(
    trays: Sequence[tuple[str, int]], *, way: str | None = None, desk: Desk, start_work: StartWork
) -> tuple[Sack, ...]:
    """List the bags of these trays in new sacks. Nothing is said yet of what was done: that is `seal_sack`."""
    packed_by = checked_name(desk.signer.person)
    with start_work() as work:
        settings = rules_of(work).dispatch
        way = way or settings.packing
        if way not in PACKINGS:
            raise ImpossibleValue(f"no way {way[:40]!r} of packing", where="sacks", remedy=f"One of: {', '.join(PACKINGS)}")
        bags, hole_of = chosen_trays(work, trays)
        options = packings(
            [bag.mass_g / 1000 for bag in bags], group=[hole_of[bag.number] for bag in bags], settings=settings
        )
        chosen = next(option for option in options if option.way == way)
        now = desk.clock()
        sacks = tuple(
            Sack(sack_id, tuple(bag.number for bag in bags[one.first : one.last + 1]), now, packed_by, chosen.says)
            for sack_id, one in zip(
                work.loads.new_sack_ids(len(chosen.plan.sacks)), chosen.plan.sacks, strict=True
            )
        )
        work.loads.add_sacks(sacks)
        work.commit()
    return sacks


def undo_sack(sack_id: str, *, desk: Desk, start_work: StartWork) -> None:
    """Take the list of a sack back, as long as nothing was done with it."""
    with start_work() as work:
        sack = work.loads.sack(sack_id)
        if sack.load_id is not None or sack_state(work, sack_id).facts or _acts_on_bags(work, sack):
            raise RefusedByRule(
                "bags were put into this sack, or it is on a load",
                where=sack_id,
                remedy="Take a bag out with a reason, or take the sack off the load first",
            )
        work.loads.undo_sack(sack_id, at=desk.clock(), by=checked_name(desk.signer.person))
        work.commit()


def _acts_on_bags(work: Work, sack: Sack) -> bool:
    histories = work.events_of_objects(("bag", number) for number in sack.numbers)
    return any(one.event.kind == "sealed" for events in histories.values() for one in events)


def sack_state(work: Work, sack_id: str) -> ObjectState:
    return state_in_ledger(work.events_of_objects([("sack", sack_id)]).get(("sack", sack_id), ()), machine="sack")


def seal_sack(
    sack_id: str,
    *,
    seal: str,
    counted: int,
    gross_g: int | None = None,
    desk: Desk,
    start_work: StartWork,
) -> None:
    """The bags of the list are in the sack, were counted, and the sack is sealed: acts of every bag and of the sack."""
    seal = checked_code(seal, "seal")
    with start_work() as work:
        sack = work.loads.sack(sack_id)
        if sack_state(work, sack_id).state != "open":
            raise RefusedByRule("this sack is sealed already", where=sack_id, remedy="Enter a new seal with a reason")
        if counted != len(sack.numbers):
            raise RefusedByRule(
                f"{counted} bags were counted, {len(sack.numbers)} are on the list",
                where=sack_id,
                remedy="Hold the bags against the list, then count again",
            )
        refuse_used_seal(work, seal, except_sack=sack_id)
        tickets = work.tickets(sack.numbers)
        at = desk.clock()
        events = []
        for number in sack.numbers:
            ticket = tickets.get(number)
            place = {"hole_id": ticket.hole_id, "sheet_id": ticket.sheet_id} if ticket else {}
            events.append(desk.act("sealed", "bag", number, at=at, values={"sack": sack_id}, **place))
        values = {"seal": seal, "bags": counted, "first": sack.numbers[0], "last": sack.numbers[-1]}
        if gross_g is not None:
            weighed = {"mass_g": gross_g, "read": "typed"}
            events.append(desk.act("weighed", "sack", sack_id, at=at, values=weighed))
        events.append(desk.act("sack_sealed", "sack", sack_id, at=at, values=values))
        record_all(work, events, clock=desk.clock, where=sack_id)
        work.commit()


def reseal_sack(
    sack_id: str, *, seal: str, reason: str, leave_out: Sequence[str] = (), desk: Desk, start_work: StartWork
) -> None:
    """Correct the seal of a sealed sack, or take void bags out of it under a new seal. The first seal stays visible."""
    seal, reason = checked_code(seal, "seal"), " ".join(reason.split())
    if not reason:
        raise RefusedByRule("a new seal needs a reason", where=sack_id, remedy="Say why, in a few words")
    with start_work() as work:
        sack = work.loads.sack(sack_id)
        stands = sack_state(work, sack_id)
        fact = stands.latest("sack_sealed")
        if fact is None or stands.state not in ("sealed", "loaded"):
            raise RefusedByRule("this sack is not sealed, or has arrived", where=sack_id, remedy="Look at the sack again")
        sent = sack.load_id is not None and work.loads.load(sack.load_id).sent_at is not None
        strangers = sorted(set(leave_out) - set(sack.numbers))
        if strangers or (leave_out and sent):
            raise RefusedByRule(
                f"{strangers[0]} is not in this sack" if strangers else "the load was sent, its lists are frozen",
                where=sack_id,
                remedy="Look at the sack again",
            )
        histories = work.events_of_objects(("bag", number) for number in leave_out)
        for number in leave_out:
            if state_in_ledger(histories.get(("bag", number), ()), machine="bag").state != "void":
                raise RefusedByRule(
                    f"{number} is not void", where=sack_id, remedy="Void the number with a reason, then take it out"
                )
        refuse_used_seal(work, seal, except_sack=sack_id)
        left = [number for number in sack.numbers if number not in set(leave_out)]
        if not left:
            raise RefusedByRule("no bag would be left in it", where=sack_id, remedy="Leave the sack off the load")
        values = {"verdict": "restated", "seal": seal, "bags": len(left), "first": left[0], "last": left[-1]}
        correction = desk.act(
            "corrected", "sack", sack_id, values=values, reason=reason, corrects=fact.event.event_id
        )
        work.loads.leave_out(sack_id, leave_out)
        record_all(work, [correction], clock=desk.clock, where=sack_id)
        work.commit()


def refuse_used_seal(work: Work, seal: str, *, except_sack: str) -> None:
    other = seals_in_use(work).get(seal)
    if other not in (None, except_sack):
        raise RefusedByRule(
            f"seal {seal} is on sack {other} already", where=except_sack, remedy="Read both seals again"
        )


def seals_in_use(work: Work) -> dict[str, str]:
    """Sack by seal, over all sacks of the store."""
    sacks = work.loads.sacks()
    histories = work.events_of_objects(("sack", sack.sack_id) for sack in sacks)
    found = {}
    for sack in sacks:
        fact = state_in_ledger(histories.get(("sack", sack.sack_id), ()), machine="sack").latest("sack_sealed")
        if fact is not None:
            found.setdefault(fact.values["seal"], sack.sack_id)
    return found
