"""Sample numbers: one row a number over the whole database, so that none can be used twice.

    (none) ──saved──► planned ──issued──► issued
                         │ ▲                │ ▲
                 dropped ▼ │ taken  dropped ▼ │ back on the same sheet
                       released            void

A released number belongs to nobody. A void one stood on paper: it stays with its sheet and goes to no other.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, and_, bindparam, func, select, update

from trayside.errors import ImpossibleValue, RefusedByRule

from .bulk import BATCH_NAMES, in_batches, insert_rows
from .schema import SAMPLE_NUMBERS

COLUMNS = ("number", "prefix", "serial", "state", "hole_id", "sheet_id")
ON_DRAFT = ("planned", "issued")


@dataclass(frozen=True, slots=True)
class _Known:
    number: str
    prefix: str
    serial: int
    state: str
    hole_id: str | None
    sheet_id: str | None


def use_numbers(
    connection: Connection, *, sheet_id: str, hole_id: str, numbers: list[str], serials: dict[str, tuple[str, int]]
) -> None:
    """Give the sheet exactly these numbers: new ones are planned, dropped ones released, or void once on paper."""
    _refuse_twice(numbers, hole_id)
    _refuse_without_serial(numbers, serials, hole_id)
    own = _known(connection, SAMPLE_NUMBERS.c.sheet_id == sheet_id)
    others = _known_of(connection, [number for number in numbers if number not in own])
    _refuse_taken(others, hole_id)
    known = {**own, **others}
    _refuse_other_serial(known, numbers, serials, hole_id)

    kept = set(numbers)
    new = [(number, *serials[number], "planned", hole_id, sheet_id) for number in numbers if number not in known]
    insert_rows(connection, SAMPLE_NUMBERS, COLUMNS, new)
    _set(connection, list(others), "planned", hole_id, sheet_id)
    back = [known.number for known in own.values() if known.state == "void" and known.number in kept]
    _set(connection, back, "issued", hole_id, sheet_id)
    dropped = [known for known in own.values() if known.number not in kept]
    _set(connection, [known.number for known in dropped if known.state == "planned"], "released", None, None)
    _set(connection, [known.number for known in dropped if known.state == "issued"], "void", hole_id, sheet_id)


def issue_numbers(connection: Connection, *, sheet_id: str) -> None:
    """The sheet goes onto paper, its planned numbers with it."""
    connection.execute(
        update(SAMPLE_NUMBERS)
        .where(SAMPLE_NUMBERS.c.sheet_id == sheet_id, SAMPLE_NUMBERS.c.state == "planned")
        .values(state="issued")
    )


def sheet_numbers(connection: Connection, sheet_id: str) -> dict[str, tuple[str, int]]:
    """The numbers on the sheet's draft with prefix and serial."""
    known = _known(connection, and_(SAMPLE_NUMBERS.c.sheet_id == sheet_id, SAMPLE_NUMBERS.c.state.in_(ON_DRAFT)))
    return {known.number: (known.prefix, known.serial) for known in known.values()}


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


def _known(connection: Connection, condition) -> dict[str, _Known]:
    wanted = select(*(SAMPLE_NUMBERS.c[name] for name in COLUMNS)).where(condition).order_by(SAMPLE_NUMBERS.c.number)
    return {row.number: _Known(*row) for row in connection.execute(wanted)}


def _known_of(connection: Connection, numbers: list[str]) -> dict[str, _Known]:
    found: dict[str, _Known] = {}
    for batch in in_batches(numbers, BATCH_NAMES):
        found |= _known(connection, SAMPLE_NUMBERS.c.number.in_(batch))
    return found


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


def _refuse_without_serial(numbers: list[str], serials: dict[str, tuple[str, int]], hole_id: str) -> None:
    bare = [number for number in numbers if number not in serials]
    if bare:
        raise ImpossibleValue(
            f"number {_listed(bare)} comes without prefix and serial",
            where=hole_id,
            remedy="Take numbers from a ticket book of the yard",
        )


def _refuse_taken(others: dict[str, _Known], hole_id: str) -> None:
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


def _refuse_other_serial(
    known: dict[str, _Known], numbers: list[str], serials: dict[str, tuple[str, int]], hole_id: str
) -> None:
    for number in numbers:
        if number in known and (known[number].prefix, known[number].serial) != tuple(serials[number]):
            raise ImpossibleValue(
                f"number {number} has serial {known[number].prefix}{known[number].serial}, not"
                f" {serials[number][0]}{serials[number][1]}",
                where=hole_id,
                remedy="Look at the ticket books: two of them print the same number",
            )


def _listed(items) -> str:
    items = list(items)
    return ", ".join(items[:5]) + (f" and {len(items) - 5} more" if len(items) > 5 else "")
