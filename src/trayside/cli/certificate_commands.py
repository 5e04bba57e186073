"""The command that brings a laboratory's certificate in, and says what can be used of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from trayside.app.certificate_reading import Proposal
from trayside.app.import_certificate import BroughtIn, Look, bring_in, look
from trayside.app.judge_batch import batch_summary
from trayside.app.office_acts import Desk, Signer
from trayside.app.ports import StartWork
from trayside.app.reconcile_certificate import Reconciliation
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.people_commands import PinStdin, signer
from trayside.cli.printing import plain_findings
from trayside.cli.screen import bar, say, say_findings
from trayside.cli.toolbox import Toolbox
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.verdict import BatchSummary

DEVICE = "terminal"
CHANGES_SHOWN = 12


def add_certificate_commands(app: typer.Typer, toolbox: Toolbox) -> None:
    """`trayside certificate`."""

    @app.command()
    def certificate(
        file: Annotated[Path, typer.Argument(help="The certificate as CSV or XLSX.")],
        by: Annotated[str, typer.Option("--by", help="Name of the person who does this.")] = "",
        laboratory: Annotated[str, typer.Option(help="Who reported it, when the file does not say.")] = "",
        job: Annotated[str, typer.Option(help="The laboratory's job, when the file does not say.")] = "",
        reported: Annotated[str, typer.Option(help="Day of the report, like 2031-05-04.")] = "",
        supersedes: Annotated[str, typer.Option(help="The certificate it replaces, or none.")] = "",
        mapping: Annotated[Path | None, typer.Option(help="JSON file of settlements: {\"unit:5\": \"g/t\"}.")] = None,
        settle: Annotated[
            list[str] | None, typer.Option("--set", help="KEY=VALUE that settles one question; may be repeated.")
        ] = None,
        take: Annotated[list[str] | None, typer.Option(help="READ=NUMBER: a misread number and what it is.")] = None,
        confirm: Annotated[bool, typer.Option("--confirm", help="The proposed mapping is right: import, remember it.")] = False,
        only_look: Annotated[bool, typer.Option("--look", help="Show what it would bring; store nothing.")] = False,
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Read a laboratory's certificate; with a mapping that is confirmed or remembered, bring it in."""
        start_work = opened(toolbox, store)
        if toolbox.open_certificate is None:
            raise TraysideError("certificates cannot be read here", where=str(file), remedy="Use the trayside command")
        settled = _settlements(mapping, settle or [], take or [])
        named = {"laboratory": laboratory, "job": job, "reported": reported, "supersedes": supersedes}
        settled |= {key: text for key, text in named.items() if text}
        read = toolbox.open_certificate(file.read_bytes(), source=file.name)
        seen = look(read, settled, start_work=start_work)
        if seen.known is None and seen.ready and not only_look and (confirm or seen.proposal.remembered):
            if not by.strip():
                raise ImpossibleValue("nobody signs for this import", where="--by", remedy="Name the person who does it")
            name = signer(toolbox, start_work, by, right="dispatch", pin_stdin=pin_stdin)
            desk = Desk(Signer(name, DEVICE), toolbox.clock, toolbox.make_id)
            with bar("importing", quiet=as_json) as progress:
                brought = bring_in(
                    read, settled, confirmed=confirm, desk=desk, start_work=start_work, progress=progress
                )
            _tell_brought(seen, brought, start_work, as_json=as_json)
            return
        if as_json:
            typer.echo(json.dumps(_look_json(seen), ensure_ascii=False, indent=1))
        else:
            _say_look(seen)
        if seen.questions:
            raise RefusedByRule(
                f"{len(seen.questions)} question{'s' * (len(seen.questions) != 1)} must be settled, nothing was stored",
                where=file.name,
                remedy="Settle each with --set KEY=VALUE",
                reasons=tuple(f"{one.key}: {one.asks}" for one in seen.questions),
            )


