"""Every command: demo, load, plan, check, issue, print, serve, pair, dispatch, receive, certificate, ledger, people and more."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from trayside import __version__
from trayside.app.check_yard import check_all
from trayside.app.hole_view import view_hole
from trayside.app.issue_cut_sheet import issue_cut_sheet
from trayside.app.load_yard import load_yard
from trayside.app.papers import TICKET_STOCKS
from trayside.app.plan_samples import plan_yard
from trayside.cli.certificate_commands import add_certificate_commands
from trayside.cli.demo_run import run_demo
from trayside.cli.design_commands import add_design_commands
from trayside.cli.ledger_commands import ledger_commands
from trayside.cli.load_commands import add_load_commands
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.people_commands import PinStdin, people_commands, say_pairing_code, signer, tablet_commands
from trayside.cli.printing import paper_files, plain_findings, write_papers
from trayside.cli.report_commands import add_report_command
from trayside.cli.screen import bar, complain, say, say_findings
from trayside.cli.shift_commands import add_shift_commands
from trayside.cli.toolbox import Toolbox
from trayside.errors import LoadRefused, RefusedByRule, TraysideError
from trayside.model.finding import gravest

STOPS_FOUND = 7
"""Exit code of `check` when a finding says stop."""


def build(toolbox: Toolbox) -> typer.Typer:
    """All commands on one set of tools."""
    app = typer.Typer(
        help="Trayside: from trays of drill core to an issued cut sheet.",
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
    )

    app.add_typer(ledger_commands(toolbox), name="ledger")
    app.add_typer(people_commands(toolbox), name="people")
    app.add_typer(tablet_commands(toolbox), name="tablets")
    add_load_commands(app, toolbox)
    add_shift_commands(app, toolbox)
    add_certificate_commands(app, toolbox)
    add_design_commands(app)
    add_report_command(app, toolbox)

    @app.command()
    def demo(
        folder: Annotated[Path, typer.Option(help="Where the demo's store and papers go.")] = Path("yard"),
        serve: Annotated[bool, typer.Option(help="Serve the screens afterwards.")] = True,
        port: Annotated[int, typer.Option(min=1, max=65_533, help="Port on 127.0.0.1.")] = 8377,
    ) -> None:
        """Load the invented demo yard, plan it, issue its cut sheets, write the papers, then serve the screens."""
        start_work = run_demo(toolbox, folder)
        if serve:
            toolbox.serve(start_work, "127.0.0.1", port)

    @app.command()
    def load(
        folder: Annotated[Path, typer.Argument(help="Yard folder, or an XLSX file.")],
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Read a yard folder into the store: all of it, or nothing and a list of every fault."""
        with bar("loading", quiet=as_json) as progress:
            report = load_yard(
                folder, read_folder=toolbox.read_folder, start_work=toolbox.open_store(store), progress=progress
            )
        if as_json:
            answer = asdict(report) | {"findings": plain_findings(report.findings)}
            typer.echo(json.dumps(answer, ensure_ascii=False, indent=1))
            return
        if not report.changed_anything:
            say(f"Nothing changed: {report.holes_unchanged} holes are as they were.")
            return
        say(
            f"{len(report.holes_new)} holes new, {len(report.holes_changed)} changed, {report.holes_unchanged} unchanged."
        )
        for line in report.shared_words:
            say(f"  {line}")
        say_findings(report.findings, short=True)

    @app.command()
    def plan(
        holes: Annotated[list[str] | None, typer.Argument(help="Holes to plan; all when none are named.")] = None,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Plan samples, controls, numbers and masses; the drafts are stored."""
        with bar("planning", quiet=as_json) as progress:
            planned = plan_yard(
                start_work=opened(toolbox, store),
                make_id=toolbox.make_id,
                hole_ids=tuple(holes) if holes else None,
                progress=progress,
            )
        answer = {}
        for hole_id, result in planned.items():
            if isinstance(result, RefusedByRule):
                answer[hole_id] = {"planned": False, "why": str(result), "reasons": list(result.reasons)}
                continue
            kinds = [row.kind for row in result.sheet.rows]
            answer[hole_id] = {
                "planned": True,
                "version": result.sheet.version,
                "seed": result.sheet.seed,
                "samples": kinds.count("sample"),
                "standards": kinds.count("standard"),
                "blanks": kinds.count("blank"),
                "duplicates": kinds.count("duplicate"),
                "findings": plain_findings(result.findings),
            }
        if as_json:
            typer.echo(json.dumps(answer, ensure_ascii=False, indent=1))
        else:
            for hole_id, one in answer.items():
                if one["planned"]:
                    say(
                        f"{hole_id}: {one['samples']} samples, {one['standards']} standards, {one['blanks']} blanks, "
                        f"{one['duplicates']} duplicates"
                    )
                else:
                    say(f"{one['why']}")
        if holes and not all(one["planned"] for one in answer.values()):
            raise typer.Exit(RefusedByRule.exit_code)

    @app.command()
    def check(
        holes: Annotated[list[str] | None, typer.Argument(help="Holes to check; all when none are named.")] = None,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Run every check and print the findings; exit code 7 when one of them says stop."""
        with bar("checking", quiet=as_json) as progress:
            findings = check_all(
                start_work=opened(toolbox, store), hole_ids=tuple(holes) if holes else None, progress=progress
            )
        if as_json:
            typer.echo(json.dumps(plain_findings(findings), ensure_ascii=False, indent=1))
        else:
            say_findings(findings)
        if gravest(findings) == "stop":
            raise typer.Exit(STOPS_FOUND)

    @app.command()
    def issue(
        hole: Annotated[str, typer.Argument(help="The hole.")],
        by: Annotated[str, typer.Option("--by", help="Name of the person who issues it.")],
        statement: Annotated[str, typer.Option(help="What the signer wants said on it.")] = "",
        version: Annotated[int | None, typer.Option(help="Version you looked at; the newest when not given.")] = None,
        papers: Annotated[Path | None, typer.Option(help="Folder to write the papers to.")] = None,
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Issue a hole's cut sheet: signed, frozen, numbered; refused while a finding says stop."""
        start_work = opened(toolbox, store)
        if version is None:
            with start_work(writing=False) as work:
                sheet = work.sheet(hole)
            version = sheet.version if sheet else 0
        by = signer(toolbox, start_work, by, right="issue", pin_stdin=pin_stdin)
        revision = issue_cut_sheet(
            hole, version=version, issued_by=by, statement=statement, start_work=start_work, clock=toolbox.clock
        )
        written = write_papers(toolbox, start_work, hole, papers) if papers else []
        if as_json:
            answer = {
                "hole_id": hole,
                "revision": revision.revision,
                "issued_at": revision.issued_at.isoformat(),
                "issued_by": revision.issued_by,
                "digest": revision.digest,
                "changes": list(revision.changes),
                "papers": [str(path) for path in written],
            }
            typer.echo(json.dumps(answer, ensure_ascii=False, indent=1))
            return
        say(f"{hole}: revision {revision.revision} issued by {revision.issued_by}, fingerprint {revision.digest[:12]}.")
        for line in revision.changes:
            say(f"  {line}")
        for path in written:
            say(str(path))

    @app.command(name="print")
    def print_(
        hole: Annotated[str, typer.Argument(help="The hole.")],
        out: Annotated[Path, typer.Option(help="Folder to write to.")] = Path("papers"),
        tickets: Annotated[str, typer.Option(help=f"Ticket stock: {', '.join(TICKET_STOCKS)}.")] = "a4-3x8",
        store: Store = DEFAULT_STORE,
    ) -> None:
        """Write cut sheet, tray marking-up sheet and tickets of a hole as PDF; a draft says it is one."""
        if tickets not in TICKET_STOCKS:
            raise TraysideError(
                f"no ticket stock {tickets!r}", where="--tickets", remedy=f"Use {', '.join(TICKET_STOCKS)}"
            )
        start_work = opened(toolbox, store)
        with start_work(writing=False) as work:
            view = view_hole(work, hole)
            revision = work.revision(hole, view.sheet.revision) if view.sheet and view.sheet.revision else None
        for path in paper_files(toolbox, view, revision, out, tickets=tickets):
            say(str(path))

    @app.command()
    def serve(
        store: Store = DEFAULT_STORE,
        port: Annotated[int, typer.Option(min=1, max=65_533, help="Port on 127.0.0.1; with --lan also the two after it.")] = 8377,
        lan: Annotated[
            bool, typer.Option("--lan", help="Also serve paired tablets on the network, over https.")
        ] = False,
        address: Annotated[
            list[str] | None, typer.Option(help="Address of this machine to serve on; found out when not given.")
        ] = None,
        keys: Annotated[
            Path | None, typer.Option(help="Folder of the certificate authority; beside the store when not given.")
        ] = None,
    ) -> None:
        """Serve the screens on this machine, and with --lan to paired tablets on the network."""
        start_work = opened(toolbox, store)
        if not lan:
            toolbox.serve(start_work, "127.0.0.1", port)
            return
        beside = Path(DEFAULT_STORE if "://" in store else store).parent / "keys"
        toolbox.serve_lan(start_work, addresses=tuple(address or ()), port=port, keys=keys or beside)

    @app.command()
    def pair(store: Store = DEFAULT_STORE, as_json: AsJson = False) -> None:
        """Make a one-time code that lets one tablet in."""
        say_pairing_code(toolbox, store, as_json=as_json)

    @app.command()
    def describe(folder: Annotated[Path, typer.Argument(help="Yard folder.")]) -> None:
        """Write datapackage.json (Data Package 2.0) for a yard folder, from the tables Trayside reads."""
        say(str(toolbox.describe_folder(folder)))

    @app.command(hidden=True)
    def docs(folder: Annotated[Path, typer.Argument()] = Path("docs")) -> None:
        """Write the documentation pages that are generated from the code."""
        for path in toolbox.write_docs(folder):
            say(str(path))

    @app.command()
    def version() -> None:
        """Say which version this is."""
        say(__version__)

    return app


def run(toolbox: Toolbox, arguments: list[str] | None = None) -> int:
    """Run one command; every error of the family ends as words on standard error and its own exit code."""
    try:
        result = build(toolbox)(args=arguments, standalone_mode=False)
    except LoadRefused as refused:
        complain(str(refused), [str(fault) for fault in refused.faults])
        return refused.exit_code
    except RefusedByRule as refused:
        complain(str(refused), list(refused.reasons))
        return refused.exit_code
    except TraysideError as error:
        complain(str(error))
        return error.exit_code
    except OSError as error:
        complain(f"{error.filename or 'file'}: {error.strerror or error}. Check the path and the rights on it.")
        return TraysideError.exit_code
    except typer.Exit as end:
        return end.exit_code
    except typer.Abort:
        return 130
    except Exception as error:  # wrong options and the like know how to show themselves
        if hasattr(error, "show") and hasattr(error, "exit_code"):
            error.show()
            return error.exit_code
        raise
    return result if isinstance(result, int) else 0
