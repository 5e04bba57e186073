"""The commands on people, tablets and pairing; and the PIN that a signature on the terminal asks for."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from typing import Annotated

import typer

from trayside.app.pairing import make_code, revoke_tablet
from trayside.app.people import add_person, change_role, change_settings, disable_person, new_pin
from trayside.app.people_ports import Secrets
from trayside.app.ports import StartWork
from trayside.app.sign_in import proven
from trayside.cli.options import DEFAULT_STORE, AsJson, Store, opened
from trayside.cli.screen import say
from trayside.cli.toolbox import Toolbox
from trayside.errors import ImpossibleValue, RefusedByRule, TraysideError
from trayside.model.access_settings import NAMES
from trayside.model.person import Right
from trayside.model.tablet import code_in_groups

PinStdin = Annotated[bool, typer.Option("--pin-stdin", help="Read the PIN from standard input, for scripts.")]
Name = Annotated[str, typer.Argument(help="Name of the person.")]


def people_commands(toolbox: Toolbox) -> typer.Typer:
    """`trayside people ...`"""
    people = typer.Typer(help="Who may sign in, and what they may do.", no_args_is_help=True)

    @people.command()
    def add(
        name: Name,
        role: Annotated[str, typer.Option(help="operator, geologist, QC, lead or viewer.")],
        pin_stdin: PinStdin = False,
        store: Store = DEFAULT_STORE,
    ) -> None:
        """Add somebody; the first one must be a lead. The PIN is asked twice and kept as a hash."""
        start_work = opened(toolbox, store)
        person = add_person(
            name,
            role=role,
            pin=_pin_chosen(pin_stdin),
            start_work=start_work,
            clock=toolbox.clock,
            make_id=toolbox.make_id,
            secrets=_secrets(toolbox),
        )
        say(f"{person.name} may sign in as {person.role}.")

    @people.command(name="list")
    def list_(store: Store = DEFAULT_STORE, as_json: AsJson = False) -> None:
        """Everybody, also those who are disabled."""
        with opened(toolbox, store)(writing=False) as work:
            found = work.people.people()
        if as_json:
            typer.echo(json.dumps([asdict(person) for person in found], ensure_ascii=False, indent=1))
            return
        for person in found:
            say(f"{person.name}: {person.role}{'' if person.active else ', disabled'}")
        if not found:
            say("Nobody has been added yet.")

    @people.command()
    def disable(name: Name, store: Store = DEFAULT_STORE) -> None:
        """They can no longer sign in, and are signed out everywhere; what they signed stays."""
        say(f"{disable_person(name, start_work=opened(toolbox, store)).name} can no longer sign in.")

    @people.command()
    def role(
        name: Name,
        role: Annotated[str, typer.Argument(help="operator, geologist, QC, lead or viewer.")],
        store: Store = DEFAULT_STORE,
    ) -> None:
        """Give another role; they are signed out and sign in with it. The last lead stays lead."""
        person = change_role(name, role=role, start_work=opened(toolbox, store))
        say(f"{person.name} signs as {person.role} from now on.")

    @people.command()
    def pin(name: Name, pin_stdin: PinStdin = False, store: Store = DEFAULT_STORE) -> None:
        """Give a new PIN; opens a name that was shut or disabled."""
        start_work = opened(toolbox, store)
        person = new_pin(name, pin=_pin_chosen(pin_stdin), start_work=start_work, secrets=_secrets(toolbox))
        say(f"{person.name} has a new PIN.")

    @people.command()
    def limits(
        changes: Annotated[list[str] | None, typer.Argument(help="Settings to change, like session_h=12.")] = None,
        store: Store = DEFAULT_STORE,
        as_json: AsJson = False,
    ) -> None:
        """Show, or change, how long people stay signed in, how long a code lives, and how often may be tried."""
        wanted = dict(_setting(text) for text in changes or [])
        settings = asdict(change_settings(wanted, start_work=opened(toolbox, store)))
        if as_json:
            typer.echo(json.dumps(settings, indent=1))
            return
        for setting in NAMES:
            say(f"{setting}={settings[setting]}")

    return people


def tablet_commands(toolbox: Toolbox) -> typer.Typer:
    """`trayside tablets ...`"""
    tablets = typer.Typer(help="Which tablets are let in.", no_args_is_help=True)

    @tablets.command(name="list")
    def list_(store: Store = DEFAULT_STORE, as_json: AsJson = False) -> None:
        """Every tablet that was ever paired."""
        with opened(toolbox, store)(writing=False) as work:
            found = work.people.tablets()
        if as_json:
            answer = [
                asdict(tablet)
                | {
                    "paired_at": tablet.paired_at.isoformat(),
                    "revoked_at": tablet.revoked_at and tablet.revoked_at.isoformat(),
                }
                for tablet in found
            ]
            typer.echo(json.dumps(answer, ensure_ascii=False, indent=1))
            return
        for tablet in found:
            state = f"revoked {tablet.revoked_at:%Y-%m-%d %H:%M} UTC" if tablet.revoked_at else "let in"
            say(f"{tablet.name}: paired {tablet.paired_at:%Y-%m-%d %H:%M} UTC with a code by {tablet.paired_by}, {state}")
        if not found:
            say("No tablet is paired.")

    @tablets.command()
    def revoke(
        name: Annotated[str, typer.Argument(help="Name of the tablet.")], store: Store = DEFAULT_STORE
    ) -> None:
        """Let the tablet in no more; whoever is signed in on it is signed out."""
        start_work = opened(toolbox, store)
        say(f"{revoke_tablet(name, start_work=start_work, clock=toolbox.clock).name} is let in no more.")

    return tablets


def say_pairing_code(toolbox: Toolbox, store: str, *, as_json: bool) -> None:
    """`trayside pair`"""
    code = make_code(
        made_by="the yard's machine",
        start_work=opened(toolbox, store),
        clock=toolbox.clock,
        make_id=toolbox.make_id,
        secrets=_secrets(toolbox),
    )
    if as_json:
        typer.echo(json.dumps({"code": code.code, "ends_at": code.ends_at.isoformat()}, indent=1))
        return
    say(f"{code_in_groups(code.code)}")
    say(f"Works once, until {code.ends_at:%H:%M:%S} UTC. An older code no longer works.")


def signer(toolbox: Toolbox, start_work: StartWork, name: str, *, right: Right, pin_stdin: bool) -> str:
    """The name a signature carries: as typed while there are no people, else of a person who gave their PIN."""
    with start_work(writing=False) as work:
        if not work.people.any_people():
            return name
    person = proven(
        name,
        pin=_pin_asked(pin_stdin),
        address="terminal",
        start_work=start_work,
        clock=toolbox.clock,
        secrets=_secrets(toolbox),
    )
    if not person.may(right):
        raise RefusedByRule(
            f"{person.name} signs as {person.role}, who may not {right}", where="sign", remedy="Ask somebody who may"
        )
    return person.name


def _secrets(toolbox: Toolbox) -> Secrets:
    if toolbox.secrets is None:
        raise TraysideError("PINs cannot be hashed here", where="people", remedy="Use the trayside command")
    return toolbox.secrets


def _pin_asked(from_stdin: bool) -> str:
    if from_stdin:
        return sys.stdin.readline().rstrip("\r\n")
    return typer.prompt("PIN", hide_input=True, err=True)


def _pin_chosen(from_stdin: bool) -> str:
    if from_stdin:
        return _pin_asked(True)
    return typer.prompt("PIN", hide_input=True, confirmation_prompt="PIN once more", err=True)


def _setting(text: str) -> tuple[str, int]:
    name, equals, value = text.partition("=")
    if not equals or not value.isascii() or not value.isdigit():
        raise ImpossibleValue("this is not a setting", where=text[:60], remedy="Write it like session_h=12")
    return name, int(value[:9])
