"""The demo: the whole main job on the invented yard."""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

from trayside.app.edit_sheet import Edit, save_edit
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.office_acts import Desk, Signer
from trayside.app.people import add_person
from trayside.app.plan_samples import plan_yard
from trayside.app.ports import StartWork
from trayside.cli.demo_results import bring_in_results
from trayside.cli.demo_road import walk_road
from trayside.cli.demo_shift import OPERATOR, record_demo_shift
from trayside.cli.demo_shift_plan import plan_demo_shift
from trayside.cli.printing import write_papers
from trayside.cli.screen import bar, say, say_findings
from trayside.cli.toolbox import Toolbox
from trayside.errors import RefusedByRule, TraysideError
from trayside.model.person import ROLES

MARKER = "made-by-trayside-demo"
SIGNER = "Demo geologist"


def run_demo(toolbox: Toolbox, folder: Path) -> StartWork:
    """The whole job on the demo yard in a fresh folder, from the trays to the results; one sheet is left in the making."""
    if not toolbox.demo_folder.is_dir():
        raise TraysideError(
            "the demo yard is not here",
            where=str(toolbox.demo_folder),
            remedy="Run the demo from a checkout of Trayside",
        )
    _fresh(folder)
    start_work = toolbox.open_store(str(folder / "demo.sqlite"))
    say("Loading the demo yard (invented)")
    with bar("loading") as progress:
        report = load_yard(
            toolbox.demo_folder, read_folder=toolbox.read_folder, start_work=start_work, progress=progress
        )
    say(f"  {len(report.holes_new)} holes, {report.rows['runs']} runs, {report.rows['trays']} trays")
    say_findings(report.findings, short=True)
    say("Planning")
    with bar("planning") as progress:
        planned = plan_yard(start_work=start_work, make_id=toolbox.make_id, progress=progress)
    drafts = []
    for hole_id, result in planned.items():
        if isinstance(result, RefusedByRule):
            say(f"  {result}")
            continue
        rows = result.sheet.rows
        samples = sum(row.kind == "sample" for row in rows)
        say(f"  {hole_id}: {samples} samples and {len(rows) - samples} controls and duplicates")
        if not any(finding.severity == "stop" for finding in result.findings):
            drafts.append(hole_id)
    say("Issuing")
    for hole_id in drafts:
        with start_work(writing=False) as work:
            version = work.sheet(hole_id).version
        revision = issue_cut_sheet(
            hole_id,
            version=version,
            issued_by=SIGNER,
            statement="Demo run.",
            start_work=start_work,
            clock=toolbox.clock,
        )
        say(f"  {hole_id}: revision {revision.revision}, fingerprint {revision.digest[:12]}")
        for path in write_papers(toolbox, start_work, hole_id, folder / "papers"):
            say(f"    {path}")
    if drafts:
        _leave_draft(toolbox, start_work, drafts[-1])
    if toolbox.read_received is not None:
        say("At the saw and on the road to the laboratory")
        road = walk_road(
            start_work=start_work, read_received=toolbox.read_received, advance=lambda words: say(f"  {words}")
        )
        told = Counter(finding.code for finding in road.findings if finding.severity != "note")
        say(f"  {road.sent} was received; {road.waiting} waits on the Loads screen:")
        for code, count in told.items():
            say(f"    {code}: {count}")
        _bring_in_results(toolbox, start_work)
    if toolbox.secrets is not None:
        _add_people(toolbox, start_work)
    day = record_demo_shift(start_work=start_work, clock=toolbox.clock)
    say(f"A shift of {OPERATOR} on {day}, invented: look at it on the Safety screen")
    planned_shift = plan_demo_shift(start_work=start_work, clock=toolbox.clock, make_id=toolbox.make_id)
    if planned_shift:
        say(f"Shift plan for {planned_shift}")
    return start_work


def _bring_in_results(toolbox: Toolbox, start_work: StartWork) -> None:
    """The certificates that lie beside the yard folder, with the verdict on each."""
    folder = toolbox.demo_folder.with_name(f"{toolbox.demo_folder.name}_results")
    if toolbox.open_certificate is None or not folder.is_dir():
        return
    say("Results")
    desk = Desk(Signer("Demo QC", "office"), toolbox.clock, toolbox.make_id)
    summaries = bring_in_results(folder, open_certificate=toolbox.open_certificate, desk=desk, start_work=start_work)
    for batch in summaries:
        words = ", ".join(f"{verdict.element} {verdict.stands}" for verdict in batch.verdicts)
        say(f"  {batch.laboratory}, {batch.job}: {words}")


def _leave_draft(toolbox: Toolbox, start_work: StartWork, hole_id: str) -> None:
    """Split the longest plain sample, so that a second revision waits to be looked at."""
    with start_work(writing=False) as work:
        sheet = work.sheet(hole_id)
    row = max(
        (row for row in sheet.rows if row.kind == "sample" and row.duplicate_type is None),
        key=lambda row: row.to_mm - row.from_mm,
    )
    at_mm = (row.from_mm + row.to_mm) // 20 * 10
    save_edit(
        hole_id, edits=(Edit("split", at_mm),), base_version=sheet.version, start_work=start_work,
        make_id=toolbox.make_id, edited_by=SIGNER,
    )  # fmt: skip
    say(f"  {hole_id}: {row.number} is split in a draft of revision 2: look at it on the Sheet screen")


def _add_people(toolbox: Toolbox, start_work: StartWork) -> None:
    """One person a role. Their PINs are made by chance and shown this once."""
    say("People of the demo, each with a PIN that is shown this once")
    for role in ("lead", *(role for role in ROLES if role != "lead")):
        pin = toolbox.secrets.new_pin()
        person = add_person(
            f"Demo {role}",
            role=role,
            pin=pin,
            start_work=start_work,
            clock=toolbox.clock,
            make_id=toolbox.make_id,
            secrets=toolbox.secrets,
        )
        say(f"  {person.name}: {pin}")


def _fresh(folder: Path) -> None:
    """Empty a folder an earlier demo made; refuse one that somebody else filled."""
    if folder.exists() and not folder.is_dir():
        raise TraysideError("this is a file", where=str(folder), remedy="Name a folder with --folder")
    if folder.exists() and any(folder.iterdir()):
        if not (folder / MARKER).exists():
            raise TraysideError(
                "the folder is not empty and was not made by the demo",
                where=str(folder),
                remedy="Name another with --folder",
            )
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / MARKER).write_text("This folder is emptied and made again by every run of the demo.\n")
