"""Sample numbers: one row a ticket over the whole database, so that none can be used twice.

A ticket is its prefix and serial. `number` is the text it was printed with: the same ticket reads otherwise with more
digits or another check character, and it is still one piece of paper.

    (none) ──saved──► planned ──issued──► issued
                         │ ▲                │ ▲
                 dropped ▼ │ taken  dropped ▼ │ back on the same sheet
                       released            void

A released ticket belongs to nobody, and is written anew when it is taken. A void one stood on paper: it stays with its
sheet and goes to no other. What stood on paper keeps its text. A number that the ledger says is void is void here too,
until that act is set aside.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import Connection, and_, bindparam, func, select, update

from trayside.errors import ImpossibleValue, RefusedByRule

from .bulk import BATCH_NAMES, in_batches, insert_rows
from .schema import SAMPLE_NUMBERS

COLUMNS = ("number", "prefix", "serial", "state", "hole_id", "sheet_id")
ON_DRAFT = ("planned", "issued")
Ticket = tuple[str, int]
"""Prefix and serial."""


@dataclass(frozen=True, slots=True)
class _Known:
    number: str
    prefix: str
    serial: int
    state: str
    hole_id: str | None
    sheet_id: str | None


def use_numbers(
    connection: Connection, *, sheet_id: str, hole_id: str, numbers: list[str], serials: dict[str, Ticket]
) -> None:
    """Give the sheet exactly these numbers: new ones are planned, dropped ones released, or void once on paper."""
    _refuse_twice(numbers, hole_id)
    _refuse_without_serial(numbers, serials, hole_id)
    wanted = _by_ticket(numbers, serials, hole_id)
    own = _known(connection, SAMPLE_NUMBERS.c.sheet_id == sheet_id)
    others = _known_tickets(connection, [ticket for ticket in wanted if ticket not in own])
    _refuse_taken(others, hole_id)
    known = {**own, **others}
    _refuse_reprinted(own, wanted, hole_id)
    written = [
        ticket for ticket, number in wanted.items() if ticket not in known or known[ticket].number != number
    ]  # tickets whose text comes new into the table
    _refuse_other_ticket(connection, [wanted[ticket] for ticket in written], serials, hole_id)

    new = [(wanted[ticket], *ticket, "planned", hole_id, sheet_id) for ticket in written if ticket not in known]
    _print_anew(connection, {ticket: wanted[ticket] for ticket in written if ticket in known})
    insert_rows(connection, SAMPLE_NUMBERS, COLUMNS, new)
    _set(connection, [wanted[ticket] for ticket in others], "planned", hole_id, sheet_id)
    back = [known.number for ticket, known in own.items() if known.state == "void" and ticket in wanted]
    _set(connection, back, "issued", hole_id, sheet_id)
    dropped = [known for ticket, known in own.items() if ticket not in wanted]
    _set(connection, [known.number for known in dropped if known.state == "planned"], "released", None, None)
    _set(connection, [known.number for known in dropped if known.state == "issued"], "void", hole_id, sheet_id)


def issue_numbers(connection: Connection, *, sheet_id: str) -> None:
    """The sheet goes onto paper, its planned numbers with it."""
    connection.execute(
        update(SAMPLE_NUMBERS)
        .where(SAMPLE_NUMBERS.c.sheet_id == sheet_id, SAMPLE_NUMBERS.c.state == "planned")
        .values(state="issued")
    )


def void_numbers(connection: Connection, numbers: Iterable[str]) -> None:
    """The ledger says that these numbers are used for nothing any more."""
    _turn(connection, numbers, "issued", "void")


def restore_numbers(connection: Connection, numbers: Iterable[str]) -> None:
    """What made these numbers void was set aside."""
    _turn(connection, numbers, "void", "issued")


def _turn(connection: Connection, numbers: Iterable[str], before: str, after: str) -> None:
    for batch in in_batches(numbers, BATCH_NAMES):
        these = (SAMPLE_NUMBERS.c.number.in_(batch)) & (SAMPLE_NUMBERS.c.state == before)
        connection.execute(update(SAMPLE_NUMBERS).where(these).values(state=after))


def sheet_numbers(connection: Connection, sheet_id: str) -> dict[str, Ticket]:
    """The numbers on the sheet's draft with prefix and serial."""
    known = _known(connection, and_(SAMPLE_NUMBERS.c.sheet_id == sheet_id, SAMPLE_NUMBERS.c.state.in_(ON_DRAFT)))
    return {known.number: ticket for ticket, known in known.items()}


def serials_of(connection: Connection, numbers: Iterable[str]) -> dict[str, Ticket]:
    """Prefix and serial of these numbers, as far as they were ever used and not written anew since."""
    return {known.number: ticket for ticket, known in _known_texts(connection, numbers).items()}


def released_serials(connection: Connection, *, prefix: str, first: int, last: int) -> tuple[int, ...]:
    """Serials that were planned once and given back, in order: to be used before new ones."""
    c = SAMPLE_NUMBERS.c
    wanted = select(c.serial).where(c.prefix == prefix, c.serial.between(first, last), c.state == "released")
    return tuple(connection.execute(wanted.order_by(c.serial)).scalars())


def highest_serial(connection: Connection, *, prefix: str, first: int, last: int) -> int | None:
    """The highest serial ever taken from this range, in whatever state it is now."""
    c = SAMPLE_NUMBERS.c
    return connection.execute(
        select(func.max(c.serial)).where(c.prefix == prefix, c.serial.between(first, last))
    ).scalar_one()