def _settlements(mapping: Path | None, pairs: list[str], taken: list[str]) -> dict[str, str]:
    settled: dict[str, str] = {}
    if mapping is not None:
        try:
            held = json.loads(mapping.read_text(encoding="utf-8"))
        except (ValueError, UnicodeDecodeError) as error:
            raise ImpossibleValue(
                f"this is not JSON ({error})", where=str(mapping), remedy='Write it like {"unit:5": "g/t"}'
            ) from None
        if not isinstance(held, dict) or not all(isinstance(value, str | int | float) for value in held.values()):
            raise ImpossibleValue(
                "settlements are texts by their keys", where=str(mapping), remedy='Write it like {"unit:5": "g/t"}'
            )
        settled |= {key: str(value) for key, value in held.items()}
    for option, prefix, texts in (("--set", "", pairs), ("--take", "take:", taken)):
        for text in texts:
            key, mark, value = text.partition("=")
            if not (mark and key.strip()):
                raise ImpossibleValue(
                    f"{text[:40]!r} is no pair", where=option, remedy="Write both with an equals sign between"
                )
            settled[prefix + key.strip()] = value.strip()
    return settled


def _say_look(seen: Look) -> None:
    proposal = seen.proposal
    reported = f"{proposal.reported_at:%Y-%m-%d}" if proposal.reported_at else "not known"
    laboratory, job = (text or "not known" for text in (proposal.laboratory, proposal.job))
    say(f"{proposal.source}: laboratory {laboratory}, job {job}, reported {reported}")
    if seen.known is not None:
        say(f"This file is {seen.known.certificate_id} already: nothing changes.")
        return
    for line in proposal.changed:
        say(f"  changed since it was confirmed: {line}")
    if proposal.remembered:
        say("The mapping that was confirmed for this laboratory fits.")
    else:
        say("How it would be read:")
        for line in proposal.reasons:
            say(f"  {line}")
        _say_columns(proposal)
    if seen.read is not None and seen.reconciliation is not None:
        _say_reconciliation(seen.reconciliation)
        _say_changes(seen)
        say_findings(seen.findings)
        if not seen.questions:
            say("Nothing was stored: add --confirm to import it, or --set KEY=VALUE to read it otherwise.")


def _say_columns(proposal: Proposal) -> None:
    for column in proposal.columns:
        if not column.used:
            say(f"  {column.key}: {column.as_written!r} is not read ({column.why})")
            continue
        limits = " to ".join("–" if limit is None else f"{limit:g}" for limit in (column.lower_limit, column.upper_limit))
        method = f" by {column.method}" if column.method else ""
        unit = column.unit or "unit not known"
        say(f"  {column.key}: {column.as_written!r} is {column.element}{method}, {unit}, limits {limits}")
    for line in proposal.preview[:4]:
        cells = ", ".join(f"{raw!r} → {read}" for raw, read in line.cells if raw.strip())
        say(f"  line {line.line}: {line.number} ({line.line_kind}): {cells}")


def _say_reconciliation(held: Reconciliation) -> None:
    against = {"loads": ", ".join(held.loads), "sheets": "the issued sheets", "nothing": "nothing known here"}[held.basis]
    say(
        f"Held against {against}: {len(held.sent)} sent, {len(held.came)} reported, {len(held.missing)} missing,"
        f" {len(held.extra)} never issued, {len(held.doubled)} twice, {len(held.elsewhere)} on another certificate,"
        f" {len(held.waiting)} not reported yet."
    )


def _say_changes(seen: Look) -> None:
    if seen.changes is None or seen.supersedes is None:
        return
    frame = seen.changes.frame
    say(f"It supersedes {seen.supersedes.certificate_id}: {frame.height} of {seen.changes.compared} values differ.")
    for row in frame.head(CHANGES_SHOWN).iter_rows(named=True):
        before, after = (_amount(row[f"{side}_text"], row[f"{side}_unit"]) for side in ("before", "after"))
        say(f"  {row['number']} {row['element']} {row['method']}: {before} → {after}")
    if frame.height > CHANGES_SHOWN:
        say(f"  and {frame.height - CHANGES_SHOWN} more")


