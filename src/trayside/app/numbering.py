"""Ticket numbers for the rows of a sheet: the sheet keeps what it has, then released tickets, then the next unused ones.

What is on paper keeps its text. A draft is written as the yard's tickets are printed now: digits of the book, check
character of the rules.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import chain

from trayside.app.issued_bags import still_there
from trayside.app.ports import Work
from trayside.core.sample_numbers import format_number
from trayside.errors import RefusedByRule
from trayside.model.bag_states import machine_of, state_in_ledger
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
    printed = work.serials_of(row.number for row in issued)
    spoiled = _void_in_ledger(work, issued)
    serial_of = {
        row.number: None
        if row.number in spoiled
        else held.get(row.number) or _still_in_hand(printed[row.number], stock)
        for row in issued
    }
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


def _void_in_ledger(work: Work, rows: tuple[SheetRow, ...]) -> set[str]:
    """Numbers of these rows that somebody voided: what they stood for gets another one."""
    kinds = {row.number: row.kind for row in rows}
    histories = work.events_of_objects(("bag", number) for number in kinds)
    return {
        number
        for (_, number), events in histories.items()
        if state_in_ledger(events, machine=machine_of("bag", kinds[number])).state == "void"
    }


def _fresh(
    work: Work, stock: Stock, rules: Rules, hole_id: str, pool: list[tuple[str, int]], count: int
) -> list[tuple[str, tuple[str, int]]]:
    """`count` numbers in ticket order: from the pool, then released ones, then unused ones of the hole's books."""
    found = _walk(work, stock, rules, hole_id, pool, count, passed_over=frozenset())
    clashes: frozenset[tuple[str, int]] = frozenset()
    # With other digits or another check character one ticket may read like another one, which is on a bag already.
    while alike := _read_like_others(work, found):
        clashes |= alike
        found = _walk(work, stock, rules, hole_id, pool, count, passed_over=clashes)
    return sorted(found, key=lambda pair: pair[1]) if len({prefix for _, (prefix, _) in found}) == 1 else found


def _read_like_others(work: Work, found: list[tuple[str, tuple[str, int]]]) -> frozenset[tuple[str, int]]:
    """The tickets among these whose text stands on another ticket."""
    printed = work.serials_of(number for number, _ in found)
    return frozenset(ticket for number, ticket in found if printed.get(number, ticket) != ticket)


def _walk(
    work: Work,
    stock: Stock,
    rules: Rules,
    hole_id: str,
    pool: list[tuple[str, int]],
    count: int,
    *,
    passed_over: frozenset[tuple[str, int]],
) -> list[tuple[str, tuple[str, int]]]:
    """The first `count` tickets that may be taken, with their text."""
    books = [book for book in stock.tickets if book.hole_id == hole_id] + [
        book for book in stock.tickets if book.hole_id is None
    ]
    found: list[tuple[str, tuple[str, int]]] = []
    taken = set(passed_over)  # two books may share numbers; each is used once all the same
    texts: set[str] = set()
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
            ticket, text = (book.prefix, serial), _text(book, serial, rules)
            if serial not in book.voids and ticket not in taken and text not in texts:
                taken.add(ticket)
                texts.add(text)
                found.append((text, ticket))
    if len(found) < count:
        raise RefusedByRule(
            f"{_counted(count - len(found), 'ticket number is', 'ticket numbers are')} missing for"
            f" {_counted(count, 'bag', 'bags')}",
            where=hole_id,
            remedy="Enter another range in the tickets table and load it",
        )
    return found


def _still_in_hand(ticket: tuple[str, int], stock: Stock) -> tuple[str, int] | None:
    """A ticket that left the draft after it was issued; None when no book holds it any more."""
    return ticket if any(_holds(book, *ticket) for book in stock.tickets) else None


def _holds(book: TicketBook, prefix: str, serial: int) -> bool:
    return book.prefix == prefix and book.first <= serial <= book.last


def _text(book: TicketBook, serial: int, rules: Rules) -> str:
    scheme = None if rules.numbers.check_character == "none" else rules.numbers.check_character
    return format_number(prefix=book.prefix, serial=serial, width=book.digits, check_scheme=scheme)


def _counted(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"
