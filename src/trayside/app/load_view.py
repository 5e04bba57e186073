"""Everything about one load, read in one transaction: its sacks, bags, masses, hand-overs and received lists."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from csv import writer
from dataclasses import dataclass

from trayside.app.bag_views import Bag, HoleBags, hole_bags
from trayside.app.mass_lessons import hear_saws
from trayside.app.mass_witness import Witness, hear_masses
from trayside.app.ports import LedgerHead, Work
from trayside.app.saw_views import blocked_cuts
from trayside.app.yard_rules import rules_of
from trayside.model.bag_states import Fact, ObjectState, state_in_ledger
from trayside.model.finding import Finding
from trayside.model.load import Load, Receipt, Sack
from trayside.model.rules import Rules

LIST_COLUMNS = ("line", "number", "sack", "seal")
LEAST_FOR_MASS = 10
"""A load of fewer bags prints no mass for the laboratory: it could be that of a control."""


@dataclass(frozen=True, slots=True)
class LoadedSack:
    """A sack with where it stands and the bags on its list. A bag is None when no issued sheet knows its number."""

    sack: Sack
    stands: ObjectState
    bags: tuple[Bag | None, ...]

    @property
    def sack_id(self) -> str:
        return self.sack.sack_id

    @property
    def state(self) -> str:
        return self.stands.state

    @property
    def sealed(self) -> Fact | None:
        return self.stands.latest("sack_sealed")

    @property
    def seal(self) -> str:
        return str(self.sealed.values["seal"]) if self.sealed else ""

    @property
    def gross_g(self) -> int | None:
        fact = self.stands.latest("weighed")
        return fact.values["mass_g"] if fact else None

    @property
    def contents_g(self) -> int | None:
        """Sum of its bags; None while one of them was never weighed."""
        masses = [bag.mass_g if bag else None for bag in self.bags]
        return None if None in masses else sum(masses)


@dataclass(frozen=True, slots=True)
class LoadView:
    """One load as the screens, the papers and the use cases see it. `head` is the newest event of the ledger now."""

    load: Load
    rules: Rules
    sacks: tuple[LoadedSack, ...]
    stands: ObjectState
    holes: dict[str, HoleBags]
    witness: dict[str, Witness]
    receipts: tuple[Receipt, ...]
    head: LedgerHead
    seals: dict[str, tuple[str, ...]]
    """Sacks of the whole store by seal, for the seals of this load."""
    saws: tuple[Finding, ...] = ()
    """Saws that cut beside their setting, by the masses of the holes on it."""
    blocked_cuts: tuple[Finding, ...] = ()
    """Bags that were cut while their saw was not to run."""

    @property
    def numbers(self) -> tuple[str, ...]:
        """In ticket order, as they lie in the sacks."""
        return tuple(number for sack in self.sacks for number in sack.sack.numbers)

    @property
    def bags(self) -> tuple[Bag, ...]:
        return tuple(bag for sack in self.sacks for bag in sack.bags if bag is not None)

    @property
    def mass_kg(self) -> float:
        return sum(bag.mass_g or 0 for bag in self.bags) / 1000

    @property
    def trays(self) -> tuple[tuple[str, int | None], ...]:
        """Hole and tray of every bag, each once."""
        return tuple(dict.fromkeys((bag.hole_id, bag.tray) for bag in self.bags))

    @property
    def hand_overs(self) -> tuple[Fact, ...]:
        """By the time they were signed for, whenever they were entered."""
        facts = [fact for fact in self.stands.facts if fact.event.kind == "handed_over"]
        return tuple(sorted(facts, key=lambda fact: fact.event.captured_at))


def view_load(work: Work, load_id: str) -> LoadView:
    """Read one load; NotFound when there is none of that name."""
    load = work.loads.load(load_id)
    rules = rules_of(work)
    sacks = work.loads.sacks(load_id)
    holes, loaded = loaded_sacks(work, sacks)
    stock = work.stock()
    witness = {}
    for hole_id, hole in holes.items():
        touched = {bag.tray for one in loaded for bag in one.bags if bag is not None and bag.hole_id == hole_id}
        witness[hole_id] = hear_masses(hole.of_trays(touched), rules=rules, stock=stock)
    own = work.events_of_objects([("load", load_id)]).get(("load", load_id), ())
    return LoadView(
        load=load,
        rules=rules,
        sacks=loaded,
        stands=state_in_ledger(own, machine="load"),
        holes=holes,
        witness=witness,
        saws=tuple(
            told
            for hole_id, hole in holes.items()
            for told in hear_saws(hole, core=work.hole_core(hole_id), rules=rules, stock=stock)
        ),
        receipts=work.loads.receipts(load_id),
        head=work.ledger_head(),
        seals=_sacks_by_seal(work, {one.seal for one in loaded if one.seal}),
        blocked_cuts=blocked_cuts(work, (bag for one in loaded for bag in one.bags if bag is not None), rules=rules),
    )


@dataclass(frozen=True, slots=True)
class LoadLine:
    """A load in a list: how much is on it, where it stands, who holds it."""

    load: Load
    sacks: int
    bags: int
    state: str
    holder: str


def load_lines(work: Work) -> tuple[LoadLine, ...]:
    """Every load, newest first; bags and masses are not read for it."""
    loads = work.loads.loads()
    histories = work.events_of_objects(("load", load.load_id) for load in loads)
    counts: dict[str, tuple[int, int]] = {}
    for sack in work.loads.sacks():
        if sack.load_id is not None:
            sacks, bags = counts.get(sack.load_id, (0, 0))
            counts[sack.load_id] = sacks + 1, bags + len(sack.numbers)
    lines = []
    for load in loads:
        stands = state_in_ledger(histories.get(("load", load.load_id), ()), machine="load")
        given = sorted(
            (fact for fact in stands.facts if fact.event.kind == "handed_over"), key=lambda fact: fact.event.captured_at
        )
        holder = str(given[-1].values["to_person"]) if given else load.sent_by
        lines.append(LoadLine(load, *counts.get(load.load_id, (0, 0)), stands.state, holder))
    return tuple(lines)


def loaded_sacks(work: Work, sacks: Sequence[Sack]) -> tuple[dict[str, HoleBags], tuple[LoadedSack, ...]]:
    """The sacks with their bags, and the holes these bags come from."""
    tickets = work.tickets(number for sack in sacks for number in sack.numbers)
    holes: dict[str, HoleBags] = {}
    for hole_id in dict.fromkeys(ticket.hole_id for _, ticket in sorted(tickets.items())):
        held = hole_bags(work, hole_id)
        if held is not None:
            holes[hole_id] = held
    by_number = {bag.number: bag for hole in holes.values() for bag in hole.bags}
    histories = work.events_of_objects(("sack", sack.sack_id) for sack in sacks)
    return holes, tuple(
        LoadedSack(
            sack,
            state_in_ledger(histories.get(("sack", sack.sack_id), ()), machine="sack"),
            tuple(by_number.get(number) for number in sack.numbers),
        )
        for sack in sacks
    )


def _sacks_by_seal(work: Work, seals: set[str]) -> dict[str, tuple[str, ...]]:
    if not seals:
        return {}
    sacks = work.loads.sacks()
    histories = work.events_of_objects(("sack", sack.sack_id) for sack in sacks)
    found: dict[str, tuple[str, ...]] = {}
    for sack in sacks:
        fact = state_in_ledger(histories.get(("sack", sack.sack_id), ()), machine="sack").latest("sack_sealed")
        if fact is not None and fact.values["seal"] in seals:
            found[fact.values["seal"]] = (*found.get(fact.values["seal"], ()), sack.sack_id)
    return found


def laboratory_lines(view: LoadView) -> tuple[tuple[str, ...], ...]:
    """What the laboratory is told of each bag, in ticket order: nothing that a control and a sample do not share."""
    lines = []
    for sack in view.sacks:
        for number in sack.sack.numbers:
            lines.append((str(len(lines) + 1), number, sack.sack_id, sack.seal))
    return tuple(lines)


def laboratory_csv(view: LoadView) -> str:
    """The laboratory's list as CSV."""
    text = io.StringIO()
    table = writer(text, lineterminator="\r\n")
    table.writerow(LIST_COLUMNS)
    table.writerows(laboratory_lines(view))
    return text.getvalue()


def list_digest(view: LoadView) -> str:
    """Fingerprint of the laboratory's list: tells two prints apart."""
    return hashlib.sha256(laboratory_csv(view).encode()).hexdigest()
