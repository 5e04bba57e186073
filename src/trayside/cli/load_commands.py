"""The commands on loads: pack, seal and send, hand over, and hold the laboratory's list against what was sent."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from trayside.app.bag_views import hole_bags
from trayside.app.custody import custody_of, hand_over
from trayside.app.dispatch import make_load, send_load
from trayside.app.load_findings import load_findings
from trayside.app.load_view import LoadView, laboratory_csv, view_load
from trayside.app.office_acts import Desk, Signer
from trayside.app.pack_sacks import PACKINGS, pack, seal_sack, trays_to_pack
from trayside.app.ports import StartWork
from trayside.app.receive import Difference, compare_list, confirm_list, store_list
from trayside.app.typed_time import typed_time
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.people_commands import PinStdin, signer
from trayside.cli.printing import plain_findings
from trayside.cli.screen import say, say_findings
from trayside.cli.toolbox import Toolbox
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.load import Request, checked_request

DEVICE = "terminal"
SEALS = {"whole": True, "broken": False, "unsaid": None}
By = Annotated[str, typer.Option("--by", help="Name of the person who does this.")]


def add_load_commands(app: typer.Typer, toolbox: Toolbox) -> None:
    """`trayside dispatch`, `trayside hand-over` and `trayside receive`."""

    @app.command()
    def dispatch(
        by: By,
        holes: Annotated[list[str] | None, typer.Argument(help="Holes whose closed trays make a new load.")] = None,
        laboratory: Annotated[str, typer.Option(help="Name of the laboratory, for a new load.")] = "",
        method: Annotated[list[str] | None, typer.Option(help="A method wanted; may be repeated.")] = None,
        way: Annotated[str, typer.Option(help=f"How to fill the sacks: {', '.join(PACKINGS)}; as in the rules.")] = "",
        load: Annotated[str, typer.Option(help="A load that is there, instead of holes.")] = "",
        seal: Annotated[list[str] | None, typer.Option(help="SACK=SEAL of a sack that was filled and sealed.")] = None,
        send: Annotated[bool, typer.Option("--send", help="Send the load.")] = False,
        statement: Annotated[str, typer.Option(help="What is said to the findings that warn.")] = "",
        papers: Annotated[Path | None, typer.Option(help="Folder to write the papers to.")] = None,
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Pack the closed trays of holes into sacks on a new load; or seal the sacks of a load and send it."""
        start_work = opened(toolbox, store)
        if bool(holes) == bool(load):
            raise ImpossibleValue("name holes or a load", where="dispatch", remedy="Holes make a new load, --load names one")
        right = "record" if seal and not (holes or send) else "dispatch"
        name = signer(toolbox, start_work, by, right=right, pin_stdin=pin_stdin)
        desk = Desk(Signer(name, DEVICE), toolbox.clock, toolbox.make_id)
        if holes:
            load = _new_load(holes, Request(laboratory, tuple(method or ())), way, desk, start_work)
        for pair in seal or ():
            _seal(pair, desk, start_work)
        if send:
            with start_work(writing=False) as work:
                version = work.loads.load(load).version
            send_load(load, version=version, statement=statement, desk=desk, start_work=start_work)
        with start_work(writing=False) as work:
            view = view_load(work, load)
        written = _papers(toolbox, view, papers) if papers else []
        if as_json:
            typer.echo(json.dumps(_load_json(view, written), ensure_ascii=False, indent=1))
            return
        _say_load(view)
        for path in written:
            say(str(path))

    @app.command(name="hand-over")
    def hand_over_(
        load: Annotated[str, typer.Argument(help="The load that changed hands.")],
        by: By,
        giver: Annotated[str, typer.Option("--from", help="Who gave it.")],
        taker: Annotated[str, typer.Option("--to", help="Who took it.")],
        place: Annotated[str, typer.Option(help="Where.")],
        at: Annotated[str, typer.Option(help="When it was signed for, like '2031-05-04 09:30'.")],
        offset: Annotated[str, typer.Option(help="Offset of that time from UTC, like +02:00.")] = "UTC",
        seals: Annotated[str, typer.Option(help="whole, broken, or unsaid.")] = "unsaid",
        sacks: Annotated[int | None, typer.Option(min=0, max=10_000, help="Sacks counted.")] = None,
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Enter a hand-over of a load that was sent, with the time that was signed for."""
        start_work = opened(toolbox, store)
        if seals not in SEALS:
            raise ImpossibleValue(f"seals {seals[:20]!r}", where="--seals", remedy=f"One of: {', '.join(SEALS)}")
        name = signer(toolbox, start_work, by, right="dispatch", pin_stdin=pin_stdin)
        moment, minutes = typed_time(at, offset=offset, what="--at")
        desk = Desk(Signer(name, DEVICE, minutes), toolbox.clock, toolbox.make_id)
        custody = hand_over(
            load, from_person=giver, to_person=taker, place=place, at=moment, seals_intact=SEALS[seals], sacks=sacks,
            desk=desk, start_work=start_work,
        )  # fmt: skip
        if as_json:
            held = [
                {"holder": one.holder, "since": one.since.isoformat() if one.since else None, "unbroken": one.unbroken}
                for one in custody.holdings
            ]
            told = {"load": load, "holder": custody.holder, "unbroken": custody.unbroken, "holdings": held}
            typer.echo(json.dumps(told | {"findings": plain_findings(custody.findings)}, ensure_ascii=False, indent=1))
            return
        say(f"{load}: {' > '.join(one.holder for one in custody.holdings)}{'' if custody.unbroken else ', with a gap'}.")
        say_findings(custody.findings)

    @app.command()
    def receive(
        file: Annotated[Path, typer.Argument(help="The laboratory's list as CSV.")],
        load: Annotated[str, typer.Option(help="The load it is about.")],
        by: By,
        received_by: Annotated[str, typer.Option(help="Who received it at the laboratory.")],
        at: Annotated[str, typer.Option(help="When, like '2031-05-04 09:30'.")],
        offset: Annotated[str, typer.Option(help="Offset of that time from UTC, like +02:00.")] = "UTC",
        job: Annotated[str, typer.Option(help="The laboratory's job number.")] = "",
        mass_unit: Annotated[str, typer.Option(help="Unit of masses whose column names none: kg, g or lb.")] = "",
        take: Annotated[list[str] | None, typer.Option(help="READ=NUMBER: a misread number and what it is.")] = None,
        confirm: Annotated[bool, typer.Option("--confirm", help="Record it: without this it is only compared.")] = False,
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Hold the laboratory's received list against a load; with --confirm it is recorded."""
        start_work = opened(toolbox, store)
        if toolbox.read_received is None:
            raise TraysideError("lists cannot be read here", where=str(file), remedy="Use the trayside command")
        read = toolbox.read_received(_bytes_of(file), source=file.name, mass_unit=mass_unit or None)
        taken = dict(_pair(one, "--take") for one in take or ())
        if confirm:
            name = signer(toolbox, start_work, by, right="dispatch", pin_stdin=pin_stdin)
            moment, minutes = typed_time(at, offset=offset, what="--at")
            desk = Desk(Signer(name, DEVICE, minutes), toolbox.clock, toolbox.make_id)
            receipt = store_list(
                load, read, received_at=moment, received_by=received_by, lab_job=job, desk=desk, start_work=start_work
            )
            difference = confirm_list(receipt.receipt_id, taken_as=taken, desk=desk, start_work=start_work)
        else:
            with start_work(writing=False) as work:
                difference = compare_list(view_load(work, load), read.lines, taken_as=taken)
        if as_json:
            typer.echo(json.dumps(_difference_json(load, difference, confirm), ensure_ascii=False, indent=1))
            return
        say(
            f"{load}: {len(difference.sent)} sent, {len(difference.line_of)} on the list, {len(difference.missing)} missing,"
            f" {len(difference.extra)} not sent, {len(difference.damaged)} damaged."
        )
        say_findings(difference.findings)
        say("Recorded." if confirm else "Compared only: add --confirm to record it.")


def _bytes_of(file: Path) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise TraysideError(
            f"the list cannot be read ({error.strerror})", where=str(file), remedy="Look at the name of the file"
        ) from error


def _new_load(holes: list[str], request: Request, way: str, desk: Desk, start_work: StartWork) -> str:
    request = checked_request(request)  # before anything is packed for it
    with start_work(writing=False) as work:
        trays, left = [], []
        for hole_id in holes:
            work.hole_core(hole_id)  # NotFound says so when there is none
            bags = hole_bags(work, hole_id)
            for one in trays_to_pack(bags) if bags else ():
                (trays if one.ready else left).append(one)
    if not trays:
        raise RefusedByRule(
            "no closed tray of these holes waits for a sack",
            where=", ".join(holes),
            remedy="Close the trays at the bench first",
            reasons=tuple(f"{one.hole_id} tray {one.tray}: {why}" for one in left for why in one.why_not),
        )
    sacks = pack([(one.hole_id, one.tray) for one in trays], way=way or None, desk=desk, start_work=start_work)
    return make_load(request, [sack.sack_id for sack in sacks], desk=desk, start_work=start_work).load_id


def _seal(pair: str, desk: Desk, start_work: StartWork) -> None:
    sack_id, seal = _pair(pair, "--seal")
    with start_work(writing=False) as work:
        counted = len(work.loads.sack(sack_id).numbers)
    seal_sack(sack_id, seal=seal, counted=counted, desk=desk, start_work=start_work)


def _pair(text: str, option: str) -> tuple[str, str]:
    first, mark, second = text.partition("=")
    if not (mark and first.strip() and second.strip()):
        raise ImpossibleValue(f"{text[:40]!r} is no pair", where=option, remedy="Write both with an equals sign between")
    return first.strip(), second.strip()


def _papers(toolbox: Toolbox, view: LoadView, folder: Path) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    stem = view.load.load_id
    contents = {
        f"{stem}-dispatch-note.pdf": toolbox.papers.dispatch_note(view),
        f"{stem}-sample-list.pdf": toolbox.papers.laboratory_copy(view),
        f"{stem}-sample-list.csv": laboratory_csv(view).encode(),
    }
    for name, content in contents.items():
        (folder / name).write_bytes(content)
    return [folder / name for name in contents]


def _findings(view: LoadView):
    return view.load.findings if view.load.sent_at else load_findings(view)


def _say_load(view: LoadView) -> None:
    load = view.load
    state = f"sent {load.sent_at:%Y-%m-%d %H:%M} UTC by {load.sent_by}" if load.sent_at else "not sent"
    say(f"{load.load_id} to {load.request.laboratory}: {len(view.numbers)} bags in {len(view.sacks)} sacks, {state}.")
    for sack in view.sacks:
        numbers = sack.sack.numbers
        say(f"  {sack.sack_id}: {len(numbers)} bags {numbers[0]}-{numbers[-1]}, seal {sack.seal or 'none'}")
    if view.sacks:
        say(f"  packed: {view.sacks[0].sack.says}.")
    say_findings(_findings(view))
    if load.ledger_hash:
        say(f"Ledger when it was sent: event {load.ledger_seq}, hash {load.ledger_hash}")


def _load_json(view: LoadView, papers: list[Path]) -> dict:
    load = view.load
    return {
        "load": load.load_id,
        "laboratory": load.request.laboratory,
        "state": view.stands.state,
        "sent_at": load.sent_at.isoformat() if load.sent_at else None,
        "holder": custody_of(view).holder,
        "sacks": [
            {
                "sack": sack.sack_id,
                "seal": sack.seal or None,
                "state": sack.state,
                "numbers": list(sack.sack.numbers),
                "mass_kg": None if sack.contents_g is None else sack.contents_g / 1000,
            }
            for sack in view.sacks
        ],
        "packing": view.sacks[0].sack.says if view.sacks else "",
        "ledger_seq": load.ledger_seq or None,
        "ledger_hash": load.ledger_hash or None,
        "digest": load.digest or None,
        "findings": plain_findings(_findings(view)),
        "papers": [str(path) for path in papers],
    }


def _difference_json(load_id: str, difference: Difference, recorded: bool) -> dict:
    return {
        "load": load_id,
        "recorded": recorded,
        "sent": len(difference.sent),
        "received": len(difference.line_of),
        "missing": list(difference.missing),
        "extra": list(difference.extra),
        "damaged": list(difference.damaged),
        "doubled": list(difference.doubled),
        "suggestions": [
            {"read": one.unknown, "number": one.suggestion, "clear": one.clear} for one in difference.suggestions
        ],
        "taken_as": difference.taken_as,
        "findings": plain_findings(difference.findings),
    }
