"""Ticket numbers: ranges and their voids, the next free ones, check characters, ranges that collide.

A number is prefix + serial padded to a width + at most one check character. Numbers are compared in capitals.
Names that are easily confused are in look_alikes.
"""

from collections.abc import Collection
from dataclasses import dataclass
from types import ModuleType

from stdnum import damm
from stdnum.iso7064 import mod_11_2, mod_11_10, mod_37_36

from trayside.core.look_alikes import LookAlike, look_alikes
from trayside.errors import ImpossibleValue

__all__ = [
    "CHECK_SCHEMES",
    "CheckResult",
    "LookAlike",
    "RangeOverlap",
    "SplitNumber",
    "TicketNumber",
    "TicketRange",
    "check_number",
    "fits_small_qr",
    "format_number",
    "look_alikes",
    "next_numbers",
    "overlapping_ranges",
    "split_number",
]

_DIGITS = "0123456789"
_DIGITS_AND_LETTERS = _DIGITS + "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_QR_CHARACTERS = _DIGITS_AND_LETTERS + " $%*+-./:"
_SEPARATORS = "-_./ "

_SCHEMES: dict[str, tuple[ModuleType, str]] = {
    "damm": (damm, _DIGITS),
    "iso7064_mod11_2": (mod_11_2, _DIGITS),
    "iso7064_mod11_10": (mod_11_10, _DIGITS),
    "iso7064_mod37_36": (mod_37_36, _DIGITS_AND_LETTERS),
}
CHECK_SCHEMES: tuple[str | None, ...] = (None, *_SCHEMES)
"""Check schemes. The first three of the named ones cover digits only; mod37_36 covers letters and digits."""


@dataclass(frozen=True, slots=True)
class TicketRange:
    """A book or roll of tickets: serials first to last, both included, perhaps reserved for one hole, minus the void
    leaves."""

    prefix: str
    first: int
    last: int
    width: int
    hole: str | None = None
    voids: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        where = f"ticket range {self.prefix}{self.first}-{self.last}"
        if self.prefix != self.prefix.strip() or not self.prefix.isprintable():
            raise ImpossibleValue("the prefix has blanks at its ends or unprintable characters", where=where)
        if self.first < 0 or self.last < self.first:
            raise ImpossibleValue(
                "the range runs backwards or below zero", where=where, remedy="Give the first and last leaf as printed"
            )
        if self.width < len(str(self.last)):
            raise ImpossibleValue(
                f"a width of {self.width} digits cannot hold {self.last}",
                where=where,
                remedy=f"Set the width to {len(str(self.last))} or more",
            )
        outside = [serial for serial in self.voids if not self.first <= serial <= self.last]
        if outside:
            raise ImpossibleValue(f"void leaf {outside[0]} is not in the range", where=where)


@dataclass(frozen=True, slots=True)
class TicketNumber:
    """One number ready to be printed."""

    text: str
    prefix: str
    serial: int
    width: int


@dataclass(frozen=True, slots=True)
class SplitNumber:
    """The parts of a number as read."""

    prefix: str
    serial: int
    width: int
    check_character: str


@dataclass(frozen=True, slots=True)
class CheckResult:
    """Whether a number's check character is right, and if not, why."""

    ok: bool
    why: str


@dataclass(frozen=True, slots=True)
class RangeOverlap:
    """Two ranges that share numbers: their places in the list, how many, the first shared number of each."""

    first_range: int
    second_range: int
    shared: int
    example: str
    why: str


def format_number(*, prefix: str, serial: int, width: int, check_scheme: str | None = None) -> str:
    """A ticket number as printed: prefix, serial padded with zeros, check character.

    The check character is worked out over the digits of prefix and serial (digit schemes) or over their letters and
    digits (mod37_36). Separators, and letters under a digit scheme, are not protected by it.

    Parameters
    ----------
    prefix : str
        Letters, digits and separators before the serial; may be empty.
    serial : int
        The running number.
    width : int
        Digits of the serial.
    check_scheme : str or None
        One of CHECK_SCHEMES.

    Returns
    -------
    str
        The number in capitals.

    Raises
    ------
    ImpossibleValue
        When the serial is negative or wider than the width, the scheme is not known, or the prefix holds characters
        it cannot cover.

    Valid for: any width; ten characters or fewer make the smallest QR code (see fits_small_qr).
    Source: ISO/IEC 7064 and Damm's table through python-stdnum 2.2; its examples are the check values (seen).
    Checked by: tests/published/test_sample_numbers.py, tests/unit/core/test_ticket_books.py
    """
    if serial < 0 or len(str(serial)) > width:
        raise ImpossibleValue(
            f"serial {serial} does not fit {width} digits",
            where="ticket number",
            remedy="Use a wider range or the next book",
        )
    body = f"{prefix.upper()}{serial:0{width}d}"
    return body + _check_character(body, check_scheme)