def _known(connection: Connection, condition) -> dict[Ticket, _Known]:
    wanted = select(*(SAMPLE_NUMBERS.c[name] for name in COLUMNS)).where(condition).order_by(SAMPLE_NUMBERS.c.number)
    return {(row.prefix, row.serial): _Known(*row) for row in connection.execute(wanted)}


def _known_texts(connection: Connection, numbers: Iterable[str]) -> dict[Ticket, _Known]:
    found: dict[Ticket, _Known] = {}
    for batch in in_batches(numbers, BATCH_NAMES):
        found |= _known(connection, SAMPLE_NUMBERS.c.number.in_(batch))
    return found


def _known_tickets(connection: Connection, tickets: list[Ticket]) -> dict[Ticket, _Known]:
    found: dict[Ticket, _Known] = {}
    of_prefix: dict[str, list[int]] = {}
    for prefix, serial in tickets:
        of_prefix.setdefault(prefix, []).append(serial)
    for prefix, serials in of_prefix.items():
        for batch in in_batches(serials, BATCH_NAMES):
            found |= _known(connection, and_(SAMPLE_NUMBERS.c.prefix == prefix, SAMPLE_NUMBERS.c.serial.in_(batch)))
    return found


def _by_ticket(numbers: list[str], serials: dict[str, Ticket], hole_id: str) -> dict[Ticket, str]:
    """The text of each ticket of the sheet."""
    wanted: dict[Ticket, str] = {}
    for number in numbers:
        first = wanted.setdefault(tuple(serials[number]), number)
        if first != number:
            raise RefusedByRule(
                f"{first}, {number} stand on one ticket",
                where=hole_id,
                remedy="Give one of the two bags another number",
                reasons=(first, number),
            )
    return wanted


PRINT_ANEW = (
    update(SAMPLE_NUMBERS)
    .where(SAMPLE_NUMBERS.c.prefix == bindparam("of_prefix"), SAMPLE_NUMBERS.c.serial == bindparam("of_serial"))
    .values(number=bindparam("printed"))
)


def _print_anew(connection: Connection, texts: dict[Ticket, str]) -> None:
    rows = [
        {"of_prefix": prefix, "of_serial": serial, "printed": number} for (prefix, serial), number in texts.items()
    ]
    if rows:
        connection.execute(PRINT_ANEW, rows)


SET = (
    update(SAMPLE_NUMBERS)
    .where(SAMPLE_NUMBERS.c.number.in_(bindparam("numbers", expanding=True)))
    .values(state=bindparam("to_state"), hole_id=bindparam("to_hole"), sheet_id=bindparam("to_sheet"))
)


def _set(connection: Connection, numbers: list[str], state: str, hole_id: str | None, sheet_id: str | None) -> None:
    for batch in in_batches(numbers, BATCH_NAMES):
        change = {"numbers": batch, "to_state": state, "to_hole": hole_id, "to_sheet": sheet_id}
        connection.execute(SET, change)


def _refuse_twice(numbers: list[str], hole_id: str) -> None:
    seen: set[str] = set()
    twice = sorted({number for number in numbers if number in seen or seen.add(number)})
    if twice:
        raise RefusedByRule(
            f"number {_listed(twice)} stands twice on the sheet",
            where=hole_id,
            remedy="Give one of the two bags another number",
            reasons=tuple(twice),
        )


def _refuse_without_serial(numbers: list[str], serials: dict[str, Ticket], hole_id: str) -> None:
    bare = [number for number in numbers if number not in serials]
    if bare:
        raise ImpossibleValue(
            f"number {_listed(bare)} comes without prefix and serial",
            where=hole_id,
            remedy="Take numbers from a ticket book of the yard",
        )


def _refuse_taken(others: dict[Ticket, _Known], hole_id: str) -> None:
    taken = [known for known in others.values() if known.state != "released"]
    if taken:
        reasons = tuple(
            f"{known.number} {'was issued for and voided on' if known.state == 'void' else 'belongs to'}"
            f" the sheet of hole {known.hole_id}"
            for known in taken
        )
        raise RefusedByRule(
            f"number {_listed(reasons)}",
            where=hole_id,
            remedy="Plan again for other numbers; check whether the ticket was torn off twice",
            reasons=reasons,
        )


def _refuse_reprinted(own: dict[Ticket, _Known], wanted: dict[Ticket, str], hole_id: str) -> None:
    for ticket, known in own.items():
        if known.state in ("issued", "void") and wanted.get(ticket, known.number) != known.number:
            raise RefusedByRule(
                f"ticket {known.prefix}{known.serial} was issued as {known.number}, not {wanted[ticket]}",
                where=hole_id,
                remedy="A number on paper stays as it was printed: plan again",
            )


def _refuse_other_ticket(
    connection: Connection, numbers: list[str], serials: dict[str, Ticket], hole_id: str
) -> None:
    """None of these numbers may be the text of a ticket already."""
    for known in _known_texts(connection, numbers).values():
        prefix, serial = serials[known.number]
        raise ImpossibleValue(
            f"number {known.number} has serial {known.prefix}{known.serial}, not {prefix}{serial}",
            where=hole_id,
            remedy="Look at the ticket books: two of them print the same number",
        )


def _listed(items) -> str:
    items = list(items)
    return ", ".join(items[:5]) + (f" and {len(items) - 5} more" if len(items) > 5 else "")
