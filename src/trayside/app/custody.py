"""Custody: who held a load when, with no gap in time and holder from the sender to the laboratory.

    sender --> carrier --> depot --> laboratory
    Every hand-over names who gave, who took, where, when, how many sacks, and whether the seals were whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from trayside.app.load_view import LoadView, view_load
from trayside.app.office_acts import Desk, checked_time, record_all
from trayside.app.ports import StartWork
from trayside.errors import RefusedByRule
from trayside.model.bag_states import Fact
from trayside.model.event import moment
from trayside.model.finding import Finding
from trayside.model.finding_kinds import found
from trayside.model.person import checked_name, name_key

WRITTEN_TO = timedelta(minutes=1)


@dataclass(frozen=True, slots=True)
class Holding:
    """One holder, from when to when (None: still), and whether it is known from whom they had it."""

    holder: str
    since: datetime | None
    until: datetime | None
    place: str
    unbroken: bool


@dataclass(frozen=True, slots=True)
class Custody:
    holdings: tuple[Holding, ...]
    findings: tuple[Finding, ...]

    @property
    def holder(self) -> str:
        """Who holds it now, '' before it was sent."""
        return self.holdings[-1].holder if self.holdings else ""

    @property
    def unbroken(self) -> bool:
        return all(holding.unbroken for holding in self.holdings)


def hand_over(
    load_id: str,
    *,
    from_person: str,
    to_person: str,
    place: str,
    at: datetime,
    seals_intact: bool | None,
    sacks: int | None = None,
    meaning: str = "",
    desk: Desk,
    start_work: StartWork,
) -> Custody:
    """Record a hand-over with the time that was signed for. What is odd about it is a finding, not a refusal."""
    giver, taker = checked_name(from_person, whose="from"), checked_name(to_person, whose="to")
    where = " ".join(place.split())
    if not where:
        raise RefusedByRule("no place was named", where=load_id, remedy="Say where the load changed hands")
    if name_key(giver) == name_key(taker):
        raise RefusedByRule("both names are the same", where=load_id, remedy="Name who gave it and who took it")
    with start_work() as work:
        view = view_load(work, load_id)
        if view.load.sent_at is None:
            raise RefusedByRule("this load was not sent yet", where=load_id, remedy="Send it first")
        checked_time(at, now=desk.clock(), what="time of the hand-over")
        values = {"from_person": giver, "to_person": taker, "place": where}
        if seals_intact is not None:
            values["seals_intact"] = seals_intact
        if sacks is not None:
            values["sacks"] = sacks
        if meaning.strip():
            values["meaning"] = " ".join(meaning.split())
        event = desk.act("handed_over", "load", load_id, at=at, values=values)
        record_all(work, [event], clock=desk.clock, where=load_id)
        custody = custody_of(view_load(work, load_id))
        work.commit()
    return custody


def custody_of(view: LoadView) -> Custody:
    """The chain of holders with everything that is wrong with it."""
    if view.load.sent_at is None:
        return Custody((), ())
    load_id, sacks = view.load.load_id, len(view.sacks)
    holdings = [Holding(view.load.sent_by, view.load.sent_at, None, "", True)]
    findings: list[Finding] = []
    facts = view.hand_overs
    for place, fact in enumerate(facts):
        values, at = fact.values, moment(fact.event.captured_at)
        before = holdings[-1]
        joined = name_key(values["from_person"]) == name_key(before.holder)
        evidence = {"load": load_id, "event": fact.event.event_id, "at": fact.event.captured_at}
        if not joined:
            code, who = ("custody.start", "sent it") if place == 0 else ("custody.gap", "took it before")
            findings.append(
                found(
                    code,
                    f"{values['from_person']} gave {load_id} at {_time(fact)}, but {before.holder} {who}"
                    + (f" at {before.since:%Y-%m-%d %H:%M} UTC" if before.since else ""),
                    evidence=evidence | {"holder": before.holder, "giver": values["from_person"]},
                )
            )
        holdings[-1] = Holding(before.holder, before.since, at if joined else None, before.place, before.unbroken)
        holdings.append(Holding(values["to_person"], at, None, values.get("place") or "", joined))
        findings += _seals_and_count(fact, sacks, load_id, evidence)
    findings += _too_early(view, facts)
    end = view.stands.latest("received")
    if end is not None and name_key(end.values["by"]) != name_key(holdings[-1].holder):
        findings.append(
            found(
                "custody.end",
                f"{end.values['by']} received {load_id} at the laboratory, {holdings[-1].holder} held it last",
                evidence={"load": load_id, "holder": holdings[-1].holder, "receiver": end.values["by"]},
            )
        )
    return Custody(tuple(holdings), tuple(findings))


def _seals_and_count(fact: Fact, sacks: int, load_id: str, evidence: dict) -> list[Finding]:
    values, findings = fact.values, []
    who = f"{values['from_person']} to {values['to_person']}, {_time(fact)}"
    if values.get("seals_intact") is False:
        findings.append(found("custody.seal_broken", f"{load_id}: a seal was not whole ({who})", evidence=evidence))
    elif values.get("seals_intact") is None:
        findings.append(found("custody.seal_unsaid", f"{load_id}: {who}", evidence=evidence))
    counted = values.get("sacks")
    if counted is not None and counted != sacks:
        findings.append(
            found(
                "custody.count",
                f"{load_id}: {counted} sacks were counted, {sacks} were sent ({who})",
                evidence=evidence | {"counted": counted, "sent": sacks},
            )
        )
    return findings


def _too_early(view: LoadView, facts: tuple[Fact, ...]) -> list[Finding]:
    sealed = [sack.sealed for sack in view.sacks if sack.sealed is not None]
    if not facts or not sealed:
        return []
    last = max(sealed, key=lambda fact: fact.event.captured_at)
    # A time that somebody wrote down is good to the minute.
    if moment(facts[0].event.captured_at) + WRITTEN_TO >= moment(last.event.captured_at):
        return []
    return [
        found(
            "custody.before_sealed",
            f"{view.load.load_id} was handed over at {_time(facts[0])}, sack {last.event.object_id} was sealed at"
            f" {_time(last)}",
            evidence={"load": view.load.load_id, "sack": last.event.object_id},
        )
    ]


def _time(fact: Fact) -> str:
    return f"{moment(fact.event.captured_at):%Y-%m-%d %H:%M} UTC"