def _check_character(body: str, check_scheme: str | None) -> str:
    if check_scheme is None:
        return ""
    if check_scheme not in _SCHEMES:
        raise ImpossibleValue(
            f"check scheme {check_scheme!r} is not known",
            where="ticket number",
            remedy="Use none or one of: " + ", ".join(_SCHEMES),
        )
    scheme, alphabet = _SCHEMES[check_scheme]
    strange = [c for c in body if c not in _DIGITS_AND_LETTERS + _SEPARATORS]
    if strange:
        raise ImpossibleValue(
            f"character {strange[0]!r} cannot be covered by a check character",
            where=f"ticket number {body}",
            remedy="Use A to Z, digits and - _ . / in prefixes",
        )
    return scheme.calc_check_digit("".join(c for c in body if c in alphabet))


def split_number(*, text: str, check_scheme: str | None = None, width: int | None = None) -> SplitNumber:
    """The parts of a ticket number as typed or scanned.

    The check character, if the scheme has one, is the last; the serial is the digits before it: `width` of them, or
    as many as there are. Without a width, digits at the end of a prefix count as serial. The check itself is done by
    check_number.

    Parameters
    ----------
    text : str
        The number.
    check_scheme : str or None
        One of CHECK_SCHEMES.
    width : int or None
        Digits of the serial when known.

    Returns
    -------
    SplitNumber
        .prefix, .serial, .width, .check_character ("" without a scheme).

    Raises
    ------
    ImpossibleValue
        When no serial is found where it must be, or the scheme is not known.

    Valid for: numbers made by format_number.
    Source: site rule.
    Checked by: tests/unit/core/test_ticket_books.py
    """
    if check_scheme not in CHECK_SCHEMES:
        raise ImpossibleValue(f"check scheme {check_scheme!r} is not known", where="ticket number")
    clean = text.strip().upper()
    body, check = (clean[:-1], clean[-1:]) if check_scheme else (clean, "")
    found = len(body) - len(body.rstrip(_DIGITS))
    if found == 0 or (width is not None and not 0 < width <= found):
        raise ImpossibleValue(
            f"{text!r} has no serial of {width or 'any'} digits" if width else f"{text!r} has no serial",
            where="ticket number",
            remedy="Read the tag again",
        )
    digits = width or found
    return SplitNumber(body[:-digits], int(body[-digits:]), digits, check)


def check_number(*, text: str, check_scheme: str | None) -> CheckResult:
    """Whether a number's check character is right.

    Worked out anew from the number without its last character. Without a scheme every number that ends in digits is
    right.

    Parameters
    ----------
    text : str
        The number as typed or scanned.
    check_scheme : str or None
        One of CHECK_SCHEMES.

    Returns
    -------
    CheckResult
        .ok and .why (empty when right).

    Raises
    ------
    ImpossibleValue
        When the scheme is not known.

    Valid for: one wrong digit (all schemes) and two neighbours exchanged (damm, mod11_2 always; mod11_10 misses about
    2.5 %, mod37_36 about 0.15 % of exchanges).
    Source: ISO/IEC 7064, Damm through python-stdnum 2.2 (seen); miss rates: derived.
    Checked by: tests/published/test_sample_numbers.py, tests/unit/core/test_ticket_books.py
    """
    if check_scheme not in CHECK_SCHEMES:
        raise ImpossibleValue(f"check scheme {check_scheme!r} is not known", where="ticket number")
    clean = text.strip().upper()
    try:
        split_number(text=clean, check_scheme=check_scheme)
        due = _check_character(clean[:-1], check_scheme)
    except ImpossibleValue as problem:
        return CheckResult(False, problem.what)
    if check_scheme and clean[-1] != due:
        # What the character should be is not said: it would invite typing it in instead of reading the tag again.
        return CheckResult(
            False, f"the check character of {clean} does not fit its number: a character is wrong or exchanged"
        )
    return CheckResult(True, "")


