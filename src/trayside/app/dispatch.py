"""Loads: made of sealed sacks, changed until they are sent, sent with what was known, frozen from then on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from trayside.app.load_findings import load_findings
from trayside.app.load_view import LoadView, list_digest, view_load
from trayside.app.office_acts import Desk, record_all
from trayside.app.ports import StartWork, Work
from trayside.errors import ChangedMeanwhile, RefusedByRule
from trayside.model.finding import Finding
from trayside.model.load import Load, Request, Sack, checked_request
from trayside.model.person import checked_name

LONGEST_STATEMENT = 1000


def make_load(request: Request, sack_ids: Sequence[str], *, desk: Desk, start_work: StartWork) -> Load:
    """A new load of these sacks; it is not sent yet."""
    checked = checked_request(request)
    made_by = checked_name(desk.signer.person)
    with start_work() as work:
        load_id = work.loads.new_load_id()
        checked = replace(checked, custody_ref=checked.custody_ref or load_id)
        load = work.loads.save_load(Load(load_id, checked, 0, desk.clock(), made_by))
        _put_on(work, load_id, sack_ids)
        work.commit()
    return load


def change_load(
    load_id: str, request: Request, sack_ids: Sequence[str], *, version: int, start_work: StartWork
) -> Load:
    """Other sacks or another request, as long as the load was not sent."""
    checked = checked_request(request)
    with start_work() as work:
        load = _unsent(work, load_id, version)
        checked = replace(checked, custody_ref=checked.custody_ref or load_id)
        saved = work.loads.save_load(replace(load, request=checked))
        work.loads.set_load([sack.sack_id for sack in work.loads.sacks(load_id)], None)
        _put_on(work, load_id, sack_ids)
        work.commit()
    return saved


def send_load(
    load_id: str, *, version: int, statement: str = "", desk: Desk, start_work: StartWork
) -> LoadView:
    """Send the load: every sack is loaded, the lists are frozen, the findings and the ledger's newest hash kept.

    Refused while a finding says stop. Findings that warn want a statement of the sender, which is kept with them.
    """
    sent_by = checked_name(desk.signer.person)
    statement = " ".join(statement.split())
    if len(statement) > LONGEST_STATEMENT:
        raise RefusedByRule(
            f"the statement is longer than {LONGEST_STATEMENT} characters", where=load_id, remedy="Shorten it"
        )
    with start_work() as work:
        load = _unsent(work, load_id, version)
        view = view_load(work, load_id)
        findings = load_findings(view)
        stops = [finding for finding in findings if finding.severity == "stop"]
        if stops:
            raise RefusedByRule(
                f"{len(stops)} finding{'s' * (len(stops) != 1)} must be settled before this load can be sent",
                where=load_id,
                remedy="Settle them, then send it",
                reasons=tuple(_told(finding) for finding in stops),
            )
        warns = [finding for finding in findings if finding.severity == "warn"]
        if warns and not statement:
            raise RefusedByRule(
                f"{len(warns)} finding{'s' * (len(warns) != 1)} warn, and nothing was said to them",
                where=load_id,
                remedy="Look at each, then say in the statement what you found and why the load may go",
                reasons=tuple(_told(finding) for finding in warns),
            )
        at = desk.clock()
        loaded = [
            desk.act("loaded", "sack", sack.sack_id, at=at, values={"load": load_id})
            for sack in view.sacks
            if sack.state == "sealed"
        ]
        record_all(work, loaded, clock=desk.clock, where=load_id)
        head = work.ledger_head()
        work.loads.save_load(
            replace(
                load,
                sent_at=at,
                sent_by=sent_by,
                statement=statement,
                ledger_seq=head.seq,
                ledger_hash=head.hash,
                digest=list_digest(view),
                findings=findings,
            )
        )
        sent = view_load(work, load_id)
        work.commit()
    return sent


def _told(finding: Finding) -> str:
    end = "" if finding.message.endswith("?") else "."
    return f"{finding.message}{end} {finding.remedy}"


def _unsent(work: Work, load_id: str, version: int) -> Load:
    load = work.loads.load(load_id)
    if load.sent_at is not None:
        raise RefusedByRule(
            "this load was sent, its lists are frozen", where=load_id, remedy="Make another load for what is left"
        )
    if load.version != version:
        raise ChangedMeanwhile(
            f"the load is at version {load.version}, you looked at version {version}",
            where=load_id,
            remedy="Look at it again, then do it once more",
        )
    return load


def _put_on(work: Work, load_id: str, sack_ids: Sequence[str]) -> None:
    sacks: list[Sack] = [work.loads.sack(sack_id) for sack_id in dict.fromkeys(sack_ids)]
    for sack in sacks:
        if sack.load_id not in (None, load_id):
            raise RefusedByRule(
                f"sack {sack.sack_id} is on load {sack.load_id}", where=load_id, remedy="Take it off there first"
            )
    work.loads.set_load([sack.sack_id for sack in sacks], load_id)
