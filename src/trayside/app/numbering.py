"""Ticket numbers for the rows of a sheet: the sheet keeps what it has, then released numbers, then the next unused ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain

from trayside.app.issued_bags import still_there
from trayside.app.ports import Work
from trayside.core.sample_numbers import format_number
from trayside.errors import RefusedByRule
from trayside.model.cut_sheet import SheetRow
from trayside.model.rules import Rules
from trayside.model.stock import Stock, TicketBook


@dataclass(frozen=True, slots=True)
class Numbered:
    """Rows with their numbers, and (prefix, serial) of each number."""

    rows: tuple[SheetRow, ...]
    serials: dict[str, tuple[str, int]]


def number_rows(
    work: Work,
    stock: Stock,
    rules: Rules,
    hole_id: str,
    rows: tuple[SheetRow, ...],
    pair: tuple[int | None, ...],
    *,
    issued: tuple[SheetRow, ...] = (),
) -> Numbered:
    """Give every row its number. Rows of an issued revision that are still there keep theirs: bags may carry them.

    A draft that was never issued is numbered afresh in ticket order from the numbers it already holds.
    """
    held = work.sheet_numbers(hole_id)
    serial_of = {row.number: held.get(row.number) or _serial_of(row.number, stock, rules) for row in issued}
    kept = {
        index: row.number
        for index, row in still_there(tuple(row for row in issued if serial_of[row.number]), rows).items()
    }
    missing = [index for index in range(len(rows)) if index not in kept]
    pool = sorted(serial for number, serial in held.items() if number not in serial_of)
    fresh = _fresh(work, stock, rules, hole_id, pool, len(missing))
    numbers = dict(kept)
    serials = {number: serial_of[number] for number in kept.values()}
    for index, (number, serial) in zip(missing, fresh, strict=True):
        numbers[index] = number
        serials[number] = serial
    numbered = [replace(row, number=numbers[index]) for index, row in enumerate(rows)]
    for index, of in enumerate(pair):
        if of is not None:
            numbered[index] = replace(numbered[index], duplicate_of=numbers[of])
    return Numbered(tuple(numbered), serials)


def _fresh(
    work: Work, stock: Stock, rules: Rules, hole_id: str, pool: list[tuple[str, int]], count: int
) -> list[tuple[str, tuple[str, int]]]:
    """`count` numbers in ticket order: from the pool, then released ones, then unused ones of the hole's books."""
    books = [book for book in stock.tickets if book.hole_id == hole_id] + [
        book for book in stock.tickets if book.hole_id is None
    ]
    found: list[tuple[str, tuple[str, int]]] = []
    taken: set[tuple[str, int]] = set()  # two books may share numbers; each is used once all the same
    for book in books:
        if len(found) >= count:
            break
        highest = work.highest_serial(prefix=book.prefix, first=book.first, last=book.last)
        for serial in chain(
            sorted(serial for prefix, serial in pool if _holds(book, prefix, serial)),
            work.released_serials(prefix=book.prefix, first=book.first, last=book.last),
            range(book.first if highest is None else highest + 1, book.last + 1),
        ):
            if len(found) >= count:
                break
            if serial not in book.voids and (book.prefix, serial) not in taken:
                taken.add((book.prefix, serial))
                found.append((_text(book, serial, rules), (book.prefix, serial)))
    if len(found) < count:
        raise RefusedByRule(
            f"{count - len(found)} ticket numbers are missing for {count} bags",
            where=hole_id,
            remedy="Enter another range in the tickets table and load it",
        )
    return sorted(found, key=lambda pair: pair[1]) if len({prefix for _, (prefix, _) in found}) == 1 else found


def _serial_of(number: str, stock: Stock, rules: Rules) -> tuple[str, int] | None:
    """Prefix and serial of a number that left the draft after it was issued; None when no book prints it any more."""
    for book in stock.tickets:
        digits = number.removeprefix(book.prefix)[: book.digits]
        if digits.isdecimal() and _holds(book, book.prefix, int(digits)) and _text(book, int(digits), rules) == number:
            return book.prefix, int(digits)
    return None


def _holds(book: TicketBook, prefix: str, serial: int) -> bool:
    return book.prefix == prefix and book.first <= serial <= book.last


def _text(book: TicketBook, serial: int, rules: Rules) -> str:
    scheme = None if rules.numbers.check_character == "none" else rules.numbers.check_character
    return format_number(prefix=book.prefix, serial=serial, width=book.digits, check_scheme=scheme)