def next_numbers(
    *,
    ranges: tuple[TicketRange, ...],
    count: int,
    used: Collection[str],
    hole: str | None = None,
    check_scheme: str | None = None,
) -> tuple[TicketNumber, ...]:
    """The next free ticket numbers, in the order of the books and their leaves.

    Ranges reserved for the hole come first, then free ones; ranges reserved for other holes are left alone. Void
    leaves and used numbers are skipped. A number is used when its text with or without check character is.

    Parameters
    ----------
    ranges : tuple of TicketRange
        The books at hand, in the order in which they are to be used.
    count : int
        How many numbers are needed.
    used : collection of str
        Every number ever given out, over all holes.
    hole : str or None
        The hole the numbers are for.
    check_scheme : str or None
        One of CHECK_SCHEMES.

    Returns
    -------
    tuple of TicketNumber
        Exactly `count`, no two alike.

    Raises
    ------
    ImpossibleValue
        When the ranges run out (says how many are short), or the count is negative.

    Valid for: any number of ranges; overlapping ranges never give a number twice.
    Source: site rule.
    Checked by: tests/unit/core/test_ticket_books.py, tests/properties/test_ticket_numbers.py
    """
    if count < 0:
        raise ImpossibleValue(f"{count} numbers asked for", where="ticket numbers")
    taken = {text.strip().upper() for text in used}
    mine = [book for book in ranges if hole is not None and book.hole == hole]
    free = [book for book in ranges if book.hole is None]
    found: list[TicketNumber] = []
    for book in mine + free:
        voids = set(book.voids)
        for serial in range(book.first, book.last + 1):
            if len(found) == count:
                return tuple(found)
            if serial in voids:
                continue
            body = format_number(prefix=book.prefix, serial=serial, width=book.width)
            text = body + _check_character(body, check_scheme)
            if body in taken or text in taken:
                continue
            taken |= {body, text}
            found.append(TicketNumber(text, book.prefix.upper(), serial, book.width))
    if len(found) < count:
        raise ImpossibleValue(
            f"{count - len(found)} of {count} ticket numbers are short",
            where=f"hole {hole}" if hole else "ticket numbers",
            remedy="Add a ticket range, or free one that is reserved for another hole",
        )
    return tuple(found)


def overlapping_ranges(*, ranges: tuple[TicketRange, ...]) -> tuple[RangeOverlap, ...]:
    """Pairs of ranges that share numbers, such as two crews writing from one range.

    Two ranges collide when they can print the same text (digits at the end of a prefix count as part of the number),
    or when they have the same prefix and serials and differ only in leading zeros. Void leaves still collide: the
    paper exists.

    Parameters
    ----------
    ranges : tuple of TicketRange
        All ranges of the yard.

    Returns
    -------
    tuple of RangeOverlap
        One for each pair, by place in the list; .shared is the count of numbers both can give.

    Raises
    ------
    ImpossibleValue
        Never here: a TicketRange that cannot be is refused when it is made.

    Valid for: compared pair by pair after sorting; thousands of ranges.
    Source: derived.
    Checked by: tests/unit/core/test_ticket_books.py
    """
    found: dict[tuple[int, int], RangeOverlap] = {}
    exact: dict[object, list[tuple[int, int, int]]] = {}
    zeros: dict[object, list[tuple[int, int, int]]] = {}
    for number, book in enumerate(ranges):
        prefix = book.prefix.upper()
        stem = prefix.rstrip(_DIGITS)
        ahead = prefix[len(stem) :]
        lift = int(ahead or 0) * 10**book.width
        exact.setdefault((stem, len(ahead) + book.width), []).append((book.first + lift, book.last + lift, number))
        zeros.setdefault(prefix, []).append((book.first, book.last, number))
    for groups, why in ((exact, "both can print the same number"), (zeros, "same numbers but for leading zeros")):
        for key, spans in groups.items():
            open_spans: list[tuple[int, int, int]] = []
            for first, last, number in sorted(spans):
                open_spans = [span for span in open_spans if span[1] >= first]
                for _, other_last, other in open_spans:
                    pair = (min(number, other), max(number, other))
                    example = f"{key[0]}{first:0{key[1]}d}" if groups is exact else f"{key}{first}"
                    found.setdefault(pair, RangeOverlap(*pair, min(last, other_last) - first + 1, example, why))
                open_spans.append((first, last, number))
    return tuple(found[pair] for pair in sorted(found))


def fits_small_qr(*, text: str, longest: int = 10) -> CheckResult:
    """Whether a number fits the smallest QR code at the highest error correction.

    Capitals, digits and a few signs are packed densely; one small letter makes the whole code larger.

    Parameters
    ----------
    text : str
        The number or name.
    longest : int
        Most characters.

    Returns
    -------
    CheckResult
        .ok and .why.

    Raises
    ------
    ImpossibleValue
        Never: a text that does not fit is answered with the reason.

    Valid for: QR version 1, level H.
    Source: ISO/IEC 18004 capacity of version 1-H, 10 alphanumeric characters, as given by segno 1.6.6 (seen).
    Checked by: tests/published/test_sample_numbers.py
    """
    outside = [c for c in text if c not in _QR_CHARACTERS]
    if outside:
        return CheckResult(
            False, f"{outside[0]!r} is not a capital, a digit or one of $%*+-./: so the code gets larger"
        )
    if len(text) > longest:
        return CheckResult(False, f"{len(text)} characters, {longest} fit the smallest code")
    return CheckResult(True, "")