def _amount(text: str | None, unit: str | None) -> str:
    return "nothing" if text is None else f"{text} {(unit or '').strip('[]{}')}"


def _tell_brought(seen: Look, brought: BroughtIn, start_work: StartWork, *, as_json: bool) -> None:
    certificate = brought.certificate
    if not brought.new:
        say(f"This file is {certificate.certificate_id} already: nothing changed.")
        return
    with start_work(writing=False) as work:
        summary = batch_summary(work, certificate.certificate_id)
    if as_json:
        told = {
            "certificate": certificate.certificate_id,
            "new": brought.new,
            "laboratory": certificate.laboratory,
            "job": certificate.job,
            "lines": certificate.lines,
            "results": brought.results,
            "supersedes": certificate.supersedes,
            "changed": brought.changed,
            "reconciliation": _reconciliation_json(brought.reconciliation),
            "findings": plain_findings(certificate.findings),
            "verdicts": _verdicts_json(summary),
        }
        typer.echo(json.dumps(told, ensure_ascii=False, indent=1))
        return
    say(f"{certificate.certificate_id}: {brought.results} results on {certificate.lines} lines.")
    if brought.reconciliation is not None:
        _say_reconciliation(brought.reconciliation)
    _say_changes(seen)
    say_findings(certificate.findings)
    say("What can be used:")
    for verdict in summary.verdicts:
        say(f"  {verdict.element}: {verdict.stands}. {verdict.why}")
    if not summary.verdicts:
        say("  no element of it has a certified standard here, so none is judged")


def _verdicts_json(summary: BatchSummary) -> list[dict]:
    return [
        {"element": one.element, "verdict": one.stands, "why": one.why, "reasons": [r.sentence for r in one.reasons]}
        for one in summary.verdicts
    ]


def _reconciliation_json(held: Reconciliation | None) -> dict | None:
    if held is None:
        return None
    return {
        "against": held.basis,
        "loads": list(held.loads),
        "sent": len(held.sent),
        "reported": len(held.came),
        "missing": list(held.missing),
        "extra": list(held.extra),
        "doubled": list(held.doubled),
        "elsewhere": list(held.elsewhere),
        "not_reported_yet": list(held.waiting),
        "suggestions": [
            {"read": one.unknown, "number": one.suggestion, "clear": one.clear} for one in held.suggestions
        ],
    }


def _look_json(seen: Look) -> dict:
    proposal = seen.proposal
    return {
        "certificate": seen.known.certificate_id if seen.known else None,
        "new": False,
        "laboratory": proposal.laboratory,
        "job": proposal.job,
        "reported_at": proposal.reported_at.isoformat() if proposal.reported_at else None,
        "layout": proposal.layout,
        "remembered": proposal.remembered,
        "header_changed": list(proposal.changed),
        "reasons": list(proposal.reasons),
        "columns": [
            {
                "key": one.key, "as_written": one.as_written, "element": one.element, "unit": one.unit, "method": one.method,
                "lower_limit": one.lower_limit, "upper_limit": one.upper_limit, "used": one.used,
            }
            for one in proposal.columns
        ],
        "questions": [
            {"key": one.key, "asks": one.asks, "choices": [value for value, _ in one.choices], "proposed": one.proposed}
            for one in seen.questions
        ],
        "lines": proposal.lines,
        "supersedes": seen.supersedes.certificate_id if seen.supersedes else None,
        "changed": seen.changes.frame.height if seen.changes else 0,
        "reconciliation": _reconciliation_json(seen.reconciliation),
        "findings": plain_findings(seen.findings),
    }  # fmt: skip
